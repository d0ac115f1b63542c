"""Conformity decisions against JCGM 106:2012, ILAC-G8 and ISO 14253-1."""

from __future__ import annotations

import pytest

from keycore.conformity import conformance_probability, guard_band, outcome_of


def test_zener_breakdown_of_jcgm_106() -> None:
    """JCGM 106:2012 clause 7, one upper limit: published 0.92 (from memory), 0.919243 recomputed."""
    assert conformance_probability(-5.47, 0.05, None, -5.40) == pytest.approx(0.919243, abs=5e-7)


def test_container_burst_of_jcgm_106() -> None:
    """JCGM 106:2012 clause 7, one lower limit: published 0.98 (from memory), 0.983207 recomputed."""
    assert conformance_probability(507, 8, 490, None) == pytest.approx(0.983207, abs=5e-7)


def test_resistor_process_of_jcgm_106() -> None:
    """JCGM 106:2012 clause 9.5.3: N(1500, 0.12) within 1499.80..1500.20 conforms with 0.904419 (recomputed)."""
    assert conformance_probability(1500.0, 0.12, 1499.80, 1500.20) == pytest.approx(0.904419, abs=5e-7)


def test_ilac_g8_guard_bands() -> None:
    """ILAC-G8:09/2019: no guard band, false acceptance below 50 %; one of U = 2 u, below 2.5 % (seen quoted)."""
    assert 1 - conformance_probability(1.0, 0.1, None, 1.0) == pytest.approx(0.5)
    assert 0.02 < 1 - conformance_probability(1.0 - 0.2, 0.1, None, 1.0) < 0.025


def test_iso_14253_guard_band_factor() -> None:
    """ISO 14253-1:2017: 95 % by default (seen quoted), one-sided factor 1.65 (from memory); 1.644854 recomputed."""
    assert guard_band(1.0) == pytest.approx(1.644854, abs=5e-7)
    assert [guard_band(1.0, level) for level in (0.975, 0.99, 0.999)] == pytest.approx(
        [1.959964, 2.326348, 3.090232], abs=5e-7
    )
    assert [outcome_of(p) for p in (0.951, 0.949, 0.051, 0.049)] == ["pass", "cannot be told", "cannot be told", "fail"]
