"""The ladder: true heights, columns under cuts, what a click means."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from app.window.ladder_geometry import ladder, next_state, room_for, spread_centres
from keycore.decode import Decoding
from keycore.spec import KeySpec, load_spec

CENTRES = (100.0, 180.0, 260.0, 340.0, 420.0)


def test_rungs_stand_at_their_true_heights(spec: KeySpec) -> None:
    """Heights of rungs are a straight line of the roots, shallow at the top."""
    drawn = ladder(spec, None, CENTRES, top=40, bottom=240, held={}, ruled_out=frozenset())
    for column in drawn.columns:
        heights = np.array([rung.middle for rung in column.rungs])
        shares = (heights - 40) / 200
        true = (spec.roots_mm[0] - spec.roots_mm) / (spec.roots_mm[0] - spec.roots_mm[-1])

        assert np.abs(shares - true).max() < 1e-9


def test_uneven_depths_are_drawn_uneven() -> None:
    """A table whose steps differ has rungs whose gaps differ in the same way."""
    table = load_spec("harbourside-5")
    depths = list(table.depths)
    depths[1] = depths[1].model_copy(update={"root_mm": depths[1].root_mm - 0.2})
    uneven = table.model_copy(update={"depths": tuple(depths)})
    rungs = ladder(uneven, None, CENTRES, top=0, bottom=300, held={}, ruled_out=frozenset()).columns[0].rungs

    assert (rungs[1].middle - rungs[0].middle) / (rungs[2].middle - rungs[1].middle) == pytest.approx(0.7 / 0.3)


def test_a_column_stands_under_its_cut_and_shows_what_is_known(spec: KeySpec, decoding: Decoding) -> None:
    """Centres, measured roots at their height, and bars as long as the probabilities."""
    drawn = ladder(spec, decoding, CENTRES, top=40, bottom=240, held={}, ruled_out=frozenset())
    per_mm = 200 / (spec.roots_mm[0] - spec.roots_mm[-1])
    for centre, column, cut in zip(CENTRES, drawn.columns, decoding.cuts, strict=True):
        assert column.centre == centre == pytest.approx((column.left + column.right) / 2)
        assert column.root is not None and column.depth == cut.depth
        assert column.root.y == pytest.approx(40 + (spec.roots_mm[0] - cut.root_mm) * per_mm)
        assert column.root.band_bottom - column.root.band_top == pytest.approx(2 * max(cut.sigma_mm * per_mm, 0.5))
        for rung in column.rungs:
            share = (rung.filled_to - rung.left) / (rung.right - rung.left)
            assert share == pytest.approx(cut.depths.get(rung.label, 0.0))


def test_columns_do_not_overlap(spec: KeySpec) -> None:
    """Neighbours keep apart at any usual zoom."""
    for gap in (40.0, 80.0, 300.0):
        centres = tuple(100 + gap * index for index in range(5))
        columns = ladder(spec, None, centres, top=40, bottom=240, held={}, ruled_out=frozenset()).columns

        assert all(a.right < b.left for a, b in zip(columns, columns[1:], strict=False))


def test_a_place_means_the_rung_there(spec: KeySpec) -> None:
    """The middle of each rung means that rung; between columns nothing is meant."""
    drawn = ladder(spec, None, CENTRES, top=40, bottom=240, held={1: "2"}, ruled_out=frozenset({(0, "3")}))
    for column in drawn.columns:
        for rung in column.rungs:
            assert drawn.rung_at(column.centre, rung.middle) == rung
    assert drawn.rung_at(2.0, 100.0) is None and drawn.rung_at(100.0, 1000.0) is None
    assert drawn.rung(1, "2").state == "held" and drawn.rung(0, "3").state == "ruled out"  # type: ignore[union-attr]
    assert drawn.rung(0, "1").state == "free" and drawn.rung(9, "1") is None  # type: ignore[union-attr]


def test_a_click_holds_then_rules_out_then_clears() -> None:
    """Three clicks come back to where they began."""
    assert [next_state(state) for state in ("free", "held", "ruled out")] == ["held", "ruled out", "free"]  # type: ignore[arg-type]


def test_independent_edges_share_the_room_under_a_cut(spec: KeySpec) -> None:
    """Two columns under each cut, the first edge's left of the second's."""
    double = spec.model_copy(update={"edges": "double-independent", "root_from": "centreline"})
    columns = ladder(double, None, CENTRES, top=40, bottom=240, held={}, ruled_out=frozenset()).columns

    assert len(columns) == 10 and [column.edge for column in columns] == [1] * 5 + [2] * 5
    assert all(a.right < b.left for a, b in zip(columns[:5], columns[5:], strict=True))


def test_columns_without_a_picture_are_spaced_as_the_table() -> None:
    """Before a picture the columns lie as the cuts do, inside the view; tip-gauged tables run the other way in mm."""
    bow_first = spread_centres((4.0, 8.0, 16.0), 500.0)
    tip_gauged = spread_centres((16.0, 8.0, 4.0), 500.0)

    assert (bow_first[1] - bow_first[0]) * 2 == pytest.approx(bow_first[2] - bow_first[1])
    assert min(bow_first) > 0 and max(bow_first) < 500
    assert list(tip_gauged) == sorted(tip_gauged)


def test_what_the_verdict_asks_to_check_has_a_question_mark(spec: KeySpec, decoding: Decoding) -> None:
    """Of a code that is not sure at least one cut is marked: the least likely, and every one below 0.9."""

    def doubted(verdict: str, likely: tuple[float, ...]) -> list[int]:
        cuts = tuple(replace(cut, probability=p) for cut, p in zip(decoding.cuts, likely, strict=True))
        known = replace(decoding, verdict=verdict, cuts=cuts)
        drawn = ladder(spec, known, CENTRES, top=40, bottom=240, held={}, ruled_out=frozenset())
        return [column.cut for column in drawn.columns if column.doubtful]

    assert doubted("check", (0.99, 0.98, 0.97, 0.99, 0.99)) == [2]
    assert doubted("unsure", (0.5, 0.98, 0.85, 0.99, 0.99)) == [0, 2]
    assert doubted("sure", (0.99, 0.98, 0.97, 0.99, 0.99)) == []


def test_columns_that_would_lie_on_each_other_are_told() -> None:
    """As in a picture seen from far; one column alone always has room."""
    assert room_for((100.0, 140.0, 180.0)) and not room_for((100.0, 140.0, 160.0)) and room_for((100.0,))
