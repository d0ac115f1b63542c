"""The quick filters and sums give what the plain ones say that they replace."""

from __future__ import annotations

import numpy as np
import pytest
from scipy import ndimage
from scipy.special import log_ndtr

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
from app.picture.lie import HeightCurve, _along, _Grid
from app.picture.median import spread
from app.picture.sample import Patch
from app.picture.smooth import smooth

RNG = np.random.default_rng(8)
GREY = RNG.uniform(0, 255, (37, 90)).astype(np.float32)


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
    z = _flanks(sums, height, width, rows, start, direction)
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
    step = 0.08
    grid = _Grid(
        offsets=step * np.arange(-9, 10.0),
        slopes=np.linspace(-0.05, 0.05, 7),
        scales=np.array([0.98, 1.0, 1.02]),
        growths=step * np.arange(-3, 11.0),
        x_mid=10.0,
    )
    curve = HeightCurve(17.0, 4.013 + step * np.arange(60), RNG.normal(0, 4, 60))
    roots = np.array([8.0, 7.5, 5.0, 3.0])
    table = _along(curve, roots, side, grid)
    line = side * (grid.offsets[:, None] + grid.slopes * (curve.x_mm - grid.x_mid))[:, :, None, None]
    for depth, root in enumerate(roots):
        plain = curve.at(line + grid.scales[:, None] * root + grid.growths)
        assert grid.spread_out(table[..., depth, :], side) == pytest.approx(plain, abs=1e-9)
