"""The stored job of this version on the bench: it shows what was stored, to the last digit, and gives its papers."""

from __future__ import annotations

import json
import shutil
from pathlib import Path

import pytest

from app.bench import Bench
from app.bench_check import check_work
from app.bench_paper import job_sheet_of, outline_mm, template_of
from keycore.job import JOB_VERSION
from keycore.jobfolder import load_job
from keycore.keyreading import from_decoding
from keycore.refusal import Refusal
from keycore.storeddecoding import decoding_to_json

STORED = Path(__file__).resolve().parents[1] / "keycore" / "jobs" / f"job-{JOB_VERSION}"


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    """A copy of the stored job."""
    return Path(shutil.copytree(STORED, tmp_path / "job"))


def test_opening_shows_what_was_stored_to_the_last_digit(folder: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Codes, probabilities, roots, scale and growth are those of the record, with no picture read and whatever the
    decoder has become: here it is one that would say something else."""
    record, _problems = load_job(folder)
    bench = Bench.open_job(folder)
    monkeypatch.setattr("keycore.decode.Decoder.decoding", lambda *_more: pytest.fail("decoded anew"))

    assert bench.problems == () and bench.decoding is not None and bench.is_current
    assert decoding_to_json(bench.decoding) == record.decoding
    shown = from_decoding("demo-scan.jpg", bench.decoding).to_json()
    assert shown["codes"] == (record.reading or {})["codes"] and shown["cuts"] == (record.reading or {})["cuts"]
    assert not bench.dirty
    bench.close()


def test_work_after_opening_does_not_move_the_code(folder: Path) -> None:
    """The window decodes once more for slider and strip; the code that is shown stays the stored one."""
    record, _problems = load_job(folder)
    bench = Bench.open_job(folder)
    work = bench.work()
    assert work is not None and work.to_read == () and bench.take(work.run())

    assert bench.decoding is not None and decoding_to_json(bench.decoding) == record.decoding
    bench.hold(0, "2")
    assert bench.decoding is not None and bench.decoding.cuts[0].depths["2"] > 0.999999
    bench.undo()
    assert decoding_to_json(bench.decoding) == record.decoding
    bench.close()


def test_saving_again_changes_nothing_that_was_stored(folder: Path) -> None:
    """Opened, given a note and saved, every other member reads as before."""
    before, _problems = load_job(folder)
    bench = Bench.open_job(folder)
    bench.set_notes("looked at again")
    bench.save()
    bench.close()
    after, problems = load_job(folder)

    assert problems == ()
    assert after.changed(notes=before.notes, program_version=before.program_version) == before


def test_stored_job_still_gives_its_papers(folder: Path) -> None:
    """Sheet and template are made from the record; the template shows the picture's own outline."""
    bench = Bench.open_job(folder, reading_only=True)
    decoding = bench.decoding

    assert decoding is not None and sum(len(line) for line in outline_mm(bench, decoding)) > 50
    assert job_sheet_of(bench).startswith(b"%PDF") and template_of(bench).startswith(b"%PDF")
    work = check_work(bench)
    assert work is not None and work.known is not None and work.run().found is not None


@pytest.mark.parametrize(
    ("member", "words"),
    [
        ("spec", "the depth table of job STORED-2"),
        ("readings", "Stored readings are damaged"),
        ("decoding", "The stored decoding is damaged"),
    ],
)
def test_damage_within_a_member_opens_the_rest_for_reading_only(folder: Path, member: str, words: str) -> None:
    """A table, readings or a decoding that are whole JSON but no longer make sense: said, and nothing is saved over."""
    file = folder / "job.json"
    record = json.loads(file.read_text(encoding="utf-8"))
    del record["checksum"]
    if member == "spec":
        record["spec"]["depths"] = []
    elif member == "readings":
        del record["pictures"][0]["readings"]["cuts"]
    else:
        record["decoding"]["codes"] = "none"
    file.write_text(json.dumps(record), encoding="utf-8")
    bench = Bench.open_job(folder)

    assert any(words in problem for problem in bench.problems), bench.problems
    assert bench.folder is None and bench.state.notes != "" and bench.state.entitlement.asked_by != ""
    bench.set_notes("x")
    assert not bench.save_if_dirty() and "open for reading only" in bench.save_error


def test_job_whose_picture_is_gone_still_shows_its_code(folder: Path) -> None:
    """The stored decoding is shown, for reading only, and no paper is made of what cannot be looked at."""
    record, _problems = load_job(folder)
    (folder / "demo-scan.jpg").unlink()
    bench = Bench.open_job(folder)

    assert "demo-scan.jpg of job folder job cannot be read" in bench.problems[0] and bench.folder is None
    assert bench.decoding is not None and decoding_to_json(bench.decoding) == record.decoding
    assert not bench.is_current and bench.strip == () and bench.work() is None
    with pytest.raises(Refusal, match="has no code yet"):
        job_sheet_of(bench)
