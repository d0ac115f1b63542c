"""A first frame of the blade from rough marks: which way it lies, where it starts, how large it is."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import numpy as np

from app.picture.frame import Frame
from keycore.marks import Marks
from keycore.measured import Floats
from keycore.refusal import Refusal
from keycore.spec import KeySpec


def cut_positions_along(spec: KeySpec) -> Floats:
    """Cut centres in frame millimetres: x grows from bow to tip, so positions gauged from the tip are negative."""
    sign = 1.0 if spec.gauge_from == "shoulder" else -1.0
    return sign * np.asarray(spec.cut_positions_mm, dtype=float)


def gauge_mark(marks: Marks, spec: KeySpec) -> Floats | None:
    """Return the marked gauge point, or None."""
    mark = marks.shoulder if spec.gauge_from == "shoulder" else marks.tip
    return None if mark is None else np.asarray(mark, dtype=float)


def axis_line(marks: Marks, spec: KeySpec) -> Floats | None:
    """Return the marked back (single edge) or centreline (double) as (2, 2) picture positions, or None."""
    line = marks.back if spec.edges == "single" else marks.centreline
    return None if line is None else np.asarray(line, dtype=float)


def mapped_marks(marks: Marks, to_plane: Callable[[Floats], Floats]) -> Marks:
    """Bring the key's marks from picture pixels to another plane; the size reference is left behind."""

    def moved(point: tuple[float, float] | None) -> tuple[float, float] | None:
        if point is None:
            return None
        x, y = to_plane(np.asarray(point, dtype=float))
        return float(x), float(y)

    def pair(points: tuple[tuple[float, float], tuple[float, float]] | None) -> Any:
        return None if points is None else (moved(points[0]), moved(points[1]))

    edges = tuple(tuple(moved(point) for point in edge) for edge in marks.roots_by_edge())
    return Marks.model_validate(
        {
            "shoulder": moved(marks.shoulder),
            "tip": moved(marks.tip),
            "back": pair(marks.back),
            "centreline": pair(marks.centreline),
            "blade_height": pair(marks.blade_height),
            "roots": None if not edges else edges[0] if len(edges) == 1 else edges,
        }
    )


def frame_from_marks(marks: Marks, spec: KeySpec, *, px_per_mm: float | None = None) -> Frame:
    """Lay a frame from marks that hold at least the axis line and one more thing along and one across the blade.

    ``px_per_mm`` is taken as the scale where it is given; else the marks say it.

    Raises
    ------
    Refusal
        Where the marks do not fix the blade; the sentence says which mark is missing.
    """
    line = axis_line(marks, spec)
    if line is None:
        name = "back" if spec.edges == "single" else "centreline"
        raise Refusal(f"The marks have no {name}; mark two points of the {name} of the blade.", code="marks.no-axis")
    edges = [np.asarray(edge, dtype=float) for edge in marks.roots_by_edge() if len(edge)]
    along = (line[1] - line[0]) / np.hypot(*(line[1] - line[0]))
    forward = _forward(marks, edges)
    if forward is None:
        raise Refusal(
            "The marks do not tell bow from tip; mark the shoulder and the tip, or every root from bow to tip.",
            code="marks.no-direction",
        )
    if along @ forward < 0:
        along = -along
    up = np.array([along[1], -along[0]])
    if spec.edges == "single":
        side = edges[0].mean(axis=0) - line[0] if edges else _across(marks, line)
        if side is None:
            raise Refusal(
                "The marks do not tell the cut edge from the back; mark a root or the blade height.",
                code="marks.no-side",
            )
        if up @ side < 0:
            up = -up
    if px_per_mm is None:
        px_per_mm = _px_per_mm(marks, spec, edges, along, up)
    gauge = gauge_mark(marks, spec)
    positions = cut_positions_along(spec)
    starts = []
    if gauge is not None:
        starts.append((gauge - line[0]) @ along)
    for edge in edges:
        if len(edge) == len(positions):
            starts.append(float(np.mean((edge - line[0]) @ along - px_per_mm * positions)))
            starts.append(starts[-1])
    if not starts:
        raise Refusal(
            f"The marks do not say where the {spec.gauge_from} is; mark it, or mark all {len(positions)} roots.",
            code="marks.no-gauge",
        )
    return Frame.from_axes(line[0] + float(np.mean(starts)) * along, along, up, px_per_mm)


def _forward(marks: Marks, edges: list[Floats]) -> Floats | None:
    for edge in edges:
        if len(edge) >= 2:
            return np.asarray(edge[-1] - edge[0])
    if marks.shoulder is not None and marks.tip is not None:
        return np.subtract(marks.tip, marks.shoulder)
    return None


def _across(marks: Marks, line: Floats) -> Floats | None:
    if marks.blade_height is not None:
        ends = np.asarray(marks.blade_height, dtype=float)
        return np.asarray(ends.sum(axis=0) / 2 - line[0])
    if marks.shoulder is not None:
        return np.asarray(np.subtract(marks.shoulder, line[0]), dtype=float)
    return None


def _px_per_mm(marks: Marks, spec: KeySpec, edges: list[Floats], along: Floats, up: Floats) -> float:
    """Weighted mean of what each pair of marks says, weights from a hand's scatter over the length it spans."""
    said: list[tuple[float, float]] = []
    positions = cut_positions_along(spec)
    for edge in edges:
        if len(edge) == len(positions) and len(edge) >= 2:
            centred = positions - positions.mean()
            square = float((centred**2).sum())
            said.append((float(((edge @ along) * centred).sum()) / square, float(np.sqrt(square))))
    if marks.shoulder is not None and marks.tip is not None and spec.blade.length_mm:
        length = abs(np.subtract(marks.tip, marks.shoulder) @ along)
        said.append((length / spec.blade.length_mm, spec.blade.length_mm / 1.4))
    if marks.blade_height is not None and spec.blade.height_mm:
        ends = np.asarray(marks.blade_height, dtype=float)
        said.append((abs((ends[1] - ends[0]) @ up) / spec.blade.height_mm, spec.blade.height_mm / 1.4))
    said = [(value, span) for value, span in said if value > 0]
    if not said:
        raise Refusal(
            "The marks span no known length; mark the shoulder and the tip, the blade height, or every root.",
            code="marks.no-scale",
        )
    weights = np.array([span**2 for _, span in said])
    return float((np.array([value for value, _ in said]) * weights).sum() / weights.sum())
