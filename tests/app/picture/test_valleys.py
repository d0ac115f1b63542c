"""Valleys of a copied key: where the black closes over a floor, the flanks tell the cut."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from app.picture.cuts import cut_curve
from app.picture.edgemaps import EdgeMaps
from app.picture.lie import Lie
from app.picture.logsum import logsumexp
from app.picture.neighbours import with_neighbours
from app.picture.valleys import BORDER_MM, HIDDEN_FLOORS, as_seen, hidden_floors, sights
from tests.app.picture.edge_scene import SHAPE, maps_of, places_mm, softly

ROOTS_MM = np.array([7.0, 5.8, 6.4, 5.2])
TONER, PAPER = 40.0, 220.0
CENTRES_MM = SHAPE.positions_mm


def _copied(*, filled_mm: tuple[float, ...] = (0.0, 0.0, 0.0, 0.0), apart_mm: float = 0.0) -> EdgeMaps:
    """A blade in black: each valley filled up to so much above its floor, flanks standing apart from the floors."""
    x, y = places_mm()
    shape = replace(SHAPE, flat_mm=SHAPE.flat_mm - 2 * apart_mm * SHAPE.tangent)
    outline = shape.profile(x, CENTRES_MM, ROOTS_MM, SHAPE.top_mm)
    for at, root, filled in zip(CENTRES_MM, ROOTS_MM, filled_mm, strict=True):
        outline = np.where(np.abs(x - at) < 2.0, np.maximum(outline, min(root + filled, SHAPE.top_mm)), outline)
    return maps_of(PAPER + (TONER - PAPER) * softly(outline - y), 12.0, signed=True)


def _likeliest(maps: EdgeMaps) -> EdgeMaps:
    """The way of seeing an edge that most speaks for."""

    def told(edge: EdgeMaps, believed: float) -> float:
        return believed + sum(float(logsumexp(cut_curve(edge, float(at))[0].log_p)) for at in CENTRES_MM)

    ways = [as_seen(sight, CENTRES_MM) for sight in sights((maps,))]
    (edge,), _ = max(ways, key=lambda way: told(way[0][0], way[1]))
    return edge


def _heights(maps: EdgeMaps) -> list[float]:
    return [cut_curve(maps, float(at))[0].most_mm for at in CENTRES_MM]


def test_cuts_whose_floors_are_hidden_are_told_by_their_flanks() -> None:
    """The black's border, which stands differently high over each floor, is not taken for it."""
    maps = _copied(filled_mm=(0.8, 0.3, 1.1, 0.6))

    seen = _likeliest(maps)

    assert seen.hidden
    assert _heights(seen) == pytest.approx(ROOTS_MM, abs=0.1)
    assert np.max(_heights(maps) - ROOTS_MM) > 0.4  # taken as it is drawn, the border passes for a floor


def test_floors_that_show_are_believed() -> None:
    """Where floors and flanks agree nothing is hidden."""
    seen = _likeliest(_copied())

    assert not seen.hidden
    assert abs(seen.flanks_mm) < 0.1
    assert _heights(seen) == pytest.approx(ROOTS_MM, abs=0.06)


@pytest.mark.parametrize("apart_mm", [-0.08, 0.08, 0.16])
def test_flanks_may_stand_apart_from_their_floors(apart_mm: float) -> None:
    """One distance for the whole edge; heights are the floors', with their neighbours weighed too."""
    seen = _likeliest(_copied(apart_mm=apart_mm))

    assert not seen.hidden
    assert seen.flanks_mm == pytest.approx(apart_mm, abs=0.06)
    assert _heights(seen) == pytest.approx(ROOTS_MM, abs=0.06)
    lie = Lie(0.0, 0.0, 0.01, float(CENTRES_MM.mean()), 1.0, 0.0, 0.0)
    (curves,) = with_neighbours((seen,), SHAPE, CENTRES_MM, lie, 0.0, mirrored=False)
    assert [curve.most_mm for curve in curves] == pytest.approx(ROOTS_MM, abs=0.06)


@pytest.mark.parametrize("too_high_mm", [0.2, 0.4])
def test_floors_that_all_show_too_high_are_told_by_their_flanks(too_high_mm: float) -> None:
    """Flanks below the floors beside them: shadow has lifted every floor by one amount."""
    seen = _likeliest(_copied(apart_mm=-too_high_mm))

    assert not seen.hidden
    assert _heights(seen) == pytest.approx(ROOTS_MM - too_high_mm, abs=0.1)


def test_each_edge_is_looked_at_by_itself() -> None:
    """Shadow falls to one side: both edges of a double key shown, both hidden, and either."""
    maps = _copied()

    assert [tuple(edge.hidden for edge in sight) for sight in sights((maps, maps))] == [
        (False, False),
        (False, True),
        (True, False),
        (True, True),
    ]


def test_a_hidden_floor_is_told_by_every_border_beyond_it() -> None:
    """Against the sum written out, on lines of chance."""
    row_mm, rows = 0.05, 60
    shown = np.random.default_rng(4).normal(0.0, 4.0, (rows, 3))
    steps = range(round(BORDER_MM[0] / row_mm), round(BORDER_MM[1] / row_mm))

    told = hidden_floors(shown, row_mm)

    for row in range(rows):
        border = np.mean([np.exp(shown[min(row + step, rows - 1)]) for step in steps], axis=0)
        wanted = np.log((1 - HIDDEN_FLOORS) * np.exp(shown[row]) + HIDDEN_FLOORS * border)
        assert told[row] == pytest.approx(wanted, abs=1e-9)
