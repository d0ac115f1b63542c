"""Numbers as people type them: a decimal comma or a decimal point."""

from __future__ import annotations

import math
import re

from keycore.refusal import Refusal

_NUMBER = re.compile(r"[+-]?(?:\d+(?:[.,]\d*)?|[.,]\d+)(?:[eE][+-]?\d+)?", re.ASCII)


def parse_number(text: str, what: str = "the number") -> float:
    """A finite number from "19.51" or "19,51"; a refusal where it is neither.

    A comma is always the decimal sign; thousands are not grouped at a bench, so "1,234" is one and a quarter.
    """
    trimmed = text.strip()
    if not _NUMBER.fullmatch(trimmed):
        raise Refusal(
            f"{what.capitalize()} must be a number such as 19.51 or 19,51; got {text!r}.", code="number.not-a-number"
        )
    value = float(trimmed.replace(",", "."))
    if not math.isfinite(value):
        raise Refusal(f"{what.capitalize()} must be finite; got {text!r}.", code="number.not-finite")
    return value
