"""keyspec/1 as it stands in a file: the members of a depth-and-space table, and plain sentences where they are wrong.

The JSON Schema that ships beside the tables is generated from :class:`KeySpecFile`.  Rules between members (roots that
fall, counts that agree) are :mod:`keycore.specrules`; the table in millimetres is :mod:`keycore.spec`.
"""

from __future__ import annotations

import difflib
import json
from collections.abc import Mapping
from datetime import date
from typing import Annotated, Any, Literal

from pydantic import BaseModel, ConfigDict, Field, ValidationError, field_validator

from keycore.refusal import Refusal

Number = Annotated[float, Field(strict=True, allow_inf_nan=False)]
Positive = Annotated[float, Field(strict=True, allow_inf_nan=False, gt=0)]
NotNegative = Annotated[float, Field(strict=True, allow_inf_nan=False, ge=0)]
Words = Annotated[str, Field(min_length=1, max_length=2000)]

Edges = Literal["single", "double-mirrored", "double-independent"]
GaugeFrom = Literal["shoulder", "tip"]
RootFrom = Literal["back", "opposite-floor", "centreline"]
ProvenanceKind = Literal["published", "measured", "memory", "invented"]

LARGEST_FILE_BYTES = 1_000_000
MOST_CUTS = 24
MOST_DEPTHS = 40


class _Member(BaseModel):
    model_config = ConfigDict(frozen=True, extra="forbid")


class Provenance(_Member):
    """Where a table comes from.  ``memory`` shows as unconfirmed until a person confirms it against a chart."""

    kind: ProvenanceKind
    source: Words


class Confirmed(_Member):
    """Who compared the table with which chart, and when."""

    by: Words
    chart: Words
    on: date


class DepthFile(_Member):
    """One depth: its label, and the root height that it leaves."""

    label: Annotated[str, Field(min_length=1, max_length=8)]
    root: Positive

    @field_validator("label", mode="before")
    @classmethod
    def _number_as_label(cls, label: Any) -> Any:
        return str(label) if isinstance(label, int) and not isinstance(label, bool) else label


class ToleranceFile(_Member):
    """What the maker allows, plus or minus."""

    root: NotNegative
    position: NotNegative


class CutFormFile(_Member):
    """The cutter: width of the flat that it leaves, and the whole angle between the flanks in degrees."""

    flat: NotNegative | None = None
    angle: Annotated[float, Field(strict=True, allow_inf_nan=False, gt=0, lt=180)] | None = None


class BladeFile(_Member):
    """The uncut blade."""

    height: Positive | None = None
    length: Positive | None = None
    thickness: Positive | None = None


class KeySpecFile(_Member):
    """keyspec/1: one depth-and-space table.  Lengths are in ``units``."""

    format: Literal["keyspec/1"]
    name: Annotated[str, Field(min_length=1, max_length=200)]
    designation: Annotated[str, Field(max_length=200)] | None = None
    provenance: Provenance
    units: Literal["mm", "in"]
    edges: Edges
    gauge_from: GaugeFrom
    root_from: RootFrom
    cut_positions: Annotated[tuple[Positive, ...], Field(min_length=1, max_length=MOST_CUTS)]
    """Distances of the cut centres from the gauge point, bow first."""
    cut_counts: tuple[Annotated[int, Field(strict=True, ge=1)], ...] | None = None
    """Where a key of this table may have fewer cuts than positions: all the counts that it may have, per edge."""
    depths: Annotated[tuple[DepthFile, ...], Field(min_length=2, max_length=MOST_DEPTHS)]
    """Shallowest first."""
    tolerance: ToleranceFile | None = None
    cut_form: CutFormFile | None = None
    max_adjacent_step: Annotated[int, Field(strict=True, ge=1)] | None = None
    """The largest step between neighbouring cuts, counted in depths; left out where any step may be cut."""
    blade: BladeFile | None = None
    restricted: Annotated[bool, Field(strict=True)] = False
    """True where the maker or the law limits who may cut it."""
    notes: Annotated[str, Field(max_length=4000)] | None = None
    confirmed: Confirmed | None = None


def read_table_text(text: str, origin: str) -> dict[str, Any]:
    """The members of a table's JSON text; a refusal where it is no whole JSON, no object, or says a member twice."""

    def members_once(pairs: list[tuple[str, Any]]) -> dict[str, Any]:
        seen: dict[str, Any] = {}
        for name, value in pairs:
            if name in seen:
                raise Refusal(
                    f'{origin}: the member "{name}" stands twice; keep one of them.', code="spec.member-twice"
                )
            seen[name] = value
        return seen

    try:
        table = json.loads(text, object_pairs_hook=members_once)
    except Refusal:
        raise
    except (ValueError, RecursionError) as error:
        raise Refusal(
            f"{origin} is not whole JSON ({_short(error)}); mend the file or fetch it again.", code="spec.not-json"
        ) from error
    if not isinstance(table, dict):
        raise Refusal(
            f"{origin} should hold one depth table, an object in braces; got {_shown(table)}.", code="spec.not-json"
        )
    return table


def table_members(table: Mapping[str, Any], origin: str) -> KeySpecFile:
    """The members of a table, checked one by one; a refusal in one plain sentence where one cannot be used."""
    if not isinstance(table, Mapping):
        raise Refusal(
            f"{origin} should hold one depth table, an object in braces; got {_shown(table)}.", code="spec.not-json"
        )
    claimed = table.get("format")
    if claimed != "keyspec/1":
        raise Refusal(
            f'{origin} is not a depth table: its "format" is {_shown(claimed)}, and it should be "keyspec/1".',
            code="spec.format",
        )
    try:
        return KeySpecFile.model_validate(dict(table))
    except ValidationError as error:
        raise _refusal(error, origin) from error


def json_schema() -> dict[str, Any]:
    """The JSON Schema of keyspec/1, generated from the model."""
    schema = KeySpecFile.model_json_schema()
    return {"$schema": "https://json-schema.org/draft/2020-12/schema", **schema, "title": "keyspec/1"}


_MODELS: dict[str, type[BaseModel]] = {
    "provenance": Provenance,
    "confirmed": Confirmed,
    "depths": DepthFile,
    "tolerance": ToleranceFile,
    "cut_form": CutFormFile,
    "blade": BladeFile,
}
# The worst faults first: a stranger in the file explains a missing member better than the other way round.
_ORDER = ("extra_forbidden", "finite_number", "missing")


def _refusal(error: ValidationError, origin: str) -> Refusal:
    faults = error.errors(include_url=False, include_context=True)
    fault = min(faults, key=lambda f: _ORDER.index(f["type"]) if f["type"] in _ORDER else len(_ORDER))
    place = _place(fault["loc"])
    kind = fault["type"]
    context = fault.get("ctx", {})
    got = _shown(fault["input"])
    if kind == "extra_forbidden":
        return Refusal(
            f"{origin}: {place} is not a member of keyspec/1; {_suggestion(fault['loc'])}.", code="spec.unknown-member"
        )
    if kind == "missing":
        return Refusal(f"{origin}: {place} is missing; add it to the table.", code="spec.missing-member")
    code = "spec.bad-value"
    if kind == "finite_number":
        rule, code = "must be a finite number", "spec.not-finite"
    elif kind in {"greater_than", "greater_than_equal"}:
        least = context.get("gt", context.get("ge"))
        rule = f"must be {'more than' if kind == 'greater_than' else 'at least'} {least:g}"
        code = "spec.too-small"
        if place.startswith("max_adjacent_step"):
            code = "spec.macs"
    elif kind in {"less_than", "less_than_equal"}:
        rule = f"must be {'less than' if kind == 'less_than' else 'at most'} {context.get('lt', context.get('le')):g}"
    elif kind == "literal_error":
        rule = f"must be {context['expected']}"
    elif kind in {"float_type", "int_type", "int_from_float", "float_parsing", "int_parsing"}:
        rule = "must be a whole number" if kind.startswith("int") else "must be a number"
    elif kind == "too_short":
        rule = f"must have at least {context['min_length']} entries"
    elif kind == "too_long":
        rule = f"must have at most {context['max_length']} entries"
    elif kind in {"string_type", "string_too_short"}:
        rule = "must be words"
    elif kind == "string_too_long":
        rule = f"must be at most {context['max_length']} characters long"
    elif kind == "bool_type":
        rule = "must be true or false"
    elif kind.startswith("date"):
        rule = "must be a date such as 2026-03-14"
    elif kind in {"model_type", "model_attributes_type", "dict_type"}:
        rule = "must be an object in braces"
    elif kind in {"tuple_type", "list_type"}:
        rule = "must be a list"
    else:
        rule = "cannot be used"
    return Refusal(f"{origin}: {place} {rule}; got {got}. Correct it in the table.", code=code)


def _place(loc: tuple[int | str, ...]) -> str:
    """("depths", 2, "root") as 'depths[2].root', with a count from 1 for people."""
    words = ""
    for part in loc:
        words += (
            f" entry {part + 1}"
            if isinstance(part, int)
            else f"{', ' if words and words[-1].isdigit() else '.' if words else ''}{part}"
        )
    return words or "the table"


def _suggestion(loc: tuple[int | str, ...]) -> str:
    model = _MODELS.get(str(loc[0]), KeySpecFile) if len(loc) > 1 else KeySpecFile
    near = difflib.get_close_matches(str(loc[-1]), list(model.model_fields), n=1)
    return f'did you mean "{near[0]}"?  Correct it or take it out' if near else "take it out, or put it into notes"


def _shown(value: Any) -> str:
    if value is None:
        return "nothing"
    words = repr(value) if not isinstance(value, str) else f'"{value}"'
    return words if len(words) <= 60 else words[:57] + "..."


def _short(error: BaseException) -> str:
    words = str(error).splitlines()[0] if str(error) else type(error).__name__
    return words if len(words) <= 100 else words[:97] + "..."
