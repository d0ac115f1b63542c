"""The commands at work: figures, jobs, papers, the demo."""

from __future__ import annotations

import csv
import io
import json
import os
import re
import subprocess
import sys
from pathlib import Path

import pytest

from app.commands_identify import ranked
from keycore.figures import readings_of_figures
from keycore.identify import identify
from keycore.jobfolder import load_job, sha256_of
from keycore.spec import load_spec
from tests.app.made import CODE, Reader, png
from tests.app.test_commands_calls import run

TRADE = {
    # Common practice of the trade, no published source: five cuts, ten depths of 0.38 mm, depth 1 = 8.16 mm.
    "format": "keyspec/1", "name": "Trade five", "provenance": {"kind": "memory", "source": "common practice"},
    "units": "mm", "edges": "single", "gauge_from": "shoulder", "root_from": "back",
    "cut_positions": [5.5, 9.5, 13.5, 17.5, 21.5],
    "depths": [{"label": str(n), "root": round(8.54 - 0.38 * n, 2)} for n in range(10)],
    "blade": {"height": 8.65, "length": 28.0},
}  # fmt: skip
FIGURES = ("--height", "19.91", "--roots", "19.51", "18.28", "16.13", "12.36", "12.36")
SEEN = (
    "--asked-by", "Orla Fenwright", "--proof", "executor's letter", "--seen-by", "T. Quill",
    "--seen-on", "2026-03-04 10:30",
)  # fmt: skip


@pytest.fixture
def trade(tmp_path: Path) -> Path:
    """The table of the trade's own example."""
    file = tmp_path / "trade-five.json"
    file.write_text(json.dumps(TRADE))
    return file


@pytest.fixture
def picture(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    """A picture that the made-up reader reads."""
    monkeypatch.setattr("app.picture.read.read_picture", Reader(blank=frozenset({9})))
    path = tmp_path / "copy.png"
    path.write_bytes(png())
    return path


def test_figures_off_an_enlarged_copy_give_the_trades_answer(trade: Path) -> None:
    """Common practice, no published source: 1-2-5-9-9 with 0-1-4-8-8 as its rival, and not sure of it."""
    status, out, _err = run("decode", "--spec", trade, *FIGURES, "--json")
    reading = json.loads(out)

    assert status == 0 and out.count("\n") == 1
    assert [row["code"] for row in reading["codes"][:2]] == [list("12599"), list("01488")]
    assert reading["verdict"] != "sure" and len(reading["codes"]) >= 10


def test_the_locksmiths_knowledge_settles_it(trade: Path) -> None:
    """Common practice, no published source: that cut 1 is no 0 gives 1-2-5-9-9 at least 0.9."""
    reading = json.loads(run("decode", "--spec", trade, *FIGURES, "--not", "1=0", "--json")[1])

    assert reading["codes"][0]["code"] == list("12599") and reading["codes"][0]["probability"] >= 0.9


def test_a_decimal_comma_gives_the_same_answer(trade: Path) -> None:
    """The figures in German or Spanish writing are the same figures."""
    comma = [word.replace(".", ",") for word in FIGURES]

    assert run("decode", "--spec", trade, *comma, "--json")[1] == run("decode", "--spec", trade, *FIGURES, "--json")[1]


def test_the_plain_answer_says_code_rivals_cuts_and_caution(trade: Path) -> None:
    """Everything a person needs stands on the screen; the cautions stand on the error output."""
    status, out, err = run("decode", "--spec", trade, *FIGURES)

    assert status == 0
    assert re.search(r"^  Code +1-2-5-9-9   probability 0\.\d{4}$", out, re.M)
    assert re.search(r"^    0-1-4-8-8  0\.\d{4}$", out, re.M)
    assert len(re.findall(r"^  +[1-5] +[0-9] +\d\.\d{3} +\d\.\d{3} +[>\d]", out, re.M)) == 5
    assert re.search(r"^  Flips +with growth (below|above) -?\d\.\d\d mm.* another code would be likelier$", out, re.M)
    assert "UNCONFIRMED" in out
    assert err.startswith("Caution: only for a key that its holder is entitled to") and "UNCONFIRMED" in err


@pytest.mark.parametrize(
    ("args", "status", "word"),
    [
        (("--height", "19.9", "--roots", "19.5", "18.2"), 1, "5 cuts"),
        (("--height", "19.9", "--roots", "19.5", "18.2", "-3", "12", "12"), 1, "-3"),
        (("--height", "0", "--roots", "19.5", "18.2", "3", "12", "12"), 1, "0"),
        ((*FIGURES, "--positions", "1", "2"), 1, "positions"),
        ((*FIGURES, "--hold", "1=0", "--not", "1=0"), 2, "Cut 1"),
    ],
)
def test_figures_that_cannot_be_are_refused(trade: Path, args: tuple[str, ...], status: int, word: str) -> None:
    """One sentence that names the value or the rule."""
    found, out, err = run("decode", "--spec", trade, *args)

    assert (found, out) == (status, "")
    assert err.count("\n") == 1 and word in err


def test_read_gives_a_keyreading_a_line(picture: Path, tmp_path: Path) -> None:
    """JSON only on the output: at least ten codes, one row a cut, and the marks as marks/1."""
    status, out, err = run("read", picture, "--spec", "harbourside-5", "--json")
    reading = json.loads(out)

    assert (status, err) == (0, "")
    assert reading["format"] == "keyreading/1" and reading["picture"] == "copy.png"
    assert reading["codes"][0]["code"] == list(CODE) and len(reading["codes"]) >= 10 and len(reading["cuts"]) == 5
    assert reading["marks"]["format"] == "marks/1" and len(reading["marks"]["roots"]) == 5


def test_a_job_without_entitlement_is_written_without_the_code(picture: Path, tmp_path: Path) -> None:
    """The code is shown on the bench's own screen, but does not go into the folder; that is said."""
    status, out, err = run("read", picture, "--spec", "harbourside-5", "--job", tmp_path / "job")
    job, problems = load_job(tmp_path / "job")

    assert status == 0 and "-".join(CODE) in out
    assert (
        f"The job in {tmp_path / 'job'} was written without the code: still to be recorded are who asked for the key, "
        "what proof was seen, who saw the proof, when the proof was seen (--asked-by, --proof, --seen-by, --seen-on).\n"
    ) in err
    assert problems == () and job.reading is None and job.pictures[0].readings is None
    assert sorted(path.name for path in (tmp_path / "job").iterdir()) == ["copy.png", "job.json"]


def test_a_job_with_entitlement_holds_everything(picture: Path, tmp_path: Path) -> None:
    """Code, entitlement, annotated picture, and the picture's own bytes."""
    status, _out, err = run("read", picture, "--spec", "harbourside-5", "--job", tmp_path / "job", *SEEN)
    job, _problems = load_job(tmp_path / "job")

    assert status == 0 and f"The job was written in {tmp_path / 'job'}." in err
    assert job.entitlement is not None and job.entitlement.asked_by == "Orla Fenwright"
    assert job.reading is not None and (tmp_path / "job" / "annotated.png").exists()
    assert job.pictures[0].sha256 == sha256_of(png())


def test_reading_again_with_the_entitlement_goes_on_with_the_job(picture: Path, tmp_path: Path) -> None:
    """The same picture into the same folder is the same job; another picture into it is refused."""
    job = tmp_path / "job"
    run("read", picture, "--spec", "harbourside-5", "--job", job)
    first = load_job(job)[0]
    assert run("read", picture, "--spec", "harbourside-5", "--job", job, *SEEN)[0] == 0
    second = load_job(job)[0]
    (tmp_path / "other.png").write_bytes(png(120))
    status, _out, err = run("read", tmp_path / "other.png", "--spec", "harbourside-5", "--job", job, *SEEN)

    assert (first.number, first.created) == (second.number, second.created) and second.reading is not None
    assert status == 1
    assert f"Folder job holds job {first.number} already, which is another job; choose another folder.\n" in err
    assert load_job(job)[0] == second


def test_a_job_goes_on_from_its_folder(picture: Path, tmp_path: Path) -> None:
    """Cut list, cut file, trials and template come from the job alone, without reading the picture again."""
    job = tmp_path / "job"
    run("read", picture, "--spec", "harbourside-5", "--job", job, *SEEN)
    picture.unlink()

    assert "code " + "-".join(CODE) in run("cutlist", job)[1]
    assert json.loads(run("trials", job, "--most", "3", "--json")[1])["format"] == "trialplan/1"
    code = "-".join(CODE)
    begun = json.loads(run("trials", job, "--begun", code, "--json")[1])
    heights = [str(height) for height in begun["begun_mm"]]
    assert begun["steps"][0]["blank"] == 0 and begun["steps"][0]["cut"] == []
    assert json.loads(run("trials", job, "--begun", *heights, "--json")[1]) == begun
    assert run("trials", job, "--begun", *heights)[1].count("On the key already begun: leave it as it is") == 1
    left = json.loads(run("trials", job, "--begun", code, "--tried", code, "--json")[1])
    assert list(CODE) not in [step["code"] for step in left["steps"]]
    assert run("trials", job, "--begun", "7", "7", "--json")[0] == 1
    assert run("cutlist", job, "--out", tmp_path / "cuts.csv")[0] == 0
    rows = list(csv.DictReader(io.StringIO((tmp_path / "cuts.csv").read_text(encoding="utf-8"))))
    assert [row["depth"] for row in rows] == list(CODE) and rows[0]["asked_by"] == "Orla Fenwright"
    assert run("template", job)[0] == 0
    assert run("sheet", job)[0] == 0
    assert all((job / name).read_bytes().startswith(b"%PDF") for name in ("template.pdf", "sheet.pdf"))


@pytest.mark.parametrize(
    "command", [("cutlist", "--out", "cuts.csv"), ("template", "--out", "t.pdf"), ("sheet", "--out", "s.pdf")]
)
def test_no_paper_without_entitlement(
    picture: Path, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, command: tuple[str, ...]
) -> None:
    """A job whose entitlement is missing gives no file with its code."""
    monkeypatch.chdir(tmp_path)
    run("read", picture, "--spec", "harbourside-5", "--job", "job")
    status, _out, err = run(command[0], "job", *command[1:])

    assert status == 1 and "who asked for the key, what proof was seen" in err
    assert not (tmp_path / command[2]).exists()


def test_one_bad_picture_does_not_stop_the_others(tmp_path: Path) -> None:
    """Several pictures are read by several processes, and told in the order in which they were given."""
    (tmp_path / "a.png").write_bytes(png(255, (300, 200)))
    (tmp_path / "b.png").write_bytes(b"not a picture")
    (tmp_path / "c.png").write_bytes(b"")
    names = [tmp_path / name for name in ("c.png", "a.png", "missing.png", "b.png")]
    status, out, err = run("read", *names, "--spec", "harbourside-5", "--json")
    told = [json.loads(line) for line in out.splitlines()]

    assert status == 1
    assert [reading["picture"] for reading in told] == ["c.png", "a.png", "missing.png", "b.png"]
    assert all(set(reading) == {"format", "picture", "error"} for reading in told)
    assert told[1]["error"].startswith("No key was found in a.png;")
    assert err.splitlines() == [reading["error"] for reading in told]


def test_check_says_which_cut_and_what_to_do() -> None:
    """A cut too high can be deepened; one too low needs a new blank."""
    good = run("check", "--spec", "harbourside-5", "--code", "31254", "--roots", "6,70 7,70 7,20 5,70 6,20")
    high = run("check", "--spec", "harbourside-5", "--code", "31254", "--roots", "6.70 7.70 7.30 5.70 6.20")

    assert good[0] == 0 and good[1].endswith("The key meets its code.\n")
    assert high[0] == 0 and "deepen cut 3 by 0.100 mm" in high[1]
    in_inches = run(
        "check", "--spec", "harbourside-5", "--code", "31254", "--unit", "in", "--json",
        "--roots", *(f"{mm / 25.4:.6f}" for mm in (6.7, 7.7, 7.2, 5.7, 6.2)),
    )  # fmt: skip
    assert json.loads(in_inches[1])["outcome"] == "pass"


def test_cutlist_wants_a_job_or_a_code() -> None:
    """What is missing is said; a cut file is not made of a bare code."""
    assert run("cutlist") == (2, "", "Give a job folder, or both --spec and --code.\n")
    assert run("cutlist", "--spec", "harbourside-5", "--code", "31254", "--out", "x.csv") == (
        2, "", "A cut file is written only of a job, with its entitlement; give the job folder.\n",
    )  # fmt: skip
    assert run("cutlist", "--spec", "harbourside-5", "--code", "3-1-2-5-9")[0] == 2


def test_identify_ranks_tables_and_says_none() -> None:
    """Figures of one table's key name that table; figures that fit nothing say so."""
    spec = load_spec("harbourside-5")
    roots = [f"{2.0 * (spec.root_of(label) + 0.1):.2f}" for label in CODE]
    positions = [f"{2.0 * position:.2f}" for position in spec.cut_positions_mm]
    found = json.loads(
        run("identify", "--height", "16.9", "--roots", *roots, "--positions", *positions, "--json")[1]
    )  # fmt: skip

    assert found["tables"][0]["spec"] == "Harbourside 5" and found["tables"][0]["code"] == list(CODE)
    total = found["none_probability"] + sum(table["probability"] for table in found["tables"])
    assert abs(total - 1) < 1e-9
    nothing = run("identify", "--height", "16.9", "--roots", *roots, "--positions", "1 2 30 31 32")
    assert nothing[1].startswith("None of these tables fits")


def test_a_picture_ranks_tables_without_their_own_places() -> None:
    """Where cuts stand is found with the table's help, so it does not count; nor does a table that could not read."""
    spec = load_spec("harbourside-5")
    figures = [2.0 * (spec.root_of(label) + 0.1) for label in CODE]
    own = readings_of_figures(16.9, figures, [2.0 * mm for mm in spec.cut_positions_mm], None, spec)
    bare = readings_of_figures(16.9, figures, None, None, spec)
    found = ranked([(load_spec("kwikset"), bare), (spec, own), (load_spec("dexter"), "No key was found.")])

    assert [candidate.spec.name for candidate in found.candidates] == ["Harbourside 5", "Kwikset"]
    assert found.candidates[0].log_evidence == identify(bare, [spec]).candidates[0].log_evidence
    assert found.left_out == (("Dexter", "No key was found."),)
    assert found.candidates[0].probability > found.none_probability
    assert found.candidates[0].decoding.code == CODE


def test_a_picture_that_no_table_explains_says_none_and_why() -> None:
    """Root heights between the depths of the only table: none fits, with what speaks against the nearest."""
    spec = load_spec("harbourside-5")
    figures = [2.0 * (8.2 - 0.5 * depth) for depth in (0.0, 2.5, 5.0, 1.25, 3.75)]
    found = ranked([(spec, readings_of_figures(16.8, figures, [2.0 * mm for mm in spec.cut_positions_mm], None, spec))])

    assert found.none_probability > 0.5
    assert found.words.startswith("None of these tables fits (probability 0.") and ", but " in found.words
    assert ranked([(spec, "No key was found.")]).words == "No table could read this picture."


def test_a_table_from_measured_depth_keys(tmp_path: Path) -> None:
    """The new table says that it was measured, by whom, and passes its own check; nothing is written over."""
    readings, out = tmp_path / "readings.txt", tmp_path / "shop-5.json"
    readings.write_text("0 8,20 8,21 8,20\n1 7,70 7,70 7,69\n2 7,20 7,21 7,20\n3 6,70 6,70 6,71\n")
    call = ("spec", "from-depth-keys", readings, "--name", "Shop 5", "--like", "harbourside-5", "--by", "T. Quill",
            "--out", out)  # fmt: skip
    status, said, _err = run(*call)
    table = json.loads(out.read_text())

    assert status == 0 and re.search(r"^Equal steps of 0\.(499|500|501) ", said, re.M)
    assert table["provenance"]["kind"] == "measured" and "T. Quill" in table["provenance"]["source"]
    assert [row["label"] for row in table["depths"]] == ["0", "1", "2", "3"]
    assert run("spec", "check", out)[0] == 0
    assert run(*call) == (2, "", f"{out} is there already; choose another name for the table.\n")


def test_the_demo_does_the_whole_job_from_any_folder(tmp_path: Path, checkout: Path) -> None:
    """Codes, rivals, cuts and a job folder for each shipped picture, with the invented entitlement."""
    done = subprocess.run(
        [sys.executable, "-m", "app", "demo"], cwd=tmp_path, capture_output=True, text=True, timeout=80,
        env={**os.environ, "PYTHONPATH": str(checkout)},
    )  # fmt: skip
    story = json.loads((checkout / "assets" / "demo.json").read_text(encoding="utf-8"))

    assert done.returncode == 0, done.stderr
    assert f"Job folders with the annotated pictures: {tmp_path / 'valleygauge-demo'}" in done.stdout
    for picture in story["pictures"]:
        assert re.search(rf"^  Code +{'-'.join(picture['code'])}   probability", done.stdout, re.M)
        folder = tmp_path / "valleygauge-demo" / Path(picture["file"]).stem
        job, problems = load_job(folder)
        assert problems == () and job.missing_for_export() == () and job.reading is not None
        assert job.pictures[0].sha256 == picture["sha256"]
        assert {"annotated.png", "annotated.svg", "reading.json"} <= {path.name for path in folder.iterdir()}
