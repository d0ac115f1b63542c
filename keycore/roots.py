"""A cut's root height as measured, in millimetres, with nothing of the table's depth for that cut in it."""

from __future__ import annotations

import math

import numpy as np

from keycore.lattice import Points
from keycore.measured import CutReading, Floats, Measured
from keycore.posterior import PicturePosterior
from keycore.prior import bad_offsets
from keycore.spread import spread_of

RIPPLE_NATS = 0.5
"""A rise of less than this is a ripple of the picture's noise, not another peak."""
FOOT_NATS = 8.0
LITTLE, BAD_OFFSETS = 0.03, 60
"""A smaller chance of a bad reading widens one sigma by less than a twentieth, and is left out."""


def measured_root(
    posterior: PicturePosterior,
    cut: int,
    points: Points,
    weights: Floats,
    depth: int,
    *,
    worn: bool = True,
    quick: bool = False,
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
    quick
        Mean and standard deviation will do: the weights have one peak.

    Returns
    -------
    Measured
        Millimetres; median and one-sigma half-width (:mod:`keycore.spread`), the chance that this reading is of
        another edge included: where most other cuts of the picture seem misread, this one may be too.
    """
    px_per_mm = np.exp(points.log_scale)
    middle_px_per_mm = float(weights @ px_per_mm)
    shift_mm = points.growth_mm + posterior.cuts[cut].reach_mm * points.third + posterior.filled_mm(points, depth)
    value_px, sigma_px = value_near(
        posterior.readings.cuts[cut],
        float(weights @ (px_per_mm * (posterior.roots_mm[depth] + shift_mm))),
        middle_px_per_mm * posterior.half_step_mm[depth],
        float(weights @ points.growth_mm),
    )
    sigma_mm = math.hypot(sigma_px / middle_px_per_mm, posterior.extra_mm[cut])
    roots_mm = value_px / px_per_mm - shift_mm
    others = weights
    if worn:
        wear_mm, shares = posterior.common_wear(points)
        roots_mm, weights = (roots_mm[:, None] - wear_mm).ravel(), (weights[:, None] * shares).ravel()
    if quick:
        mean_mm = float(weights @ roots_mm)
        return Measured(mean_mm, math.hypot(math.sqrt(float(weights @ (roots_mm - mean_mm) ** 2)), sigma_mm))
    bad_share = posterior.bad_share(cut, float(others @ points.misread))
    if bad_share > LITTLE:
        off_mm = float(weights @ roots_mm) + bad_offsets(BAD_OFFSETS)
        roots_mm = np.concatenate([roots_mm, off_mm])
        weights = np.concatenate([(1 - bad_share) * weights, np.full(BAD_OFFSETS, bad_share / BAD_OFFSETS)])
    return spread_of(roots_mm, weights, sigma_mm)


def value_near(reading: CutReading, height_px: float, reach_px: float, growth_mm: float) -> tuple[float, float]:
    """(height, sigma) in px that a reading gives by itself, within ``reach_px`` of a height where it is a whole
    curve.
    """
    evidence = reading.evidence
    if evidence is None:
        return reading.root_px, reading.sigma_px
    heights_px = np.asarray(evidence.heights_px)
    rows = np.asarray(evidence.log_likelihood, dtype=float)
    row = rows[0]
    if len(rows) > 1:
        row = np.array([np.interp(growth_mm, evidence.growths_mm, column) for column in rows.T])
    step_px = float(heights_px[1] - heights_px[0])
    near = np.abs(heights_px - height_px) <= max(reach_px, 2 * step_px)
    if not near.any():
        return reading.root_px, max(reading.sigma_px, reach_px)
    first, last = _peak(row, int(np.argmax(np.where(near, row, -np.inf))))
    weights = np.exp(row[first:last] - row[first:last].max())
    # A level foot says "or anything else"; it is no part of this peak's width.
    weights = weights - (1 - 1e-9) * weights.min()
    weights /= weights.sum()
    mean = float(weights @ heights_px[first:last])
    variance = float(weights @ (heights_px[first:last] - mean) ** 2) + step_px**2 / 12
    return mean, math.sqrt(variance)


def _peak(row: Floats, top: int) -> tuple[int, int]:
    """First and one past the last place of the peak that ``top`` belongs to: down to where the curve rises again."""

    def end(onward: Floats) -> int:
        rising = onward > np.minimum.accumulate(onward) + RIPPLE_NATS
        low = onward < onward[0] - FOOT_NATS
        stop = np.flatnonzero(rising | low)
        if not len(stop):
            return len(onward)
        return int(stop[0]) if low[stop[0]] else int(np.argmin(onward[: stop[0]])) + 1

    return top + 1 - end(row[top::-1]), top + end(row[top:])
