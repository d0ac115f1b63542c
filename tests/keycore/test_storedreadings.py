"""Stored readings come back to the last bit."""

from __future__ import annotations

import json
import math
from dataclasses import replace

import numpy as np
import pytest

from keycore.measured import CutReading, HeightEvidence, Measured, Readings, SizeReference
from keycore.refusal import Refusal
from keycore.storedreadings import readings_from_json, readings_to_json


def some_readings() -> Readings:
    """Two cuts, one with a whole likelihood, and one reference."""
    evidence = HeightEvidence(
        heights_px=np.linspace(90.0, 91.0, 4),
        growths_mm=np.array([0.1, 0.3]),
        log_likelihood=np.array([[-1 / 3, -math.inf, 0.1 + 0.2, 0.0], [0.0, -1.0, -2.0, -3.0]]),
    )
    return Readings(
        cuts=(CutReading(1 / 3, 0.1 + 0.2, 7.7, 0.3), CutReading(2.0, np.float64(0.5), edge=2, evidence=evidence)),
        references=(SizeReference("dpi", "both", 300.0, 1.0, 25.4, weak=True, used=False),),
        growth_mm=Measured(0.12, 0.03),
        medium="scan",
        warnings=("a warning",),
        tilt_sigma=1 / 700,
        centre_sigma_mm=0.02,
    )


def test_readings_read_back_to_the_last_bit() -> None:
    """Through JSON text and back nothing changes, an impossible height included."""
    first = some_readings()

    again = readings_from_json(json.loads(json.dumps(readings_to_json(first), allow_nan=False)))

    assert again.cuts[0] == first.cuts[0]
    assert (again.tilt_sigma, again.centre_sigma_mm) == (1 / 700, 0.02)
    assert (again.references, again.growth_mm, again.medium, again.warnings) == (
        first.references,
        first.growth_mm,
        first.medium,
        first.warnings,
    )
    mine, theirs = first.cuts[1].evidence, again.cuts[1].evidence
    assert mine is not None and theirs is not None
    for name in ("heights_px", "growths_mm", "log_likelihood"):
        assert np.array_equal(getattr(mine, name), getattr(theirs, name))


def test_other_ways_read_back_too_and_earlier_readings_have_none() -> None:
    """With their weights; stored readings without the two members are of one way."""
    first = some_readings()
    both = replace(first, others=(replace(first, log_weight=-1 / 3, medium="photocopy"),))
    stored = json.loads(json.dumps(readings_to_json(both)))

    again = readings_from_json(stored)
    del stored["others"], stored["log_weight"]

    (other,) = again.others
    assert (other.log_weight, other.medium, other.cuts[0]) == (-1 / 3, "photocopy", first.cuts[0])
    assert readings_from_json(stored).ways[0].cuts[0] == first.cuts[0]
    assert readings_from_json(stored).others == ()


def test_readings_stored_before_a_reader_told_of_its_back_line_have_the_usual_one() -> None:
    """The two members may be missing."""
    stored = readings_to_json(some_readings())
    del stored["tilt_sigma"], stored["centre_sigma_mm"]

    again = readings_from_json(stored)

    assert again.tilt_sigma is None and again.centre_sigma_mm is None


def test_damaged_readings_are_refused() -> None:
    """A missing member, a wrong shape and a foreign format each give a sentence."""
    stored = readings_to_json(some_readings())
    stored["cuts"][1]["evidence"]["growths_mm"].append(0.5)
    for bad in (stored, {"format": "readings/1"}, {"format": "readings/1", "cuts": 3, "growth_mm": None}):
        with pytest.raises(Refusal, match="damaged"):
            readings_from_json(bad)
    with pytest.raises(Refusal, match="readings/1"):
        readings_from_json({"format": "readings/2"})
