"""Snaps, all cuts at once, several pictures, several keys, trials: further ways through the window."""

from __future__ import annotations

import io
from collections.abc import Callable
from pathlib import Path

import pytest
from PIL import Image
from PySide6.QtCore import QMimeData, Qt, QTimer, QUrl
from PySide6.QtTest import QTest
from pytestqt.qtbot import QtBot

from app.bench import Bench
from app.folders import jobs_folder
from app.window.main_window import MainWindow
from tests.app.made import Reader, png
from tests.app.window.conftest import wait_read
from tests.app.window.test_main_window import CODE_WORDS, drop


def test_a_snap_is_refused_and_taken_again(window: MainWindow, qtbot: QtBot) -> None:
    """S on a mark that a hand set reads it as placed; again snaps it; the panel's button does the same."""
    view, bench = window.sheet.view, window.session.bench
    bench.move_mark("root.2", (215.0, 130.0))
    window.session.after_change()
    wait_read(window, qtbot)
    view.setFocus()
    view.choose("root.2")
    QTest.keyClick(view, Qt.Key.Key_S)
    assert next(mark for mark in bench.marks() if mark.name == "root.2").as_placed
    assert "S snaps to the edge" in view.hint()
    window.show_step("marks")
    window.side.marks.show_chosen("root.2")
    window.side.marks.snap.click()

    assert not next(mark for mark in bench.marks() if mark.name == "root.2").as_placed


def test_all_cuts_move_together_from_the_picture_and_from_the_panel(window: MainWindow) -> None:
    """Ctrl with an arrow, or the button, moves every root by one spacing; two undos bring all back."""
    bench = window.session.bench
    before = [mark.xy for mark in bench.marks() if mark.name.startswith("root.")]
    QTest.keyClick(window.sheet.view, Qt.Key.Key_Right, Qt.KeyboardModifier.ControlModifier)
    once = [mark.xy for mark in bench.marks() if mark.name.startswith("root.")]
    window.show_step("marks")
    window.side.marks.to_bow.click()
    window.session.undo()
    window.session.undo()

    assert once[:4] == before[1:]
    assert [mark.xy for mark in bench.marks() if mark.name.startswith("root.")] == before


def test_several_pictures_stand_side_by_side(window: MainWindow, qtbot: QtBot, tmp_path: Path) -> None:
    """Two dropped files join the job; the others stand beside the one that is worked on, and a click changes over."""
    files = []
    for shade in (120, 140):
        file = tmp_path / f"copy-{shade}.png"
        file.write_bytes(png(shade))
        files.append(QUrl.fromLocalFile(str(file)))
    mime = QMimeData()
    mime.setUrls(files)
    drop(window, mime)
    qtbot.waitUntil(lambda: len(window.session.bench.state.pictures) == 3, timeout=5000)
    wait_read(window, qtbot)
    beside = window.sheet.beside
    shown = [part.other.index for part in beside.parts if part.isVisible() and part.other is not None]
    assert shown == [0, 1] and window.header.picture.text() == "picture 3 of 3"
    QTest.mouseClick(beside.parts[1], Qt.MouseButton.LeftButton)
    assert window.session.bench.state.current == 1
    window.actions_by_name["next_picture"].trigger()
    assert window.session.bench.state.current == 2


def test_the_pictures_beside_show_the_same_stretch(window: MainWindow, qtbot: QtBot) -> None:
    """Close to a cut in one picture, the same cut stands in the middle of the others."""
    window.session.open(png(120), name="second.png")
    qtbot.waitUntil(lambda: len(window.session.bench.state.pictures) == 2, timeout=5000)
    wait_read(window, qtbot)
    view, part = window.sheet.view, window.sheet.beside.parts[0]
    view.choose("root.3")
    view.to_cut()
    other, there = part.other, part.view_now()
    assert other is not None and there is not None
    x, y = there.view_xy(other.roots_xy[3])

    assert (x, y) == pytest.approx((there.view_size[0] / 2, there.view_size[1] / 2), abs=1.0)


def test_several_keys_of_a_page_become_jobs(window: MainWindow, qtbot: QtBot, monkeypatch: pytest.MonkeyPatch) -> None:
    """Where the program sees three keys it offers a job for each; they are kept, and this job stays on the bench."""
    monkeypatch.setattr("app.window.session.count_keys", lambda *_: 3)
    window.session._keys.clear()
    window.session._count()
    qtbot.waitUntil(lambda: window.session.keys_seen == 3, timeout=5000)
    window.show_step("picture")
    assert window.side.picture.split.isVisible()
    number = window.session.bench.state.number
    with qtbot.waitSignal(window.session.jobs_made, timeout=10_000) as made:
        window.side.picture.split.click()

    assert made.args == [(f"{number}-key2", f"{number}-key3")]
    assert window.session.bench.state.number == number and "key2" in window.status.text()
    for name in made.args[0]:
        again = Bench.open_job(jobs_folder() / name, reading_only=True)
        assert again.state.picture is not None and again.state.spec == window.session.bench.state.spec


def test_trials_follow_the_plan_and_are_recorded(
    window: MainWindow, qtbot: QtBot, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Each step says what to cut; what a trial gave is kept, and the next one is chosen."""
    monkeypatch.setattr("app.bench._WORTH_A_TRIAL", 0.0)
    window.show_step("cutting")
    plan = window.side.cutting.plan
    qtbot.waitUntil(lambda: plan.list.count() > 1, timeout=20_000)
    shown = window.session.trial_plan
    assert shown is not None and any(CODE_WORDS in plan.list.item(row).text() for row in range(plan.list.count()))
    assert plan.list.currentRow() == 0
    plan.stays.click()
    trials = window.session.bench.state.trials
    assert [(trial.code, trial.opened) for trial in trials] == [(shown.steps[0].code, False)]
    assert "did not open" in plan.list.item(0).text() and plan.list.currentRow() == 1
    window.session.undo()

    assert window.session.bench.state.trials == () and plan.list.currentRow() == 0


def test_a_code_that_is_nearly_sure_is_the_whole_plan(window: MainWindow, qtbot: QtBot) -> None:
    """What opens once in a hundred trials is not planned."""
    window.show_step("cutting")
    plan = window.side.cutting.plan
    qtbot.waitUntil(lambda: plan.list.count() > 0, timeout=20_000)

    assert plan.list.count() == 1 and CODE_WORDS in plan.list.item(0).text()


def test_each_picture_keeps_where_one_looked(window: MainWindow, qtbot: QtBot) -> None:
    """Close to a cut in one picture, over to the other and back: the same place at the same zoom."""
    window.session.open(png(120), name="second.png")
    qtbot.waitUntil(lambda: len(window.session.bench.state.pictures) == 2, timeout=5000)
    wait_read(window, qtbot)
    view = window.sheet.view
    view.choose("root.3")
    view.to_cut()
    view.zoom(1.3)
    percent, offset = view.view.percent, view.view.offset_xy
    window.show_other_picture(1)
    assert view.view.percent != percent
    window.show_other_picture(1)

    assert view.view.percent == pytest.approx(percent)
    assert view.view.offset_xy == pytest.approx(offset, abs=0.5)


def test_undo_says_what_it_takes_back(window: MainWindow) -> None:
    """The words stand on the button, not in its tip alone."""
    window.session.act(lambda: window.session.bench.hold(0, "3"))

    assert window.header.steps["undo"].text() == "Undo: hold cut 1 at 3"
    window.session.undo()
    assert window.header.steps["redo"].text() == "Redo: hold cut 1 at 3"


def test_the_strip_shows_the_growth_of_the_picture_that_is_worked_on(window: MainWindow, qtbot: QtBot) -> None:
    """With several pictures the density and the slider are those of the one that is shown."""
    window.session.open(png(120), name="second.png")
    qtbot.waitUntil(lambda: len(window.session.bench.state.pictures) == 2, timeout=5000)
    wait_read(window, qtbot)
    bench, picture = window.session.bench, window.session.bench.state.picture
    assert picture is not None
    share, density = bench.share_of(picture), bench.growth_density
    assert share is not None and density is not None
    growths, heights = density

    assert abs(float(growths[heights.argmax()]) - share.growth_mm) < 3 * share.growth_sigma_mm
    assert window.sheet.strip.value() == round(1000 * share.growth_mm)


def test_a_picture_is_not_read_while_marks_are_set_one_by_one(window: MainWindow, qtbot: QtBot, reader: Reader) -> None:
    """The picture would turn under the hand; a wrong one is taken back; the reading comes after the last."""
    view, bench = window.sheet.view, window.session.bench
    window.show_step("marks")
    qtbot.mouseClick(window.side.marks.place, Qt.MouseButton.LeftButton)
    asked, reads = view.placing, reader.calls
    qtbot.keyClick(view, Qt.Key.Key_Return)
    qtbot.keyClick(view, Qt.Key.Key_Right, Qt.KeyboardModifier.ShiftModifier)
    qtbot.keyClick(view, Qt.Key.Key_Return)
    words = bench.undo_words
    qtbot.keyClick(view, Qt.Key.Key_Backspace)
    assert bench.undo_words != words and view.placing == asked[1:]
    qtbot.wait(300)
    assert reader.calls == reads and not window.session.reading_now
    for _ in view.placing:
        qtbot.keyClick(view, Qt.Key.Key_Right, Qt.KeyboardModifier.ShiftModifier)
        qtbot.keyClick(view, Qt.Key.Key_Return)
    assert view.placing == ()
    qtbot.waitUntil(lambda: reader.calls > reads)
    wait_read(window, qtbot)


@pytest.mark.qt_log_ignore("grabbing the keyboard", extend=True)  # the offscreen platform cannot
def test_the_job_menu_opens_by_a_key(window: MainWindow, qtbot: QtBot) -> None:
    """What has no key of its own is found with F10 and the arrows."""
    seen: list[str] = []

    def look() -> None:
        menu = window.header.job.menu()
        for _ in menu.actions():
            qtbot.keyClick(menu, Qt.Key.Key_Down)
            action = menu.activeAction()
            seen.append("" if action is None else action.text())
        qtbot.keyClick(menu, Qt.Key.Key_Escape)

    QTimer.singleShot(50, look)
    qtbot.keyClick(window, Qt.Key.Key_F10)

    assert {"Seal with a passphrase…", "Reduction on a copier…", "Light-test template…", "Forget this job…"} <= set(
        seen
    )


def test_the_keys_go_on_to_the_picture_when_the_code_is_there(
    make_window: Callable[[Bench | None], MainWindow], qtbot: QtBot
) -> None:
    """Choosing the table by keys leads to the picture and its marks, and to no button that might be pressed."""
    bench = Bench("T-9")
    bench.open_picture(png(), name="copy.png")
    window = make_window(bench)
    qtbot.keyClick(window, Qt.Key.Key_2, Qt.KeyboardModifier.ControlModifier)
    qtbot.keyClicks(window.side.table.filter, "harbourside")
    window.side.table.list.setFocus()
    qtbot.keyClick(window.side.table.list, Qt.Key.Key_Down)
    qtbot.keyClick(window.side.table.list, Qt.Key.Key_Return)
    wait_read(window, qtbot)

    assert window.side.step == "code" and window.focusWidget() is window.sheet.view


def test_a_mark_chosen_on_the_picture_is_the_one_of_the_panel(window: MainWindow, qtbot: QtBot) -> None:
    """Also where the panel is opened afterwards, and after a new reading: its buttons are for that mark."""
    window.sheet.view.choose("back.1")
    window.show_step("marks")
    panel = window.side.marks
    assert panel.list.currentItem().text().startswith("back, end 2") and panel.lock.isEnabled()
    qtbot.mouseClick(panel.lock, Qt.MouseButton.LeftButton)
    wait_read(window, qtbot)

    assert panel.list.currentItem().text() == "back, end 2 · found, locked"


def test_what_the_picture_was_taken_for_is_seen_and_corrected(window: MainWindow, qtbot: QtBot, reader: Reader) -> None:
    """The panel and the path name the guess; another choice is read at once, and undo brings the guess back."""
    window.show_step("picture")
    panel, reads = window.side.picture, reader.calls
    assert panel.medium.currentText().startswith("found: a")
    assert ", taken for a" in window.path.buttons["picture"].accessibleDescription()
    panel.medium.setFocus()
    qtbot.keyClick(panel.medium, Qt.Key.Key_End)
    panel.medium.activated.emit(panel.medium.currentIndex())
    wait_read(window, qtbot)
    picture = window.session.bench.state.picture
    assert picture is not None and picture.medium == "photo-copy" and reader.calls > reads
    assert ", said to be a" in window.path.buttons["picture"].accessibleDescription()
    window.session.undo()

    assert panel.medium.currentIndex() == 0


def test_another_page_of_a_file_is_turned_to(window: MainWindow, qtbot: QtBot) -> None:
    """A file of two pages offers the second; it is one step to undo, its marks start anew, and it is kept."""
    stream = io.BytesIO()
    pages = [Image.new("L", (600, 300), shade) for shade in (180, 190)]
    pages[0].save(stream, "TIFF", save_all=True, append_images=pages[1:])
    window.session.open(stream.getvalue(), name="pages.tif")
    bench = window.session.bench
    qtbot.waitUntil(lambda: len(bench.state.pictures) == 2)
    wait_read(window, qtbot)
    window.show_step("picture")
    panel = window.side.picture
    assert panel.page.isVisible() and panel.page.value() == 1 and "Page 1 of 2." in panel.facts.text()
    window.session.act(lambda: bench.move_mark("root.1", (200.0, 120.0)))
    wait_read(window, qtbot)
    panel.page.setFocus()
    qtbot.keyClick(panel.page, Qt.Key.Key_Up)
    qtbot.waitUntil(lambda: bench.state.pictures[1].page == 2)
    wait_read(window, qtbot)
    assert bench.undo_words == "turn to page 2" and not bench.state.pictures[1].by_hand
    assert "Page 2 of 2." in panel.facts.text()
    window.session.save_now()
    kept = Bench.open_job(jobs_folder() / bench.state.number, reading_only=True)
    assert kept.state.pictures[1].page == 2
    window.session.undo()

    assert bench.state.pictures[1].page == 1 and bench.state.pictures[1].by_hand == {"root.1"}
