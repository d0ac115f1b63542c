"""Grey levels around a blade: the metal's own level and texture, the paper's level, and the noise of both."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.ndimage import median_filter

from app.picture.frame import Frame
from app.picture.sample import Patch
from keycore.measured import Floats

STEP_MM = 0.1
COLUMN_MM, PLACE_MM = 0.2, 0.06
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
    roughness
        Standard deviation of the change between places ``PLACE_MM`` apart in the metal, in units of ``scale``, for runs
        ``COLUMN_MM`` wide.
    """

    x_mm: Floats
    metal: Floats
    paper: float
    scale: float
    roughness: float
    roughness_apart: float
    """The same with what runs along the blade (grooves, brushing) taken off."""
    variation: float
    """Standard deviation of the metal's level along a run, grooves left out, in units of ``scale``."""

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
    noise = _spread(runs - np.median(runs, axis=1)[:, None])
    contrast = abs(paper - float(np.median(metal)))
    scale = max(6.0 * noise, 0.15 * contrast, 4.0)
    roughness, apart, variation = _texture(patch, frame, x_from_mm, x_to_mm, metal_mm)
    return Levels(x, metal, paper, scale, roughness / scale, apart / scale, variation / scale)


def _texture(
    patch: Patch, frame: Frame, x_from_mm: float, x_to_mm: float, metal_mm: tuple[float, float]
) -> tuple[float, float, float]:
    """How runs change from place to place, the same without the rows' own part, and how far they stray."""
    x = np.arange(x_from_mm, x_to_mm, 0.4)
    y = np.arange(metal_mm[0], metal_mm[1], PLACE_MM)
    offsets = (np.arange(4) / 4 - 0.375) * COLUMN_MM
    grid = np.stack(np.broadcast_arrays(x[:, None, None] + offsets, y[None, :, None]), axis=-1)
    runs = patch.at(frame.picture_xy(grid)).mean(axis=2)
    strays = runs - np.median(runs, axis=1, keepdims=True)
    apart = strays - np.median(strays, axis=0)
    return _spread(np.diff(runs, axis=1)), _spread(np.diff(apart, axis=1)), _spread(apart)


def _spread(values: Floats) -> float:
    """Standard deviation of the bulk of the values (from the median absolute deviation)."""
    return 1.4826 * float(np.median(np.abs(values - np.median(values))))
