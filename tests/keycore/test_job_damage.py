"""Every way in which a kept job was damaged on purpose, and what opening it says.

A job is opened whole, opened for reading only with a sentence for each damage, or refused with a sentence: never
silently wrong.
"""

from __future__ import annotations

import errno
import json
import shutil
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

from keycore.job import JOB_VERSION
from keycore.jobfolder import load_job, save_job
from keycore.refusal import Refusal

STORED = Path(__file__).parent / "jobs" / f"job-{JOB_VERSION}"


def _edit(folder: Path, change: Callable[[dict[str, Any]], object], *, checksum: bool = False) -> None:
    record = json.loads((folder / "job.json").read_text(encoding="utf-8"))
    change(record)
    if not checksum:
        del record["checksum"]
    (folder / "job.json").write_text(json.dumps(record), encoding="utf-8")


def _cut(folder: Path, name: str, share: float) -> None:
    content = (folder / name).read_bytes()
    (folder / name).write_bytes(content[: int(len(content) * share)])


def _flip(folder: Path, name: str, at: int) -> None:
    content = bytearray((folder / name).read_bytes())
    content[at] ^= 0x10
    (folder / name).write_bytes(content)


CASES: dict[str, tuple[Callable[[Path], object], str, str]] = {
    # name: (damage, "refused" or "reading only", words)
    "record empty": (lambda f: (f / "job.json").write_bytes(b""), "refused", "it is not whole JSON"),
    "record cut in half": (lambda f: _cut(f, "job.json", 0.5), "refused", "it is not whole JSON"),
    "record of zeros": (lambda f: (f / "job.json").write_bytes(b"\0" * 4096), "refused", "it is not whole JSON"),
    "record not UTF-8": (lambda f: (f / "job.json").write_bytes(b"\xff\xfe{"), "refused", "it is not UTF-8 text"),
    "record another JSON": (lambda f: (f / "job.json").write_text("[]"), "refused", "it holds no job record"),
    "record another format": (
        lambda f: _edit(f, lambda r: r.update(format="keyspec/1")), "refused", "is not a job record",
    ),
    "record missing": (lambda f: (f / "job.json").unlink(), "refused", "it has no job.json"),
    "record of a newer program": (
        lambda f: _edit(f, lambda r: r.update(format="job/99")), "refused", "was written by a newer program",
    ),
    "folder missing": (shutil.rmtree, "refused", "There is no job folder"),
    "a digit changed in an editor": (
        lambda f: _edit(f, lambda r: r["decided_code"].__setitem__(0, "6"), checksum=True),
        "reading only", "its checksum does not match",
    ),
    "number missing": (lambda f: _edit(f, lambda r: r.pop("number")), "reading only", '"number" is missing'),
    "state unknown": (lambda f: _edit(f, lambda r: r.update(state="sold")), "reading only", '"state" is damaged'),
    "entitlement a word": (
        lambda f: _edit(f, lambda r: r.update(entitlement="yes")), "reading only", '"entitlement" is damaged',
    ),
    "date impossible": (
        lambda f: _edit(f, lambda r: r.update(keep_until="2026-02-31")), "reading only", '"keep_until" is damaged',
    ),
    "one picture's record broken": (
        lambda f: _edit(f, lambda r: r["pictures"][0].update(sha256="x")), "reading only", "picture 1 is damaged",
    ),
    "a picture's name leads out of the folder": (
        lambda f: _edit(f, lambda r: r["pictures"][0].update(file="../x.png")), "reading only", "picture 1 is damaged",
    ),
    "a mark not a number": (
        lambda f: _edit(f, lambda r: r["pictures"][0]["marks"].update(shoulder=["a", 1])),
        "reading only", "picture 1 is damaged",
    ),
    "a trial broken": (
        lambda f: _edit(f, lambda r: r["trials"][0].update(blank=0)), "reading only", "trial 1 is damaged",
    ),
    "a member nobody knows": (
        lambda f: _edit(f, lambda r: r.update(surprise=1)), "reading only", '"surprise" is not a member',
    ),
    "a picture cut short": (
        lambda f: _cut(f, "demo-scan.jpg", 0.9), "reading only", "its SHA-256 has changed",
    ),
    "a bit of a picture fallen over": (
        lambda f: _flip(f, "demo-scan.jpg", 30000), "reading only", "its SHA-256 has changed",
    ),
    "a picture missing": (
        lambda f: (f / "demo-scan.jpg").unlink(), "reading only", "demo-scan.jpg of job folder job cannot be read",
    ),
    "a picture replaced by a folder": (
        lambda f: ((f / "demo-scan.jpg").unlink(), (f / "demo-scan.jpg").mkdir()), "reading only", "cannot be read",
    ),
}  # fmt: skip


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    """A whole job."""
    return Path(shutil.copytree(STORED, tmp_path / "job"))


@pytest.mark.parametrize("name", CASES)
def test_damage_is_named_and_never_silent(folder: Path, name: str) -> None:
    """Each case refuses, or opens the rest for reading only, in the words of the table; nothing is saved over it."""
    whole, none = load_job(folder)
    assert none == ()
    damage, outcome, words = CASES[name]
    damage(folder)
    if outcome == "refused":
        with pytest.raises(Refusal) as refused:
            load_job(folder)
        assert words in refused.value.sentence
        return
    job, problems = load_job(folder)
    assert any(words in problem for problem in problems), problems
    same = [member for member in type(job).model_fields if getattr(job, member) == getattr(whole, member)]
    assert len(same) >= len(type(job).model_fields) - 2


@pytest.mark.parametrize(
    "name", [name for name, case in CASES.items() if case[1] == "refused" and "missing" not in name]
)
def test_state_saved_before_opens_where_the_record_is_lost(folder: Path, name: str) -> None:
    """With a state saved before, a record that is no JSON or no job opens as that state, and says so."""
    job, _problems = load_job(folder)
    save_job(folder, job.changed(notes="the last save"))
    CASES[name][0](folder)
    if name == "record of a newer program":
        with pytest.raises(Refusal, match="newer program"):
            load_job(folder)
        return
    opened, problems = load_job(folder)

    assert opened.notes == job.notes and "The state saved before it was opened instead." in problems[0]


@pytest.mark.parametrize("name", [name for name in CASES if CASES[name][1] == "reading only"])
def test_nothing_is_saved_over_what_could_still_be_mended(folder: Path, name: str) -> None:
    """Saving into the damaged folder is refused and leaves every file as it was."""
    job, _problems = load_job(folder)
    CASES[name][0](folder)
    files = [path for path in sorted(folder.iterdir()) if path.is_file()]
    before = {path: path.read_bytes() for path in files}
    with pytest.raises(Refusal):
        save_job(folder, job.changed(notes="again"))

    assert {path: path.read_bytes() for path in files} == before


def test_record_that_may_not_be_read_is_told(folder: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Somebody else's job: the system's own reason is in the sentence.  (Root may read anything, so it is played.)"""
    read = Path.read_bytes

    def refused(path: Path) -> bytes:
        if path.name == "job.json":
            raise PermissionError(errno.EACCES, "Permission denied", str(path))
        return read(path)

    monkeypatch.setattr(Path, "read_bytes", refused)
    with pytest.raises(Refusal, match="cannot be read: Permission denied"):
        load_job(folder)
