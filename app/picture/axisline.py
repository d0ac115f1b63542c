"""The back of the blade, fitted as a line: where many runs across it leave the metal, robustly."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from app.picture.departure import departure_model, level, steps
from app.picture.frame import Frame
from app.picture.levels import Levels
from app.picture.runs import CONTRAST, LEVEL_SD, blur_of, fill_islands, sample_runs, with_contamination
from app.picture.sample import Patch
from keycore.measured import Floats

PIECES = 14
STEP_MM, PLACE_MM = 0.05, 0.025
SLOPES = np.arange(-0.05, 0.0501, 0.0025)
INSIDE_MM = 2.0
CONTAMINATED = 0.02
PRIOR_SD_SHARE = 0.5
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


def fit_back(patch: Patch, frame: Frame, levels: Levels, *, x_from_mm: float, x_to_mm: float, reach_mm: float) -> BackFit:
    """Fit the back within ``reach_mm`` of the frame's x axis.

    Each of a number of pieces along the blade gives a likelihood of where its metal ends; the line's likelihood is
    their product, each piece mixed with a small share of 'anywhere', so that a nick or a smudge cannot pull it.
    """
    borders = np.linspace(x_from_mm, x_to_mm, PIECES + 1)
    x = (borders[1:] + borders[:-1]) / 2
    y = steps(-INSIDE_MM, reach_mm + 0.5, STEP_MM)
    grey = sample_runs(patch, frame, x, y, side=-1, width_mm=float(borders[1] - borders[0]), across=12)
    metal = levels.metal_at(x)
    levelled = level(fill_islands(grey, metal, levels.paper, STEP_MM), metal[:, None], levels.scale)
    model = departure_model(
        -INSIDE_MM,
        reach_mm + 0.5,
        STEP_MM,
        change_from_mm=-reach_mm,
        change_to_mm=reach_mm,
        change_step_mm=PLACE_MM,
        blur_mm=blur_of(frame),
        contrast=CONTRAST,
        texture_sd=max(0.06, round(0.7 * levels.texture_sd, 3)),
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
    weight = np.exp(score - score.max())
    weight /= weight.sum()
    offset = float((weight.sum(axis=1) * places).sum())
    slope = float((weight.sum(axis=0) * SLOPES).sum())
    spread = float(np.sqrt((weight.sum(axis=1) * (places - offset) ** 2).sum()))
    return BackFit(offset, slope, max(spread, 0.3 * PLACE_MM), middle)


def polyline(frame: Frame, x_from_mm: float, x_to_mm: float) -> Floats:
    """(2, 2) picture positions of the frame's x axis between two places."""
    return frame.picture_xy(np.array([[x_from_mm, 0.0], [x_to_mm, 0.0]]))
