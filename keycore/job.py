"""The job record, job/2: everything that another locksmith needs to check a job, as one frozen value.

A job is a value: an edit makes a new one (:meth:`Job.changed`).  The depth table is kept whole inside it, with its
provenance and confirmation, so that a job can be opened when the table has long been changed or lost.
Writing and reading the folder is :mod:`keycore.jobfolder`.

Versions
--------
``format`` is "job/N".  :func:`parse_job` lifts an older N to the present one step by step (:data:`MIGRATIONS`) and
refuses a newer N in words, because a newer program may have recorded something that this one would lose.

* job/1: the first.
* job/2: the decoding is kept whole, and a picture keeps its blade's outline, so that a job and its papers show years
  later what they showed then; nothing else changed.

Checksum
--------
The file carries a SHA-256 of its own members.  A bit that fell over on a stick, or a digit that somebody changed in an
editor, would otherwise give another code with nobody noticing.  It finds accidents; it is no seal against intent.
A record without one (made by another program) is read all the same.
"""

from __future__ import annotations

import hashlib
import json
import re
from collections.abc import Callable, Iterable, Mapping
from datetime import date, datetime
from typing import Annotated, Any, Literal

from pydantic import BaseModel, ConfigDict, Field, JsonValue, ValidationError, field_validator

from keycore.marks import Finite, Marks
from keycore.measured import Medium
from keycore.refusal import Refusal

JOB_VERSION = 2
JobState = Literal["open", "read", "cut", "done"]
Removed = Literal["customer", "code"]
Json = dict[str, JsonValue]
Migration = Callable[[dict[str, Any]], dict[str, Any]]

MIGRATIONS: dict[int, Migration] = {1: dict}
"""Version n -> the function that turns a record of version n into one of version n + 1.  Version 1 is the first."""

_FILE_NAME = re.compile(r"[A-Za-z0-9][A-Za-z0-9 ._+()-]{0,120}")
_RESERVED = frozenset({"job.json", "job.previous.json", "job.lock", "autosave.json"})


class _Record(BaseModel):
    model_config = ConfigDict(frozen=True, extra="forbid")


class Entitlement(_Record):
    """Who asked for the key, what proof was seen, by whom and when.  Fields may be empty while a job is begun."""

    asked_by: str = ""
    proof_seen: str = ""
    seen_by: str = ""
    seen_on: datetime | None = None
    authority_reference: str | None = None
    """Reference of the maker's or owner's authority to cut a key of a restricted system."""
    address: str | None = None

    def missing_for_export(self, restricted: bool = False) -> tuple[str, ...]:
        """Plain names of what must still be recorded before a code may leave the program."""
        wanted = [
            ("who asked for the key", _says_something(self.asked_by)),
            ("what proof was seen", _says_something(self.proof_seen)),
            ("who saw the proof", _says_something(self.seen_by)),
            ("when the proof was seen", self.seen_on is not None),
        ]
        if restricted:
            wanted.append(
                ("the authority's reference for this restricted key", _says_something(self.authority_reference))
            )
        return tuple(name for name, there in wanted if not there)

    def line(self) -> str:
        """One line for papers: who asked, what was seen, by whom, when."""
        when = "" if self.seen_on is None else f" on {self.seen_on:%Y-%m-%d %H:%M}"
        reference = f"; authority's reference {self.authority_reference}" if self.authority_reference else ""
        return f"Asked by {self.asked_by}; proof seen: {self.proof_seen}; seen by {self.seen_by}{when}{reference}."


class HeldDepth(_Record):
    """One thing the locksmith knows of one cut.  ``cut`` counts from 1 over the whole code, as people count."""

    cut: Annotated[int, Field(ge=1, le=64)]
    depth: str


class JobHolds(_Record):
    """Depths held for a cut, and depths ruled out."""

    held: tuple[HeldDepth, ...] = ()
    ruled_out: tuple[HeldDepth, ...] = ()

    @classmethod
    def from_indexes(cls, held: Mapping[int, str], ruled_out: Iterable[tuple[int, str]]) -> JobHolds:
        """From the decoder's own form, in which cuts count from 0."""
        return cls(
            held=tuple(HeldDepth(cut=index + 1, depth=label) for index, label in sorted(held.items())),
            ruled_out=tuple(HeldDepth(cut=index + 1, depth=label) for index, label in sorted(ruled_out)),
        )

    def indexes(self) -> tuple[dict[int, str], frozenset[tuple[int, str]]]:
        """(held, ruled out) in the decoder's own form, in which cuts count from 0."""
        return {h.cut - 1: h.depth for h in self.held}, frozenset((h.cut - 1, h.depth) for h in self.ruled_out)


class StraightRecord(_Record):
    """How the straightened picture maps to the stored one: a homography by rows, size in px, turned over or not."""

    to_picture: tuple[tuple[Finite, Finite, Finite], tuple[Finite, Finite, Finite], tuple[Finite, Finite, Finite]]
    size: tuple[int, int]
    mirrored: bool = False


class JobPicture(_Record):
    """One picture of the job; its bytes lie untouched beside ``job.json``."""

    file: str
    """Name inside the job folder."""
    sha256: Annotated[str, Field(pattern=r"^[0-9a-f]{64}$")]
    original_name: str = ""
    page: Annotated[int, Field(ge=1)] = 1
    shows: Literal["key", "cut key"] = "key"
    """The key that is wanted, or the one that was cut, photographed for the check."""
    key: Annotated[int, Field(ge=0)] = 0
    """Which key of the picture, counted from 0, where it shows several."""
    medium: Medium | None = None
    """What the person says that the picture is; None: as the program finds."""
    marks: Marks | None = None
    """What a hand set, and the rest of a row or pair that the hand touched."""
    marks_by_hand: tuple[str, ...] = ()
    """Names of the marks that the hand itself set ("root.2")."""
    marks_locked: tuple[str, ...] = ()
    marks_as_placed: tuple[str, ...] = ()
    """Names of the hand's marks that are read where they stand, and not at the nearest edge."""
    marks_accepted: bool = False
    locked_steps: tuple[str, ...] = ()
    """"scale", "marks": what of this picture is not to be changed by accident."""
    marks_found: Marks | None = None
    """All marks as the reading left them."""
    reference: str = "auto"
    growth_override_mm: Finite | None = None
    turned_off_references: tuple[str, ...] = ()
    straight: StraightRecord | None = None
    outline: tuple[tuple[Finite, Finite], ...] = ()
    """The blade's visible edge in straightened pixels, for drawing; empty where there is no reading."""
    readings: Json | None = None
    """readings/1 (see :mod:`keycore.storedreadings`): what was measured, so that the code can be decoded again."""

    @field_validator("file")
    @classmethod
    def _plain_name(cls, name: str) -> str:
        if not _FILE_NAME.fullmatch(name) or name.lower() in _RESERVED or name.endswith((".", " ")):
            raise ValueError(f"a picture's name in a job folder must be a plain file name; got {name!r}")
        return name


class TrialDone(_Record):
    """One cutting and trying in the lock."""

    blank: Annotated[int, Field(ge=1)]
    code: tuple[str, ...]
    opened: bool | None = None
    tried_on: datetime | None = None
    note: str = ""


class Job(_Record):
    """One job, whole."""

    format: Literal["job/2"] = "job/2"
    number: Annotated[str, Field(min_length=1, max_length=64)]
    created: datetime
    program_version: str
    state: JobState = "open"
    entitlement: Entitlement | None = None
    spec: Json | None = None
    """keyspec/1, whole, with provenance and confirmation; None until a table is chosen."""
    pictures: tuple[JobPicture, ...] = ()
    holds: JobHolds = JobHolds()
    reading: Json | None = None
    """keyreading/1 of all pictures together."""
    decoding: Json | None = None
    """decoding/1 (see :mod:`keycore.storeddecoding`): the same whole, to be shown again as it was."""
    decided_code: tuple[str, ...] | None = None
    """The code the locksmith settled on, flat: the first edge's cuts, then the second's."""
    trials: tuple[TrialDone, ...] = ()
    cut_key_check: Json | None = None
    notes: str = ""
    keep_until: date | None = None
    """When the record should be looked at again, to be kept or destroyed."""
    removed: tuple[Removed, ...] = ()
    """What was taken out of a copy for teaching."""
    locked_steps: tuple[str, ...] = ()
    """Steps of the job that are not to be changed by accident ("entitlement", "table", "code" and so on)."""

    @property
    def restricted(self) -> bool:
        """True where the table of this job says that somebody limits who may cut it."""
        return bool(self.spec and self.spec.get("restricted"))

    @property
    def holds_code(self) -> bool:
        """True where a code, or what a code can be made from, is in the record."""
        return bool(
            self.reading or self.decoding or self.decided_code or self.trials or self.cut_key_check or self.pictures
        )

    def missing_for_export(self) -> tuple[str, ...]:
        """Plain names of what must still be recorded before a code of this job may leave the program."""
        return (self.entitlement or Entitlement()).missing_for_export(self.restricted)

    def require_entitlement(self) -> Entitlement:
        """The entitlement, complete, or a refusal that says what is missing."""
        missing = self.missing_for_export()
        if missing or self.entitlement is None:
            raise Refusal(
                f"Job {self.number}: a code leaves the program only with its entitlement; still to be recorded: "
                f"{', '.join(missing)}.",
                code="job.no-entitlement",
            )
        return self.entitlement

    def changed(self, **fields: Any) -> Job:
        """A new job in which the named members are replaced; the rules are checked again."""
        known = {name: getattr(self, name) for name in type(self).model_fields}
        unknown = sorted(set(fields) - set(known))
        if unknown:
            raise Refusal(f"A job has no member named {unknown[0]!r}.", code="job.unknown-member")
        try:
            return Job(**{**known, **fields})
        except ValidationError as error:
            raise Refusal(f"Job {self.number}: {_first_fault(error)}.", code="job.bad-member") from error


def job_text(job: Job) -> str:
    """The record as the text of ``job.json``; every float is written so that it reads back to the last bit."""
    record = job.model_dump(mode="json")
    try:
        record["checksum"] = _checksum(record)
        return json.dumps(record, indent=1, ensure_ascii=False, allow_nan=False) + "\n"
    except ValueError as error:
        raise Refusal(
            f"Job {job.number} holds a number that is not finite, which a record may not; nothing was saved.",
            code="job.not-finite",
        ) from error


def parse_job(
    text: str, origin: str = "job.json", *, migrations: Mapping[int, Migration] | None = None
) -> tuple[Job, tuple[str, ...]]:
    """A job from the text of ``job.json``, with a sentence for everything in it that is damaged.

    Where one member is damaged the rest is opened and the member is left out; such a job must not be saved over the
    damaged one (:func:`keycore.jobfolder.save_job` sees to that).  A text that is no record at all, and a record of a
    newer version, are refused: a damaged record is never opened as an empty one.
    """
    try:
        record = json.loads(text)
    except (ValueError, RecursionError) as error:
        raise Refusal(
            f"{origin} is damaged: it is not whole JSON ({_short(error)}). It was left as it is; open the last good "
            f"state or a backup.",
            code="job.damaged",
        ) from error
    if not isinstance(record, dict):
        raise Refusal(f"{origin} is damaged: it holds no job record. It was left as it is.", code="job.damaged")
    claimed = record.pop("checksum", None)
    changed = claimed is not None and claimed != _checksum(record)
    record = migrated(record, origin, migrations=migrations)
    problems: tuple[str, ...] = ()
    try:
        job = Job.model_validate(record)
    except ValidationError:
        job, problems = _salvaged(record, origin)
    if changed:
        words = (
            f"{origin}: its checksum does not match, so it was changed or damaged since the save; compare it with a "
            f"backup before a key is cut."
        )
        problems = (words, *problems)
    return job, problems


def migrated(
    record: dict[str, Any], origin: str = "job.json", *, migrations: Mapping[int, Migration] | None = None
) -> dict[str, Any]:
    """The record lifted to the present version; a newer one is refused in words."""
    steps = MIGRATIONS if migrations is None else migrations
    claimed = record.get("format")
    match = re.fullmatch(r"job/(\d{1,6})", claimed) if isinstance(claimed, str) else None
    if match is None:
        raise Refusal(
            f'{origin} is not a job record: its "format" is {claimed!r}, and it should be "job/{JOB_VERSION}".',
            code="job.not-a-job",
        )
    version = int(match.group(1))
    if version > JOB_VERSION:
        raise Refusal(
            f"{origin} was written by a newer program (format {claimed}; this one knows up to job/{JOB_VERSION}). "
            f"It was left as it is; open it with the newer program.",
            code="job.newer",
        )
    for old in range(version, JOB_VERSION):
        if old not in steps:
            raise Refusal(f"{origin} has format job/{old}, which this program cannot lift.", code="job.too-old")
        record = {**steps[old](dict(record)), "format": f"job/{old + 1}"}
    return record


def redacted(job: Job, what: Removed | Iterable[Removed], *, keep_pictures: bool = False) -> Job:
    """A copy for teaching, without the customer or without the code.

    Without "customer" goes everything a person wrote in words (entitlement, notes, original names of pictures); a
    code may still be in the copy, so the job's entitlement must be complete before it is made.  Without "code" go
    reading, holds, trials and check.  Pictures go too, because a picture of a key is its code and a page of papers
    may carry names; ``keep_pictures`` keeps them when only the customer is taken out and somebody has looked at them.
    """
    parts = {what} if isinstance(what, str) else set(what)
    unknown = parts - {"customer", "code"}
    if unknown or not parts:
        raise Refusal(
            f"A copy can be made without the customer or without the code; got {sorted(parts)}.", code="job.redact"
        )
    if "code" not in parts and job.holds_code:
        job.require_entitlement()
    fields: dict[str, Any] = {"removed": tuple(sorted(set(job.removed) | parts)), "keep_until": None}
    if "code" in parts:
        fields |= {
            "pictures": (),
            "holds": JobHolds(),
            "reading": None,
            "decoding": None,
            "decided_code": None,
            "trials": (),
            "cut_key_check": None,
            "notes": "",
        }
    if "customer" in parts:
        fields |= {"entitlement": None, "notes": ""}
        if "code" not in parts:
            fields["trials"] = tuple(trial.model_copy(update={"note": ""}) for trial in job.trials)
            kept = enumerate(job.pictures, 1) if keep_pictures else ()
            fields["pictures"] = tuple(_renamed(picture, number, _neutral_names(job)) for number, picture in kept)
            names = _neutral_names(job)
            for member in ("reading", "decoding", "cut_key_check"):
                fields[member] = _with_names(getattr(job, member), names)
    return job.changed(**fields)


def _neutral_names(job: Job) -> dict[str, str]:
    """Every name that a picture has or came with, longest first, and the neutral name that takes its place."""
    names = {}
    for number, picture in enumerate(job.pictures, 1):
        for name in (picture.file, picture.original_name):
            if name.strip():
                names[name] = f"picture-{number}"
    return dict(sorted(names.items(), key=lambda pair: -len(pair[0])))


def _with_names(value: Any, names: Mapping[str, str]) -> Any:
    """A JSON value in whose words pictures have their neutral names."""
    if isinstance(value, dict):
        return {name: _with_names(part, names) for name, part in value.items()}
    if isinstance(value, list | tuple):
        return [_with_names(part, names) for part in value]
    if isinstance(value, str):
        for name, neutral in names.items():
            value = value.replace(name, neutral)
    return value


def _checksum(record: Mapping[str, Any]) -> str:
    """SHA-256 of the members, however they are laid out in the file."""
    text = json.dumps(record, sort_keys=True, separators=(",", ":"), ensure_ascii=True)
    return hashlib.sha256(text.encode("ascii")).hexdigest()


def _renamed(picture: JobPicture, number: int, names: Mapping[str, str]) -> JobPicture:
    suffix = "." + picture.file.rsplit(".", 1)[1] if "." in picture.file else ""
    return picture.model_copy(
        update={
            "file": f"picture-{number}{suffix}",
            "original_name": "",
            "readings": _with_names(picture.readings, names),
        }
    )


def _says_something(text: str | None) -> bool:
    return text is not None and any(character.isalnum() for character in text)


def _salvaged(record: dict[str, Any], origin: str) -> tuple[Job, tuple[str, ...]]:
    """Open what can be opened: members are tried one by one, pictures and trials one by one within their lists."""
    problems: list[str] = []
    stand_in: dict[str, Any] = {"number": "unknown", "created": datetime(1970, 1, 1), "program_version": "unknown"}
    good: dict[str, Any] = {}
    for name in Job.model_fields:
        if name == "format":
            continue
        if name not in record:
            if name in stand_in:
                problems.append(f'{origin}: "{name}" is missing.')
            continue
        value, faults = _salvaged_member(name, record[name], stand_in)
        problems += [f"{origin}: {fault}." for fault in faults]
        if value is not None:
            good[name] = value
    for name in sorted(set(record) - set(Job.model_fields)):
        problems.append(f'{origin}: "{name}" is not a member that a job has; it was not read.')
    return Job.model_validate({**stand_in, **good}), tuple(problems)


def _salvaged_member(name: str, value: Any, stand_in: dict[str, Any]) -> tuple[Any, list[str]]:
    fault = _fault_of(name, value, stand_in)
    if fault is None:
        return value, []
    if isinstance(value, list) and name in {"pictures", "trials"}:
        faults: list[str] = []
        kept = []
        for index, item in enumerate(value, 1):
            item_fault = _fault_of(name, [item], stand_in)
            if item_fault is None:
                kept.append(item)
            else:
                faults.append(f"{name[:-1]} {index} is damaged and was left out ({item_fault})")
        return kept, faults
    return None, [f'"{name}" is damaged and was left out ({fault})']


def _fault_of(name: str, value: Any, stand_in: dict[str, Any]) -> str | None:
    try:
        Job.model_validate({**stand_in, name: value})
    except ValidationError as error:
        return _first_fault(error)
    return None


def _first_fault(error: ValidationError) -> str:
    fault = error.errors(include_url=False)[0]
    where = ".".join(str(part) for part in fault["loc"])
    message = fault["msg"].removeprefix("Value error, ")
    return f"{where}: {message[:1].lower()}{message[1:]}" if where else message


def _short(error: Exception) -> str:
    return f"line {error.lineno}" if isinstance(error, json.JSONDecodeError) else type(error).__name__
