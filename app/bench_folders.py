"""Job folders as this process uses them: which one a job goes to, whose it is, and that nobody else has it open."""

from __future__ import annotations

import atexit
import contextlib
import getpass
import threading
from pathlib import Path
from typing import Final

from app.bench_record import file_stem
from app.bench_state import BenchState
from app.folders import jobs_folder, made
from keycore.jobfolder import RECORD, load_job, sha256_of
from keycore.joblock import JobLock, take_lock
from keycore.refusal import Refusal

_LOCKS: Final[dict[Path, JobLock]] = {}
"""Locks of this process, by folder: two jobs on one bench may follow each other in the same folder."""
_GUARD: Final = threading.RLock()
"""Saves run on a thread of their own; a folder is taken, kept and let go by one thread at a time."""
_SEEN: Final[dict[Path, str]] = {}
"""SHA-256 of each folder's record as this process last read or wrote it."""


def hold(folder: Path) -> None:
    """Take the folder for this process, or show that it is still alive; refused where another bench has it open."""
    key = folder.resolve()
    with _GUARD:
        lock = _LOCKS.get(key)
        if lock is not None and lock.still_held():
            lock.refresh()
            return
        try:
            made(folder)
        except OSError as error:
            raise Refusal(
                f"The job could not be saved in {folder.name}: {error.strerror or error}. Choose another folder or "
                f"make room.",
                code="job.cannot-save",
            ) from error
        _LOCKS[key] = take_lock(folder, holder_name())


def let_go(folder: Path | None) -> None:
    """Let the folder go, so that another bench can open the job."""
    if folder is None:
        return
    with _GUARD:
        lock = _LOCKS.pop(folder.resolve(), None)
        _SEEN.pop(folder.resolve(), None)
        if lock is not None:
            with contextlib.suppress(OSError):
                lock.release()


def refresh(folder: Path) -> str:
    """Show that this bench is alive; a sentence where the folder is another bench's by now, else ""."""
    lock = _LOCKS.get(folder.resolve())
    if lock is None:
        return ""
    try:
        lock.refresh()
    except Refusal as refusal:
        return refusal.sentence
    except OSError as error:
        return (
            f"Job folder {folder.name} cannot be reached ({error.strerror or error}); the job is not saved there now."
        )
    return ""


def note_seen(folder: Path) -> None:
    """Remember what the folder's record is now: this process has read it, or wrote it."""
    _SEEN[folder.resolve()] = _fingerprint(folder)


def require_unchanged(folder: Path) -> None:
    """Refuse where the record is not the one that this process last saw: another bench has saved the job since."""
    seen = _SEEN.get(folder.resolve())
    if seen is not None and _fingerprint(folder) not in (seen, ""):
        raise Refusal(
            f"Job folder {folder.name} was changed by another bench since it was opened here; nothing was saved. Save "
            f"in another folder, then open both.",
            code="job.changed-elsewhere",
        )


def default_folder(state: BenchState) -> Path:
    """Where a job is kept by itself: under its number, and never over another job."""
    name = file_stem(state.number)
    folder, count = jobs_folder() / name, 2
    while _other_job_in(folder, state) is not None:
        folder, count = jobs_folder() / f"{name}-{count}", count + 1
    return folder


def require_same_job(folder: Path, state: BenchState) -> None:
    """Refuse a folder that holds another job."""
    other = _other_job_in(folder, state)
    if other is not None:
        raise Refusal(
            f"Folder {folder.name} holds job {other} already, which is another job; choose another folder.",
            code="job.other-job",
        )


def _other_job_in(folder: Path, state: BenchState) -> str | None:
    """Number of another job in the folder; None where there is none, or what is there is damaged (saving says so)."""
    if not (folder / RECORD).exists():
        return None
    try:
        job, _problems = load_job(folder)
    except Refusal:
        return None
    same_pictures = [picture.sha256 for picture in job.pictures] == [picture.sha256 for picture in state.pictures]
    if job.number == state.number and (job.created == state.created or same_pictures):
        return None
    return job.number if job.created != state.created else None


def _fingerprint(folder: Path) -> str:
    try:
        return sha256_of((folder / RECORD).read_bytes())
    except OSError:
        return ""


def holder_name() -> str:
    """Name of whoever works at this bench, for locks."""
    try:
        return getpass.getuser()
    except (KeyError, OSError, ImportError):
        return "a bench"


@atexit.register
def _let_all_go() -> None:
    for folder in list(_LOCKS):
        let_go(folder)
