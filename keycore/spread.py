"""One value and one sigma for a posterior that may have several peaks.

The value is the median.  Sigma is the half-width of the interval round it that holds 68.27 % of the posterior: for a
normal this is its standard deviation, and with two peaks it still says how far the truth lies off in two cases of
three, which a standard deviation would not: of the growths of made-up readings it would hold three quarters.  A
coverage interval as JCGM 101:2008, 7.7 means it, but neither of its two: symmetric in value about the median, so that
one number tells it (from memory).
"""

from __future__ import annotations

import math
from collections.abc import Callable

import numpy as np
from numpy.typing import NDArray
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

    def below(place: float) -> float:
        return float(weights @ ndtr((place - values) / sigma))

    def density(place: float) -> float:
        away = (place - values) / sigma
        return float(weights @ np.exp(-0.5 * away * away)) / (sigma * math.sqrt(2 * math.pi))

    closeness = _EXACT * sigma
    # Of one normal, mean and standard deviation are the answer: a start a step or two away from most others'.
    mean = float(weights @ values)
    deviation = math.sqrt(float(weights @ (values - mean) ** 2) + sigma**2)
    median = _crossing(below, density, 0.5, (low, high), mean, closeness)
    reach = _crossing(
        lambda reach: below(median + reach) - below(median - reach),
        lambda reach: density(median + reach) + density(median - reach),
        ONE_SIGMA,
        (0.0, high - low),
        deviation,
        closeness,
    )
    return Measured(median, reach)


def _crossing(
    rising: Callable[[float], float],
    slope: Callable[[float], float],
    level: float,
    bracket: tuple[float, float],
    place: float,
    closeness: float,
) -> float:
    """Where a rising function reaches a level: Newton's steps from ``place``, or a halving of the bracket.

    Halved where a step would leave the bracket, or does not shrink to a half of the one before.
    """
    low, high = bracket
    before = high - low
    for _ in range(200):
        miss = rising(place) - level
        low, high = (low, place) if miss > 0 else (place, high)
        rise = slope(place)
        step = miss / rise if rise > 0 else math.inf
        if not low <= place - step <= high or abs(step) > before / 2:
            step = place - (low + high) / 2
        if abs(step) < closeness:
            return place - step
        before, place = abs(step), place - step
    raise ArithmeticError("no crossing found")


def lattice_spread_of(values: Floats, weights: Floats, step: float) -> Measured:
    """As :func:`spread_of`, for weights on lattice nodes ``step`` apart.

    Each node's weight is spread over its step; the nodes of each peak are drawn together by as much, so that the peak's
    mean and variance, which its nodes already have right, stay as they are.  (Drawn towards the middle of all, two
    peaks would each be too wide, and one sigma would hold too much.)
    """
    overall = float(weights @ (values - float(weights @ values)) ** 2)
    smear = min(step / 2, 0.9 * math.sqrt(overall)) + 1e-12
    peak = _peaks(values, weights, smear)
    held = np.maximum(np.bincount(peak, weights), 1e-300)
    mean = (np.bincount(peak, weights * values) / held)[peak]
    variance = (np.bincount(peak, weights * (values - mean) ** 2) / held)[peak]
    drawn = np.sqrt(np.maximum(1 - smear**2 / np.maximum(variance, 1e-300), 0.0))
    return spread_of(mean + drawn * (values - mean), weights, smear)


def _peaks(values: Floats, weights: Floats, smear: float) -> NDArray[np.intp]:
    """(n,) which peak each node belongs to, counted from the lowest; valleys are less than half as high as both
    sides.
    """
    width = max(smear, float(np.ptp(values)) / _MOST_BINS)
    place = ((values - values.min()) / width).astype(np.intp)
    offsets = np.arange(-6, 7)
    kernel = np.exp(-0.5 * (offsets / 2) ** 2)
    height = np.convolve(np.bincount(place, weights), kernel)[6:-6]
    valleys, peak, low = [], 0.0, 0
    for here, now in enumerate(height):
        if now < height[low]:
            low = here
        elif height[low] < 0.5 * min(now, peak):
            valleys.append(low)
            peak = 0.0
        if now > peak:
            peak, low = float(now), here
    return np.asarray(np.searchsorted(np.array(valleys, dtype=float), place, side="left"), dtype=np.intp)


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
