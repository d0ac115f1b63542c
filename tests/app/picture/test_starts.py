"""First frames: an outline's usual errors are met by at least one of them."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from app.picture.find import FoundKey, keys_on
from app.picture.frame import Frame
from app.picture.ground import Ground, ground_of
from app.picture.load import open_picture
from app.picture.read import read_picture
from app.picture.starts import BY_OUTLINE, Start, _different, unusual_starts, usual_starts
from app.picture.values import Picture
from keycore.marks import Marks
from keycore.spec import KeySpec, load_spec

ASSETS = Path(__file__).parents[3] / "assets"
PX = 12.0
ORIGIN = np.array([100.0, 300.0])
COPY = Ground("photocopy", None, 0.0, key_scale=False)
BARE = Picture("bare.png", np.full((600, 800), 250, dtype=np.uint8), None, "0" * 64)


@pytest.fixture
def double() -> KeySpec:
    return load_spec("Lantern 5")


def _outline(spec: KeySpec, *, neck_mm: float = 0.0, low_slope: float = 0.0, dark_mm: float = 0.0) -> FoundKey:
    """A level blade's outline, its gauge at ``ORIGIN``: with a neck, its lower side turned and farther out."""
    length, height = spec.blade.length_mm, spec.blade.height_mm
    assert length is not None
    assert height is not None
    low = 0.0 if spec.edges == "single" else -height / 2
    ends = np.array([0.05, 0.9]) * length
    turned = low - dark_mm + low_slope * (ends - length / 2)

    def xy(x: float, y: float) -> tuple[float, float]:
        return float(ORIGIN[0] + PX * x), float(ORIGIN[1] - PX * y)

    return FoundKey(
        shoulder_xy=xy(-neck_mm, low + height / 2),
        tip_xy=xy(length, low + height / 2),
        side_a=np.array([xy(float(x), float(y)) for x, y in zip(ends, turned, strict=True)]),
        side_b=np.array([xy(float(x), low + height) for x in ends]),
        roughness_a=0.0,
        roughness_b=0.1,
        box=np.zeros((4, 2)),
        quality=0.8,
        length_px=1.8 * length * PX,
    )


def _off(start: Start) -> tuple[float, float, float]:
    """Scale, place along (millimetres) and slope of a start against the true blade."""
    (x0, y0), (x1, y1) = start.frame.picture_xy(np.array([[0.0, 0.0], [10.0, 0.0]]))
    return float(np.hypot(x1 - x0, y1 - y0)) / (10 * PX), float(x0 - ORIGIN[0]) / PX, float((y0 - y1) / (x1 - x0))


def test_first_frames_on_one_another_are_one(spec: KeySpec) -> None:
    """The wider of their doubts is kept; a frame a tenth of a millimetre on, or with another guess, is its own."""
    frame = Frame.from_axes(np.array([100.0, 200.0]), np.array([1.0, 0.0]), np.array([0.0, -1.0]), 12.0)
    guess, line = BY_OUTLINE
    first = Start(frame, guess, line)
    again = Start(frame.moved(x_mm=0.01), guess, replace(line, offset_sd_mm=1.4))
    others = [Start(frame.moved(y_mm=0.1), guess, line), Start(frame, replace(guess, scale_sd=0.006), line)]

    assert _different([first, again, *others], spec) == [replace(first, line=again.line), *others]


def test_a_marked_height_leaves_the_shadow_s_doubt(spec: KeySpec) -> None:
    """A hand's blade height says nothing of the outline's back: behind a shadow it is looked for as far as before."""
    scan = open_picture(ASSETS / "demo-scan.jpg")
    ground = ground_of(scan, spec, None, medium=None, reference="auto")
    height = read_picture(scan, spec).marks.blade_height
    (outline, *_) = keys_on(scan, spec, ground)

    bare = usual_starts(scan, spec, outline, None, ground)
    marked = usual_starts(scan, spec, outline, Marks(blade_height=height), ground)

    doubts = [max(start.line.offset_sd_mm for start in starts) for starts in (bare, marked)]
    assert doubts == [1.4, 1.4]


def test_a_plain_outline_of_a_copy_is_one_first_frame(spec: KeySpec) -> None:
    """On the blade, as far as the outline shows it."""
    (start,) = usual_starts(BARE, spec, _outline(spec), None, COPY)

    assert _off(start) == pytest.approx((1.0, 0.0, 0.0), abs=1e-6)


def test_a_neck_that_counts_as_blade_does_not_hide_the_scale(spec: KeySpec) -> None:
    """Six millimetres of neck make the length a fifth too large; the height tells, and the tip says where."""
    starts = usual_starts(BARE, spec, _outline(spec, neck_mm=6.0), None, COPY)

    scale, along_mm, _ = min((_off(start) for start in starts), key=lambda off: abs(off[0] - 1.0))
    assert scale == pytest.approx(1.0, abs=1e-6)
    assert along_mm == pytest.approx(0.0, abs=1e-6)


def test_a_blade_that_print_cuts_short_does_not_hide_the_scale(spec: KeySpec) -> None:
    """A third of the length is lost beside the bow; the height tells, and the tip says where."""
    length = spec.blade.length_mm
    assert length is not None
    starts = usual_starts(BARE, spec, _outline(spec, neck_mm=-length / 3), None, COPY)

    scale, along_mm, _ = min((_off(start) for start in starts), key=lambda off: abs(off[0] - 1.0))
    assert scale == pytest.approx(1.0, abs=1e-6)
    assert along_mm == pytest.approx(0.0, abs=1e-6)


def test_a_shoulder_from_a_hand_is_where_the_blade_begins(spec: KeySpec) -> None:
    """Then nothing is laid from the tip."""
    marks = Marks(shoulder=(float(ORIGIN[0]), float(ORIGIN[1] - 4 * PX)))

    starts = usual_starts(BARE, spec, _outline(spec, neck_mm=6.0), marks, COPY)

    assert [_off(start)[1] for start in starts] == pytest.approx([0.0] * len(starts), abs=1e-6)


def test_either_side_of_a_double_key_may_be_the_true_one(double: KeySpec) -> None:
    """One side runs along a shadow, four degrees off; the mean of both would be too far off to be followed."""
    starts = usual_starts(BARE, double, _outline(double, low_slope=0.07, dark_mm=1.0), None, COPY)

    slopes = sorted(_off(start)[2] for start in starts)
    assert slopes == pytest.approx([0.0, 0.035, 0.07], abs=0.002)


def test_a_scanner_s_claim_is_taken_where_the_outline_agrees(spec: KeySpec) -> None:
    """One frame in its scale; with a claim that no key would show, the outline's own scale is tried too."""
    scan = replace(COPY, medium="scan")
    agreeing = replace(BARE, dpi=(PX * 25.4, PX * 25.4))

    outline = _outline(spec, dark_mm=1.0)
    (one,) = usual_starts(agreeing, spec, outline, None, scan)

    assert _off(one)[0] == pytest.approx(1.0, abs=1e-6)
    for factor in (1.2, 1.8, 3.0):
        strange = replace(BARE, dpi=(factor * PX * 25.4, factor * PX * 25.4))
        scales = sorted(_off(start)[0] for start in usual_starts(strange, spec, outline, None, scan))
        assert scales[0] < 1.1
        assert (scales[-1] == pytest.approx(factor, abs=1e-6)) == (factor < 2)


def test_where_little_is_seen_the_other_side_may_be_the_back(spec: KeySpec) -> None:
    """The smoother side is a back as a rule; afterwards the other one is tried, and frames that turn farther."""
    outline = _outline(spec)
    usual = usual_starts(BARE, spec, outline, None, COPY)
    unusual = unusual_starts(BARE, spec, outline, None, COPY)

    assert len(usual) == 1
    ups = {bool(np.linalg.det(start.frame.to_picture[:2, :2]) > 0) for start in unusual}
    assert ups == {True, False}
    assert all(start.line.slope_sd > usual[0].line.slope_sd for start in unusual)


def test_outlines_that_differ_little_are_one(spec: KeySpec) -> None:
    """The second outline that is tried is the first that differs, not a copy of the likeliest."""
    plain, other = _outline(spec), _outline(spec, dark_mm=3.0)
    alike = replace(plain, length_px=plain.length_px + 1.0)

    starts = usual_starts(BARE, spec, replace(plain, others=(alike, other)), None, COPY)

    by_itself = [start for outline in (plain, other) for start in usual_starts(BARE, spec, outline, None, COPY)]
    assert [_off(start) for start in starts] == [_off(start) for start in by_itself]
