"""A save as a value: put together where the bench lives, written on any thread, and taken back where the bench lives.

``Keeping.saving()`` gives a :class:`Saving`; ``saving.run()`` writes it and never raises a refusal; ``take_saved()``
tells the bench how it went.  Saves of one job run one after the other.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING

from app import bench_record
from app.bench_folders import default_folder, hold, let_go, note_seen, require_same_job, require_unchanged
from app.bench_record import contents_of
from app.bench_sealed import SealedPlace
from app.bench_state import BenchState
from app.bench_work import DecodeKey
from app.picture.values import PictureReading
from keycore.refusal import Refusal

if TYPE_CHECKING:
    from keycore.decode import Decoding


@dataclass(frozen=True)
class Saved:
    """How a save went: where the job lies now, or why it could not be saved.

    Attributes
    ----------
    state, key
        What was saved: the job, and what had been read of it.
    target
        The folder or the sealed file; None where the save was refused.
    """

    state: BenchState
    key: DecodeKey | None
    target: Path | None
    refusal: Refusal | None = None


@dataclass(frozen=True)
class Saving:
    """All that is to be written, whole.

    Attributes
    ----------
    readings
        By file name, as they stand.
    folder, home
        Where it is to be saved (None: where it is, or under its number), and the folder where it is kept now.
    place
        Of a sealed job.
    refusal
        Why it cannot be saved, where that is plain before.
    """

    state: BenchState
    key: DecodeKey | None
    readings: Mapping[str, PictureReading] = field(repr=False)
    decoding: Decoding | None = field(repr=False)
    folder: Path | None = None
    home: Path | None = None
    place: SealedPlace | None = None
    refusal: Refusal | None = None

    def run(self) -> Saved:
        """Write it, atomically."""
        try:
            if self.refusal is not None:
                raise self.refusal
            return Saved(self.state, self.key, self._sealed() if self.place is not None else self._in_folder())
        except Refusal as refusal:
            return Saved(self.state, self.key, None, refusal)

    def _in_folder(self) -> Path:
        target = self.folder or self.home or default_folder(self.state)
        if target != self.home:
            require_same_job(target, self.state)
        hold(target)
        require_unchanged(target)
        with_code = not self.state.missing_for_export
        job = bench_record.job_of(self.state, self.readings, self.decoding, with_code=with_code)
        bench_record.save(target, job, self.state)
        note_seen(target)
        if self.home is not None and self.home != target:
            let_go(self.home)
        return target

    def _sealed(self) -> Path:
        assert self.place is not None
        with_code = not self.state.missing_for_export
        job = bench_record.job_of(self.state, self.readings, self.decoding, with_code=with_code)
        self.place.save(job, contents_of(self.state))
        return self.place.file
