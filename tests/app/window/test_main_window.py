"""The window as a person uses it: every way in, marks, ladder, growth, export, bad input."""

from __future__ import annotations

import json
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest
from PySide6.QtCore import QEvent, QMimeData, QPoint, QPointF, Qt, QUrl
from PySide6.QtGui import QDragEnterEvent, QDropEvent, QGuiApplication, QImage
from PySide6.QtTest import QTest
from PySide6.QtWidgets import QApplication
from pytestqt.qtbot import QtBot

from app.bench import Bench
from app.folders import jobs_folder
from app.window import theme
from app.window.main_window import MainWindow
from keycore.spec import format_code
from tests.app.made import CODE, Reader, png
from tests.app.window.conftest import wait_read

CODE_WORDS = "-".join(CODE)


def picture_file(folder: Path, shade: int = 200) -> Path:
    """A picture on the disk."""
    path = folder / "copy.png"
    path.write_bytes(png(shade))
    return path


def drop(window: MainWindow, mime: QMimeData) -> None:
    """Drag something over the window and let it go."""
    at = QPointF(600, 300)
    args = (Qt.DropAction.CopyAction, mime, Qt.MouseButton.LeftButton, Qt.KeyboardModifier.NoModifier)
    QApplication.sendEvent(window, QDragEnterEvent(at.toPoint(), *args))
    QApplication.sendEvent(window, QDropEvent(at, *args, QEvent.Type.Drop))


def choose_table(window: MainWindow) -> None:
    """Choose the demo's table in its list."""
    window.show_step("table")
    panel = window.side.table
    for row in range(panel.list.count()):
        if panel.list.item(row).text().startswith("Harbourside 5"):
            panel.list.itemActivated.emit(panel.list.item(row))
            return
    pytest.fail("the table is not in the list")


def test_the_empty_window_says_what_to_do(empty_window: MainWindow) -> None:
    """It invites a picture, offers the demo, and every step waits."""
    assert empty_window.sheet.stack.currentWidget() is empty_window.sheet.empty
    assert empty_window.sheet.empty.demo.isEnabled() and empty_window.sheet.empty.open.isEnabled()
    assert {button.standing for button in empty_window.path.buttons.values()} == {"waits"}
    assert "Open a picture" in empty_window.side.code.verdict.text()


def test_a_dropped_file_a_table_and_there_is_the_code(empty_window: MainWindow, qtbot: QtBot, tmp_path: Path) -> None:
    """Drop, choose the table, read: the whole way with a pointer."""
    mime = QMimeData()
    mime.setUrls([QUrl.fromLocalFile(str(picture_file(tmp_path)))])
    drop(empty_window, mime)
    qtbot.waitUntil(lambda: empty_window.session.bench.state.picture is not None)
    assert empty_window.side.step == "table", "the next step opens by itself"
    choose_table(empty_window)
    wait_read(empty_window, qtbot)

    assert empty_window.side.code.code.text() == CODE_WORDS
    assert empty_window.sheet.stack.currentWidget() is empty_window.sheet.view


def test_a_pasted_picture_comes_in(empty_window: MainWindow, qtbot: QtBot) -> None:
    """Ctrl+V takes a picture from the clipboard as it is."""
    image = QImage.fromData(png(123))
    QGuiApplication.clipboard().setImage(image)
    QTest.keyClick(empty_window, Qt.Key.Key_V, Qt.KeyboardModifier.ControlModifier)
    qtbot.waitUntil(lambda: empty_window.session.bench.state.picture is not None)
    picture = empty_window.session.bench.state.picture

    assert picture is not None and picture.picture.size == (600, 300)
    assert int(picture.picture.rgb.flat[0]) == 123


def test_pasting_nothing_says_so(empty_window: MainWindow) -> None:
    """An empty clipboard is answered in place."""
    QGuiApplication.clipboard().clear()
    empty_window.door.paste()

    assert "no picture on the clipboard" in empty_window.sheet.notice.text.text()


@pytest.mark.parametrize(
    ("make", "says"),
    [
        (lambda path: path.with_name("missing.png"), "missing.png"),
        (lambda path: path.write_text("just words") and path, "copy.png"),
        (lambda path: path.write_bytes(b"") is not None and path, "copy.png"),
    ],
    ids=["missing", "no picture", "empty"],
)
def test_bad_files_are_answered_in_one_sentence_and_nothing_changes(
    window: MainWindow, qtbot: QtBot, tmp_path: Path, make: Callable[[Path], Path], says: str
) -> None:
    """The sentence names the file; job, picture and code stay as they were."""
    before = window.session.bench.state
    window.session.open(make(tmp_path / "copy.png"))
    qtbot.waitUntil(window.sheet.notice.isVisible)

    assert says in window.sheet.notice.text.text()
    assert window.session.bench.state == before and window.side.code.code.text() == CODE_WORDS
    QTest.keyClick(window, Qt.Key.Key_Escape)
    assert not window.sheet.notice.isVisible()


def test_a_picture_without_a_key_keeps_the_window_working(window: MainWindow, qtbot: QtBot) -> None:
    """The refusal stands where the code would be; another picture can be opened, and undo brings the old one back."""
    window.session.open(png(9), name="blank.png")
    qtbot.waitUntil(lambda: "no key was found" in window.side.code.verdict.text(), timeout=10_000)
    assert window.side.code.by_hand.isVisible(), "what to do about it is offered beside"
    window.side.code.by_hand.click()
    assert window.sheet.view.placing[:2] == ("shoulder", "back.0")
    QTest.keyClick(window.sheet.view, Qt.Key.Key_Escape)
    window.session.undo()
    wait_read(window, qtbot)

    assert window.side.code.code.text() == CODE_WORDS


def test_a_nudged_mark_is_read_again_and_can_be_undone(window: MainWindow, qtbot: QtBot, reader: Reader) -> None:
    """Ten nudges are read (not ten times), one undo takes all of them back, and the words say what."""
    view = window.sheet.view
    view.choose("root.1")
    at = view._marks["root.1"].xy
    calls = reader.calls
    for _ in range(10):
        QTest.keyClick(view, Qt.Key.Key_Right)
    wait_read(window, qtbot)

    assert view._marks["root.1"].xy == pytest.approx((at[0] + 10, at[1]))
    assert calls < reader.calls < calls + 10
    assert window.actions_by_name["undo"].toolTip() == "Undo: move the root of cut 2"
    QTest.keyClick(window, Qt.Key.Key_Z, Qt.KeyboardModifier.ControlModifier)
    assert view._marks["root.1"].xy == pytest.approx(at)
    QTest.keyClick(window, Qt.Key.Key_Z, Qt.KeyboardModifier.ControlModifier | Qt.KeyboardModifier.ShiftModifier)
    assert view._marks["root.1"].xy == pytest.approx((at[0] + 10, at[1]))


def test_the_ladder_stands_under_the_picture(window: MainWindow) -> None:
    """Each column's centre lies under its root, at any zoom."""
    for key in (Qt.Key.Key_F, Qt.Key.Key_Plus, Qt.Key.Key_Plus):
        QTest.keyClick(window.sheet.view, key)
        drawn = window.sheet.ladder.geometry_now()
        assert drawn is not None
        for index, column in enumerate(drawn.columns):
            root = window.sheet.view._marks[f"root.{index}"].xy
            x, _ = window.sheet.view.view.view_of_picture(np.array(root))
            there = window.sheet.view.mapTo(window, QPoint(0, 0)).x() + x
            here = window.sheet.ladder.mapTo(window, QPoint(0, 0)).x() + column.centre

            assert here == pytest.approx(there)


def test_the_code_changes_under_the_slider(window: MainWindow, qtbot: QtBot) -> None:
    """Sliding to another stretch of the strip shows that stretch's code at once; A gives it back to the evidence."""
    segment = next(s for s in window.session.strip if s.code != CODE)
    middle = (segment.growth_from_mm + segment.growth_to_mm) / 2
    window.sheet.strip.slid.emit(middle)

    spec = window.session.bench.state.spec
    assert spec is not None and window.side.code.code.text() == format_code(segment.code, spec)
    assert "set by hand" in window.sheet.growth_words.text()
    QTest.keyClick(window.sheet.strip, Qt.Key.Key_A)
    assert window.side.code.code.text() == CODE_WORDS


def test_one_slide_is_one_step_to_undo(window: MainWindow) -> None:
    """A drag over the whole strip is taken back at once."""
    strip = window.sheet.strip
    QTest.mousePress(strip, Qt.MouseButton.LeftButton, pos=QPoint(200, 70))
    for x in range(200, 400, 20):
        QTest.mouseMove(strip, QPoint(x, 70))
    QTest.mouseRelease(strip, Qt.MouseButton.LeftButton, pos=QPoint(380, 70))
    picture = window.session.bench.state.picture
    assert picture is not None and picture.growth_mm is not None
    window.session.undo()
    picture = window.session.bench.state.picture

    assert picture is not None and picture.growth_mm is None


def test_a_held_rung_is_evidence(window: MainWindow, qtbot: QtBot) -> None:
    """Holding another depth changes the code in that cut; clearing brings the old one back."""
    ladder = window.sheet.ladder
    drawn = ladder.geometry_now()
    assert drawn is not None
    rung = drawn.rung(1, "2")
    assert rung is not None
    place = QPoint(round((rung.left + rung.right) / 2), round(rung.middle))
    QTest.mouseClick(ladder, Qt.MouseButton.LeftButton, pos=place)
    assert window.session.bench.state.held == ((1, "2"),)
    wait_read(window, qtbot)
    assert window.side.code.code.text().split("-")[1] == "2"
    QTest.mouseClick(ladder, Qt.MouseButton.LeftButton, pos=place)
    assert window.session.bench.state.ruled_out == {(1, "2")}
    QTest.mouseClick(ladder, Qt.MouseButton.LeftButton, pos=place)
    assert not window.session.bench.state.ruled_out
    wait_read(window, qtbot)
    assert window.side.code.code.text() == CODE_WORDS


def test_an_export_waits_for_the_entitlement(window: MainWindow, qtbot: QtBot, tmp_path: Path) -> None:
    """Refused in words, with the panel open at its first field; typed in, the export is made and carries it."""
    QTest.keyClick(window, Qt.Key.Key_E, Qt.KeyboardModifier.ControlModifier)
    assert "Nothing was exported" in window.sheet.notice.text.text()
    assert window.side.step == "entitlement"
    panel = window.side.entitlement
    for name, text in (("asked_by", "A. Person"), ("proof_seen", "lease"), ("seen_by", "B. Smith")):
        QTest.keyClicks(panel.fields[name], text)
    panel._seen_now()
    assert window.session.bench.state.missing_for_export == ()
    assert window.path.buttons["entitlement"].standing == "done"
    window.door.export_to(tmp_path / "out")
    window.session.saver.finish()

    record = json.loads((tmp_path / "out" / "job.json").read_text())
    assert record["entitlement"]["asked_by"] == "A. Person"
    assert window.status.text().startswith("Exported to ")


def test_without_entitlement_nothing_is_written(window: MainWindow, tmp_path: Path) -> None:
    """Even a direct call writes nothing."""
    window.door.export_to(tmp_path / "out")
    window.session.saver.finish()

    assert not (tmp_path / "out").exists()
    assert "entitlement" in window.sheet.notice.text.text()


def test_the_job_saves_itself(window: MainWindow, qtbot: QtBot) -> None:
    """Soon after a change the folder holds it, and the header says so."""
    window.session.act(lambda: window.session.bench.set_notes("worn at the tip"))
    record = jobs_folder() / "T-1" / "job.json"
    qtbot.waitUntil(lambda: record.exists() and "worn at the tip" in record.read_text())

    qtbot.waitUntil(lambda: window.header.saved.text().startswith("saved "))


def test_a_saved_job_opens_again_with_everything(window: MainWindow, qtbot: QtBot) -> None:
    """Close and open: marks, holds, growth and table are as they were."""
    bench = window.session.bench
    window.session.act(lambda: bench.hold(1, "1"))
    window.session.act(lambda: bench.set_growth(0.123))
    window.session.save_now()
    folder = bench.folder
    assert folder is not None
    state = bench.state
    window.session.replace_bench(Bench())
    window.session.open(folder)
    qtbot.waitUntil(lambda: window.session.bench.state.number == "T-1")
    again = window.session.bench.state

    assert again.held == state.held and again.spec == state.spec
    assert again.picture is not None and again.picture.growth_mm == 0.123


def test_a_failed_save_says_so_and_stays_unsaved(
    window: MainWindow, qtbot: QtBot, monkeypatch: pytest.MonkeyPatch, tmp_path: Path, allow_log: Callable[[str], None]
) -> None:
    """Where the folder cannot be written the header says "not saved", and the job counts as unsaved."""
    allow_log("could not be saved")
    blocker = tmp_path / "blocker"
    blocker.write_text("a file where a folder should be")
    window.session.bench.folder = blocker / "job"
    window.session.act(lambda: window.session.bench.set_notes("x"))
    window.session.save_now()

    assert window.header.saved.text() == "not saved"
    assert window.session.bench.dirty and window.sheet.notice.isVisible()
    window.session.bench.folder = None


def test_units_at_a_key(window: MainWindow) -> None:
    """F6 goes from mm to inch to thou; the ladder and the growth follow."""
    assert " mm" in window.sheet.ladder.words_for(0, "1")
    QTest.keyClick(window, Qt.Key.Key_F6)
    assert " inch" in window.sheet.ladder.words_for(0, "1") and "inch" in window.sheet.growth_words.text()
    QTest.keyClick(window, Qt.Key.Key_F6)
    assert " thou" in window.sheet.ladder.words_for(0, "1")
    assert window.header.unit_buttons["thou"].isChecked()


def test_the_sheet_of_keys_comes_and_goes(window: MainWindow) -> None:
    """F1 shows it, any key puts it aside and gives the keyboard back."""
    window.sheet.view.setFocus()
    QTest.keyClick(window, Qt.Key.Key_F1)
    assert window.keys.isVisible()
    QTest.keyClick(window.keys, Qt.Key.Key_X)
    assert not window.keys.isVisible()
    window.resize(window.minimumSize())
    window.keys.toggle()
    assert window.rect().contains(window.keys.geometry().translated(window.centralWidget().pos()))
    window.keys.toggle()


def test_reading_can_be_stopped(window: MainWindow, qtbot: QtBot, monkeypatch: pytest.MonkeyPatch) -> None:
    """Work over half a second shows itself with a way to stop; after that the window says how to read again."""
    import threading

    gate = threading.Event()

    def slow(*_args: object, **_named: object) -> None:
        gate.wait(10)
        raise RuntimeError("stopped work must not be heard of")

    monkeypatch.setattr("app.picture.read.read_picture", slow)
    window.session.act(lambda: window.session.bench.move_mark("shoulder", (70.0, 150.0)))
    qtbot.waitUntil(window.sheet.working.isVisible, timeout=3000)
    window.sheet.working.cancel.click()
    gate.set()

    assert not window.sheet.working.isVisible() and window.session.given_up
    qtbot.wait(50)
    assert not window.sheet.notice.isVisible()


def test_comparing_a_rival_draws_both_codes(window: MainWindow) -> None:
    """A click on the next-likeliest code draws the floors that differ; a second click takes them away."""
    name = window.side.code.rivals[0][0]
    name.click()
    likeliest, other = window.sheet.view._lines
    rival = name.text().split("-")

    assert len(likeliest) == 5
    assert [line.label for line in other] == [b for a, b in zip(CODE, rival, strict=True) if a != b]
    name.click()
    assert window.sheet.view._lines == ()


def test_a_reference_can_be_turned_off(window: MainWindow, qtbot: QtBot) -> None:
    """The scale panel shows each reference; unticking one leaves it out, and undo brings it back."""
    window.show_step("scale")
    check = window.side.scale.checks["length"]
    check.click()
    picture = window.session.bench.state.picture
    assert picture is not None and picture.turned_off == {"length"}
    wait_read(window, qtbot)
    window.session.undo()
    picture = window.session.bench.state.picture
    assert picture is not None and not picture.turned_off


def test_dark_and_light_repaint_the_window(window: MainWindow, qapp: QApplication) -> None:
    """Both sets of colours draw the whole window; the desk is dark in the one and light in the other."""
    for colours in (theme.DARK, theme.LIGHT):
        theme.apply(qapp, colours)
        window.set_colours(colours)
        corner = window.grab().toImage().pixelColor(3, 300)

        assert corner.name() == colours.desk


def test_the_whole_job_by_keyboard(empty_window: MainWindow, qtbot: QtBot, tmp_path: Path) -> None:
    """Paste, table, marks, ladder, growth, entitlement: no pointer at any step."""
    window = empty_window
    QGuiApplication.clipboard().setImage(QImage.fromData(png(201)))
    QTest.keyClick(window, Qt.Key.Key_V, Qt.KeyboardModifier.ControlModifier)
    qtbot.waitUntil(lambda: window.session.bench.state.picture is not None)
    QTest.keyClick(window, Qt.Key.Key_2, Qt.KeyboardModifier.ControlModifier)
    assert window.focusWidget() is window.side.table.filter
    QTest.keyClicks(window.side.table.filter, "harbourside")
    QTest.keyClick(window.side.table.filter, Qt.Key.Key_Tab)
    assert window.focusWidget() is window.side.table.list
    QTest.keyClick(window.side.table.list, Qt.Key.Key_Down)
    QTest.keyClick(window.side.table.list, Qt.Key.Key_Return)
    wait_read(window, qtbot)
    QTest.keyClick(window, Qt.Key.Key_F2)
    assert window.focusWidget() is window.sheet.view
    QTest.keyClick(window.sheet.view, Qt.Key.Key_Tab)
    QTest.keyClick(window.sheet.view, Qt.Key.Key_Right, Qt.KeyboardModifier.AltModifier)
    wait_read(window, qtbot)
    QTest.keyClick(window, Qt.Key.Key_F3)
    QTest.keyClick(window.sheet.ladder, Qt.Key.Key_Return)
    assert window.session.bench.state.held == ((0, "3"),)
    QTest.keyClick(window, Qt.Key.Key_F4)
    QTest.keyClick(window.sheet.strip, Qt.Key.Key_Right)
    QTest.keyClick(window, Qt.Key.Key_1, Qt.KeyboardModifier.ControlModifier)
    assert window.focusWidget() is window.side.entitlement.fields["asked_by"]


def test_every_control_has_a_name_for_screen_readers(window: MainWindow) -> None:
    """Everything that takes the keyboard says what it is."""
    from PySide6.QtGui import QAccessible
    from PySide6.QtWidgets import QWidget

    for step in window.side.pages:
        window.show_step(step)
        for part in window.findChildren(QWidget):
            if part.isVisible() and part.focusPolicy() & Qt.FocusPolicy.TabFocus:
                name = QAccessible.queryAccessibleInterface(part).text(QAccessible.Text.Name)
                assert name, f"{type(part).__name__} on step {step} has no name"


@pytest.mark.parametrize("size", [(1280, 720), (1920, 1080), (3840, 2160)])
def test_it_fits_small_and_large_screens(window: MainWindow, size: tuple[int, int]) -> None:
    """From 1280 x 720 to 4K nothing is cut off: picture, ladder and strip keep a useful size inside the window."""
    window.resize(*size)
    QApplication.processEvents()
    assert (window.width(), window.height()) == size
    for part, least in ((window.sheet.view, 150), (window.sheet.ladder, 190), (window.sheet.strip, 80)):
        assert part.height() >= least
        assert part.mapTo(window, QPoint(0, part.height())).y() <= size[1]


def test_a_reference_is_marked_by_hand(window: MainWindow, qtbot: QtBot) -> None:
    """A length between two clicks, typed with a comma: it is in the job, can be dragged, resized and taken away."""
    window.show_step("scale")
    form, view = window.side.scale.form, window.sheet.view
    form.kind.setCurrentIndex(form.kind.findData("length"))
    QTest.keyClicks(form.length_field, "23,25")
    form.begin.click()
    assert "size reference, corner 1" in view.hint()
    for x in (250, 400):
        QTest.mouseClick(view, Qt.MouseButton.LeftButton, pos=QPoint(x, 140))
    picture = window.session.bench.state.picture
    assert picture is not None and picture.reference_mark is not None
    mark = picture.reference_mark
    assert (mark.kind, mark.length_mm, len(mark.corners)) == ("length", 23.25, 2)
    wanted = view.view.picture_of_view(np.array([250.0, 140.0]))
    assert mark.corners[0] == pytest.approx(tuple(wanted))
    wait_read(window, qtbot)
    view.choose("reference.1")
    QTest.keyClick(view, Qt.Key.Key_Right)
    picture = window.session.bench.state.picture
    assert picture is not None and picture.reference_mark is not None
    assert picture.reference_mark.corners[1][0] == pytest.approx(mark.corners[1][0] + 1)
    dragged = picture.reference_mark
    form.length_field.setFocus()
    form.length_field.selectAll()
    QTest.keyClicks(form.length_field, "24.5")
    QTest.keyClick(form.length_field, Qt.Key.Key_Return)
    picture = window.session.bench.state.picture
    assert picture is not None and picture.reference_mark == dragged.model_copy(update={"length_mm": 24.5})
    form.away.click()
    picture = window.session.bench.state.picture
    assert picture is not None and picture.reference_mark is None


@pytest.mark.parametrize("typed", ["", "twelve", "-3", "0"])
def test_a_size_that_is_none_is_answered_in_place(window: MainWindow, typed: str) -> None:
    """Nothing is asked of the picture, and the notice says what was wrong."""
    window.show_step("scale")
    form = window.side.scale.form
    form.kind.setCurrentIndex(form.kind.findData("length"))
    QTest.keyClicks(form.length_field, typed)
    form.begin.click()

    assert window.sheet.notice.isVisible() and window.sheet.view.placing == ()


def test_a_cut_key_is_checked_in_any_unit(window: MainWindow) -> None:
    """Settle, read the cut list, type caliper figures; a change of unit changes no length and no outcome."""
    window.show_step("code")
    window.side.codes.settle.click()
    window.show_step("cutting")
    table = window.side.cutting.table
    assert [table.item(row, 1).text() for row in range(5)] == list(CODE)
    window.show_step("check")
    page, spec = window.side.check, window.session.bench.state.spec
    assert spec is not None
    for field, label in zip(page.fields, CODE, strict=True):
        QTest.keyClicks(field, f"{spec.root_of(label):.2f}".replace(".", ","))
    page.compare.click()
    check = window.session.bench.state.cut_key_check
    assert check is not None and check["outcome"] == "pass" and page.verdict.text().startswith("pass")
    window.set_unit("thou")
    page.compare.click()
    again = window.session.bench.state.cut_key_check
    assert again is not None and again["outcome"] == "pass"
    measured = [row["measured_mm"] for row in again["checks"] if row["what"] == check["checks"][0]["what"]]
    assert measured == pytest.approx([spec.root_of(label) for label in CODE], abs=2e-3)
    page.fields[2].setText("197,0")
    page.compare.click()
    bad = window.session.bench.state.cut_key_check
    assert bad is not None and bad["outcome"] == "fail"
    window.set_unit("mm")
