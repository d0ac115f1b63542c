"""Lists of jobs: finding, reminding, and two benches on one folder."""

from __future__ import annotations

import csv
import io
import os
import subprocess
import sys
import time
from collections.abc import Callable
from datetime import UTC, date, datetime, timedelta
from pathlib import Path

import pytest

from app.bench import Bench
from app.bench_jobs import COLUMNS, JobSearch, jobs_csv, jobs_in, reminder
from keycore.job import Entitlement, Job
from keycore.jobfolder import load_job, save_job
from keycore.joblock import LOCK, STALE_AFTER_S, take_lock
from keycore.refusal import Refusal
from keycore.spec import load_spec, spec_to_json
from tests.app.made import Reader, png
from tests.app.test_bench_keep import SEEN, read_job

TODAY = date(2026, 6, 1)
ROOT = Path(__file__).resolve().parents[2]


def kept(folder: Path, number: str, asked_by: str, table: str, day: int, **more: object) -> Path:
    """A job of the list."""
    job = Job(
        number=number,
        created=datetime(2026, 3, day, 9, tzinfo=UTC),
        program_version="0",
        entitlement=Entitlement(asked_by=asked_by),
        spec=spec_to_json(load_spec(table)),
    )
    save_job(folder / number, job.changed(**more))
    return folder / number


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    """Three jobs, a sealed one, a damaged one, and a folder that is none."""
    kept(tmp_path, "HB-1", "Orla Fenwright", "Harbourside 5", 4, state="read", keep_until=date(2026, 5, 1))
    kept(tmp_path, "HB-2", "=1+1 Ltd", "Slipway 7", 5, state="cut", keep_until=date(2026, 7, 1))
    kept(tmp_path, "LN-3", "Orla Quay", "Lantern 5", 9)
    (tmp_path / "0009.job.age").write_bytes(b"age-encryption.org/v1 ...")
    (tmp_path / "broken").mkdir()
    (tmp_path / "broken" / "job.json").write_text("{")
    (tmp_path / "papers").mkdir()
    return tmp_path


@pytest.mark.parametrize(
    ("search", "found"),
    [
        (JobSearch(), ["HB-1", "HB-2", "LN-3", "0009", ""]),
        (JobSearch(number="hb"), ["HB-1", "HB-2"]),
        (JobSearch(customer="orla"), ["HB-1", "LN-3"]),
        (JobSearch(table="slipway"), ["HB-2"]),
        (JobSearch(state="open"), ["LN-3"]),
        (JobSearch(state="sealed"), ["0009"]),
        (JobSearch(since=date(2026, 3, 5)), ["HB-2", "LN-3"]),
        (JobSearch(until=date(2026, 3, 5)), ["HB-1", "HB-2"]),
        (JobSearch(since=date(2026, 3, 5), until=date(2026, 3, 5)), ["HB-2"]),
        (JobSearch(due=True), ["HB-1"]),
        (JobSearch(words="2026-03-09"), ["LN-3"]),
        (JobSearch(customer="orla", state="read"), ["HB-1"]),
        (JobSearch(words="nobody"), []),
    ],
)
def test_jobs_are_found_by_number_customer_day_table_and_state(
    folder: Path, search: JobSearch, found: list[str]
) -> None:
    """Each by itself and together; large and small letters are one."""
    assert [row.number for row in jobs_in(folder, search, today=TODAY)] == found


def test_list_as_csv_has_its_documented_columns_and_runs_no_formula(folder: Path) -> None:
    """Read back, every column is there; a name that starts with "=" stays a name."""
    text = jobs_csv(jobs_in(folder, today=TODAY), today=TODAY)
    rows = list(csv.DictReader(io.StringIO(text, newline="")))

    assert tuple(rows[0]) == COLUMNS and text.count("\r\n") == 6
    assert [row["due"] for row in rows] == ["due", "", "", "", ""]
    assert rows[1]["asked_by"] == "'=1+1 Ltd"
    assert rows[4]["remark"].startswith("broken/job.json is damaged") and rows[3]["state"] == "sealed"


def test_record_reminds_from_its_day_on_and_not_before(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Kept until a day: silent the day before, a sentence on it; a new day silences it and is saved."""
    assert reminder(TODAY + timedelta(1), TODAY) == "" and reminder(None, TODAY) == ""
    assert reminder(TODAY, TODAY).startswith("This record was to be kept until 2026-06-01:")
    bench = Bench("K-1")
    bench.set_keep_until(date.today())
    bench.save(tmp_path / "job")
    bench.close()
    again = Bench.open_job(tmp_path / "job")
    assert "look whether it is still needed" in again.reminder
    again.set_keep_until(date.today() + timedelta(365))
    assert again.reminder == "" and again.undo_words == "set the reminder"
    again.save()
    again.close()


def test_list_says_who_has_a_job_open(folder: Path) -> None:
    """A fresh lock is named, a stale one is not."""
    lock = take_lock(folder / "HB-1", "Bench 2")
    assert [row.open_at.split(" on ")[0] for row in jobs_in(folder)] == ["Bench 2", "", "", "", ""]
    old = time.time() - STALE_AFTER_S - 60
    os.utime(folder / "HB-1" / LOCK, (old, old))
    assert [row.open_at for row in jobs_in(folder)] == [""] * 5
    lock.release()


def test_bench_that_slept_does_not_save_over_another(tmp_path: Path, allow_log: Callable[[str], None]) -> None:
    """Asleep so long that its lock was taken over, and the other saved and closed: the first is told, loses nothing."""
    allow_log("could not be saved")
    bench = Bench("K-1")
    bench.set_notes("begun")
    bench.save(tmp_path / "job")
    old = time.time() - STALE_AFTER_S - 60
    os.utime(tmp_path / "job" / LOCK, (old, old))
    code = (
        "import sys; from app.bench import Bench; bench = Bench.open_job(sys.argv[1])\n"
        "bench.set_notes('by the other'); bench.save(); bench.close()"
    )
    subprocess.run([sys.executable, "-c", code, str(tmp_path / "job")], cwd=ROOT, check=True, timeout=60)
    assert "is not this bench's any more" in bench.refresh_lock()
    bench.set_notes("by the first")

    assert not bench.save_if_dirty() and bench.dirty
    assert "was changed by another bench since it was opened here" in bench.save_error
    assert '"by the other"' in (tmp_path / "job" / "job.json").read_text(encoding="utf-8")
    bench.save(tmp_path / "mine")
    assert bench.folder == tmp_path / "mine" and not bench.dirty
    bench.close()


def test_copy_opened_for_reading_does_not_save_over_another(tmp_path: Path, allow_log: Callable[[str], None]) -> None:
    """Opened while another bench had the job, it may not be saved there once that one has saved and closed."""
    allow_log("could not be saved")
    bench = Bench("K-1")
    bench.save(tmp_path / "job")
    bench.close()
    lock = take_lock(tmp_path / "job", "Bench 2")
    second = Bench.open_job(tmp_path / "job")
    second.set_notes("by the second")
    with pytest.raises(Refusal, match="for reading only, so nothing was removed"):
        second.forget()
    save_job(tmp_path / "job", load_job(tmp_path / "job")[0].changed(notes="by the other"))
    lock.release()
    with pytest.raises(Refusal, match="changed by another bench"):
        second.save(tmp_path / "job")

    assert load_job(tmp_path / "job")[0].notes == "by the other"


def test_export_into_the_jobs_own_folder_is_no_change_by_another(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The next save goes through."""
    bench = read_job(monkeypatch)
    bench.set_entitlement(SEEN)
    bench.save(tmp_path / "job")
    bench.set_notes("exported")
    bench.export(tmp_path / "job")
    bench.set_notes("and changed again")

    assert bench.save_if_dirty() and load_job(tmp_path / "job")[0].notes == "and changed again"
    bench.close()


def test_refreshed_lock_keeps_a_job_that_lies_open_overnight(tmp_path: Path) -> None:
    """Refreshed, the lock is young again and nobody else gets the job."""
    bench = Bench("K-1")
    bench.save(tmp_path / "job")
    old = time.time() - STALE_AFTER_S + 5
    os.utime(tmp_path / "job" / LOCK, (old, old))
    assert bench.refresh_lock() == ""

    assert (tmp_path / "job" / LOCK).stat().st_mtime > old + 60
    with pytest.raises(Refusal, match="is open at"):
        take_lock(tmp_path / "job", "Bench 2")
    bench.close()
    assert Bench("K-2").refresh_lock() == ""


def test_reading_that_came_after_the_save_is_saved_too(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """The window saves before a picture is read; once it is read the job is dirty again, and its readings are kept."""
    monkeypatch.setattr("app.picture.read.read_picture", Reader())
    bench = Bench("K-1")
    bench.set_entitlement(SEEN)
    bench.set_spec("harbourside-5")
    bench.open_picture(png(), name="copy.png")
    bench.save(tmp_path / "job")
    assert not bench.dirty
    work = bench.work()
    assert work is not None and bench.take(work.run())

    assert bench.dirty and bench.save_if_dirty() and not bench.dirty
    assert '"readings/1"' in (tmp_path / "job" / "job.json").read_text(encoding="utf-8")
    bench.close()


def test_copy_for_teaching_is_marked_in_the_list(tmp_path: Path) -> None:
    """It has the number of the job that it was made of, so its remark tells them apart."""
    kept(tmp_path, "HB-1", "Orla Fenwright", "Harbourside 5", 4, removed=("code",))

    assert jobs_in(tmp_path)[0].remark == "copy for teaching without code"
