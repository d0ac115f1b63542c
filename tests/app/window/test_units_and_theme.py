"""Lengths in three units, and colours that can be read."""

from __future__ import annotations

import pytest

from app.window.theme import DARK, LIGHT, TEXT_PAIRS, Colours, contrast
from app.window.units import MM_PER_INCH, LengthFormat
from keycore import spec


def test_a_length_in_each_unit() -> None:
    """25.4 mm is one inch (exact since 1959) and 1000 thou."""
    assert LengthFormat("mm").length(25.4) == "25.40 mm"
    assert LengthFormat("inch").length(25.4) == "1.0000 inch"
    assert LengthFormat("thou").length(25.4) == "1000.0 thou"
    assert MM_PER_INCH == spec.MM_PER_INCH


def test_the_decimal_sign_is_the_persons() -> None:
    """With a comma every number has a comma."""
    form = LengthFormat("mm", ",")

    assert form.with_doubt(7.24, 0.041) == "7,24 \u00b1 0,04"
    assert form.probability(0.934) == "0,93"


def test_units_go_round_and_back() -> None:
    """Three steps come back; a value shown in any unit comes back in mm."""
    form = LengthFormat()

    assert form.next().next().next() == form
    for step in (form, form.next(), form.next().next()):
        assert step.to_mm(step.value(7.315)) == pytest.approx(7.315)


def test_no_probability_is_called_certain() -> None:
    """What is nearly sure is not written as 1, what is nearly impossible not as 0."""
    form = LengthFormat()

    assert form.probability(0.99999) == ">0.999" and form.probability(0.996) == "0.996"
    assert form.probability(0.0001) == "<0.01" and form.probability(0.5) == "0.50"


def test_minus_nothing_is_nothing() -> None:
    """A tiny negative length is not shown as minus zero."""
    assert LengthFormat().bare(-0.0001) == "0.00"


@pytest.mark.parametrize("colours", [LIGHT, DARK], ids=["light", "dark"])
@pytest.mark.parametrize(("ink", "ground"), TEXT_PAIRS)
def test_words_have_enough_contrast(colours: Colours, ink: str, ground: str) -> None:
    """WCAG 2.2, success criterion 1.4.3 (AA): at least 4.5 to 1 for text."""
    assert contrast(getattr(colours, ink), getattr(colours, ground)) >= 4.5


def test_contrast_as_defined() -> None:
    """WCAG 2.2: black on white is 21 to 1; #767676 on white is the well-known grey that just passes, 4.54 to 1."""
    assert contrast("#000000", "#ffffff") == pytest.approx(21.0)
    assert contrast("#ffffff", "#767676") == pytest.approx(4.54, abs=0.01)
