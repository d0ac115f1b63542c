"""How shadow fills the valleys of a copied key: the deeper a cut, the more its floor seems to stand too high.

On a copy shadow and metal are one black.  Beside the uncut edge little light is lacking; on the ground in a cut the
blade's walls take light away from both sides, and the more the higher they are, so that the black begins farther from
the metal.  A floor that lies ``d`` below the uncut edge is seen at

    root + growth + a * (1 - exp(-d / DEPTH_MM))

with one amount ``a`` for the whole picture.  On copies drawn with known truth (60 single edges, measured at their true
floors) that leaves 0.07 mm (mean) of what a growth alike for all cuts leaves 0.13 of; lengths of 0.8 to 3 mm leave the
same, so ``DEPTH_MM`` need not be known well.  What is left grows with the amount (:data:`UNEVEN_MM`).

In half of those copies the amount was less than 0.2 mm, in two of five it was half a millimetre and more; the drawn
ones are on the dark side. Believed before a copy is read: none in seven of ten, else exponential with a mean of half a
millimetre. Four amounts stand for all, each for those about it; eight tell no more. A scan or a photo of the key shows
the metal itself, so there nothing is filled; nor in a hand's figures, which are taken where the hand sees the metal.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from keycore.measured import COPIES, Floats, Medium
from keycore.spec import KeySpec

FILLED_SHARE = 0.3
MEAN_MM = 0.5
AMOUNTS_MM = (0.2, 0.4, 0.7, 1.1)
DEPTH_MM = 1.0
UNEVEN_MM = (0.04, 0.12)
"""Standard deviation from cut to cut: so much, and so much more for each millimetre of the amount."""


@dataclass(frozen=True)
class Filling:
    """One amount of filling.

    Attributes
    ----------
    share
        How often a picture is filled so, of all of its medium.
    by_depth_mm
        (depths,) what each depth's root height reads too high by.
    uneven_mm
        How differently that is from cut to cut.
    """

    share: float
    by_depth_mm: Floats
    uneven_mm: float


def fillings_of(spec: KeySpec, medium: Medium) -> tuple[Filling, ...]:
    """The amounts of filling that a picture of a table's key may have; none where shadow cannot be taken for metal."""
    if medium not in COPIES:
        return ()
    roots_mm = spec.roots_mm
    uncut_mm = spec.blade.height_mm or float(roots_mm.max())
    if spec.edges == "double-independent" and spec.blade.height_mm:
        uncut_mm /= 2
    # Roots of a mirrored pair reach from floor to floor, so what fills either of two valleys is in them.
    floors = 2 if spec.edges == "double-mirrored" else 1
    below_mm = np.maximum(uncut_mm - roots_mm, 0.0) / floors
    shape = floors * (1 - np.exp(-below_mm / DEPTH_MM))
    weights = np.exp(-np.array(AMOUNTS_MM) / MEAN_MM) * np.gradient(AMOUNTS_MM)
    shares = FILLED_SHARE * weights / weights.sum()
    return tuple(
        Filling(float(share), amount_mm * shape, UNEVEN_MM[0] + UNEVEN_MM[1] * amount_mm)
        for amount_mm, share in zip(AMOUNTS_MM, shares, strict=True)
    )
