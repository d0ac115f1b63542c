"""``sheet``, ``template``, ``label``, ``reduction`` and ``check`` on the command line."""

from __future__ import annotations

import json
import stat
from pathlib import Path

import pytest

from app.picture.values import PictureReading
from keycore.jobfolder import load_job
from keycore.spec import load_spec
from tests.app.made import CODE, Reader, made_reading, png
from tests.app.test_commands_calls import run
from tests.app.test_commands_work import SEEN

SPEC = load_spec("harbourside-5")
NOMINAL = tuple(f"{SPEC.root_of(label):.2f}" for label in CODE)


@pytest.fixture
def job(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A whole job; a picture of shade 150 shows a key whose third cut is a depth too deep."""
    plain = Reader()

    def reader(picture: object, spec: object, marks: object = None, **more: object) -> PictureReading:
        if int(picture.rgb.flat[0]) == 150:  # type: ignore[attr-defined]
            return made_reading(SPEC, marks, ("3", "1", "3", "5", "4"))  # type: ignore[arg-type]
        return plain(picture, spec, marks)  # type: ignore[arg-type]

    monkeypatch.setattr("app.picture.read.read_picture", reader)
    picture = tmp_path / "copy.png"
    picture.write_bytes(png())
    (tmp_path / "cut.png").write_bytes(png(150))
    folder = tmp_path / "0007"
    assert run("read", picture, "--spec", "harbourside-5", "--job", folder, *SEEN)[0] == 0
    return folder


@pytest.mark.parametrize("paper", ["sheet", "template", "label"])
def test_papers_are_written_for_their_owner_and_told_as_json(job: Path, paper: str) -> None:
    """One written/1 object with file and size; 0600; a PDF; another suffix is a wrong call."""
    status, out, _err = run(paper, job, "--json")
    written = json.loads(out)
    file = Path(written["file"])

    assert status == 0 and written["format"] == "written/1" and file == job / f"{paper}.pdf"
    assert file.read_bytes().startswith(b"%PDF") and file.stat().st_size == written["bytes"]
    assert stat.S_IMODE(file.stat().st_mode) == 0o600
    assert run(paper, job, "--out", job / "x.docx")[0] == 2
    assert run(paper, job, "--out", job / "no" / "such" / "x.pdf")[0] == 1


def test_label_says_no_code_unless_asked_and_no_customer_ever(job: Path) -> None:
    """The words of the PDF."""
    import pypdfium2 as pdfium

    def text() -> str:
        document = pdfium.PdfDocument((job / "label.pdf").read_bytes())
        words = " ".join(page.get_textpage().get_text_bounded() for page in document)
        document.close()
        return words

    assert run("label", job, "--size", "40x15", "--copies", "2")[0] == 0
    assert "-".join(CODE) not in text()
    assert run("label", job, "--with-code", "--with-table")[0] == 0
    assert "-".join(CODE) in text() and "Harbourside 5" in text() and "Fenwright" not in text()
    assert run("label", job, "--size", "40")[0] == 2 and run("label", job, "--copies", "0")[0] == 1


def test_template_corrections_chain_on_the_command_line(job: Path) -> None:
    """All pairs at once, or one after another under a printer's name: the same page; a repeated call corrects once."""
    assert run("template", job, "--rules", "99.6", "100,2", "100.1", "99.9")[0] == 0
    at_once = (job / "template.pdf").read_bytes()
    assert run("template", job, "--printer", "desk", "--rules", "99.6", "100.2")[0] == 0
    first = (job / "template.pdf").read_bytes()
    assert run("template", job, "--printer", "desk", "--rules", "99.6", "100.2")[0] == 0
    assert (job / "template.pdf").read_bytes() == first != at_once
    assert run("template", job, "--printer", "desk", "--rules", "100.1", "99.9")[0] == 0
    assert (job / "template.pdf").read_bytes() == at_once
    assert run("template", job, "--printer", "desk")[0] == 0
    assert (job / "template.pdf").read_bytes() == at_once

    assert run("template", job, "--rules", "99.6")[0] == 2
    assert run("template", job, "--rules", "9.96", "100")[0] == 2
    assert run("template", job, "--printer", "desk", "--rules", "99.6", "100.2", "100", "100.1")[0] == 2
    status, _out, err = run("template", job, "--rules", "99.6", "100.2", "--out", job / "t.dxf")
    assert status == 2 and "a .dxf file keeps its true lengths" in err


def test_reduction_of_a_job_and_of_a_ratio(job: Path) -> None:
    """12 px a mm of key in a scan of 600 dpi: the copy is about half the key's size, so about 197 per cent."""
    found = json.loads(run("reduction", job, "--dpi", "600", "--json")[1])
    px_per_mm = load_job(job)[0].reading["scale"]["px_per_mm_across"]  # type: ignore[index,call-overload]
    assert found["across"]["exact_percent"] == pytest.approx(100 * 600 / 25.4 / px_per_mm)
    assert abs(found["across"]["left"]) < 0.005 and found["height_left_sigma_mm"] > 0
    plain = json.loads(run("reduction", "--spec", "harbourside-5", "--along", "1,6", "--json")[1])
    assert plain["along"]["passes_percent"] == plain["across"]["passes_percent"] == [62.0]

    assert run("reduction")[0] == 2 and run("reduction", "--spec", "harbourside-5")[0] == 2
    assert run("reduction", "--spec", "harbourside-5", "--along", "99")[0] == 1
    status, _out, err = run("reduction", job)
    assert status == 1 and "no scan that says its dots per inch" in err


def test_check_by_calipers_is_recorded_in_the_job(job: Path) -> None:
    """Pass: the job is done; with --no-record its file stays as it was."""
    before = (job / "job.json").read_bytes()
    assert run("check", job, "--roots", *NOMINAL, "--no-record")[0] == 0
    assert (job / "job.json").read_bytes() == before
    status, out, err = run("check", job, "--roots", *NOMINAL, "--json")

    assert status == 0 and json.loads(out)["outcome"] == "pass" and "was recorded in job" in err
    record = load_job(job)[0]
    assert record.state == "done" and record.cut_key_check == json.loads(out)
    assert not (job / "job.lock").exists()


def test_check_by_picture_names_the_wrong_cut_and_draws_it(job: Path) -> None:
    """The picture goes into the job untouched, the check fails at cut 3, and the overlay is an SVG for its owner."""
    cut = job.parent / "cut.png"
    overlay = job / "overlay.svg"
    status, out, _err = run("check", job, "--picture", cut, "--overlay", overlay, "--json")
    check = json.loads(out)

    assert status == 0 and check["outcome"] == "fail" and check["measured_by"] == "picture"
    assert [row["cut"] for row in check["checks"] if row["outcome"] == "fail"] == [3]
    assert (job / "cut.png").read_bytes() == cut.read_bytes()
    assert "FAIL" in overlay.read_text(encoding="utf-8") and stat.S_IMODE(overlay.stat().st_mode) == 0o600
    record, problems = load_job(job)
    assert problems == () and record.pictures[1].shows == "cut key" and record.state == "cut"
    run("check", job, "--picture", cut)
    assert len(load_job(job)[0].pictures) == 2
    text = run("check", "--spec", "harbourside-5", "--code", "-".join(CODE), "--picture", cut)[1]
    assert "The picture reads as 3-1-3-5-4" in text and "Cut 3: metal is missing" in text


@pytest.mark.parametrize(
    ("args", "words"),
    [
        (("{job}",), "either --roots, or --picture"),
        (("{job}", "--roots", "1", "--picture", "x.png"), "either --roots, or --picture"),
        (("{job}", "--code", "1-2-3-4-5", "--roots", "1"), "leave --spec and --code out"),
        (("{job}", "--roots", "1", "--overlay", "x.jpg"), "ends in .svg or .png"),
        (("--spec", "harbourside-5", "--code", "1-2-3-4-5", "--roots", "1", "--overlay", "x.svg"), "of a job only"),
        (("--roots", "1"), "both --spec and --code"),
        (("{job}", "--roots", "1", "2"), "5 cuts"),
    ],
)
def test_wrong_checks_are_told_in_a_sentence(job: Path, args: tuple[str, ...], words: str) -> None:
    """One sentence, exit status 2, nothing recorded."""
    before = (job / "job.json").read_bytes()
    status, _out, err = run("check", *(arg.replace("{job}", str(job)) for arg in args))

    assert status == 2 and words in err and (job / "job.json").read_bytes() == before


def test_every_command_shows_an_example_and_its_options() -> None:
    """``--help`` of each command and sub-command has an example of a call."""
    from app.commands import app

    names = [command.name or "" for command in app.registered_commands]
    calls = [(name,) for name in names]
    for group in app.registered_groups:
        assert group.typer_instance is not None
        calls += [(group.name or "", command.name or "") for command in group.typer_instance.registered_commands]
    assert len(calls) > 20
    for call in calls:
        status, out, _err = run(*call, "--help")
        assert status == 0 and "Example:" in out and f"valleygauge {' '.join(call)}" in out, call


def test_every_command_but_the_window_speaks_json() -> None:
    """Scripts need no words to be taken apart."""
    from app.commands import app

    calls = [(command.name or "",) for command in app.registered_commands if command.name != "open"]
    for group in app.registered_groups:
        assert group.typer_instance is not None
        calls += [(group.name or "", command.name or "") for command in group.typer_instance.registered_commands]
    for call in calls:
        assert "--json" in run(*call, "--help")[1], call
