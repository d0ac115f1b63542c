"""Fitting the table's cut shape to a whole edge at once: where the cuts lie, and how likely every floor height is.

For a cut centred at c with its floor at h, the table's shape says where the metal ends in every run within half a
spacing of c; the sum of the runs' log-probabilities there is the evidence E(c, h).  Peaks, flats, flanks and plateaus
all count.  The cuts share one offset and one scale along the blade: these are found where the sum over all cuts of the
best floor's evidence is largest, and neither growth nor the code moves them (both flanks of a cut grow alike, opposite
ways).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.special import logsumexp

from app.picture.runs import EdgeRuns
from app.picture.shape import EdgeShape
from keycore.measured import Floats

CENTRE_MM = 0.05
HEIGHT_MM = 0.02
SCALE_STEP = 0.0025


@dataclass(frozen=True)
class Guess:
    """How far off a first frame may be: the standard deviation of its offset and scale; three of them are searched."""

    offset_sd_mm: float
    scale_sd: float

    @property
    def offsets_mm(self) -> Floats:
        """Offsets to try."""
        count = int(np.ceil(2.5 * self.offset_sd_mm / CENTRE_MM))
        return CENTRE_MM * np.arange(-count, count + 1.0)

    @property
    def scales(self) -> Floats:
        """Scales to try."""
        count = int(np.ceil(2.5 * self.scale_sd / SCALE_STEP))
        return 1.0 + SCALE_STEP * np.arange(-count, count + 1.0)


BY_HAND = Guess(offset_sd_mm=0.6, scale_sd=0.018)
"""A frame from rough marks: clicks about 0.4 mm off."""
BY_OUTLINE = Guess(offset_sd_mm=1.1, scale_sd=0.03)
"""A frame from a silhouette, whose shoulder is rounded and whose shadow counts as key."""


@dataclass(frozen=True)
class ShapeEvidence:
    """E(c, h) on a grid: (n,) centres, (m,) heights, (n, m) summed log-probabilities."""

    centre_mm: Floats
    height_mm: Floats
    log_p: Floats


@dataclass(frozen=True)
class Alignment:
    """Offset and scale along the blade that the cuts of one key share.

    ``centre = offset_mm + scale * position``.
    """

    offset_mm: float
    scale: float
    score: float
    """Log evidence of the whole fit, to compare different first frames on the same picture."""

    def centres_mm(self, shape: EdgeShape) -> Floats:
        """(k,) cut centres in the frame."""
        return np.asarray(self.offset_mm + self.scale * shape.positions_mm)


def shape_evidence(runs: EdgeRuns, shape: EdgeShape, top_mm: float, guess: Guess) -> ShapeEvidence:
    """E(c, h) of one edge for every centre that the guess leaves open, and every height."""
    places = runs.y_mm
    column = float(runs.x_mm[1] - runs.x_mm[0])
    step = float(places[1] - places[0])
    reach = guess.offsets_mm[-1] + (guess.scales[-1] - 1) * float(np.abs(shape.positions_mm).max()) + 5 * CENTRE_MM
    centres = np.arange(shape.positions_mm.min() - reach, shape.positions_mm.max() + reach, CENTRE_MM)
    heights = np.arange(places[0], places[-1], HEIGHT_MM)
    half = shape.spacing_mm / 2
    total = np.zeros((len(centres), len(heights)))
    for away in np.arange(-half, half + 1e-9, column):
        nearest = np.rint((centres + away - runs.x_mm[0]) / column).astype(int)
        end = np.minimum(top_mm, heights + max(0.0, abs(away) - shape.flat_mm / 2) / shape.tangent)
        place = np.clip((end - places[0]) / step, 0, len(places) - 1.001)
        low = place.astype(int)
        part = place - low
        rows = runs.log_p[np.clip(nearest, 0, len(runs.x_mm) - 1)]
        total += rows[:, low] * (1 - part) + rows[:, low + 1] * part
    return ShapeEvidence(centres, heights, total)


def align(evidence: list[ShapeEvidence], shape: EdgeShape, guess: Guess, *, sharpness: float) -> Alignment:
    """Find the offset and scale that all cuts of all edges share.

    Parameters
    ----------
    evidence
        One entry per cut edge.
    guess
        What is known before.
    sharpness
        Share of the evidence that counts as independent (neighbouring runs are not).
    """
    offsets, scales = guess.offsets_mm, guess.scales
    centres = offsets[:, None, None] + scales[None, :, None] * shape.positions_mm
    score = np.zeros(centres.shape[:2])
    for edge in evidence:
        index = np.rint((centres - edge.centre_mm[0]) / CENTRE_MM).astype(int)
        best = logsumexp(sharpness * edge.log_p, axis=1)
        score += best[np.clip(index, 0, len(edge.centre_mm) - 1)].sum(axis=2)
    prior = 0.5 * (offsets[:, None] / guess.offset_sd_mm) ** 2 + 0.5 * ((scales[None, :] - 1) / guess.scale_sd) ** 2
    weight = np.exp(score - prior - (score - prior).max())
    total = float(weight.sum())
    weight /= total
    # Around the best place only: a second mode one spacing away is another answer, not an uncertainty of this one.
    row, column = np.unravel_index(int(np.argmax(weight)), weight.shape)
    along_scale = weight.sum(axis=0)
    scale = float((along_scale * scales).sum())
    # Offset at that scale: the two are tied, so it is taken at the middle of the cuts.
    middle = float(shape.positions_mm.mean())
    at_middle = offsets[:, None] + scales[None, :] * middle
    centre = float((weight * at_middle).sum())
    if abs(centre - at_middle[row, column]) > 0.5:
        scale, centre = float(scales[column]), float(at_middle[row, column])
    return Alignment(
        offset_mm=centre - scale * middle,
        scale=scale,
        score=float(np.log(total) + (score - prior).max()),
    )
