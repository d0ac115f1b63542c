"""The job folder: atomic, private, never losing the last good state."""

from __future__ import annotations

import os
import stat
from datetime import UTC, datetime
from pathlib import Path

import pytest

from keycore import jobfolder
from keycore.job import Job, JobPicture
from keycore.jobfolder import forget_job, load_job, read_picture, save_job, sha256_of
from keycore.refusal import Refusal

PICTURE = bytes(range(256)) * 7


def a_job(notes: str = "") -> Job:
    """A job with one picture."""
    return Job(
        number="1",
        created=datetime(2026, 1, 1, tzinfo=UTC),
        program_version="0",
        notes=notes,
        pictures=(JobPicture(file="copy.png", sha256=sha256_of(PICTURE)),),
    )


def saved(folder: Path) -> Path:
    """A folder with that job in it."""
    save_job(folder, a_job("first"), {"copy.png": PICTURE})
    return folder


def test_saved_job_opens_again_with_its_picture_untouched(tmp_path: Path) -> None:
    """Record and bytes come back as they were."""
    folder = saved(tmp_path / "job")

    job, problems = load_job(folder)

    assert (job, problems) == (a_job("first"), ())
    assert read_picture(folder, job.pictures[0]) == PICTURE
    assert sorted(p.name for p in folder.iterdir()) == ["copy.png", "job.json"]


@pytest.mark.skipif(os.name != "posix", reason="file modes are POSIX")
def test_only_the_owner_can_read_a_job(tmp_path: Path) -> None:
    """Files 0600, folder 0700, whatever the umask."""
    old = os.umask(0)
    try:
        folder = saved(tmp_path / "job")
        save_job(folder, a_job("second"))
    finally:
        os.umask(old)

    assert stat.S_IMODE(folder.stat().st_mode) == 0o700
    assert {stat.S_IMODE(p.stat().st_mode) for p in folder.iterdir()} == {0o600}


def test_state_before_the_last_save_is_kept(tmp_path: Path) -> None:
    """The previous record lies beside the present one."""
    folder = saved(tmp_path)
    save_job(folder, a_job("second"))
    save_job(folder, a_job("third"))

    assert load_job(folder)[0].notes == "third"
    assert '"second"' in (folder / "job.previous.json").read_text()


@pytest.mark.parametrize("step", ["write", "fsync", "replace", "link"])
def test_crash_at_any_step_leaves_the_last_good_state(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, step: str
) -> None:
    """Power lost in the middle of a save: the job before it opens whole, and the next save works."""
    folder = saved(tmp_path)
    save_job(folder, a_job("second"))

    def die(*_arguments: object, **_names: object) -> None:
        raise KeyboardInterrupt

    with monkeypatch.context() as patch:
        if step == "write":
            patch.setattr(jobfolder.os, "fdopen", die)
        else:
            patch.setattr(jobfolder.os, step, die)
        with pytest.raises(KeyboardInterrupt):
            save_job(folder, a_job("third"))

    assert load_job(folder) == (a_job("second"), ())
    save_job(folder, a_job("fourth"))
    assert load_job(folder) == (a_job("fourth"), ())


def test_full_disk_is_a_plain_sentence_and_loses_nothing(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """The refusal says that the last good state is there, and it is."""
    folder = saved(tmp_path)

    def full(_descriptor: int) -> None:
        raise OSError(28, "No space left on device")

    with monkeypatch.context() as patch:
        patch.setattr(jobfolder.os, "fsync", full)
        with pytest.raises(Refusal, match=r"could not be saved .* No space left on device\. The last good state"):
            save_job(folder, a_job("second"))

    assert load_job(folder) == (a_job("first"), ())
    assert sorted(p.name for p in folder.iterdir() if p.name.startswith(".")) == []


def test_file_system_without_hard_links_keeps_the_previous_state_too(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A memory stick cannot link; the state is copied instead."""
    folder = saved(tmp_path)

    def cannot(*_arguments: object) -> None:
        raise OSError(1, "Operation not permitted")

    monkeypatch.setattr(jobfolder.os, "link", cannot)
    save_job(folder, a_job("second"))

    assert '"first"' in (folder / "job.previous.json").read_text()


def test_damaged_record_opens_the_state_before_and_says_so(tmp_path: Path) -> None:
    """Half a file is not an empty job."""
    folder = saved(tmp_path)
    save_job(folder, a_job("second"))
    text = (folder / "job.json").read_text()
    (folder / "job.json").write_text(text[: len(text) // 2])

    job, problems = load_job(folder)

    assert job.notes == "first"
    assert "damaged: it is not whole JSON" in problems[0]
    assert "state saved before it was opened" in problems[0]


@pytest.mark.parametrize("content", [b"", b"\xff\xfe\x00", b"{", b"[]", b"\x00" * 100])
def test_damaged_record_without_a_state_before_is_refused(tmp_path: Path, content: bytes) -> None:
    """With nothing good to open, nothing is opened."""
    folder = saved(tmp_path)
    (folder / "job.json").write_bytes(content)

    with pytest.raises(Refusal, match="damaged"):
        load_job(folder)


def test_nothing_is_saved_over_a_damaged_or_newer_record(tmp_path: Path) -> None:
    """What could still be mended stays as it is."""
    folder = saved(tmp_path)
    for content in (b"{", b'{"format": "job/9"}', b'{"format": "job/2", "number": 3}'):
        (folder / "job.json").write_bytes(content)
        with pytest.raises(Refusal, match="another folder"):
            save_job(folder, a_job("x"))
        assert (folder / "job.json").read_bytes() == content


def test_changed_or_missing_picture_is_named_and_the_record_opens(tmp_path: Path) -> None:
    """The rest of the job can be read."""
    folder = saved(tmp_path)
    (folder / "copy.png").write_bytes(PICTURE[:-1])
    assert load_job(folder)[1] == (
        f"Picture copy.png of job folder {folder.name} is not the one that was read: its SHA-256 has changed.",
    )

    (folder / "copy.png").unlink()
    job, problems = load_job(folder)
    assert job == a_job("first")
    assert problems == (f"Picture copy.png of job folder {folder.name} cannot be read: No such file or directory.",)


def test_picture_that_is_not_what_the_record_says_is_not_saved(tmp_path: Path) -> None:
    """Wrong bytes, and no bytes, are refused before anything is written."""
    with pytest.raises(Refusal, match="SHA-256"):
        save_job(tmp_path / "a", a_job(), {"copy.png": b"other"})
    with pytest.raises(Refusal, match="was not given"):
        save_job(tmp_path / "b", a_job())

    assert not (tmp_path / "a" / "job.json").exists()
    assert not (tmp_path / "b" / "job.json").exists()


def test_left_over_parts_of_a_crash_are_removed_later(tmp_path: Path) -> None:
    """An old part goes with the next save; one that may be being written stays."""
    folder = saved(tmp_path)
    old, new = folder / ".job-part-old", folder / ".job-part-new"
    old.write_text("x")
    new.write_text("x")
    os.utime(old, (1, 1))

    save_job(folder, a_job("second"))

    assert not old.exists()
    assert new.exists()


def test_forget_removes_what_the_program_keeps_and_names_the_rest(tmp_path: Path) -> None:
    """Exports that somebody put there are theirs to remove."""
    folder = saved(tmp_path / "job")
    save_job(folder, a_job("second"))
    (folder / "sheet.pdf").write_text("x")

    assert forget_job(folder) == ("sheet.pdf",)
    (folder / "sheet.pdf").unlink()
    saved(folder)
    assert forget_job(folder) == ()
    assert not folder.exists()


def test_forget_removes_a_record_that_cannot_be_read(tmp_path: Path) -> None:
    """Damaged or of a newer program: the record goes, and what it would have named is left and named."""
    for content in ("{", '{"format": "job/99"}'):
        folder = saved(tmp_path / "job")
        (folder / "job.json").write_text(content)
        assert forget_job(folder) == ("copy.png",)
        (folder / "copy.png").unlink()


def test_folder_that_is_no_job_is_named(tmp_path: Path) -> None:
    """Two different sentences for two different mistakes."""
    with pytest.raises(Refusal, match="There is no job folder named nowhere"):
        load_job(tmp_path / "nowhere")
    with pytest.raises(Refusal, match=r"it has no job\.json"):
        load_job(tmp_path)
