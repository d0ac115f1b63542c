"""Lengths as the window shows them: millimetres, inches or thousandths of an inch, with a decimal point or comma."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final, Literal

Unit = Literal["mm", "inch", "thou"]
UNITS: Final[tuple[Unit, ...]] = ("mm", "inch", "thou")
MM_PER_INCH: Final = 25.4
"""By definition.  Not taken from keycore.spec, which would bring all of pydantic before the first paint."""
_PER_MM: Final[dict[Unit, float]] = {"mm": 1.0, "inch": 1.0 / MM_PER_INCH, "thou": 1000.0 / MM_PER_INCH}
_DECIMALS: Final[dict[Unit, int]] = {"mm": 2, "inch": 4, "thou": 1}


@dataclass(frozen=True)
class LengthFormat:
    """How lengths are written on the screen.  Values stay millimetres everywhere else."""

    unit: Unit = "mm"
    decimal: str = "."

    @property
    def decimals(self) -> int:
        """Digits behind the decimal sign: each unit shows about a hundredth of a millimetre."""
        return _DECIMALS[self.unit]

    def number(self, value: float, decimals: int) -> str:
        """Any number with the decimal sign of this format."""
        return f"{value:.{decimals}f}".replace(".", self.decimal)

    def bare(self, mm: float, extra: int = 0) -> str:
        """A length without its unit."""
        text = self.number(self.value(mm), self.decimals + extra)
        return text[1:] if text.lstrip("-0.,") == "" and text.startswith("-") else text

    def length(self, mm: float) -> str:
        """A length with its unit."""
        return f"{self.bare(mm)} {self.unit}"

    def with_doubt(self, mm: float, sigma_mm: float) -> str:
        """A length with its standard uncertainty, without the unit: "7.24 \u00b1 0.04"."""
        return f"{self.bare(mm)} \u00b1 {self.bare(sigma_mm)}"

    def value(self, mm: float) -> float:
        """Millimetres in this unit."""
        return mm * _PER_MM[self.unit]

    def to_mm(self, value: float) -> float:
        """A value of this unit in millimetres."""
        return value / _PER_MM[self.unit]

    def next(self) -> LengthFormat:
        """The next unit: mm, inch, thou, mm ..."""
        return LengthFormat(UNITS[(UNITS.index(self.unit) + 1) % len(UNITS)], self.decimal)

    def probability(self, share: float) -> str:
        """A probability with two or three digits that never says certain of what is not."""
        if share >= 0.9995:
            return ">" + self.number(0.999, 3)
        if share >= 0.995:
            return self.number(share, 3)
        if 0 < share < 0.005:
            return "<" + self.number(0.01, 2)
        return self.number(share, 2)
