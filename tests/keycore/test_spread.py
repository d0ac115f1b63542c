"""One value and one sigma for many-peaked posteriors."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.special import ndtr

from keycore.spread import ONE_SIGMA, lattice_spread_of, spread_of


def test_of_one_normal_it_is_mean_and_standard_deviation():
    """By itself, and built up of many narrower ones."""
    x = np.linspace(-9, 9, 721)
    weights = np.exp(-0.5 * ((x - 1) / 2) ** 2)
    built = spread_of(x, weights / weights.sum(), 0.5)

    assert spread_of(np.array([3.0]), np.ones(1), 0.2).value == pytest.approx(3.0, abs=1e-4)
    assert spread_of(np.array([3.0]), np.ones(1), 0.2).sigma == pytest.approx(0.2, rel=1e-3)
    assert (built.value, built.sigma) == pytest.approx((1.0, np.hypot(2.0, 0.5)), rel=1e-3)


def test_two_peaks_give_the_greater_one_and_a_width_that_holds_two_thirds():
    """Four fifths at 0 and one fifth at 5: the value is of the greater peak, sigma says how far 68 % reach."""
    found = spread_of(np.array([0.0, 5.0]), np.array([0.8, 0.2]), 0.1)

    assert abs(found.value) < 0.1 and 0.1 < found.sigma < 0.2


def test_a_coarse_lattice_gives_the_standard_deviation_of_what_it_stands_for():
    """Nodes 1.3 sigma apart: within 3 %."""
    for offset in (0.0, 0.3, 0.65):
        x = 1.3 * np.arange(-8, 9) + offset
        weights = np.exp(-0.5 * x**2)
        found = lattice_spread_of(x, weights / weights.sum(), 1.3)

        assert found.sigma == pytest.approx(1.0, rel=0.03) and found.value == pytest.approx(0.0, abs=0.03)


def test_each_of_two_peaks_on_a_coarse_lattice_stays_as_narrow_as_it_is():
    """Nodes 1.3 sigma apart, seven eighths at 0, the rest far off: the interval is that of a sum of two normals."""
    x = 1.3 * np.arange(-8, 48) + 0.3
    weights = 7 * np.exp(-0.5 * x**2) + np.exp(-0.5 * (x - 40) ** 2)
    found = lattice_spread_of(x, weights / weights.sum(), 1.3)
    fine = np.linspace(-8, 48, 8001)
    density = 7 * np.exp(-0.5 * fine**2) + np.exp(-0.5 * (fine - 40) ** 2)
    exact = spread_of(fine, density / density.sum(), 0.01)

    assert (found.value, found.sigma) == pytest.approx((exact.value, exact.sigma), rel=0.04, abs=0.02)


def test_narrow_peaks_far_apart_are_found_to_a_fraction_of_their_width():
    """The distribution is flat between the peaks, where a step by the slope leads nowhere."""
    rng = np.random.default_rng(3)
    for _ in range(40):
        values, weights = rng.uniform(-1, 1, 30), rng.random(30) ** 3
        weights /= weights.sum()
        sigma = 10 ** rng.uniform(-4, -1)
        found = spread_of(values, weights, sigma)

        def below(place, values=values, weights=weights, sigma=sigma):
            return weights @ ndtr((place - values) / sigma)

        assert below(found.value) == pytest.approx(0.5, abs=1e-5)
        held = below(found.value + found.sigma) - below(found.value - found.sigma)
        assert held == pytest.approx(ONE_SIGMA, abs=1e-5)
