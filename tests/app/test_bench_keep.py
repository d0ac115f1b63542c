"""Keeping a job: saving, opening again, exporting, and what may not leave without its entitlement."""

from __future__ import annotations

import json
import logging
import stat
import subprocess
import sys
from collections.abc import Callable
from datetime import UTC, datetime
from pathlib import Path

import pytest

from app.bench import Bench
from app.folders import jobs_folder
from keycore.job import Entitlement, HeldDepth
from keycore.jobfolder import load_job
from keycore.marks import ReferenceMark
from keycore.refusal import Refusal
from keycore.spec import KeySpec, load_spec
from tests.app.made import CODE, Reader, png

SPEC = load_spec("harbourside-5")
ROOT = Path(__file__).resolve().parents[2]
SEEN = Entitlement(
    asked_by="Orla Fenwright",
    proof_seen="executor's letter and passport",
    seen_by="T. Quill",
    seen_on=datetime(2026, 3, 4, 10, 30, tzinfo=UTC),
)


def read_job(monkeypatch: pytest.MonkeyPatch, spec: KeySpec = SPEC) -> Bench:
    """A job with a picture that was read."""
    monkeypatch.setattr("app.picture.read.read_picture", Reader())
    bench = Bench("T-1", now=datetime(2026, 3, 4, 9, 0, tzinfo=UTC))
    bench.set_spec(spec)
    bench.open_picture(png(), name="copy.png")
    work = bench.work()
    assert work is not None and bench.take(work.run())
    return bench


@pytest.fixture
def bench(monkeypatch: pytest.MonkeyPatch) -> Bench:
    """A job that was read, without entitlement."""
    return read_job(monkeypatch)


def texts_in(folder: Path) -> str:
    """Everything written in a folder, but the picture."""
    return "".join(path.read_text(encoding="utf-8") for path in folder.glob("*.json"))


@pytest.mark.parametrize(
    ("field", "missing"),
    [
        ("asked_by", "who asked for the key"),
        ("proof_seen", "what proof was seen"),
        ("seen_by", "who saw the proof"),
        ("seen_on", "when the proof was seen"),
    ],
)
def test_no_code_is_exported_without_every_part_of_the_entitlement(
    bench: Bench, tmp_path: Path, field: str, missing: str
) -> None:
    """One missing part is enough: nothing is written, and the sentence names it."""
    bench.set_entitlement(SEEN.model_copy(update={field: None if field == "seen_on" else " "}))
    with pytest.raises(Refusal) as refused:
        bench.export(tmp_path / "out")

    assert refused.value.sentence == (
        f"A code leaves the program only with its entitlement; still to be recorded: {missing}."
    )
    assert not (tmp_path / "out").exists()


def test_a_restricted_table_asks_for_the_authoritys_reference(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    """The four usual parts are not enough for a restricted table; with the reference the export is made."""
    bench = read_job(monkeypatch, SPEC.model_copy(update={"restricted": True}))
    bench.set_entitlement(SEEN)
    with pytest.raises(Refusal, match="the authority's reference for this restricted key"):
        bench.export(tmp_path / "out")
    bench.set_entitlement(authority_reference="AUTH-77")

    assert tmp_path / "out" / "job.json" in bench.export(tmp_path / "out")


def test_an_export_holds_code_and_entitlement_together(bench: Bench, tmp_path: Path) -> None:
    """With a full entitlement the record, the reading and the annotated picture are written, for their owner only."""
    bench.set_entitlement(SEEN)
    written = bench.export(tmp_path / "out")

    assert {path.name for path in written} >= {"job.json", "reading.json", "annotated.png", "annotated.svg"}
    job, problems = load_job(tmp_path / "out")
    assert problems == () and job.entitlement == SEEN and job.reading is not None
    reading = json.loads((tmp_path / "out" / "reading.json").read_text(encoding="utf-8"))
    assert reading["codes"][0]["code"] == list(CODE) and len(reading["codes"]) >= 10
    assert "Orla Fenwright" in (tmp_path / "out" / "annotated.svg").read_text(encoding="utf-8")
    assert {stat.S_IMODE(path.stat().st_mode) for path in written} == {0o600}


def test_a_job_without_code_is_not_exported(tmp_path: Path) -> None:
    """There must be something to export."""
    bench = Bench("T-1")
    bench.set_entitlement(SEEN)
    with pytest.raises(Refusal) as refused:
        bench.export(tmp_path / "out")

    assert refused.value.sentence == "There is no code to export yet. Read the picture first."


def test_a_save_without_entitlement_holds_no_code(bench: Bench, tmp_path: Path) -> None:
    """What the person did is kept (marks, holds); code and readings wait for the entitlement."""
    bench.hold(0, "3")
    bench.decide_code("3-1-2-5-4")
    bench.move_mark("shoulder", (61.0, 150.0))
    bench.save(tmp_path / "job")
    job, _problems = load_job(tmp_path / "job")

    assert (job.reading, job.decided_code, job.pictures[0].readings) == (None, None, None)
    assert job.holds.held == (HeldDepth(cut=1, depth="3"),)
    assert job.pictures[0].marks is not None and job.pictures[0].marks.shoulder == (61.0, 150.0)
    assert "3-1-2-5-4" not in texts_in(tmp_path / "job")


def test_a_saved_job_opens_as_it_was(bench: Bench, tmp_path: Path) -> None:
    """Everything that was set comes back, and the code to the last digit, without reading the picture again."""
    bench.set_entitlement(SEEN)
    bench.move_mark("root.1", (152.0, 110.0))
    bench.set_reference("dpi")
    bench.set_reference_mark(ReferenceMark(kind="length", corners=((10.0, 10.0), (110.0, 10.0)), length_mm=8.0))
    bench.turn_reference("dpi", False)
    bench.hold(0, "3")
    bench.rule_out(1, "0")
    bench.set_growth(0.12)
    bench.set_notes("by the door")
    work = bench.work()
    assert work is not None and bench.take(work.run())
    bench.save(tmp_path / "job")
    again = Bench.open_job(tmp_path / "job")

    work = again.work()
    assert again.problems == () and not again.dirty and work is not None and work.to_read == ()
    assert again.decoding is not None and bench.decoding is not None
    assert again.decoding.codes == bench.decoding.codes
    old, new = bench.state.pictures[0], again.state.pictures[0]
    assert (new.reference, new.reference_mark, new.turned_off, new.growth_mm, new.content) == (
        old.reference, old.reference_mark, old.turned_off, old.growth_mm, old.content,
    )  # fmt: skip
    assert (again.state.held, again.state.ruled_out, again.state.notes) == (
        bench.state.held,
        bench.state.ruled_out,
        "by the door",
    )


def test_a_failed_save_stays_dirty_and_says_so(bench: Bench, tmp_path: Path, allow_log: Callable[[str], None]) -> None:
    """A folder that cannot be written leaves the job unsaved, in words; the next try that succeeds makes it clean."""
    allow_log("could not be saved")
    (tmp_path / "file").write_text("in the way")
    bench.folder = tmp_path / "file" / "job"

    assert not bench.save_if_dirty()
    assert bench.dirty
    assert bench.save_error == (
        "The job could not be saved in job: Not a directory. Choose another folder or make room."
    )
    bench.folder = tmp_path / "job"
    assert bench.save_if_dirty()
    assert not bench.dirty and bench.save_error == ""


def test_a_clean_job_is_not_written_again(bench: Bench) -> None:
    """Autosave goes to the jobs folder, under the job's number, and only when something changed."""
    assert bench.save_if_dirty()
    assert bench.folder == jobs_folder() / "T-1"
    stamp = (bench.folder / "job.json").stat().st_mtime_ns
    assert bench.save_if_dirty()
    assert (bench.folder / "job.json").stat().st_mtime_ns == stamp
    bench.show_picture(0)
    assert not bench.dirty
    bench.set_notes("x")
    assert bench.dirty
    bench.undo()
    assert not bench.dirty


def test_an_empty_job_is_never_saved_by_itself() -> None:
    """Opening the window and closing it leaves nothing behind."""
    assert Bench("T-9").save_if_dirty()
    assert not jobs_folder().exists()


def test_a_damaged_job_opens_for_reading_only(bench: Bench, tmp_path: Path) -> None:
    """What is damaged is said, the rest opens, and nothing is saved over it."""
    bench.set_entitlement(SEEN)
    bench.save(tmp_path / "job")
    (tmp_path / "job" / "copy.png").write_bytes(png(77))
    again = Bench.open_job(tmp_path / "job")

    assert again.problems == (
        "Picture copy.png of job folder job is not the one that was read: its SHA-256 has changed.",
    )
    assert again.state.entitlement == SEEN
    again.set_notes("x")
    assert not again.save_if_dirty() and again.dirty
    assert again.save_error.endswith("The job is open for reading only; save it in another folder.")


def test_the_log_holds_neither_code_nor_customer(
    bench: Bench, tmp_path: Path, caplog: pytest.LogCaptureFixture
) -> None:
    """At its most talkative the log speaks of the job's number only."""
    caplog.set_level(logging.DEBUG)
    bench.set_entitlement(SEEN)
    bench.set_notes("for Orla Fenwright")
    bench.decide_code("3-1-2-5-4")
    bench.export(tmp_path / "out")

    ours = [record.getMessage() for record in caplog.records if record.name.startswith(("app", "keycore"))]
    assert any("T-1" in line for line in ours)
    assert not any(word in line for line in ours for word in ("3-1-2-5-4", "Orla", "passport", "Quill"))


def test_a_job_that_another_bench_has_open_is_for_reading_only(bench: Bench, tmp_path: Path) -> None:
    """While one program has a job, another opens it for reading and says who has it; afterwards it is free."""
    bench.set_entitlement(SEEN)
    bench.save(tmp_path / "job")
    code = (
        "import sys; from app.bench import Bench; bench = Bench.open_job(sys.argv[1]); bench.set_notes('x')\n"
        "print(bench.problems, bench.save_if_dirty())"
    )
    call = [sys.executable, "-c", code, str(tmp_path / "job")]
    held = subprocess.run(call, cwd=ROOT, capture_output=True, text=True, timeout=60)
    bench.close()
    free = subprocess.run(call, cwd=ROOT, capture_output=True, text=True, timeout=60)

    assert "open" in held.stdout and held.stdout.endswith("False\n"), held.stderr
    assert free.stdout == "() True\n", free.stderr
    assert not (tmp_path / "job" / "job.lock").exists()


def test_one_job_is_never_saved_over_another(bench: Bench, tmp_path: Path, allow_log: Callable[[str], None]) -> None:
    """Two jobs with one number get two folders; a folder of another job is refused by name."""
    allow_log("could not be saved")
    assert bench.save().name == "T-1"
    other = Bench("T-1", now=datetime(2026, 3, 5, tzinfo=UTC))
    other.set_notes("another key")

    assert other.save().name == "T-1-2"
    with pytest.raises(Refusal) as refused:
        other.save(jobs_folder() / "T-1")
    assert refused.value.sentence == ("Folder T-1 holds job T-1 already, which is another job; choose another folder.")
    assert load_job(jobs_folder() / "T-1")[0].notes == ""


def test_a_number_cannot_lead_out_of_the_jobs_folder() -> None:
    """A job's number becomes a plain folder name."""
    bench = Bench("T-3")
    bench.set_number("../../etc/7 b")

    assert bench.save() == jobs_folder() / "etc-7-b"


def test_an_export_does_not_move_the_job(bench: Bench, tmp_path: Path) -> None:
    """The job goes on being kept where it was, and an export is a copy."""
    bench.set_entitlement(SEEN)
    bench.save(tmp_path / "job")
    bench.set_notes("later")
    bench.export(tmp_path / "copy")

    assert bench.folder == tmp_path / "job" and bench.dirty
    assert load_job(tmp_path / "copy")[0].notes == "later" and load_job(tmp_path / "job")[0].notes == ""
    assert not (tmp_path / "copy" / "job.lock").exists()


def test_a_picture_never_gets_the_file_name_of_one_that_was_taken_out(bench: Bench, tmp_path: Path) -> None:
    """Another of the same name is saved beside it, in this sitting and after opening again."""
    bench.open_picture(png(120), name="pasted.png")
    bench.save(tmp_path / "job")
    bench.remove_picture(len(bench.state.pictures) - 1)
    bench.open_picture(png(121), name="pasted.png")
    bench.save()
    bench.remove_picture(len(bench.state.pictures) - 1)
    bench.save()
    bench.close()
    again = Bench.open_job(tmp_path / "job")
    again.open_picture(png(122), name="pasted.png")
    again.save()
    again.close()

    assert Bench.open_job(tmp_path / "job").problems == ()
    assert again.state.pictures[-1].file == "pasted-3.png"
