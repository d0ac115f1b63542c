"""An edge is one line: what taking off the wide part of a change leaves beside it is no second one."""

from __future__ import annotations

import numpy as np
import pytest

from app.picture.diagonals import diagonals
from app.picture.edgemaps import step_filter, wide_filter
from app.picture.lie import Back, back_of
from app.picture.lobes import without_lobes
from app.picture.sample import Patch
from tests.app.picture.edge_scene import FRAME, SHAPE, places_mm, softly

STEP_MM = 0.02
Y_MM = np.arange(-2.0, 2.0, STEP_MM)


def _change(profile: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """The change across a profile (places, outward) with lobes and without."""
    grey = np.repeat(profile[:, None], 3, axis=1).astype(np.float32)
    change, wide = (found(grey, FRAME, axis=0, step_mm=STEP_MM)[:, 1] for found in (step_filter, wide_filter))
    return change, without_lobes(change, wide)


def test_beside_a_clean_edge_nothing_is_left_and_the_edge_stays() -> None:
    """With lobes a sixth of the edge stands a quarter of a millimetre beside it; without, not a hundredth."""
    change, alone = _change(100.0 + 100.0 * (Y_MM > 0.01))
    beside = (np.abs(Y_MM - 0.01) > 0.16) & (np.abs(Y_MM) < 1.0)

    assert np.abs(change[beside]).max() > change.max() / 7
    assert np.abs(alone[beside]).max() < change.max() / 100
    assert alone[change > 0.2 * change.max()] == pytest.approx(change[change > 0.2 * change.max()])


@pytest.mark.parametrize("fall", [5.0, 20.0, 40.0])
def test_a_real_edge_within_another_s_lobe_keeps_its_height(fall: float) -> None:
    """A fall of grey a quarter of a millimetre inside a rise is as high as alone, not as high as both."""
    rise, inner = 100.0 * (Y_MM > 0.01), -fall * (Y_MM > -0.25)
    change, alone = _change(100.0 + rise + inner)
    at = np.abs(Y_MM + 0.26) < 0.08

    assert change[at].min() < -1.1 * fall, "no lobe was there to be taken off"
    assert alone[at].min() == pytest.approx(-fall, rel=0.06)


def test_what_is_wide_is_taken_off_as_far_as_there_is_something() -> None:
    """Held between nothing and the whole change, whatever their signs; a soft ramp goes as before."""
    whole, wide = np.random.default_rng(4).normal(0.0, 1.0, (2, 4000))
    left = without_lobes(whole - wide, wide)

    same = np.sign(whole) == np.sign(wide)
    assert left[~same] == pytest.approx(whole[~same])
    assert left[same] == pytest.approx(np.sign(whole[same]) * np.maximum(np.abs(whole[same]) - np.abs(wide[same]), 0.0))
    ramp, alone = _change(50.0 * Y_MM)
    inner = np.abs(Y_MM) < 0.5
    assert np.abs(ramp[inner]).max() < 8.0 and np.abs(alone[inner]).max() <= np.abs(ramp[inner]).max() + 1e-3


def _back(*, signed: bool) -> Back:
    x, y = places_mm()
    grey = 200.0 - 100.0 * softly(y + 0.0 * x)
    noisy = grey + np.random.default_rng(2).normal(0.0, 1.0, grey.shape)
    return back_of(Patch(noisy.astype(np.float32), 0, 0), FRAME, SHAPE, reach_mm=0.8, step_mm=0.02, signed=signed)


@pytest.mark.parametrize("signed", [False, True])
def test_a_clean_back_has_one_line(signed: bool) -> None:
    """In a scan nothing beside it speaks for another; and on a copy, where only one sign counts, nothing ever did."""
    offsets = np.arange(-0.8, 0.81, 0.04)

    told = _back(signed=signed).log_p(offsets, np.zeros(1), 10.0)[:, 0]

    assert abs(offsets[np.argmax(told)]) < 0.03 and told.max() > 15.0
    assert told[np.abs(offsets) > 0.18].max() < 0.0


@pytest.mark.parametrize("direction", [1, -1])
def test_a_flank_loses_its_lobes_as_a_whole(direction: int) -> None:
    """Not sample by sample: the sums along it are held between nothing and the whole; what had lobes is kept beside."""
    change, wide = np.random.default_rng(6).normal(0.0, 1.0, (2, 20, 40)).astype(np.float32)
    first, end, diagonal = np.array([4]), np.array([12]), np.array([20 - direction * 4])

    ((alone,),), ((whole,),) = diagonals(change, direction, 8, wide).z(first, end, diagonal, np.zeros(1, dtype=int))

    rows = np.arange(4, 12)
    columns = 20 + direction * (rows - 4)
    own, other = (float(one[rows, columns].sum(dtype=float)) for one in (change, wide))
    assert whole != 0.0
    assert alone / whole == pytest.approx(np.clip(own, min(own + other, 0.0), max(own + other, 0.0)) / own)
