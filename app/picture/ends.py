"""Where the blade ends: its tip, and the shoulder that steps out of its side."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from app.picture.edgemaps import GREATEST_RATIO, log_ratio, noise_of_mean, step_filter
from app.picture.frame import Frame
from app.picture.logsum import logsumexp
from app.picture.median import spread
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


SIDES, THIRDS = 2, 3
"""Bands in which a shoulder and a tip are looked for."""
MOST_OF_ENDS = (SIDES + THIRDS) * float(np.logaddexp(np.log(1 - THERE), np.log(THERE) + GREATEST_RATIO))
"""More than this does never speak for both ends together."""


@dataclass(frozen=True)
class BladeEnds:
    """Both ends of the blade: where they were seen, if they were, and how much speaks for both."""

    shoulder_mm: Measured | None
    tip_mm: Measured | None
    score: float


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
    posteriors = _across(patch, frame, x, bands_mm, signed).T + prior
    score = float(np.logaddexp(np.log(1 - THERE), np.log(THERE) + logsumexp(posteriors, axis=1)).sum())
    best = posteriors[int(np.argmax(posteriors.max(axis=1)))]
    if float(best.max()) < 0.0:
        return BladeEnd(None, score)
    weight = np.exp(best - best.max())
    weight /= weight.sum()
    mean = float((weight * x).sum())
    return BladeEnd(Measured(mean, float(np.hypot(least_sigma_mm, np.sqrt((weight * (x - mean) ** 2).sum())))), score)


def _across(
    patch: Patch, frame: Frame, x_mm: Floats, bands_mm: tuple[tuple[float, float], ...], signed: bool
) -> Floats:
    """(n, bands) log-likelihood ratio of a step straight across at every x, over each band of heights."""
    rows = [np.arange(low, high, STEP_MM) for low, high in bands_mm]
    grey = patch.grid(frame, x_mm, np.concatenate(rows))
    changes = step_filter(grey, frame, axis=1, step_mm=STEP_MM)
    z = np.empty((len(x_mm), len(rows)))
    for band, change in enumerate(np.split(changes, np.cumsum([len(row) for row in rows])[:-1])):
        z[:, band] = change.mean(axis=0) / noise_of_mean(spread(change), len(change) * STEP_MM)
    return log_ratio(z, signed=signed, step_mm=STEP_MM)
