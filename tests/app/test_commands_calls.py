"""Wrong calls and bad input: one plain sentence on the error output, and the exit status that it deserves."""

from __future__ import annotations

import json
import os
import subprocess
import sys
import time
from pathlib import Path

import pytest
from PIL import Image
from reportlab.lib.utils import ImageReader
from reportlab.pdfgen.canvas import Canvas
from typer.testing import CliRunner

from app.commands import app
from app.commands_common import aligned, spread
from tests.app.made import png

NO_TABLE = "see the tables with spec list, or give a file."


def run(*args: str | Path) -> tuple[int, str, str]:
    """(exit status, output, error output) of one call."""
    result = CliRunner().invoke(app, [str(arg) for arg in args], prog_name="valleygauge")
    return result.exit_code, result.stdout, result.stderr


@pytest.mark.parametrize(
    ("args", "out"),
    [
        ("--roots 1 2 3", "--roots 1 --roots 2 --roots 3"),
        ("--roots 19,51 18,28 --sigma 0.1", "--roots 19,51 --roots 18,28 --sigma 0.1"),
        ("--roots=1 2 --json", "--roots 1 --roots 2 --json"),
        ("a.png --roots 1 2 --hold 1=3 2=4 --not 1=0", "a.png --roots 1 --roots 2 --hold 1=3 --hold 2=4 --not 1=0"),
        ("--roots -1 2", "--roots -1 --roots 2"),
        ("--roots 1 2 a.png", "--roots 1 --roots 2 a.png"),
        ("--roots x --json", "--roots x --json"),
        ("--roots", "--roots"),
        ("--sigma 1 2", "--sigma 1 2"),
        ("-- --roots 1 2", "-- --roots 1 2"),
    ],
)
def test_lists_of_values_follow_their_option(args: str, out: str) -> None:
    """One option takes all values up to the next word that is none."""
    assert spread(args.split()) == out.split()


def test_a_quoted_list_is_taken_apart() -> None:
    """Blanks and semicolons part numbers inside one word; a comma does not."""
    assert spread(["--roots", "19,51 18,28;16,13"]) == ["--roots", "19,51", "--roots", "18,28", "--roots", "16,13"]


def test_columns_of_numbers_stand_to_the_right() -> None:
    """A table lines its numbers up at the right and its words at the left."""
    assert aligned([("cut", "mm"), ("one", "7.20"), ("a", "11.05")]) == ["  cut     mm", "  one   7.20", "  a    11.05"]


@pytest.mark.parametrize(
    ("args", "sentence"),
    [
        (["nonsense"], "valleygauge: no such command 'nonsense'; see valleygauge --help."),
        (["read"], "valleygauge read: missing argument 'PICTURE...'; see valleygauge read --help."),
        (["read", "a.png"], "valleygauge read: missing option '--spec'; see valleygauge read --help."),
        (["read", "a.png", "--spec"],
         "valleygauge read: option '--spec' requires an argument; see valleygauge read --help."),
        (["read", "a.png", "--spec", "no-such"], f"There is no depth table called no-such; {NO_TABLE}"),
        (["read", "a.png", "--spec", "no-such.json"],
         "There is no depth table file no-such.json; check the path, or see the tables with spec list."),
        (["read", "a.png", "--spec", "harbourside-5", "--reference", "coin"],
         "--reference is one of auto, card, a4, dpi, none; got 'coin'."),
        (["read", "a.png", "--spec", "harbourside-5", "--key", "0"],
         "valleygauge read: invalid value for '--key': Input should be greater than or equal to 1; "
         "see valleygauge read --help."),
        (["read", "a.png", "b.png", "--spec", "harbourside-5", "--marks", "m.json"],
         "--marks belongs to one picture; got 2. Read them one by one."),
        (["read", "a.png", "--spec", "harbourside-5", "--marks", "no-such.json"],
         "no-such.json: the marks cannot be read (No such file or directory); check the path."),
        (["read", "a.png", "--spec", "harbourside-5", "--hold", "6=1"],
         "--hold 6=1: a key of Harbourside 5 has cuts 1 to 5; got cut 6."),
        (["read", "a.png", "--spec", "harbourside-5", "--not", "1=9"],
         "--not 1=9: depth '9' is not in table Harbourside 5 (0, 1, 2, 3, 4, 5, 6)."),
        (["read", "a.png", "--spec", "harbourside-5", "--hold", "first"],
         "--hold wants a cut and a depth such as --hold 1=3; got 'first'."),
        (["read", "a.png", "--spec", "harbourside-5", "--job", "j", "--seen-on", "yesterday"],
         'A date is wanted, such as 2026-03-14 or "2026-03-14 10:30", or now; got \'yesterday\'.'),
        (["decode", "--spec", "harbourside-5", "--height", "tall", "--roots", "1"],
         "The blade height must be a number such as 19.51 or 19,51; got 'tall'."),
        (["decode", "--spec", "harbourside-5", "--height", "8,4", "--roots", "7", "7.x"],
         "A root height must be a number such as 19.51 or 19,51; got '7.x'."),
        (["open", "no-such.png"], 'There is no file or job folder "no-such.png"; check the name and the folder.'),
        (["spec", "check", "harborside-5"],
         'There is no depth table called harborside-5; did you mean "harbourside-5"?'),
    ],
)  # fmt: skip
def test_a_wrong_call_is_one_sentence_and_status_2(args: list[str], sentence: str) -> None:
    """Nothing on the output, no trace, no usage block."""
    assert run(*args) == (2, "", sentence + "\n")


@pytest.mark.parametrize(
    ("name", "content", "sentence"),
    [
        ("missing.png", None, 'There is no file "{path}"; check the name and the folder.'),
        ("empty.png", b"", '"empty.png" is empty (0 bytes); copy it again from where it came from.'),
        ("letter.png", b"Dear locksmith, enclosed please find",
         '"letter.png" is not a picture that can be opened here; PNG, JPEG, TIFF, BMP, WebP, GIF, PDF and HEIC can, so '
         "save or export it as one."),
        ("folder", "dir", '"folder" is a folder; choose a picture inside it.'),
    ],
)  # fmt: skip
def test_a_picture_that_cannot_be_opened_is_told_and_status_1(
    tmp_path: Path, name: str, content: bytes | str | None, sentence: str
) -> None:
    """The sentence stands on the error output, and as "error" in the JSON."""
    path = tmp_path / name
    if content == "dir":
        path.mkdir()
    elif isinstance(content, bytes):
        path.write_bytes(content)
    expected = sentence.format(path=path)
    assert run("read", path, "--spec", "harbourside-5") == (1, "", expected + "\n")

    status, out, _err = run("read", path, "--spec", "harbourside-5", "--json")
    assert status == 1
    assert json.loads(out) == {"format": "keyreading/1", "picture": name, "error": expected}


@pytest.mark.parametrize(
    ("marks", "sentence"),
    [
        ({"shoulder": [700, 20]},
         "grey.png: The shoulder is marked at (700.0, 20.0), outside the picture of 600 x 300 pixels; "
         "mark it inside."),
        ({"roots": [[10, 10], [20, 10], [30, 10]]},
         "grey.png: A key of Harbourside 5 has 5 cuts; the marks have 3. Mark every root, bow to tip, or choose "
         "another table."),
        ({"roots": [[[10, 10]], [[20, 10]]]},
         "grey.png: A key of Harbourside 5 has 5 cuts; the marks have 1 and 1. Mark every root, bow to tip, or choose "
         "another table."),
    ],
)  # fmt: skip
def test_marks_that_do_not_fit_the_picture_or_the_table(
    tmp_path: Path, marks: dict[str, object], sentence: str
) -> None:
    """The picture, the rule and the value are named."""
    picture, file = tmp_path / "grey.png", tmp_path / "marks.json"
    picture.write_bytes(png())
    file.write_text(json.dumps({"format": "marks/1", **marks}))

    assert run("read", picture, "--spec", "harbourside-5", "--marks", file) == (1, "", sentence + "\n")


@pytest.mark.parametrize(
    ("text", "sentence"),
    [
        ("{", "{file} is not whole JSON; a marks/1 file is expected."),
        ("[]", '{file} holds no marks: its "format" should be "marks/1".'),
        ('{"format": "marks/1", "tip": [1]}', "{file}: tip.1: field required; correct it."),
        ('{"format": "marks/1", "tip": [1, NaN]}', "{file}: tip.1: input should be a finite number; correct it."),
        ('{"format": "marks/1", "handle": [1, 2]}',
         "{file}: handle: extra inputs are not permitted; correct it."),
    ],
)  # fmt: skip
def test_a_broken_marks_file_is_a_wrong_call(tmp_path: Path, text: str, sentence: str) -> None:
    """The file, the member and the rule are named."""
    file = tmp_path / "marks.json"
    file.write_text(text)

    expected = sentence.replace("{file}", str(file))
    assert run("read", "a.png", "--spec", "harbourside-5", "--marks", file) == (2, "", expected + "\n")


TABLE = {
    "format": "keyspec/1", "name": "Broken", "provenance": {"kind": "invented", "source": "a test"}, "units": "mm",
    "edges": "single", "gauge_from": "shoulder", "root_from": "back", "cut_positions": [4.0, 8.0, 12.0],
    "depths": [{"label": "0", "root": 8.0}, {"label": "1", "root": 7.5}, {"label": "2", "root": 7.0}],
    "tolerance": {"root": 0.04, "position": 0.06}, "max_adjacent_step": 2, "blade": {"height": 8.4, "length": 20.0},
}  # fmt: skip


@pytest.mark.parametrize(
    ("change", "word"),
    [
        ({"depths": [{"label": "0", "root": 8.0}, {"label": "1", "root": 8.2}]}, "8.2"),
        ({"colour": "brass"}, "colour"),
        ({"cut_positions": [4.0, -8.0]}, "-8"),
        ({"max_adjacent_step": 0}, "max_adjacent_step"),
        ({"units": "cm"}, "cm"),
        ({"cut_counts": [5]}, "5"),
    ],
)
def test_a_broken_table_is_told_by_check_and_refused_by_read(
    tmp_path: Path, change: dict[str, object], word: str
) -> None:
    """One sentence with the file's name and the value; checking it gives status 1, reading with it is a wrong call."""
    file = tmp_path / "broken.json"
    file.write_text(json.dumps({**TABLE, **change}))
    checked, read = run("spec", "check", file), run("read", "a.png", "--spec", file)

    assert checked[0] == 1 and read[0] == 2
    assert checked[1:] == read[1:] and checked[1] == ""
    assert checked[2].count("\n") == 1 and checked[2].startswith("broken.json") and word in checked[2]


def test_a_good_table_is_described(tmp_path: Path) -> None:
    """The unchanged table of the test above passes, so that the refusals there have their cause in the change."""
    file = tmp_path / "good.json"
    file.write_text(json.dumps(TABLE))
    status, out, err = run("spec", "check", file)

    assert (status, err) == (0, "")
    assert out.startswith("Broken: single-edge key, 3 cuts gauged from the shoulder, 3 depths 0 to 2")


def test_the_list_of_tables_flags_the_unconfirmed_and_the_restricted() -> None:
    """A table from memory shows as unconfirmed wherever it is named."""
    status, out, _err = run("spec", "list")
    rows = {line.split("  ")[0]: line for line in out.splitlines()}

    assert status == 0
    assert rows["Yale (from memory)"].endswith("UNCONFIRMED") and rows["Lighthouse 6"].endswith("RESTRICTED")
    tables = [json.loads(line) for line in run("spec", "list", "--json")[1].splitlines()]
    assert {t["name"] for t in tables if t["unconfirmed"]} == {t["name"] for t in tables if "memory" in t["name"]}


@pytest.mark.parametrize("command", [(), ("read",), ("decode",), ("spec",), ("spec", "check"), ("open",)])
def test_help_shows_an_example(command: tuple[str, ...]) -> None:
    """Each command's help can be copied from."""
    status, out, err = run(*command, "--help")

    assert (status, err) == (0, "")
    assert command in ((), ("spec",)) or f"valleygauge {' '.join(command)} " in out


def test_help_is_quick_and_loads_nothing_heavy(checkout: Path) -> None:
    """``--help`` imports no numbers, pictures or window; a generous second also holds on a busy machine."""
    code = (
        "import sys; from app.commands import app\n"
        "try: app(['--help'])\n"
        "except SystemExit: pass\n"
        "print([m for m in ('numpy', 'scipy', 'cv2', 'pydantic', 'PySide6') if m in sys.modules], file=sys.stderr)"
    )
    begun = time.perf_counter()
    done = subprocess.run([sys.executable, "-c", code], cwd=checkout, capture_output=True, text=True, timeout=30)

    assert done.stderr == "[]\n" and "decode" in done.stdout
    assert time.perf_counter() - begun < 2.0


def test_the_module_is_the_command(checkout: Path) -> None:
    """``python -m app`` gives the same sentence and status as the command, without a trace."""
    done = subprocess.run(
        [sys.executable, "-m", "app", "read", "no-such.png", "--spec", "harbourside-5"],
        cwd=checkout, capture_output=True, text=True, timeout=60, env={**os.environ, "PYTHONPATH": str(checkout)},
    )  # fmt: skip

    assert (done.returncode, done.stdout) == (1, "")
    assert done.stderr == 'There is no file "no-such.png"; check the name and the folder.\n'


def test_a_page_is_chosen_by_number_and_a_wrong_one_is_refused(tmp_path: Path) -> None:
    """--page counts from 1 in PDF and TIFF; the sentence says how many there are."""
    pages = [Image.new("L", (200 + 10 * number, 150), 240) for number in range(3)]
    pages[0].save(tmp_path / "pages.tif", save_all=True, append_images=pages[1:])
    canvas = Canvas(str(tmp_path / "pages.pdf"))
    for page in pages:
        canvas.drawImage(ImageReader(page), 20, 20, 200, 150)
        canvas.showPage()
    canvas.save()
    for name in ("pages.pdf", "pages.tif"):
        status, _out, err = run("read", tmp_path / name, "--spec", "harbourside-5", "--page", "4")
        assert status == 1
        assert err == f'"{name}" has 3 pages, so page 4 cannot be opened; choose a page from 1 to 3.\n'
        status, _out, err = run("read", tmp_path / name, "--spec", "harbourside-5", "--page", "3")
        assert status == 1 and "No key was found" in err
