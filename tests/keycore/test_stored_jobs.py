"""Jobs stored by earlier versions open in this one, with the same code to the last digit.

A folder ``jobs/job-N`` is made once, by the version that brought job/N, and is never made again.
"""

from __future__ import annotations

import hashlib
from pathlib import Path

import pytest

from keycore.decode import decode
from keycore.holds import Holds
from keycore.jobfolder import load_job, read_picture
from keycore.spec import parse_spec
from keycore.storedreadings import readings_from_json

JOBS = Path(__file__).parent / "jobs"
STORED_PROBABILITY = 0.9845453283669702


def test_job_of_the_first_version_opens_whole() -> None:
    """Every member says what it said when it was stored; no problem is found; the picture is untouched."""
    job, problems = load_job(JOBS / "job-1")

    assert problems == ()
    assert (job.number, job.state, job.decided_code) == ("HB-0001", "read", ("1", "2", "3", "5", "5"))
    assert job.created.isoformat() == "2026-03-04T09:12:33.250000+00:00"
    assert job.missing_for_export() == ()
    picture = job.pictures[0]
    assert picture.marks is not None
    assert picture.marks.shoulder == (101.25, 212.5)
    assert picture.straight is not None
    assert picture.straight.to_picture[0][2] == 1 / 3
    assert hashlib.sha256(read_picture(JOBS / "job-1", picture)).hexdigest() == picture.sha256


def test_stored_reading_gives_the_same_code_to_the_last_digit() -> None:
    """The probability that was shown then is the one that is shown now."""
    job, _ = load_job(JOBS / "job-1")

    assert job.reading is not None
    codes = job.reading["codes"]
    assert isinstance(codes, list)
    assert len(codes) >= 10
    assert codes[0] == {"code": ["1", "2", "3", "5", "5"], "probability": STORED_PROBABILITY}


def test_decoding_the_stored_readings_anew_gives_the_stored_code() -> None:
    """Table, readings and holds in the record are all that decoding needs; a better decoder may move it a little."""
    job, _ = load_job(JOBS / "job-1")
    assert job.spec is not None
    held, ruled_out = job.holds.indexes()
    readings = [readings_from_json(picture.readings) for picture in job.pictures if picture.readings is not None]

    decoding = decode(readings, parse_spec(job.spec), Holds(held, ruled_out))

    assert decoding.codes[0].code == job.decided_code
    assert decoding.codes[0].probability == pytest.approx(STORED_PROBABILITY, abs=0.05)
