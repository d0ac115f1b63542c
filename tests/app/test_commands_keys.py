"""``read --all-keys``: every key of a page for itself; ``read --show``: a picture of each stage."""

from __future__ import annotations

import json
from pathlib import Path

import numpy as np
import pytest
from PIL import Image

from keycore.jobfolder import load_job
from tests.app.made import Reader, png
from tests.app.test_commands_calls import run
from tests.generator.make import draw_picture
from tests.generator.page import on_one_page
from tests.generator.tables import invented_table

STAGES = ["1-keys.png", "2-ground.png", "3-blade.png", "4-edges.png", "5-cuts.png", "6-ladder.png"]


@pytest.fixture(scope="module")
def page(tmp_path_factory: pytest.TempPathFactory) -> tuple[Path, Path, set[tuple[str, ...]]]:
    """(page with three keys of one table one above the other, the table, their codes)."""
    folder = tmp_path_factory.mktemp("page")
    table = invented_table("A", 5)
    keys = [draw_picture(table, "scan", [6, index]) for index in range(3)]
    sizes = [np.array(drawn["image"].shape[1::-1]) * 300 / drawn["dpi"] for _shape, drawn in keys]
    tops = np.cumsum([20, *(size[1] + 40 for size in sizes)]).astype(int)
    size = int(max(size[0] for size in sizes)) + 40, int(tops[-1])
    pixels = on_one_page([drawn for _shape, drawn in keys], size, [(20, int(top)) for top in tops[:3]], 300)
    Image.fromarray(pixels).save(folder / "page.png", dpi=(300, 300))
    (folder / "table.json").write_text(json.dumps(table.to_json()))
    codes = {tuple(table.labels[depth] for depth in shape.code[0]) for shape, _drawn in keys}
    return folder / "page.png", folder / "table.json", codes


def test_each_key_of_a_page_is_read_for_itself_and_has_its_own_job(
    page: tuple[Path, Path, set[tuple[str, ...]]], tmp_path: Path
) -> None:
    """Three keys give three readings, numbered, each with its code and a job of its own number."""
    picture, table, codes = page
    job = tmp_path / "jobs"
    status, out, _err = run("read", picture, "--spec", table, "--all-keys", "--json", "--job", job)
    readings = [json.loads(line) for line in out.splitlines()]

    assert status == 0
    assert [(reading["picture"], reading["key"]) for reading in readings] == [("page.png", n) for n in (1, 2, 3)]
    assert {tuple(reading["codes"][0]["code"]) for reading in readings} == codes
    jobs = [load_job(job / f"key-{n}")[0] for n in (1, 2, 3)]
    assert len({one.number for one in jobs}) == 3 and [one.pictures[0].key for one in jobs] == [0, 1, 2]


def test_the_plain_answer_says_which_key_it_is_of(page: tuple[Path, Path, set[tuple[str, ...]]]) -> None:
    """Each block begins with the picture's name and which key of how many."""
    picture, table, _codes = page
    _status, out, _err = run("read", picture, "--spec", table, "--all-keys")
    assert [line for line in out.splitlines() if line.startswith("page.png")] == [
        f"page.png, key {number} of 3" for number in (1, 2, 3)
    ]


@pytest.mark.parametrize(
    "option",
    [("--key", "2"), ("--hold", "1=3"), ("--not", "1=3"), ("--marks", "m.json"), ("--job", "new.job.age")],
)
def test_what_belongs_to_one_key_does_not_go_with_all_keys(option: tuple[str, str]) -> None:
    """Refused before anything is read."""
    status, out, err = run("read", "page.png", "--spec", "harbourside-5", "--all-keys", *option)
    assert (status, out) == (2, "")
    assert option[0] in err and "belongs to one key" in err and err.count("\n") == 1


def test_a_page_without_a_key_says_so_once(tmp_path: Path) -> None:
    """One outcome, not none."""
    (tmp_path / "blank.png").write_bytes(png(240))
    status, out, _err = run("read", tmp_path / "blank.png", "--spec", "harbourside-5", "--all-keys", "--json")
    (told,) = [json.loads(line) for line in out.splitlines()]
    assert status == 1 and told["key"] == 1 and "No key was found" in told["error"]


def test_show_writes_a_picture_of_each_stage_for_each_key(
    page: tuple[Path, Path, set[tuple[str, ...]]], tmp_path: Path
) -> None:
    """Six pictures in a folder for each key, and a word of caution, since they show the code."""
    picture, table, _codes = page
    show = tmp_path / "seen"
    status, _out, err = run("read", picture, "--spec", table, "--all-keys", "--show", show)
    assert status == 0 and f"What is in {show} shows the code; take it away when you have looked at it.\n" in err
    for number in (1, 2, 3):
        assert sorted(path.name for path in (show / f"key-{number}").iterdir()) == STAGES


def test_a_picture_that_was_not_read_is_shown_as_far_as_it_came(tmp_path: Path) -> None:
    """The page's stages are written, so that it can be seen why; a file that is no picture has none."""
    (tmp_path / "blank.png").write_bytes(png(240))
    (tmp_path / "letter.png").write_text("Dear sir")
    show = tmp_path / "seen"
    names = [tmp_path / "blank.png", tmp_path / "letter.png"]
    assert run("read", *names, "--spec", "harbourside-5", "--show", show)[0] == 1
    assert sorted(path.name for path in (show / "blank").iterdir()) == STAGES[:2]
    assert not (show / "letter").exists()


def test_a_place_that_cannot_be_written_is_said(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """The reading is still told."""
    monkeypatch.setattr("app.picture.read.read_picture", Reader())
    (tmp_path / "copy.png").write_bytes(png())
    (tmp_path / "seen").write_text("a file is in the way")
    status, out, err = run(
        "read", tmp_path / "copy.png", "--spec", "harbourside-5", "--show", tmp_path / "seen", "--json"
    )
    assert status == 1 and json.loads(out)["codes"]
    assert "The pictures of the stages cannot be written in" in err
