"""Rough marks: true marks, moved as a hand's click would move them."""

from __future__ import annotations

import zlib
from typing import Any

import numpy as np

from keycore.marks import Marks

SCATTER_MM = 0.4
_LONG_SIDE_MM = {"id1-card": (85.60, 53.98), "page-a4": (210.0, 297.0)}


def rough_marks(true: dict[str, Any], name: str, height_mm: float, scatter_mm: float = SCATTER_MM) -> Marks:
    """True marks of a truth line, with Gaussian scatter in each coordinate, seeded by the picture's name.

    Parameters
    ----------
    height_mm
        The table's blade height: its two true marks give the pixels of a millimetre on the key.
    """
    rng = np.random.default_rng(zlib.crc32(name.encode()))
    low, high = np.array(true["blade_height"])
    on_key_px = scatter_mm * float(np.linalg.norm(high - low)) / height_mm
    moved = {k: _moved(v, rng, on_key_px) for k, v in true.items() if k != "reference" and v is not None}
    reference = true.get("reference")
    if reference is not None:
        corners = np.array(reference["corners"])
        sides_px = np.linalg.norm(corners - np.roll(corners, -1, axis=0), axis=1).sum()
        px = scatter_mm * sides_px / (2 * sum(_LONG_SIDE_MM[reference["kind"]]))
        moved["reference"] = {"kind": reference["kind"], "corners": _moved(reference["corners"], rng, px)}
    return Marks.model_validate({"format": "marks/1", **moved})


def _moved(thing: Any, rng: np.random.Generator, sigma_px: float) -> Any:
    if isinstance(thing[0], float | int):
        return [float(c + rng.normal(0, sigma_px)) for c in thing]
    return [_moved(part, rng, sigma_px) for part in thing]
