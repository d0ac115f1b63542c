"""The depth-and-space table: what a maker's key system allows.  Files are keyspec/1; loaded values are millimetres.

The file's own members are :mod:`keycore.specfile`, the rules between them :mod:`keycore.specrules`, codes
:mod:`keycore.codes`; this module is the table that everything else takes.

``python -m keycore.spec`` prints the JSON Schema that ships as ``specs/keyspec-1.schema.json``.
"""

from __future__ import annotations

import difflib
import json
import sys
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
from pydantic import BaseModel, ConfigDict

from keycore.codes import Code, code_to_json, edge_lists, format_code, macs_break, parse_code
from keycore.measured import Floats
from keycore.refusal import Refusal
from keycore.specfile import (
    LARGEST_FILE_BYTES,
    Confirmed,
    Edges,
    GaugeFrom,
    KeySpecFile,
    Provenance,
    RootFrom,
    json_schema,
    read_table_text,
    table_members,
)
from keycore.specrules import Finding, check_list, remaining_flat_mm, require_rules

__all__ = [
    "MM_PER_INCH", "Blade", "Code", "Confirmed", "CutForm", "Depth", "Finding", "KeySpec", "Provenance",
    "SpecEntry", "Tolerance", "check_list", "code_to_json", "edge_lists", "format_code", "json_schema", "list_specs",
    "load_spec", "macs_break", "parse_code", "parse_spec", "parse_spec_text", "remaining_flat_mm", "spec_to_json",
    "specs_folder",
]  # fmt: skip

MM_PER_INCH = 25.4
"""Exact since the agreement of 1959."""
USUAL_TOLERANCE_MM = (0.05, 0.08)
"""Root and position tolerance of a table that gives none: about two thousandths of an inch for depths, as the trade has
it (common practice, no published source), and somewhat more for spacing."""
SCHEMA_FILE = "keyspec-1.schema.json"


class _Frozen(BaseModel):
    model_config = ConfigDict(frozen=True, extra="forbid")


class Depth(_Frozen):
    """One depth of the table."""

    label: str
    root_mm: float


class Tolerance(_Frozen):
    """What the maker allows, plus or minus; about two standard deviations of the making."""

    root_mm: float
    position_mm: float


class CutForm(_Frozen):
    """The cutter; None where it is not known."""

    flat_mm: float | None = None
    angle_deg: float | None = None


class Blade(_Frozen):
    """The uncut blade; None where it is not known."""

    height_mm: float | None = None
    length_mm: float | None = None
    thickness_mm: float | None = None


class KeySpec(_Frozen):
    """A depth-and-space table, in millimetres, whole and checked."""

    name: str
    designation: str | None = None
    provenance: Provenance
    edges: Edges
    gauge_from: GaugeFrom
    root_from: RootFrom
    cut_positions_mm: tuple[float, ...]
    """Distances of the cut centres from the gauge point, bow first; the longest key of the table."""
    cut_counts: tuple[int, ...] | None = None
    """Where keys of this table may have different numbers of cuts per edge: all of them, rising."""
    depths: tuple[Depth, ...]
    tolerance: Tolerance
    cut_form: CutForm
    max_adjacent_step: int
    """MACS; the number of depths less one where any step may be cut."""
    blade: Blade
    restricted: bool = False
    notes: str = ""
    confirmed: Confirmed | None = None

    @property
    def edge_count(self) -> int:
        """How many lists of cuts a code has: 2 for independent edges, else 1."""
        return 2 if self.edges == "double-independent" else 1

    @property
    def cuts_per_edge(self) -> int:
        """Cuts on one edge of the longest key."""
        return len(self.cut_positions_mm)

    @property
    def allowed_counts(self) -> tuple[int, ...]:
        """All numbers of cuts that one edge may have."""
        return self.cut_counts or (self.cuts_per_edge,)

    @property
    def labels(self) -> tuple[str, ...]:
        """Labels of the depths, shallowest first."""
        return tuple(depth.label for depth in self.depths)

    @property
    def roots_mm(self) -> Floats:
        """(depths,) root heights, shallowest (highest) first."""
        return np.array([depth.root_mm for depth in self.depths])

    @property
    def is_unconfirmed(self) -> bool:
        """True for a table from memory that nobody has yet compared with a chart."""
        return self.provenance.kind == "memory" and self.confirmed is None

    def root_of(self, label: str) -> float:
        """Root height of one depth, mm."""
        return self.depths[self.labels.index(label)].root_mm

    def for_count(self, cuts: int) -> KeySpec:
        """The same table for a key of so many cuts an edge: those nearest to the gauge point."""
        if cuts == self.cuts_per_edge and self.cut_counts is None:
            return self
        if cuts not in self.allowed_counts:
            raise Refusal(
                f"A key of {self.name} has {' or '.join(map(str, self.allowed_counts))} cuts"
                f"{' an edge' if self.edge_count == 2 else ''}; got {cuts}. Check the readings or the table.",
                code="spec.count",
            )
        kept = self.cut_positions_mm[:cuts] if self.gauge_from == "shoulder" else self.cut_positions_mm[-cuts:]
        return self.model_copy(update={"cut_positions_mm": kept, "cut_counts": None})

    def describe(self) -> str:
        """One paragraph for people: what kind of key, how many cuts and depths, where the table comes from."""
        kind = {
            "single": "single-edge key",
            "double-mirrored": "key cut alike on both edges",
            "double-independent": "key cut differently on its two edges",
        }[self.edges]
        counts = " or ".join(map(str, self.allowed_counts))
        steps_mm = -np.diff(self.roots_mm)
        words = [
            f"{self.name}: {kind}, {counts} cuts{' an edge' if self.edge_count == 2 else ''} gauged from the "
            f"{self.gauge_from}, "
            f"{len(self.depths)} depths {self.labels[0]} to {self.labels[-1]} ({self.roots_mm[0]:.2f} to "
            f"{self.roots_mm[-1]:.2f} mm, steps of {steps_mm.mean():.3f} mm), largest step {self.max_adjacent_step}."
        ]
        if self.designation:
            words.append(f"Designation: {self.designation}.")
        words.append(f"Source ({self.provenance.kind}): {self.provenance.source.rstrip('.')}.")
        if self.is_unconfirmed:
            words.append("UNCONFIRMED: from memory; compare it with a chart before a key is cut.")
        if self.confirmed is not None:
            words.append(f"Confirmed by {self.confirmed.by} against {self.confirmed.chart} on {self.confirmed.on}.")
        if self.restricted:
            words.append("RESTRICTED: cut only with the authority's reference.")
        return " ".join(words)


@dataclass(frozen=True)
class SpecEntry:
    """One table of the library: its name, its file, and the table itself or what is wrong with it."""

    name: str
    file: Path
    spec: KeySpec | None
    fault: str = ""


def parse_spec(table: Mapping[str, Any], origin: str = "the table") -> KeySpec:
    """A table from the members of a keyspec/1 file; refused in one plain sentence where it breaks a rule."""
    members = table_members(table, origin)
    spec = _in_millimetres(members)
    require_rules(spec, origin)
    return spec


def parse_spec_text(text: str, origin: str = "the table") -> KeySpec:
    """A table from the text of a keyspec/1 file."""
    return parse_spec(read_table_text(text, origin), origin)


def load_spec(file_or_name: str | Path) -> KeySpec:
    """A table from a file, or by its name (or file's name) from the shipped ones."""
    path = Path(file_or_name)
    named = str(file_or_name)
    if path.is_file():
        return _load_file(path)
    if path.is_dir() or path.suffix.lower() == ".json" or any(mark in named for mark in "/\\"):
        raise Refusal(
            f"There is no depth table file {named}; check the path, or see the tables with spec list.",
            code="spec.no-file",
        )
    wanted = named.casefold().strip()
    entries = list_specs()
    found = [entry for entry in entries if wanted in {entry.name.casefold(), entry.file.stem.casefold()}]
    if len(found) == 1:
        return found[0].spec or _load_file(found[0].file)
    if found:
        raise Refusal(f"Several tables are called {named}; give the file instead.", code="spec.ambiguous")
    names = [entry.name for entry in entries] + [entry.file.stem for entry in entries]
    near = difflib.get_close_matches(named, names, n=1, cutoff=0.5)
    hint = f'did you mean "{near[0]}"?' if near else "see the tables with spec list, or give a file."
    raise Refusal(f"There is no depth table called {named}; {hint}", code="spec.unknown-name")


def list_specs() -> tuple[SpecEntry, ...]:
    """All shipped tables, by name; one that cannot be used is listed with its fault."""
    folder = specs_folder()
    entries = []
    for path in sorted(folder.glob("*.json")) if folder.is_dir() else ():
        if path.name == SCHEMA_FILE:
            continue
        try:
            spec = _load_file(path)
            entries.append(SpecEntry(spec.name, path, spec))
        except Refusal as refusal:
            entries.append(SpecEntry(path.stem, path, None, refusal.sentence))
    return tuple(sorted(entries, key=lambda entry: entry.name.casefold()))


def specs_folder() -> Path:
    """Where the shipped tables lie: inside an installed package, or the ``specs`` folder beside it."""
    inside = Path(__file__).parent / "_specs"
    return inside if inside.is_dir() else Path(__file__).parent.parent / "specs"


def spec_to_json(spec: KeySpec) -> dict[str, Any]:
    """The table as keyspec/1 members in millimetres; members that are not known are left out."""
    table: dict[str, Any] = {"format": "keyspec/1", "name": spec.name}
    if spec.designation:
        table["designation"] = spec.designation
    table |= {
        "provenance": spec.provenance.model_dump(mode="json"),
        "units": "mm",
        "edges": spec.edges,
        "gauge_from": spec.gauge_from,
        "root_from": spec.root_from,
        "cut_positions": list(spec.cut_positions_mm),
    }
    if spec.cut_counts is not None:
        table["cut_counts"] = list(spec.cut_counts)
    table |= {
        "depths": [{"label": depth.label, "root": depth.root_mm} for depth in spec.depths],
        "tolerance": {"root": spec.tolerance.root_mm, "position": spec.tolerance.position_mm},
        "max_adjacent_step": spec.max_adjacent_step,
    }
    form = {"flat": spec.cut_form.flat_mm, "angle": spec.cut_form.angle_deg}
    blade = {"height": spec.blade.height_mm, "length": spec.blade.length_mm, "thickness": spec.blade.thickness_mm}
    for member, values in (("cut_form", form), ("blade", blade)):
        known = {name: value for name, value in values.items() if value is not None}
        if known:
            table[member] = known
    if spec.restricted:
        table["restricted"] = True
    if spec.notes:
        table["notes"] = spec.notes
    if spec.confirmed is not None:
        table["confirmed"] = spec.confirmed.model_dump(mode="json")
    return table


def schema_text() -> str:
    """The text of the shipped JSON Schema."""
    return json.dumps(json_schema(), indent=1, ensure_ascii=False) + "\n"


def _load_file(path: Path) -> KeySpec:
    try:
        if path.stat().st_size > LARGEST_FILE_BYTES:
            raise Refusal(
                f"{path.name} is too large for a depth table ({path.stat().st_size} bytes).", code="spec.too-large"
            )
        text = path.read_text(encoding="utf-8-sig")
    except UnicodeDecodeError as error:
        raise Refusal(f"{path.name} is not a text file, so it is no depth table.", code="spec.not-json") from error
    except OSError as error:
        raise Refusal(f"{path.name} cannot be read ({error.strerror or error}).", code="spec.unreadable") from error
    return parse_spec_text(text, path.name)


def _in_millimetres(members: KeySpecFile) -> KeySpec:
    mm = MM_PER_INCH if members.units == "in" else 1.0

    def length(value: float | None) -> float | None:
        return None if value is None else value * mm

    tolerance, form, blade = members.tolerance, members.cut_form, members.blade
    return KeySpec(
        name=members.name,
        designation=members.designation,
        provenance=members.provenance,
        edges=members.edges,
        gauge_from=members.gauge_from,
        root_from=members.root_from,
        cut_positions_mm=tuple(position * mm for position in members.cut_positions),
        cut_counts=members.cut_counts,
        depths=tuple(Depth(label=depth.label, root_mm=depth.root * mm) for depth in members.depths),
        tolerance=Tolerance(
            root_mm=USUAL_TOLERANCE_MM[0] if tolerance is None else tolerance.root * mm,
            position_mm=USUAL_TOLERANCE_MM[1] if tolerance is None else tolerance.position * mm,
        ),
        cut_form=CutForm() if form is None else CutForm(flat_mm=length(form.flat), angle_deg=form.angle),
        max_adjacent_step=len(members.depths) - 1 if members.max_adjacent_step is None else members.max_adjacent_step,
        blade=Blade()
        if blade is None
        else Blade(
            height_mm=length(blade.height), length_mm=length(blade.length), thickness_mm=length(blade.thickness)
        ),
        restricted=members.restricted,
        notes=members.notes or "",
        confirmed=members.confirmed,
    )


if __name__ == "__main__":
    sys.stdout.write(schema_text())
