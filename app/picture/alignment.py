"""Where the cuts lie along the blade: one offset and one scale that all cuts share.

They are found where the sum over all cuts of the best floor's evidence is largest.  Neither growth nor the code moves
them: both flanks of a cut grow alike, opposite ways.  A second place one spacing away can look nearly as good, so
several are handed on, and what the shoulder and the table's depths say decides between them (:mod:`app.picture.fit`).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import gaussian_filter1d

from app.picture.clicks import NO_CLICKS, Clicks
from app.picture.edgemaps import EdgeMaps
from app.picture.logsum import logsumexp
from app.picture.shape import EdgeShape
from keycore.measured import Floats

OFFSET_STEP_MM = 0.05
SCALE_STEP = 0.0025
CENTRE_SD_MM = 0.05
"""How far a cut's centre may stand from the common spacing: making, and a shadow on one flank."""
APART_MM = 0.6
"""Two places nearer than this are one."""
MUCH_WORSE = 40.0
"""A place of so much less evidence (logarithm) than the best is not looked at: line and ends seldom make up for it."""


def centre_moves(column_mm: float) -> tuple[NDArray[np.intp], Floats]:
    """(m,) columns by which a cut may stand beside its place, and their log-probability."""
    reach = max(1, round(2 * CENTRE_SD_MM / column_mm))
    moves = np.arange(-reach, reach + 1)
    log_p = np.asarray(-0.5 * (moves * column_mm / CENTRE_SD_MM) ** 2, dtype=float)
    return moves, log_p - logsumexp(log_p)


@dataclass(frozen=True)
class Guess:
    """How far off a first frame may be: the standard deviations of its offset and scale; 2.5 of them are searched."""

    offset_sd_mm: float
    scale_sd: float
    scale: float = 1.0
    """Likeliest scale along the frame: a silhouette with its shadow is larger than the blade."""

    @property
    def offsets_mm(self) -> Floats:
        """Offsets to try."""
        count = int(np.ceil(2.5 * self.offset_sd_mm / OFFSET_STEP_MM))
        return OFFSET_STEP_MM * np.arange(-count, count + 1.0)

    @property
    def scales(self) -> Floats:
        """Scales to try."""
        count = int(np.ceil(2.5 * self.scale_sd / SCALE_STEP))
        return self.scale * (1.0 + SCALE_STEP * np.arange(-count, count + 1.0))


@dataclass(frozen=True)
class Alignment:
    """Offset and scale along the blade: ``centre = offset_mm + scale * position``."""

    offset_mm: float
    scale: float
    log_prior: float
    """What was known before says of it, up to a constant."""

    def centres_mm(self, shape: EdgeShape) -> Floats:
        """(k,) cut centres in the frame."""
        return np.asarray(self.offset_mm + self.scale * shape.positions_mm)


def alignments(
    maps: tuple[EdgeMaps, ...], shape: EdgeShape, guess: Guess, count: int, clicked: Clicks = NO_CLICKS
) -> tuple[Alignment, ...]:
    """Find the likeliest places of the cuts, best first, and none that is much worse than the best.

    Parameters
    ----------
    maps
        One entry per cut edge.
    guess
        What is known before.
    count
        How many to return at most; they lie at least ``APART_MM`` apart.
    clicked
        A hand's clicks, in frame millimetres.
    """
    middle = float(shape.positions_mm.mean())
    offsets, scales = guess.offsets_mm, guess.scales
    at = middle + offsets[:, None, None] + scales[None, :, None] * (shape.positions_mm - middle)
    score = np.zeros(at.shape[:2])
    for edge in maps:
        step = float(edge.x_mm[1] - edge.x_mm[0])
        best = _somewhere_near(logsumexp(edge.cut, axis=0), CENTRE_SD_MM / step)
        score += best[np.clip(np.rint((at - edge.x_mm[0]) / step).astype(int), 0, len(best) - 1)].sum(axis=2)
    # The prior knows where the gauge point lies, not where the middle of the cuts does.
    gauge_off = middle + offsets[:, None] - scales[None, :] * middle
    prior = -0.5 * (gauge_off / guess.offset_sd_mm) ** 2
    prior = prior - 0.5 * ((scales / guess.scale - 1.0) / guess.scale_sd)[None, :] ** 2
    prior = prior + clicked.of_centres(at)
    score += prior
    found: list[Alignment] = []
    left = score.copy()
    least = float(score.max()) - MUCH_WORSE
    while len(found) < count and left.max() > least:
        row, column = np.unravel_index(int(np.argmax(left)), left.shape)
        near = np.abs(offsets - offsets[row]) < APART_MM
        offset, scale = _mean_near(score, offsets, scales, int(row), int(column))
        found.append(Alignment(middle + offset - scale * middle, scale, float(prior[row, column])))
        left[near] = -np.inf
    return tuple(found)


def _somewhere_near(log_p: Floats, sd: float) -> Floats:
    """Evidence of a cut whose centre stands anywhere near (normal, ``sd`` columns)."""
    most = float(log_p.max())
    p = gaussian_filter1d(np.exp(np.maximum(log_p - most, -600.0)), sd)
    return np.asarray(np.log(np.maximum(p, 1e-280)) + most)


def _mean_near(score: Floats, offsets: Floats, scales: Floats, row: int, column: int) -> tuple[float, float]:
    """Mean of the posterior within a few steps of its peak."""
    rows, columns = slice(max(row - 3, 0), row + 4), slice(max(column - 3, 0), column + 4)
    weight = np.exp(score[rows, columns] - score[row, column])
    weight /= weight.sum()
    return float((weight.sum(axis=1) * offsets[rows]).sum()), float((weight.sum(axis=0) * scales[columns]).sum())
