"""``valleygauge job``: listing, sealing, copies for teaching, forgetting."""

from __future__ import annotations

import csv
import io
import json
from pathlib import Path

import pytest

from app.bench import Bench
from keycore.jobfolder import load_job
from keycore.joblock import take_lock
from tests.app.made import CODE, Reader, png, quick_age
from tests.app.test_commands_calls import run
from tests.app.test_commands_work import SEEN

WORDS = "heron lantern gravel spoon"


@pytest.fixture
def job(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A whole job in the folder jobs/0007."""
    monkeypatch.setattr("app.picture.read.read_picture", Reader())
    picture = tmp_path / "copy.png"
    picture.write_bytes(png())
    folder = tmp_path / "jobs" / "0007"
    assert run("read", picture, "--spec", "harbourside-5", "--job", folder, *SEEN)[0] == 0
    return folder


def test_jobs_are_listed_and_found_without_their_codes(job: Path) -> None:
    """By customer, table, number or date; plain, as JSON, or for a spreadsheet."""
    number = load_job(job)[0].number
    status, out, _err = run("job", "list", job.parent)

    assert status == 0 and number in out and "Orla Fenwright" in out and "-".join(CODE) not in out
    found = json.loads(run("job", "list", job.parent, "--find", "fenwright", "--state", "read", "--json")[1])
    assert (found["number"], found["table"], found["place"]) == (number, "Harbourside 5", "0007")
    rows = list(csv.DictReader(io.StringIO(run("job", "list", job.parent, "--csv")[1])))
    assert [row["asked_by"] for row in rows] == ["Orla Fenwright"]
    assert run("job", "list", job.parent, "--find", "nobody") == (0, "", f"There are no such jobs in {job.parent}.\n")


def test_a_damaged_job_is_listed_with_what_is_wrong(job: Path) -> None:
    """One bad record does not hide the others."""
    other = job.parent / "0008"
    other.mkdir()
    (other / "job.json").write_text("{")
    rows = [json.loads(line) for line in run("job", "list", job.parent, "--json")[1].splitlines()]

    assert [row["place"] for row in rows] == ["0007", "0008"]
    assert rows[1]["remark"].startswith("0008/job.json is damaged") and rows[0]["remark"] == ""


def test_a_sealed_job_opens_with_its_passphrase_only(job: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Nothing of the customer or the code can be read in the file, and it comes back whole."""
    sealed, again = job.parent / "0007.job.age", job.parent / "again"
    monkeypatch.setenv("VALLEYGAUGE_PASSPHRASE", WORDS)
    assert run("job", "seal", job, "--out", sealed)[0] == 0
    assert b"Fenwright" not in sealed.read_bytes()
    monkeypatch.setenv("VALLEYGAUGE_PASSPHRASE", "another one entirely")
    wrong = run("job", "unseal", sealed, "--out", again)
    assert wrong[0] == 1 and wrong[2].startswith("0007.job.age did not open:") and not again.exists()
    monkeypatch.setenv("VALLEYGAUGE_PASSPHRASE", WORDS)

    assert run("job", "unseal", sealed, "--out", again)[0] == 0
    assert load_job(again) == load_job(job)


def test_a_copy_for_teaching_has_no_customer(job: Path) -> None:
    """The copy keeps the code and says what was taken out; an unknown word is refused."""
    copy = job.parent / "teaching"
    assert run("job", "redact", job, "--without", "customer", "--out", copy)[0] == 0

    redacted = load_job(copy)[0]
    assert redacted.removed == ("customer",) and redacted.reading is not None
    assert "Fenwright" not in (copy / "job.json").read_text(encoding="utf-8")
    bench = Bench.open_job(copy)
    bench.set_notes("x")
    assert bench.problems == ("This is a copy for teaching, made without the customer.",) and not bench.save_if_dirty()
    assert run("job", "redact", job, "--without", "address", "--out", job.parent / "x")[0] != 0


def test_a_copy_may_keep_pictures_that_somebody_looked_at(job: Path) -> None:
    """Under a neutral name, with the very same bytes; without the code there are none."""
    copy, bare = job.parent / "with-pictures", job.parent / "without-code"
    run("job", "redact", job, "--without", "customer", "--keep-pictures", "--out", copy)
    assert json.loads(run("job", "redact", job, "--without", "code", "--out", bare, "--json")[1])["without"] == ["code"]

    assert (copy / "picture-1.png").read_bytes() == (job / "copy.png").read_bytes() and load_job(copy)[1] == ()
    assert [path.name for path in bare.iterdir()] == ["job.json"]
    assert "-".join(CODE) not in json.dumps(json.loads((bare / "job.json").read_text(encoding="utf-8")))


def test_a_sealed_job_is_taken_by_every_command_that_takes_a_job(job: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Sealed with its folder taken away, it is shown, printed where one says, checked, kept, redacted and forgotten."""
    sealed = job.parent / "0007.job.age"
    monkeypatch.setenv("VALLEYGAUGE_PASSPHRASE", WORDS)
    library = quick_age()
    monkeypatch.setattr("app.sealing._pyrage", lambda: library)
    done = json.loads(run("job", "seal", job, "--out", sealed, "--forget", "--json")[1])
    assert done["left"] == ["annotated.png", "annotated.svg", "reading.json"]
    for left in done["left"]:
        (job / left).unlink()

    assert "-".join(CODE) in run("job", "show", sealed)[1]
    status, _out, err = run("sheet", sealed)
    assert status == 2 and err == "A paper of a sealed job lies in the clear, so say where it goes: --out sheet.pdf.\n"
    assert run("sheet", sealed, "--out", job.parent / "sheet.pdf")[0] == 0
    assert (
        run("trials", sealed)[0] == run("cutlist", sealed)[0] == run("job", "keep", sealed, "--until", "2030-01-01")[0]
    )
    roots = ["6.7", "7.7", "7.2", "5.7", "6.2"]
    assert run("check", sealed, "--roots", *roots)[0] == 0
    assert run("job", "redact", sealed, "--without", "customer", "--out", job.parent / "teaching")[0] == 0
    record = json.loads(run("job", "show", sealed, "--json")[1])
    assert record["keep_until"] == "2030-01-01" and record["cut_key_check"]["outcome"] == "pass"
    assert json.loads(run("job", "list", job.parent, "--state", "sealed", "--json")[1])["number"] == "0007"
    assert run("job", "forget", sealed, "--yes")[0] == 0
    assert not any(path.name.startswith("0007") and path.is_file() for path in job.parent.iterdir())


def test_a_job_can_be_sealed_when_it_begins(job: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """``read --job NAME.job.age``: only the sealed file is written, and it holds the code."""
    library = quick_age()
    monkeypatch.setattr("app.sealing._pyrage", lambda: library)
    monkeypatch.setenv("VALLEYGAUGE_PASSPHRASE", WORDS)
    home = job.parent / "sealed"
    home.mkdir()
    call = ("read", job / "copy.png", "--spec", "harbourside-5", "--job", home / "0011.job.age", *SEEN)
    assert run(*call)[0] == 0

    assert [path.name for path in home.iterdir()] == ["0011.job.age"]
    assert "-".join(CODE) in run("job", "show", home / "0011.job.age")[1]
    assert run(*call)[0] == 2
    assert run("read", job / "copy.png", job / "copy.png", *call[2:])[0] == 2
    monkeypatch.setenv("VALLEYGAUGE_PASSPHRASE", "short")
    assert run(*call[:5], home / "0012.job.age", *SEEN)[0] == 1
    assert [path.name for path in home.iterdir()] == ["0011.job.age"]


def test_records_that_are_due_are_shown_as_such(job: Path) -> None:
    """Kept until a day that has come: the list and every opening say so; "never" takes it away."""
    status, out, _err = run("job", "keep", job, "--until", "2026-01-31")
    assert status == 0 and "is kept until 2026-01-31" in out

    assert json.loads(run("job", "list", job.parent, "--due", "--json")[1])["due"] is True
    assert "1 of these records is due" in run("job", "list", job.parent)[2]
    assert "was to be kept until 2026-01-31" in run("label", job)[2]
    assert json.loads(run("job", "keep", job, "--until", "never", "--json")[1])["keep_until"] is None
    assert run("job", "list", job.parent, "--due") == (0, "", f"There are no such jobs in {job.parent}.\n")
    assert run("job", "keep", job, "--until", "soon")[0] == 2


def test_a_read_job_can_be_given_its_day_at_once(job: Path) -> None:
    """``read --keep-until`` writes it into the record."""
    folder = job.parent / "0010"
    picture = job / "copy.png"
    assert run("read", picture, "--spec", "harbourside-5", "--job", folder, *SEEN, "--keep-until", "2031-05-01")[0] == 0

    assert str(load_job(folder)[0].keep_until) == "2031-05-01"


@pytest.mark.parametrize(
    ("asked", "found"),
    [
        (("--customer", "fenwright"), 1),
        (("--customer", "nobody"), 0),
        (("--table", "harbour"), 1),
        (("--state", "cut"), 0),
        (("--since", "2020-01-01", "--until", "2100-01-01"), 1),
        (("--until", "2020-01-01"), 0),
    ],
)
def test_jobs_are_found_by_each_of_their_parts(job: Path, asked: tuple[str, ...], found: int) -> None:
    """Customer, table, state and day."""
    assert len(run("job", "list", job.parent, *asked, "--json")[1].splitlines()) == found


def test_a_damaged_job_still_shows_what_is_left(job: Path) -> None:
    """Its picture gone, the stored code can be read, and it is said what is missing."""
    (job / "copy.png").unlink()
    status, out, err = run("job", "show", job)

    assert status == 0 and "-".join(CODE) in out and "copy.png of job folder 0007 cannot be read" in err


def test_a_forgotten_job_is_gone_and_what_was_exported_is_named(job: Path) -> None:
    """Record and pictures go; exports are the person's own and are told."""
    status, out, _err = run("job", "forget", job, "--yes")

    assert status == 0 and "Left in" in out and "annotated.png" in out
    assert not (job / "job.json").exists() and not (job / "copy.png").exists()


def test_exports_are_forgotten_where_that_is_asked_for(job: Path) -> None:
    """The folder is gone; somebody's own file would have stayed."""
    run("sheet", job)
    (job / "own.txt").write_text("mine")
    assert json.loads(run("job", "forget", job, "--yes", "--exports", "--json")[1])["left"] == ["own.txt"]

    assert [path.name for path in job.iterdir()] == ["own.txt"]


def test_a_job_that_is_open_elsewhere_is_not_forgotten(job: Path) -> None:
    """Nor without a yes."""
    with take_lock(job, "Bench 2"):
        status, _out, err = run("job", "forget", job, "--yes")
    assert status == 1 and "0007 is open at Bench 2" in err and (job / "job.json").exists()
    assert run("job", "forget", job)[0] != 0 and (job / "job.json").exists()
