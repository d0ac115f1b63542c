"""Which edge of a double key a hand calls the first.

In a frame the edge at positive y is the first.  A key lies on either face, so a hand may begin with the other one: then
its rows of roots, and the names of its marks, are turned over for what is done in the frame, and what comes out is
turned back, so that the first row, the first cuts and the first half of the code stay the hand's.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from app.picture.frame import Frame
from app.picture.values import PictureReading
from keycore.marks import Marks
from keycore.measured import Readings


def first_lies_below(frame: Frame, marks: Marks) -> bool:
    """Whether the hand's first row of roots is that of the frame's second edge."""
    rows = marks.roots_by_edge()
    if len(rows) != 2:
        return False
    heights = [frame.blade_mm(np.asarray(row, dtype=float))[:, 1].mean() if row else 0.0 for row in rows]
    return bool(heights[0] < heights[1])


def turned_over(marks: Marks) -> Marks:
    """The marks with their two rows of roots in the other order."""
    first, second = marks.roots_by_edge()
    return marks.model_copy(update={"roots": (second, first)})


def turned_name(name: str, cuts: int) -> str:
    """A mark's name when the rows, of so many cuts each, are in the other order."""
    kind, _, number = name.partition(".")
    return name if kind != "root" else f"root.{(int(number) + cuts) % (2 * cuts)}"


def as_the_hand_counts(reading: PictureReading, cuts: int) -> PictureReading:
    """A reading made with marks that were turned over, in the hand's own order."""
    return replace(
        reading,
        readings=reading.readings.in_every_way(_other_edge_first),
        marks=turned_over(reading.marks),
        moved=tuple(replace(moved, mark=turned_name(moved.mark, cuts)) for moved in reading.moved),
    )


def _other_edge_first(way: Readings) -> Readings:
    """Independent edges change places; those of a mirrored pair are read as one."""
    if all(cut.edge == 1 for cut in way.cuts):
        return way
    half = len(way.cuts) // 2
    first = tuple(replace(cut, edge=1) for cut in way.cuts[half:])
    second = tuple(replace(cut, edge=2) for cut in way.cuts[:half])
    return replace(way, cuts=first + second)
