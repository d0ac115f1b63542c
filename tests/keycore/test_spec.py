"""The depth-and-space table: what is loaded, and what is refused in which words."""

from __future__ import annotations

import json

import numpy as np
import pytest

from keycore.refusal import Refusal
from keycore.spec import (
    check_list,
    list_specs,
    load_spec,
    parse_spec,
    parse_spec_text,
    remaining_flat_mm,
    schema_text,
    spec_to_json,
    specs_folder,
)
from tests.keycore.tables import INDEPENDENT, MIRRORED, spec_of, table


def test_loaded_values_are_millimetres():
    """An inch in a file is exactly 25.4 mm."""
    spec = spec_of(
        units="in",
        cut_positions=[0.231, 0.387],
        depths=[{"label": 0, "root": 0.335}, {"label": 1, "root": 0.32}],
        max_adjacent_step=1,
        tolerance={"root": 0.002, "position": 0.003},
        cut_form={"flat": 0.03, "angle": 100},
        blade={"height": 0.343},
    )

    assert spec.cut_positions_mm == (0.231 * 25.4, 0.387 * 25.4)
    assert list(spec.roots_mm) == [0.335 * 25.4, 0.32 * 25.4]
    assert (spec.tolerance.root_mm, spec.cut_form.flat_mm, spec.cut_form.angle_deg) == (0.002 * 25.4, 0.03 * 25.4, 100)
    assert spec.blade.height_mm == 0.343 * 25.4 and spec.blade.length_mm is None
    assert spec.labels == ("0", "1")


@pytest.mark.parametrize(
    "changes", [{}, MIRRORED, INDEPENDENT, {"cut_counts": [3, 4]}, {"notes": "n", "restricted": True}]
)
def test_a_table_reads_back_as_it_was_written(changes):
    """Written in millimetres and read again, a table is the same value."""
    spec = spec_of(**changes)

    assert parse_spec(json.loads(json.dumps(spec_to_json(spec)))) == spec


NAN = float("nan")
BROKEN = [
    ({"depths": [{"label": "0", "root": 7.0}, {"label": "1", "root": 7.2}]}, "roots-not-falling", "depth 1 (7.200 mm)"),
    ({"depths": [{"label": "0", "root": 7.0}, {"label": "1", "root": 7.0}]}, "roots-not-falling", "must fall"),
    ({"depths": [{"label": "0", "root": 7.0}, {"label": "0", "root": 6.5}]}, "label-twice", 'label "0" stands twice'),
    ({"depths": [{"label": "0", "root": 7.0}, {"label": "1-2", "root": 6.5}]}, "label", '"1-2"'),
    ({"depths": [{"label": "0", "root": 7.0}, {"label": "1", "rot": 6.5}]}, "unknown-member", 'did you mean "root"'),
    ({"depths": [{"label": "0", "root": 7.0}, {"label": "1"}]}, "missing-member", "depths entry 2, root is missing"),
    ({"depths": [{"label": "0", "root": 7.0}]}, "bad-value", "at least 2 entries"),
    ({"depths": [{"label": "0", "root": NAN}, {"label": "1", "root": 6.5}]}, "not-finite", "finite number; got nan"),
    (
        {"depths": [{"label": "0", "root": True}, {"label": "1", "root": 0.5}]},
        "bad-value",
        "must be a number; got True",
    ),
    ({"cut_positions": [5, 9, 8, 17]}, "positions-order", "entry 3 is 8.000 mm after 9.000 mm"),
    ({"gauge_from": "tip"}, "positions-order", "so they must fall"),
    ({"cut_positions": [-5, 9]}, "too-small", "must be more than 0; got -5"),
    ({"cut_positions": [5, float("inf")]}, "not-finite", "got inf"),
    ({"cut_positions": []}, "bad-value", "at least 1 entries"),
    ({"cut_counts": [3, 5]}, "counts", "number of cut_positions (4); got [3, 5]"),
    ({"cut_counts": [4, 3]}, "counts", "must rise"),
    ({"max_adjacent_step": 0}, "macs", "must be at least 1; got 0"),
    ({"max_adjacent_step": 9}, "macs", "between 1 and 4"),
    ({"cut_form": {"flat": 0.8, "angle": 150}}, "flat", "cannot be cut with a cutter of 150 degrees"),
    ({"blade": {"height": 8.3, "length": 16.0}}, "blade-short", "shorter than its farthest cut position (17.000 mm)"),
    ({"blade": {"height": 7.5}}, "blade-low", "depth 0 (8.000 mm) is higher than the blade (7.500 mm)"),
    ({"tolerance": {"root": -0.04, "position": 0.06}}, "too-small", "tolerance.root must be at least 0"),
    ({"tolerance": {"root": 0.5, "position": 0.06}}, "tolerance", "more than a whole step"),
    ({"root_from": "centreline"}, "root-from", 'measured from "back"'),
    ({"units": "cm"}, "bad-value", "must be 'mm' or 'in'; got \"cm\""),
    ({"edges": "double"}, "bad-value", "must be 'single'"),
    ({"format": "keyspec/9"}, "format", 'should be "keyspec/1"'),
    ({"spacing": 4.0}, "unknown-member", "spacing is not a member of keyspec/1"),
    ({"provenance": {"kind": "heard", "source": "x"}}, "bad-value", "provenance.kind must be"),
    ({"name": ...}, "missing-member", "name is missing"),
    ({"confirmed": {"by": "A. Person", "chart": "a chart", "on": "soon"}}, "bad-value", "date such as 2026-03-14"),
    ({"blade": [8.3]}, "bad-value", "blade must be an object in braces"),
]


@pytest.mark.parametrize(("changes", "code", "words"), BROKEN)
def test_a_table_that_breaks_a_rule_is_refused_in_one_sentence(changes, code, words):
    """The sentence names the file, the rule and the value."""
    with pytest.raises(Refusal) as refused:
        parse_spec(table(**changes), "bad.json")

    assert refused.value.code == f"spec.{code}"
    assert refused.value.sentence.startswith("bad.json") and words in refused.value.sentence
    assert "\n" not in refused.value.sentence and "pydantic" not in refused.value.sentence


@pytest.mark.parametrize("text", ["", "{", "[1, 2]", '{"format": "keyspec/1", "format": "keyspec/1"}', "[" * 100_000])
def test_a_file_that_is_no_table_is_refused(text):
    """Broken JSON, another JSON, and a member that stands twice."""
    with pytest.raises(Refusal):
        parse_spec_text(text, "bad.json")


def test_a_missing_file_and_an_unknown_name_say_what_to_do(tmp_path):
    """A path that is not there, a folder, and a name that is nearly right."""
    with pytest.raises(Refusal, match="no depth table file"):
        load_spec(tmp_path / "none.json")
    with pytest.raises(Refusal, match="no depth table file"):
        load_spec(tmp_path)
    (tmp_path / "binary.json").write_bytes(b"\xff\xfe\x00\x01")
    with pytest.raises(Refusal, match="not a text file"):
        load_spec(tmp_path / "binary.json")
    shipped = list_specs()[0].name
    with pytest.raises(Refusal, match="did you mean"):
        load_spec(shipped + "x")


def test_a_key_of_fewer_cuts_has_those_nearest_to_the_gauge_point():
    """From the shoulder the first cuts, from the tip the last."""
    shoulder = spec_of(cut_counts=[3, 4])
    tip = spec_of(cut_counts=[3, 4], gauge_from="tip", cut_positions=[17.0, 13.0, 9.0, 5.0])

    assert shoulder.for_count(3).cut_positions_mm == (5.0, 9.0, 13.0)
    assert tip.for_count(3).cut_positions_mm == (13.0, 9.0, 5.0)
    assert shoulder.allowed_counts == (3, 4) and shoulder.for_count(4).allowed_counts == (4,)
    with pytest.raises(Refusal, match="3 or 4 cuts; got 5"):
        shoulder.for_count(5)


def test_a_left_out_step_allows_any_step():
    """Without max_adjacent_step neighbours may differ by all depths."""
    assert spec_of(max_adjacent_step=..., cut_form=...).max_adjacent_step == 4


def test_remaining_flat_by_hand():
    """spacing - step * tan(half angle): 4 - 3 * 0.4 * tan 45 = 2.8; a mirrored pair climbs half as far: 3.4."""
    assert remaining_flat_mm(spec_of()) == pytest.approx(2.8)
    assert remaining_flat_mm(spec_of(**MIRRORED)) == pytest.approx(3.4)
    assert remaining_flat_mm(spec_of(cut_form=...)) is None


def test_the_check_list_points_at_uneven_steps():
    """A slip of the pen in one root shows, and does not refuse the table."""
    roots = [8.0, 7.6, 7.25, 6.8, 6.4]
    spec = spec_of(depths=[{"label": str(i), "root": root} for i, root in enumerate(roots)])
    findings = {finding.rule: finding for finding in check_list(spec)}

    assert not findings["equal increments"].holds and "0.350 to 0.450" in findings["equal increments"].sentence
    assert findings["even spacing"].holds and findings["confirmed"].holds


def test_a_table_from_memory_is_unconfirmed_until_a_person_confirms_it():
    """It says so wherever it is described."""
    memory = {"kind": "memory", "source": "nobody knows"}
    confirmed = {"by": "A. Person", "chart": "a printed chart", "on": "2026-03-14"}

    assert "UNCONFIRMED" in spec_of(provenance=memory).describe()
    assert spec_of(provenance=memory).is_unconfirmed
    assert not spec_of(provenance=memory, confirmed=confirmed).is_unconfirmed
    assert "A. Person" in spec_of(provenance=memory, confirmed=confirmed).describe()


def test_the_shipped_schema_is_the_models_own():
    """``python -m keycore.spec > specs/keyspec-1.schema.json`` brings it up to date."""
    assert (specs_folder() / "keyspec-1.schema.json").read_text(encoding="utf-8") == schema_text()


def test_roots_are_floats_shallowest_first():
    """What others compute with."""
    roots_mm = spec_of().roots_mm

    assert roots_mm.dtype == np.float64 and np.all(np.diff(roots_mm) < 0)
