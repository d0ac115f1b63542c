"""A sealed job on the bench: kept in its sealed file only, autosaves included; nothing of it is written in the clear.

Only what a person asks for by name leaves it: an export, a sheet, a template.
"""

from __future__ import annotations

import atexit
import contextlib
import logging
import threading
import weakref
from collections.abc import Mapping
from pathlib import Path
from typing import Final

from app.bench_folders import holder_name
from app.sealing import (
    AUTOSAVE_SUFFIX,
    SUFFIX,
    SealedJob,
    autosave_of,
    is_sealed,
    load_sealed,
    new_autosave_key,
    require_passphrase,
    save_autosave,
    save_sealed,
)
from keycore.job import Job
from keycore.joblock import JobLock, take_lock
from keycore.refusal import Refusal

__all__ = ["AUTOSAVE_SUFFIX", "SUFFIX", "SealedPlace", "is_sealed", "require_passphrase", "sealed_files"]
_log = logging.getLogger(__name__)
LOCK_SUFFIX = ".lock"


class SealedPlace:
    """Where a sealed job is kept: its file, its passphrase, and the lock that this bench holds on it."""

    def __init__(self, file: Path, passphrase: str, autosave_key: str = "", count: int = 0) -> None:
        self.file = file
        self._passphrase = passphrase
        self._key = autosave_key
        self._count = count
        self._whole = bool(autosave_key)
        """True where the sealed file holds the key that autosaves are sealed to."""
        self._latest: tuple[Job, Mapping[str, bytes]] | None = None
        self._lock: JobLock | None = None
        self._guard = threading.RLock()
        """Saves run on a thread of their own."""
        _PLACES.add(self)

    @classmethod
    def opened(cls, file: Path, passphrase: str) -> tuple[SealedPlace, SealedJob]:
        """Open a sealed file: its place and what it holds.  The lock is not taken yet."""
        found = load_sealed(file, passphrase)
        return cls(file, passphrase, found.autosave_key, found.count), found

    def hold(self) -> None:
        """Take the file for this process, or show that it is alive; refused where another bench has it open."""
        if self._lock is not None and self._lock.still_held():
            self._lock.refresh()
            return
        if self._lock is not None:
            self._lock.require()
        self._lock = take_lock(self.file.parent, holder_name(), lock=f"{self.file.name}{LOCK_SUFFIX}")

    def refresh(self) -> str:
        """Show that this bench is alive; a sentence where the job is another bench's by now, else ""."""
        if self._lock is None:
            return ""
        try:
            self._lock.refresh()
        except Refusal as refusal:
            return refusal.sentence
        except OSError as error:
            return f"Sealed job {self.file.name} cannot be reached ({error.strerror or error})."
        return ""

    def save(self, job: Job, pictures: Mapping[str, bytes]) -> None:
        """Keep the present state: quickly as an autosave, the first time as a whole."""
        with self._guard:
            self.file.parent.mkdir(parents=True, exist_ok=True)
            self.hold()
            self._count += 1
            if self._whole:
                save_autosave(self.file, job, pictures, self._key, self._count)
                self._latest = job, pictures
                return
            self._seal(job, pictures)

    def close(self) -> None:
        """Seal what was autosaved into the one file, and let it go."""
        with self._guard:
            latest, self._latest = self._latest, None
            try:
                if latest is not None and self._lock is not None and self._lock.still_held():
                    self._seal(*latest)
            finally:
                self._release()

    def forget(self) -> None:
        """Remove the file and what lies beside it for good."""
        with self._guard:
            self._latest = None
            for file in (autosave_of(self.file), self.file):
                file.unlink(missing_ok=True)
            self._release()

    def _seal(self, job: Job, pictures: Mapping[str, bytes]) -> None:
        self._key = self._key or new_autosave_key()
        save_sealed(self.file, job, pictures, self._passphrase, autosave_key=self._key, count=self._count)
        self._whole, self._latest = True, None

    def _release(self) -> None:
        if self._lock is not None:
            with contextlib.suppress(OSError):
                self._lock.release()
            self._lock = None


_PLACES: Final[weakref.WeakSet[SealedPlace]] = weakref.WeakSet()


def sealed_files(folder: Path) -> tuple[Path, ...]:
    """The sealed jobs of a folder, by name."""
    if not folder.is_dir():
        return ()
    return tuple(sorted(path for path in folder.iterdir() if path.name.endswith(SUFFIX) and path.is_file()))


@atexit.register
def _seal_all() -> None:
    for place in list(_PLACES):
        try:
            place.close()
        except Refusal as refusal:  # the autosave beside the file holds the same state
            _log.warning("a sealed job could not be closed (%s)", refusal.code)
