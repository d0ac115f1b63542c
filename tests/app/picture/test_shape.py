"""The table's shape of an edge, and the frame it is laid in."""

from __future__ import annotations

import numpy as np
import pytest

from app.picture.frame import Frame
from app.picture.roughframe import frame_from_marks
from app.picture.shape import EdgeShape
from keycore.marks import Marks
from keycore.spec import load_spec

SHAPE = EdgeShape(np.array([5.0, 9.0]), 8.0, np.array([7.0, 6.0]), 1.0, 1.0)


def test_flanks_rise_from_the_flats_to_the_plateau() -> None:
    """At 90 degrees a flank rises by what it runs; floors and plateau are level."""
    heights = SHAPE.profile(np.array([0.0, 5.0, 5.4, 6.0, 9.0]), SHAPE.positions_mm, np.array([6.0, 7.0]), 8.0)

    assert heights == pytest.approx([8.0, 6.0, 6.0, 6.5, 7.0])


def test_two_deep_cuts_meet_in_a_peak_below_the_plateau() -> None:
    """Halfway between floors at 6 and flats of 1 that are 4 apart, the flanks meet at 7.5."""
    assert SHAPE.profile(np.array([7.0]), SHAPE.positions_mm, np.array([6.0, 6.0]), 8.0) == pytest.approx([7.5])


def test_a_frame_maps_there_and_back() -> None:
    """Moved and turned frames included."""
    frame = Frame.from_axes(np.array([100.0, 50.0]), np.array([0.0, 1.0]), np.array([1.0, 0.0]), 12.0)
    turned = frame.moved(x_mm=1.0, y_mm=-0.5, slope=0.02)
    points = np.array([[0.0, 0.0], [12.5, 7.75]])

    assert turned.blade_mm(turned.picture_xy(points)) == pytest.approx(points)
    assert frame.picture_xy(np.array([2.0, 1.0])) == pytest.approx([112.0, 74.0])


@pytest.mark.parametrize("turn_deg", [0.0, 65.0, 180.0, 290.0])
@pytest.mark.parametrize("mirrored", [False, True])
def test_marks_lay_the_frame_whichever_way_the_key_lies(turn_deg: float, mirrored: bool) -> None:
    """Exact marks of a turned or turned-over key give its scale, its origin and its face."""
    spec = load_spec("Harbourside 5")
    angle = np.deg2rad(turn_deg)
    along = np.array([np.cos(angle), np.sin(angle)])
    up = np.array([along[1], -along[0]]) * (-1 if mirrored else 1)
    truth = Frame.from_axes(np.array([700.0, 500.0]), along, up, 14.0)
    points = truth.picture_xy(np.array([[x, 6.5] for x in spec.cut_positions_mm]))
    back = truth.picture_xy(np.array([[1.0, 0.0], [20.0, 0.0]]))
    marks = Marks(roots=tuple(map(tuple, points)), back=tuple(map(tuple, back)))

    frame = frame_from_marks(marks, spec)

    assert frame.px_per_mm == pytest.approx(14.0)
    assert frame.mirrored is mirrored
    assert frame.blade_mm(np.array([700.0, 500.0])) == pytest.approx([0.0, 0.0], abs=1e-6)
