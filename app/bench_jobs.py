"""A folder of jobs: what lies in it, found by number, customer, date, table and state, and which are due.

Codes are never in a list.  A sealed job shows its file's name only; who has not its passphrase learns nothing else.
"""

from __future__ import annotations

import csv
import io
from collections.abc import Iterable
from dataclasses import dataclass
from datetime import date, datetime
from pathlib import Path
from typing import Any, Final

from app.bench_sealed import SUFFIX, sealed_files
from keycore.job import JobState
from keycore.jobfolder import RECORD, load_record
from keycore.joblock import holder_of
from keycore.refusal import Refusal

COLUMNS: Final = (
    "number", "created", "state", "table", "asked_by", "pictures", "keep_until", "due", "open_at", "place", "remark",
)  # fmt: skip
"""Columns of the list as CSV and members of its JSON: number and day of the job, its state (open, read, cut, done, or
sealed), the depth table, the customer, how many pictures, the day to look at it again and whether that has come, who
has it open, its folder or sealed file, and what is wrong with it."""


@dataclass(frozen=True)
class JobRow:
    """One job of a folder; members are empty where they are not known."""

    place: Path
    number: str = ""
    created: datetime | None = None
    state: str = ""
    table: str = ""
    asked_by: str = ""
    pictures: int | None = None
    keep_until: date | None = None
    open_at: str = ""
    remark: str = ""

    def is_due(self, today: date | None = None) -> bool:
        """True where the day has come to look at the record again."""
        return is_due(self.keep_until, today)

    def texts(self, today: date | None = None) -> dict[str, str]:
        """By the names of :data:`COLUMNS`, as people read them."""
        return {
            "number": self.number,
            "created": "" if self.created is None else f"{self.created:%Y-%m-%d %H:%M}",
            "state": self.state,
            "table": self.table,
            "asked_by": self.asked_by,
            "pictures": "" if self.pictures is None else str(self.pictures),
            "keep_until": "" if self.keep_until is None else self.keep_until.isoformat(),
            "due": "due" if self.is_due(today) else "",
            "open_at": self.open_at,
            "place": self.place.name,
            "remark": self.remark,
        }

    def to_json(self, today: date | None = None) -> dict[str, Any]:
        """One object, jobrow/1."""
        return {
            "format": "jobrow/1",
            **self.texts(today),
            "created": None if self.created is None else self.created.isoformat(),
            "pictures": self.pictures,
            "keep_until": None if self.keep_until is None else self.keep_until.isoformat(),
            "due": self.is_due(today),
            "path": str(self.place),
        }


@dataclass(frozen=True)
class JobSearch:
    """What is looked for; None and "" ask nothing.  Words are found anywhere in their member, large or small."""

    words: str = ""
    """Anywhere: number, customer, table, place, or the day as 2026-03-04."""
    number: str = ""
    customer: str = ""
    table: str = ""
    state: JobState | str = ""
    since: date | None = None
    until: date | None = None
    """First and last day on which the job was begun."""
    due: bool = False

    def takes(self, row: JobRow, today: date | None = None) -> bool:
        """True where the job is one of those looked for."""
        day = None if row.created is None else row.created.date()
        return (
            _has(self.number, row.number)
            and _has(self.customer, row.asked_by)
            and _has(self.table, row.table)
            and (not self.state or row.state == self.state)
            and (self.since is None or (day is not None and day >= self.since))
            and (self.until is None or (day is not None and day <= self.until))
            and (not self.due or row.is_due(today))
            and (not self.words or any(_has(self.words, text) for text in row.texts(today).values()))
        )


def jobs_in(folder: Path, search: JobSearch = JobSearch(), *, today: date | None = None) -> tuple[JobRow, ...]:
    """The jobs of a folder, oldest first, those without a day last; a damaged one's remark says what is wrong."""
    rows = [_row(record.parent) for record in sorted(folder.glob(f"*/{RECORD}"))] if folder.is_dir() else []
    rows += [_sealed_row(file) for file in sealed_files(folder)]
    found = [row for row in rows if search.takes(row, today)]
    return tuple(sorted(found, key=lambda row: (row.created is None, row.texts(today)["created"], row.place)))


def jobs_csv(rows: Iterable[JobRow], *, today: date | None = None) -> str:
    """The list for a spreadsheet: :data:`COLUMNS`, lines ended as RFC 4180 has it."""
    out = io.StringIO(newline="")
    writer = csv.DictWriter(out, COLUMNS, lineterminator="\r\n")
    writer.writeheader()
    for row in rows:
        writer.writerow({name: _harmless(text) for name, text in row.texts(today).items()})
    return out.getvalue()


def is_due(keep_until: date | None, today: date | None = None) -> bool:
    """True where the day has come to look at a record again."""
    return keep_until is not None and keep_until <= (today or date.today())


def reminder(keep_until: date | None, today: date | None = None) -> str:
    """A sentence where the day has come; else ""."""
    if keep_until is None or not is_due(keep_until, today):
        return ""
    return (
        f"This record was to be kept until {keep_until:%Y-%m-%d}: look whether it is still needed, then give it a new "
        f"day or forget it."
    )


def _row(folder: Path) -> JobRow:
    try:
        job, problems = load_record(folder)
    except Refusal as refusal:
        return JobRow(folder, remark=refusal.sentence)
    holder = holder_of(folder)
    return JobRow(
        folder,
        number=job.number,
        created=job.created,
        state=job.state,
        table=str(job.spec.get("name", "")) if job.spec is not None else "",
        asked_by=job.entitlement.asked_by if job.entitlement is not None else "",
        pictures=len(job.pictures),
        keep_until=job.keep_until,
        open_at="" if holder is None or holder.is_stale else f"{holder.name} on {holder.computer}",
        remark=problems[0] if problems else _copy_words(job.removed),
    )


def _copy_words(removed: tuple[str, ...]) -> str:
    return f"copy for teaching without {' and '.join(removed)}" if removed else ""


def _sealed_row(file: Path) -> JobRow:
    return JobRow(file, number=file.name.removesuffix(SUFFIX), state="sealed")


def _has(wanted: str, text: str) -> bool:
    return wanted.casefold() in text.casefold()


def _harmless(text: str) -> str:
    """A person's words kept from being taken for a formula by a spreadsheet."""
    return f"'{text}" if text[:1] in ("=", "+", "-", "@", "\t", "\r") else text
