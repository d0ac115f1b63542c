"""Sealed jobs: a whole job in one file that opens only with its passphrase.

The file is a tar archive (``job.json`` and the pictures' own bytes) encrypted in the age format with a passphrase
(age-encryption.org/v1, scrypt), so any program that knows age can open it without this one.  A sealed job is read and
written in memory: its content never touches the disk in the clear.  A forgotten passphrase cannot be recovered.

Autosave
--------
A passphrase is made slow on purpose (about a second), too slow for a save after every mark.  So the sealed archive
carries a key pair of its own (``autosave.json``), and between whole saves the job is sealed to that key into a second
file beside the first (``NAME.auto``), in milliseconds.  Only who opens the first can open the second.  The higher count
of the two is the later state; a whole save takes the second file away.
"""

from __future__ import annotations

import io
import json
import os
import tarfile
import threading
from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from pathlib import Path
from types import ModuleType
from typing import Any

from app.sealing_beside import Does, NotOpened, beside
from keycore.job import Job, job_text, parse_job
from keycore.jobfolder import RECORD, sha256_of, write_whole
from keycore.refusal import Refusal

SUFFIX = ".job.age"
AUTOSAVE_SUFFIX = ".auto"
AUTOSAVE_KEY = "autosave.json"
SHORTEST_PASSPHRASE = 12
LARGEST_SEALED_BYTES = 1_000_000_000
_AGE_FIRST_LINE = b"age-encryption.org/v1"


@dataclass(frozen=True)
class SealedJob:
    """An opened sealed job: the record, the pictures' bytes by file name, and a sentence for each thing damaged."""

    job: Job
    pictures: Mapping[str, bytes]
    problems: tuple[str, ...]
    autosave_key: str = field(default="", repr=False)
    """Secret key of the job's autosaves; "" in a file that was sealed without one."""
    count: int = 0
    """How many saves led to this state."""


def new_autosave_key() -> str:
    """A fresh secret key for a job's autosaves."""
    return str(_pyrage().x25519.Identity.generate())


def require_passphrase(passphrase: str) -> None:
    """Refuse a passphrase that is quickly guessed."""
    if len(passphrase.strip()) < SHORTEST_PASSPHRASE:
        raise Refusal(
            f"A passphrase needs at least {SHORTEST_PASSPHRASE} characters; four or five unrelated words are good.",
            code="sealed.short",
        )


def save_sealed(
    file: Path | str,
    job: Job,
    pictures: Mapping[str, bytes],
    passphrase: str,
    *,
    autosave_key: str = "",
    count: int = 0,
) -> None:
    """Write a job sealed, for its owner's eyes; a file that was there before stays whole until the new one is.

    An autosave that lies beside the file is taken away once the file is written.
    """
    file = Path(file)
    require_passphrase(passphrase)
    content = _content(job, pictures, autosave_key or new_autosave_key(), count)
    _write(file, _stretched("encrypt", _packed(content), passphrase))
    autosave_of(file).unlink(missing_ok=True)


def save_autosave(file: Path | str, job: Job, pictures: Mapping[str, bytes], autosave_key: str, count: int) -> None:
    """Write the job's present state, sealed to the job's own key, beside its sealed file."""
    identity = _pyrage().x25519.Identity.from_str(autosave_key)
    content = _content(job, pictures, "", count)
    _write(autosave_of(file), _pyrage().encrypt(_packed(content), [identity.to_public()]))


def autosave_of(file: Path | str) -> Path:
    """Where the autosaves of a sealed file lie."""
    file = Path(file)
    return file.with_name(f"{file.name}{AUTOSAVE_SUFFIX}")


def _content(job: Job, pictures: Mapping[str, bytes], autosave_key: str, count: int) -> dict[str, bytes]:
    for picture in job.pictures:
        if picture.file not in pictures:
            raise Refusal(f"Picture {picture.file} was not given; nothing was sealed.", code="job.picture-missing")
        if sha256_of(pictures[picture.file]) != picture.sha256:
            raise Refusal(
                f"Picture {picture.file} does not have the SHA-256 that the job records; nothing was sealed.",
                code="job.picture-changed",
            )
    kept = json.dumps({"key": autosave_key, "count": count}).encode()
    return {
        RECORD: job_text(job).encode(),
        AUTOSAVE_KEY: kept,
        **{p.file: pictures[p.file] for p in job.pictures},
    }


def _write(file: Path, sealed: bytes) -> None:
    try:
        file.parent.mkdir(parents=True, exist_ok=True)
        write_whole(file.parent, file.name, sealed)
    except OSError as error:
        raise Refusal(
            f"The sealed job could not be saved: {error.strerror or error}.", code="job.cannot-save"
        ) from error


def load_sealed(file: Path | str, passphrase: str) -> SealedJob:
    """Open a sealed job in memory; where an autosave beside it is later, that."""
    file = Path(file)
    sealed = _sealed_bytes(file)
    try:
        packed = _stretched("decrypt", sealed, passphrase)
    except (_pyrage().DecryptError, NotOpened) as error:
        raise Refusal(
            f"{file.name} did not open: the passphrase is another one, or the file is damaged.",
            code="sealed.passphrase",
        ) from error
    opened = _opened(_unpacked(packed, file.name), file.name)
    later = _autosave(file, opened)
    return opened if later is None or later.count <= opened.count else later


def _autosave(file: Path, opened: SealedJob) -> SealedJob | None:
    """The autosave beside a sealed file; None where there is none, or it is of another state of the file."""
    beside = autosave_of(file)
    if not opened.autosave_key or not beside.is_file():
        return None
    rage = _pyrage()
    try:
        packed = rage.decrypt(_sealed_bytes(beside), [rage.x25519.Identity.from_str(opened.autosave_key)])
        later = _opened(_unpacked(packed, beside.name), beside.name)
    except (rage.DecryptError, Refusal):  # damaged, or sealed to another key: the whole save is the last good state
        return None
    return replace(later, autosave_key=opened.autosave_key)


def _sealed_bytes(file: Path) -> bytes:
    try:
        if os.path.getsize(file) > LARGEST_SEALED_BYTES:
            raise Refusal(f"{file.name} is too large for a sealed job.", code="sealed.too-large")
        sealed = file.read_bytes()
    except OSError as error:
        raise Refusal(f"{file.name} cannot be read: {error.strerror or error}.", code="sealed.unreadable") from error
    if not sealed.startswith(_AGE_FIRST_LINE):
        raise Refusal(f"{file.name} is not a sealed job.", code="sealed.not-sealed")
    return sealed


def _opened(content: Mapping[str, bytes], origin: str) -> SealedJob:
    if RECORD not in content:
        raise Refusal(f"{origin} holds no job record.", code="sealed.not-a-job")
    job, problems = parse_job(content[RECORD].decode("utf-8", errors="replace"), f"{origin}/{RECORD}")
    pictures = {}
    for picture in job.pictures:
        if picture.file not in content:
            problems = (*problems, f"Picture {picture.file} is not in {origin}.")
        elif sha256_of(content[picture.file]) != picture.sha256:
            problems = (*problems, f"Picture {picture.file} of {origin} is not the one that was read.")
        else:
            pictures[picture.file] = content[picture.file]
    key, count = "", 0
    try:
        kept = json.loads(content.get(AUTOSAVE_KEY, b"{}"))
        key, count = str(kept.get("key", "")), int(kept.get("count", 0))
    except (ValueError, AttributeError, TypeError):
        problems = (*problems, f"{AUTOSAVE_KEY} of {origin} is damaged.")
    return SealedJob(job, pictures, problems, key, count)


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


def _stretched(does: Does, content: bytes, passphrase: str) -> bytes:
    """What a passphrase's slow function makes; from a thread in another process, or the window would stand still."""
    rage = _pyrage()
    on_a_thread = threading.current_thread() is not threading.main_thread()
    if on_a_thread and isinstance(rage, ModuleType):
        made = beside(does, content, passphrase)
        if made is not None:
            return made
    return bytes(getattr(rage.passphrase, does)(content, passphrase))


def _pyrage() -> Any:
    try:
        import pyrage
    except ImportError as error:
        raise Refusal(
            'Sealing needs the package "pyrage", which is not installed; install it with: pip install pyrage',
            code="sealed.no-pyrage",
        ) from error
    return pyrage
