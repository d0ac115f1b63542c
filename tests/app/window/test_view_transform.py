"""The view transform: one half pixel, exact zoom at the pointer, square pixels when large."""

from __future__ import annotations

import math

import numpy as np
import pytest
from PySide6.QtGui import QImage, QPainter

from app.picture.values import Straight
from app.window.picture_layers import make_layers
from app.window.view_transform import LARGEST_PERCENT, ViewTransform, plain_straight, view_of
from keycore.measured import Floats


def turned(angle_deg: float, shift: tuple[float, float], scale: float = 1.0) -> Floats:
    """A map that turns, scales and shifts."""
    a = math.radians(angle_deg)
    return np.array(
        [
            [scale * math.cos(a), -scale * math.sin(a), shift[0]],
            [scale * math.sin(a), scale * math.cos(a), shift[1]],
            [0.0, 0.0, 1.0],
        ]
    )


TILTED = np.array([[0.9, -0.2, 300.0], [0.25, 0.95, 40.0], [1e-4, -5e-5, 1.0]])


@pytest.mark.parametrize("to_picture", [np.eye(3), turned(31, (500, 80)), turned(-90, (20, 900), 0.5), TILTED])
def test_the_point_under_the_pointer_stays_through_a_hundred_steps(to_picture: Floats) -> None:
    """A hundred wheel steps in and out, at one place, leave the picture there within a tenth of a pixel."""
    view = view_of(Straight(to_picture, (1100, 400)), (770.0, 310.0))
    pointer = (613.4, 121.7)
    before = view.picture_of_view(np.array(pointer))
    for step in range(100):
        view = view.zoomed(1.2 if step % 7 < 4 else 1 / 1.2, pointer)

        assert np.abs(view.picture_of_view(np.array(pointer)) - before).max() < 0.1


def test_the_half_pixel_is_carried_once() -> None:
    """The centre of pixel (3, 2) is drawn in the middle of its square, and picked up there."""
    view = ViewTransform(plain_straight((7, 5)), 20.0, (10.0, 30.0), (200.0, 150.0))

    assert view.view_xy(np.array([3.0, 2.0])).tolist() == [10 + 3.5 * 20, 30 + 2.5 * 20]
    assert view.picture_of_view(np.array([80.0, 80.0])).tolist() == [3.0, 2.0]


def test_the_painter_shows_a_pixel_where_the_transform_says() -> None:
    """One dark pixel of a light picture, turned and enlarged: its drawn middle is its transformed position."""
    pixels = np.full((60, 90), 255, dtype=np.uint8)
    pixels[25, 40] = 0
    straight = Straight(turned(20, (5, -3)), (90, 60))
    view = view_of(straight, (300.0, 200.0)).zoomed(6.0, (150.0, 100.0))
    x, y = view.view_of_picture(np.array([40.0, 25.0]))
    view = view.moved((150.0 - x, 100.0 - y))
    image = QImage(300, 200, QImage.Format.Format_RGB32)
    image.fill(0xFFFFFFFF)
    painter = QPainter(image)
    make_layers(pixels).paint(painter, view)
    painter.end()
    drawn = np.frombuffer(image.constBits(), dtype=np.uint8).reshape(200, 300, 4)[:, :, 0]
    rows, columns = np.nonzero(drawn < 128)

    assert len(rows) > 50
    assert abs(columns.mean() + 0.5 - 150) < 0.3 and abs(rows.mean() + 0.5 - 100) < 0.3


@pytest.mark.parametrize("to_picture", [np.eye(3), turned(13, (44, 2)), TILTED])
def test_an_edge_between_pixels_is_shown_and_picked_up_as_it_is(to_picture: Floats) -> None:
    """100.5 in the picture is 100.5 after being shown and picked up again, at any zoom."""
    for factor in (0.2, 1.0, 3.7, 40.0):
        view = view_of(Straight(to_picture, (640, 200)), (500.0, 300.0)).zoomed(factor, (10.0, 20.0))
        back = view.picture_of_view(view.view_of_picture(np.array([100.5, 77.25])))

        assert np.abs(back - [100.5, 77.25]).max() < 1e-8


def test_square_pixels_above_two_hundred_per_cent() -> None:
    """Smoothing ends at 200 %, and one can go to at least 4000 %."""
    view = view_of(plain_straight((100, 50)), (100.0, 50.0))

    assert view.at_percent(200.0, (0, 0)).smooth and not view.at_percent(201.0, (0, 0)).smooth
    assert LARGEST_PERCENT >= 4000
    assert view.zoomed(1e9, (0, 0)).percent == pytest.approx(LARGEST_PERCENT)


def test_one_hundred_per_cent_is_one_picture_pixel_on_one_screen_pixel() -> None:
    """Also where the straightened picture is finer than the stored one, and on a dense screen."""
    view = view_of(Straight(turned(10, (0, 0), scale=0.5), (400, 300)), (400.0, 300.0), 2.0).at_percent(100.0, (0, 0))
    here = view.view_of_picture(np.array([[50.0, 60.0], [51.0, 60.0]]))

    assert float(np.hypot(*(here[1] - here[0]))) * 2.0 == pytest.approx(1.0)


def test_a_fitted_box_lies_in_the_middle_and_inside() -> None:
    """Fitting a box shows all of it, its middle in the view's middle."""
    view = view_of(plain_straight((1000, 300)), (640.0, 480.0)).fitted((100, 50, 500, 250), margin=10)
    corners = view.view_xy(np.array([[100.0, 50.0], [500.0, 250.0]]))

    assert corners.min() >= 9 and corners[1, 0] <= 631 and corners[1, 1] <= 471
    assert np.abs(view.straight_xy(np.array([320.0, 240.0])) - [300, 150]).max() < 1e-9


def test_some_of_the_picture_stays_in_sight() -> None:
    """However far one drags, a corner of the picture remains in the view."""
    view = view_of(plain_straight((300, 200)), (300.0, 200.0))
    for by in ((1e5, 1e5), (-1e5, 0), (0, -1e5)):
        corners = view.moved(by).view_xy(np.array([[-0.5, -0.5], [299.5, 199.5]]))

        assert corners[0, 0] <= 300 and corners[0, 1] <= 200 and corners[1, 0] >= 0 and corners[1, 1] >= 0


def test_resizing_keeps_the_middle() -> None:
    """What was in the middle of the view is in the middle of the larger view."""
    view = view_of(plain_straight((300, 200)), (300.0, 200.0)).zoomed(3.0, (40.0, 50.0))
    before = view.straight_xy(np.array([150.0, 100.0]))
    after = view.resized((500.0, 420.0), 1.0)

    assert np.abs(after.straight_xy(np.array([250.0, 210.0])) - before).max() < 1e-9
