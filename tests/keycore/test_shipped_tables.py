"""The tables in specs/: all usable, all honest about where they come from, all kinds of key among them."""

from __future__ import annotations

import json

import jsonschema
import numpy as np
import pytest

from keycore.spec import KeySpec, check_list, list_specs, load_spec, parse_spec, remaining_flat_mm, spec_to_json

ENTRIES = list_specs()
UNEVEN_ON_PURPOSE = {"Weighbridge 6"}


def table(name: str) -> KeySpec:
    """A shipped table by name."""
    return load_spec(name)


def test_every_shipped_table_can_be_used() -> None:
    """None is listed with a fault, and no two share a name."""
    assert [entry.fault for entry in ENTRIES if entry.fault] == []
    names = [entry.name.casefold() for entry in ENTRIES]
    assert len(names) == len(set(names)) == len(ENTRIES) >= 20


def test_every_kind_of_key_is_among_the_invented_tables() -> None:
    """Both gauges, all edges, a choice of counts, unevenness, inches and a restricted one can be shown and tested."""
    invented = [entry.spec for entry in ENTRIES if entry.spec is not None and entry.spec.provenance.kind == "invented"]

    assert {spec.edges for spec in invented} == {"single", "double-mirrored", "double-independent"}
    assert {spec.gauge_from for spec in invented} == {"shoulder", "tip"}
    assert any(spec.cut_counts == (5, 6) for spec in invented)
    assert any(spec.restricted for spec in invented)
    assert all(spec.blade.height_mm and spec.blade.length_mm and spec.cut_form.angle_deg for spec in invented)


@pytest.mark.parametrize("entry", ENTRIES, ids=lambda entry: entry.file.stem)
def test_table_keeps_the_shipped_schema(entry: object) -> None:
    """An outside validator, with the JSON Schema that ships beside the tables, agrees with the loader."""
    file = entry.file  # type: ignore[attr-defined]
    schema = json.loads((file.parent / "keyspec-1.schema.json").read_text(encoding="utf-8"))

    jsonschema.Draft202012Validator(schema).validate(json.loads(file.read_text(encoding="utf-8")))


def test_schema_refuses_what_the_loader_refuses() -> None:
    """A stranger among the members, a negative root and a missing table of depths."""
    file = ENTRIES[0].file
    validator = jsonschema.Draft202012Validator(
        json.loads((file.parent / "keyspec-1.schema.json").read_text(encoding="utf-8"))
    )
    good = json.loads(file.read_text(encoding="utf-8"))

    assert validator.is_valid(good)
    assert not validator.is_valid({**good, "colour": "brass"})
    assert not validator.is_valid({**good, "depths": [{"label": "0", "root": -1.0}, {"label": "1", "root": -2.0}]})
    assert not validator.is_valid({name: value for name, value in good.items() if name != "depths"})


@pytest.mark.parametrize("entry", ENTRIES, ids=lambda entry: entry.file.stem)
def test_equal_increments_and_even_spacing_unless_meant_otherwise(entry: object) -> None:
    """A slip of the pen in a chart shows as an uneven step."""
    spec = entry.spec  # type: ignore[attr-defined]
    findings = {finding.rule: finding.holds for finding in check_list(spec)}

    even = spec.name not in UNEVEN_ON_PURPOSE
    assert findings["equal increments"] is even
    assert findings["even spacing"] is even


@pytest.mark.parametrize("entry", ENTRIES, ids=lambda entry: entry.file.stem)
def test_largest_step_leaves_a_flat_and_roots_stay_inside_the_blade(entry: object) -> None:
    """No table allows a step that its own cutter cannot cut, nor a cut through the back."""
    spec = entry.spec  # type: ignore[attr-defined]

    flat_mm = remaining_flat_mm(spec)
    assert flat_mm is None or flat_mm >= 0
    assert spec.roots_mm.min() > 1.5
    assert (np.diff(spec.roots_mm) < 0).all()


@pytest.mark.parametrize("entry", ENTRIES, ids=lambda entry: entry.file.stem)
def test_provenance_says_how_far_a_table_was_verified(entry: object) -> None:
    """Quoted tables say that they are not the maker's; tables from memory show as unconfirmed; none is confirmed."""
    spec = entry.spec  # type: ignore[attr-defined]

    assert spec.confirmed is None
    if spec.provenance.kind == "published":
        assert "not the maker's own table and not confirmed against the maker's chart" in spec.provenance.source.lower()
        assert "seen" in spec.provenance.source.lower()
    elif spec.provenance.kind == "memory":
        assert "from memory" in spec.name
        assert "from memory" in spec.provenance.source.lower()
    else:
        assert spec.provenance.kind == "invented"
        assert "made up" in spec.provenance.source
    assert spec.is_unconfirmed is (spec.provenance.kind == "memory")


@pytest.mark.parametrize("entry", ENTRIES, ids=lambda entry: entry.file.stem)
def test_table_survives_being_written_into_a_job(entry: object) -> None:
    """The whole table, written in millimetres and read again, is the same table."""
    spec = entry.spec  # type: ignore[attr-defined]
    assert parse_spec(spec_to_json(spec)) == spec


def test_memory_table_confirmed_against_a_chart_is_no_longer_unconfirmed() -> None:
    """A named person, a named chart, a date."""
    members = spec_to_json(table("Yale (from memory)"))
    members["confirmed"] = {"by": "T. Quill", "chart": "chart on the shop's wall", "on": "2026-03-04"}

    confirmed = parse_spec(members)

    assert not confirmed.is_unconfirmed
    assert "UNCONFIRMED" not in confirmed.describe()
