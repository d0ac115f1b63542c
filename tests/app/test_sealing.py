"""Sealed jobs: only the passphrase opens them, and nothing of them lies in the clear."""

from __future__ import annotations

import os
import stat
import sys
import time
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from datetime import UTC, datetime
from pathlib import Path

import pytest

from app.sealing import SealedJob, is_sealed, load_sealed, save_sealed
from app.sealing_beside import beside
from keycore.job import Entitlement, Job, JobPicture
from keycore.jobfolder import sha256_of
from keycore.refusal import Refusal

PASSPHRASE = "anchor violet seven kettle"
PICTURE = b"the picture's own bytes, the customer's name on it: Fenwright" * 50


def a_job() -> Job:
    """A job with a customer, a code and a picture."""
    return Job(
        number="HB-0007",
        created=datetime(2026, 3, 4, tzinfo=UTC),
        program_version="0",
        entitlement=Entitlement(asked_by="Orla Fenwright"),
        decided_code=("1", "2", "5", "9", "9"),
        pictures=(JobPicture(file="copy.png", sha256=sha256_of(PICTURE)),),
    )


@pytest.fixture(scope="module")
def sealed(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """One sealed job (sealing takes a second on purpose, so it is made once)."""
    file = tmp_path_factory.mktemp("sealed") / "HB-0007.job.age"
    save_sealed(file, a_job(), {"copy.png": PICTURE}, PASSPHRASE)
    return file


def test_passphrase_opens_the_whole_job(sealed: Path) -> None:
    """Record and picture come back to the last byte."""
    opened = load_sealed(sealed, PASSPHRASE)

    assert opened.job == a_job()
    assert opened.pictures == {"copy.png": PICTURE}
    assert opened.problems == ()


def test_nothing_of_a_sealed_job_lies_in_the_clear(sealed: Path) -> None:
    """No name, no file name, no record, in the file or beside it; and only the owner can read it."""
    content = sealed.read_bytes()

    for words in (b"Fenwright", b"copy.png", b"job/1", b"HB-0007"):
        assert words not in content
    assert is_sealed(sealed)
    assert [path.name for path in sealed.parent.iterdir()] == [sealed.name]
    if os.name == "posix":
        assert stat.S_IMODE(sealed.stat().st_mode) == 0o600


def test_other_passphrase_and_damage_give_a_sentence(sealed: Path, tmp_path: Path) -> None:
    """The two cannot be told apart, and the sentence says so."""
    with pytest.raises(Refusal, match="the passphrase is another one, or the file is damaged"):
        load_sealed(sealed, "anchor violet seven kettles")
    damaged = tmp_path / "damaged.job.age"
    damaged.write_bytes(sealed.read_bytes()[:80])
    with pytest.raises(Refusal, match="the passphrase is another one, or the file is damaged"):
        load_sealed(damaged, PASSPHRASE)


def test_what_is_not_sealed_is_named(tmp_path: Path) -> None:
    """A missing file and a plain file."""
    (tmp_path / "plain.txt").write_text("hello")

    with pytest.raises(Refusal, match=r"plain\.txt is not a sealed job"):
        load_sealed(tmp_path / "plain.txt", PASSPHRASE)
    with pytest.raises(Refusal, match=r"nothing\.age cannot be read"):
        load_sealed(tmp_path / "nothing.age", PASSPHRASE)
    assert not is_sealed(tmp_path / "plain.txt")
    assert not is_sealed(tmp_path / "nothing.age")


def test_short_passphrase_and_wrong_picture_seal_nothing(tmp_path: Path) -> None:
    """Refused before a file is made."""
    file = tmp_path / "x.job.age"
    with pytest.raises(Refusal, match="at least 12 characters"):
        save_sealed(file, a_job(), {"copy.png": PICTURE}, "short")
    with pytest.raises(Refusal, match="SHA-256"):
        save_sealed(file, a_job(), {"copy.png": b"other"}, PASSPHRASE)
    with pytest.raises(Refusal, match=r"copy\.png was not given"):
        save_sealed(file, a_job(), {}, PASSPHRASE)

    assert not file.exists()


def test_without_the_package_the_sentence_says_what_to_install(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Sealing is an extra; the rest works without it."""
    monkeypatch.setitem(sys.modules, "pyrage", None)
    with pytest.raises(Refusal, match="pip install pyrage"):
        save_sealed(tmp_path / "x.job.age", a_job(), {"copy.png": PICTURE}, PASSPHRASE)


def test_a_thread_seals_and_opens_while_the_program_lives(tmp_path: Path) -> None:
    """With the real library: the interpreter counts on all through the slow second; a wrong passphrase is told."""
    file, counted = tmp_path / "slow.job.age", []

    def on_thread(does: Callable[[], object]) -> object:
        with ThreadPoolExecutor(1) as pool:
            future = pool.submit(does)
            count = 0
            while not future.done():
                time.sleep(0.005)
                count += 1
            counted.append(count)
            return future.result()

    on_thread(lambda: save_sealed(file, a_job(), {"copy.png": PICTURE}, PASSPHRASE))
    opened = on_thread(lambda: load_sealed(file, PASSPHRASE))

    assert isinstance(opened, SealedJob) and opened.job == a_job() and opened.problems == ()
    assert min(counted) > 10
    with pytest.raises(Refusal, match="did not open: the passphrase is another one"):
        on_thread(lambda: load_sealed(file, "quite another passphrase"))


def test_without_another_process_the_sealing_is_done_here(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Where none can be started it takes as long and does the same."""
    monkeypatch.setattr("app.sealing_beside.sys.executable", str(tmp_path / "nothing"))

    assert beside("encrypt", b"content", PASSPHRASE) is None
