"""From a job at the bench to its record on disk, and back."""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np

from app.bench_marks import points_of
from app.bench_state import REFERENCE_CHOICES, BenchPicture, BenchState
from app.bench_version import program_version
from app.picture.load import open_picture
from app.picture.values import Blade, PictureReading, Straight
from keycore.job import Entitlement, Job, JobHolds, JobPicture, StraightRecord
from keycore.jobfolder import load_job, read_picture, save_job
from keycore.marks import Marks, PointXY
from keycore.refusal import Refusal
from keycore.spec import parse_spec, spec_to_json
from keycore.storeddecoding import decoding_from_json, decoding_to_json
from keycore.storedreadings import readings_from_json, readings_to_json

if TYPE_CHECKING:
    from keycore.decode import Decoding

_NOT_IN_A_NAME = re.compile(r"[^A-Za-z0-9._+()-]+")


@dataclass(frozen=True)
class Opened:
    """A job as it was found in its folder."""

    state: BenchState
    readings: tuple[tuple[BenchPicture, PictureReading], ...]
    problems: tuple[str, ...]
    decoding: Decoding | None = None
    """What the job showed when it was stored; None where that was nothing, or is damaged."""


def file_name(name: str, taken: set[str]) -> str:
    """A plain file name for a picture in the job folder, unlike those that are taken."""
    stem, dot, suffix = name.rpartition(".")
    stem = file_stem(stem if dot else name)
    suffix = _NOT_IN_A_NAME.sub("", suffix)[:8] if dot else ""
    suffix = suffix or "png"
    lower = {other.lower() for other in taken} | {"job.json", "job.previous.json", "job.lock", "autosave.json"}
    proposal, count = f"{stem}.{suffix}", 2
    while proposal.lower() in lower:
        proposal, count = f"{stem}-{count}.{suffix}", count + 1
    return proposal


def file_stem(words: str) -> str:
    """Words as a plain name that every file system takes."""
    stem = _NOT_IN_A_NAME.sub("-", words).strip("-. ")[:80] or "picture"
    return stem if stem[0].isalnum() else f"p{stem}"


def job_of(
    state: BenchState, readings: Mapping[str, PictureReading], decoding: Decoding | None, *, with_code: bool = True
) -> Job:
    """The record of a job; ``readings`` by file name."""
    pictures = tuple(
        _picture_record(picture, readings.get(picture.file) if with_code else None, state) for picture in state.pictures
    )
    empty = state.entitlement == Entitlement()
    return Job(
        number=state.number,
        created=state.created,
        program_version=program_version(),
        state=_standing(state, decoding),
        entitlement=None if empty else state.entitlement,
        spec=None if state.spec is None else spec_to_json(state.spec),
        pictures=pictures,
        holds=JobHolds.from_indexes(dict(state.held), state.ruled_out),
        reading=_reading_record(state, readings, decoding) if with_code else None,
        decoding=decoding_to_json(decoding) if with_code and decoding is not None else None,
        decided_code=state.decided_code if with_code else None,
        trials=state.trials if with_code else (),
        cut_key_check=state.cut_key_check if with_code else None,
        notes=state.notes,
        keep_until=state.keep_until,
        removed=state.removed,
        locked_steps=tuple(sorted(state.locked_steps)),
    )


def save(folder: Path, job: Job, state: BenchState) -> None:
    """Save the record with the bytes of its pictures."""
    save_job(folder, job, contents_of(state))


def contents_of(state: BenchState) -> dict[str, bytes]:
    """The pictures' own bytes by file name."""
    return {picture.file: picture.content for picture in state.pictures}


def picture_in(contents: Mapping[str, bytes], record: JobPicture) -> bytes:
    """A picture's own bytes among those of a sealed job, where they are whole."""
    if record.file not in contents:
        raise Refusal(f"Picture {record.file} of the sealed job is missing or damaged.", code="job.picture-missing")
    return contents[record.file]


def opened(folder: Path) -> Opened:
    """The job of a folder, with the readings that were stored in it."""
    job, problems = load_job(folder)
    return opened_from(job, problems, lambda record: read_picture(folder, record))


def opened_from(job: Job, problems: tuple[str, ...], content_of: Callable[[JobPicture], bytes]) -> Opened:
    """The job of a record; ``content_of`` gives each picture's own bytes, or refuses."""
    spec = None
    if job.spec is not None:
        try:
            spec = parse_spec(job.spec, f"the depth table of job {job.number}")
        except Refusal as refusal:
            problems = (*problems, refusal.sentence)
    pictures: list[BenchPicture] = []
    readings: list[tuple[BenchPicture, PictureReading]] = []
    for record in job.pictures:
        try:
            picture = _picture_of(record, content_of(record))
            pictures.append(picture)
            stored = _reading_of(record)
            if stored is not None:
                readings.append((picture, stored))
        except Refusal as refusal:
            if refusal.sentence not in problems:
                problems = (*problems, refusal.sentence)
    held, ruled_out = job.holds.indexes()
    state = BenchState(
        number=job.number,
        created=job.created,
        entitlement=job.entitlement or Entitlement(),
        spec=spec,
        pictures=tuple(pictures),
        held=tuple(sorted(held.items())),
        ruled_out=ruled_out,
        decided_code=job.decided_code,
        trials=job.trials,
        cut_key_check=None if job.cut_key_check is None else dict(job.cut_key_check),
        notes=job.notes,
        keep_until=job.keep_until,
        removed=job.removed,
        locked_steps=frozenset(job.locked_steps),
    )
    if job.removed:
        problems = (*problems, f"This is a copy for teaching, made without the {' and the '.join(job.removed)}.")
    decoding = None
    if job.decoding is not None and spec is not None:
        try:
            decoding = decoding_from_json(job.decoding, spec)
        except Refusal as refusal:
            problems = (*problems, refusal.sentence)
    return Opened(state, tuple(readings), problems, decoding)


def _standing(state: BenchState, decoding: Decoding | None) -> str:
    passed = state.cut_key_check is not None and state.cut_key_check.get("outcome") == "pass"
    if passed or any(trial.opened for trial in state.trials):
        return "done"
    if state.cut_key_check is not None or state.trials:
        return "cut"
    return "read" if decoding is not None else "open"


def _picture_record(picture: BenchPicture, reading: PictureReading | None, state: BenchState) -> JobPicture:
    return JobPicture(
        file=picture.file,
        sha256=picture.sha256,
        original_name=picture.picture.name,
        page=picture.page,
        shows=picture.shows,
        key=picture.key,
        medium=picture.medium,
        marks=picture.hand_marks(state.spec),
        marks_by_hand=tuple(sorted(picture.by_hand)),
        marks_locked=tuple(sorted(picture.locked)),
        marks_as_placed=tuple(sorted(picture.as_placed)),
        marks_accepted=picture.accepted,
        locked_steps=tuple(sorted(picture.locked_steps)),
        marks_found=None if reading is None else reading.marks,
        reference=picture.reference,
        growth_override_mm=picture.growth_mm,
        turned_off_references=tuple(sorted(picture.turned_off)),
        straight=None if reading is None else _straight_record(reading.straight),
        outline=() if reading is None else tuple((float(x), float(y)) for x, y in reading.blade.outline),
        readings=None if reading is None else readings_to_json(reading.readings),
    )


def _straight_record(straight: Straight) -> StraightRecord:
    rows = tuple(tuple(float(value) for value in row) for row in straight.to_picture)
    return StraightRecord.model_validate({"to_picture": rows, "size": straight.size, "mirrored": straight.mirrored})


def _reading_record(
    state: BenchState, readings: Mapping[str, PictureReading], decoding: Decoding | None
) -> dict[str, object] | None:
    first = next((picture for picture in state.pictures if picture.shows == "key"), None)
    if decoding is None or first is None:
        return None
    from keycore.keyreading import from_decoding

    shown = state.picture if state.picture is not None and state.picture.shows == "key" else first
    reading = readings.get(shown.file)
    name = shown.picture.name
    return from_decoding(name, decoding, None if reading is None else reading.marks).model_dump(
        mode="json", exclude_none=True
    )


def _picture_of(record: JobPicture, content: bytes) -> BenchPicture:
    picture = open_picture(content, name=record.original_name or record.file, page=record.page)
    marks = record.marks
    points = {name: xy for name, xy in points_of(marks).items() if not name.startswith("reference")}
    return BenchPicture(
        file=record.file,
        picture=picture,
        content=content,
        sha256=record.sha256,
        page=record.page,
        points=tuple(sorted(points.items())),
        by_hand=frozenset(record.marks_by_hand) & frozenset(points) or frozenset(points),
        locked=frozenset(record.marks_locked),
        as_placed=frozenset(record.marks_as_placed),
        accepted=record.marks_accepted,
        locked_steps=frozenset(record.locked_steps),
        key=record.key,
        medium=record.medium,
        reference=next((choice for choice in REFERENCE_CHOICES if choice == record.reference), "auto"),
        reference_mark=None if marks is None else marks.reference,
        turned_off=frozenset(record.turned_off_references),
        growth_mm=record.growth_override_mm,
        shows=record.shows,
    )


def _reading_of(record: JobPicture) -> PictureReading | None:
    if record.readings is None or record.straight is None:
        return None
    straight = Straight(
        to_picture=np.array(record.straight.to_picture), size=record.straight.size, mirrored=record.straight.mirrored
    )
    readings = readings_from_json(record.readings)
    marks = record.marks_found or record.marks or Marks()
    return PictureReading(
        straight=straight,
        blade=_blade_from(straight, marks, record.outline),
        readings=readings,
        marks=marks,
        moved=(),
        warnings=readings.warnings,
    )


def _blade_from(straight: Straight, marks: Marks, outline: Sequence[PointXY] = ()) -> Blade:
    """The blade as the stored marks give it; for drawing only."""
    points = {name: straight.straight_xy(np.array(xy)) for name, xy in points_of(marks).items()}

    def coordinate(name: str, axis: int) -> float | None:
        return float(points[name][axis]) if name in points else None

    line = "back" if "back.0" in points else "centreline"
    y0, slope = float(straight.size[1]), 0.0
    if f"{line}.0" in points:
        (x1, y1), (x2, y2) = points[f"{line}.0"], points[f"{line}.1"]
        slope = float((y2 - y1) / (x2 - x1)) if x2 != x1 else 0.0
        y0 = float(y1 - slope * x1)
    heights = [y for y in (coordinate("blade_height.0", 1), coordinate("blade_height.1", 1)) if y is not None]
    return Blade(
        shoulder_x=coordinate("shoulder", 0),
        tip_x=coordinate("tip", 0),
        back_y0=y0,
        back_slope=slope,
        back_sigma_px=0.0,
        top_y=min(heights, default=None),
        outline=np.array(outline, dtype=float).reshape(-1, 2),
    )
