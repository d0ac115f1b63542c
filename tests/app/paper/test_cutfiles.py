"""Cut files: documented columns, dot decimals, mm and inch, and who is entitled."""

from __future__ import annotations

import csv
import io
import json

import pytest

from app.paper.cutfiles import JOB_COLUMNS, cut_csv, cut_json
from keycore.cutting import CSV_COLUMNS, cut_list
from keycore.job import Entitlement
from keycore.refusal import Refusal
from tests.app.paper.made import CODE, SEEN, SPEC


def test_csv_has_its_documented_columns_and_the_entitlement_in_every_row():
    """Read back, each row has the cut in mm and inch (25.4 mm) and says who asked and who saw what."""
    rows = list(csv.DictReader(io.StringIO(cut_csv(cut_list(CODE, SPEC), SEEN, "T-1"), newline="")))

    assert tuple(rows[0]) == (*CSV_COLUMNS, *JOB_COLUMNS) and len(rows) == 5
    for row, label, position in zip(rows, CODE, SPEC.cut_positions_mm, strict=True):
        assert float(row["root_mm"]) == pytest.approx(SPEC.root_of(label))
        assert float(row["position_in"]) * 25.4 == pytest.approx(position, abs=0.0013)
        assert (row["job"], row["asked_by"], row["seen_on"]) == ("T-1", SEEN.asked_by, "2026-01-15T10:30:00")


def test_json_carries_cuts_and_entitlement():
    """The JSON form is whole, with the entitlement (but no address) and the cautions."""
    content = json.loads(cut_json(cut_list(CODE, SPEC), SEEN.model_copy(update={"address": "1 Quay"}), "T-1"))

    assert content["code"] == list(CODE) and content["job"] == "T-1" and content["cautions"]
    assert content["entitlement"]["asked_by"] == SEEN.asked_by and "address" not in content["entitlement"]


def test_no_cut_file_without_entitlement():
    """A cut file is a code: it is refused until the entitlement is whole."""
    for make in (cut_csv, cut_json):
        with pytest.raises(Refusal, match="what proof was seen"):
            make(cut_list(CODE, SPEC), Entitlement(asked_by="A"), "T-1")


def test_words_that_look_like_formulas_stay_words():
    """A name that starts with "=" is not run by a spreadsheet."""
    seen = SEEN.model_copy(update={"asked_by": "=1+1"})

    assert "'=1+1" in cut_csv(cut_list(CODE, SPEC), seen, "T-1")
