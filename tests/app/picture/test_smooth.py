"""The quick filters and sums give what the plain ones say that they replace."""

from __future__ import annotations

import numpy as np
import pytest
from scipy import ndimage
from scipy.special import log_ndtr, logsumexp

from app.picture.diagonals import diagonals
from app.picture.edgemaps import (
    NOTHING,
    STEP,
    STRONGEST,
    WIDE_MM,
    _flanks,
    peak_height,
    ratio_of_peak,
    step_filter,
)
from app.picture.frame import Frame
from app.picture.lie import HeightCurve, _along, _Grid, _pairs
from app.picture.median import spread
from app.picture.sample import Patch
from app.picture.shape import EdgeShape
from app.picture.smooth import ends_held, shifted, smooth

RNG = np.random.default_rng(8)
GREY = RNG.uniform(0, 255, (37, 90)).astype(np.float32)
STEP_MM = 0.08
GRID = _Grid(
    offsets=STEP_MM * np.arange(-9, 10.0),
    slopes=np.linspace(-0.05, 0.05, 7),
    scales=np.array([0.98, 1.0, 1.02]),
    growths=STEP_MM * np.arange(-3, 11.0),
    x_mid=10.0,
)


@pytest.mark.parametrize("order", [(0, 0), (0, 1), (1, 0)])
@pytest.mark.parametrize("sd", [(0.7, 2.2), (6.0, 1.0), (12.0, 9.0)])
def test_smoothing_is_a_gaussian_with_mirrored_borders(order: tuple[int, int], sd: tuple[float, float]) -> None:
    """As SciPy's filter of the same name, to float32's own digits, where the kernel is longer than the picture too."""
    plain = ndimage.gaussian_filter(GREY.astype(float), sd, order=order)
    assert smooth(GREY, sd, order) == pytest.approx(plain, abs=2e-4)


@pytest.mark.parametrize("px_per_mm", [1.0, 12.0])
@pytest.mark.parametrize("axis", [0, 1])
def test_a_step_filter_is_a_fine_derivative_less_a_wide_one(axis: int, px_per_mm: float) -> None:
    """Of coarse pictures too, where the fine one is the wider."""
    frame = Frame.from_axes(np.zeros(2), np.array([1.0, 0.0]), np.array([0.0, -1.0]), px_per_mm)
    blur = max(0.06, 0.5 / px_per_mm)
    fine, wide = (
        ndimage.gaussian_filter1d(GREY.astype(float), sd / 0.05, axis=axis, order=1) for sd in (blur, WIDE_MM)
    )
    plain = (fine - wide) * (blur / 0.05) * np.sqrt(2 * np.pi)
    assert step_filter(GREY, frame, axis=axis, step_mm=0.05) == pytest.approx(plain, abs=2e-3)


@pytest.mark.parametrize("signed", [False, True])
def test_the_tabled_ratio_is_the_formula_s(signed: bool) -> None:
    """To a millionth over all sums that can occur, a peak's own height among them."""
    z = np.concatenate([np.linspace(-300, 300, 4001), RNG.normal(0, 2, 500)])
    height = peak_height(z, 0.04)
    within = z / np.sqrt(1 + (height / STRONGEST) ** 2)
    ratio = 0.5 * within**2 * STEP**2 / (1 + STEP**2) - 0.5 * np.log(1 + STEP**2)
    if signed:
        ratio += np.log(2) + log_ndtr(within * STEP / np.sqrt(1 + STEP**2))
    plain = np.logaddexp(np.log(NOTHING), np.log(1 - NOTHING) + ratio)
    assert ratio_of_peak(z, height, signed=signed) == pytest.approx(plain, abs=1e-6)
    assert height == pytest.approx(ndimage.maximum_filter1d(np.abs(z), 9, mode="nearest"))


@pytest.mark.parametrize("direction", [1, -1])
def test_running_sums_down_diagonals_are_sums_along_flanks(direction: int) -> None:
    """Place by place the mean of the samples from the corner to the flank's end or the uncut edge."""
    rows, start, usual = 30, 2, 8
    height, width = GREY.shape
    sums = diagonals(GREY, direction, usual)
    whole = [
        GREY[r + np.arange(usual), c + direction * np.arange(usual)].mean(dtype=float)
        for r in range(height - usual + 1)
        for c in range(width)
        if 0 <= c + direction * (usual - 1) < width
    ]
    assert sums.noise == pytest.approx(spread(np.array(whole)), rel=1e-9)
    z, with_lobes = _flanks(sums, height, width, rows, start, direction)
    assert np.array_equal(z, with_lobes), "nothing wide was given"
    for r in range(height):
        away = np.arange(start, start + usual)[: max(0, rows - r - start)]
        for c in range(width):
            columns = c + direction * away
            if len(away) and not 0 <= columns[-1] < width:
                continue  # a flank that leaves the map
            enough = len(away) >= 4
            mean = GREY[r + away, columns].mean(dtype=float) if enough else 0.0
            assert z[r, c] == pytest.approx(mean / sums.noise * np.sqrt(len(away) / usual) if enough else 0.0, abs=1e-9)


def test_a_grid_of_a_frame_is_sampled_as_its_points_are() -> None:
    """In a level frame and in a tilted one, beyond the crop's border too."""
    patch = Patch(GREY, 400, 300)
    level = Frame.from_axes(np.array([420.0, 320.0]), np.array([0.8, 0.6]), np.array([0.6, -0.8]), 7.0)
    tilted = Frame(level.to_picture + np.array([[0, 0, 0], [0, 0, 0], [2e-4, -3e-4, 0.0]]), 7.0)
    x, y = np.linspace(-4, 6, 23), np.linspace(-3, 3, 17)
    for frame in (level, tilted):
        plain = patch.at(frame.picture_xy(np.stack(np.meshgrid(x, y), axis=-1)))
        assert patch.grid(frame, x, y) == pytest.approx(plain, abs=0.1)  # positions are float32: 3e-5 px apart


@pytest.mark.parametrize("side", [1, -1])
def test_evidence_along_the_line_s_grid_is_interpolated(side: int) -> None:
    """Whole steps along the grid and one share between them give what interpolating every place gives."""
    curve = HeightCurve(17.0, 4.013 + STEP_MM * np.arange(60), RNG.normal(0, 4, 60))
    roots = np.array([8.0, 7.5, 5.0, 3.0])
    table = _along(curve, roots, side, GRID)
    line = side * (GRID.offsets[:, None] + GRID.slopes * (curve.x_mm - GRID.x_mid))[:, :, None, None]
    for depth, root in enumerate(roots):
        plain = curve.at(line + GRID.scales[:, None] * root + GRID.growths)
        assert GRID.spread_out(table[..., depth, :], side) == pytest.approx(plain, abs=1e-9)


def test_a_mirrored_pair_s_evidence_is_the_sum_over_the_depths_that_both_floors_have() -> None:
    """Depth by depth and place by place, to a ten-thousandth, within eighty nats of the best."""
    shape = EdgeShape(np.array([14.0, 17.0]), 6.0, np.array([5.0, 4.4, 3.8]), 0.8, 1.0)
    edges = tuple(
        tuple(HeightCurve(x, 3.013 + STEP_MM * np.arange(40), RNG.normal(0, 4, 40)) for x in shape.positions_mm)
        for _ in range(2)
    )
    plain = np.zeros(tuple(len(axis) for axis in GRID.axes))
    for pair in zip(*edges, strict=True):
        by_depth = np.zeros((len(shape.roots_mm), *plain.shape))
        for curve, side in zip(pair, (1, -1), strict=True):
            line = side * (GRID.offsets[:, None] + GRID.slopes * (curve.x_mm - GRID.x_mid))[:, :, None, None]
            for depth, root in enumerate(shape.roots_mm):
                by_depth[depth] += curve.at(line + GRID.scales[:, None] * root + GRID.growths)
        plain += logsumexp(by_depth, axis=0)

    found = _pairs(edges, shape, GRID)

    assert np.ptp(plain) < 80.0
    assert found == pytest.approx(plain, abs=1e-4)


def test_shifted_and_lengthened_values_hold_their_ends() -> None:
    """Beyond the first and the last value those two go on."""
    values = np.array([3.0, 1.0, 4.0, 1.5])

    assert shifted(values, 1).tolist() == [1.0, 4.0, 1.5, 1.5]
    assert shifted(values, -2).tolist() == [3.0, 3.0, 3.0, 1.0]
    assert ends_held(values, 2).tolist() == np.pad(values, 2, mode="edge").tolist()
