"""The reduction route: percentages to set, and the error they leave."""

from __future__ import annotations

import pytest

from keycore.measured import Measured
from keycore.reduction import reduction
from keycore.refusal import Refusal
from keycore.spec import load_spec

SPEC = load_spec("Harbourside 5")


def test_settings_and_what_they_leave():
    """An enlargement of 1.6 wants 62.5 %, set as 62, which leaves 0.8 % too small: 0.066 mm on a root of 8.2 mm."""
    r = reduction(Measured(1.25, 0.0), Measured(1.6, 0.008), SPEC)

    assert r.along.passes == (80.0,) and r.along.left.value == pytest.approx(0.0)
    assert r.across.exact_percent.value == pytest.approx(62.5) and r.across.passes == (62.0,)
    assert r.across.left.value == pytest.approx(1.6 * 0.62 - 1) and r.height_left_mm.value == pytest.approx(-0.0656)
    assert r.height_left_mm.sigma == pytest.approx(0.008 * 0.62 * 8.2)


def test_finer_steps_leave_less():
    """A copier that sets tenths of a per cent leaves at most a twentieth of a per cent of the setting."""
    r = reduction(Measured(1.553, 0.001), Measured(1.541, 0.001), SPEC, step_percent=0.1)

    assert abs(r.along.left.value) <= 0.05 / r.along.exact_percent.value * 1.001


def test_one_setting_for_both_axes_shares_the_error():
    """With axes 1 % apart one setting leaves about half a per cent on each, opposite ways."""
    r = reduction(Measured(2.01, 0.0), Measured(1.99, 0.0), SPEC)

    assert r.one == (50.0,) and (r.one_left_along, r.one_left_across) == pytest.approx((0.005, -0.005))


def test_two_passes_beyond_the_copiers_reach():
    """A copy of five times the size is reduced twice, and the product is what counts."""
    r = reduction(Measured(5.0, 0.0), Measured(5.0, 0.0), SPEC)

    assert len(r.along.passes) == 2 and all(25 <= p <= 100 for p in r.along.passes)
    assert 5.0 * r.along.passes[0] * r.along.passes[1] / 1e4 - 1 == pytest.approx(r.along.left.value)


@pytest.mark.parametrize("enlargement", [0.0, -1.0, 50.0])
def test_impossible_enlargement_is_refused(enlargement):
    """What no copier makes is refused in a sentence."""
    with pytest.raises(Refusal, match="not one that a copier makes"):
        reduction(Measured(enlargement, 0.0), Measured(1.0, 0.0), SPEC)
