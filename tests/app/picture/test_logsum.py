"""Sums of logarithms agree with a general-purpose library's, far from zero too."""

from __future__ import annotations

import numpy as np
import pytest
from scipy import special

from app.picture.logsum import logsumexp


@pytest.mark.parametrize("axis", [None, 0, 1, -1])
@pytest.mark.parametrize("offset", [0.0, 900.0, -900.0])
def test_it_is_the_logarithm_of_the_sum(axis: int | None, offset: float) -> None:
    """To the last few bits, where the sum itself would overflow or vanish, and with impossible values among others."""
    values = np.random.default_rng(4).normal(offset, 30.0, (7, 5))
    values[2, 3] = -np.inf
    assert logsumexp(values, axis) == pytest.approx(special.logsumexp(values, axis), rel=1e-12)
