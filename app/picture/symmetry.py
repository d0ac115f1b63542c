"""Where the centreline of a double key lies, told by its two edges together.

A rough centreline is half a millimetre off and a little turned.  Three things correct it at once: the uncut edge near
the bow stands at the same height on both sides; every floor must stand at one of the table's depths; and on a mirrored
pair both floors of a position stand at the same one.  Offset and slope are found on a grid, scale and growth beside
them, with everything summed over the depths that a floor might have.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.special import logsumexp

from app.picture.cuts import CutEvidence
from keycore.measured import Floats

GRID = np.linspace(-2.5, 2.5, 21)
"""Places to try, in standard deviations of what is known before."""
GROWTHS = np.arange(-0.15, 0.46, 0.075)
SCALES = np.array([-0.01, 0.0, 0.01])
GROWTH_SD_MM = 0.2


@dataclass(frozen=True)
class TopCurve:
    """Log-probability of the uncut edge's height on one side, around ``x_mm`` along the frame."""

    x_mm: float
    height_mm: Floats
    log_p: Floats


@dataclass(frozen=True)
class Centreline:
    """The centreline in its frame: y = offset_mm + slope * (x - x_mid_mm)."""

    offset_mm: float
    slope: float
    sigma_mm: float
    x_mid_mm: float


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
