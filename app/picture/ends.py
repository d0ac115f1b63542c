"""Where the blade ends: its tip, and the shoulder that steps out of its side."""

from __future__ import annotations

import numpy as np

from app.picture.departure import level, steps
from app.picture.frame import Frame
from app.picture.levels import PLACE_MM, Levels
from app.picture.runs import fill_islands, run_model, sample_runs
from app.picture.sample import Patch
from keycore.measured import Floats, Measured

ROW_MM = 0.3
SURE = 0.5
"""Share of its probability that a run must put within ``NEAR_MM`` of its best place to count."""
NEAR_MM = 0.15
TIP_SIGMA_MM, SHOULDER_SIGMA_MM = 0.2, 0.15
"""A tip is rounded and worn, a shoulder has a fillet; what the runs agree on better than this is not believed."""


def find_tip(
    patch: Patch, frame: Frame, levels: Levels, *, expected_mm: float, top_mm: float, low_mm: float
) -> Measured | None:
    """Find the tip along the frame, within 3 mm of where the table's length puts it.

    The tip is the farthest that any height of the blade reaches: the upper end of the runs' places, not their mean.
    """
    rows = np.arange(low_mm + 0.15 * (top_mm - low_mm), low_mm + 0.75 * (top_mm - low_mm), ROW_MM)
    ends = _ends(patch, frame, levels, rows, expected_mm - 4.0, expected_mm + 3.0)
    if len(ends) < 4:
        return None
    return Measured(float(np.percentile(ends, 85)), TIP_SIGMA_MM)


def find_shoulder(
    patch: Patch, frame: Frame, levels: Levels, *, expected_mm: float, top_mm: float, side: int
) -> Measured | None:
    """Find the shoulder's face beside the blade, within 2 mm of the gauge point; None where none steps out."""
    rows = side * np.arange(top_mm + 0.4, top_mm + 1.3, ROW_MM / 2)
    ends = _ends(patch, frame, levels, rows, expected_mm - 3.0, expected_mm + 2.0)
    if len(ends) < 4:
        return None
    return Measured(float(np.median(ends)), float(np.hypot(SHOULDER_SIGMA_MM, np.std(ends))))


def _ends(patch: Patch, frame: Frame, levels: Levels, rows_mm: Floats, from_mm: float, to_mm: float) -> Floats:
    """Where the runs along the blade at each height leave the metal; only runs that are sure of it."""
    turned = np.array([[0.0, 1.0, 0.0], [1.0, 0.0, 0.0], [0.0, 0.0, 1.0]])
    crossed = Frame(frame.to_picture @ turned, frame.px_per_mm)
    along = steps(from_mm, to_mm, PLACE_MM)
    grey = sample_runs(patch, crossed, rows_mm, along, side=1, width_mm=ROW_MM, across=4)
    start = grey[:, : max(2, round(0.6 / PLACE_MM))].mean(axis=1)
    metal = float(np.median(levels.metal))
    grey, start = grey[np.abs(start - metal) < 2 * levels.scale], start[np.abs(start - metal) < 2 * levels.scale]
    if not len(grey):
        return np.zeros(0)
    levelled = level(fill_islands(grey, start, levels.paper, PLACE_MM), start[:, None], levels.scale)
    model = run_model(
        frame,
        levels,
        levels.roughness,
        places_mm=(along[0], along[-1]),
        changes_mm=(along[0] + 0.6, along[-1] - 0.3),
    )
    score = model.log_likelihood(levelled)
    p = np.exp(score - score.max(axis=1, keepdims=True))
    p /= p.sum(axis=1, keepdims=True)
    best = model.change_mm[p.argmax(axis=1)]
    near = (p * (np.abs(model.change_mm[None, :] - best[:, None]) < NEAR_MM)).sum(axis=1)
    at_border = (best < along[0] + 0.8) | (best > along[-1] - 0.5)
    return np.asarray(best[(near > SURE) & ~at_border])
