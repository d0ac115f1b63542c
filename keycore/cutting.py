"""From a code to what is set on a machine: the cut list, the order of depth keys, and cuts that would spoil each other.

Undercutting
------------
A cut's flank leaves the end of its flat (half a flat from its centre) and climbs at half the cutter's angle to the
upright.  At a distance s from its centre it therefore stands on a neighbour that is shallower by h only from
s - h tan(angle / 2) on, counted from the far end of the neighbour's flat: so much of that flat is left.  Where it is
less than the flat, the neighbour is undercut; where it is less than half the flat, the neighbour's own centre lies
too low and the key will not work.  On a mirrored pair each edge climbs half of the difference, because roots are
measured from floor to floor.
"""

from __future__ import annotations

import csv
import io
import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from keycore.codes import Code, code_to_json, format_code, macs_break, parse_code
from keycore.spec import MM_PER_INCH, KeySpec

CAUTION = (
    "Cutting machines: guard eyes and hands, mind the swarf, and follow the machine maker's instructions "
    "before this list."
)
CSV_COLUMNS = (
    "edge", "cut", "depth", "position_mm", "root_mm", "removed_mm", "position_in", "root_in", "removed_in",
    "cutter_angle_deg", "cutter_flat_mm",
)  # fmt: skip
"""Columns of the cut file: edge and cut from 1, depth as the table labels it, distances of the cut's centre from the
gauge point, root heights, metal removed from one edge (empty where the blade's height is not known), the cutter."""


@dataclass(frozen=True)
class CutRow:
    """One cut to make.

    ``removed_mm`` is what is cut away from one edge; None where the blade's height is not known.
    """

    edge: int
    cut: int
    depth: str
    position_mm: float
    root_mm: float
    removed_mm: float | None


@dataclass(frozen=True)
class DepthKeyStep:
    """One depth key and the cuts to make with it: (edge, cut, position in mm)."""

    depth: str
    root_mm: float
    cuts: tuple[tuple[int, int, float], ...]


@dataclass(frozen=True)
class Undercut:
    """A cut of which its neighbours leave less than its own flat.

    ``left_mm`` is what is left of the flat; ``centre_gone`` says that the cut's centre itself would lie too low.
    """

    edge: int
    cut: int
    by: tuple[int, ...]
    left_mm: float
    flat_mm: float | None
    centre_gone: bool


@dataclass(frozen=True)
class CutList:
    """What to set and in which order, bow to tip, with everything a careful person would want to be told first."""

    spec: KeySpec
    code: Code
    rows: tuple[CutRow, ...]
    depth_keys: tuple[DepthKeyStep, ...]
    undercuts: tuple[Undercut, ...]
    warnings: tuple[str, ...]

    def text(self) -> str:
        """The list as a plain table, then the order of depth keys, then the warnings."""
        spec = self.spec
        angle, flat = spec.cut_form.angle_deg, spec.cut_form.flat_mm
        cutter = ", ".join(
            [
                "angle not known" if angle is None else f"{angle:g} degrees",
                "flat not known" if flat is None else f"flat {flat:.2f} mm ({flat / MM_PER_INCH:.4f} in)",
            ]
        )
        lines = [
            f"{spec.name}, code {format_code(self.code, spec)}",
            f"Positions from the {spec.gauge_from}, roots from the {_ROOT_WORDS[spec.root_from]}. Cutter: {cutter}.",
            f"{'Edge  ' if spec.edge_count == 2 else ''}Cut  Depth  Position            Root",
        ]
        for row in self.rows:
            edge = f"{row.edge:>4}  " if spec.edge_count == 2 else ""
            lines.append(
                f"{edge}{row.cut:>3}  {row.depth:>5}  {row.position_mm:6.2f} mm {row.position_mm / MM_PER_INCH:6.4f} in"
                f"  {row.root_mm:5.3f} mm {row.root_mm / MM_PER_INCH:6.4f} in"
            )
        lines.append("With depth keys, shallow first:")
        lines += [f"  {_depth_key_words(step, spec)}" for step in self.depth_keys]
        return "\n".join([*lines, *(f"Mind: {warning}" for warning in self.warnings), CAUTION])

    def csv(self) -> str:
        """The cut file: :data:`CSV_COLUMNS`, decimal points, lines ended as RFC 4180 has it."""
        out = io.StringIO()
        writer = csv.writer(out, lineterminator="\r\n")
        writer.writerow(CSV_COLUMNS)
        form = self.spec.cut_form
        for row in self.rows:
            lengths_mm = (row.position_mm, row.root_mm, row.removed_mm)
            writer.writerow(
                [
                    row.edge,
                    row.cut,
                    row.depth,
                    *("" if value is None else f"{value:.3f}" for value in lengths_mm),
                    *("" if value is None else f"{value / MM_PER_INCH:.4f}" for value in lengths_mm),
                    "" if form.angle_deg is None else f"{form.angle_deg:g}",
                    "" if form.flat_mm is None else f"{form.flat_mm:.3f}",
                ]
            )
        return out.getvalue()

    def to_json(self) -> dict[str, Any]:
        """The list as JSON members, cutlist/1; lengths in mm and, beside them, in inches."""
        form = self.spec.cut_form
        return {
            "format": "cutlist/1",
            "spec": self.spec.name,
            "unconfirmed": self.spec.is_unconfirmed,
            "restricted": self.spec.restricted,
            "code": code_to_json(self.code, self.spec),
            "gauge_from": self.spec.gauge_from,
            "root_from": self.spec.root_from,
            "cutter": {"angle_deg": form.angle_deg, "flat_mm": form.flat_mm, "flat_in": _inches(form.flat_mm)},
            "cuts": [
                {
                    "edge": row.edge,
                    "cut": row.cut,
                    "depth": row.depth,
                    "position_mm": row.position_mm,
                    "root_mm": row.root_mm,
                    "removed_mm": row.removed_mm,
                    "position_in": _inches(row.position_mm),
                    "root_in": _inches(row.root_mm),
                    "removed_in": _inches(row.removed_mm),
                }
                for row in self.rows
            ],
            "depth_keys": [
                {
                    "depth": step.depth,
                    "root_mm": step.root_mm,
                    "cuts": [{"edge": edge, "cut": cut, "position_mm": at} for edge, cut, at in step.cuts],
                }
                for step in self.depth_keys
            ],
            "warnings": list(self.warnings),
            "caution": CAUTION,
        }


_ROOT_WORDS = {"back": "back", "opposite-floor": "floor on the other edge", "centreline": "centreline"}


def cut_list(code: Code | str, spec: KeySpec) -> CutList:
    """The cut list of a code.

    A code that breaks the table's own largest step is listed with a warning: a key that exists may have been cut so.
    """
    code = parse_code(code, spec, keep_macs=False)
    per_edge = len(code) // spec.edge_count
    positions_mm = spec.for_count(per_edge).cut_positions_mm
    rows = tuple(
        CutRow(
            edge=index // per_edge + 1,
            cut=index % per_edge + 1,
            depth=label,
            position_mm=positions_mm[index % per_edge],
            root_mm=spec.root_of(label),
            removed_mm=_removed_mm(spec.root_of(label), spec),
        )
        for index, label in enumerate(code)
    )
    found = undercuts(rows, spec)
    return CutList(spec, code, rows, depth_key_steps(rows, spec), found, _warnings(code, rows, found, spec))


def depth_key_steps(rows: Sequence[CutRow], spec: KeySpec) -> tuple[DepthKeyStep, ...]:
    """Which depth key makes which cuts, shallow first: a blank can always be cut deeper and never shallower."""
    return tuple(
        DepthKeyStep(depth.label, depth.root_mm, cuts)
        for depth in spec.depths
        if (cuts := tuple((row.edge, row.cut, row.position_mm) for row in rows if row.depth == depth.label))
    )


def undercuts(rows: Sequence[CutRow], spec: KeySpec) -> tuple[Undercut, ...]:
    """Cuts of which deeper cuts on the same edge leave less than their own flat; none where the angle is not known.

    Without a known flat only a cut whose centre would lie too low is found (a flat of nothing is taken).
    """
    if spec.cut_form.angle_deg is None:
        return ()
    climb = math.tan(math.radians(spec.cut_form.angle_deg) / 2)
    flat_mm = spec.cut_form.flat_mm or 0.0
    found = []
    for row in rows:
        by, left_mm, centre_gone = [], flat_mm, False
        for other in rows:
            rise_mm = row.root_mm - other.root_mm
            if other.edge != row.edge or rise_mm <= 0:
                continue
            if spec.edges == "double-mirrored":
                rise_mm /= 2
            reach_mm = abs(other.position_mm - row.position_mm) - rise_mm * climb
            if reach_mm < flat_mm - 1e-9 or reach_mm < -1e-9:
                by.append(other.cut)
                left_mm -= flat_mm - reach_mm
                centre_gone |= reach_mm < flat_mm / 2 - 1e-9
        if by:
            known = spec.cut_form.flat_mm
            found.append(Undercut(row.edge, row.cut, tuple(by), max(left_mm, 0.0), known, centre_gone))
    return tuple(found)


def _removed_mm(root_mm: float, spec: KeySpec) -> float | None:
    height_mm = spec.blade.height_mm
    if height_mm is None:
        return None
    if spec.root_from == "back":
        return height_mm - root_mm
    return height_mm / 2 - root_mm if spec.root_from == "centreline" else (height_mm - root_mm) / 2


def _warnings(code: Code, rows: Sequence[CutRow], found: Sequence[Undercut], spec: KeySpec) -> tuple[str, ...]:
    words = []
    if spec.is_unconfirmed:
        words.append(f"{spec.name} is from memory and not confirmed; compare it with a chart before a key is cut.")
    if spec.restricted:
        words.append(f"{spec.name} is restricted; cut it only with the authority's reference.")
    broken = macs_break(code, spec)
    if broken is not None:
        first, second, step = broken
        words.append(
            f"cuts {first} and {second} are {step} steps apart, and the table allows {spec.max_adjacent_step}; "
            f"check the code."
        )
    if spec.cut_form.angle_deg is None:
        words.append("the cutter's angle is not known, so it cannot be said whether cuts spoil each other.")
    words += [_undercut_words(undercut, spec) for undercut in found]
    words += _shoulder_words(rows, spec)
    return tuple(words)


def _undercut_words(undercut: Undercut, spec: KeySpec) -> str:
    edge = f" of edge {undercut.edge}" if spec.edge_count == 2 else ""
    by = " and ".join(str(cut) for cut in undercut.by)
    cuts = f"cut {by}" if len(undercut.by) == 1 else f"cuts {by}"
    if undercut.centre_gone:
        return f"the flank of {cuts} would cut away the middle of cut {undercut.cut}{edge}; this code cannot be cut so."
    return (
        f"the flank of {cuts} leaves {undercut.left_mm:.2f} of the {undercut.flat_mm or 0:.2f} mm flat of cut "
        f"{undercut.cut}{edge}."
    )


def _shoulder_words(rows: Sequence[CutRow], spec: KeySpec) -> list[str]:
    """The flank of a deep first cut may run into the shoulder."""
    if spec.gauge_from != "shoulder" or spec.cut_form.angle_deg is None:
        return []
    climb = math.tan(math.radians(spec.cut_form.angle_deg) / 2)
    words = []
    for row in rows:
        if row.removed_mm is None:
            continue
        room_mm = row.position_mm - (spec.cut_form.flat_mm or 0.0) / 2 - row.removed_mm * climb
        if room_mm < 0:
            edge = f" of edge {row.edge}" if spec.edge_count == 2 else ""
            words.append(f"the flank of cut {row.cut}{edge} would run {-room_mm:.2f} mm into the shoulder.")
    return words


def _depth_key_words(step: DepthKeyStep, spec: KeySpec) -> str:
    cuts = ", ".join(
        f"{cut}{f' of edge {edge}' if spec.edge_count == 2 else ''} (at {at:.2f} mm)" for edge, cut, at in step.cuts
    )
    return f"depth key {step.depth} ({step.root_mm:.3f} mm): {'cut' if len(step.cuts) == 1 else 'cuts'} {cuts}"


def _inches(value_mm: float | None) -> float | None:
    return None if value_mm is None else value_mm / MM_PER_INCH
