"""``valleygauge job``: listing, sealing, copies for teaching, forgetting."""

from __future__ import annotations

import csv
import io
import json
from pathlib import Path

import pytest

from keycore.jobfolder import load_job
from tests.app.made import CODE, Reader, png
from tests.app.test_commands_calls import run
from tests.app.test_commands_work import SEEN

WORDS = "heron lantern gravel spoon"


@pytest.fixture
def job(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A whole job in the folder jobs/0007."""
    monkeypatch.setattr("app.picture.read.read_picture", Reader())
    picture = tmp_path / "copy.png"
    picture.write_bytes(png())
    folder = tmp_path / "jobs" / "0007"
    assert run("read", picture, "--spec", "harbourside-5", "--job", folder, *SEEN)[0] == 0
    return folder


def test_jobs_are_listed_and_found_without_their_codes(job: Path) -> None:
    """By customer, table, number or date; plain, as JSON, or for a spreadsheet."""
    number = load_job(job)[0].number
    status, out, _err = run("job", "list", job.parent)

    assert status == 0 and number in out and "Orla Fenwright" in out and "-".join(CODE) not in out
    found = json.loads(run("job", "list", job.parent, "--find", "fenwright", "--state", "read", "--json")[1])
    assert (found["number"], found["table"], found["place"]) == (number, "Harbourside 5", "0007")
    rows = list(csv.DictReader(io.StringIO(run("job", "list", job.parent, "--csv")[1])))
    assert [row["asked_by"] for row in rows] == ["Orla Fenwright"]
    assert run("job", "list", job.parent, "--find", "nobody") == (0, "", f"There are no such jobs in {job.parent}.\n")


def test_a_damaged_job_is_listed_with_what_is_wrong(job: Path) -> None:
    """One bad record does not hide the others."""
    other = job.parent / "0008"
    other.mkdir()
    (other / "job.json").write_text("{")
    rows = [json.loads(line) for line in run("job", "list", job.parent, "--json")[1].splitlines()]

    assert [row["place"] for row in rows] == ["0007", "0008"]
    assert rows[1]["remark"].startswith("0008/job.json is damaged") and rows[0]["remark"] == ""


def test_a_sealed_job_opens_with_its_passphrase_only(job: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Nothing of the customer or the code can be read in the file, and it comes back whole."""
    sealed, again = job.parent / "0007.job.age", job.parent / "again"
    monkeypatch.setenv("VALLEYGAUGE_PASSPHRASE", WORDS)
    assert run("job", "seal", job, "--out", sealed)[0] == 0
    assert b"Fenwright" not in sealed.read_bytes()
    monkeypatch.setenv("VALLEYGAUGE_PASSPHRASE", "another one entirely")
    wrong = run("job", "unseal", sealed, "--out", again)
    assert wrong[0] == 1 and wrong[2].startswith("0007.job.age did not open:") and not again.exists()
    monkeypatch.setenv("VALLEYGAUGE_PASSPHRASE", WORDS)

    assert run("job", "unseal", sealed, "--out", again)[0] == 0
    assert load_job(again) == load_job(job)


def test_a_copy_for_teaching_has_no_customer(job: Path) -> None:
    """The copy keeps the code and says what was taken out; an unknown word is refused."""
    copy = job.parent / "teaching"
    assert run("job", "redact", job, "--without", "customer", "--out", copy)[0] == 0

    redacted = load_job(copy)[0]
    assert redacted.removed == ("customer",) and redacted.reading is not None
    assert "Fenwright" not in (copy / "job.json").read_text(encoding="utf-8")
    assert run("job", "redact", job, "--without", "address", "--out", job.parent / "x")[0] != 0


def test_a_forgotten_job_is_gone_and_what_was_exported_is_named(job: Path) -> None:
    """Record and pictures go; exports are the person's own and are told."""
    status, out, _err = run("job", "forget", job, "--yes")

    assert status == 0 and "Left in" in out and "annotated.png" in out
    assert not (job / "job.json").exists() and not (job / "copy.png").exists()
