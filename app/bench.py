"""One job at the bench: its state, the changes a person can make, and what is known so far.  No Qt.

The state is a frozen :class:`~app.bench_state.BenchState`.  Every change is a method that puts a new state in the place
of the old one and can be undone; nothing else changes it.  A Bench belongs to one thread.  What takes long is handed
out as a :class:`~app.bench_work.Work`, run elsewhere, and taken back::

    bench = Bench()
    bench.set_spec("harbourside-5")
    bench.open_picture("copy.png")
    work = bench.work()
    if work is not None:
        bench.take(work.run())
    print(bench.decoding.verdict_words)

Where a picture cannot be read, ``problem`` says why and what was known before stays.
"""

from __future__ import annotations

import logging
from collections import OrderedDict
from collections.abc import Callable
from dataclasses import replace
from datetime import datetime
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING, TypeVar

from app import bench_record
from app.bench_changes import Changes
from app.bench_folders import default_folder, hold, let_go, require_same_job
from app.bench_marks import MarkPoint, group_of, points_of
from app.bench_state import BenchPicture
from app.bench_steps import Step, steps_of
from app.bench_work import DecodeKey, ReadKey, Work, WorkResult, decoder_for, read_key
from app.picture.values import PictureReading
from keycore.job import Job
from keycore.refusal import Refusal
from keycore.spec import KeySpec

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

    from keycore.decode import Decoder, Decoding, StripSegment

_log = logging.getLogger(__name__)  # holds numbers of jobs, never a code or a customer
K = TypeVar("K")
V = TypeVar("V")
_READINGS_KEPT = 64
_DECODERS_KEPT = 12
_DECODINGS_KEPT = 256


class Bench(Changes):
    """One job."""

    def __init__(self, number: str | None = None, *, now: datetime | None = None) -> None:
        super().__init__(number, now=now)
        self._readings: OrderedDict[ReadKey, PictureReading | Refusal] = OrderedDict()
        self._decoders: OrderedDict[DecodeKey, Decoder | Refusal] = OrderedDict()
        self._decodings: OrderedDict[tuple[DecodeKey, int, float | None], Decoding] = OrderedDict()
        self._last_good: dict[str, tuple[KeySpec, PictureReading]] = {}
        self._last_decoding: tuple[KeySpec, tuple[str, ...], Decoding] | None = None
        self.folder: Path | None = None
        """Where the job is saved; None until it is, or where it was opened for reading only."""
        self.save_error = ""
        """Why the last save failed, in a sentence; "" where it did not."""
        self.problems: tuple[str, ...] = ()
        """What was damaged in the folder that the job was opened from."""

    # ---- what is known -------------------------------------------------------------------------------------------

    @property
    def reading(self) -> PictureReading | None:
        """The reading of the picture that is shown; while a new one waits, or was refused, the last good one."""
        picture, spec = self._state.picture, self._state.spec
        if picture is None or spec is None:
            return None
        found = self._reading_of(picture)
        if isinstance(found, PictureReading):
            return found
        known = self._last_good.get(picture.file)
        return known[1] if known is not None and known[0] == spec else None

    @property
    def decoding(self) -> Decoding | None:
        """What the pictures say of the code, at the slider's growth where it was set; else the last one."""
        key = self._decode_key()
        if key is None:
            return None
        decoder = self._decoder(key)
        if decoder is None:
            if self._last_decoding is None:
                return None
            spec, files, decoding = self._last_decoding
            return decoding if spec == self._state.spec and files == self._files() else None
        decoding = self._asked(key, decoder)
        if self._state.spec is not None:
            self._last_decoding = (self._state.spec, self._files(), decoding)
        return decoding

    def decoding_of(self, most: int) -> Decoding | None:
        """The decoding by the evidence with at least so many of the likeliest codes; None while work waits."""
        key = self._decode_key()
        decoder = None if key is None else self._decoder(key)
        return None if decoder is None else decoder.decoding(most)

    @property
    def strip(self) -> tuple[StripSegment, ...]:
        """The code as a function of the shown picture's growth; empty before there is a decoding."""
        key = self._decode_key()
        decoder = None if key is None else self._decoder(key)
        if key is None or decoder is None:
            return ()
        return decoder.strip(picture=self._index_among_keys())

    def strip_task(self) -> Callable[[], tuple[StripSegment, ...]] | None:
        """The making of ``strip`` as a function for any thread, since it may take a second; None before a decoding."""
        key = self._decode_key()
        decoder = None if key is None else self._decoder(key)
        return None if decoder is None else partial(decoder.strip, picture=self._index_among_keys())

    @property
    def growth_density(self) -> tuple[NDArray[np.float64], NDArray[np.float64]] | None:
        """(growths in mm, their probability density): where the evidence puts the growth."""
        key = self._decode_key()
        decoder = None if key is None else self._decoder(key)
        return None if decoder is None else decoder.growth_density

    @property
    def is_current(self) -> bool:
        """True where ``reading`` and ``decoding`` belong to the state as it stands."""
        key = self._decode_key()
        return key is not None and self._decoder(key) is not None

    @property
    def problem(self) -> str:
        """Why the job as it stands cannot be read, in a sentence; "" where it can, or where nobody has tried yet."""
        key = self._decode_key()
        if key is None:
            return ""
        shown, spec = self._state.picture, self._state.spec
        first = [] if shown is None or spec is None or shown.shows != "key" else [read_key(shown, spec)]
        for read in [*first, *key.reads]:
            found = self._readings.get(read)
            if isinstance(found, Refusal):
                return found.sentence
        decoder = self._decoders.get(key)
        return decoder.sentence if isinstance(decoder, Refusal) else ""

    def marks(self) -> tuple[MarkPoint, ...]:
        """All marks of the picture that is shown: the hand's where there are any, the program's own elsewhere."""
        picture = self._state.picture
        if picture is None:
            return ()
        found = self._reading_of(picture)
        current = found if isinstance(found, PictureReading) else None
        reading = current or self.reading
        own = points_of(reading.marks) if reading is not None else {}
        if picture.reference_mark is not None:
            own = {name: xy for name, xy in own.items() if group_of(name) != "reference"}
            own |= {f"reference.{index}": xy for index, xy in enumerate(picture.reference_mark.corners)}
        placed = dict(picture.points)
        moved = {} if current is None else {move.mark: move for move in current.moved}
        points = []
        for name in sorted({*own, *placed}, key=_mark_order):
            by_hand = name in picture.by_hand
            snapped = own.get(name) if by_hand and current is not None and group_of(name) != "reference" else None
            points.append(
                MarkPoint(
                    name=name,
                    xy=placed[name] if by_hand and name in placed else own.get(name, placed.get(name, (0.0, 0.0))),
                    by_hand=by_hand,
                    locked=name in picture.locked,
                    snapped_xy=snapped,
                    status=moved[name].status if by_hand and name in moved else "",
                )
            )
        return tuple(points)

    def steps(self) -> tuple[Step, ...]:
        """The job's steps and how far each has come."""
        return steps_of(self._state, self.reading, self.decoding, self.problem)

    # ---- heavy work ----------------------------------------------------------------------------------------------

    def work(self) -> Work | None:
        """What has still to be read or decoded; None where nothing has.  What was refused is not tried again."""
        key = self._decode_key()
        if (
            key is None
            or key in self._decoders
            or any(isinstance(self._readings.get(read), Refusal) for read in key.reads)
        ):
            return None
        by_read = {
            read_key(picture, read.spec): picture for picture, read in zip(self._key_pictures(), key.reads, strict=True)
        }
        known = {read: self._readings[read] for read in key.reads if read in self._readings}
        return Work(
            revision=self._revision,
            key=key,
            to_read=tuple((read, picture.picture) for read, picture in by_read.items() if read not in known),
            known=tuple((read, reading) for read, reading in known.items() if isinstance(reading, PictureReading)),
        )

    def take(self, result: WorkResult) -> bool:
        """Put in what a piece of work gave.  False, taking nothing, where the job has moved on or it was given up."""
        if result.cancelled or result.key != self._decode_key():
            return False
        for read, reading in result.readings:
            _keep(self._readings, read, reading, _READINGS_KEPT)
            if isinstance(reading, PictureReading):
                self._remember(read, reading)
        if result.decoder is not None and result.decoding is not None:
            _keep(self._decoders, result.key, result.decoder, _DECODERS_KEPT)
            _keep(self._decodings, (result.key, 0, None), result.decoding, _DECODINGS_KEPT)
        elif result.problem:
            _keep(self._decoders, result.key, Refusal(result.problem, code="bench.not-decoded"), _DECODERS_KEPT)
        return True

    # ---- keeping -------------------------------------------------------------------------------------------------

    @property
    def dirty(self) -> bool:
        """True where something is not saved yet."""
        return replace(self._state, current=0) != replace(self._saved_state, current=0)

    def job(self, *, with_code: bool = True) -> Job:
        """The job's record.  ``with_code=False`` leaves out all that a code could be read from but the pictures."""
        readings = {picture.file: self._reading_of(picture) for picture in self._state.pictures}
        good = {file: reading for file, reading in readings.items() if isinstance(reading, PictureReading)}
        return bench_record.job_of(self._state, good, self.decoding if self.is_current else None, with_code=with_code)

    def save(self, folder: Path | str | None = None) -> Path:
        """Save the job, atomically.  Without a full entitlement the record holds pictures and marks but no code."""
        state = self._state
        target = Path(folder) if folder is not None else self.folder or default_folder(state)
        try:
            if target != self.folder:
                require_same_job(target, state)
            hold(target)
            bench_record.save(target, self.job(with_code=not state.missing_for_export), state)
        except Refusal as refusal:
            self.save_error = refusal.sentence
            _log.warning("job %s could not be saved (%s)", state.number, refusal.code)
            raise
        if self.folder is not None and self.folder != target:
            let_go(self.folder)
        self.folder, self._saved_state, self.save_error = target, state, ""
        _log.info("job %s saved", state.number)
        return target

    def save_if_dirty(self) -> bool:
        """Save what is not saved yet.  False where that failed: the job stays dirty and ``save_error`` says why."""
        if not self.dirty:
            return True
        if self.problems and self.folder is None:
            self.save_error = f"{self.problems[0]} The job is open for reading only; save it in another folder."
            return False
        try:
            self.save()
        except Refusal:
            return False
        return True

    def export(self, folder: Path | str) -> tuple[Path, ...]:
        """Write the job folder with the code, the annotated picture and the reading; returns the files written.

        Refused where the entitlement is not complete, and where there is no code yet.
        """
        from app.bench_export import export_job

        written = export_job(self, Path(folder))
        _log.info("job %s exported, %d files", self._state.number, len(written))
        return written

    def close(self) -> None:
        """Let the job's folder go, so that another bench can open it; nothing is saved."""
        let_go(self.folder)

    @classmethod
    def open_job(cls, folder: Path | str, *, reading_only: bool = False) -> Bench:
        """Open a job folder.

        One that is damaged, or that another bench has open, opens for reading only, and ``problems`` says why.
        """
        folder = Path(folder)
        opened = bench_record.opened(folder)
        if not (reading_only or opened.problems):
            try:
                hold(folder)
            except Refusal as refusal:
                opened = replace(opened, problems=(refusal.sentence,))
        bench = cls(opened.state.number, now=opened.state.created)
        bench._state = bench._saved_state = opened.state
        bench.problems = opened.problems
        bench.folder = None if opened.problems or reading_only else folder
        for picture, reading in opened.readings:
            if opened.state.spec is not None:
                read = read_key(picture, opened.state.spec)
                _keep(bench._readings, read, reading, _READINGS_KEPT)
                bench._remember(read, reading)
        return bench

    # ---- within --------------------------------------------------------------------------------------------------

    def _files(self) -> tuple[str, ...]:
        return tuple(picture.file for picture in self._state.pictures)

    def _key_pictures(self) -> tuple[BenchPicture, ...]:
        return tuple(picture for picture in self._state.pictures if picture.shows == "key")

    def _decode_key(self) -> DecodeKey | None:
        spec, pictures = self._state.spec, self._key_pictures()
        if spec is None or not pictures:
            return None
        return DecodeKey(
            reads=tuple(read_key(picture, spec) for picture in pictures),
            turned_off=tuple(picture.turned_off for picture in pictures),
            held=self._state.held,
            ruled_out=self._state.ruled_out,
        )

    def _index_among_keys(self) -> int:
        """Which of the pictures that show the wanted key is looked at; the first where another kind is."""
        shown = self._state.picture
        return next((index for index, picture in enumerate(self._key_pictures()) if picture is shown), 0)

    def _asked(self, key: DecodeKey, decoder: Decoder) -> Decoding:
        """The decoding at the slider of the picture that is shown; by the evidence where no slider was moved."""
        index, keys = self._index_among_keys(), self._key_pictures()
        growth_mm = keys[index].growth_mm
        asked = (key, 0 if growth_mm is None else index, growth_mm)
        if asked not in self._decodings:
            fresh = decoder.decoding() if growth_mm is None else decoder.at_growth(growth_mm, picture=index)
            _keep(self._decodings, asked, fresh, _DECODINGS_KEPT)
        return self._decodings[asked]

    def _reading_of(self, picture: BenchPicture) -> PictureReading | Refusal | None:
        return None if self._state.spec is None else self._readings.get(read_key(picture, self._state.spec))

    def _remember(self, read: ReadKey, reading: PictureReading) -> None:
        for picture in self._state.pictures:
            if read_key(picture, read.spec) == read:
                self._last_good[picture.file] = (read.spec, reading)

    def _decoder(self, key: DecodeKey) -> Decoder | None:
        """The decoder for a key; made at once where all readings are there (a hold), since that is quick."""
        if key not in self._decoders:
            readings = [self._readings.get(read) for read in key.reads]
            good = [reading for reading in readings if isinstance(reading, PictureReading)]
            if len(good) < len(readings):
                return None
            try:
                _keep(self._decoders, key, decoder_for(key, good), _DECODERS_KEPT)
            except Refusal as refusal:
                _keep(self._decoders, key, refusal, _DECODERS_KEPT)
        found = self._decoders[key]
        return None if isinstance(found, Refusal) else found


def _keep(kept: OrderedDict[K, V], key: K, value: V, most: int) -> None:
    kept[key] = value
    kept.move_to_end(key)
    while len(kept) > most:
        kept.popitem(last=False)


def _mark_order(name: str) -> tuple[int, int]:
    group, _, index = name.partition(".")
    order = ("shoulder", "tip", "back", "centreline", "blade_height", "root", "reference")
    return order.index(group), int(index or 0)
