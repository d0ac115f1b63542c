"""What is true of a drawn picture: marks, contrast at every floor, and the line for truth.jsonl."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from tests.generator.shape import KeyShape

Array = NDArray[np.float64]
NO_EDGE = 0.05
"""Sides of a floor that differ by less than this share of the grey range count as having no edge."""


def picture_marks(
    shape: KeyShape, to_picture: Callable[[Array], Array], reference: dict[str, Any] | None
) -> dict[str, Any]:
    """True marks in picture pixels (marks/1 without its format word)."""

    def move(thing: Any) -> Any:
        if thing is None:
            return None
        if isinstance(thing, tuple) and isinstance(thing[0], float | int):
            return [round(float(c), 3) for c in to_picture(np.array(thing, float))]
        return [move(part) for part in thing]

    marks: dict[str, Any] = {name: move(thing) for name, thing in shape.marks_mm().items()}
    marks["reference"] = reference
    return marks


def floor_contrast(
    image: NDArray[np.uint8], shape: KeyShape, to_picture: Callable[[Array], Array]
) -> tuple[list[list[float]], int]:
    """Outside minus inside (0..1 of the grey range) across every floor, and how many floors have no edge."""
    grey = image if image.ndim == 2 else image.mean(axis=2)
    grey = np.asarray(grey, np.float32) / 255
    out: list[list[float]] = []
    missing = 0
    for edge, centres in enumerate(shape.cut_u_mm):
        line = shape.upper_mm if edge == 0 else shape.lower_mm
        way = 1.0 if edge == 0 else -1.0
        row = []
        for centre in centres:
            along = centre + np.linspace(-0.4, 0.4, 9) * shape.table.flat
            floor = np.interp(along, shape.u_mm, line)
            sides = []
            for low, high in ((0.12, 0.32), (-0.32, -0.12)):
                off = np.linspace(low, high, 5)
                uv = np.stack(np.broadcast_arrays(along[:, None], floor[:, None] + way * off[None, :]), axis=-1)
                xy = to_picture(uv.reshape(-1, 2)).astype(np.float32)
                sides.append(float(cv2.remap(grey, xy[:, 0], xy[:, 1], cv2.INTER_LINEAR).mean()))
            contrast = sides[0] - sides[1]
            missing += abs(contrast) < NO_EDGE
            row.append(round(contrast, 3))
        out.append(row)
    return out, missing


def truth_line(name: str, medium: str, spec: str, shape: KeyShape, drawn: dict[str, Any]) -> dict[str, Any]:
    """One line of truth.jsonl."""
    t = shape.table
    contrast, missing = floor_contrast(drawn["image"], shape, drawn["to_picture"])
    codes = [[t.labels[i] for i in edge] for edge in shape.code]
    independent, double = t.edges == "double-independent", t.edges != "single"
    roots = [[round(r, 4) for r in edge] for edge in shape.roots_mm]
    positions = [[round(p, 4) for p in edge] for edge in shape.positions_mm]
    nuisance = {
        **shape.notes,
        **drawn["nuisance"],
        "floor_contrast": contrast if double else contrast[0],
        "floors_without_edge": missing,
    }
    height, width = drawn["image"].shape[:2]
    return {
        "image": name,
        "medium": medium,
        "spec": spec,
        "code": codes if independent else codes[0],
        "as_made_roots_mm": roots if independent else roots[0],
        "as_made_positions_mm": positions if double else positions[0],
        "dpi_or_null": drawn["dpi"],
        "size": [width, height],
        "marks": picture_marks(shape, drawn["to_picture"], drawn["reference"]),
        "nuisance": nuisance,
    }
