"""The cut list: machine figures in both units, depth keys shallow first, cuts that would spoil each other."""

from __future__ import annotations

import csv
import io
import json
import math

import pytest

from keycore.cutting import CAUTION, CSV_COLUMNS, cut_list
from keycore.refusal import Refusal
from keycore.spec import KeySpec, load_spec, parse_spec, spec_to_json

SPEC = load_spec("Harbourside 5")


def altered(**members: object) -> KeySpec:
    """Harbourside 5 with other members."""
    return parse_spec({**spec_to_json(SPEC), **members})


def test_rows_carry_positions_and_roots_of_the_table() -> None:
    """Bow to tip, from the shoulder, with the metal that goes."""
    rows = cut_list("12355", SPEC).rows

    assert [row.position_mm for row in rows] == pytest.approx([4.2, 8.1, 12.0, 15.9, 19.8])
    assert [row.root_mm for row in rows] == pytest.approx([7.7, 7.2, 6.7, 5.7, 5.7])
    assert [row.removed_mm for row in rows] == pytest.approx([0.7, 1.2, 1.7, 2.7, 2.7])


def test_metal_removed_is_that_of_one_edge() -> None:
    """A mirrored pair loses half on each edge; independent edges are counted from the centreline."""
    mirrored, independent = load_spec("Breakwater 8"), load_spec("Lantern 5")

    assert cut_list("12341234", mirrored).rows[1].removed_mm == pytest.approx((7.2 - 6.14) / 2)
    assert cut_list("12345/12345", independent).rows[6].removed_mm == pytest.approx(8.1 / 2 - 3.38)
    assert cut_list("01234", load_spec("Dexter")).rows[0].removed_mm is None


def test_depth_keys_go_shallow_first_and_make_every_cut_once() -> None:
    """A blank can be cut deeper and never shallower."""
    steps = cut_list("51305", SPEC).depth_keys

    assert [step.depth for step in steps] == ["0", "1", "3", "5"]
    assert [step.root_mm for step in steps] == sorted((step.root_mm for step in steps), reverse=True)
    assert sorted(cut for step in steps for _edge, cut, _at in step.cuts) == [1, 2, 3, 4, 5]
    assert steps[-1].cuts == ((1, 1, 4.2), (1, 5, 19.8))


def test_flat_that_is_left_agrees_with_a_drawn_profile() -> None:
    """The deepest of all cuts' outlines, drawn finely: the length of floor that stays is what the warning says."""
    spec = altered(cut_form={"flat": 1.6, "angle": 110.0}, max_adjacent_step=5)
    climb = math.tan(math.radians(55))
    for code in ("05005", "51015", "00500", "05150"):
        listed = cut_list(code, spec)
        for row in listed.rows:
            step_mm = 0.0005
            floor = 0.0
            for k in range(-1599, 1600, 2):
                x = row.position_mm + k * step_mm
                height = min(other.root_mm + max(abs(x - other.position_mm) - 0.8, 0) / climb for other in listed.rows)
                floor += 2 * step_mm * (height > row.root_mm - 1e-9 and abs(x - row.position_mm) <= 0.8)
            mine = [u.left_mm for u in listed.undercuts if u.cut == row.cut]
            assert (mine or [1.6]) == [pytest.approx(floor, abs=0.004)], (code, row.cut)


def test_undercut_is_a_warning_and_a_lost_centre_says_that_it_cannot_be_cut() -> None:
    """Two degrees of trouble, two sentences."""
    partly = cut_list("05000", altered(cut_form={"flat": 0.8, "angle": 106.0}))
    lost = cut_list("05000", altered(cut_form={"flat": 0.8, "angle": 110.0}))

    assert partly.warnings == (
        "the flank of cut 2 leaves 0.58 of the 0.80 mm flat of cut 1.",
        "the flank of cut 2 leaves 0.58 of the 0.80 mm flat of cut 3.",
    )
    assert lost.warnings == (
        "the flank of cut 2 would cut away the middle of cut 1; this code cannot be cut so.",
        "the flank of cut 2 would cut away the middle of cut 3; this code cannot be cut so.",
    )


def test_code_within_the_tables_rules_and_form_has_nothing_to_mind() -> None:
    """No warning where there is nothing to warn of."""
    assert cut_list("12355", SPEC).warnings == ()


def test_step_larger_than_the_table_allows_is_warned_of() -> None:
    """Such a key may exist; the list is made and says so."""
    listed = cut_list("06000", SPEC)

    assert listed.warnings[0] == "cuts 1 and 2 are 6 steps apart, and the table allows 5; check the code."


def test_deep_first_cut_that_would_run_into_the_shoulder_is_warned_of() -> None:
    """A wide cutter near the shoulder has no room."""
    spec = altered(cut_positions=[2.6, 6.5, 10.4, 14.3, 18.2], cut_form={"flat": 0.8, "angle": 90.0})

    assert cut_list("54321", spec).warnings == ("the flank of cut 1 would run 0.50 mm into the shoulder.",)
    assert cut_list("12345", spec).warnings == ()


def test_unknown_angle_unconfirmed_and_restricted_tables_are_said_so() -> None:
    """What is not known is not passed over."""
    assert any(
        "from memory and not confirmed" in w for w in cut_list("33333", load_spec("Yale (from memory)")).warnings
    )
    assert any("angle is not known" in w for w in cut_list("33333", load_spec("Yale (from memory)")).warnings)
    assert any("restricted" in w for w in cut_list("333333", load_spec("Lighthouse 6")).warnings)


def test_shorter_key_uses_the_positions_nearest_the_gauge_point() -> None:
    """Five cuts of a table of five or six."""
    assert [row.position_mm for row in cut_list("33333", load_spec("Ferry 5 or 6")).rows] == pytest.approx(
        [5.1, 9.15, 13.2, 17.25, 21.3]
    )


def test_cut_file_reads_back_in_both_units() -> None:
    """Documented columns, decimal points, inch = mm / 25.4 to the last digit shown."""
    text = cut_list("12355", SPEC).csv()
    rows = list(csv.DictReader(io.StringIO(text, newline="")))

    assert tuple(rows[0]) == CSV_COLUMNS
    assert text.endswith("\r\n")
    for row in rows:
        assert float(row["root_in"]) == pytest.approx(float(row["root_mm"]) / 25.4, abs=5.1e-5)
        assert float(row["position_in"]) == pytest.approx(float(row["position_mm"]) / 25.4, abs=5.1e-5)
    assert [row["depth"] for row in rows] == list("12355")


def test_list_as_json_and_as_words() -> None:
    """Both carry the caution; the words carry inches beside millimetres."""
    listed = cut_list("12355", SPEC)

    written = json.loads(json.dumps(listed.to_json(), allow_nan=False))
    assert written["cuts"][0]["root_in"] == pytest.approx(7.7 / 25.4)
    assert written["caution"] == CAUTION
    text = listed.text()
    assert "\n  1      1    4.20 mm 0.1654 in  7.700 mm 0.3031 in\n" in text
    assert "depth key 5 (5.700 mm): cuts 4 (at 15.90 mm), 5 (at 19.80 mm)" in text
    assert text.endswith(CAUTION)


def test_code_that_is_none_of_the_tables_is_refused() -> None:
    """One sentence."""
    with pytest.raises(Refusal, match="depth '9' is not in table Harbourside 5"):
        cut_list("12359", SPEC)
