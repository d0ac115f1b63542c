"""Things of known size, against the standards that fix them."""

from __future__ import annotations

import math

import pytest

from app.picture.perspective import A4_PAGE, ID1_CARD, LETTER_PAGE
from keycore.spec import MM_PER_INCH


def test_inch() -> None:
    """25.4 mm exactly: the yard and pound agreement of 1959, in NIST SP 811, Appendix B (not the US survey inch)."""
    assert MM_PER_INCH == 25.4


def test_id1_card() -> None:
    """ISO/IEC 7810, ID-1: 85.60 x 53.98 mm, corner radius 3.18 mm, 0.76 mm thick (nominal; read in secondary copies).

    The standard gives the long side as 3.370 in and the short as 2.125 in too, each rounded.
    """
    assert ID1_CARD.size_mm == (85.60, 53.98)
    assert ID1_CARD.size_mm == pytest.approx((3.370 * MM_PER_INCH, 2.125 * MM_PER_INCH), abs=0.006)
    assert ID1_CARD.corner_radius_mm == 3.18
    assert ID1_CARD.face_mm == 0.76


def test_id1_card_uncertainty() -> None:
    """The limits of ISO/IEC 7810 (from memory: 85.47..85.72 and 53.92..54.03 mm) count as even odds between them."""
    halves = (0.5 * (85.72 - 85.47), 0.5 * (54.03 - 53.92))
    assert ID1_CARD.sigma_mm == pytest.approx([half / math.sqrt(3) for half in halves], abs=0.001)


def test_a4_page() -> None:
    """ISO 216: A4 is 210 x 297 mm, each side within 2 mm, the tolerance of sides from 150 to 600 mm.

    By the standard's construction A0 has 1 square metre, sides are as 1 to the square root of 2, each next size is half
    the last, and sides are cut to whole millimetres.
    """
    area_mm2 = 1e6 / 2**4
    constructed = (math.sqrt(area_mm2 * math.sqrt(2)), math.sqrt(area_mm2 / math.sqrt(2)))
    assert A4_PAGE.size_mm == (297.0, 210.0)
    assert A4_PAGE.size_mm == pytest.approx(constructed, abs=0.5)
    assert A4_PAGE.sigma_mm == pytest.approx((2 / math.sqrt(3),) * 2, abs=0.01)


def test_letter_page() -> None:
    """ANSI/ASME Y14.1 size A: 8.5 x 11 in."""
    assert LETTER_PAGE.size_mm == pytest.approx((11 * MM_PER_INCH, 8.5 * MM_PER_INCH), abs=1e-9)
