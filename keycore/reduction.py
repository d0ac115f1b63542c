"""The reduction route: what to set on a copier to bring an enlarged copy back to true size, and what is left wrong.

It is the older way of the trade, kept as a cross-check: a copy reduced to true size can be laid under a key, or
measured with calipers as if it were one.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any

from keycore.measured import Measured
from keycore.refusal import Refusal
from keycore.spec import KeySpec

SMALLEST_PERCENT, LARGEST_PERCENT = 25.0, 400.0
"""What office copiers commonly offer."""
MOST_ENLARGED = 8.0


@dataclass(frozen=True)
class AxisReduction:
    """One axis.

    Attributes
    ----------
    exact_percent
        What would bring this axis to true size, with its standard uncertainty.
    passes
        Whole settings to make one after another (one, unless the copier does not reach so far).
    left
        Relative error that the settings leave: +0.004 is 0.4 % too large; with its standard uncertainty.
    """

    exact_percent: Measured
    passes: tuple[float, ...]
    left: Measured


@dataclass(frozen=True)
class Reduction:
    """What to set for each axis, and with one setting for both.

    Attributes
    ----------
    along, across
        For a copier that takes a percentage for each axis; along is the blade's own direction.
    one
        For a copier with one percentage; ``one_left_along`` and ``one_left_across`` are what it leaves.
    length_left_mm, height_left_mm
        Error over the blade's length and at the highest root, with the settings for each axis; None where the table
        does not give the length.
    words
        The same in sentences.
    """

    along: AxisReduction
    across: AxisReduction
    one: tuple[float, ...]
    one_left_along: float
    one_left_across: float
    length_left_mm: Measured | None
    height_left_mm: Measured
    words: tuple[str, ...]

    def to_json(self) -> dict[str, Any]:
        """The settings as JSON members, reduction/1; ``left`` is relative, ``_mm`` in millimetres on the key."""

        def axis(on: AxisReduction) -> dict[str, Any]:
            return {
                "exact_percent": on.exact_percent.value,
                "exact_sigma_percent": on.exact_percent.sigma,
                "passes_percent": list(on.passes),
                "left": on.left.value,
                "left_sigma": on.left.sigma,
            }

        length = self.length_left_mm
        return {
            "format": "reduction/1",
            "along": axis(self.along),
            "across": axis(self.across),
            "one_setting": {
                "passes_percent": list(self.one),
                "left_along": self.one_left_along,
                "left_across": self.one_left_across,
            },
            "length_left_mm": None if length is None else length.value,
            "length_left_sigma_mm": None if length is None else length.sigma,
            "height_left_mm": self.height_left_mm.value,
            "height_left_sigma_mm": self.height_left_mm.sigma,
            "words": list(self.words),
        }


def reduction(along: Measured, across: Measured, spec: KeySpec, *, step_percent: float = 1.0) -> Reduction:
    """Settings that bring an enlarged copy to true size.

    Parameters
    ----------
    along, across
        Enlargement of the copy on its paper, along and across the blade (1.55: the copy is 1.55 times the key).
    step_percent
        Finest step of the copier's setting.
    """
    for name, value in (("along", along), ("across", across)):
        if not 1 / MOST_ENLARGED <= value.value <= MOST_ENLARGED:
            raise Refusal(
                f"An enlargement of {value.value:g} {name} the blade is not one that a copier makes; check the scale.",
                code="reduction.enlargement",
            )
    if not 0 < step_percent <= 10:
        raise Refusal(
            f"A copier's step must be over 0 and at most 10 per cent; got {step_percent:g}.", code="reduction.step"
        )
    on_each = [_axis(value, step_percent) for value in (along, across)]
    mean = math.sqrt(along.value * across.value)
    one = _passes(100 / mean, step_percent)
    made = math.prod(p / 100 for p in one)
    highest = float(spec.roots_mm.max())
    length = spec.blade.length_mm
    length_left = None if length is None else Measured(on_each[0].left.value * length, on_each[0].left.sigma * length)
    height_left = Measured(on_each[1].left.value * highest, on_each[1].left.sigma * highest)
    left_along, left_across = along.value * made - 1, across.value * made - 1
    words = (
        f"Along the blade set {_steps(on_each[0].passes)}, across it {_steps(on_each[1].passes)} (exact: "
        f"{on_each[0].exact_percent.value:.2f} and {on_each[1].exact_percent.value:.2f} %).",
        f"That leaves {100 * on_each[0].left.value:+.2f} % along and {100 * on_each[1].left.value:+.2f} % across, at "
        f"the highest root {height_left.value:+.3f} mm, with a standard uncertainty of {height_left.sigma:.3f} mm from "
        f"the scale itself.",
        f"A copier with one setting for both: {_steps(one)}; that leaves {100 * left_along:+.2f} % along and "
        f"{100 * left_across:+.2f} % across, at the highest root {left_across * highest:+.3f} mm.",
        "Growth is reduced with the rest but stays: the edges of the new copy still stand outside the metal.",
    )  # fmt: skip
    return Reduction(on_each[0], on_each[1], one, left_along, left_across, length_left, height_left, words)


def _axis(enlargement: Measured, step: float) -> AxisReduction:
    exact = 100 / enlargement.value
    passes = _passes(exact, step)
    made = math.prod(p / 100 for p in passes)
    return AxisReduction(
        Measured(exact, exact * enlargement.sigma / enlargement.value),
        passes,
        Measured(enlargement.value * made - 1, enlargement.sigma * made),
    )


def _passes(exact: float, step: float) -> tuple[float, ...]:
    """Settings whose product is nearest to ``exact`` per cent: one pass where the copier reaches it, else two."""
    if SMALLEST_PERCENT <= exact <= LARGEST_PERCENT:
        return (_rounded(exact, step),)
    first = SMALLEST_PERCENT if exact < SMALLEST_PERCENT else LARGEST_PERCENT
    middle = math.sqrt(exact * 100)
    first = _rounded(max(first, middle) if exact < 100 else min(first, middle), step)
    return first, _rounded(exact / first * 100, step)


def _rounded(percent: float, step: float) -> float:
    return round(round(percent / step) * step, 9)


def _steps(passes: tuple[float, ...]) -> str:
    return " and then ".join(f"{p:g} %" for p in passes)
