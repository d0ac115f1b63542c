"""Marks by name: what a hand, an arrow key and an undo step speak of, and the marks/1 value that the reader takes.

Names: ``shoulder``, ``tip``, ``back.0``, ``back.1``, ``centreline.0``, ``centreline.1``, ``blade_height.0``,
``blade_height.1``, ``root.0`` ... (over all edges, the first edge's cuts first) and ``reference.0`` ... (its corners).
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np

from keycore.marks import Marks, PointXY, ReferenceMark
from keycore.refusal import Refusal
from keycore.spec import KeySpec

_PAIRS = ("back", "centreline", "blade_height")
_NAME = re.compile(r"shoulder|tip|(?:back|centreline|blade_height)\.[01]|(?:root|reference)\.\d{1,2}")
_WORDS = {
    "back": "the back",
    "centreline": "the centreline",
    "blade_height": "the blade height",
    "reference": "the size reference",
}


@dataclass(frozen=True)
class MarkPoint:
    """One mark as it is to be shown.

    Attributes
    ----------
    xy
        Picture pixels: where the hand put it, or where the program found it.
    by_hand
        True where a person set it.
    locked
        True where it does not move until it is unlocked.
    step_locked
        True where it does not move because its whole step, marks or scale, is locked.
    as_placed
        True where the person refused the snap: the mark is read where it stands.
    snapped_xy
        Where the program found the edge nearest to a hand's mark; None for its own marks, or before a reading.
    status
        What became of a hand's mark: "refined", "kept" or "not found"; "" before a reading and for the program's own.
    """

    name: str
    xy: PointXY
    by_hand: bool = False
    locked: bool = False
    step_locked: bool = False
    as_placed: bool = False
    snapped_xy: PointXY | None = None
    status: Literal["", "refined", "kept", "not found"] = ""

    @property
    def stays(self) -> bool:
        """Whether a hand cannot move it as things are."""
        return self.locked or self.step_locked


def mark_words(name: str) -> str:
    """A mark's name as people say it: "root of cut 3", "the shoulder"."""
    group, _, index = name.partition(".")
    if group == "root":
        return f"the root of cut {int(index) + 1}"
    return _WORDS.get(group, f"the {group}")


def require_mark_name(name: str) -> None:
    """Refuse a name that no mark has."""
    if not _NAME.fullmatch(name):
        raise Refusal(
            f"There is no mark called {name!r}; marks are shoulder, tip, back.0, root.0 and so on.", code="mark.unknown"
        )


def group_of(name: str) -> str:
    """The marks/1 member that a mark belongs to: "root.3" belongs to "root"."""
    return name.partition(".")[0]


def points_of(marks: Marks | None) -> dict[str, PointXY]:
    """All points of a marks/1 value by name."""
    points: dict[str, PointXY] = {}
    if marks is None:
        return points
    if marks.shoulder is not None:
        points["shoulder"] = marks.shoulder
    if marks.tip is not None:
        points["tip"] = marks.tip
    for pair in _PAIRS:
        ends = getattr(marks, pair)
        if ends is not None:
            points |= {f"{pair}.{index}": xy for index, xy in enumerate(ends)}
    roots = [xy for edge in marks.roots_by_edge() for xy in edge]
    points |= {f"root.{index}": xy for index, xy in enumerate(roots)}
    if marks.reference is not None:
        points |= {f"reference.{index}": xy for index, xy in enumerate(marks.reference.corners)}
    return points


def marks_of(points: Mapping[str, PointXY], spec: KeySpec | None, reference: ReferenceMark | None) -> Marks | None:
    """The marks/1 value of named points, with whole pairs and rows of roots only; None where nothing is left."""
    members: dict[str, object] = {name: points[name] for name in ("shoulder", "tip") if name in points}
    for pair in _PAIRS:
        if f"{pair}.0" in points and f"{pair}.1" in points:
            members[pair] = (points[f"{pair}.0"], points[f"{pair}.1"])
    roots = _whole_row(points)
    if roots and spec is not None:
        rows = 1 if spec.edges == "single" else 2
        if len(roots) in {count * rows for count in spec.allowed_counts}:
            half = len(roots) // rows
            members["roots"] = roots if rows == 1 else (roots[:half], roots[half:])
    if reference is not None:
        members["reference"] = reference
    return Marks.model_validate(members) if members else None


def with_group(points: Mapping[str, PointXY], shown: Mapping[str, PointXY], name: str) -> dict[str, PointXY]:
    """``points`` with the rest of the group of ``name`` filled in from what is shown, so that the group is whole."""
    group = group_of(name)
    return {**{other: xy for other, xy in shown.items() if group_of(other) == group}, **points}


def require_inside(xy: Iterable[PointXY], size: tuple[int, int], name: str) -> None:
    """Refuse a position outside the picture, by more than the half pixel that its rim has."""
    width, height = size
    for x, y in xy:
        if not (-0.5 <= x <= width - 0.5 and -0.5 <= y <= height - 0.5):
            raise Refusal(
                f"{mark_words(name).capitalize()} is marked at ({x:.1f}, {y:.1f}), outside the picture of "
                f"{width} x {height} pixels; mark it inside.",
                code="mark.outside",
            )


def shifted_row(roots: Sequence[PointXY], positions_mm: Sequence[float], by: int) -> tuple[PointXY, ...]:
    """A row of roots moved along the blade by so many cuts: towards the tip where ``by`` is above 0.

    Cut ``i`` goes where cut ``i + by`` is marked.  Past the end of the row there is no mark to go to; there it goes on
    by the row's own picture pixels per millimetre, so that a table with unequal spacing keeps its gaps.
    """
    places, along_mm = np.array(roots, dtype=float), np.array(positions_mm, dtype=float)
    per_mm = np.polyfit(along_mm, places, 1)[0]
    moved: list[PointXY] = []
    for index in range(len(roots)):
        kept = min(max(index + by, 0), len(roots) - 1)
        beyond = index + by - kept
        end_gap_mm = along_mm[-1] - along_mm[-2] if beyond > 0 else along_mm[1] - along_mm[0]
        x, y = places[kept] + per_mm * beyond * end_gap_mm
        moved.append((float(x), float(y)))
    return tuple(moved)


def _whole_row(points: Mapping[str, PointXY]) -> tuple[PointXY, ...]:
    row: list[PointXY] = []
    while f"root.{len(row)}" in points:
        row.append(points[f"root.{len(row)}"])
    return tuple(row)
