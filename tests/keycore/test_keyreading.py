"""keyreading/1 as it is printed."""

from __future__ import annotations

import json

import pytest
from pydantic import ValidationError

from keycore.decode import decode
from keycore.keyreading import KeyReading, from_decoding
from keycore.marks import Marks
from tests.keycore.tables import INDEPENDENT, readings_of, spec_of


def test_a_reading_has_every_member_of_the_format():
    """One line of JSON that holds at least the ten likeliest codes, cuts bow to tip, scale, growth and verdict."""
    spec = spec_of()
    reading = from_decoding("a.png", decode(readings_of(spec, "0213"), spec), Marks(shoulder=(1.0, 2.0)))
    line = json.loads(reading.line())

    assert line["format"] == "keyreading/1" and line["picture"] == "a.png" and line["spec"] == "Test 4"
    assert len(line["codes"]) == 10 and line["codes"][0]["code"] == ["0", "2", "1", "3"]
    probabilities = [row["probability"] for row in line["codes"]]
    assert probabilities == sorted(probabilities, reverse=True) and sum(probabilities) <= 1
    assert {"root_mm", "sigma_mm", "depth", "probability", "margin_mm", "depths"} <= set(line["cuts"][0])
    assert [cut["depth"] for cut in line["cuts"]] == ["0", "2", "1", "3"] and "edge" not in line["cuts"][0]
    assert {"px_per_mm_along", "px_per_mm_across", "sigma_rel", "references"} == set(line["scale"])
    assert line["verdict"] in {"sure", "check", "unsure"} and isinstance(line["warnings"], list)
    assert line["growth_sigma_mm"] > 0 and line["marks"]["shoulder"] == [1.0, 2.0]
    assert "\n" not in reading.line() and reading.to_json() == line
    assert KeyReading.model_validate(line) == reading


def test_independent_edges_are_two_lists_and_cuts_name_their_edge():
    """Edge 1, then edge 2."""
    spec = spec_of(**INDEPENDENT)
    line = from_decoding("e.png", decode(readings_of(spec, "1320"), spec)).to_json()

    assert line["codes"][0]["code"] == [["1", "3"], ["2", "0"]]
    assert [cut["edge"] for cut in line["cuts"]] == [1, 1, 2, 2]


def test_a_picture_that_cannot_be_read_is_three_members():
    """Format, picture, error."""
    assert KeyReading.from_error("a.png", "No key.").to_json() == {
        "format": "keyreading/1",
        "picture": "a.png",
        "error": "No key.",
    }


def test_strangers_and_impossible_numbers_are_refused():
    """A probability above 1, a member that nobody knows."""
    with pytest.raises(ValidationError):
        KeyReading.model_validate({"picture": "a", "codes": [{"code": ["1"], "probability": 1.2}]})
    with pytest.raises(ValidationError):
        KeyReading.model_validate({"picture": "a", "sure": True})
