"""The strip's scale, its density curve and its stretches."""

from __future__ import annotations

import numpy as np
import pytest

from app.window.strip_geometry import StripScale, curve, near_range, segment_index, shown_range

SCALE = StripScale(-0.5, 1.5, 20.0, 420.0)


def test_places_and_growths_answer_each_other() -> None:
    """Any growth on the strip comes back from its place; beyond the ends it stays on the strip."""
    for growth in (-0.5, 0.0, 0.313, 1.5):
        assert SCALE.growth_mm(SCALE.x(growth)) == pytest.approx(growth)
    assert SCALE.growth_mm(-1000) == -0.5 and SCALE.growth_mm(1e6) == 1.5


def test_ticks_are_round_and_apart() -> None:
    """Ticks lie on the strip, at round growths, with room for their numbers."""
    ticks = SCALE.ticks(least_gap=70)

    assert ticks == pytest.approx((-0.5, 0.0, 0.5, 1.0, 1.5))
    assert [tick / 0.0254 for tick in SCALE.ticks(70, 0.0254)] == pytest.approx([-0.0, 20, 40], abs=1e-9)


def test_the_density_curve_peaks_where_the_evidence_does() -> None:
    """The highest point of the curve lies at the likeliest growth and as high as allowed."""
    growths = np.linspace(-0.5, 1.5, 201)
    density = np.exp(-0.5 * ((growths - 0.31) / 0.05) ** 2)
    points = curve(growths, density, SCALE, base=50.0, height=30.0)
    x, y = min(points, key=lambda point: point[1])

    assert x == pytest.approx(SCALE.x(0.31), abs=1.0) and y == pytest.approx(20.0)
    assert curve(growths, np.zeros_like(growths), SCALE, 50.0, 30.0) == ()


def test_a_growth_falls_into_one_stretch() -> None:
    """Borders belong to the stretch that begins there; the last end belongs to the last stretch."""
    borders = [(-0.5, 0.1), (0.1, 0.6), (0.6, 1.5)]

    assert [segment_index(borders, g) for g in (-0.5, 0.1, 0.59, 1.5)] == [0, 1, 1, 2]
    assert segment_index(borders, 2.0) is None and segment_index([], 0.1) is None


def test_the_strip_shows_all_that_is_spoken_of() -> None:
    """From the least to the greatest growth; something usual where nothing is known."""
    assert shown_range([(-0.2, 0.4), (0.4, 0.9)], np.array([-0.3, 0.7])) == (-0.3, 0.9)
    low, high = shown_range([], None)
    assert low < 0 < high


def test_the_near_range_holds_the_evidence_the_slider_and_no_growth() -> None:
    """What is worth a look is shown with room beside it, never more than there is, never a sliver."""
    growths = np.linspace(-0.5, 1.6, 421)
    density = np.exp(-0.5 * ((growths - 0.31) / 0.02) ** 2)
    whole = (-0.5, 1.6)
    low, high = near_range(whole, growths, density, 0.31)

    assert -0.5 <= low < 0.0 and 0.4 < high < 0.8
    assert near_range(whole, growths, density, 1.5)[1] == 1.6
    assert near_range(whole, None, None, 0.3) == whole
    sliver = near_range(whole, growths, np.exp(-0.5 * (growths / 0.01) ** 2), 0.0)
    assert sliver[1] - sliver[0] == pytest.approx(0.7)
