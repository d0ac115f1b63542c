"""Sealed jobs: a whole job in one file that opens only with its passphrase.

The file is a tar archive (``job.json`` and the pictures' own bytes) encrypted in the age format with a passphrase
(age-encryption.org/v1, scrypt), so any program that knows age can open it without this one.  A sealed job is read and
written in memory: its content never touches the disk in the clear.  A forgotten passphrase cannot be recovered.
"""

from __future__ import annotations

import io
import os
import tarfile
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from keycore.job import Job, job_text, parse_job
from keycore.jobfolder import RECORD, sha256_of, write_whole
from keycore.refusal import Refusal

SUFFIX = ".job.age"
SHORTEST_PASSPHRASE = 12
LARGEST_SEALED_BYTES = 1_000_000_000
_AGE_FIRST_LINE = b"age-encryption.org/v1"


@dataclass(frozen=True)
class SealedJob:
    """An opened sealed job: the record, the pictures' bytes by file name, and a sentence for each thing damaged."""

    job: Job
    pictures: Mapping[str, bytes]
    problems: tuple[str, ...]


def save_sealed(file: Path | str, job: Job, pictures: Mapping[str, bytes], passphrase: str) -> None:
    """Write a job sealed, for its owner's eyes; a file that was there before stays whole until the new one is."""
    file = Path(file)
    if len(passphrase.strip()) < SHORTEST_PASSPHRASE:
        raise Refusal(
            f"A passphrase needs at least {SHORTEST_PASSPHRASE} characters; four or five unrelated words are good.",
            code="sealed.short",
        )
    for picture in job.pictures:
        if picture.file not in pictures:
            raise Refusal(f"Picture {picture.file} was not given; nothing was sealed.", code="job.picture-missing")
        if sha256_of(pictures[picture.file]) != picture.sha256:
            raise Refusal(
                f"Picture {picture.file} does not have the SHA-256 that the job records; nothing was sealed.",
                code="job.picture-changed",
            )
    content = {RECORD: job_text(job).encode(), **{p.file: pictures[p.file] for p in job.pictures}}
    sealed = _pyrage().passphrase.encrypt(_packed(content), passphrase)
    try:
        file.parent.mkdir(parents=True, exist_ok=True)
        write_whole(file.parent, file.name, sealed)
    except OSError as error:
        raise Refusal(
            f"The sealed job could not be saved: {error.strerror or error}.", code="job.cannot-save"
        ) from error


def load_sealed(file: Path | str, passphrase: str) -> SealedJob:
    """Open a sealed job in memory."""
    file = Path(file)
    try:
        if os.path.getsize(file) > LARGEST_SEALED_BYTES:
            raise Refusal(f"{file.name} is too large for a sealed job.", code="sealed.too-large")
        sealed = file.read_bytes()
    except OSError as error:
        raise Refusal(f"{file.name} cannot be read: {error.strerror or error}.", code="sealed.unreadable") from error
    if not sealed.startswith(_AGE_FIRST_LINE):
        raise Refusal(f"{file.name} is not a sealed job.", code="sealed.not-sealed")
    rage = _pyrage()
    try:
        packed = rage.passphrase.decrypt(sealed, passphrase)
    except rage.DecryptError as error:
        raise Refusal(
            f"{file.name} did not open: the passphrase is another one, or the file is damaged.",
            code="sealed.passphrase",
        ) from error
    content = _unpacked(packed, file.name)
    if RECORD not in content:
        raise Refusal(f"{file.name} holds no job record.", code="sealed.not-a-job")
    job, problems = parse_job(content[RECORD].decode("utf-8", errors="replace"), f"{file.name}/{RECORD}")
    pictures = {}
    for picture in job.pictures:
        if picture.file not in content:
            problems = (*problems, f"Picture {picture.file} is not in {file.name}.")
        elif sha256_of(content[picture.file]) != picture.sha256:
            problems = (*problems, f"Picture {picture.file} of {file.name} is not the one that was read.")
        else:
            pictures[picture.file] = content[picture.file]
    return SealedJob(job, pictures, problems)


def is_sealed(file: Path | str) -> bool:
    """True where a file begins as a sealed job does."""
    try:
        with open(file, "rb") as opened:
            return opened.read(len(_AGE_FIRST_LINE)) == _AGE_FIRST_LINE
    except OSError:
        return False


def _packed(content: Mapping[str, bytes]) -> bytes:
    out = io.BytesIO()
    with tarfile.open(fileobj=out, mode="w", format=tarfile.PAX_FORMAT) as archive:
        for name, data in content.items():
            member = tarfile.TarInfo(name)
            member.size, member.mode = len(data), 0o600
            archive.addfile(member, io.BytesIO(data))
    return out.getvalue()


def _unpacked(packed: bytes, origin: str) -> dict[str, bytes]:
    """Members by name, in memory; nothing is written, so names in the archive cannot do harm."""
    try:
        with tarfile.open(fileobj=io.BytesIO(packed), mode="r:") as archive:
            return {
                member.name: opened.read()
                for member in archive
                if member.isreg() and (opened := archive.extractfile(member)) is not None
            }
    except tarfile.TarError as error:
        raise Refusal(f"{origin} opened, but what it holds is no job.", code="sealed.not-a-job") from error


def _pyrage() -> Any:
    try:
        import pyrage
    except ImportError as error:
        raise Refusal(
            'Sealing needs the package "pyrage", which is not installed; install it with: pip install pyrage',
            code="sealed.no-pyrage",
        ) from error
    return pyrage
