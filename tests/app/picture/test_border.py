"""A second outline beside the metal's is found, told from the metal, and not seen where there is none."""

from __future__ import annotations

import numpy as np
import pytest

from app.picture.border import (
    BOTH,
    FARTHEST_MM,
    LEAST_MM,
    METAL,
    NO_BORDER,
    RASTER_MM,
    WIDE_MM,
    Border,
    bordered,
    likeliest_border,
    with_second,
)
from app.picture.cuts import cut_curve
from app.picture.edgemaps import EdgeMaps, edge_maps
from app.picture.frame import Frame
from app.picture.lie import Back, Uncut
from app.picture.sample import Patch
from app.picture.shape import EdgeShape

PX = 16.0
ORIGIN = np.array([60.0, 260.0])
FRAME = Frame.from_axes(ORIGIN, np.array([1.0, 0.0]), np.array([0.0, -1.0]), PX)
SHAPE = EdgeShape(np.array([5.0, 9.0, 13.0, 17.0]), 8.0, np.array([7.6, 7.0, 6.4, 5.8, 5.2]), 1.0, 1.0)
ROOTS_MM = SHAPE.roots_mm[[1, 4, 2, 3]]


def _maps(beside: Border | None, wide_mm: float, step_mm: float) -> EdgeMaps:
    """A pale blade on pale paper, and between the two the dark of the same outline moved."""
    columns, rows = np.meshgrid(np.arange(440.0), np.arange(300.0))
    x, y = (columns - ORIGIN[0]) / PX, (ORIGIN[1] - rows) / PX

    def inside(by: Border) -> np.ndarray:
        edge = SHAPE.profile(x[0] - by.x_mm, SHAPE.positions_mm, ROOTS_MM, SHAPE.top_mm) + by.y_mm
        return 1.0 / (1.0 + np.exp(-(edge[None, :] - y) * 40.0))

    grey = np.full(x.shape, 210.0)
    if beside is not None:
        grey += inside(beside) * (60.0 - grey)
    grey += inside(NO_BORDER) * (150.0 - grey)
    grey += np.random.default_rng(3).normal(0.0, 4.0, grey.shape)
    patch = Patch(grey.astype(np.float32), 0, 0)
    return edge_maps(
        patch, FRAME, SHAPE, side=1, step_mm=step_mm, beyond_mm=3.0, above_mm=1.8, below_mm=1.0, signed=False,
        wide_mm=wide_mm,
    )  # fmt: skip


@pytest.mark.parametrize(("x_mm", "y_mm"), [(0.0, 0.6), (-0.4, 0.5), (0.4, 0.9)])
def test_the_outline_beside_the_metal_is_found_where_it_lies(x_mm: float, y_mm: float) -> None:
    """Straight up, and slantwise to either side; where it lies outside a flank it is found there too."""
    found = likeliest_border(_maps(Border(x_mm, y_mm), WIDE_MM, RASTER_MM), SHAPE)

    assert found.above == pytest.approx(y_mm, abs=0.11)
    for direction in (1, -1):
        true_mm = Border(x_mm, y_mm).inward(direction, SHAPE.tangent)
        if true_mm >= LEAST_MM:
            assert found.inward(direction, SHAPE.tangent) == pytest.approx(true_mm, abs=0.21)


def test_a_blade_without_a_second_outline_has_none() -> None:
    """One clear edge with its blur and noise is not two."""
    assert likeliest_border(_maps(None, WIDE_MM, RASTER_MM), SHAPE) == NO_BORDER


def test_floors_are_read_at_the_metal_although_the_border_is_stronger() -> None:
    """The dark's outer border has more contrast than the metal's; with it known the floors are the metal's."""
    beside = Border(0.0, 0.6)
    plain = _maps(beside, 0.3, 0.04)
    known = bordered(plain, beside, SHAPE.tangent)

    found = [cut_curve(known, float(at))[0].most_mm for at in SHAPE.positions_mm]

    assert found == pytest.approx(list(ROOTS_MM), abs=0.06)


def test_a_vector_shows_on_the_sides_that_it_leaves_the_metal_by() -> None:
    """Up and to the right: above floors, inside flanks that rise left, never outside the back; down: only there."""
    up_right, down = Border(0.5, 0.4), Border(0.0, -0.6)

    assert (up_right.above, up_right.below_back) == (0.4, 0.0)
    assert (up_right.inward(1, 1.0), up_right.inward(-1, 1.0)) == (0.0, pytest.approx(0.9))
    assert (down.above, down.below_back) == (0.0, 0.6)
    assert FARTHEST_MM > LEAST_MM > 0


def test_two_seen_lines_speak_more_than_one_and_one_hardly_less_than_alone() -> None:
    """The mixture of metal, border and both."""
    line = np.array([20.0])
    nothing = np.array([-2.0])

    assert with_second(line, line)[0] == pytest.approx(40.0 + np.log(BOTH), abs=1e-6)
    assert 20.0 + np.log(METAL) < with_second(line, nothing)[0] < 20.0
    assert with_second(nothing, line)[0] < with_second(line, nothing)[0] - 1.0


def test_the_uncut_edge_in_pieces_tells_its_tilt() -> None:
    """Three level pieces of an edge that rises 0.02 a millimetre: that slope has the highest ratio, at its height."""
    height = np.arange(6.0, 10.0, 0.04)
    x = np.array([1.0, 8.0, 20.0])
    at = 8.0 + 0.02 * (x - np.average(x, weights=[2.0, 1.0, 1.0]))
    rise = 30.0 * np.exp(-0.5 * ((height - at[:, None]) / 0.06) ** 2)
    uncut = Uncut(x, np.array([2.0, 1.0, 1.0]), height, rise, noise=2.0, signed=False)
    slopes = np.array([-0.02, 0.0, 0.02, 0.04])

    best = int(np.argmax(uncut.log_p(slopes).max(axis=1)))

    assert slopes[best] == 0.02
    assert uncut.curve(0.02).most_mm == pytest.approx(8.0, abs=0.03)


def test_a_back_is_as_likely_inside_its_shadow_as_at_the_shadow() -> None:
    """Two lines 0.6 mm apart: without a vector the stronger one is the back, with it the inner one is."""
    outward = np.arange(-1.5, 1.5, 0.02)
    z = np.zeros((4, len(outward)))
    for place, height in ((0.0, 12.0), (0.6, 40.0)):
        z += height * np.exp(-0.5 * ((outward - place) / 0.06) ** 2)
    offsets, slopes = 0.02 * np.arange(-50, 51), np.zeros(1)
    x = np.array([2.0, 8.0, 14.0, 20.0])

    alone = Back(x, outward, z, signed=False).log_p(offsets, slopes, 11.0)[:, 0]
    known = Back(x, outward, z, signed=False, border_mm=0.6).log_p(offsets, slopes, 11.0)[:, 0]

    assert offsets[alone.argmax()] == pytest.approx(-0.6, abs=0.03)
    assert offsets[known.argmax()] == pytest.approx(0.0, abs=0.03)
