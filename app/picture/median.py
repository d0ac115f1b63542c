"""Medians of many values, exactly, without partitioning all of them; and the spread that they tell."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from app.picture.opencv import cv2

Values = NDArray[np.floating]

LEAST_GREY = 0.3
"""Changes of less than this many grey levels are no edge, however little noise there is."""
_FEW = 6000
"""Fewer values than this are partitioned whole."""
_SAMPLE = 2000
_BESIDE = 90
"""Four standard deviations of the rank of a sample's median: half the root of its count."""


def median_of(values: Values) -> float:
    """The median of all values, as ``np.median`` has it.

    A sample's middle part tells between which two values it lies; only what lies there is sorted.  Where the sample
    misleads (values that repeat along its stride), all are partitioned after all.
    """
    flat = values.ravel()
    count = len(flat)
    if count < _FEW:
        return _whole(flat)
    sample = np.sort(flat[:: count // _SAMPLE])
    middle = len(sample) // 2
    low, high = sample[middle - _BESIDE], sample[middle + _BESIDE]
    from_low = flat >= low
    below = count - int(np.count_nonzero(from_low))
    inside = np.sort(flat[from_low & (flat <= high)])
    first, second = (count - 1) // 2 - below, count // 2 - below
    if first < 0 or second >= len(inside):
        return _whole(flat)
    return (float(inside[first]) + float(inside[second])) / 2


def _whole(flat: Values) -> float:
    """The same of all values, partitioned whole; ``np.median`` asks more than it takes where values are few."""
    middle = len(flat) // 2
    ordered = np.partition(flat, middle)
    upper = float(ordered[middle])
    return upper if len(flat) % 2 else (float(ordered[:middle].max()) + upper) / 2


def spread(values: Values) -> float:
    """Standard deviation of the bulk of the values (from the median absolute deviation), and no less than can count."""
    return float(np.hypot(1.4826 * median_of(np.abs(values - median_of(values))), LEAST_GREY))


def median_of_bytes(grey: NDArray[np.uint8], where: NDArray[np.bool_] | NDArray[np.uint8]) -> float:
    """The median of the bytes (rows, columns) where ``where`` is not 0; there must be some."""
    upto = np.cumsum(cv2.calcHist([grey], [0], where.astype(np.uint8, copy=False), [256], [0, 256]).astype(int))
    ranks = (int(upto[-1]) - 1) // 2 + 1, int(upto[-1]) // 2 + 1
    return float(np.searchsorted(upto, ranks).sum()) / 2


def row_medians(values: Values) -> Values:
    """(rows, 1) median of each row."""
    ordered = np.sort(values, axis=1)
    count = values.shape[1]
    return np.asarray((ordered[:, (count - 1) // 2] + ordered[:, count // 2]) / 2)[:, None]
