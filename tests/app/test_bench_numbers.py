"""Numbers as people type them."""

from __future__ import annotations

import pytest

from app.bench_numbers import parse_number
from keycore.refusal import Refusal


@pytest.mark.parametrize(
    ("text", "value"),
    [
        ("19.51", 19.51),
        ("19,51", 19.51),
        (" 7 ", 7.0),
        ("-0,3", -0.3),
        (",5", 0.5),
        ("5.", 5.0),
        ("1,234", 1.234),
        ("1e-3", 0.001),
    ],
)
def test_comma_and_point_are_both_decimal(text: str, value: float) -> None:
    """A comma never groups thousands."""
    assert parse_number(text) == value


@pytest.mark.parametrize("text", ["", "mm", "1.2.3", "1,2,3", "nan", "inf", "1 2", "0x10", "1_0", "１"])
def test_what_is_no_number_is_refused(text: str) -> None:
    """The sentence names the thing and the value."""
    with pytest.raises(Refusal) as refused:
        parse_number(text, "a root height")

    assert refused.value.sentence == f"A root height must be a number such as 19.51 or 19,51; got {text!r}."


def test_a_number_too_large_is_refused() -> None:
    """Overflow is not infinity."""
    with pytest.raises(Refusal, match=r"^Sigma must be finite; got '1e999'\.$"):
        parse_number("1e999", "sigma")
