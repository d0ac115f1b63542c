"""A hand's clicks count against what lies far from them, and decide nothing that is near."""

from __future__ import annotations

import numpy as np
import pytest

from app.picture.alignment import Guess, alignments
from app.picture.clicks import NO_CLICKS, Clicks, log_p_of_click
from app.picture.edgemaps import edge_maps
from app.picture.frame import Frame
from app.picture.sample import Patch
from app.picture.shape import edge_shape
from keycore.marks import Marks
from keycore.spec import KeySpec

PX = 16.0
FRAME = Frame.from_axes(np.array([160.0, 260.0]), np.array([1.0, 0.0]), np.array([0.0, -1.0]), PX)


def _marks(spec: KeySpec, *, roots: int | None = None, roots_mm: float = 4.0) -> Marks:
    """Clicks right on a back that rises by one in a hundred, and on cuts ``roots_mm`` above the frame's axis."""
    places = list(spec.cut_positions_mm)[:roots]
    line = FRAME.picture_xy(np.array([[0.0, 0.0], [20.0, 0.2]]))
    points = FRAME.picture_xy(np.array([[x, roots_mm] for x in places]).reshape(-1, 2))
    return Marks.model_validate(
        {"format": "marks/1", "back": line.tolist(), "roots": points.tolist() if len(points) else None}
    )


def test_a_click_half_a_millimetre_off_says_next_to_nothing_and_one_far_off_is_not_the_last_word() -> None:
    """Two depths 0.35 mm apart, clicked between or 0.4 mm beyond, stay within a factor of two; 2 mm cost a lot."""
    between, beyond = (log_p_of_click(np.array([a, a + 0.35])) for a in (-0.175, 0.4))

    assert np.ptp(between) < 1e-9
    assert np.ptp(beyond) < np.log(2.0)
    assert log_p_of_click(np.array(0.0)) - log_p_of_click(np.array(2.0)) > np.log(20.0)
    assert log_p_of_click(np.array(0.0)) - log_p_of_click(np.array(4.0)) < 8.0


def test_the_line_that_was_clicked_is_the_likeliest(spec: KeySpec) -> None:
    """Offset and slope of the two clicks, as a frame in half their scale sees them too."""
    half = FRAME.scaled(0.5)
    offsets, slopes = np.arange(-1.0, 1.05, 0.1), np.arange(-0.05, 0.055, 0.01)

    told = [
        Clicks.of(_marks(spec), spec).seen_from(frame).of_line(offsets * scale, slopes, 10.0 * scale)
        for frame, scale in ((FRAME, 1.0), (half, 2.0))
    ]

    for one in told:
        row, column = np.unravel_index(int(np.argmax(one)), one.shape)
        assert (offsets[row], slopes[column]) == pytest.approx((0.1, 0.01))


def test_a_floor_is_counted_outward_on_either_side(spec: KeySpec) -> None:
    """A click below the axis stands at a positive height of the other edge."""
    heights = np.arange(0.0, 8.0, 0.1)
    above, below = np.array([[5.0, 4.0]]), np.array([[5.0, -3.0]])
    clicked = Clicks(roots=(above, below), by_hand=(np.array([True]), np.array([True])))

    assert heights[np.argmax(clicked.of_floor(1, 0, heights))] == pytest.approx(4.0)
    assert heights[np.argmax(clicked.of_floor(-1, 0, heights))] == pytest.approx(3.0)


@pytest.mark.parametrize("order", [1, -1])
def test_either_edge_may_be_the_hand_s_first(order: int) -> None:
    """A key that lies on its other face has its first edge below the axis; each click counts where it lies."""
    edges_mm = (np.array([[5.0, 4.0], [9.0, 4.5]]), np.array([[5.0, -3.0], [9.0, -3.5]]))
    heights = np.arange(0.0, 8.0, 0.1)

    points = tuple(FRAME.picture_xy(edge) for edge in edges_mm[::order])
    clicked = Clicks(roots=points, by_hand=(np.array([True, True]),) * 2).seen_from(FRAME)

    assert heights[np.argmax(clicked.of_floor(1, 1, heights))] == pytest.approx(4.5)
    assert heights[np.argmax(clicked.of_floor(-1, 1, heights))] == pytest.approx(3.5)


@pytest.mark.parametrize("roots", [0, 2])
def test_roots_that_are_not_all_clicked_are_no_evidence(spec: KeySpec, roots: int) -> None:
    """Which cuts two clicks mean is not known; the back's clicks count all the same."""
    marks = _marks(spec, roots=roots)

    clicked = Clicks.of(marks, spec)

    assert clicked.roots == ()
    assert len(clicked.line) == 2


def test_the_program_s_own_marks_in_a_row_that_a_hand_touched_are_no_clicks(spec: KeySpec) -> None:
    """One root and one end of the back were dragged: these count, what the program filled in beside them does not."""
    heights = np.arange(0.0, 8.0, 0.1)
    marks, cuts = _marks(spec), np.array(spec.cut_positions_mm)

    clicked = Clicks.of(marks, spec, frozenset({"root.1", "back.0"})).seen_from(FRAME)

    assert [bool(clicked.of_floor(1, cut, heights).any()) for cut in range(3)] == [False, True, False]
    assert clicked.line == pytest.approx(np.zeros((1, 2)))
    moved = cuts + 3.9 * (np.arange(len(cuts)) != 1)
    assert clicked.of_centres(moved) == pytest.approx(clicked.of_centres(cuts))
    assert clicked.of_centres(cuts + 3.9) < clicked.of_centres(cuts) - 3.0


def test_without_clicks_nothing_is_added(spec: KeySpec) -> None:
    """Every place, line and height is as likely as every other."""
    assert Clicks.of(None, spec) is NO_CLICKS
    seen = NO_CLICKS.seen_from(FRAME)

    assert not seen.of_line(np.arange(3.0), np.arange(2.0), 0.0).any()
    assert not seen.of_centres(np.ones((4, 2, 5))).any()
    assert not seen.of_floor(1, 0, np.arange(9.0)).any()


def test_of_two_places_as_good_the_clicked_one_is_found(spec: KeySpec) -> None:
    """A row with one cut more than the table's keys have fits twice; the hand clicked the second place."""
    shape = edge_shape(spec)
    spacing = float(spec.cut_positions_mm[1] - spec.cut_positions_mm[0])
    x, y = (np.arange(700) - 160.0) / PX, (260.0 - np.arange(330)) / PX
    centres = shape.positions_mm[0] + spacing * np.arange(len(shape.positions_mm) + 1)
    floors = shape.roots_mm[[0, 3, 1, 4, 2, 0]]
    edge = shape.profile(x, centres, floors, shape.top_mm)
    grey = np.where((y[:, None] > 0) & (y[:, None] < edge), 120.0, 200.0)
    grey += np.random.default_rng(4).normal(0.0, 4.0, grey.shape)
    maps = edge_maps(
        Patch(grey.astype(np.float32), 0, 0), FRAME, shape,
        side=1, step_mm=0.05, beyond_mm=8.0, above_mm=1.5, below_mm=1.0, signed=False,
    )  # fmt: skip
    around = Guess(2.0, 0.002)

    for place in (0.0, spacing):
        on_cuts = np.stack([shape.positions_mm + place, np.full(len(shape.positions_mm), 4.0)], axis=-1)
        best, *_ = alignments(
            (maps,), shape, around, 4, Clicks(roots=(on_cuts,), by_hand=(np.ones(len(on_cuts), dtype=bool),))
        )

        assert best.centres_mm(shape) == pytest.approx(on_cuts[:, 0], abs=0.1)
