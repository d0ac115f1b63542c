"""A line that runs on from floor to floor speaks against cuts on it; cuts of one depth and grooves do not."""

from __future__ import annotations

import numpy as np
import pytest

from app.picture.edgemaps import EdgeMaps
from app.picture.straight import RUNS_ON, runs_on
from tests.app.picture.edge_scene import SHAPE, maps_of, places_mm, softly

PAPER, METAL = 200.0, 140.0


def _blade(roots_mm: np.ndarray, *, groove_mm: float | None = None) -> EdgeMaps:
    x, y = places_mm()
    grey = PAPER + (METAL - PAPER) * softly(SHAPE.profile(x, SHAPE.positions_mm, roots_mm, SHAPE.top_mm) - y)
    if groove_mm is not None:
        grey = np.where((np.abs(y - groove_mm) < 0.1) & (grey < 150.0), 100.0, grey)
    return maps_of(grey, 4.0)


def _back(floors_mm: np.ndarray) -> EdgeMaps:
    """No cuts: a straight edge through all of the floors."""
    x, y = places_mm()
    return maps_of(PAPER + (METAL - PAPER) * softly(np.interp(x, SHAPE.positions_mm, floors_mm) - y), 4.0)


DESCENDING = np.array([7.6, 7.0, 6.4, 5.8])


def test_a_back_that_is_crossed_at_an_angle_is_no_row_of_cuts() -> None:
    """Each pair of floors on it loses all, whichever way the frame counts them."""
    maps = _back(DESCENDING)

    assert runs_on(maps, SHAPE, SHAPE.positions_mm, DESCENDING) == pytest.approx(-3 * RUNS_ON)
    assert runs_on(maps, SHAPE, SHAPE.positions_mm[::-1], DESCENDING[::-1]) == pytest.approx(-3 * RUNS_ON)


@pytest.mark.parametrize("roots", [DESCENDING, np.full(4, 6.4), np.array([7.0, 5.2, 7.6, 5.8])])
def test_cuts_lose_nothing(roots: np.ndarray) -> None:
    """On one line, of one depth, or anyhow; nor does a groove beside them matter."""
    assert runs_on(_blade(roots), SHAPE, SHAPE.positions_mm, roots) == 0.0
    assert runs_on(_blade(roots, groove_mm=4.6), SHAPE, SHAPE.positions_mm, roots) == 0.0


def test_floors_that_show_no_step_tell_nothing() -> None:
    """Where nothing is seen there is nothing to run on."""
    assert runs_on(maps_of(np.full((300, 440), PAPER), 4.0), SHAPE, SHAPE.positions_mm, DESCENDING) == 0.0
