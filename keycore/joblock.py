"""One bench at a time in a job folder: a lock file with the holder's name, also on a shared network folder.

The lock is advice between programs of this kind, not a wall.  It is made in one step that fails where it exists, so
of two benches only one gets it.  A holder touches it from time to time (:meth:`JobLock.refresh`); one that was not
touched for :data:`STALE_AFTER_S`, or whose process on this same computer is gone, is stale and is taken over.  Ages
are measured by the clock of the folder's own file system, so benches with different clocks agree.

Taking a stale lock over cannot be made one single step on every file system; if two benches do so in the same instant
one may find its lock gone a moment later.  :meth:`JobLock.still_held` is therefore asked before every save.
"""

from __future__ import annotations

import contextlib
import json
import os
import secrets
import socket
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path
from types import TracebackType
from typing import Any

from keycore.refusal import Refusal

LOCK = "job.lock"
STALE_AFTER_S = 600.0
REFRESH_EVERY_S = 60.0
"""How often a holder should call :meth:`JobLock.refresh`."""


@dataclass(frozen=True)
class Holder:
    """Who has a job open, since when, and for how long nothing was heard of them."""

    name: str
    computer: str
    process: int
    since: str
    token: str
    silent_s: float

    @property
    def is_stale(self) -> bool:
        """True where the holder is gone: silent for long, or its process on this computer has ended."""
        if self.silent_s > STALE_AFTER_S:
            return True
        return self.computer == socket.gethostname() and not _is_running(self.process)


class JobLock:
    """A lock that this process holds; made by :func:`take_lock`."""

    def __init__(self, path: Path, token: str, took_over_from: str | None) -> None:
        self._path, self._token = path, token
        self.took_over_from = took_over_from
        """Name of the holder whose stale lock was taken over, to be shown; None where there was none."""

    def still_held(self) -> bool:
        """True while the lock in the folder is this one."""
        holder = _holder_in(self._path)
        return holder is not None and holder.token == self._token

    def require(self) -> None:
        """Refuse, in words, where another bench has the job by now."""
        if not self.still_held():
            holder = _holder_in(self._path)
            who = "nobody" if holder is None else f"{holder.name} on {holder.computer}"
            raise Refusal(
                f"{_words(self._path)} is not this bench's any more (held by {who}); nothing was saved. Save it "
                f"elsewhere.",
                code="job.lock-lost",
            )

    def refresh(self) -> None:
        """Show that this bench is alive."""
        self.require()
        os.utime(self._path)

    def release(self) -> None:
        """Let the job go; a lock that is another's by now is left."""
        if self.still_held():
            with contextlib.suppress(FileNotFoundError):
                self._path.unlink()

    def __enter__(self) -> JobLock:
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        self.release()


def take_lock(folder: Path | str, name: str, *, lock: str = LOCK) -> JobLock:
    """Take the lock of a job folder for a bench called ``name``; refused where another bench has it open.

    ``lock`` is the lock file's name, for a job that is one file beside others (a sealed one).
    """
    path = Path(folder) / lock
    took_over_from = None
    holder = _holder_in(path)
    if holder is not None:
        if not holder.is_stale:
            raise _is_open(path, holder)
        took_over_from = _move_stale_aside(path, holder)
    token = secrets.token_hex(16)
    record = {
        "holder": name,
        "computer": socket.gethostname(),
        "process": os.getpid(),
        "since": datetime.now(UTC).isoformat(timespec="seconds"),
        "token": token,
    }
    part = path.with_name(f".job-part-{secrets.token_hex(8)}")
    try:
        _write_new(part, json.dumps(record))
        try:
            _give_name(part, path)
        except FileExistsError:
            raise _is_open(path, _holder_in(path)) from None
    except OSError as error:
        raise Refusal(
            f"{_words(path)} cannot be locked ({error.strerror or error}); open it for reading only.",
            code="job.cannot-lock",
        ) from error
    finally:
        with contextlib.suppress(OSError):
            part.unlink()
    return JobLock(path, token, took_over_from)


def holder_of(folder: Path | str, *, lock: str = LOCK) -> Holder | None:
    """Who holds the lock of a job folder; None where nobody does."""
    return _holder_in(Path(folder) / lock)


def _holder_in(path: Path) -> Holder | None:
    try:
        record: Any = json.loads(path.read_text(encoding="utf-8"))
        touched = path.stat().st_mtime
    except FileNotFoundError:
        return None
    except (OSError, ValueError):
        record, touched = None, 0.0
        with contextlib.suppress(OSError):
            touched = path.stat().st_mtime
    if not isinstance(record, dict):
        record = {}
    process = record.get("process")
    return Holder(
        name=str(record.get("holder", "somebody")),
        computer=str(record.get("computer", "an unknown computer")),
        process=process if isinstance(process, int) else 0,
        since=str(record.get("since", "an unknown time")),
        token=str(record.get("token", "")),
        silent_s=max(0.0, _now_of(path.parent) - touched),
    )


def _now_of(folder: Path) -> float:
    """The present time by the folder's own file system."""
    probe = folder / f".job-part-{secrets.token_hex(8)}"
    try:
        _write_new(probe, "")
        return probe.stat().st_mtime
    except OSError:  # a folder that cannot be written to: the computer's own clock
        return datetime.now(UTC).timestamp()
    finally:
        with contextlib.suppress(OSError):
            probe.unlink()


def _move_stale_aside(path: Path, stale: Holder) -> str:
    """Take a stale lock away, unless another bench was quicker and the lock is a fresh one by now."""
    aside = path.with_name(f".job-part-{secrets.token_hex(8)}")
    try:
        os.rename(path, aside)
    except FileNotFoundError:
        return stale.name
    moved = _holder_in(aside)
    if moved is not None and moved.token != stale.token:
        with contextlib.suppress(FileExistsError):
            _give_name(aside, path)
        aside.unlink()
        raise _is_open(path, moved)
    aside.unlink()
    return stale.name


def _write_new(path: Path, text: str) -> None:
    descriptor = os.open(path, os.O_WRONLY | os.O_CREAT | os.O_EXCL, 0o600)
    with os.fdopen(descriptor, "w", encoding="utf-8") as file:
        file.write(text)


def _give_name(part: Path, path: Path) -> None:
    """Give a whole file its name, failing with FileExistsError where the name is taken."""
    try:
        os.link(part, path)
    except FileExistsError:
        raise
    except OSError:  # a file system without hard links
        _write_new(path, part.read_text(encoding="utf-8"))


def _is_open(path: Path, holder: Holder | None) -> Refusal:
    who = "another bench" if holder is None else f"{holder.name} on {holder.computer} since {holder.since}"
    return Refusal(
        f"{_words(path)} is open at {who}; close it there, or open it for reading only.",
        code="job.locked",
    )


def _words(path: Path) -> str:
    """What a lock file belongs to, at the start of a sentence."""
    return f"Job folder {path.parent.name}" if path.name == LOCK else f"Sealed job {path.name.removesuffix('.lock')}"


def _is_running(process: int) -> bool:
    if process <= 0:
        return False
    if os.name != "posix":  # elsewhere asking could end it; its silence will tell
        return True
    try:
        os.kill(process, 0)
    except ProcessLookupError:
        return False
    except PermissionError:
        return True
    return True
