"""Grey levels around a blade: the metal's own level and texture, the paper's level, and the noise of both."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.ndimage import median_filter

from app.picture.frame import Frame
from app.picture.sample import Patch
from keycore.measured import Floats

STEP_MM = 0.1
FLAT_MM = 0.7


@dataclass(frozen=True)
class Levels:
    """What is metal and what is paper in one picture of a blade.

    Attributes
    ----------
    x_mm, metal
        (n,) the metal's grey level along the blade.
    paper
        Grey level of the paper beside the blade.
    scale
        Grey difference that counts as a clear departure from metal.
    texture_sd
        Standard deviation of the metal's texture, in units of ``scale``, for runs averaged over a cut's flat.
    """

    x_mm: Floats
    metal: Floats
    paper: float
    scale: float
    texture_sd: float

    def metal_at(self, x_mm: Floats | float) -> Floats:
        """Metal level at any x, held at the ends."""
        return np.asarray(np.interp(x_mm, self.x_mm, self.metal))


def measure_levels(
    patch: Patch, frame: Frame, *, x_from_mm: float, x_to_mm: float, metal_mm: tuple[float, float], outside_mm: Floats
) -> Levels:
    """Measure the levels.

    Parameters
    ----------
    patch, frame
        The picture and the blade in it.
    x_from_mm, x_to_mm
        Stretch of the blade that is certainly blade.
    metal_mm
        Heights between which there is certainly metal.
    outside_mm
        (m,) heights that are certainly beside the blade.
    """
    x = np.arange(x_from_mm, x_to_mm, STEP_MM)
    y = np.arange(metal_mm[0], metal_mm[1], STEP_MM / 2)
    band = patch.at(frame.picture_xy(np.stack(np.meshgrid(x, y), axis=-1)))
    metal = median_filter(np.median(band, axis=0), size=15, mode="nearest")
    beside = patch.at(frame.picture_xy(np.stack(np.meshgrid(x, outside_mm), axis=-1)))
    paper = float(np.percentile(beside, 90))
    width = max(1, round(FLAT_MM / STEP_MM))
    columns = len(x) // width
    runs = band[:, : columns * width].reshape(len(y), columns, width).mean(axis=2)
    runs = runs - np.median(runs, axis=0)
    rows = np.median(runs, axis=1)
    noise = _spread(runs - rows[:, None])
    along = _spread(rows)
    contrast = abs(paper - float(np.median(metal)))
    scale = max(6.0 * noise, 0.15 * contrast, 4.0)
    texture = float(np.hypot(noise, 0.5 * along)) / scale
    return Levels(x, metal, paper, scale, float(np.clip(texture, 0.04, 0.4)))


def _spread(values: Floats) -> float:
    """Standard deviation of the bulk of the values (from the median absolute deviation)."""
    return 1.4826 * float(np.median(np.abs(values - np.median(values))))
