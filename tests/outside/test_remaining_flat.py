"""Which largest steps leave room: makers' cutter angles and makers' forbidden pairs must tell the same story."""

from __future__ import annotations

import math
from typing import Any

import pytest

from keycore.cutting import cut_list
from keycore.spec import KeySpec, parse_spec


def two_cuts(spacing_in: float, step_in: float, depths: int, angle_deg: float, flat_in: float) -> KeySpec:
    """A table of two cuts with this spacing, step and cutter."""
    table: dict[str, Any] = {
        "format": "keyspec/1",
        "name": "two cuts",
        "provenance": {"kind": "invented", "source": "only for a test"},
        "units": "in",
        "edges": "single",
        "gauge_from": "shoulder",
        "root_from": "back",
        "cut_positions": [0.25, 0.25 + spacing_in],
        "depths": [{"label": chr(97 + i), "root": 0.32 - step_in * i} for i in range(depths)],
        "tolerance": {"root": 0.002, "position": 0.003},
        "cut_form": {"flat": flat_in, "angle": angle_deg},
    }
    return parse_spec(table)


@pytest.mark.parametrize(
    ("spacing", "step", "allowed", "angle", "flat"),
    # Kaba Peaks maker's manual, sections 1-4 (90 degree cutter): A2 at .140 allows 8 and forbids 9, at .150 allows 9;
    # A4 at .140 allows 4 and forbids 5, at .150 allows 5.  Schlage: 100 degree cutter, MACS 7.  Flats left, derived:
    [
        (0.140, 0.0125, 8, 90, 0.0400),
        (0.150, 0.0125, 9, 90, 0.0375),
        (0.140, 0.021, 4, 90, 0.0560),
        (0.150, 0.021, 5, 90, 0.0450),
        (0.140, 0.0125, 9, 90, 0.0275),
        (0.140, 0.021, 5, 90, 0.0350),
        (0.1562, 0.015, 7, 100, 0.0311),
    ],
)
def test_flat_left_by_the_largest_step(spacing: float, step: float, allowed: int, angle: float, flat: float) -> None:
    """With a cutter whose flat is 0.06 in the list says that just this much of the shallow flat is left."""
    spec = two_cuts(spacing, step, allowed + 1, angle, flat_in=0.06)
    listed = cut_list((spec.labels[0], spec.labels[allowed]), spec)

    assert flat == pytest.approx(spacing - allowed * step * math.tan(math.radians(angle / 2)), abs=5e-5)
    assert [undercut.left_mm / 25.4 for undercut in listed.undercuts] == [pytest.approx(flat, abs=5e-5)]


@pytest.mark.parametrize(
    ("spacing", "step", "allowed", "forbidden"), [(0.140, 0.0125, 8, 9), (0.140, 0.021, 4, 5), (0.150, 0.0125, 9, None)]
)
def test_allowed_steps_clear_a_flat_that_forbidden_ones_do_not(
    spacing: float, step: float, allowed: int, forbidden: int | None
) -> None:
    """Allowed steps leave at least .0375 in, forbidden ones at most .0350 (derived from the maker's numbers): .036."""
    spec = two_cuts(spacing, step, (forbidden or allowed) + 1, 90, flat_in=0.036)
    clear = cut_list((spec.labels[0], spec.labels[allowed]), spec)
    assert clear.undercuts == ()
    if forbidden is not None:
        assert len(cut_list((spec.labels[0], spec.labels[forbidden]), spec).undercuts) == 1
