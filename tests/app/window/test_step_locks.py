"""The lock of each step in the window, by mouse and by keyboard."""

from __future__ import annotations

import pytest
from PySide6.QtCore import QPoint, Qt
from pytestqt.qtbot import QtBot

from app.window.main_window import MainWindow
from tests.app.window.conftest import wait_read

CTRL = Qt.KeyboardModifier.ControlModifier


def at(window: MainWindow, name: str) -> QPoint:
    """Where a mark stands in the view."""
    view = window.sheet.view
    x, y = view.view.view_of_picture(next(mark.xy for mark in window.session.bench.marks() if mark.name == name))
    return QPoint(round(float(x)), round(float(y)))


@pytest.mark.parametrize("number", range(1, 9))
def test_every_step_is_locked_by_keys_and_unlocked_by_a_click(window: MainWindow, qtbot: QtBot, number: int) -> None:
    """Ctrl with its number opens it, Ctrl+K locks it; the path and the button say so, to screen readers too."""
    name = list(window.side.pages)[number - 1]
    qtbot.keyClick(window, Qt.Key(Qt.Key.Key_0 + number), CTRL)
    page = window.side.pages[name]
    assert page.lock_step.text() == "Lock step"
    qtbot.keyClick(window, Qt.Key.Key_K, CTRL)
    assert window.session.bench.locked_steps == {name}
    assert page.lock_step.text() == "Unlock step" and page.lock_step.accessibleName() == "unlock this step (Ctrl+K)"
    assert ", locked: " in window.path.buttons[name].accessibleDescription()
    qtbot.mouseClick(page.lock_step, Qt.MouseButton.LeftButton)

    assert window.session.bench.locked_steps == frozenset()
    assert "locked" not in window.path.buttons[name].accessibleDescription()


def test_a_locked_mark_cannot_be_dragged_or_nudged(window: MainWindow, qtbot: QtBot) -> None:
    """The drag takes nothing; the arrow says why; the status line names the keys that unlock; then both work."""
    view, bench = window.sheet.view, window.session.bench
    window.show_step("marks")
    qtbot.mouseClick(window.side.marks.lock_step, Qt.MouseButton.LeftButton)
    before, start = bench.marks(), at(window, "root.1")
    qtbot.mousePress(view, Qt.MouseButton.LeftButton, pos=start)
    qtbot.mouseMove(view, start + QPoint(0, 20))
    qtbot.mouseRelease(view, Qt.MouseButton.LeftButton, pos=start + QPoint(0, 20))
    assert bench.marks() == before
    view.setFocus()
    qtbot.keyClick(view, Qt.Key.Key_Right)
    assert window.sheet.notice.text.text() == "The marks are locked; unlock their step before one is moved."
    assert "locked with its step · Ctrl+5, then Ctrl+K, unlocks it" in view.hint()
    qtbot.keyClick(window, Qt.Key.Key_K, CTRL)
    qtbot.keyClick(view, Qt.Key.Key_Right)

    assert bench.undo_words == "move the root of cut 2"
    wait_read(window, qtbot)


def test_marks_are_not_asked_for_where_they_are_locked(window: MainWindow, qtbot: QtBot) -> None:
    """The reason comes before ten clicks, not after them."""
    window.show_step("marks")
    qtbot.keyClick(window, Qt.Key.Key_K, CTRL)
    qtbot.mouseClick(window.side.marks.place, Qt.MouseButton.LeftButton)

    assert window.sheet.view.placing == () and "The marks are locked" in window.sheet.notice.text.text()
