"""The edge finder against the Cramer-Rao bound.

Source: the bound for a known signal in white noise (any text on estimation, for example S. M. Kay, Fundamentals of
Statistical Signal Processing: Estimation Theory, 1993, ch. 3; from memory); for a step of height A, blurred by s
pixels, with unknown base and height in a window of L samples, var >= (sigma / A)^2 / (1 / (2 s sqrt(pi)) - 1 / L),
derived.
"""

from __future__ import annotations

import numpy as np
import pytest
from scipy.special import ndtr

from app.picture.edge import locate_step


@pytest.mark.parametrize(("height", "noise", "blur"), [(100.0, 2.0, 1.2), (60.0, 3.0, 0.9), (-180.0, 4.0, 2.0)])
def test_a_blurred_step_is_found_within_1_3_of_the_bound(height: float, noise: float, blur: float) -> None:
    """Scatter of 1,500 steps anywhere between pixels, against the bound; and no bias to speak of."""
    random = np.random.default_rng(20)
    u = np.arange(-10.0, 11.0)
    errors, claims = [], []
    for _ in range(1500):
        place = random.uniform(-1.0, 1.0)
        grey = 90.0 + height * ndtr((u - place) / blur) + random.normal(0.0, noise, len(u))
        found = locate_step(u, grey, blur, from_u=-3.0, to_u=3.0)
        assert found is not None
        errors.append(found.place - place)
        claims.append(found.sigma)
    bound = abs(noise / height) / np.sqrt(1 / (2 * blur * np.sqrt(np.pi)) - 1 / len(u))

    assert np.std(errors) < 1.3 * bound
    assert abs(np.mean(errors)) < 0.15 * bound
    assert 0.75 < np.mean(claims) / np.std(errors) < 1.25


def test_no_step_is_claimed_in_noise() -> None:
    """Of 400 runs of plain noise, hardly any shows a step."""
    random = np.random.default_rng(21)
    u = np.arange(-10.0, 11.0)
    claimed = [
        locate_step(u, random.normal(100.0, 3.0, len(u)), 1.0, from_u=-3.0, to_u=3.0) is not None for _ in range(400)
    ]

    assert np.mean(claimed) < 0.03
