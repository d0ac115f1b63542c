"""Reading again from a kept fit gives what a whole reading gives, and says where it cannot."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from app.picture.read import read_picture
from app.picture.reread import KeptFit, read_again
from app.picture.values import Picture, PictureReading
from keycore.decode import decode
from keycore.marks import Marks, ReferenceMark
from keycore.refusal import Refusal
from keycore.spec import KeySpec

ASSETS = Path(__file__).parents[3] / "assets"
NEAR_MM = 0.08
"""How far whole readings from rough marks lie from each other too: where the raster falls is chance."""
MOVED_MM = 0.3
AGAINST_MM = 0.05
"""How far a root is set from its edge where it is to be kept: a reading against all others has no one code."""


@pytest.fixture(scope="module")
def first(copy: Picture, spec: KeySpec) -> PictureReading:
    return read_picture(copy, spec)


def _fit(reading: PictureReading) -> KeptFit:
    assert reading.kept is not None
    return reading.kept


def _mm(first: PictureReading, along: float, across: float) -> np.ndarray:
    """A way on the picture of so many millimetres along the blade, and up from the back."""
    frame = _fit(first).ways[0].frame
    return frame.picture_xy(np.array([along, across])) - frame.picture_xy(np.zeros(2))


def _moved(first: PictureReading, name: str, along: float, across: float) -> Marks:
    """The marks of one kind only, as a hand has them that moved one of them (of the whole height: its upper end)."""
    step, marks = _mm(first, along, across), first.marks
    if name in ("shoulder", "tip"):
        return Marks.model_validate({name: tuple(np.asarray(getattr(marks, name)) + step)})
    points = [list(point) for point in (marks.roots_by_edge()[0] if name == "roots" else getattr(marks, name))]
    points[1] = list(np.asarray(points[1]) + step)
    return Marks.model_validate({name: tuple(tuple(point) for point in points)})


FIXED = {
    "roots": {"root.1"},
    "back": {"back.0", "back.1"},
    "blade_height": {"blade_height.0", "blade_height.1"},
    "shoulder": {"shoulder"},
    "tip": {"tip"},
}


@pytest.mark.parametrize("kept", [False, True], ids=["refined", "kept"])
@pytest.mark.parametrize("name", FIXED)
def test_it_reads_what_a_whole_reading_reads(
    copy: Picture, spec: KeySpec, first: PictureReading, name: str, kept: bool
) -> None:
    """One mark moved, to be refined or to be taken as it stands: same code, same marks and roots within 0.08 mm."""
    across = -AGAINST_MM if kept and name == "roots" else -MOVED_MM
    marks = _moved(first, name, MOVED_MM, across)
    fixed = frozenset(FIXED[name] if kept else ())
    assert _fit(first).serves(marks)

    quick = read_again(_fit(first), copy, marks, fixed=fixed)
    whole = read_picture(copy, spec, marks, fixed=fixed)

    one, other = decode(quick.readings, spec), decode(whole.readings, spec)
    assert one.code == other.code
    assert [cut.root_mm for cut in one.cuts] == pytest.approx([cut.root_mm for cut in other.cuts], abs=NEAR_MM)
    assert [moved.status for moved in quick.moved] == [moved.status for moved in whole.moved]
    if kept:
        own = quick.marks.roots_by_edge()[0][1] if name == "roots" else getattr(quick.marks, name)
        asked = marks.roots_by_edge()[0][1] if name == "roots" else getattr(marks, name)
        assert own == asked


def test_a_mark_that_is_refined_moves_no_reading(copy: Picture, first: PictureReading) -> None:
    """The picture has not changed: every number is the last reading's own."""
    again = read_again(_fit(first), copy, _moved(first, "roots", MOVED_MM, MOVED_MM), fixed=frozenset())

    assert [cut.root_px for cut in again.readings.cuts] == [cut.root_px for cut in first.readings.cuts]
    assert again.readings.references == first.readings.references
    assert again.moved and again.moved[1].distance_px == pytest.approx(np.hypot(*_mm(first, 0.3, 0.3)), abs=8)


@pytest.mark.parametrize(
    ("name", "along", "across"),
    [("roots", 3.9, 0.0), ("shoulder", -2.0, 0.0), ("tip", 2.0, 0.0), ("back", 0.0, 1.2), ("blade_height", 0.0, 1.2)],
)
def test_a_mark_far_from_the_fit_asks_for_a_whole_reading(
    first: PictureReading, name: str, along: float, across: float
) -> None:
    """It may say that the fit itself is wrong: another spacing, another line, another key."""
    assert not _fit(first).serves(_moved(first, name, along, across))


def test_marks_taken_away_and_other_references_ask_for_a_whole_reading(
    copy: Picture, spec: KeySpec, first: PictureReading
) -> None:
    """What was found with a mark's help need not be found without; another size reference is another plane."""
    marked = read_picture(copy, spec, first.marks)
    card = ReferenceMark(kind="id1-card", corners=((0.0, 0.0), (9.0, 0.0), (9.0, 5.0), (0.0, 5.0)))

    assert _fit(marked).serves(first.marks)
    assert not _fit(marked).serves(None)
    assert not _fit(marked).serves(first.marks.model_copy(update={"tip": None}))
    assert not _fit(marked).serves(first.marks.model_copy(update={"reference": card}))


def test_kept_marks_that_contradict_each_other_are_refused(copy: Picture, first: PictureReading) -> None:
    """In the words of a whole reading."""
    back = first.marks.back
    assert back is not None
    marks = Marks(back=(back[0], tuple(np.asarray(back[0]) + _mm(first, 0.5, 0.0))))  # type: ignore[arg-type]
    with pytest.raises(Refusal, match="too near each other"):
        read_again(_fit(first), copy, marks, fixed=frozenset({"back.0", "back.1"}))
