"""Dark bands beside a key: their far side counts less, and nothing else does."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.ndimage import gaussian_filter1d

from app.picture.darkband import (
    BEYOND_DARK,
    BLACK_AGAIN,
    OUTSIDE_DARK,
    beyond_dark,
    black_beyond,
    dark_inside,
    outside_dark,
)

STEP_MM = 0.04
Y_MM = STEP_MM * np.arange(120)
METAL, PAPER, EDGE_MM = 170.0, 220.0, 3.0


def _level(wall: float | None, *, breadth_mm: float = 0.5, line_mm: float | None = None) -> np.ndarray:
    """Grey along a line: metal up to ``EDGE_MM``, there paper; before it a wall, or a groove's line farther in."""
    grey = np.where(Y_MM < EDGE_MM, METAL, PAPER)
    if wall is not None:
        grey[np.abs(Y_MM - EDGE_MM + breadth_mm / 2) < breadth_mm / 2] = wall
    if line_mm is not None:
        grey[np.abs(Y_MM - line_mm) < 0.1] = 60.0
    return np.asarray(gaussian_filter1d(grey, 0.06 / STEP_MM))


def _at_edge(level: np.ndarray, noise: float = 3.0) -> float:
    told = outside_dark(level, noise, STEP_MM)
    return float(told[np.abs(Y_MM - EDGE_MM) < 0.1].min())


def test_an_edge_with_nothing_dark_inside_loses_nothing() -> None:
    """Metal up to the edge, or a groove's dark line with metal behind it; nor does an edge to the darker outside."""
    assert _at_edge(_level(None)) == pytest.approx(0.0, abs=1e-9)
    assert _at_edge(_level(None, line_mm=2.4)) > -0.3
    assert _at_edge(390.0 - _level(None)) == pytest.approx(0.0, abs=1e-9)


@pytest.mark.parametrize("breadth_mm", [0.3, 0.5, 0.9])
def test_the_far_side_of_a_dark_wall_counts_less(breadth_mm: float) -> None:
    """A dark wall's far side by all of it, a wall hardly darker than its metal by part; the near side by nothing."""
    dark = _level(20.0, breadth_mm=breadth_mm)

    assert _at_edge(dark) == pytest.approx(-OUTSIDE_DARK, abs=0.8)
    assert -0.8 * OUTSIDE_DARK < _at_edge(_level(150.0, breadth_mm=breadth_mm)) < -0.1 * OUTSIDE_DARK
    near = np.abs(Y_MM - (EDGE_MM - breadth_mm)) < 0.05
    assert outside_dark(dark, 3.0, STEP_MM)[near] == pytest.approx(0.0, abs=1e-9)


def test_what_noise_alone_makes_darker_is_no_band() -> None:
    """The same faint band counts less the more noise there is."""
    faint = _level(162.0)

    assert _at_edge(faint, noise=1.0) < _at_edge(faint, noise=6.0) < _at_edge(faint, noise=40.0) + 1e-9
    assert _at_edge(faint, noise=40.0) == pytest.approx(0.0, abs=1e-9)


def test_a_long_line_beyond_a_dark_one_counts_less() -> None:
    """An edge to the light with one to the dark inside it; neither a lone edge nor the dark one loses anything."""
    light, dark = (np.exp(-0.5 * ((Y_MM - at) / 0.06) ** 2) for at in (1.6, 1.2))

    lone, band, bright = beyond_dark(
        np.stack([10 * light, 10 * light - 8 * dark, 8 * dark - 10 * light], axis=1), STEP_MM
    ).T

    assert lone.min() == pytest.approx(0.0, abs=1e-9)
    assert band.min() == pytest.approx(-BEYOND_DARK)
    assert Y_MM[np.flatnonzero(band < -0.1)] == pytest.approx(1.6, abs=0.15)
    assert bright.min() == pytest.approx(0.0, abs=1e-9)


def test_a_floor_loses_what_either_way_of_seeing_the_band_says() -> None:
    """The more of the two at every height, not both."""
    level, z = _level(20.0), 8.0 * np.sin(np.arange(len(Y_MM)))

    either = dark_inside(level, 3.0, z, STEP_MM)

    one, other = outside_dark(level, 3.0, STEP_MM), beyond_dark(z, STEP_MM)
    assert either == pytest.approx(np.minimum(one, other))
    assert (one < other).any() and (other < one).any()


@pytest.mark.parametrize("breadth_mm", [0.4, 1.0])
def test_a_copied_groove_is_no_floor(breadth_mm: float) -> None:
    """White inside the black loses all of it at the side where it gets lighter; the key's own border loses nothing."""
    grey = np.where(Y_MM < EDGE_MM, 30.0, PAPER)
    grey[np.abs(Y_MM - 1.2 - breadth_mm / 2) < breadth_mm / 2] = PAPER
    copied = gaussian_filter1d(grey, 0.06 / STEP_MM)

    told = black_beyond(copied, 3.0, STEP_MM)

    assert told[np.abs(Y_MM - 1.2) < 0.05] == pytest.approx(-BLACK_AGAIN)
    assert told[np.abs(Y_MM - EDGE_MM) < 0.1] == pytest.approx(0.0, abs=1e-9)
    assert told[np.abs(Y_MM - 1.2 - breadth_mm) < 0.05] == pytest.approx(0.0, abs=1e-9)


def test_what_noise_alone_makes_black_again_is_nothing() -> None:
    """A little darker beyond an edge counts less the more noise there is."""
    grey = np.where(Y_MM < EDGE_MM, 30.0, PAPER)
    grey[Y_MM > EDGE_MM + 0.6] = 140.0
    copied = gaussian_filter1d(grey, 0.06 / STEP_MM)

    quiet, noisy = (
        float(black_beyond(copied, noise, STEP_MM)[np.abs(Y_MM - EDGE_MM) < 0.1].min()) for noise in (3.0, 400.0)
    )

    assert quiet < -0.5 * BLACK_AGAIN
    assert noisy == pytest.approx(0.0, abs=1e-9)
