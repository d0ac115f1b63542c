"""Keeping a job: saving, sealing, exporting, opening again, forgetting; part of :class:`app.bench.Bench`.

A job is kept in its folder, or in its sealed file; in the second case nothing of it is ever written in the clear but
what a person exports by name.
"""

from __future__ import annotations

import contextlib
import logging
from abc import abstractmethod
from collections.abc import Callable
from dataclasses import replace
from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING, Final, Self

from app import bench_jobs, bench_log, bench_record
from app.bench_folders import hold, let_go, note_seen, refresh
from app.bench_marking import Marking
from app.bench_record import contents_of, picture_in
from app.bench_saving import Saved, Saving
from app.bench_sealed import SealedPlace, is_sealed, require_passphrase
from app.bench_state import BenchPicture, BenchState
from app.bench_work import DecodeKey, ReadKey, read_key
from app.picture.values import PictureReading
from keycore.job import Job
from keycore.jobfolder import forget_job
from keycore.refusal import Refusal

if TYPE_CHECKING:
    from keycore.decode import Decoding

READING_ONLY: Final = "job.reading-only"
_log = logging.getLogger(__name__)  # holds numbers of jobs, never a code or a customer


class Keeping(Marking):
    """A job with its place on disk."""

    def __init__(self, number: str | None = None, *, now: datetime | None = None) -> None:
        super().__init__(number, now=now)
        self.folder: Path | None = None
        """Where the job is saved; None until it is, or where it was opened for reading only."""
        self.save_error = ""
        """Why the last save failed, in a sentence; "" where it did not."""
        self.problems: tuple[str, ...] = ()
        """What was damaged in the folder that the job was opened from."""
        self.sealed: SealedPlace | None = None
        """Where a sealed job is kept; None for one in the clear, and for one that is open for reading only."""
        self._keeps_sealed = False
        self._sealing: tuple[BenchState, DecodeKey | None] | None = None
        """What is being sealed, or was last."""
        self._saved_key: DecodeKey | None = None
        """What had been read when the job was last saved."""

    @property
    @abstractmethod
    def is_current(self) -> bool:
        """True where that belongs to the state as it stands."""

    @abstractmethod
    def reading_of(self, picture: BenchPicture) -> PictureReading | None:
        """The reading of a picture as the job stands."""

    @abstractmethod
    def keep_reading(self, read: ReadKey, reading: PictureReading) -> None:
        """Keep a reading."""

    @abstractmethod
    def _decoding_to_keep(self) -> Decoding | None:
        """What is stored: the decoding at the first picture's slider; None where the job is not read as it stands."""

    @abstractmethod
    def _keep_decoding(self, decoding: Decoding) -> None:
        """Show this for the state as it stands: it is what was stored with it."""

    @abstractmethod
    def _exported(self, folder: Path) -> tuple[Path, ...]:
        """Write the export; the files written."""

    @abstractmethod
    def _decode_key(self) -> DecodeKey | None:
        """All that the decoding depends on."""

    @property
    def dirty(self) -> bool:
        """True where something is not saved yet: a change, or a reading that came after the last save."""
        if replace(self._state, current=0) != replace(self._saved_state, current=0):
            return True
        if self.home is None or self._state.missing_for_export:
            return False
        return self._decode_key() != self._saved_key and self.is_current

    @property
    def home(self) -> Path | None:
        """Where the job is saved: its folder, or its sealed file; None until it is."""
        return self.folder if self.sealed is None else self.sealed.file

    @property
    def reminder(self) -> str:
        """A sentence where the day has come to look at this record again; else ""."""
        return bench_jobs.reminder(self._state.keep_until)

    def job(self, *, with_code: bool = True) -> Job:
        """The job's record.  ``with_code=False`` leaves out all that a code could be read from but the pictures."""
        readings, decoding = self._good_readings(), self._decoding_to_keep()
        return bench_record.job_of(self._state, readings, decoding, with_code=with_code)

    def save(self, folder: Path | str | None = None) -> Path:
        """Save the job, atomically.  Without a full entitlement the record holds pictures and marks but no code.

        A sealed job is saved into its sealed file, and never anywhere in the clear (see :meth:`unseal`).
        """
        saved = self.saving(folder).run()
        self.take_saved(saved)
        if saved.refusal is not None:
            raise saved.refusal
        assert saved.target is not None
        return saved.target

    def saving(self, folder: Path | str | None = None) -> Saving:
        """The save of the job as it stands, for any thread, since a disk may be slow; see :meth:`take_saved`."""
        state, refusal = self._state, None
        if self._keeps_sealed and (folder is not None or self.sealed is None):
            refusal = Refusal(
                "A sealed job is not saved in the clear, and this one is open for reading only; unseal it first."
                if self.sealed is None
                else "A sealed job is not saved in the clear; unseal it first.",
                code="sealed.clear",
            )
        elif folder is None and self._for_reading_only:
            refusal = Refusal(
                f"{self.problems[0]} The job is open for reading only; save it in another folder.",
                code=READING_ONLY,
            )
        return Saving(
            state,
            self._decode_key() if self.is_current else None,
            self._good_readings(),
            self._decoding_to_keep(),
            folder=None if folder is None else Path(folder),
            home=self.folder,
            place=self.sealed,
            refusal=refusal,
        )

    def take_saved(self, saved: Saved) -> None:
        """Note how a save went."""
        if saved.refusal is not None:
            self.save_error = saved.refusal.sentence
            if saved.refusal.code != READING_ONLY:  # that was said when it was opened
                _log.warning("job %s could not be saved (%s)", self._name_in_log, saved.refusal.code)
            return
        self._saved_state, self._saved_key, self.save_error = saved.state, saved.key, ""
        if self.sealed is None:
            self.folder = saved.target
        _log.info("job %s saved", self._name_in_log)

    def save_if_dirty(self) -> bool:
        """Save what is not saved yet.  False where that failed: the job stays dirty and ``save_error`` says why."""
        if not self.dirty:
            return True
        try:
            self.save()
        except Refusal:
            return False
        return True

    def export(self, folder: Path | str) -> tuple[Path, ...]:
        """Write the job folder with the code, the annotated picture and the reading; returns the files written.

        Refused where the entitlement is not complete, and where there is no code yet.
        """
        written = self._exported(Path(folder))
        _log.info("job %s exported, %d files", self._name_in_log, len(written))
        return written

    def refresh_lock(self) -> str:
        """Show other benches that this one is alive, every :data:`~keycore.joblock.REFRESH_EVERY_S` seconds.

        A sentence where the job is another bench's by now; else "".
        """
        if self.sealed is not None:
            return self.sealed.refresh()
        return "" if self.folder is None else refresh(self.folder)

    def seal_task(self, file: Path | str, passphrase: str) -> Callable[[], SealedPlace]:
        """The sealing of the job as it stands, for any thread, since it takes a second; see :meth:`move_into`."""
        file = Path(file)
        if self._keeps_sealed:
            raise Refusal("This job is sealed already.", code="sealed.already")
        if file.exists():
            raise Refusal(f"{file.name} is there already; choose another name.", code="call.exists")
        require_passphrase(passphrase)
        state = self._state
        job, contents = self.job(with_code=not state.missing_for_export), contents_of(state)
        self._sealing = state, self._decode_key() if self.is_current else None

        def seal() -> SealedPlace:
            place = SealedPlace(file, passphrase)
            place.save(job, contents)
            return place

        return seal

    def move_into(self, place: SealedPlace, *, keep_folder: bool = False) -> tuple[str, ...]:
        """Go on in a sealed file that :meth:`seal_task` wrote; the job's folder in the clear is taken away.

        Returns the names of what else lies in that folder (exports, say) and was left.  A removed file can often be
        brought back from a disk by who has the means; a job that must never lie in the clear is sealed when it begins.
        """
        folder = self.folder
        self.sealed, self.folder, self._keeps_sealed = place, None, True
        if self._sealing is not None and self._sealing[0] is self._state:
            (self._saved_state, self._saved_key), self.save_error = self._sealing, ""
        else:
            self.save()  # what changed while it was sealed
        self._sealing = None
        left: tuple[str, ...] = ()
        if folder is not None:
            if not keep_folder:
                left = forget_job(folder)
            let_go(folder)
        bench_log.forget(self._state.number)
        _log.info("a job was sealed")
        return left

    def seal(self, file: Path | str, passphrase: str, *, keep_folder: bool = False) -> tuple[str, ...]:
        """Seal the job into one file and go on there: :meth:`seal_task` and :meth:`move_into` at once."""
        return self.move_into(self.seal_task(file, passphrase)(), keep_folder=keep_folder)

    def unseal(self, folder: Path | str) -> Path:
        """Save the job into a folder in the clear, go on there, and take the sealed file away."""
        place, folder = self.sealed, Path(folder)
        if place is None:
            raise Refusal("This job is not sealed, or is open for reading only.", code="sealed.not-sealed")
        if folder.exists():
            raise Refusal(f"{folder.name} is there already; choose another folder.", code="call.exists")
        self.sealed, self._keeps_sealed = None, False
        try:
            self.save(folder)
        except Refusal:
            self.sealed, self._keeps_sealed = place, True
            raise
        place.forget()
        return folder

    def forget(self) -> tuple[str, ...]:
        """Remove all that the program keeps of this job: record, pictures, autosave, lock, and its lines in the log.

        Returns the names of what else lies in its folder (exports) and was left.  The job on the bench is spent: put
        another one in its place.
        """
        left: tuple[str, ...] = ()
        if self.home is None and (self.problems or self._keeps_sealed):
            raise Refusal(
                "This job is open for reading only, so nothing was removed; close it at the other bench, or remove its "
                "folder.",
                code="job.locked",
            )
        if self.sealed is not None:
            self.sealed.forget()
        elif self.folder is not None:
            left = forget_job(self.folder)
            let_go(self.folder)
        bench_log.forget(self._state.number)
        self.sealed, self.folder, self._saved_state, self._saved_key = None, None, self._state, self._decode_key()
        return left

    def close(self) -> None:
        """Let the job go, so that another bench can open it.  Nothing more is saved; a sealed job is sealed whole."""
        self.close_task()()

    def close_task(self) -> Callable[[], None]:
        """The same for any thread: sealing a job whole takes a second or two."""
        sealed, folder = self.sealed, self.folder

        def let_it_go() -> None:
            if sealed is not None:
                sealed.close()
            let_go(folder)

        return let_it_go

    @classmethod
    def open_job(cls, folder: Path | str, *, reading_only: bool = False) -> Self:
        """Open a job folder.

        One that is damaged, or that another bench has open, opens for reading only, and ``problems`` says why.
        """
        folder = Path(folder)
        if folder.is_file() and is_sealed(folder):
            raise Refusal(f"{folder.name} is a sealed job; it opens with its passphrase.", code="job.sealed")
        note_seen(folder)
        opened = bench_record.opened(folder)
        if not (reading_only or opened.problems):
            try:
                hold(folder)
            except Refusal as refusal:
                opened = replace(opened, problems=(refusal.sentence,))
        bench = cls._of(opened)
        bench.folder = None if opened.problems or reading_only else folder
        return bench

    @classmethod
    def open_sealed(cls, file: Path | str, passphrase: str, *, reading_only: bool = False) -> Self:
        """Open a sealed job; it is kept sealed from then on, autosaves too (:mod:`app.bench_sealed`)."""
        place, found = SealedPlace.opened(Path(file), passphrase)
        opened = bench_record.opened_from(found.job, found.problems, lambda record: picture_in(found.pictures, record))
        if not (reading_only or opened.problems):
            try:
                place.hold()
            except Refusal as refusal:
                opened = replace(opened, problems=(refusal.sentence,))
        bench = cls._of(opened)
        bench._keeps_sealed = True
        bench.sealed = None if opened.problems or reading_only else place
        return bench

    @classmethod
    def _of(cls, opened: bench_record.Opened) -> Self:
        """A bench with a job as it was found, for reading only until it is given a place."""
        bench = cls(opened.state.number, now=opened.state.created)
        bench._state = bench._saved_state = opened.state
        bench.problems = opened.problems
        for picture, reading in opened.readings:
            if opened.state.spec is not None:
                bench.keep_reading(read_key(picture, opened.state.spec), reading)
        bench._saved_key = bench._decode_key()
        if opened.decoding is not None:
            bench._keep_decoding(opened.decoding)
        return bench

    def _file_names(self) -> set[str]:
        names = super()._file_names()
        if self.folder is not None:
            with contextlib.suppress(OSError):
                names |= {path.name for path in self.folder.iterdir()}
        return names

    def _good_readings(self) -> dict[str, PictureReading]:
        readings = {picture.file: self.reading_of(picture) for picture in self._state.pictures}
        return {file: reading for file, reading in readings.items() if reading is not None}

    @property
    def _for_reading_only(self) -> bool:
        return bool(self.problems) and self.home is None

    @property
    def _name_in_log(self) -> str:
        return "(sealed)" if self._keeps_sealed else self._state.number
