"""From the evidence of whole edges to the reading of each cut: its centre and the likelihood of its height."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.special import logsumexp

from app.picture.alignment import CENTRE_MM, HEIGHT_MM, Alignment, ShapeEvidence
from app.picture.edge import locate_step
from app.picture.frame import Frame
from app.picture.runs import EdgeRuns, sample_runs
from app.picture.sample import Patch
from app.picture.shape import EdgeShape
from keycore.measured import Floats

SHARPNESS = 0.3
"""Share of neighbouring runs' evidence that is independent: shading, texture and toner are alike over about 0.6 mm,
three runs."""
CENTRE_SD_MM = 0.04
"""How far a cut's centre may stand from the common spacing: making tolerance and the picture's own unevenness."""
EDGE_SD_MM = 0.04
"""Scale of the local difference between where the metal ends and where it seems to end."""
CONTAMINATED = 0.02
TOP_STEP_MM = 0.02


@dataclass(frozen=True)
class CutEvidence:
    """One cut on one edge, in frame millimetres.

    Attributes
    ----------
    centre_mm, centre_sigma_mm
        Where the cut's middle lies along the frame.
    height_mm, log_p
        (m,) grid of floor heights and their log-probability.
    """

    centre_mm: float
    centre_sigma_mm: float
    height_mm: Floats
    log_p: Floats

    @property
    def mode_mm(self) -> float:
        """Likeliest floor height."""
        return float(self.height_mm[int(np.argmax(self.log_p))])

    @property
    def mean_sigma_mm(self) -> tuple[float, float]:
        """Mean and standard deviation around the likeliest height (its own peak only)."""
        near = np.abs(self.height_mm - self.mode_mm) < 4 * EDGE_SD_MM + 0.1
        p = np.exp(self.log_p[near] - self.log_p[near].max())
        p /= p.sum()
        mean = float((p * self.height_mm[near]).sum())
        return mean, float(np.sqrt((p * (self.height_mm[near] - mean) ** 2).sum()))


def read_cuts(evidence: ShapeEvidence, shape: EdgeShape, alignment: Alignment) -> tuple[CutEvidence, ...]:
    """Read every cut of one edge at the centres that the alignment gives."""
    around = np.arange(-4, 5)
    prior = -0.5 * (around * CENTRE_MM / CENTRE_SD_MM) ** 2
    cuts = []
    for centre in alignment.centres_mm(shape):
        index = np.rint((centre - evidence.centre_mm[0]) / CENTRE_MM) + around
        rows = SHARPNESS * evidence.log_p[np.clip(index.astype(int), 0, len(evidence.centre_mm) - 1)]
        centre_score = logsumexp(rows, axis=1)
        weight = np.exp(centre_score - centre_score.max())
        weight /= weight.sum()
        offset = float((weight * around).sum()) * CENTRE_MM
        spread = float(np.sqrt((weight * (around * CENTRE_MM - offset) ** 2).sum()))
        height = logsumexp(rows + prior[:, None], axis=0)
        cuts.append(
            CutEvidence(
                centre_mm=float(centre) + offset,
                centre_sigma_mm=float(np.hypot(max(spread, 0.02), CENTRE_SD_MM)),
                height_mm=evidence.height_mm,
                log_p=widened(height),
            )
        )
    return tuple(cuts)


def widened(log_p: Floats) -> Floats:
    """Widen a height's likelihood by the edge's local unevenness (Student t, 3 degrees) and by contamination."""
    p = np.exp(log_p - log_p.max())
    p /= p.sum()
    reach = np.arange(-int(0.5 / HEIGHT_MM), int(0.5 / HEIGHT_MM) + 1) * HEIGHT_MM
    kernel = (1 + (reach / EDGE_SD_MM) ** 2 / 3) ** -2.0
    p = np.convolve(p, kernel / kernel.sum(), mode="same")
    return np.asarray(np.log((1 - CONTAMINATED) * p + CONTAMINATED / len(p)))


def visible_floor(
    patch: Patch, frame: Frame, shape: EdgeShape, cut: CutEvidence, side: int, blur_mm: float
) -> float | None:
    """Height of the step that the eye sees at a floor, to a fraction of a pixel; None where none is clear.

    For marks and drawings: it may be the metal's own edge or a shadow's, which is why decoding does not use it.
    """
    step = 0.5 / frame.px_per_mm
    height = np.arange(cut.mode_mm - 0.45, cut.mode_mm + 0.45, step)
    width = max(0.3, shape.flat_mm - 0.2)
    grey = sample_runs(patch, frame, np.array([cut.centre_mm]), height, side=side, width_mm=width, across=12)[0]
    found = locate_step(height, grey, blur_mm, from_u=cut.mode_mm - 0.2, to_u=cut.mode_mm + 0.3)
    return None if found is None else found.place


@dataclass(frozen=True)
class Top:
    """The uncut edge: its height in the frame, and over how much of the blade it was seen."""

    height_mm: float
    sigma_mm: float
    seen_mm: float


def plateau_runs(
    runs: EdgeRuns, shape: EdgeShape, alignment: Alignment, roots_mm: Floats, x_from_mm: float, x_to_mm: float
) -> NDArray[np.bool_]:
    """(c,) True for the runs that stand on the uncut edge.

    Parameters
    ----------
    roots_mm
        (k,) floors as found.  Where even the deepest cuts would leave the edge uncut, it is uncut whatever was found.
    x_from_mm, x_to_mm
        The stretch of blade that has the full height at all: from the shoulder to where the tip begins to fall.
    """
    centres = alignment.centres_mm(shape)
    x = runs.x_mm
    margin = 0.15
    deepest = np.full(len(centres), shape.roots_mm.min())
    sure = shape.profile(x, centres, deepest, shape.top_mm) > shape.top_mm - 1e-6
    fitted = np.ones(len(x), dtype=bool)
    for away in (-margin, 0.0, margin):
        fitted &= shape.profile(x + away, centres, roots_mm, shape.top_mm) > shape.top_mm - 1e-6
    return np.asarray((sure | fitted) & (x > x_from_mm) & (x < x_to_mm))


def top_log_p(runs: EdgeRuns, plateau: NDArray[np.bool_]) -> Floats | None:
    """(p,) log-probability of the uncut edge's height on the runs' places; None where too few runs stand on it."""
    column = float(runs.x_mm[1] - runs.x_mm[0])
    if plateau.sum() * column < 0.5:
        return None
    return np.asarray(SHARPNESS * runs.log_p[plateau].sum(axis=0))


def measure_top(runs: EdgeRuns, plateau: NDArray[np.bool_], guess_mm: float, guess_sd_mm: float) -> Top | None:
    """Measure the blade's uncut edge on the runs that stand on it."""
    log_p = top_log_p(runs, plateau)
    if log_p is None:
        return None
    places = np.arange(guess_mm - 3 * guess_sd_mm, guess_mm + 4 * guess_sd_mm, TOP_STEP_MM)
    score = np.interp(places, runs.y_mm, log_p) - 0.5 * ((places - guess_mm) / guess_sd_mm) ** 2
    p = np.exp(score - score.max())
    p /= p.sum()
    mean = float((p * places).sum())
    sigma = float(np.sqrt((p * (places - mean) ** 2).sum()))
    column = float(runs.x_mm[1] - runs.x_mm[0])
    return Top(mean, float(np.hypot(sigma, EDGE_SD_MM)), float(plateau.sum() * column))
