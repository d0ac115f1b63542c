"""The quick medians are medians, whatever the values are."""

from __future__ import annotations

import numpy as np
import pytest

from app.picture.median import median_of, median_of_bytes, row_medians

RNG = np.random.default_rng(5)


@pytest.mark.parametrize("kind", [np.float32, np.float64])
@pytest.mark.parametrize("count", [1, 2, 5000, 20_000, 20_001])
def test_the_median_is_exact(count: int, kind: type) -> None:
    """Of noise, of equal values, of sorted ones, and of such as repeat along the sample's stride."""
    many = RNG.normal(0, 3, count)
    for values in (many, np.sort(many), np.round(many), np.zeros(count), np.arange(count) % 10.0, many**9):
        typed = values.astype(kind)
        assert median_of(typed) == pytest.approx(float(np.median(typed.astype(float))), rel=1e-6)


@pytest.mark.parametrize("columns", [1, 2, 90, 91])
def test_row_medians_are_each_row_s(columns: int) -> None:
    """As a column, to be taken off the rows."""
    values = RNG.normal(0, 3, (7, columns))
    assert row_medians(values) == pytest.approx(np.median(values, axis=1, keepdims=True))


@pytest.mark.parametrize("share", [0.3, 0.001])
def test_the_median_of_bytes_is_exact(share: float) -> None:
    """Of an even and of an odd count, where a mask says so."""
    grey = RNG.integers(0, 256, (50, 60)).astype(np.uint8)
    where = RNG.uniform(size=grey.shape) < share
    where[3, 4] = True
    for mask in (where, np.where(np.cumsum(where).reshape(where.shape) == 1, False, where)):
        if mask.any():
            assert median_of_bytes(grey, mask) == float(np.median(grey[mask]))
