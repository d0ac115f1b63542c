"""Figures that a person took with calipers, off an enlarged copy or a key, in any one unit."""

from __future__ import annotations

import math
from collections.abc import Sequence

from keycore.measured import CutReading, Readings, SizeReference
from keycore.refusal import Refusal
from keycore.spec import MM_PER_INCH, KeySpec

READING_MM = 0.08
"""How well a figure is read off a copy with calipers: the jaws are set by eye to a line."""
MARKING_MM = 0.08
"""How well a hand marks two edges of a copy with a pen; comes on top of the reading."""
KEY_READING_MM = 0.03
"""Calipers on the key itself."""
BLADE_MADE_MM = 0.03
"""How far a blank's blade height strays from its table."""
SAME_SIZE = (0.9, 1.1)
ENLARGED = 5.0
HAND_ANISOTROPY = 0.0075


def readings_of_figures(
    height: float,
    roots: Sequence[float],
    positions: Sequence[float] | None,
    sigma: float | None,
    spec: KeySpec,
) -> Readings:
    """Caliper figures as readings.

    Parameters
    ----------
    height
        Blade height as read.
    roots
        Root heights as read, bow to tip; for independent edges the first edge's, then the second's.
    positions
        Distances of the cut centres from the gauge point, or None.
    sigma
        Standard uncertainty of one figure as read, in the figures' unit; None for what is usual.  For an enlarged copy,
        what marking edges by hand adds (0.08 mm on the paper) comes on top.
    spec
        The table; its blade height says how large the figures are.

    Notes
    -----
    The unit is seen from the size: figures about as large as the key's own millimetres or inches are taken from the key
    (or a copy of the same size), larger ones up to five times in millimetres from an enlarged copy, the like in
    inches, and anything else as some other unit (pixels of a screen, say) on which 0.035 mm of the key is the
    marking.
    """
    numbers = [height, *roots, *(positions or ())]
    if not all(math.isfinite(number) and number > 0 for number in numbers):
        bad = next(number for number in numbers if not (math.isfinite(number) and number > 0))
        raise Refusal(
            f"Figures must be positive lengths; got {bad:g}. Read that one again.", code="figures.not-positive"
        )
    if sigma is not None and not (math.isfinite(sigma) and sigma > 0):
        raise Refusal(f"The uncertainty of a figure must be more than 0; got {sigma:g}.", code="figures.sigma")
    if positions is not None and len(positions) != len(roots):
        raise Refusal(
            f"{len(roots)} roots and {len(positions)} positions were given; give one position for each root, or none.",
            code="figures.counts",
        )
    if spec.blade.height_mm is None:
        raise Refusal(
            f"Table {spec.name} gives no blade height, which figures need for their scale; add it to the table.",
            code="figures.no-blade-height",
        )
    reading, marking = _errors(height / spec.blade.height_mm)
    total = math.hypot(reading if sigma is None else sigma, marking)
    per_edge = len(roots) // spec.edge_count
    cuts = tuple(
        CutReading(
            root_px=float(root),
            sigma_px=total,
            position_px=None if positions is None else float(positions[index]),
            position_sigma_px=None if positions is None else total,
            edge=2 if spec.edge_count == 2 and index >= per_edge else 1,
        )
        for index, root in enumerate(roots)
    )
    blade = SizeReference(
        "blade-height", "across", float(height), total, spec.blade.height_mm, BLADE_MADE_MM, grows=True
    )
    return Readings(cuts, (blade,), None, HAND_ANISOTROPY, "calipers")


def _errors(ratio: float) -> tuple[float, float]:
    """(reading, marking) in the figures' unit, from figure per millimetre of the key."""
    for unit in (1.0, 1 / MM_PER_INCH):
        if SAME_SIZE[0] * unit <= ratio <= SAME_SIZE[1] * unit:
            return KEY_READING_MM * unit, 0.0
        if 0.4 * unit <= ratio <= ENLARGED * unit:
            return READING_MM * unit, MARKING_MM * unit
    return 0.035 * ratio, 0.035 * ratio
