"""Codes as people write them."""

from __future__ import annotations

import pytest

from keycore.refusal import Refusal
from keycore.spec import code_to_json, format_code, macs_break, parse_code
from tests.keycore.tables import INDEPENDENT, spec_of


@pytest.mark.parametrize("text", ["3-1-2-0", "3 1 2 0", "3,1,2,0", "3120", " 3-1-2-0 "])
def test_one_code_in_many_hands(text):
    """Dashes, blanks, commas, or nothing between single characters."""
    assert parse_code(text, spec_of()) == ("3", "1", "2", "0")


def test_labels_of_several_characters_need_something_between():
    """Labels 10 and 11 are not read as 1 0 1 1."""
    depths = [{"label": str(10 + index), "root": 8.0 - 0.4 * index} for index in range(5)]
    spec = spec_of(depths=depths)

    assert parse_code("13-11-12-10", spec) == ("13", "11", "12", "10")
    with pytest.raises(Refusal):
        parse_code("13111210", spec)


def test_independent_edges_are_two_lists():
    """A stroke parts them; without one they are shared out half and half; JSON holds two lists."""
    spec = spec_of(**INDEPENDENT)
    code = ("3", "1", "2", "2")

    assert parse_code("3-1 / 2-2", spec) == code == parse_code("3-1-2-2", spec)
    assert format_code(code, spec) == "3-1 / 2-2"
    assert code_to_json(code, spec) == [["3", "1"], ["2", "2"]]
    with pytest.raises(Refusal, match="parted by a stroke"):
        parse_code("3 / 1 / 2", spec)


def test_no_step_is_counted_across_two_edges():
    """The last cut of one edge and the first of the other are no neighbours."""
    spec = spec_of(**INDEPENDENT)

    assert macs_break(("1", "3", "0", "2"), spec) is None
    assert macs_break(("0", "3", "0", "2"), spec) == (1, 2, 3)


@pytest.mark.parametrize(
    ("text", "words"),
    [
        ("3-1-2", "has 4 cuts"),
        ("3-1-2-9", "Cut 4: depth '9' is not in table"),
        ("4-0-1-2", 'Cuts 1 and 2 of "4-0-1-2" are 4 steps apart'),
        ("", "has 4 cuts"),
    ],
)
def test_a_wrong_code_is_refused_in_one_sentence(text, words):
    """Count, label and step."""
    with pytest.raises(Refusal, match=words):
        parse_code(text, spec_of())
