"""Forgetting a job that is not on the bench: what is kept of it, and its removal."""

from __future__ import annotations

import contextlib
from dataclasses import dataclass
from pathlib import Path

from app import bench_log
from app.bench_sealed import AUTOSAVE_SUFFIX, LOCK_SUFFIX, is_sealed
from keycore.jobfolder import forget_job, load_record
from keycore.joblock import LOCK, holder_of
from keycore.refusal import Refusal

EXPORTS = (
    "annotated.png", "annotated.svg", "reading.json", "sheet.pdf", "template.pdf", "template.svg", "template.dxf",
    "label.pdf", "cuts.csv", "cuts.json", "overlay.svg", "overlay.png",
)  # fmt: skip
"""Names under which the program writes papers and exports by itself, or proposes to."""


@dataclass(frozen=True)
class Kept:
    """What is kept of a job, in words; ``number`` is "" for a sealed one."""

    name: str
    words: str
    number: str = ""


def what_is_kept(place: Path) -> Kept:
    """What would be removed; refused where there is no job, or another bench has it open."""
    if place.is_file() and is_sealed(place):
        _require_free(place.parent, f"{place.name}{LOCK_SUFFIX}", place.name)
        return Kept(f"sealed job {place.name}", f"sealed job {place.name}")
    try:
        job, _problems = load_record(place)
    except Refusal as refusal:
        if refusal.code in {"job.no-folder", "job.no-record"}:
            raise
        _require_free(place, LOCK, place.name)
        return Kept(f"damaged job {place.name}", f"damaged job {place.name}; its pictures are left", place.name)
    _require_free(place, LOCK, place.name)
    return Kept(f"job {job.number}", f"job {job.number} with its {len(job.pictures)} picture(s)", job.number)


def forget_place(place: Path, *, exports: bool = False) -> tuple[str, ...]:
    """Remove all that the program keeps of a job; returns the names of what else lies in its folder and was left."""
    kept = what_is_kept(place)
    if not kept.number:
        for suffix in (AUTOSAVE_SUFFIX, LOCK_SUFFIX, ""):
            place.with_name(f"{place.name}{suffix}").unlink(missing_ok=True)
        return ()
    if exports:
        for name in EXPORTS:
            (place / name).unlink(missing_ok=True)
    left = forget_job(place)
    with contextlib.suppress(OSError):
        bench_log.forget(kept.number)
    return left


def _require_free(folder: Path, lock: str, name: str) -> None:
    holder = holder_of(folder, lock=lock)
    if holder is not None and not holder.is_stale:
        raise Refusal(
            f"{name} is open at {holder.name} on {holder.computer} since {holder.since}; close it there first.",
            code="job.locked",
        )
