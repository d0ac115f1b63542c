"""Reading keys on pictures that the project's own generator has drawn, with known truth."""

from __future__ import annotations

import json
from dataclasses import replace
from pathlib import Path
from types import SimpleNamespace

import numpy as np
import pytest

from app.picture.clicks import NO_CLICKS
from app.picture.find import find_keys
from app.picture.ground import Ground, ground_of
from app.picture.load import open_picture
from app.picture.perspective import from_corners
from app.picture.read import _search, read_picture
from app.picture.values import Picture, PictureReading
from keycore.decode import decode
from keycore.marks import Marks, ReferenceMark
from keycore.refusal import Refusal
from keycore.spec import KeySpec, load_spec
from tests.generator.make import write_set

ASSETS = Path(__file__).parents[3] / "assets"
STORY = json.loads((ASSETS / "demo.json").read_text(encoding="utf-8"))


def _blank(width: int = 400, height: int = 300) -> Picture:
    return Picture("blank.png", np.full((height, width), 250, dtype=np.uint8), None, "0" * 64)


@pytest.mark.parametrize("story", STORY["pictures"], ids=lambda story: story["file"])
def test_the_demo_pictures_read_to_their_true_codes(story: dict, spec: KeySpec) -> None:
    """Without any mark, from the file alone."""
    reading = read_picture(open_picture(ASSETS / story["file"]), spec)

    assert decode(reading.readings, spec).code == tuple(story["code"])


def test_found_marks_lead_back_to_the_same_reading(copy: Picture, spec: KeySpec) -> None:
    """Marks that the program gave out are marks that it can start from."""
    first = read_picture(copy, spec)
    again = read_picture(copy, spec, first.marks)

    assert decode(again.readings, spec).code == decode(first.readings, spec).code
    assert max(moved.distance_px for moved in again.moved) < 8


def test_a_root_that_a_person_keeps_is_taken_as_it_stands(copy: Picture, spec: KeySpec) -> None:
    """A kept mark is not refined, and its reading follows it."""
    first = read_picture(copy, spec)
    roots = list(first.marks.roots_by_edge()[0])
    back = np.asarray(first.marks.back)
    inward = (back.mean(axis=0) - np.mean(roots, axis=0)) / np.hypot(*(back.mean(axis=0) - np.mean(roots, axis=0)))
    roots[2] = tuple(np.asarray(roots[2]) + 10 * inward)
    marks = first.marks.model_copy(update={"roots": tuple(roots)})

    kept = read_picture(copy, spec, marks, fixed=frozenset({"root.2"}))

    assert kept.marks.roots_by_edge()[0][2] == pytest.approx(roots[2])
    assert kept.readings.cuts[2].evidence is None
    assert kept.readings.cuts[2].root_px == pytest.approx(first.readings.cuts[2].root_px - 10, abs=4)


@pytest.mark.parametrize(
    ("for_each_cut", "second_quality", "looked_at"),
    [(60.0, 0.1, [0]), (30.0, 0.1, [0, 1]), (30.0, 0.7, [0]), (2.0, 0.7, [0, 1])],
    ids=["a clear blade", "a doubtful blade alone", "a doubtful blade beside a key", "no blade beside a key"],
)
def test_another_thing_is_read_only_where_the_first_is_no_key(
    copy: Picture,
    spec: KeySpec,
    monkeypatch: pytest.MonkeyPatch,
    for_each_cut: float,
    second_quality: float,
    looked_at: list[int],
) -> None:
    """A second key has a number of its own: a first one of which little is seen is not given out as it."""
    (found, *_) = find_keys(copy)
    keys = (found, replace(found, quality=second_quality * found.quality))
    seen: list[int] = []
    settled = [SimpleNamespace(score=for_each_cut * 5)]
    monkeypatch.setattr("app.picture.read.keys_on", lambda *_: keys)
    monkeypatch.setattr("app.picture.read.usual_starts", lambda _p, _s, key, *_: seen.append(int(key is keys[1])) or [])
    monkeypatch.setattr("app.picture.read.unusual_starts", lambda *_: [])
    monkeypatch.setattr("app.picture.read._looked_at", lambda *_: settled)

    _search(copy, spec, None, NO_CLICKS, 0, Ground("photocopy", None, 0.0, key_scale=False), SimpleNamespace())

    assert seen == looked_at


def _inwards(first: PictureReading) -> np.ndarray:
    """Unit step on the picture from the roots to the back."""
    way = np.asarray(first.marks.back).mean(axis=0) - np.mean(first.marks.roots_by_edge()[0], axis=0)
    return np.asarray(way / np.hypot(*way))


def test_a_back_that_a_person_keeps_is_what_heights_are_counted_from(copy: Picture, spec: KeySpec) -> None:
    """Ten pixels further out, every root stands ten pixels higher; the marks stay where the hand put them."""
    first = read_picture(copy, spec)
    back = tuple(tuple(np.asarray(end) + 10 * _inwards(first)) for end in first.marks.back or ())
    marks = first.marks.model_copy(update={"back": back})

    snapped = read_picture(copy, spec, marks)
    kept = read_picture(copy, spec, marks, fixed=frozenset({"back.0", "back.1"}))

    assert np.asarray(kept.marks.back) == pytest.approx(np.asarray(back))
    rise = [b.root_px - a.root_px for a, b in zip(snapped.readings.cuts, kept.readings.cuts, strict=True)]
    out = {move.mark: move for move in snapped.moved}["back.0"].distance_px
    assert rise == pytest.approx([out] * 5, abs=1.5)
    assert out == pytest.approx(10, abs=5)
    assert {move.status for move in kept.moved if move.mark.startswith("back")} == {"kept"}
    assert np.asarray(kept.readings.cuts[0].evidence.heights_px) == pytest.approx(
        np.asarray(snapped.readings.cuts[0].evidence.heights_px) + rise[0], abs=0.5
    )


def test_a_blade_height_that_a_person_keeps_is_the_reference(copy: Picture, spec: KeySpec) -> None:
    """The span of the two marks is what the blade's height is compared with."""
    first = read_picture(copy, spec)
    low, high = (np.asarray(end) for end in first.marks.blade_height or ())
    height = (tuple(low), tuple(high - 12 * _inwards(first)))
    marks = first.marks.model_copy(update={"blade_height": height})

    kept = read_picture(copy, spec, marks, fixed=frozenset({"blade_height.0", "blade_height.1"}))
    seen = {reference.kind: reference.seen_px for reference in kept.readings.references}

    assert np.asarray(kept.marks.blade_height) == pytest.approx(np.asarray(height))
    assert seen["blade-height"] == pytest.approx(np.hypot(*(np.subtract(*height))), abs=1)


def test_a_shoulder_that_a_person_keeps_measures_the_length(copy: Picture, spec: KeySpec) -> None:
    """The blade's length runs from where the shoulder was put."""
    first = read_picture(copy, spec)
    along = np.subtract(first.marks.roots_by_edge()[0][-1], first.marks.roots_by_edge()[0][0])
    shoulder = tuple(np.asarray(first.marks.shoulder) + 12 * along / np.hypot(*along))
    marks = first.marks.model_copy(update={"shoulder": shoulder})

    snapped = read_picture(copy, spec, marks)
    kept = read_picture(copy, spec, marks, fixed=frozenset({"shoulder"}))
    length = [{one.kind: one.seen_px for one in made.readings.references}["blade-length"] for made in (snapped, kept)]

    assert kept.marks.shoulder == pytest.approx(shoulder)
    assert length[1] != pytest.approx(length[0], abs=1)


def test_a_line_of_two_marks_in_one_place_is_refused(copy: Picture, spec: KeySpec) -> None:
    """They do not say how the back runs."""
    first = read_picture(copy, spec)
    near = (first.marks.back[0], tuple(np.asarray(first.marks.back[0]) + 1))
    marks = first.marks.model_copy(update={"back": near})

    with pytest.raises(Refusal, match="The two marks of the back lie too near each other"):
        read_picture(copy, spec, marks, fixed=frozenset({"back.0", "back.1"}))


def test_the_references_of_a_scan_agree_about_its_scale(spec: KeySpec) -> None:
    """The file's dpi of the demo scan is true, and the blade's height says the same within 1 per cent."""
    reading = read_picture(open_picture(ASSETS / "demo-scan.jpg"), spec)
    scales = {reference.kind: reference.px_per_mm for reference in reading.readings.references}

    assert scales["blade-height"] == pytest.approx(scales["dpi"], rel=0.01)


def test_a_copys_blade_gives_its_scale_along_and_across(copy: Picture, spec: KeySpec) -> None:
    """Height (which a shadow makes larger) and length of the enlarged blade agree; the dpi claim is another thing."""
    reading = read_picture(copy, spec)
    scales = {reference.kind: reference.px_per_mm for reference in reading.readings.references}

    assert 1.0 < scales["blade-height"] / scales["blade-length"] < 1.1
    assert scales["dpi"] < 0.8 * scales["blade-length"]


def test_a_straightened_position_goes_to_the_picture_and_back(copy: Picture, spec: KeySpec) -> None:
    """The map of the straightened picture is exact in both directions, and the blade lies level in it."""
    reading = read_picture(copy, spec)
    points = np.array([[3.0, 4.0], [220.5, 81.25]])

    assert reading.straight.straight_xy(reading.straight.picture_xy(points)) == pytest.approx(points)
    assert abs(reading.blade.back_slope) < 1e-6


def test_a_page_without_a_key_is_refused_in_words(spec: KeySpec) -> None:
    """Nothing is made up on an empty page."""
    assert find_keys(_blank()) == ()
    with pytest.raises(Refusal, match=r"No key was found in blank\.png; check that the whole key is in the picture"):
        read_picture(_blank(), spec)


def test_marks_outside_the_picture_are_named(copy: Picture, spec: KeySpec) -> None:
    """Which mark, where it lies, how large the picture is, what to do."""
    width, height = copy.size
    with pytest.raises(
        Refusal, match=rf"The mark tip at \(99999, 10\) lies outside .* {width} x {height} pixels; move it"
    ):
        read_picture(copy, spec, Marks(tip=(99999.0, 10.0)))


def test_a_wrong_number_of_roots_is_refused(copy: Picture, spec: KeySpec) -> None:
    """Three marks for five cuts cannot be placed."""
    with pytest.raises(Refusal, match="The marks give 3 roots, but a key of Harbourside 5 has 5 cuts"):
        read_picture(copy, spec, Marks(roots=((10.0, 10.0), (20.0, 10.0), (30.0, 10.0))))


def test_a_key_number_that_is_not_there_is_refused(copy: Picture, spec: KeySpec) -> None:
    """Asking for the fifth key of a page that shows one."""
    with pytest.raises(Refusal, match="so there is no key number 5"):
        read_picture(copy, spec, key=4)


def test_a_stopped_reading_changes_nothing(copy: Picture, spec: KeySpec) -> None:
    """Cancelling is answered before the work is done."""
    with pytest.raises(Refusal, match="stopped"):
        read_picture(copy, spec, cancelled=lambda: True)


def test_an_assumed_cutter_is_said(copy: Picture, spec: KeySpec) -> None:
    """A table without a cut form is read with the usual one, and the reading says so."""
    bare = spec.model_copy(update={"cut_form": spec.cut_form.model_copy(update={"flat_mm": None, "angle_deg": None})})

    assert read_picture(copy, spec).warnings == ()
    assert read_picture(copy, bare).warnings == (
        "Harbourside 5 does not say how its cutter is made; cuts were looked for with a flat of 0.8 mm and 90 degrees.",
    )


@pytest.mark.parametrize(("way", "axis"), [("along", "along"), ("across", "across"), ("askew", "both")])
def test_a_length_that_a_hand_marks_is_a_size_reference(spec: KeySpec, way: str, axis: str) -> None:
    """Its own scale is the picture's at any angle; the key is found without any other mark."""
    scan = open_picture(ASSETS / "demo-scan.jpg")
    first = read_picture(scan, spec)
    back = np.asarray(first.marks.back)
    along = (back[1] - back[0]) / np.hypot(*(back[1] - back[0]))
    step = {"along": along, "across": along[::-1] * (1, -1), "askew": (along + along[::-1] * (1, -1)) / np.sqrt(2)}[way]
    per_mm = 300 / 25.4
    ends = (tuple(back[0]), tuple(back[0] + 10.0 * per_mm * step))
    marks = Marks(reference=ReferenceMark(kind="length", corners=ends, length_mm=10.0))

    read = read_picture(scan, spec, marks)
    length = next(one for one in read.readings.references if one.kind == "length")

    assert length.axis == axis and length.px_per_mm == pytest.approx(per_mm, rel=1e-3)
    assert read.marks.reference == marks.reference
    assert decode(read.readings, spec).code == decode(first.readings, spec).code


def test_a_length_in_a_photo_is_no_mark_of_the_key(spec: KeySpec) -> None:
    """Beside a card it leaves the key to be found, and is no card or page itself."""
    photo = Picture("photo.png", np.full((600, 900), 200, dtype=np.uint8), None, "0" * 64)
    card = ((100.0, 100.0), (500.0, 110.0), (495.0, 360.0), (102.0, 350.0))
    view = from_corners("id1-card", card, photo.size)
    length = Marks(reference=ReferenceMark(kind="length", corners=((1.0, 1.0), (9.0, 9.0)), length_mm=9.0))

    with pytest.raises(Refusal, match="The marks have no back"):
        Ground("photo-card", view, 2.0, key_scale=True).frame(length, spec)
    assert ground_of(photo, spec, length, medium=None, reference="auto").view is None


def test_a_reading_says_where_flanks_alone_told_its_cuts(tmp_path: Path) -> None:
    """A copy on which none of the floors shows an edge is read all the same, and a person is told how."""
    (truth,) = write_set(tmp_path, 50, 1, ("photocopy",), ("A",))
    assert truth["nuisance"]["floors_without_edge"] == len(truth["code"])
    table = load_spec(tmp_path / "specs" / f"{truth['spec']}.json")

    reading = read_picture(open_picture(tmp_path / truth["image"]), table)

    assert any("Black hides floors" in sentence for sentence in reading.warnings)
    assert decode(reading.readings, table).code == tuple(truth["code"])
