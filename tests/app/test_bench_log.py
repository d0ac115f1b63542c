"""The log: it rotates, is its owner's only, never holds a code or a customer, and forgets."""

from __future__ import annotations

import logging
import os
import stat
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest

from app import bench_log
from app.bench import Bench
from app.folders import log_folder
from keycore.refusal import Refusal
from tests.app.made import CODE, png
from tests.app.test_bench_keep import SEEN, read_job
from tests.app.test_commands_calls import run
from tests.app.test_commands_work import SEEN as SEEN_OPTIONS


@pytest.fixture
def log() -> Iterator[Path]:
    """The log, running."""
    file = bench_log.start_log()
    assert file is not None
    yield file
    bench_log.stop_log()


def all_logs() -> str:
    """Everything in every log file."""
    return "".join(path.read_text(encoding="utf-8") for path in log_folder().iterdir())


def test_log_never_holds_a_code_or_a_customer(
    log: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, allow_log: Callable[[str], None]
) -> None:
    """A whole job on the bench and on the command line, with refusals, a failed save and a fault whose message quotes
    both: the log tells what was done, and none of it."""
    allow_log(".*")
    bench = read_job(monkeypatch)
    bench.set_entitlement(SEEN)
    bench.set_notes("for Orla Fenwright")
    bench.decide_code("-".join(CODE))
    bench.export(tmp_path / "out")
    bench.save(tmp_path / "Fenwright")
    (tmp_path / "in-the-way").write_text("x")
    with pytest.raises(Refusal):
        bench.save(tmp_path / "in-the-way" / "Fenwright")
    bench.close()
    picture = tmp_path / "Fenwright.png"
    picture.write_bytes(png())
    run("read", picture, "--spec", "harbourside-5", "--job", tmp_path / "Fenwright-2", *SEEN_OPTIONS)
    run("read", tmp_path / "Fenwright-gone.png", "--spec", "harbourside-5")
    run("check", "--spec", "harbourside-5", "--code", "-".join(CODE), "--roots", "1", "2")
    monkeypatch.setattr("keycore.cutting.cut_list", broken)
    assert run("cutlist", "--spec", "harbourside-5", "--code", "-".join(CODE))[0] == 1
    try:
        broken()
    except ValueError:
        logging.getLogger("app.anything").exception("fault")
    logging.getLogger("PIL").error("Fenwright.png, 3-1-2-5-4")

    text = all_logs()
    for told in (
        "job T-1 exported",
        "could not be saved (",
        "command read",
        "refused: ",
        "ValueError",
        "test_bench_log",
    ):
        assert told in text, told
    for word in ("Fenwright", "Orla", "passport", "Quill", "-".join(CODE), "".join(CODE), ", ".join(CODE)):
        assert word not in text


def broken(*_more: object, **_names: object) -> None:
    """A fault whose message quotes what the log may not hold."""
    raise ValueError(f"the key of Orla Fenwright is {'-'.join(CODE)}")


def test_log_rotates_and_is_its_owners_only(log: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """It never grows past its size, old ones are let go, and all of them are 0600 whatever the umask."""
    monkeypatch.setattr(bench_log, "LARGEST_BYTES", 2000)
    before = os.umask(0)
    try:
        bench_log.start_log()
        for index in range(400):
            bench_log.note(f"line {index}")
    finally:
        os.umask(before)
    files = list(log_folder().iterdir())

    assert len(files) == 1 + bench_log.OLD_FILES and all(path.stat().st_size <= 2000 for path in files)
    assert {stat.S_IMODE(path.stat().st_mode) for path in files} == {0o600}
    assert "line 399" in log.read_text(encoding="utf-8")


def test_forgotten_job_is_forgotten_by_the_log_too(log: Path, monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    """Its lines go, those of a job whose number begins alike stay, and the log goes on."""
    first, second = Bench("T-1"), Bench("T-10")
    first.save(tmp_path / "one")
    second.save(tmp_path / "two")
    assert "job T-1 saved" in all_logs()
    first.forget()
    bench_log.note("still running")
    second.close()

    text = all_logs()
    assert "job T-1 " not in text and "job T-10 saved" in text and "still running" in text
    assert not (tmp_path / "one").exists()


def test_program_works_where_no_log_can_be_written(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    """A file in the way of the folder costs the log, nothing else."""
    monkeypatch.setenv("VALLEYGAUGE_HOME", str(tmp_path / "file"))
    (tmp_path / "file").write_text("in the way")

    assert bench_log.start_log() is None
    bench_log.note("nobody hears this")


def test_lines_are_plain_and_one_each(log: Path) -> None:
    """A line break in words makes no second line."""
    bench_log.note("one\ntwo")

    assert log.read_text(encoding="utf-8").splitlines()[-1].endswith("INFO app.bench_log: one two")
