"""Where the centreline of a double key lies, told by its two edges together.

A rough centreline is half a millimetre off and a little turned.  It is corrected in two steps.

1. The envelope: on both sides the metal never ends above the uncut edge, often ends at it, and else between it and the
   deepest floor; the two uncut edges lie one blade height apart.
2. The depths: the uncut edge stands at the same height on both sides; every floor must stand at one of the table's
   depths; and on a mirrored pair both floors of a position stand at the same one.  Scale and growth are tried beside
   offset and slope, with everything summed over the depths that a floor might have.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.special import logsumexp

from app.picture.axisline import TopCurve
from app.picture.cuts import CutEvidence
from app.picture.frame import Frame
from app.picture.runs import EdgeRuns
from keycore.measured import Floats

GRID = np.linspace(-2.5, 2.5, 21)
"""Places to try, in standard deviations of what is known before."""
GROWTHS = np.arange(-0.15, 0.46, 0.075)
SCALES = np.array([-0.01, 0.0, 0.01])
GROWTH_SD_MM = 0.2


@dataclass(frozen=True)
class Centreline:
    """The centreline in its frame: y = offset_mm + slope * (x - x_mid_mm)."""

    offset_mm: float
    slope: float
    sigma_mm: float
    x_mid_mm: float

    def applied(self, frame: Frame) -> Frame:
        """Return the frame with its x axis laid on this centreline."""
        return frame.moved(y_mm=self.offset_mm - self.slope * self.x_mid_mm, slope=self.slope)


AT_THE_TOP = 0.35
"""Share of a double blade's length that is commonly at its full height."""


def envelope_centreline(
    upper: EdgeRuns,
    lower: EdgeRuns,
    *,
    top_mm: float,
    lowest_mm: float,
    x_from_mm: float,
    x_to_mm: float,
    offset_sd_mm: float,
    slope_sd: float,
) -> Centreline:
    """Find offset and slope of the centreline from the envelope of both edges (step 1 above)."""
    offsets, slopes, growths = offset_sd_mm * GRID, slope_sd * GRID, np.array([-0.1, 0.0, 0.1, 0.25, 0.4])
    middle = (x_from_mm + x_to_mm) / 2
    score = np.zeros((len(growths), len(offsets), len(slopes)))
    for runs, side in ((upper, 1), (lower, -1)):
        inside = (runs.x_mm > x_from_mm) & (runs.x_mm < x_to_mm)
        p = np.exp(runs.log_p[inside])
        step = float(runs.y_mm[1] - runs.y_mm[0])
        up_to = np.cumsum(p, axis=1)
        x = runs.x_mm[inside]
        line = side * (offsets[:, None] + slopes[None, :] * (x[:, None, None] - middle))
        for index, growth in enumerate(growths):
            at = np.clip((top_mm + growth + line - runs.y_mm[0]) / step, 1, p.shape[1] - 2)
            low = np.clip((lowest_mm + growth + line - runs.y_mm[0]) / step, 0, p.shape[1] - 2)
            column = np.arange(len(x))[:, None, None]
            near = np.rint(at).astype(int)
            peak = (p[column, near - 1] + p[column, near] + p[column, near + 1]) / 3
            between = (up_to[column, near] - up_to[column, np.rint(low).astype(int)]) / np.maximum(at - low, 1)
            score[index] += np.log(AT_THE_TOP * peak + (1 - AT_THE_TOP) * between + 1e-4).sum(axis=0)
        score -= 0.5 * (growths[:, None, None] / GROWTH_SD_MM) ** 2
    score = 0.3 * score - 0.5 * (offsets[:, None] / offset_sd_mm) ** 2 - 0.5 * (slopes[None, :] / slope_sd) ** 2
    weight = np.exp(score - score.max()).sum(axis=0)
    weight /= weight.sum()
    row, column_index = np.unravel_index(int(np.argmax(weight)), weight.shape)
    near_best = (
        weight
        * (np.abs(np.arange(len(offsets))[:, None] - row) <= 2)
        * (np.abs(np.arange(len(slopes))[None, :] - column_index) <= 2)
    )
    near_best /= near_best.sum()
    offset = float((near_best.sum(axis=1) * offsets).sum())
    slope = float((near_best.sum(axis=0) * slopes).sum())
    sigma = float(np.sqrt((near_best.sum(axis=1) * (offsets - offset) ** 2).sum()))
    return Centreline(offset, slope, max(sigma, 0.02), middle)


def find_centreline(
    edges: tuple[tuple[CutEvidence, ...], tuple[CutEvidence, ...]],
    tops: tuple[TopCurve | None, TopCurve | None],
    *,
    roots_mm: Floats,
    top_mm: float,
    scale: float,
    mirrored: bool,
    offset_sd_mm: float,
    slope_sd: float,
) -> Centreline:
    """Find offset and slope of the centreline.

    Parameters
    ----------
    edges
        Evidence of the cuts on the upper (y > 0) and lower edge.
    tops
        Evidence of the uncut edge on both sides.
    roots_mm, top_mm
        Floor heights of the table and its uncut edge, from the centreline.
    scale
        Scale along the blade that the alignment found.
    mirrored
        True where both edges carry the same depths.
    offset_sd_mm, slope_sd
        How far off the frame may be.
    """
    middle = float(np.mean([cut.centre_mm for cut in edges[0]]))
    offsets, slopes = offset_sd_mm * GRID, slope_sd * GRID
    offset, slope, growth, stretch = np.meshgrid(offsets, slopes, GROWTHS, SCALES, indexing="ij")
    shape = offset.shape
    offset, slope, growth = offset.ravel(), slope.ravel(), growth.ravel()
    true_scale = scale * (1 + stretch.ravel())
    score = (
        -0.5 * (offset / offset_sd_mm) ** 2
        - 0.5 * (slope / slope_sd) ** 2
        - 0.5 * (growth / GROWTH_SD_MM) ** 2
        - 0.5 * (stretch.ravel() / 0.01) ** 2
    )
    expected = true_scale[:, None] * (roots_mm[None, :] + growth[:, None])

    def shift(x_mm: float, side: int) -> Floats:
        return np.asarray(side * (offset + slope * (x_mm - middle)))

    for upper, lower in zip(*edges, strict=True):
        a = np.interp(expected + shift(upper.centre_mm, 1)[:, None], upper.height_mm, upper.log_p)
        b = np.interp(expected + shift(lower.centre_mm, -1)[:, None], lower.height_mm, lower.log_p)
        score += logsumexp(a + b, axis=1) if mirrored else logsumexp(a, axis=1) + logsumexp(b, axis=1)
    for top, side in zip(tops, (1, -1), strict=True):
        if top is not None:
            at = true_scale * (top_mm + growth) + shift(top.x_mm, side)
            score += np.interp(at, top.height_mm, top.log_p)
    weight = np.exp(score - score.max())
    weight = (weight / weight.sum()).reshape(shape)
    by_offset, by_slope = weight.sum(axis=(1, 2, 3)), weight.sum(axis=(0, 2, 3))
    mean_offset = float((by_offset * offsets).sum())
    mean_slope = float((by_slope * slopes).sum())
    sigma = float(np.sqrt((by_offset * (offsets - mean_offset) ** 2).sum()))
    return Centreline(mean_offset, mean_slope, max(sigma, 0.01), middle)
