"""Where growths lie along the code strip, and how much of it is worth showing.  Pure: no Qt."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from keycore.measured import Floats


@dataclass(frozen=True)
class StripScale:
    """Growth in mm along a strip from ``left`` to ``right`` (view units)."""

    from_mm: float
    to_mm: float
    left: float
    right: float

    def x(self, growth_mm: float) -> float:
        """Where a growth lies."""
        share = (growth_mm - self.from_mm) / max(self.to_mm - self.from_mm, 1e-9)
        return self.left + share * (self.right - self.left)

    def growth_mm(self, x: float) -> float:
        """The growth at a place, kept on the strip."""
        share = (x - self.left) / max(self.right - self.left, 1e-9)
        return self.from_mm + min(max(share, 0.0), 1.0) * (self.to_mm - self.from_mm)

    def ticks(self, least_gap: float = 70.0, unit_mm: float = 1.0) -> tuple[float, ...]:
        """Growths in mm to write under the strip: round in a unit of so many mm, not nearer than ``least_gap``."""
        steps = [digit * 10.0**power * unit_mm for power in range(-4, 4) for digit in (1, 2, 5)]
        wide = [step for step in steps if self.x(self.from_mm + step) - self.left >= least_gap]
        step = wide[0] if wide else steps[-1]
        first, last = int(np.ceil(self.from_mm / step - 1e-9)), int(np.floor(self.to_mm / step + 1e-9))
        return tuple(index * step for index in range(first, last + 1))


def curve(
    growths_mm: Floats, density: Floats, scale: StripScale, base: float, height: float
) -> tuple[tuple[float, float], ...]:
    """The density as a line of places in the view: its highest point stands ``height`` above ``base``."""
    most = float(np.max(density)) if len(density) else 0.0
    if most <= 0:
        return ()
    inside = (growths_mm >= scale.from_mm - 1e-9) & (growths_mm <= scale.to_mm + 1e-9)
    return tuple(
        (scale.x(float(growth)), base - height * float(value) / most)
        for growth, value in zip(growths_mm[inside], density[inside], strict=True)
    )


def segment_index(borders_mm: Sequence[tuple[float, float]], growth_mm: float) -> int | None:
    """Which stretch of the strip a growth falls in."""
    for index, (start, end) in enumerate(borders_mm):
        if start <= growth_mm < end or (index == len(borders_mm) - 1 and growth_mm == end):
            return index
    return None


WORTH_A_LOOK = 1e-3
"""Growths whose density is below this share of the highest are left out of the near range."""
NEAR_MARGIN_MM, LEAST_WIDTH_MM = 0.15, 0.7


def near_range(
    whole_mm: tuple[float, float], growths_mm: Floats | None, density: Floats | None, growth_mm: float | None
) -> tuple[float, float]:
    """From and to, in mm: where the evidence puts the growth, with no growth and the slider in sight, and some room."""
    if growths_mm is None or density is None or not len(density) or float(np.max(density)) <= 0:
        return whole_mm
    worth = growths_mm[density >= WORTH_A_LOOK * float(np.max(density))]
    seen = [0.0, float(worth[0]), float(worth[-1]), *([] if growth_mm is None else [growth_mm])]
    low, high = min(seen) - NEAR_MARGIN_MM, max(seen) + NEAR_MARGIN_MM
    short = max(LEAST_WIDTH_MM - (high - low), 0.0)
    return max(whole_mm[0], low - short / 2), min(whole_mm[1], high + short / 2)


def shown_range(borders_mm: Sequence[tuple[float, float]], growths_mm: Floats | None) -> tuple[float, float]:
    """From and to, in mm: all that the decoder speaks of."""
    ends = [end for border in borders_mm for end in border]
    if growths_mm is not None and len(growths_mm):
        ends += [float(growths_mm[0]), float(growths_mm[-1])]
    if not ends or max(ends) - min(ends) < 1e-6:
        return -0.1, 0.9
    return min(ends), max(ends)
