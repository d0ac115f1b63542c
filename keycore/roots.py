"""A cut's root height as measured, in millimetres, with nothing of the table's depth for that cut in it."""

from __future__ import annotations

import math

import numpy as np

from keycore.lattice import Points
from keycore.measured import CutReading, Floats, Measured
from keycore.posterior import PicturePosterior
from keycore.spread import spread_of


def measured_root(
    posterior: PicturePosterior, cut: int, points: Points, weights: Floats, depth: int, *, worn: bool = True
) -> Measured:
    """Root height from one cut's own reading, on the scale and growth that everything else gives.

    Parameters
    ----------
    points, weights
        The lattice, and (points,) weights that sum to 1 from all *other* cuts and the references.  Leaving the cut's
        own reading out makes its noise independent of the scale and growth, so that the two variances simply add.
    depth
        The likeliest depth; where the picture's evidence has several peaks it says which of them is meant.
    worn
        Whether the key's common wear is to be told from growth; False where growth is held.

    Returns
    -------
    Measured
        Millimetres; median and one-sigma half-width (:mod:`keycore.spread`).
    """
    px_per_mm = np.exp(points.log_scale)
    middle_px_per_mm = float(weights @ px_per_mm)
    shift_mm = points.growth_mm + posterior.cuts[cut].reach_mm * points.third
    value_px, sigma_px = value_near(
        posterior.readings.cuts[cut],
        float(weights @ (px_per_mm * (posterior.roots_mm[depth] + shift_mm))),
        middle_px_per_mm * posterior.half_step_mm[depth],
        float(weights @ points.growth_mm),
    )
    roots_mm = value_px / px_per_mm - shift_mm
    if worn:
        wear_mm, shares = posterior.common_wear(points)
        roots_mm, weights = (roots_mm[:, None] - wear_mm).ravel(), (weights[:, None] * shares).ravel()
    return spread_of(roots_mm, weights, sigma_px / middle_px_per_mm)


def value_near(reading: CutReading, height_px: float, reach_px: float, growth_mm: float) -> tuple[float, float]:
    """(height, sigma) in px that a reading gives by itself, within ``reach_px`` of a height where it is a whole
    curve.
    """
    evidence = reading.evidence
    if evidence is None:
        return reading.root_px, reading.sigma_px
    heights_px = np.asarray(evidence.heights_px)
    row = np.array(
        [np.interp(growth_mm, evidence.growths_mm, column) for column in np.asarray(evidence.log_likelihood).T]
    )
    near = np.abs(heights_px - height_px) <= max(reach_px, 2 * (heights_px[1] - heights_px[0]))
    if not near.any():
        return reading.root_px, max(reading.sigma_px, reach_px)
    weights = np.exp(row[near] - row[near].max())
    weights /= weights.sum()
    mean = float(weights @ heights_px[near])
    step_px = float(heights_px[1] - heights_px[0])
    variance = float(weights @ (heights_px[near] - mean) ** 2) + step_px**2 / 12
    return mean, math.sqrt(variance)
