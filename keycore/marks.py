"""marks/1: where a hand, or the program, says that the parts of a key lie in a picture.

Positions are pixels of the picture as stored, after its orientation tag: x right, y down, centres of pixels at whole
numbers.  Every member may be missing.
"""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import BaseModel, ConfigDict, Field

Finite = Annotated[float, Field(allow_inf_nan=False)]
PointXY = tuple[Finite, Finite]


class ReferenceMark(BaseModel):
    """Something of known size in the picture: a card, a page, or a plain length between two points."""

    model_config = ConfigDict(frozen=True, extra="forbid")

    kind: Literal["id1-card", "page-a4", "page-letter", "rectangle", "length"]
    corners: tuple[PointXY, ...]
    length_mm: Annotated[float, Field(gt=0, allow_inf_nan=False)] | None = None
    height_mm: Annotated[float, Field(gt=0, allow_inf_nan=False)] | None = None
    """Second side of a ``rectangle``; its first is ``length_mm``, from the first corner to the second."""


class Marks(BaseModel):
    """Marks of one key in one picture."""

    model_config = ConfigDict(frozen=True, extra="forbid")

    format: Literal["marks/1"] = "marks/1"
    shoulder: PointXY | None = None
    tip: PointXY | None = None
    back: tuple[PointXY, PointXY] | None = None
    centreline: tuple[PointXY, PointXY] | None = None
    roots: tuple[PointXY, ...] | tuple[tuple[PointXY, ...], tuple[PointXY, ...]] | None = None
    blade_height: tuple[PointXY, PointXY] | None = None
    reference: ReferenceMark | None = None

    def roots_by_edge(self) -> tuple[tuple[PointXY, ...], ...]:
        """Root marks as one tuple per edge; empty where there are none."""
        if not self.roots:
            return ()
        if all(not row or isinstance(row[0], tuple) for row in self.roots):
            return tuple(tuple(edge) for edge in self.roots)  # type: ignore[arg-type]
        return (tuple(self.roots),)  # type: ignore[arg-type]
