"""The nominal blade of a code, as lines in millimetres.

Key frame: x along the blade from the shoulder towards the tip, y up from the lower edge of the uncut blade (the
back of a single-edge key).
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from keycore.codes import Code
from keycore.decode import Decoding
from keycore.measured import Floats
from keycore.spec import KeySpec

USUAL_FLAT_MM, USUAL_ANGLE_DEG = 0.8, 90.0
"""Stand-ins where a table does not give its cutter; a paper that uses them says so."""
END_MM = 4.0
"""Blade drawn past the last cut where the table gives no length."""


@dataclass(frozen=True)
class BladeProfile:
    """The nominal blade.

    Attributes
    ----------
    edges
        One (n, 2) line for each cut edge, shoulder to blade's end; the upper edge first.
    back
        (2, 2) the uncut edge of a single-edge key, or None.
    floors
        ((x, y), ...) middle of every floor, in the order of the edges.
    height_mm, length_mm
        Of the blade as drawn.
    assumed
        What the table does not give and was taken as usual, in words.
    """

    edges: tuple[Floats, ...]
    back: Floats | None
    floors: tuple[tuple[tuple[float, float], ...], ...]
    height_mm: float
    length_mm: float
    assumed: tuple[str, ...]

    @property
    def outline(self) -> Floats:
        """(n, 2) the whole blade as one closed line: upper edge out, blade's end, lower edge back, shoulder."""
        lower = self.edges[1] if len(self.edges) == 2 else self.back
        assert lower is not None
        return np.concatenate([self.edges[0], lower[::-1]])


def blade_profile(code: Code, spec: KeySpec) -> BladeProfile:
    """The nominal blade of a code: every cut's flat and flanks, each as deep as its neighbours leave it."""
    return roots_profile([spec.root_of(label) for label in code], spec)


def measured_edges(decoding: Decoding) -> tuple[Floats, ...]:
    """The cut edges with every root where it was measured (growth taken off) and the table's flats and flanks."""
    return roots_profile([cut.root_mm for cut in decoding.cuts], decoding.spec).edges


def roots_profile(roots_mm: Sequence[float], spec: KeySpec) -> BladeProfile:
    """The blade with these root heights, in the order of a flat code, at the table's positions."""
    per_edge = len(roots_mm) // spec.edge_count
    spec = spec.for_count(per_edge)
    assumed = []
    flat, angle = spec.cut_form.flat_mm, spec.cut_form.angle_deg
    if flat is None:
        flat, words = USUAL_FLAT_MM, f"a flat of {USUAL_FLAT_MM:g} mm"
        assumed.append(words)
    if angle is None:
        angle, words = USUAL_ANGLE_DEG, f"a cutter of {USUAL_ANGLE_DEG:g} degrees"
        assumed.append(words)
    shallowest = float(spec.roots_mm.max())
    height = spec.blade.height_mm
    if height is None:
        height = shallowest + 0.3 if spec.edges != "double-independent" else 2 * (shallowest + 0.3)
        assumed.append(f"a blade height of {height:.2f} mm")
    positions = np.array(spec.cut_positions_mm)
    length = spec.blade.length_mm
    if length is None:
        length = float(positions.max()) + END_MM
        assumed.append(f"a blade length of {length:.2f} mm")
    centres = length - positions if spec.gauge_from == "tip" else positions
    heights = [np.array(roots_mm[:per_edge], float)]
    if spec.edges == "double-independent":
        heights = [height / 2 + heights[0], height / 2 + np.array(roots_mm[per_edge:], float)]
    elif spec.edges == "double-mirrored":
        heights = [height / 2 + heights[0] / 2] * 2
    run = math.tan(math.radians(angle / 2))
    lines = [_cut_line(centres, roots, flat, run, height, length) for roots in heights]
    floors = [[(float(x), float(y)) for x, y in zip(centres, roots, strict=True)] for roots in heights]
    if len(lines) == 2:
        lines[1] = np.column_stack([lines[1][:, 0], height - lines[1][:, 1]])
        floors[1] = [(x, height - y) for x, y in floors[1]]
    back = np.array([[0.0, 0.0], [length, 0.0]]) if len(lines) == 1 else None
    return BladeProfile(
        tuple(lines), back, tuple(tuple(edge) for edge in floors), float(height), float(length), tuple(assumed)
    )


def _cut_line(centres: Floats, roots: Floats, flat: float, run: float, height: float, length: float) -> Floats:
    """Lower envelope of the blade's height and every cut, as its corners only."""
    corners = {0.0, length}
    for centre, root in zip(centres, roots, strict=True):
        reach = flat / 2 + (height - root) * run
        corners |= {centre - reach, centre - flat / 2, centre + flat / 2, centre + reach}
    for i in range(len(centres)):  # where two flanks meet
        for j in range(len(centres)):
            if centres[j] > centres[i]:
                gap = centres[j] - centres[i] - flat
                corners.add(centres[i] + flat / 2 + (gap + (roots[j] - roots[i]) * run) / 2)
                corners.add(centres[i] + flat / 2 + (roots[j] - roots[i]) * run)
                corners.add(centres[j] - flat / 2 - (roots[i] - roots[j]) * run)
    x = np.array(sorted(c for c in corners if 0.0 <= c <= length))
    y = np.full_like(x, height)
    for centre, root in zip(centres, roots, strict=True):
        y = np.minimum(y, root + np.maximum(0.0, np.abs(x - centre) - flat / 2) / run)
    keep = [0]
    for i in range(1, len(x) - 1):
        straight = np.interp(x[i], [x[keep[-1]], x[i + 1]], [y[keep[-1]], y[i + 1]])
        if abs(straight - y[i]) > 1e-9 and x[i] - x[keep[-1]] > 1e-9:
            keep.append(i)
    keep.append(len(x) - 1)
    return np.column_stack([x[keep], y[keep]])
