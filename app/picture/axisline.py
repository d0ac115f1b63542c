"""The back of the blade, fitted as a line: where many runs across it leave the metal, robustly."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.special import logsumexp

from app.picture.departure import coarse_sd_of, departure_model, level, steps, texture_sd_of
from app.picture.frame import Frame
from app.picture.levels import PLACE_MM as ROUGHNESS_STEP_MM
from app.picture.levels import Levels
from app.picture.runs import CONTRAST, LEVEL_SD, blur_of, fill_islands, sample_runs, with_contamination, without_lines
from app.picture.sample import Patch
from keycore.measured import Floats

PIECES = 14
STEP_MM, PLACE_MM = 0.05, 0.025
SLOPES = np.arange(-0.05, 0.0501, 0.0025)
INSIDE_MM = 2.0
CONTAMINATED = 0.02
LINE_SHARE = 0.4
GROWTH_SD_MM = 0.15
PRIOR_SD_SHARE = 0.35
"""Standard deviation of the first guess, as a share of how far is looked."""


@dataclass(frozen=True)
class BackFit:
    """The back in its frame: outward offset at ``x_mid_mm``, slope, and their uncertainty."""

    offset_mm: float
    slope: float
    sigma_mm: float
    x_mid_mm: float

    def applied(self, frame: Frame) -> Frame:
        """Return the frame with its x axis laid on the fitted back."""
        return frame.moved(y_mm=-(self.offset_mm - self.slope * self.x_mid_mm), slope=-self.slope)


@dataclass(frozen=True)
class TopCurve:
    """Log-probability of the uncut edge's height around ``x_mm`` along the frame."""

    x_mm: float
    height_mm: Floats
    log_p: Floats


def fit_back(
    patch: Patch,
    frame: Frame,
    levels: Levels,
    *,
    x_from_mm: float,
    x_to_mm: float,
    reach_mm: float,
    top: TopCurve | None,
    blade_mm: float,
    scale_sd: float,
) -> BackFit:
    """Fit the back within ``reach_mm`` of the frame's x axis.

    Each of a number of pieces along the blade gives a likelihood of where its metal ends; the line's likelihood is
    their product, each piece mixed with a small share of 'anywhere', so that a nick or a smudge cannot pull it.  A
    groove or a bevel near the back can look like it all along; the uncut edge, one blade height away, tells them apart.

    Parameters
    ----------
    top
        Where the uncut edge may stand, or None where it was not seen.
    blade_mm, scale_sd
        The table's blade height, and how far off the frame's scale may be.
    """
    borders = np.linspace(x_from_mm, x_to_mm, PIECES + 1)
    x = (borders[1:] + borders[:-1]) / 2
    y = steps(-INSIDE_MM, reach_mm + 0.5, STEP_MM)
    grey = sample_runs(patch, frame, x, y, side=-1, width_mm=float(borders[1] - borders[0]), across=12)
    metal = levels.metal_at(x)
    levelled = level(fill_islands(grey, metal, levels.paper, STEP_MM), metal[:, None], levels.scale)
    levelled = without_lines(levelled, STEP_MM, LINE_SHARE)
    model = departure_model(
        -INSIDE_MM,
        reach_mm + 0.5,
        STEP_MM,
        change_from_mm=-reach_mm,
        change_to_mm=reach_mm,
        change_step_mm=PLACE_MM,
        blur_mm=blur_of(frame),
        contrast=CONTRAST,
        texture_sd=texture_sd_of(0.5 * levels.roughness, ROUGHNESS_STEP_MM),
        coarse_sd=coarse_sd_of(0.7 * levels.variation, 0.0),
        level_sd=LEVEL_SD,
    )
    log_p = with_contamination(model.log_likelihood(levelled), CONTAMINATED)
    middle = float(x.mean())
    places = model.change_mm
    at = places[:, None] + SLOPES[None, :] * (x[:, None, None] - middle)
    floor = np.log(CONTAMINATED / len(places))
    score = np.zeros((len(places), len(SLOPES)))
    for piece in range(len(x)):
        score += np.interp(at[piece], places, log_p[piece], left=floor, right=floor)
    score -= 0.5 * (places[:, None] / (PRIOR_SD_SHARE * reach_mm)) ** 2
    if top is not None:
        score += _height_agrees(places[:, None] + SLOPES[None, :] * (top.x_mm - middle), top, blade_mm, scale_sd)
    weight = np.exp(score - score.max())
    weight /= weight.sum()
    offset = float((weight.sum(axis=1) * places).sum())
    slope = float((weight.sum(axis=0) * SLOPES).sum())
    spread = float(np.sqrt((weight.sum(axis=1) * (places - offset) ** 2).sum()))
    return BackFit(offset, slope, max(spread, 0.3 * PLACE_MM), middle)


def _height_agrees(outward_mm: Floats, top: TopCurve, blade_mm: float, scale_sd: float) -> Floats:
    """Log evidence that the uncut edge stands one blade height from a back at ``outward_mm``, small growth allowed."""
    spread = float(np.hypot(scale_sd * blade_mm, GROWTH_SD_MM))
    off = np.linspace(-2.5, 2.5, 21) * spread
    at = blade_mm - outward_mm[..., None] + off
    return np.asarray(logsumexp(np.interp(at, top.height_mm, top.log_p) - 0.5 * (off / spread) ** 2, axis=-1))
