"""Where the lines of a table's blade lie in a drawing.  Pure: no Qt."""

from __future__ import annotations

import math
from dataclasses import dataclass

from keycore.spec import KeySpec

_MARGIN = 22.0


@dataclass(frozen=True)
class BladeSketch:
    """Places in a drawing: the outline with every second cut deepest, (left, right, y) of each depth, cut centres."""

    outline: tuple[tuple[float, float], ...]
    depths: tuple[tuple[float, float, float], ...]
    centres: tuple[float, ...]
    per_mm: float


def blade_sketch(spec: KeySpec, width: float, height: float) -> BladeSketch:
    """A single-edge drawing at one scale in both directions; double edges show their upper one."""
    roots = [float(root) for root in spec.roots_mm]
    top_mm = spec.blade.height_mm or roots[0]
    if spec.edges == "double-independent":
        top_mm = (spec.blade.height_mm or 2 * roots[0]) / 2
    positions = [float(p) for p in spec.cut_positions_mm]
    from_bow = positions if positions[0] <= positions[-1] else [max(positions) - p + min(positions) for p in positions]
    gap = min((abs(b - a) for a, b in zip(from_bow, from_bow[1:], strict=False)), default=4.0)
    length_mm = max(spec.blade.length_mm or 0.0, max(from_bow) + gap)
    per_mm = min((width - 2 * _MARGIN) / length_mm, (height - 2 * _MARGIN) / max(top_mm, 1e-9))
    start = (width - length_mm * per_mm) / 2

    def at(x_mm: float, y_mm: float) -> tuple[float, float]:
        return start + x_mm * per_mm, height - _MARGIN - y_mm * per_mm

    flat = (spec.cut_form.flat_mm or 0.8) / 2
    slope = 1.0 / math.tan(math.radians((spec.cut_form.angle_deg or 90.0) / 2))
    outline = [at(0.0, 0.0), at(0.0, top_mm)]
    steps = 240
    deepest = len(roots) - 1
    lower = roots[min(spec.max_adjacent_step, deepest)]
    shown = [lower if index % 2 else roots[0] for index in range(len(from_bow))]
    for step in range(steps + 1):
        x_mm = length_mm * step / steps
        y_mm = top_mm
        for centre, root in zip(from_bow, shown, strict=True):
            y_mm = min(y_mm, root + max(abs(x_mm - centre) - flat, 0.0) * slope)
        outline.append(at(x_mm, max(y_mm, 0.0)))
    outline.append(at(length_mm, 0.0))
    half = min(gap * 0.36, 2.0)
    depths = [(*at(c - half, r), at(c + half, r)[0]) for c in from_bow for r in roots]
    return BladeSketch(
        tuple(outline),
        tuple((left, right, y) for left, y, right in depths),
        tuple(at(centre, 0.0)[0] for centre in from_bow),
        per_mm,
    )
