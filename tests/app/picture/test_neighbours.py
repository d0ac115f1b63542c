"""Cuts weighed with their neighbours: the sums are exact, the heights true, and a pair is one chain."""

from __future__ import annotations

from dataclasses import replace
from itertools import product

import numpy as np
import pytest

from app.picture.edgemaps import EdgeMaps
from app.picture.lie import Lie
from app.picture.neighbours import _Chain, with_neighbours
from tests.app.picture.edge_scene import SHAPE, maps_of, places_mm, softly

ON_AXIS = Lie(0.0, 0.0, 0.02, 11.0, 1.0, 0.0, 0.0)


@pytest.mark.parametrize("count", [2, 3, 4])
def test_what_the_others_tell_is_the_sum_over_all_that_they_may_be(count: int) -> None:
    """Against every combination of heights and moves of a small chain, one by one."""
    rng = np.random.default_rng(count)
    moves, heights = 2, 3
    chain = _Chain(
        ends=[rng.normal(size=(moves, heights)) for _ in range(count)],
        floors=[rng.normal(size=(moves, heights)) for _ in range(count)],
        right=[rng.normal(size=(moves, heights, heights)) for _ in range(count - 1)],
        left=[rng.normal(size=(moves, heights, heights)) for _ in range(count - 1)],
        uncut=[rng.normal(size=(heights, heights)) for _ in range(count - 1)],
    )
    sums = np.zeros((count, moves, heights))
    for states in product(product(range(moves), range(heights)), repeat=count):
        own = [float(chain.floors[k][state] + chain.ends[k][state]) for k, state in enumerate(states)]
        total = sum(own)
        for k in range(count - 1):
            (e, a), (f, b) = states[k], states[k + 1]
            total += chain.right[k][e, a, b] + chain.left[k][f, a, b] + chain.uncut[k][a, b]
        for k, state in enumerate(states):
            sums[(k, *state)] += np.exp(total - own[k])

    assert np.stack(chain.told_by_others()) == pytest.approx(np.log(sums))


def _maps(roots_mm: np.ndarray) -> EdgeMaps:
    """The map of a blade of these floors, softly drawn and noisy."""
    x, y = places_mm()
    edge = SHAPE.profile(x, SHAPE.positions_mm, roots_mm, SHAPE.top_mm)
    return maps_of(200.0 - 60.0 * softly(edge - y), 8.0)


@pytest.mark.parametrize("roots", [(7.0, 7.6, 7.0, 5.8), (5.8, 5.2, 7.0, 6.4), (7.6, 6.4, 7.6, 7.6)])
def test_every_height_is_the_true_one(roots: tuple[float, ...]) -> None:
    """Deep beside shallow, and shallow between shallow ones, where flanks are of every length."""
    (curves,) = with_neighbours((_maps(np.array(roots)),), SHAPE, SHAPE.positions_mm, ON_AXIS, 0.0, mirrored=False)

    assert [curve.most_mm for curve in curves] == pytest.approx(roots, abs=0.06)
    for curve, root in zip(curves, roots, strict=True):
        away = np.abs(curve.height_mm - root) > 0.3
        assert curve.log_p.max() - curve.log_p[away].max() > 8.0


def test_a_mirrored_pair_tells_the_faint_edge_from_the_clear_one() -> None:
    """An edge in which nothing is seen leaves its own floors open; its partner's flanks say where they stand."""
    roots = np.array([7.0, 7.6, 5.8, 6.4])
    clear = _maps(roots)
    blank = EdgeMaps(
        **{name: np.zeros_like(getattr(clear, name)) for name in ("cut", "floor", "floor_z", "rise")},
        **{name: replace(getattr(clear, name), sums=0.0 * getattr(clear, name).sums) for name in ("right", "left")},
        x_mm=clear.x_mm, y_mm=clear.y_mm, noise=clear.noise, signed=False,
    )  # fmt: skip

    seen, dim = with_neighbours((clear, blank), SHAPE, SHAPE.positions_mm, ON_AXIS, 0.0, mirrored=True)
    alone = with_neighbours((clear, blank), SHAPE, SHAPE.positions_mm, ON_AXIS, 0.0, mirrored=False)[1]

    assert [curve.most_mm for curve in seen] == pytest.approx(roots, abs=0.06)
    assert [curve.most_mm for curve in dim] == pytest.approx(roots, abs=0.12)
    assert max(np.ptp(curve.log_p) for curve in alone) < 4.0
    assert min(np.ptp(curve.log_p) for curve in dim) > 20.0
