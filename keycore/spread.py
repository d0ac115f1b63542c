"""One value and one sigma for a posterior that may have several peaks.

The value is the median.  Sigma is the half-width of the interval round it that holds 68.27 % of the posterior: for a
normal this is its standard deviation, and with two peaks it still says how far the truth lies off in two cases of
three, which a standard deviation would not.
"""

from __future__ import annotations

import math

import numpy as np
from scipy.optimize import brentq
from scipy.special import ndtr

from keycore.measured import Floats, Measured

ONE_SIGMA = 0.6826894921370859
_BINS_A_SIGMA = 5
_MOST_BINS = 800
_EXACT = 1e-5


def spread_of(values: Floats, weights: Floats, sigma: float) -> Measured:
    """Median and one-sigma half-width of a sum of equally wide normals.

    Parameters
    ----------
    values, weights
        (n,) centres, and their weights, which sum to 1.
    sigma
        Standard deviation of each normal, > 0.
    """
    values, weights = _binned(values, weights, sigma)
    low, high = float(values.min()) - 8 * sigma, float(values.max()) + 8 * sigma
    closeness = _EXACT * sigma
    median = float(brentq(lambda x: float(weights @ ndtr((x - values) / sigma)) - 0.5, low, high, xtol=closeness))

    def held(reach: float) -> float:
        inside = ndtr((median + reach - values) / sigma) - ndtr((median - reach - values) / sigma)
        return float(weights @ inside) - ONE_SIGMA

    return Measured(median, float(brentq(held, 0.0, high - low, xtol=closeness)))


def lattice_spread_of(values: Floats, weights: Floats, step: float) -> Measured:
    """As :func:`spread_of`, for weights on lattice nodes ``step`` apart.

    Each node's weight is spread over its step; the nodes are drawn together by as much, so that mean and variance,
    which the nodes already have right, stay as they are.
    """
    mean = float(weights @ values)
    variance = float(weights @ (values - mean) ** 2)
    smear = min(step / 2, 0.9 * math.sqrt(variance)) + 1e-12
    drawn = math.sqrt(max(1 - smear**2 / max(variance, 1e-300), 0.0))
    return spread_of(mean + drawn * (values - mean), weights, smear)


def _binned(values: Floats, weights: Floats, sigma: float) -> tuple[Floats, Floats]:
    """Fewer values, each the mean of its bin, a fifth of a sigma wide."""
    width = max(sigma / _BINS_A_SIGMA, float(np.ptp(values)) / _MOST_BINS)
    if len(values) < 100 or width == 0:
        return values, weights
    place = ((values - values.min()) / width).astype(np.intp)
    held = np.bincount(place, weights)
    sums = np.bincount(place, weights * values)
    full = held > 0
    return np.asarray(sums[full] / held[full], dtype=float), np.asarray(held[full], dtype=float)
