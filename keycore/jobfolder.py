"""The job folder on disk: ``job.json``, the pictures' own bytes, nothing that a plain backup cannot take.

A save writes a whole temporary file in the same folder, forces it to the disk and puts it in the place of the old one
in one step, so that a crash at any moment leaves the last good state.  The state before that stays beside it as
``job.previous.json``.  A picture is written once and never again.  Files can be read by their owner only.
"""

from __future__ import annotations

import contextlib
import hashlib
import os
import secrets
import time
from collections.abc import Mapping
from pathlib import Path

from keycore.job import Job, JobPicture, job_text, parse_job
from keycore.refusal import Refusal

RECORD = "job.json"
PREVIOUS = "job.previous.json"
_PART_PREFIX = ".job-part-"
_LARGEST_RECORD_BYTES = 64_000_000


def sha256_of(content: bytes) -> str:
    """Hex SHA-256 of a picture's own bytes."""
    return hashlib.sha256(content).hexdigest()


def save_job(folder: Path | str, job: Job, pictures: Mapping[str, bytes] | None = None) -> None:
    """Save the job; ``pictures`` holds the bytes of those that the folder does not have yet, by their ``file`` name.

    Refused, with the folder left as it was: a picture whose bytes do not have the recorded SHA-256, a picture that is
    neither given nor in the folder, and a folder whose ``job.json`` is damaged or of a newer program.
    """
    folder = Path(folder)
    given = dict(pictures or {})
    text = job_text(job)
    try:
        folder.mkdir(mode=0o700, parents=True, exist_ok=True)
        _require_own_record_good(folder)
        missing = [picture for picture in job.pictures if not _already_there(folder, picture, given)]
        for picture in missing:
            write_whole(folder, picture.file, given[picture.file])
        _keep_previous(folder)
        write_whole(folder, RECORD, text.encode())
        _remove_old_parts(folder)
    except OSError as error:
        raise Refusal(
            f"The job could not be saved in {folder.name}: {error.strerror or error}. The last good state is still "
            f"there; choose another folder or make room.",
            code="job.cannot-save",
        ) from error


def load_job(folder: Path | str) -> tuple[Job, tuple[str, ...]]:
    """The job in a folder, and one sentence for each thing in it that is damaged.

    With any sentence the job is for reading only: save it elsewhere.  Where ``job.json`` itself cannot be read the
    last good state is opened instead, and a sentence says so.
    """
    folder = Path(folder)
    job, problems = load_record(folder)
    for picture in job.pictures:
        try:
            read_picture(folder, picture)
        except Refusal as refusal:
            problems = (*problems, refusal.sentence)
    return job, problems


def load_record(folder: Path | str) -> tuple[Job, tuple[str, ...]]:
    """The same without a look at the pictures' bytes: quick, for lists."""
    folder = Path(folder)
    record = folder / RECORD
    if not folder.is_dir():
        raise Refusal(f"There is no job folder named {folder.name}.", code="job.no-folder")
    if not record.exists() and not (folder / PREVIOUS).exists():
        raise Refusal(f"{folder.name} is not a job folder: it has no {RECORD}.", code="job.no-record")
    try:
        job, problems = parse_job(_text_of(record), f"{folder.name}/{RECORD}")
    except Refusal as refusal:
        if refusal.code not in {"job.damaged", "job.not-a-job"} or not (folder / PREVIOUS).exists():
            raise
        job, problems = parse_job(_text_of(folder / PREVIOUS), f"{folder.name}/{PREVIOUS}")
        problems = (f"{refusal.sentence} The state saved before it was opened instead.", *problems)
    return job, problems


def read_picture(folder: Path | str, picture: JobPicture) -> bytes:
    """A picture's own bytes, proved by their SHA-256."""
    folder = Path(folder)
    try:
        content = (folder / picture.file).read_bytes()
    except OSError as error:
        raise Refusal(
            f"Picture {picture.file} of job folder {folder.name} cannot be read: {error.strerror or error}.",
            code="job.picture-missing",
        ) from error
    if sha256_of(content) != picture.sha256:
        raise Refusal(
            f"Picture {picture.file} of job folder {folder.name} is not the one that was read: its SHA-256 has "
            f"changed.",
            code="job.picture-changed",
        )
    return content


def forget_job(folder: Path | str) -> tuple[str, ...]:
    """Remove what the program keeps of a job; returns what else lies in the folder (exports, say) and was left.

    A record that cannot be read is removed too; the pictures that it would have named are then among what is left.
    """
    folder = Path(folder)
    try:
        pictures = load_record(folder)[0].pictures
    except Refusal as refusal:
        if refusal.code in {"job.no-folder", "job.no-record"}:
            raise
        pictures = ()
    names = {RECORD, PREVIOUS, "job.lock", *(picture.file for picture in pictures)}
    for path in folder.iterdir():
        if path.name in names or path.name.startswith(_PART_PREFIX):
            path.unlink()
    left = tuple(sorted(path.name for path in folder.iterdir()))
    if not left:
        folder.rmdir()
    return left


def _text_of(path: Path) -> str:
    try:
        if path.stat().st_size > _LARGEST_RECORD_BYTES:
            raise Refusal(f"{path.name} is too large for a job record; it was left as it is.", code="job.damaged")
        return path.read_bytes().decode("utf-8")
    except UnicodeDecodeError as error:
        raise Refusal(
            f"{path.name} is damaged: it is not UTF-8 text. It was left as it is.", code="job.damaged"
        ) from error
    except OSError as error:
        raise Refusal(f"{path.name} cannot be read: {error.strerror or error}.", code="job.damaged") from error


def _require_own_record_good(folder: Path) -> None:
    if not (folder / RECORD).exists():
        return
    try:
        _job, problems = parse_job(_text_of(folder / RECORD), f"{folder.name}/{RECORD}")
    except Refusal as refusal:
        raise Refusal(
            f"{refusal.sentence} Nothing was saved there; save in another folder.", code=refusal.code
        ) from refusal
    if problems:
        raise Refusal(
            f"{problems[0]} The job was opened for reading only; save it in another folder.", code="job.damaged"
        )


def _already_there(folder: Path, picture: JobPicture, given: Mapping[str, bytes]) -> bool:
    """True where the folder has the picture; False where it is to be written from ``given``; a refusal otherwise."""
    if picture.file in given and sha256_of(given[picture.file]) != picture.sha256:
        raise Refusal(
            f"Picture {picture.file} does not have the SHA-256 that the job records; nothing was saved.",
            code="job.picture-changed",
        )
    if (folder / picture.file).exists():
        read_picture(folder, picture)
        return True
    if picture.file not in given:
        raise Refusal(
            f"Picture {picture.file} is not in the job folder and was not given; nothing was saved.",
            code="job.picture-missing",
        )
    return False


def _keep_previous(folder: Path) -> None:
    if not (folder / RECORD).exists():
        return
    part = folder / f"{_PART_PREFIX}{secrets.token_hex(8)}"
    try:
        os.link(folder / RECORD, part)
    except OSError:  # a file system without hard links
        write_whole(folder, PREVIOUS, (folder / RECORD).read_bytes())
        return
    os.replace(part, folder / PREVIOUS)
    if part.exists():  # replacing a name by another name of the same file does nothing and leaves both
        part.unlink()


def write_whole(folder: Path, name: str, content: bytes) -> None:
    """Write a whole file, force it to the disk, and only then give it its name."""
    part = folder / f"{_PART_PREFIX}{secrets.token_hex(8)}"
    descriptor = os.open(part, os.O_WRONLY | os.O_CREAT | os.O_EXCL | getattr(os, "O_BINARY", 0), 0o600)
    try:
        with os.fdopen(descriptor, "wb") as file:
            file.write(content)
            file.flush()
            os.fsync(file.fileno())
        os.replace(part, folder / name)
    except BaseException:
        with contextlib.suppress(OSError):
            part.unlink()
        raise
    _sync_folder(folder)


def _sync_folder(folder: Path) -> None:
    if os.name != "posix":
        return
    descriptor = os.open(folder, os.O_RDONLY)
    try:
        os.fsync(descriptor)
    except OSError:  # some network file systems cannot; the file itself is safe
        pass
    finally:
        os.close(descriptor)


def _remove_old_parts(folder: Path, older_than_s: float = 3600.0) -> None:
    """Remove what a crash left behind; never a part that another bench may be writing now."""
    for path in folder.glob(f"{_PART_PREFIX}*"):
        with contextlib.suppress(OSError):
            if time.time() - path.stat().st_mtime > older_than_s:
                path.unlink()
