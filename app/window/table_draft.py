"""A depth table while it is being typed: texts in, a checked table or one plain sentence out.  Pure: no Qt."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

from app.bench_numbers import parse_number
from app.window.units import LengthFormat
from keycore.refusal import Refusal
from keycore.spec import KeySpec, parse_spec, spec_to_json


@dataclass(frozen=True)
class TableDraft:
    """A table as texts, lengths in the unit of the person's format.  An empty text is "not known"."""

    name: str = ""
    designation: str = ""
    source: str = ""
    source_kind: str = "measured"
    edges: str = "single"
    gauge_from: str = "shoulder"
    root_from: str = "back"
    positions: tuple[str, ...] = ()
    cut_counts: str = ""
    depths: tuple[tuple[str, str], ...] = ()
    root_tolerance: str = ""
    position_tolerance: str = ""
    flat: str = ""
    angle: str = ""
    largest_step: str = ""
    blade_height: str = ""
    blade_length: str = ""
    blade_thickness: str = ""
    restricted: bool = False
    notes: str = ""
    confirmed_by: str = ""
    confirmed_chart: str = ""
    confirmed_on: str = ""


def draft_of(spec: KeySpec, form: LengthFormat) -> TableDraft:
    """A table as it would be typed."""

    def shown(value_mm: float | None) -> str:
        return "" if value_mm is None else form.bare(value_mm, extra=1)

    done = spec.confirmed
    return TableDraft(
        name=spec.name,
        designation=spec.designation or "",
        source=spec.provenance.source,
        source_kind=spec.provenance.kind,
        edges=spec.edges,
        gauge_from=spec.gauge_from,
        root_from=spec.root_from,
        positions=tuple(shown(position) for position in spec.cut_positions_mm),
        cut_counts=", ".join(map(str, spec.cut_counts or ())),
        depths=tuple((depth.label, shown(depth.root_mm)) for depth in spec.depths),
        root_tolerance=shown(spec.tolerance.root_mm),
        position_tolerance=shown(spec.tolerance.position_mm),
        flat=shown(spec.cut_form.flat_mm),
        angle="" if spec.cut_form.angle_deg is None else form.number(spec.cut_form.angle_deg, 1),
        largest_step=str(spec.max_adjacent_step),
        blade_height=shown(spec.blade.height_mm),
        blade_length=shown(spec.blade.length_mm),
        blade_thickness=shown(spec.blade.thickness_mm),
        restricted=spec.restricted,
        notes=spec.notes,
        confirmed_by=done.by if done is not None else "",
        confirmed_chart=done.chart if done is not None else "",
        confirmed_on=done.on.isoformat() if done is not None else "",
    )


def table_of(draft: TableDraft, form: LengthFormat) -> KeySpec:
    """The table that a draft means; refused in one sentence that names the field and the rule."""

    def mm(text: str, what: str) -> float:
        return form.to_mm(parse_number(text, what))

    members: dict[str, Any] = {
        "format": "keyspec/1",
        "name": draft.name.strip(),
        "provenance": {"kind": draft.source_kind, "source": draft.source.strip()},
        "units": "mm",
        "edges": draft.edges,
        "gauge_from": draft.gauge_from,
        "root_from": draft.root_from,
        "cut_positions": [mm(text, f"position of cut {index}") for index, text in enumerate(draft.positions, 1)],
        "depths": [
            {"label": label.strip(), "root": mm(root, f"root of depth {label}")} for label, root in draft.depths
        ],
    }
    if draft.designation.strip():
        members["designation"] = draft.designation.strip()
    if draft.root_tolerance or draft.position_tolerance:
        members["tolerance"] = {
            "root": mm(draft.root_tolerance, "root tolerance"),
            "position": mm(draft.position_tolerance, "position tolerance"),
        }
    cutter = {"flat": mm(draft.flat, "flat of the cutter")} if draft.flat else {}
    if draft.angle:
        cutter["angle"] = parse_number(draft.angle, "angle of the cutter")
    blade = {
        name: mm(text, f"blade {name}")
        for name, text in (
            ("height", draft.blade_height),
            ("length", draft.blade_length),
            ("thickness", draft.blade_thickness),
        )
        if text
    }
    members |= {member: values for member, values in (("cut_form", cutter), ("blade", blade)) if values}
    if draft.largest_step:
        members["max_adjacent_step"] = _whole(draft.largest_step, "largest step")
    if draft.cut_counts.strip():
        counts = draft.cut_counts.replace(";", ",").split(",")
        members["cut_counts"] = [_whole(count, "a number of cuts") for count in counts]
    if draft.restricted:
        members["restricted"] = True
    if draft.notes:
        members["notes"] = draft.notes
    if draft.confirmed_by or draft.confirmed_chart or draft.confirmed_on:
        members["confirmed"] = {
            "by": draft.confirmed_by,
            "chart": draft.confirmed_chart,
            "on": draft.confirmed_on,
        }
    return parse_spec(members, "This table")


def equal_steps(first: str, step: str, count: str, form: LengthFormat) -> tuple[str, ...]:
    """``count`` lengths from ``first`` on, each ``step`` further (a negative step falls), as they would be typed."""
    start, by = parse_number(first, "the first one"), parse_number(step, "the step")
    many = _whole(count, "how many")
    if not 1 <= many <= 64:
        raise Refusal(f"A table has 1 to 64 rows; got {many}.", code="draft.rows")
    return tuple(form.number(start + index * by, form.decimals + 1) for index in range(many))


@dataclass(frozen=True)
class MeasuredDepths:
    """What depth keys measure: rows for the grid, a study in words (mm), and the fewest readings of a depth."""

    rows: tuple[tuple[str, str], ...]
    words: str
    fewest: int


def depths_from_keys(text: str, instrument_sigma_mm: float, form: LengthFormat) -> MeasuredDepths:
    """Depths from readings of depth keys, a depth a line, in the unit of ``form``; shallowest first."""
    from keycore.depthkeys import parse_readings, study_depth_keys  # here: it brings scipy

    typed = parse_readings(text)
    readings_mm = {label: tuple(form.to_mm(value) for value in values) for label, values in typed.items()}
    study = study_depth_keys(readings_mm, instrument_sigma_mm=instrument_sigma_mm)
    rows = tuple((depth.label, form.bare(depth.root_mm.value, extra=1)) for depth in study.depths)
    return MeasuredDepths(rows, study.text(), min(len(depth.readings_mm) for depth in study.depths))


def same_table(one: KeySpec, two: KeySpec) -> bool:
    """Whether two tables say the same in every member."""
    return spec_to_json(one) == spec_to_json(two)


def labels_for(count: int, before: Sequence[str]) -> tuple[str, ...]:
    """Labels for so many depths: those there are, then numbers on from the last, or from 0."""
    labels = list(before[:count])
    while len(labels) < count:
        last = labels[-1] if labels else ""
        labels.append(str(int(last) + 1) if last.isdigit() else str(len(labels)))
    return tuple(labels)


def _whole(text: str, what: str) -> int:
    value = parse_number(text, what)
    if value != int(value):
        raise Refusal(f"{what.capitalize()} must be a whole number; got {text!r}.", code="draft.whole")
    return int(value)
