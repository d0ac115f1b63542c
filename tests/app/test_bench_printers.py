"""What is remembered of printers: corrections chain, a repeated call corrects once."""

from __future__ import annotations

import stat

import pytest

from app.bench_printers import chained, correct_printer, forget_printer, printer, printers
from app.folders import settings_folder
from app.paper.template import PrinterCorrection
from keycore.refusal import Refusal


def test_corrections_of_a_printer_chain() -> None:
    """The second print's rules correct further; the product of both is what the next page is drawn with."""
    correct_printer("desk", 99.6, 100.2)
    correct_printer("desk", 100.1, 99.9)
    found = printer("desk").correction

    assert (found.along, found.across) == pytest.approx((100 / 99.6 * 100 / 100.1, 100 / 100.2 * 100 / 99.9))
    assert found == chained(((99.6, 100.2), (100.1, 99.9)))
    assert printer("other").correction == PrinterCorrection()


def test_the_same_lengths_again_correct_once() -> None:
    """A command that is run twice does not correct twice."""
    first = correct_printer("desk", 99.6, 100.2)

    assert correct_printer("desk", 99.6, 100.2) == first == printer(" desk ")


def test_printers_are_listed_and_forgotten() -> None:
    """By name; a forgotten one begins again."""
    correct_printer("desk", 99.6, 100.2)
    correct_printer("back room", 100.5, 100.5)
    assert [found.name for found in printers()] == ["back room", "desk"]

    assert forget_printer("desk") and not forget_printer("desk")
    assert printer("desk").rules_mm == () and len(printers()) == 1


def test_impossible_lengths_leave_what_was_known() -> None:
    """A refusal changes nothing."""
    correct_printer("desk", 99.6, 100.2)
    with pytest.raises(Refusal, match="rule along cannot measure"):
        correct_printer("desk", 9.96, 100.2)
    with pytest.raises(Refusal, match="A printer's name"):
        correct_printer("  ", 99.6, 100.2)

    assert printer("desk").rules_mm == ((99.6, 100.2),)


@pytest.mark.parametrize("text", ["{", "[]", '{"format": "printers/1"}', '{"format": "x"}',
                                  '{"format": "printers/1", "printers": {"desk": [[1, 2]]}}'])  # fmt: skip
def test_damaged_file_is_told_and_not_written_over(text: str) -> None:
    """What cannot be read is left, and the sentence says what to do."""
    correct_printer("desk", 99.6, 100.2)
    file = settings_folder() / "printers.json"
    assert stat.S_IMODE(file.stat().st_mode) == 0o600
    file.write_text(text)

    with pytest.raises(Refusal, match="take that file away and measure the printers again"):
        correct_printer("desk", 99.6, 100.2)
    assert file.read_text() == text
