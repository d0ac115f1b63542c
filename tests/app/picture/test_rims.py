"""Two rims of a thick key: what all cuts show at one distance is the wall's far side, the inner line the metal's."""

from __future__ import annotations

from dataclasses import replace
from itertools import product

import numpy as np
import pytest

from app.picture.cuts import TEMPER, cut_curve
from app.picture.edgemaps import EdgeMaps, log_ratio
from app.picture.farrim import MOST as FAR_MOST
from app.picture.farrim import FarRim
from app.picture.lie import HeightCurve
from app.picture.rims import MOST, WALL, near_rims
from tests.app.picture.edge_scene import SHAPE, maps_of, places_mm, softly

ROOTS_MM = np.array([7.0, 5.8, 6.4, 5.2])
APART_MM, ASIDE_MM = 0.5, 0.2
METAL, WALL_GREY, PAPER = 100.0, 150.0, 200.0


def _maps(walled: tuple[bool, ...]) -> EdgeMaps:
    """A blade beside whose cuts a wall lighter than the metal shows; beside others it goes on and has no far rim."""
    x, y = places_mm()
    near = SHAPE.profile(x, SHAPE.positions_mm, ROOTS_MM, SHAPE.top_mm)
    far = APART_MM + SHAPE.profile(x - ASIDE_MM, SHAPE.positions_mm, ROOTS_MM, SHAPE.top_mm)
    for position, wall in zip(SHAPE.positions_mm, walled, strict=True):
        if not wall:
            far = np.where(np.abs(x - position) < 2.0, far + 5.0, far)
    grey = PAPER + (WALL_GREY - PAPER) * softly(far - y)
    return maps_of(grey + (METAL - grey) * softly(near - y), 3.0)


def _curves(maps: EdgeMaps) -> tuple[HeightCurve, ...]:
    return tuple(cut_curve(maps, float(at))[0] for at in SHAPE.positions_mm)


def _at(values: np.ndarray, maps: EdgeMaps, height_mm: float) -> float:
    return float(values[np.abs(maps.y_mm - height_mm) < 0.06].max())


def test_a_far_rim_beside_every_cut_speaks_for_the_near_one() -> None:
    """At each cut the metal's edge gains what the other cuts tell, and the wall's far side does not."""
    maps = _maps((True,) * 4)

    rims, _ = near_rims(maps, _curves(maps))

    for rim, root in zip(rims, ROOTS_MM, strict=True):
        assert _at(rim, maps, root) > 8.0
        assert _at(rim, maps, root) > _at(rim, maps, root + APART_MM) + 8.0


def test_a_second_line_beside_one_cut_hardly_moves_the_others() -> None:
    """One cut's second line is chance: what the others show decides, for it and for them."""
    none, one = _maps((False,) * 4), _maps((False, True, False, False))

    (before, _), (after, _) = (near_rims(maps, _curves(maps)) for maps in (none, one))

    for k, root in enumerate(ROOTS_MM):
        assert _at(after[k], one, root) < 8.0
        assert k == 1 or abs(_at(after[k], one, root) - _at(before[k], none, root)) < 2.0


def test_the_cuts_tell_where_an_uncut_edge_has_its_far_rim() -> None:
    """As far outside as they show their own; and of its two lines the near one gains, the other nothing."""
    maps = _maps((True,) * 4)
    row_mm = float(maps.y_mm[1] - maps.y_mm[0])

    _, far = near_rims(maps, _curves(maps))

    assert far.rows[np.argmax(far.log_p)] * row_mm == pytest.approx(APART_MM, abs=0.09)
    assert np.exp(far.log_p).sum() + np.exp(far.log_none) == pytest.approx(1.0)
    lines = np.full(len(maps.y_mm), -3.0)
    near, outer = (int(np.argmin(np.abs(maps.y_mm - at))) for at in (SHAPE.top_mm, SHAPE.top_mm + APART_MM))
    lines[near - 1 : near + 2] = lines[outer - 1 : outer + 2] = 20.0
    told = far.for_near(lines)
    assert told[near] > FAR_MOST - 2.0 and told[outer] < 0.5


def test_a_far_rim_counts_as_likely_as_it_is() -> None:
    """Against the sum over its places one by one; beyond the map nothing shows; without a far rim it says nothing."""
    ratio = np.random.default_rng(3).normal(0.0, 8.0, (2, 30))
    p = np.array([0.2, 0.5, 0.1])
    far = FarRim(np.array([3, 4, 9]), np.log(p), float(np.log(0.2)), 0.4)

    def seen(row: np.ndarray, at: int) -> float:
        return float(np.exp(0.4 * min(row[at], FAR_MOST))) if at < len(row) else 1.0

    plain = [
        [np.log(0.2 + sum(w * seen(row, k + out) for w, out in zip(p, far.rows, strict=True))) / 0.4 for k in range(30)]
        for row in ratio
    ]
    assert far.for_near(ratio) == pytest.approx(np.array(plain))
    assert replace(far, log_p=np.full(3, -np.inf), log_none=0.0).for_near(ratio) == pytest.approx(0.0)


def test_each_cut_is_told_by_the_vectors_that_the_others_allow() -> None:
    """Against all vectors one by one, each with its weight from the other cuts, on a map of chance lines."""
    maps = _maps((True, True, False, True))
    x = maps.x_mm[:: len(maps.x_mm) // 5]
    maps = replace(maps, floor_z=4.0 * np.random.default_rng(5).normal(size=maps.floor_z.shape))
    curves = tuple(HeightCurve(float(at), maps.y_mm, np.sin(np.arange(len(maps.y_mm)) + at)) for at in x[1:4])
    column_mm, row_mm = maps.x_mm[1] - maps.x_mm[0], maps.y_mm[1] - maps.y_mm[0]
    outs, asides = np.arange(5, 31, 2), 0.2 * np.arange(-4, 5)

    def ratio(curve: HeightCurve, out: int, aside: float) -> np.ndarray:
        column = round((curve.x_mm + aside - maps.x_mm[0]) / column_mm)
        z = np.pad(maps.floor_z[:, column], (0, 40))  # nothing is seen outside of the map
        found = np.minimum(log_ratio(z[:, None], signed=True, step_mm=row_mm)[:, 0], MOST)
        return np.array([found[k + out - 1 : k + out + 2].max() for k in range(len(maps.y_mm))])

    vectors = list(product(outs, asides))
    every = [[np.exp(TEMPER * ratio(curve, *vector)) for vector in vectors] for curve in curves]
    own = [np.exp(TEMPER * curve.log_p) for curve in curves]
    told = np.array([[(p * r).sum() / p.sum() for r in one] for p, one in zip(own, every, strict=True)])
    rims, _ = near_rims(maps, curves)
    for k, rim in enumerate(rims):
        weights = WALL / len(vectors) * np.delete(told, k, axis=0).prod(axis=0)
        total = (1 - WALL) + sum(w * r for w, r in zip(weights, every[k], strict=True))
        assert rim == pytest.approx(np.log(total / ((1 - WALL) + weights.sum())) / TEMPER, abs=1e-6)
