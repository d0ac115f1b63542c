"""A sealed job on the bench: saved and autosaved sealed, and nothing of it anywhere in the clear."""

from __future__ import annotations

import os
import stat
import subprocess
import sys
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest

from app import bench_log
from app.bench import Bench
from app.bench_sealed import sealed_files
from app.folders import jobs_folder, log_folder
from app.sealing import autosave_of, load_sealed, save_sealed
from keycore.job import TrialDone
from keycore.refusal import Refusal
from tests.app.made import CODE, quick_age
from tests.app.test_bench_keep import SEEN, read_job

WORDS = "heron lantern gravel spoon"
SECRETS = (b"Fenwright", b"executor's letter", b"T. Quill", b"Slipway", b"by the blue door", b"copy.png",
           b"\x89PNG\r\n\x1a\n", b"IHDR", "-".join(CODE).encode(), b'"3", "1", "2", "5", "4"', b"3\",\n",
           b"root_px", b"keyreading")  # fmt: skip
"""None shorter than four bytes: three stand in a hundred thousand sealed ones by chance once in 170 times."""


@pytest.fixture
def home(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[Path]:
    """All folders of the program under one, and its log running."""
    monkeypatch.setenv("VALLEYGAUGE_HOME", str(tmp_path / "home"))
    monkeypatch.setattr("tempfile.tempdir", str(tmp_path / "home"))
    bench_log.start_log()
    yield tmp_path / "home"
    bench_log.stop_log()


@pytest.fixture
def quick(monkeypatch: pytest.MonkeyPatch) -> None:
    """Passphrases without their second; the tests that search for what lies in the clear use the real ones."""
    library = quick_age()
    monkeypatch.setattr("app.sealing._pyrage", lambda: library)


@pytest.fixture
def job(home: Path, monkeypatch: pytest.MonkeyPatch) -> Bench:
    """A whole job, not saved anywhere yet."""
    bench = read_job(monkeypatch)
    bench.set_entitlement(SEEN.model_copy(update={"address": "2 Slipway, Invented Quay"}))
    bench.set_notes("by the blue door")
    bench.decide_code("-".join(CODE))
    return bench


def in_the_clear(folder: Path) -> list[str]:
    """Every secret that can be read in any file, or any file's name, under a folder."""
    found = []
    for path in folder.rglob("*"):
        content = path.read_bytes() if path.is_file() else b""
        found += [f"{path.name}: {word!r}" for word in SECRETS if word in content or word in path.name.encode()]
    return found


def test_search_finds_each_secret_of_a_job_in_the_clear(job: Bench, home: Path) -> None:
    """Saved in a folder, the same job is found by the same search, so the tests below cannot pass by blindness."""
    job.save()

    found = " ".join(in_the_clear(home))
    for word in ("Fenwright", "Quill", "Slipway", "blue door", "copy.png", "PNG", "IHDR", "root_px", "keyreading"):
        assert word in found


def test_nothing_of_a_sealed_job_is_ever_in_the_clear(job: Bench, home: Path, allow_log: Callable[[str], None]) -> None:
    """Sealed, changed, autosaved, closed, opened, changed again: at each step every file that the program keeps is
    searched for the customer, the code, the picture and its name."""
    allow_log("could not be saved")
    file = jobs_folder() / "0007.job.age"
    job.seal(file, WORDS)
    steps = [in_the_clear(home)]
    job.set_notes("by the blue door, again")
    job.hold(0, "3")
    assert job.save_if_dirty() and not job.dirty and autosave_of(file).exists()
    steps.append(in_the_clear(home))
    job.close()
    assert not autosave_of(file).exists()
    steps.append(in_the_clear(home))
    again = Bench.open_sealed(file, WORDS)
    again.move_mark("shoulder", (61.0, 150.0))
    again.add_trial(TrialDone(blank=1, code=CODE, opened=True, note="for Orla Fenwright"))
    assert again.save_if_dirty()
    steps.append(in_the_clear(home))
    with pytest.raises(Refusal, match="unseal it first"):
        again.save(home / "jobs" / "clear")
    again.close()
    steps.append(in_the_clear(home))

    assert steps == [[]] * 5
    assert [path.name for path in jobs_folder().iterdir()] == ["0007.job.age"]
    assert (log_folder() / bench_log.FILE).read_text(encoding="utf-8").count("job (sealed) saved") >= 2
    last = load_sealed(file, WORDS)
    assert last.job.notes == "by the blue door, again" and len(last.job.trials) == 1
    assert stat.S_IMODE(file.stat().st_mode) == 0o600


@pytest.mark.usefixtures("quick")
def test_sealing_a_kept_job_takes_its_folder_away(job: Bench, home: Path) -> None:
    """Record, previous state, picture, lock and log lines are gone; what else lies in the folder is named."""
    folder = job.save()
    job.set_notes("by the blue door, later")
    job.save()
    (folder / "scribble.txt").write_text("the locksmith's own")
    left = job.seal(home / "sealed" / "0007.job.age", WORDS)

    assert left == ("scribble.txt",) and [path.name for path in folder.iterdir()] == ["scribble.txt"]
    assert in_the_clear(home) == []
    assert "T-1" not in (log_folder() / bench_log.FILE).read_text(encoding="utf-8")
    job.close()


def test_autosave_is_what_opens_after_a_crash(job: Bench, home: Path) -> None:
    """The process ends at once after an autosave: the next opening has the change, and the sealed file was whole."""
    file = home / "0007.job.age"
    job.seal(file, WORDS)
    job.close()
    code = (
        "import os, sys; from app.bench import Bench\n"
        "bench = Bench.open_sealed(sys.argv[1], sys.argv[2]); bench.set_notes('saved before the crash')\n"
        "assert bench.save_if_dirty(); bench.set_notes('never saved'); os._exit(9)"
    )
    call = [sys.executable, "-c", code, str(file), WORDS]
    assert subprocess.run(call, cwd=Path(__file__).resolve().parents[2], timeout=60).returncode == 9

    assert autosave_of(file).exists()
    again = Bench.open_sealed(file, WORDS)
    assert again.problems == () and again.state.notes == "saved before the crash"
    assert again.decoding is not None and again.decoding.code == CODE
    again.close()


@pytest.mark.usefixtures("quick")
def test_damaged_or_foreign_autosave_leaves_the_whole_save(job: Bench, home: Path) -> None:
    """An autosave cut short, or one that belongs to another sealing, is passed over."""
    file = home / "0007.job.age"
    job.seal(file, WORDS)
    job.set_notes("autosaved")
    job.save()
    state = load_sealed(file, WORDS)
    assert state.job.notes == "autosaved"
    whole = autosave_of(file).read_bytes()
    autosave_of(file).write_bytes(whole[: len(whole) // 2])
    assert load_sealed(file, WORDS).job.notes == "by the blue door"
    other = home / "other.job.age"
    save_sealed(other, state.job.changed(notes="another sealing"), state.pictures, WORDS)
    autosave_of(other).write_bytes(whole)
    assert load_sealed(other, WORDS).job.notes == "another sealing"
    job.close()


@pytest.mark.usefixtures("quick")
def test_second_bench_opens_a_sealed_job_for_reading_only(
    job: Bench, home: Path, allow_log: Callable[[str], None]
) -> None:
    """It says who has it, saves nothing, and above all nothing in the clear."""
    allow_log("could not be saved")
    file = home / "0007.job.age"
    job.seal(file, WORDS)
    assert job.refresh_lock() == ""
    second = Bench.open_sealed(file, WORDS)
    second.set_notes("by the blue door, second")

    assert "Sealed job 0007.job.age is open at" in second.problems[0]
    assert not second.save_if_dirty()
    with pytest.raises(Refusal, match="open for reading only"):
        second.save()
    assert in_the_clear(home) == []
    job.close()


@pytest.mark.usefixtures("quick")
def test_wrong_passphrase_and_a_sealed_file_as_a_folder_are_told(job: Bench, home: Path) -> None:
    """Two sentences."""
    file = home / "0007.job.age"
    job.seal(file, WORDS)
    job.close()
    with pytest.raises(Refusal, match="the passphrase is another one"):
        Bench.open_sealed(file, "another one entirely")
    with pytest.raises(Refusal, match="opens with its passphrase"):
        Bench.open_job(file)
    assert sealed_files(home) == (file,)


@pytest.mark.usefixtures("quick")
def test_unsealing_and_forgetting_leave_no_sealed_file(job: Bench, home: Path) -> None:
    """Unsealed, the job goes on in a folder; forgotten, nothing of it is left but what others put there."""
    file = home / "0007.job.age"
    job.seal(file, WORDS)
    folder = job.unseal(home / "clear")
    assert not file.exists() and (folder / "job.json").is_file() and job.home == folder
    job.seal(file, WORDS)
    job.forget()

    assert not folder.exists() and not file.exists()
    assert in_the_clear(home) == [] and not job.dirty


@pytest.mark.skipif(os.name != "posix", reason="the mode of a file is a Unix thing")
@pytest.mark.usefixtures("quick")
def test_autosaves_are_their_owners_only(job: Bench, home: Path) -> None:
    """0600, like the sealed file."""
    file = home / "0007.job.age"
    job.seal(file, WORDS)
    job.set_notes("x")
    job.save()

    assert stat.S_IMODE(autosave_of(file).stat().st_mode) == 0o600
    job.close()
