"""Where the blade ends: its tip, and the shoulder that steps out of its side."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from app.picture.edgemaps import log_ratio, noise_of_mean, spread, step_filter
from app.picture.frame import Frame
from app.picture.logsum import logsumexp
from app.picture.sample import Patch
from keycore.measured import Floats, Measured

STEP_MM = 0.05
REACH_MM = 3.0
"""How far beside the expected place an end is looked for."""
EXPECTED_SD_MM = 0.3
SHOULDER_SIGMA_MM, TIP_SIGMA_MM = 0.15, 0.2
"""A shoulder has a fillet, a tip is rounded and worn: what the rows agree on better than this is not believed."""
THERE = 0.5
"""How often a side of the blade shows an end at all: not every key has a shoulder on both sides."""


@dataclass(frozen=True)
class BladeEnd:
    """One end of the blade: where it was seen, if it was, and how much speaks for it at the expected place."""

    at_mm: Measured | None
    score: float


def find_shoulder(
    patch: Patch, frame: Frame, *, expected_mm: float, bands_mm: tuple[tuple[float, float], ...], signed: bool
) -> BladeEnd:
    """Find the shoulder's face: a step straight across, beside the blade.

    Parameters
    ----------
    expected_mm
        Where the cuts put it.
    bands_mm
        Heights (from, to) beside the blade in which it may stand out, one band a side.
    """
    return _end(patch, frame, expected_mm, bands_mm, signed, SHOULDER_SIGMA_MM)


def find_tip(patch: Patch, frame: Frame, *, expected_mm: float, low_mm: float, top_mm: float, signed: bool) -> BladeEnd:
    """Find the tip: the step across the blade's end, in whichever third of its middle reaches farthest."""
    height = top_mm - low_mm
    bands = tuple((low_mm + share * height, low_mm + (share + 0.2) * height) for share in (0.2, 0.4, 0.6))
    return _end(patch, frame, expected_mm, bands, signed, TIP_SIGMA_MM)


def _end(
    patch: Patch,
    frame: Frame,
    expected_mm: float,
    bands_mm: tuple[tuple[float, float], ...],
    signed: bool,
    least_sigma_mm: float,
) -> BladeEnd:
    x = np.arange(expected_mm - REACH_MM, expected_mm + REACH_MM, STEP_MM)
    prior = -0.5 * ((x - expected_mm) / EXPECTED_SD_MM) ** 2
    prior = prior - logsumexp(prior)
    curves = [_across(patch, frame, x, band, signed) for band in bands_mm]
    score = float(sum(np.logaddexp(np.log(1 - THERE), np.log(THERE) + logsumexp(c + prior)) for c in curves))
    best = max(curves, key=lambda curve: float((curve + prior).max()))
    if float((best + prior).max()) < 0.0:
        return BladeEnd(None, score)
    weight = np.exp(best + prior - (best + prior).max())
    weight /= weight.sum()
    mean = float((weight * x).sum())
    return BladeEnd(Measured(mean, float(np.hypot(least_sigma_mm, np.sqrt((weight * (x - mean) ** 2).sum())))), score)


def _across(patch: Patch, frame: Frame, x_mm: Floats, band_mm: tuple[float, float], signed: bool) -> Floats:
    """(n,) log-likelihood ratio of a step straight across at every x, over one band of heights."""
    rows = np.arange(band_mm[0], band_mm[1], STEP_MM)
    grey = patch.grid(frame, x_mm, rows)
    change = step_filter(grey, frame, axis=1, step_mm=STEP_MM)
    noise = noise_of_mean(spread(change), len(rows) * STEP_MM)
    return log_ratio(change.mean(axis=0) / noise, signed=signed, step_mm=STEP_MM)
