"""A fitted blade with the marks of a hand that are to be read where they stand: its line, its height, its ends.

The picture's evidence stays as it is; only what it is measured against moves.  A line (back or centreline) that a hand
keeps becomes the frame's axis, and every height is counted from it.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from app.picture.cuts import CutEvidence, Top
from app.picture.fit import FittedBlade, FittedEdge
from app.picture.frame import Frame
from app.picture.roughframe import axis_line
from keycore.marks import Marks
from keycore.measured import Floats, Measured
from keycore.refusal import Refusal
from keycore.spec import KeySpec

BY_HAND_MM = 0.06
"""Standard uncertainty of a mark that a person set and wants kept."""
SHORTEST_LINE_MM = 2.0
"""Two marks nearer than this do not say how a line runs: 0.06 mm at each would turn it by two degrees."""


def is_placed(name: str, fixed: frozenset[str]) -> bool:
    """Whether a mark is to be read where it stands; of a pair (back, blade height) only with both its ends."""
    return name in fixed or {f"{name}.0", f"{name}.1"} <= fixed


def placed(fitted: FittedBlade, spec: KeySpec, marks: Marks | None, fixed: frozenset[str]) -> FittedBlade:
    """Bring a fit to the marks that a hand keeps; roots are not among them, they are readings of their own.

    Raises
    ------
    Refusal
        Where two marks of a line lie too near each other to say how it runs.
    """
    if marks is None:
        return fitted
    line = axis_line(marks, spec)
    name = "back" if spec.edges == "single" else "centreline"
    if line is not None and is_placed(name, fixed):
        fitted = _on_line(fitted, line, name)
    if marks.blade_height is not None and is_placed("blade_height", fixed):
        fitted = _of_height(fitted, np.asarray(marks.blade_height, dtype=float))
    ends: dict[str, Measured] = {}
    for end in ("shoulder", "tip"):
        point = getattr(marks, end)
        if point is not None and end in fixed:
            ends[f"{end}_mm"] = Measured(float(fitted.frame.blade_mm(np.asarray(point))[0]), BY_HAND_MM)
    return replace(fitted, **ends)  # type: ignore[arg-type]


def _on_line(fitted: FittedBlade, line: Floats, name: str) -> FittedBlade:
    (x0, y0), (x1, y1) = fitted.frame.blade_mm(line)
    if abs(x1 - x0) < SHORTEST_LINE_MM:
        raise Refusal(
            f"The two marks of the {name} lie too near each other along the blade to say how it runs; move them apart.",
            code="marks.line-too-short",
        )
    slope = float((y1 - y0) / (x1 - x0))
    before, after = fitted.frame, fitted.frame.moved(y_mm=float(y0 - slope * x0), slope=slope)

    def moved(blade_mm: Floats) -> Floats:
        return after.blade_mm(before.picture_xy(blade_mm))

    def end(at: Measured | None) -> Measured | None:
        return None if at is None else replace(at, value=float(moved(np.array([at.value, 0.0]))[0]))

    offset_mm = float(moved(np.array([fitted.alignment.offset_mm, 0.0]))[0])
    return replace(
        fitted,
        frame=after,
        alignment=replace(fitted.alignment, offset_mm=offset_mm),
        edges=tuple(_edge_on(edge, before, after) for edge in fitted.edges),
        axis_sigma_mm=BY_HAND_MM,
        shoulder_mm=end(fitted.shoulder_mm),
        tip_mm=end(fitted.tip_mm),
    )


def _edge_on(edge: FittedEdge, before: Frame, after: Frame) -> FittedEdge:
    """An edge's heights counted from another line."""

    def at(x_mm: Floats | float, height_mm: Floats | float) -> tuple[Floats, Floats]:
        points = np.stack(np.broadcast_arrays(x_mm, edge.side * np.asarray(height_mm)), axis=-1)
        moved = after.blade_mm(before.picture_xy(points))
        return moved[..., 0], edge.side * moved[..., 1]

    def cut_on(cut: CutEvidence) -> CutEvidence:
        x_mm, mode_mm = at(cut.centre_mm, cut.mode_mm)
        return replace(cut, centre_mm=float(x_mm), height_mm=cut.height_mm + float(mode_mm) - cut.mode_mm)

    centre_mm = float(np.mean([cut.centre_mm for cut in edge.cuts]))
    top_mm = float(at(centre_mm, edge.top_mm)[1])
    x_mm, profile_mm = at(edge.x_mm, edge.profile_mm)
    floors = (at(cut.centre_mm, floor)[1] for cut, floor in zip(edge.cuts, edge.floors_mm, strict=True))
    return replace(
        edge,
        cuts=tuple(cut_on(cut) for cut in edge.cuts),
        top=None if edge.top is None else replace(edge.top, height_mm=top_mm),
        top_mm=top_mm,
        x_mm=x_mm,
        profile_mm=profile_mm,
        floors_mm=tuple(float(floor) for floor in floors),
    )


def _of_height(fitted: FittedBlade, ends: Floats) -> FittedBlade:
    """The uncut edge where two marks across the blade put it; of a double key each edge has half."""
    heights = fitted.frame.blade_mm(ends)[:, 1]
    share = abs(float(heights[1] - heights[0])) / len(fitted.edges)
    top = Top(share, BY_HAND_MM * np.sqrt(2) / len(fitted.edges))
    return replace(fitted, edges=tuple(replace(edge, top=top, top_mm=share) for edge in fitted.edges))
