"""Where a code's roots would lie on the straightened picture, to compare codes by eye.  Pure: no Qt."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

from app.picture.values import Blade
from keycore.codes import Code

if TYPE_CHECKING:
    from keycore.decode import Decoding


@dataclass(frozen=True)
class RootLine:
    """A cut's floor as a code would have it: a level line at ``y`` of the straightened picture."""

    cut: int
    label: str
    x_from: float
    x_to: float
    y: float


def root_lines(code: Code, decoding: Decoding, blade: Blade, centres_x: tuple[float, ...]) -> tuple[RootLine, ...]:
    """The floors of ``code``, seen through the scale and the growth that the decoding found."""
    spec = decoding.spec
    along, across = decoding.scale.px_per_mm_along.value, decoding.scale.px_per_mm_across.value
    half = (spec.cut_form.flat_mm or 0.8) / 2 * along * 1.8
    lines = []
    for cut, label in enumerate(code):
        index = cut % len(centres_x)
        x = centres_x[index]
        height = (spec.root_of(label) + decoding.growth_mm) * across
        if spec.edges == "double-mirrored":
            height /= 2
        below = spec.edge_count == 2 and cut >= len(centres_x)
        middle = blade.back_y0 + blade.back_slope * x
        lines.append(RootLine(cut, label, x - half, x + half, middle + height if below else middle - height))
    return tuple(lines)
