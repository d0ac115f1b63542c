"""Two benches on one folder: one at a time, with the other's name, and a dead bench blocks nobody."""

from __future__ import annotations

import json
import os
import subprocess
import sys
import threading
from pathlib import Path

import pytest

from keycore import joblock
from keycore.joblock import LOCK, STALE_AFTER_S, JobLock, holder_of, take_lock
from keycore.refusal import Refusal


def left_behind(folder: Path, **members: object) -> None:
    """A lock file as another bench would have written it."""
    record = {"holder": "Bench 2", "computer": "elsewhere", "process": 7, "since": "2026-01-01", "token": "abc"}
    (folder / LOCK).write_text(json.dumps({**record, **members}))


def grow_old(folder: Path, seconds: float) -> None:
    """As if nobody had touched the lock for so long."""
    then = (folder / LOCK).stat().st_mtime - seconds
    os.utime(folder / LOCK, (then, then))


def test_second_bench_is_told_who_has_the_job(tmp_path: Path) -> None:
    """By name; and may have it once the first has let go."""
    with take_lock(tmp_path, "Bench 1"):
        with pytest.raises(Refusal, match=r"is open at Bench 1 on .* since .*; close it there"):
            take_lock(tmp_path, "Bench 2")
    assert holder_of(tmp_path) is None
    with take_lock(tmp_path, "Bench 2") as lock:
        assert lock.took_over_from is None
    assert list(tmp_path.iterdir()) == []


def test_bench_that_is_alive_elsewhere_keeps_its_lock(tmp_path: Path) -> None:
    """A short silence is no death."""
    left_behind(tmp_path)
    grow_old(tmp_path, STALE_AFTER_S - 60)

    with pytest.raises(Refusal, match="open at Bench 2 on elsewhere"):
        take_lock(tmp_path, "Bench 1")


def test_silent_bench_is_taken_over_and_named(tmp_path: Path) -> None:
    """After long silence, wherever it was."""
    left_behind(tmp_path)
    grow_old(tmp_path, STALE_AFTER_S + 60)

    lock = take_lock(tmp_path, "Bench 1")

    assert lock.took_over_from == "Bench 2"
    assert lock.still_held()


@pytest.mark.skipif(os.name != "posix", reason="only there can a process be asked for")
def test_bench_whose_process_has_ended_here_is_taken_over_at_once(tmp_path: Path) -> None:
    """A crash does not cost ten minutes."""
    ended = subprocess.run(
        [
            sys.executable,
            "-c",
            f"from keycore.joblock import take_lock; import os; take_lock({str(tmp_path)!r}, 'Bench 2'); os._exit(1)",
        ],
        check=False,
        cwd=Path(joblock.__file__).parent.parent,
    )
    assert ended.returncode == 1
    assert (tmp_path / LOCK).exists()

    assert take_lock(tmp_path, "Bench 1").took_over_from == "Bench 2"


def test_refreshed_lock_does_not_grow_old(tmp_path: Path) -> None:
    """A bench left open overnight keeps its job."""
    lock = take_lock(tmp_path, "Bench 1")
    grow_old(tmp_path, STALE_AFTER_S + 60)
    lock.refresh()

    holder = holder_of(tmp_path)
    assert holder is not None
    assert not holder.is_stale


def test_lost_lock_is_noticed_before_a_save_and_never_removed(tmp_path: Path) -> None:
    """A bench that slept too long does not throw the other one out."""
    lock = take_lock(tmp_path, "Bench 1")
    left_behind(tmp_path)

    with pytest.raises(Refusal, match=r"not this bench's any more \(held by Bench 2 on elsewhere\); nothing was saved"):
        lock.refresh()
    lock.release()
    assert holder_of(tmp_path) is not None


def test_damaged_lock_blocks_until_it_is_old(tmp_path: Path) -> None:
    """It may be one that is just being written."""
    (tmp_path / LOCK).write_bytes(b"\xff{")
    with pytest.raises(Refusal, match="open at somebody on an unknown computer"):
        take_lock(tmp_path, "Bench 1")

    grow_old(tmp_path, STALE_AFTER_S + 60)
    assert take_lock(tmp_path, "Bench 1").still_held()


@pytest.mark.parametrize("stale", [False, True])
def test_of_many_benches_at_once_at_most_one_holds_the_job(tmp_path: Path, stale: bool) -> None:
    """Twelve try together, ten times over."""
    for _ in range(10):
        if stale:
            left_behind(tmp_path)
            grow_old(tmp_path, STALE_AFTER_S + 60)
        taken: list[JobLock] = []
        start = threading.Barrier(12)

        def attempt(number: int, start: threading.Barrier = start, taken: list[JobLock] = taken) -> None:
            start.wait()
            try:
                taken.append(take_lock(tmp_path, f"Bench {number}"))
            except Refusal:
                pass

        threads = [threading.Thread(target=attempt, args=(n,)) for n in range(12)]
        for thread in threads:
            thread.start()
        for thread in threads:
            thread.join()
        held = [lock for lock in taken if lock.still_held()]
        assert len(held) <= 1 if stale else len(held) == 1
        assert taken
        for lock in held:
            lock.release()
        (tmp_path / LOCK).unlink(missing_ok=True)


def test_folder_without_hard_links_can_be_locked(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """A memory stick cannot link."""

    def cannot(*_arguments: object) -> None:
        raise OSError(1, "Operation not permitted")

    monkeypatch.setattr(joblock.os, "link", cannot)
    lock = take_lock(tmp_path, "Bench 1")

    assert lock.still_held()
    with pytest.raises(Refusal, match="open at Bench 1"):
        take_lock(tmp_path, "Bench 2")
