"""The shape that a table gives to a cut edge: plateau, flanks, flats."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from keycore.measured import Floats
from keycore.spec import KeySpec

USUAL_FLAT_MM = 0.8
USUAL_ANGLE_DEG = 90.0
"""Taken where a table does not say how its cutter is made."""


@dataclass(frozen=True)
class EdgeShape:
    """One cut edge of a table's blade, in millimetres from the back or centreline.

    Attributes
    ----------
    positions_mm
        (k,) cut centres along the frame (negative where gauged from the tip).
    top_mm
        Height of the uncut edge.
    roots_mm
        (d,) possible heights of a cut's floor, highest first.
    flat_mm, tangent
        Width of a floor; run over rise of a flank.
    """

    positions_mm: Floats
    top_mm: float
    roots_mm: Floats
    flat_mm: float
    tangent: float

    @property
    def spacing_mm(self) -> float:
        """Smallest distance between neighbouring cut centres."""
        return float(np.min(np.abs(np.diff(self.positions_mm)))) if len(self.positions_mm) > 1 else 4.0

    def profile(self, x_mm: Floats, centres_mm: Floats, roots_mm: Floats, top_mm: float) -> Floats:
        """Height of the edge at each ``x_mm`` for cuts at ``centres_mm`` with floors at ``roots_mm``."""
        away = np.maximum(0.0, np.abs(x_mm[:, None] - centres_mm[None, :]) - self.flat_mm / 2)
        cut = roots_mm[None, :] + away / self.tangent
        return np.asarray(np.minimum(top_mm, cut.min(axis=1)))


def edge_shape(spec: KeySpec) -> EdgeShape:
    """Shape of one cut edge as the frame sees it.

    Root heights are from the back for a single edge; from the centreline for independent edges; half the distance
    between opposite floors for a mirrored pair, which lies even about its centreline.
    """
    sign = 1.0 if spec.gauge_from == "shoulder" else -1.0
    roots = np.asarray(spec.roots_mm, dtype=float)
    step = float(np.min(-np.diff(roots))) if len(roots) > 1 else 0.4
    height = spec.blade.height_mm
    if spec.edges == "single":
        top = height if height else float(roots[0]) + step / 2
    elif spec.root_from == "centreline":
        top = height / 2 if height else float(roots[0]) + step / 2
    else:
        roots = roots / 2
        top = height / 2 if height else float(roots[0]) + step / 4
    flat = spec.cut_form.flat_mm or USUAL_FLAT_MM
    angle = spec.cut_form.angle_deg or USUAL_ANGLE_DEG
    return EdgeShape(
        positions_mm=sign * np.asarray(spec.cut_positions_mm, dtype=float),
        top_mm=top,
        roots_mm=roots,
        flat_mm=flat,
        tangent=float(np.tan(np.deg2rad(angle / 2))),
    )
