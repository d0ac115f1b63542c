"""A hand may call either edge of a double key the first; what comes out is in its own order."""

from __future__ import annotations

from functools import cache

import numpy as np
import pytest

from app.picture.read import read_picture
from app.picture.rows import turned_name
from app.picture.values import Picture, PictureReading
from keycore.decode import decode
from keycore.marks import Marks
from keycore.spec import KeySpec, parse_spec
from tests.generator.make import draw_picture
from tests.generator.tables import invented_table
from tests.generator.truth import picture_marks


@cache
def _drawn(kind: str) -> tuple[Picture, KeySpec, Marks]:
    """A scan of a double key, with its true marks."""
    table = invented_table(kind, 5)
    shape, drawn = draw_picture(table, "scan", [5, 1])
    true = {name: value for name, value in picture_marks(shape, drawn["to_picture"], None).items() if value is not None}
    picture = Picture("a.png", drawn["image"], (float(drawn["stored_dpi"]),) * 2, "0" * 64)
    return picture, parse_spec(table.to_json()), Marks.model_validate(true)


def _both(kind: str, kept: int) -> tuple[PictureReading, PictureReading, KeySpec]:
    """Read with the rows in either order, one root of the first drawn row kept where it was clicked."""
    picture, spec, marks = _drawn(kind)
    first, second = marks.roots_by_edge()
    other = marks.model_copy(update={"roots": (second, first)})
    one = read_picture(picture, spec, marks, fixed=frozenset({f"root.{kept}"}))
    return one, read_picture(picture, spec, other, fixed=frozenset({f"root.{kept + len(first)}"})), spec


def test_independent_edges_come_in_the_hands_order() -> None:
    """Code, cuts and marks of the one order are those of the other, half for half; the kept root is the same one."""
    one, other, spec = _both("E", kept=1)
    half = spec.cuts_per_edge
    first, second = decode(one.readings, spec), decode(other.readings, spec)

    assert first.code[:half] != first.code[half:]
    assert second.code == first.code[half:] + first.code[:half]
    assert second.codes[0].probability == pytest.approx(first.codes[0].probability)
    assert [cut.edge for cut in other.readings.cuts] == [1] * half + [2] * half
    assert other.readings.cuts[half + 1].evidence is None
    assert [cut.root_px for cut in other.readings.cuts[half:]] == [cut.root_px for cut in one.readings.cuts[:half]]
    assert other.marks.roots_by_edge() == one.marks.roots_by_edge()[::-1]
    assert {moved.mark: moved.status for moved in other.moved}[f"root.{half + 1}"] == "kept"


def test_a_mirrored_pair_reads_alike_in_either_order() -> None:
    """One code, and each row of marks on its own edge."""
    one, other, spec = _both("D", kept=2)

    assert decode(other.readings, spec).codes == decode(one.readings, spec).codes
    assert other.marks.roots_by_edge() == one.marks.roots_by_edge()[::-1]
    assert max(moved.distance_px for moved in other.moved) == max(moved.distance_px for moved in one.moved)


def test_a_lower_row_alone_is_the_first_where_a_hand_began_with_it() -> None:
    """Nothing of the upper row was clicked: the kept root, its marks and its half of the code are the lower edge's."""
    picture, spec, marks = _drawn("E")
    lower = marks.roots_by_edge()[1]
    begun = marks.model_copy(update={"roots": (lower, ())})
    whole = read_picture(picture, spec, marks)

    reading = read_picture(picture, spec, begun, fixed=frozenset({"root.1"}))

    half = spec.cuts_per_edge
    assert reading.readings.cuts[1].evidence is None and reading.readings.cuts[half + 1].evidence is not None
    assert reading.marks.roots_by_edge()[0][1] == lower[1]
    first, second = decode(whole.readings, spec).code[:half], decode(whole.readings, spec).code[half:]
    assert decode(reading.readings, spec).code == second + first


def test_an_empty_row_is_still_a_row() -> None:
    """Of two, the first may be the empty one; a single edge's points are one row."""
    point = (1.0, 2.0)

    assert Marks(roots=((), (point,))).roots_by_edge() == ((), (point,))
    assert Marks(roots=((point,), ())).roots_by_edge() == ((point,), ())
    assert Marks(roots=(point, point)).roots_by_edge() == ((point, point),)
    assert Marks(roots=((point,), (point, point))).roots_by_edge() == ((point,), (point, point))


def test_names_are_turned_with_their_rows() -> None:
    """Roots only, and twice is none."""
    assert [turned_name(f"root.{number}", 3) for number in (0, 2, 3, 5)] == ["root.3", "root.5", "root.0", "root.2"]
    assert turned_name(turned_name("root.4", 3), 3) == "root.4"
    assert turned_name("centreline.1", 3) == "centreline.1"


@pytest.mark.parametrize(
    ("kind", "name"), [("A", "shoulder"), ("A", "tip"), ("C", "tip"), ("E", "shoulder"), ("E", "tip")]
)
def test_a_clicked_end_moves_along_the_blade_alone(kind: str, name: str) -> None:
    """Wherever across the blade a hand clicks its shoulder or its tip, there the mark stays."""
    picture, spec, marks = _drawn(kind)
    axis = np.asarray(marks.back or marks.centreline)
    along = (axis[1] - axis[0]) / np.hypot(*(axis[1] - axis[0]))
    across = np.array([-along[1], along[0]])
    clicked = np.asarray(getattr(marks, name)) + 12.0 * across

    reading = read_picture(picture, spec, marks.model_copy(update={name: tuple(clicked)}))

    off = np.asarray(getattr(reading.marks, name)) - clicked
    assert abs(off @ across) < 0.02 * abs(off @ along) + 0.5
    assert {moved.mark: moved.distance_px for moved in reading.moved}[name] == pytest.approx(np.hypot(*off))
