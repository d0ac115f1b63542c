"""What pointer and arrows do to marks, without a window."""

from __future__ import annotations

import math

import numpy as np
import pytest

from app.picture.values import Straight
from app.window.mark_interaction import Drag, clamped, in_order, mark_at, next_mark, nudge_px, nudged
from app.window.view_transform import view_of

TURNED = Straight(np.array([[0.0, -1.5, 700.0], [1.5, 0.0, 20.0], [0.0, 0.0, 1.0]]), (400, 300))
TILTED = Straight(np.array([[0.9, -0.2, 300.0], [0.25, 0.95, 40.0], [1e-4, -5e-5, 1.0]]), (400, 300))
PLAIN = Straight(np.eye(3), (400, 300))


def test_arrows_step_one_ten_and_a_tenth() -> None:
    """Alone 1 px, with Shift 10, with Alt 0.1."""
    assert nudge_px(shift=False, alt=False) == 1.0
    assert nudge_px(shift=True, alt=False) == 10.0
    assert nudge_px(shift=False, alt=True) == 0.1


@pytest.mark.parametrize("straight", [PLAIN, TURNED, TILTED])
@pytest.mark.parametrize("step", [0.1, 1.0, 10.0])
def test_a_nudge_is_exact_in_picture_pixels_and_goes_where_the_arrow_shows(straight: Straight, step: float) -> None:
    """The mark moves by exactly the step in the stored picture, to the right as the straightened picture is seen."""
    here = (333.25, 120.5)
    there = nudged(straight, here, "right", step)
    seen = straight.straight_xy(np.array([here, there]))

    assert math.dist(here, there) == pytest.approx(step, abs=1e-9)
    assert seen[1, 0] > seen[0, 0] and abs(seen[1, 1] - seen[0, 1]) < 1e-3 * step + 1e-6


def test_ten_small_nudges_make_one_large() -> None:
    """Ten tenths are one whole pixel: nothing is rounded on the way."""
    at = (50.0, 60.0)
    for _ in range(10):
        at = nudged(PLAIN, at, "down", 0.1)

    assert at == pytest.approx((50.0, 61.0), abs=1e-9)


def test_the_nearest_mark_within_reach_is_meant() -> None:
    """Reach is constant on the screen: the same marks are apart or out of reach as the zoom says."""
    marks = {"root.0": (100.0, 100.0), "root.1": (130.0, 100.0)}
    view = view_of(PLAIN, (400.0, 300.0)).at_percent(100.0, (0.0, 0.0))
    x, y = view.view_of_picture(np.array([104.0, 100.0]))
    near = view.at_percent(800.0, (0.0, 0.0))
    far_x, far_y = near.view_of_picture(np.array([104.0, 100.0]))

    assert mark_at(marks, view, (x, y)) == "root.0"
    assert mark_at(marks, near, (far_x, far_y)) is None
    assert mark_at({}, view, (x, y)) is None


def test_a_root_wins_over_a_line_end_at_the_same_place() -> None:
    """Where two marks lie on each other the root is meant."""
    view = view_of(PLAIN, (400.0, 300.0))

    assert (
        mark_at({"back.0": (50.0, 50.0), "root.2": (50.0, 50.0)}, view, tuple(view.view_of_picture(np.array([50, 50]))))
        == "root.2"
    )


def test_tab_walks_from_shoulder_to_tip_and_then_the_lines() -> None:
    """Shoulder, roots by number, tip, blade height, back; past the last there is none."""
    names = ["back.1", "root.10", "tip", "root.2", "blade_height.0", "shoulder", "back.0"]
    walk = in_order(names, dict.fromkeys(names, (0.0, 0.0)))

    assert walk == ("shoulder", "root.2", "root.10", "tip", "blade_height.0", "back.0", "back.1")
    assert next_mark(walk, None) == "shoulder" and next_mark(walk, "root.2") == "root.10"
    assert next_mark(walk, "back.1") is None and next_mark(walk, "shoulder", backwards=True) is None
    assert next_mark((), None) is None


def test_a_drag_begins_only_after_a_few_pixels_and_keeps_the_grip() -> None:
    """A click does not move a mark; a drag moves it by the pointer's way, not to the pointer."""
    view = view_of(PLAIN, (400.0, 300.0)).at_percent(200.0, (0.0, 0.0))
    x, y = view.view_of_picture(np.array([100.0, 80.0]))
    drag = Drag("root.0", (x + 5, y - 3), (100.0, 80.0))
    drag, place = drag.moved(view, (x + 7, y - 3), (400, 300))

    assert place is None
    drag, place = drag.moved(view, (x + 25, y - 23), (400, 300))
    assert place == pytest.approx((110.0, 70.0))
    drag, place = drag.moved(view, (x + 6, y - 3), (400, 300))
    assert place == pytest.approx((100.5, 80.0)), "once it goes, it also goes back"


def test_a_drag_stays_in_the_picture() -> None:
    """A mark cannot be dragged out of the picture; the rim has half a pixel."""
    assert clamped((-40.0, 1e4), (600, 300)) == (-0.5, 299.5)
