"""The heavy part of a job, apart from its state: reading pictures and building the decoder, on any thread.

``Bench.work()`` gives a :class:`Work`; ``work.run(progress, cancelled)`` may be called on another thread, changes
nothing and returns a :class:`WorkResult`; ``Bench.take(result)`` puts it in, unless the job has moved on.

A mark that has moved a little asks for no whole reading: the last fit of the picture is kept, and what follows from
the marks is made anew (:mod:`app.picture.reread`), within a frame of the screen.  Such a reading is settled by a whole
one when there is time (``Bench.settling()``).
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np

from app.bench_marks import group_of
from app.bench_state import BenchPicture, ReferenceChoice
from app.picture.load import open_picture
from app.picture.values import Picture, PictureReading
from keycore.marks import Marks
from keycore.measured import Medium, Readings
from keycore.refusal import Refusal
from keycore.spec import KeySpec

if TYPE_CHECKING:
    from app.picture.reread import KeptFit
    from keycore.decode import Decoder, Decoding

Progress = Callable[[float, str], None]
Cancelled = Callable[[], bool]
FIXABLE = ("root", "tip", "shoulder", "back", "centreline", "blade_height")
"""Marks of a hand that the reader takes as they stand where they are locked, or where their snap was refused."""


@dataclass(frozen=True)
class LoadedPicture:
    """A picture with the bytes of its file, ready to be put into a job."""

    picture: Picture
    content: bytes


@dataclass(frozen=True)
class ReadKey:
    """All that the reading of one picture depends on.  Equal keys give equal readings, once they are settled."""

    sha256: str
    page: int
    spec: KeySpec
    marks: Marks | None
    reference: ReferenceChoice
    key: int
    fixed: frozenset[str] = frozenset()
    """Marks that are taken as they stand."""
    medium: Medium | None = None
    """What the person says that the picture is."""
    by_hand: frozenset[str] = frozenset()
    """Which of the marks a hand set; the rest of a pair or row is the program's own."""


@dataclass(frozen=True)
class DecodeKey:
    """All that the decoder depends on: the readings of every picture, what was turned off, and what is held."""

    reads: tuple[ReadKey, ...]
    turned_off: tuple[frozenset[str], ...]
    held: tuple[tuple[int, str], ...]
    ruled_out: frozenset[tuple[int, str]]


@dataclass(frozen=True)
class WorkResult:
    """What a piece of work gave.

    Attributes
    ----------
    revision
        Of the job when the work was made.
    readings
        A reading or a refusal for each picture that was read.
    decoder
        None where a picture could not be read or the decoder refused.
    problem
        The refusal of the decoder in words; "" for none.
    cancelled
        True where the work was given up; then there is nothing in it.
    unsettled
        Those of the readings that went on from a kept fit.
    settles
        True where it is the whole reading of what had gone on from a kept fit.
    """

    revision: int
    key: DecodeKey
    readings: tuple[tuple[ReadKey, PictureReading | Refusal], ...] = ()
    decoder: Decoder | None = None
    decoding: Decoding | None = None
    problem: str = ""
    cancelled: bool = False
    unsettled: frozenset[ReadKey] = frozenset()
    settles: bool = False


@dataclass(frozen=True)
class Work:
    """A piece of heavy work, whole and frozen; it may run on any thread.

    Attributes
    ----------
    to_read
        What has to be read, with its pictures.
    known
        Readings that are there already.
    kept
        Fits that readings of ``to_read`` go on from.
    last
        The last decoder of this job, which serves again where it was made of the very same readings.
    settles
        True where a whole reading takes the place of one that went on from a kept fit.
    """

    revision: int
    key: DecodeKey
    to_read: tuple[tuple[ReadKey, Picture], ...]
    known: tuple[tuple[ReadKey, PictureReading], ...]
    kept: tuple[tuple[ReadKey, KeptFit], ...] = ()
    last: tuple[DecodeKey, Decoder] | None = None
    settles: bool = False

    @property
    def quick(self) -> bool:
        """Whether it is done within a frame or little more: no picture has to be read whole."""
        return {read for read, _ in self.to_read} <= {read for read, _ in self.kept}

    def run(self, progress: Progress | None = None, cancelled: Cancelled | None = None) -> WorkResult:
        """Do it.  Only a fault of the program raises; what a picture refuses is in the result."""
        say = progress or (lambda done, words: None)
        given_up = cancelled or (lambda: False)
        found: dict[ReadKey, PictureReading | Refusal] = dict(self.known)
        fresh: list[tuple[ReadKey, PictureReading | Refusal]] = []
        kept = dict(self.kept)
        made = partial(WorkResult, self.revision, self.key, unsettled=frozenset(kept), settles=self.settles)
        for index, (key, picture) in enumerate(self.to_read):
            if given_up():
                return WorkResult(self.revision, self.key, cancelled=True)
            start, share = index / len(self.to_read), 0.9 / len(self.to_read)

            def part(done: float, words: str, start: float = start, share: float = share) -> None:
                say(start * 0.9 + done * share, words)

            outcome = go_on(kept[key], key, picture) if key in kept else read_one(key, picture, part, given_up)
            found[key] = outcome
            fresh.append((key, outcome))
        if given_up():
            return WorkResult(self.revision, self.key, cancelled=True)
        say(0.9, "decoding")
        readings = [found[key] for key in self.key.reads]
        good = [reading for reading in readings if not isinstance(reading, Refusal)]
        if len(good) < len(readings) or not good:
            return made(tuple(fresh))
        try:
            decoder = self._same_decoder(good) or decoder_for(self.key, good)
            decoding = decoder.decoding()
        except Refusal as refusal:
            return made(tuple(fresh), problem=refusal.sentence)
        say(1.0, "done")
        return made(tuple(fresh), decoder, decoding)

    def _same_decoder(self, readings: list[PictureReading]) -> Decoder | None:
        """The last decoder where nothing that it was made of has changed: a mark that is refined moves no reading."""
        if self.last is None:
            return None
        key, decoder = self.last
        before, now = ((one.held, one.ruled_out, one.reads[0].spec) for one in (key, self.key))
        used = used_readings(self.key, readings)
        alike = before == now and len(used) == len(decoder.readings)
        return decoder if alike and all(map(same_readings, used, decoder.readings)) else None


def count_keys(picture: Picture, spec: KeySpec, reference: ReferenceChoice) -> int:
    """How many keys a picture shows, as far as can be seen before any is read; may run on any thread."""
    from app.picture.find import count_of_keys, keys_on
    from app.picture.ground import ground_of

    try:
        ground = ground_of(picture, spec, None, medium=None, reference=reference)
        return count_of_keys(keys_on(picture, spec, ground))
    except Refusal:
        return 0


def load_picture(source: str | Path | bytes, *, name: str | None = None, page: int = 1) -> LoadedPicture:
    """A picture and its file's bytes; may run on any thread.  Raises Refusal."""
    if isinstance(source, bytes):
        return LoadedPicture(open_picture(source, name=name, page=page), source)
    path = Path(source)
    picture = open_picture(path, name=name, page=page)
    try:
        return LoadedPicture(picture, path.read_bytes())
    except OSError as error:
        raise Refusal(
            f'"{picture.name}" cannot be read: {error.strerror or error}.', code="picture.unreadable"
        ) from error


def read_one(
    key: ReadKey, picture: Picture, progress: Progress | None, cancelled: Cancelled | None
) -> PictureReading | Refusal:
    """The reading of one picture, or why there is none."""
    from app.picture.read import read_picture

    try:
        return read_picture(
            picture,
            key.spec,
            key.marks,
            fixed=key.fixed,
            by_hand=key.by_hand,
            reference=key.reference,
            key=key.key,
            medium=key.medium,
            progress=progress,
            cancelled=cancelled,
        )
    except Refusal as refusal:
        return refusal


def go_on(kept: KeptFit, key: ReadKey, picture: Picture) -> PictureReading | Refusal:
    """The reading of one picture from a fit that was kept, or why there is none."""
    from app.picture.reread import read_again

    try:
        return read_again(kept, picture, key.marks, fixed=key.fixed)
    except Refusal as refusal:
        return refusal


def decoder_for(key: DecodeKey, readings: list[PictureReading]) -> Decoder:
    """The decoder of all pictures together, under what the person holds and turned off."""
    from keycore.decode import Decoder, Holds

    holds = Holds(held=dict(key.held), ruled_out=key.ruled_out)
    used = used_readings(key, readings)
    return Decoder(used if len(used) > 1 else used[0], key.reads[0].spec, holds=holds)


def used_readings(key: DecodeKey, readings: list[PictureReading]) -> list[Readings]:
    """What the decoder is given of each picture."""
    return [without(reading.readings, off) for reading, off in zip(readings, key.turned_off, strict=True)]


def same_readings(one: Readings, other: Readings) -> bool:
    """Whether two readings are the same to the last bit, their curves and other ways too."""
    if replace(one, cuts=(), others=()) != replace(other, cuts=(), others=()):
        return False
    if len(one.cuts) != len(other.cuts) or len(one.others) != len(other.others):
        return False
    if not all(map(same_readings, one.others, other.others)):
        return False
    for a, b in zip(one.cuts, other.cuts, strict=True):
        if replace(a, evidence=None) != replace(b, evidence=None) or (a.evidence is None) != (b.evidence is None):
            return False
        if a.evidence is not None and b.evidence is not None:
            pairs = zip(vars(a.evidence).values(), vars(b.evidence).values(), strict=True)
            if not all(np.array_equal(x, y) for x, y in pairs):
                return False
    return True


def without(readings: Readings, turned_off: frozenset[str]) -> Readings:
    """The readings without the size references that a person turned off."""
    if not turned_off:
        return readings

    def fewer(way: Readings) -> Readings:
        references = tuple(
            replace(reference, used=False) if reference.kind in turned_off else reference
            for reference in way.references
        )
        return replace(way, references=references)

    return (readings.without_places() if "cut-spacing" in turned_off else readings).in_every_way(fewer)


def read_key(picture: BenchPicture, spec: KeySpec) -> ReadKey:
    """What the reading of this picture under this table depends on."""
    fixed = frozenset(
        name for name in (picture.locked | picture.as_placed) & picture.by_hand if group_of(name) in FIXABLE
    )
    return ReadKey(
        picture.sha256,
        picture.page,
        spec,
        picture.hand_marks(spec),
        picture.reference,
        picture.key,
        fixed,
        picture.medium,
        picture.by_hand,
    )
