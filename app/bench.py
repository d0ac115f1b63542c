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

from collections import OrderedDict
from collections.abc import Callable
from dataclasses import replace
from datetime import datetime
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING, Any, TypeVar

from app.bench_keeping import Keeping
from app.bench_marks import MarkPoint, group_of, points_of
from app.bench_state import BenchPicture, BenchState
from app.bench_steps import Step, steps_of
from app.bench_work import DecodeKey, ReadKey, Work, WorkResult, decoder_for, read_key
from app.picture.values import PictureReading
from keycore.refusal import Refusal
from keycore.spec import KeySpec

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

    from app.picture.reread import KeptFit
    from keycore.decode import Decoder, Decoding, StripSegment
    from keycore.decoding import PictureShare
    from keycore.trials import TrialPlan

K = TypeVar("K")
V = TypeVar("V")
_READINGS_KEPT = 64
_DECODERS_KEPT = 12
_DECODINGS_KEPT = 256
_CODES_PLANNED, _PLAN_SECONDS = 30, 3.0
"""Codes in a trial plan at the bench, and how long its search may take."""
_WORTH_A_TRIAL = 0.01
"""A less likely code is not planned: one trial in a hundred does not pay for a walk to the lock."""


class Bench(Keeping):
    """One job."""

    def __init__(self, number: str | None = None, *, now: datetime | None = None) -> None:
        super().__init__(number, now=now)
        self._readings: OrderedDict[ReadKey, PictureReading | Refusal] = OrderedDict()
        self._decoders: OrderedDict[DecodeKey, Decoder | Refusal] = OrderedDict()
        self._decodings: OrderedDict[tuple[DecodeKey, int, float | None], Decoding] = OrderedDict()
        self._densities: OrderedDict[tuple[DecodeKey, int], tuple[NDArray[np.float64], NDArray[np.float64]]] = (
            OrderedDict()
        )
        self.waits_for_work = False
        """True: nothing is decoded by asking, not even what is quick; :meth:`work` gives it to another thread."""
        self._key_of_state: tuple[BenchState, DecodeKey | None] | None = None
        self._last_good: dict[str, tuple[KeySpec, PictureReading]] = {}
        self._last_decoder: tuple[DecodeKey, Decoder] | None = None
        self._unsettled: frozenset[ReadKey] = frozenset()
        self._last_decoding: tuple[KeySpec, tuple[str, ...], Decoding] | None = None
        self._left_of_record: Decoding | None = None
        self._known = 0
        """Grows with everything that becomes known."""
        self._found: dict[str, Any] = {}
        self._found_for: tuple[BenchState, int] = self._state, 0

    # ---- what is known -------------------------------------------------------------------------------------------

    @property
    def reading(self) -> PictureReading | None:
        """The reading of the picture that is shown; while a new one waits, or was refused, the last good one."""
        picture = self._state.picture
        return None if picture is None else self.shown_reading_of(picture)

    def shown_reading_of(self, picture: BenchPicture) -> PictureReading | None:
        """The same of any picture of the job: while a new reading waits, or was refused, the last good one."""
        spec = self._state.spec
        if spec is None:
            return None
        found = self._reading_of(picture)
        if isinstance(found, PictureReading):
            return found
        known = self._last_good.get(picture.file)
        return known[1] if known is not None and known[0] == spec else None

    @property
    def decoding(self) -> Decoding | None:
        """What the pictures say of the code, at the slider's growth where it was set; else the last one."""
        return self._once("decoding", self._found_decoding)

    def _found_decoding(self) -> Decoding | None:
        key = self._decode_key()
        if key is None:
            return self._left_of_record
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

    def share_of(self, picture: BenchPicture) -> PictureShare | None:
        """A picture's own scale and growth in the decoding; None before it, or where it shows the cut key."""
        decoding, keys = self.decoding, self.key_pictures
        if decoding is None or picture not in keys or len(decoding.pictures) != len(keys):
            return None
        return decoding.pictures[keys.index(picture)]

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

    def trials_task(self) -> Callable[[], TrialPlan] | None:
        """The trial plan as a function for any thread, since the search takes a while; None before a decoding.

        It is a plan over the likeliest codes by the evidence, before any trial: what was tried is in the state.
        """
        key = self._decode_key()
        decoder = None if key is None else self._decoder(key)
        return None if decoder is None else partial(_plan, decoder)

    @property
    def growth_density(self) -> tuple[NDArray[np.float64], NDArray[np.float64]] | None:
        """(growths in mm, their probability density): where the shown picture's own readings put its growth."""
        return self._once("density", self._found_density)

    def _found_density(self) -> tuple[NDArray[np.float64], NDArray[np.float64]] | None:
        key = self._decode_key()
        decoder = None if key is None else self._decoder(key)
        if key is None or decoder is None:
            return None
        asked = key, self._index_among_keys()
        if asked not in self._densities:
            _keep(self._densities, asked, decoder.growth_density_of(asked[1]), _DECODERS_KEPT)
        return self._densities[asked]

    @property
    def is_current(self) -> bool:
        """True where ``reading`` and ``decoding`` belong to the state as it stands."""
        return self._once("current", self._found_current)

    def _found_current(self) -> bool:
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
        return self._once("marks", self._found_marks)

    def _found_marks(self) -> tuple[MarkPoint, ...]:
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
                    step_locked=("scale" if group_of(name) == "reference" else "marks") in picture.locked_steps,
                    as_placed=by_hand and name in picture.as_placed,
                    snapped_xy=snapped,
                    status=moved[name].status if by_hand and name in moved else "",
                )
            )
        return tuple(points)

    def steps(self) -> tuple[Step, ...]:
        """The job's steps and how far each has come."""
        return self._once("steps", self._found_steps)

    def _found_steps(self) -> tuple[Step, ...]:
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
            read_key(picture, read.spec): picture for picture, read in zip(self.key_pictures, key.reads, strict=True)
        }
        known = {read: self._readings[read] for read in key.reads if read in self._readings}
        to_read = {read: picture for read, picture in by_read.items() if read not in known}
        kept = {read: self._kept_fit(read) for read in to_read}
        return Work(
            revision=self._revision,
            key=key,
            to_read=tuple((read, picture.picture) for read, picture in to_read.items()),
            known=tuple((read, reading) for read, reading in known.items() if isinstance(reading, PictureReading)),
            kept=tuple((read, fit) for read, fit in kept.items() if fit is not None),
            last=self._last_decoder,
        )

    @property
    def is_settled(self) -> bool:
        """Whether no reading of the job as it stands went on from a kept fit (:meth:`settling`)."""
        key = self._decode_key()
        return key is None or self._unsettled.isdisjoint(key.reads)

    def settling(self) -> Work | None:
        """Whole readings of what went on from a kept fit, to be made when the hand rests; None where there are none."""
        key = self._decode_key()
        if key is None or key not in self._decoders or self.is_settled:
            return None
        known, to_read = [], []
        for picture, read in zip(self.key_pictures, key.reads, strict=True):
            reading = self._readings.get(read)
            if read in self._unsettled:
                to_read.append((read, picture.picture))
            elif isinstance(reading, PictureReading):
                known.append((read, reading))
        return Work(self._revision, key, tuple(dict(to_read).items()), tuple(known), settles=True)

    def take(self, result: WorkResult) -> bool:
        """Put in what a piece of work gave.  False, taking nothing, where the job has moved on or it was given up."""
        if result.cancelled or result.key != self._decode_key():
            return False
        self._known += 1
        for read, reading in result.readings:
            _keep(self._readings, read, reading, _READINGS_KEPT)
            if isinstance(reading, PictureReading):
                self._remember(read, reading)
        self._unsettled -= {read for read, _ in result.readings}
        self._unsettled |= result.unsettled
        if result.settles:
            self._forget_decoding(result.key)
        if result.decoder is not None and result.decoding is not None:
            _keep(self._decoders, result.key, result.decoder, _DECODERS_KEPT)
            self._last_decoder = (result.key, result.decoder)
            self._decodings.setdefault((result.key, 0, None), result.decoding)  # what was stored with the job stays
        elif result.problem:
            _keep(self._decoders, result.key, Refusal(result.problem, code="bench.not-decoded"), _DECODERS_KEPT)
        return True

    @property
    def key_pictures(self) -> tuple[BenchPicture, ...]:
        """The pictures of the wanted key; those of the cut key are for its check only."""
        return tuple(picture for picture in self._state.pictures if picture.shows == "key")

    def reading_of(self, picture: BenchPicture) -> PictureReading | None:
        """The reading of any picture of the job as it stands, a cut key's too; None where there is none."""
        found = self._reading_of(picture)
        return found if isinstance(found, PictureReading) else None

    def keep_reading(self, read: ReadKey, reading: PictureReading) -> None:
        """Keep a reading that was made for something else than the code: the check of the cut key."""
        self._known += 1
        _keep(self._readings, read, reading, _READINGS_KEPT)
        self._remember(read, reading)

    def jobs_for_keys(self, keys: int) -> tuple[Bench, ...]:
        """A new job for each further key of the picture that is shown, which shows so many.

        Each has the picture, the table and the size references of this one.  What was recorded of the entitlement
        stays with this job: whoever may have one key need not be one who may have the next.
        """
        state, picture = self._state, self._state.picture
        if picture is None:
            raise Refusal("Open a picture first.", code="bench.no-picture")
        made = []
        for key in (key for key in range(keys) if key != picture.key):
            bench = Bench(f"{state.number[:56]}-key{key + 1}")
            own = replace(
                BenchPicture(picture.file, picture.picture, picture.content, picture.sha256, picture.page),
                reference=picture.reference,
                reference_mark=picture.reference_mark,
                key=key,
            )
            bench._state = replace(bench._state, spec=state.spec, pictures=(own,))
            made.append(bench)
        return tuple(made)

    def twin(self) -> Bench:
        """The job as it stands on a bench of its own, for another thread to draw papers from; it is never saved."""
        made = type(self)(self._state.number, now=self._state.created)
        for name, value in vars(self).items():
            if name not in ("_undo", "_redo", "_found"):
                setattr(made, name, value.copy() if isinstance(value, dict) else value)
        return made

    # ---- within --------------------------------------------------------------------------------------------------

    def _once(self, name: str, find: Callable[[], V]) -> V:
        """What follows from the state and from all that is known is found once for both."""
        if self._found_for[0] is not self._state or self._found_for[1] != self._known:
            self._found, self._found_for = {}, (self._state, self._known)
        if name not in self._found:
            self._found[name] = find()
        found: V = self._found[name]
        return found

    def _exported(self, folder: Path) -> tuple[Path, ...]:
        from app.bench_export import export_job

        return export_job(self, folder)

    def _files(self) -> tuple[str, ...]:
        return tuple(picture.file for picture in self._state.pictures)

    def _decode_key(self) -> DecodeKey | None:
        if self._key_of_state is None or self._key_of_state[0] is not self._state:
            self._key_of_state = (self._state, self._made_decode_key())
        return self._key_of_state[1]

    def _made_decode_key(self) -> DecodeKey | None:
        spec, pictures = self._state.spec, self.key_pictures
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
        return next((index for index, picture in enumerate(self.key_pictures) if picture is shown), 0)

    def _asked(self, key: DecodeKey, decoder: Decoder, index: int | None = None) -> Decoding:
        """The decoding at the slider of the picture that is shown (or of another); by the evidence without a slider."""
        asked = self._asked_key(key, self._index_among_keys() if index is None else index)
        _key, picture, growth_mm = asked
        if asked not in self._decodings:
            fresh = decoder.decoding() if growth_mm is None else decoder.at_growth(growth_mm, picture=picture)
            _keep(self._decodings, asked, fresh, _DECODINGS_KEPT)
        return self._decodings[asked]

    def _asked_key(self, key: DecodeKey, index: int) -> tuple[DecodeKey, int, float | None]:
        growth_mm = self.key_pictures[index].growth_mm
        return key, 0 if growth_mm is None else index, growth_mm

    def _decoding_to_keep(self) -> Decoding | None:
        key = self._decode_key()
        decoder = None if key is None else self._decoder(key)
        return None if key is None or decoder is None else self._asked(key, decoder, 0)

    def _keep_decoding(self, decoding: Decoding) -> None:
        self._known += 1
        key = self._decode_key()
        if key is not None:
            _keep(self._decodings, self._asked_key(key, 0), decoding, _DECODINGS_KEPT)
        elif self.problems:  # its pictures are gone or damaged; what the record says of the code is still there
            self._left_of_record = decoding

    def _reading_of(self, picture: BenchPicture) -> PictureReading | Refusal | None:
        return None if self._state.spec is None else self._readings.get(read_key(picture, self._state.spec))

    def _remember(self, read: ReadKey, reading: PictureReading) -> None:
        for picture in self._state.pictures:
            if read_key(picture, read.spec) == read:
                self._last_good[picture.file] = (read.spec, reading)

    def _kept_fit(self, read: ReadKey) -> KeptFit | None:
        """The latest fit of this key of this picture that a reading with other marks can go on from."""
        for before, reading in reversed(self._readings.items()):
            fit = None if isinstance(reading, Refusal) else reading.kept
            if fit is not None and replace(before, marks=read.marks, fixed=read.fixed, by_hand=read.by_hand) == read:
                if fit.serves(read.marks):
                    return fit
        return None

    def _forget_decoding(self, key: DecodeKey) -> None:
        """Let go of what was made of readings that are now settled."""
        self._decoders.pop(key, None)
        for asked in [asked for asked in self._decodings if asked[0] == key]:
            del self._decodings[asked]
        for place in [place for place in self._densities if place[0] == key]:
            del self._densities[place]

    def _decoder(self, key: DecodeKey) -> Decoder | None:
        """The decoder for a key; made at once where all readings are there (a hold), unless that waits for work."""
        if key not in self._decoders:
            readings = [self._readings.get(read) for read in key.reads]
            good = [reading for reading in readings if isinstance(reading, PictureReading)]
            if len(good) < len(readings) or self.waits_for_work:
                return None
            try:
                _keep(self._decoders, key, decoder_for(key, good), _DECODERS_KEPT)
            except Refusal as refusal:
                _keep(self._decoders, key, refusal, _DECODERS_KEPT)
        found = self._decoders[key]
        return None if isinstance(found, Refusal) else found


def _plan(decoder: Decoder) -> TrialPlan:
    from keycore.trials import plan_trials

    decoding = decoder.decoding(_CODES_PLANNED)
    candidates = [(ranked.code, ranked.probability) for ranked in decoding.codes]
    candidates = [one for one in candidates if one[1] >= _WORTH_A_TRIAL] or candidates[:1]
    return plan_trials(candidates, decoding.spec, seconds=_PLAN_SECONDS, most=_CODES_PLANNED)


def _keep(kept: OrderedDict[K, V], key: K, value: V, most: int) -> None:
    kept[key] = value
    kept.move_to_end(key)
    while len(kept) > most:
        kept.popitem(last=False)


def _mark_order(name: str) -> tuple[int, int]:
    group, _, index = name.partition(".")
    order = ("shoulder", "tip", "back", "centreline", "blade_height", "root", "reference")
    return order.index(group), int(index or 0)
