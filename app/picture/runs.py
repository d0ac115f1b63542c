"""Runs of grey values across an edge, and where each of them leaves the metal."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import uniform_filter1d

from app.picture.departure import DepartureModel, coarse_sd_of, departure_model, level, steps, texture_sd_of
from app.picture.frame import Frame
from app.picture.levels import COLUMN_MM, PLACE_MM, Levels
from app.picture.sample import Patch
from keycore.measured import Floats

ACROSS_SAMPLES = 4
LEVEL_SD = 0.15
CONTRAST = 2.0
"""Size of an ordinary step on leaving the metal, in units of the saturation scale."""
ISLAND_MM, RESUMED_MM = 0.7, 0.25
LINE_MM, METAL_AGAIN_MM, METAL_LIKE = 0.8, 0.4, 0.35
LINE_AVERAGE = 9
LINE_SHARE = 0.3
"""A line in this share of all runs at one height is a groove's edge, not the end of the metal: floors differ."""
CONTAMINATED = 0.03
"""Share of runs that dirt, burrs or glare send anywhere at all."""


@dataclass(frozen=True)
class EdgeRuns:
    """Along one edge, the probability of every place where metal may end.

    Attributes
    ----------
    x_mm
        (c,) centres of the runs along the blade, evenly spaced.
    y_mm
        (p,) places along the outward direction, evenly spaced, rising.
    log_p
        (c, p) log-probability, each run summing to one and never below the contamination floor.
    """

    x_mm: Floats
    y_mm: Floats
    log_p: Floats


def blur_of(frame: Frame) -> float:
    """Blur of a step in millimetres: about one pixel of the picture and never less than an edge's own rounding."""
    return max(0.05, round(0.8 / frame.px_per_mm, 3))


def sample_runs(
    patch: Patch, frame: Frame, x_mm: Floats, y_mm: Floats, *, side: int, width_mm: float, across: int
) -> Floats:
    """(c, p) grey values of runs at ``x_mm``, averaged over ``width_mm`` along the blade."""
    offsets = ((np.arange(across) + 0.5) / across - 0.5) * width_mm
    x, y, offset = np.broadcast_arrays(x_mm[:, None, None], y_mm[None, :, None], offsets[None, None, :])
    return np.asarray(patch.at(frame.picture_xy(np.stack([x + offset, side * y], axis=-1))).mean(axis=2))


def fill_islands(grey: Floats, metal: Floats, paper: float, step_mm: float) -> Floats:
    """Give the metal's level to short bright patches that lie in metal.

    A groove's glint, or a highlight that a copier burnt out to white, leaves the metal and comes back to it; an edge
    does not come back.  Patches up to ``ISLAND_MM`` that are followed by at least ``RESUMED_MM`` of not-paper are
    filled.
    """
    nearer_paper = (grey - metal[:, None]) / (paper - metal[:, None] + 1e-9) > 0.4
    longest, resumed = round(ISLAND_MM / step_mm), round(RESUMED_MM / step_mm)
    filled = grey.copy()
    for row, bright in enumerate(nearer_paper):
        change = np.diff(np.concatenate([[0], bright.astype(np.int8), [0]]))
        starts, ends = np.flatnonzero(change == 1), np.flatnonzero(change == -1)
        following = np.append(starts, len(bright))[1:]
        for start, end, following_start in zip(starts, ends, following, strict=True):
            if end < len(bright) and end - start <= longest and following_start - end >= resumed:
                filled[row, max(0, start - 2) : end + 2] = metal[row]
    return filled


def line_mask(levelled: Floats, step_mm: float) -> NDArray[np.bool_]:
    """(c, p) True where a run leaves the metal's level for at most ``LINE_MM`` and comes back to it for good.

    Of either sign: the edges of a groove are dark on one side and bright on the other.  'For good' is at least
    ``METAL_AGAIN_MM`` of values like metal; a shadow that passes through the metal's level on its way to paper does not
    stay there so long.
    """
    away = np.abs(levelled) > METAL_LIKE
    longest, again = round(LINE_MM / step_mm), round(METAL_AGAIN_MM / step_mm)
    mask = np.zeros(levelled.shape, dtype=bool)
    for row, off in enumerate(away):
        change = np.diff(np.concatenate([[0], off.astype(np.int8), [0]]))
        starts, ends = np.flatnonzero(change == 1), np.flatnonzero(change == -1)
        following = np.append(starts, len(off))[1:]
        for start, end, next_start in zip(starts, ends, following, strict=True):
            if end < len(off) and end - start <= longest and next_start - end >= again:
                mask[row, max(0, start - 1) : end + 1] = True
    return mask


def without_lines(levelled: Floats, step_mm: float, share: float) -> Floats:
    """Take out lines that stand at the same height in at least ``share`` of the runs.

    Looked for in runs averaged along the blade, as grooves run, so that texture does not hide them.
    """
    mask = line_mask(uniform_filter1d(levelled, min(LINE_AVERAGE, len(levelled)), axis=0, mode="nearest"), step_mm)
    common = mask.mean(axis=0) >= share
    common = common | np.roll(common, 1) | np.roll(common, -1)
    return np.where(mask & common[None, :], 0.0, levelled)


def edge_runs(
    patch: Patch,
    frame: Frame,
    levels: Levels,
    *,
    x_from_mm: float,
    x_to_mm: float,
    y_from_mm: float,
    y_to_mm: float,
    side: int = 1,
    known_profile: Floats | None = None,
    sure_below_mm: float,
) -> EdgeRuns:
    """Find where the metal may end in every run across one cut edge.

    Parameters
    ----------
    y_from_mm, y_to_mm
        Heights to look at, the lower one certainly in metal.
    side
        1 for the edge at positive y, -1 for the other.
    known_profile
        (c,) heights of the edge where a first look has found them, to learn what runs along the blade in the metal.
    sure_below_mm
        Below this height there is metal everywhere.
    """
    x = steps(x_from_mm, x_to_mm, COLUMN_MM)
    y = steps(y_from_mm, y_to_mm, PLACE_MM)
    metal = levels.metal_at(x)
    grey = sample_runs(patch, frame, x, y, side=side, width_mm=COLUMN_MM, across=ACROSS_SAMPLES)
    levelled = level(fill_islands(grey, metal, levels.paper, PLACE_MM), metal[:, None], levels.scale)
    levelled = without_lines(levelled, PLACE_MM, LINE_SHARE)
    roughness = levels.roughness if known_profile is None else levels.roughness_apart
    model = run_model(frame, levels, roughness, places_mm=(y[0], y[-1]), changes_mm=(y[0] + 0.3, y[-1] - 0.3))
    texture = along_texture(levelled, y, known_profile, sure_below_mm)
    log_likelihood = model.log_likelihood(levelled, np.broadcast_to(texture, levelled.shape))
    return EdgeRuns(x, model.change_mm, with_contamination(log_likelihood, CONTAMINATED))


def run_model(
    frame: Frame, levels: Levels, roughness: float, *, places_mm: tuple[float, float], changes_mm: tuple[float, float]
) -> DepartureModel:
    """Build the departure model of runs ``COLUMN_MM`` wide, sampled over ``places_mm``."""
    fine_sd = texture_sd_of(roughness, PLACE_MM)
    return departure_model(
        places_mm[0],
        places_mm[1],
        PLACE_MM,
        change_from_mm=changes_mm[0],
        change_to_mm=changes_mm[1],
        change_step_mm=PLACE_MM,
        blur_mm=blur_of(frame),
        contrast=CONTRAST,
        texture_sd=fine_sd,
        coarse_sd=coarse_sd_of(levels.variation, fine_sd),
        level_sd=LEVEL_SD,
    )


def along_texture(levelled: Floats, y_mm: Floats, profile_mm: Floats | None, sure_below_mm: float) -> Floats:
    """(p,) what the metal itself shows at each height, the same all along the blade: grooves, brushing."""
    texture = np.zeros(len(y_mm))
    for index, height in enumerate(y_mm):
        if profile_mm is None:
            metal = np.full(len(levelled), height < sure_below_mm)
        else:
            metal = profile_mm > height + 0.25
        if metal.sum() >= max(5, 0.2 * len(levelled)):
            texture[index] = np.median(levelled[metal, index])
    return texture


def with_contamination(log_likelihood: Floats, share: float) -> Floats:
    """Normalise each row to a probability and mix in ``share`` of 'anywhere'."""
    p = np.exp(log_likelihood - log_likelihood.max(axis=1, keepdims=True))
    p /= p.sum(axis=1, keepdims=True)
    return np.asarray(np.log((1 - share) * p + share / p.shape[1]))
