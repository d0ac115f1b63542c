"""The whole job by keyboard alone: ``python -m tests.app.window.whole_job PICTURE OUT`` on whatever display there is.

From the start of the program with a picture, over table, marks, ladder, growth, entitlement, code, cut list, trial and
check to the export, with an undo on the way.  Nothing is clicked, no method is called; it prints what it sees.
"""

from __future__ import annotations

import sys
import time
from collections.abc import Callable
from pathlib import Path

from PySide6.QtCore import Qt
from PySide6.QtTest import QTest
from PySide6.QtWidgets import QApplication, QFileDialog, QLineEdit, QWidget

from app.window.arrival import Arrival
from app.window.main_window import MainWindow
from app.window.start import make_application

LONGEST_S = 150.0
CTRL, ALT = Qt.KeyboardModifier.ControlModifier, Qt.KeyboardModifier.AltModifier


class Hands:
    """Ten fingers on one window."""

    def __init__(self, application: QApplication, window: MainWindow) -> None:
        self.application, self.window = application, window

    def wait(self, until: Callable[[], bool], what: str) -> None:
        """Let the window live until something is so."""
        end = time.monotonic() + LONGEST_S
        while not until():
            if time.monotonic() > end:
                raise SystemExit(f"waited in vain for {what}")
            self.application.processEvents()
            time.sleep(0.01)  # QTest.qWait would keep the interpreter to itself, and no thread could read

    def press(self, key: Qt.Key, keys: Qt.KeyboardModifier = Qt.KeyboardModifier.NoModifier) -> None:
        """One key, to whatever has the keyboard."""
        QTest.keyClick(self.focus(), key, keys)
        self.application.processEvents()

    def type(self, text: str) -> None:
        """Letters, to whatever has the keyboard."""
        QTest.keyClicks(self.focus(), text)

    def focus(self) -> QWidget:
        """What has the keyboard."""
        return self.application.focusWidget() or self.window

    def tab_to(self, wanted: QWidget) -> None:
        """Tab on until a control has the keyboard."""
        for _ in range(60):
            if self.focus() is wanted:
                return
            self.press(Qt.Key.Key_Tab)
        raise SystemExit(f"Tab does not lead to {wanted.accessibleName() or wanted}")

    def read(self) -> None:
        """Wait until the job is read."""
        session = self.window.session
        self.wait(lambda: session.bench.is_current and bool(session.strip) and not session.worker.busy(), "the reading")


def do(hands: Hands, out: Path) -> str:
    """Do the job; what was seen, in one line."""
    window = hands.window
    hands.wait(lambda: window.filled and window.session.bench.state.picture is not None, "the picture")
    session, side, sheet = window.session, window.side, window.sheet
    hands.press(Qt.Key.Key_2, CTRL)
    hands.type("harbourside")
    hands.press(Qt.Key.Key_Tab)
    hands.press(Qt.Key.Key_Down)
    hands.press(Qt.Key.Key_Return)
    hands.read()
    first = side.code.code.text()

    hands.press(Qt.Key.Key_F2)
    while sheet.view.selected != "root.2":
        hands.press(Qt.Key.Key_Tab)
    hands.press(Qt.Key.Key_C)
    hands.press(Qt.Key.Key_Right, ALT)
    hands.read()
    hands.press(Qt.Key.Key_S)
    hands.read()
    hands.press(Qt.Key.Key_S)
    hands.press(Qt.Key.Key_L)
    hands.read()
    hands.press(Qt.Key.Key_Delete)
    hands.read()
    hands.press(Qt.Key.Key_F)

    hands.press(Qt.Key.Key_F3)
    hands.press(Qt.Key.Key_Return)
    hands.read()
    held = session.bench.state.held
    hands.press(Qt.Key.Key_F4)
    hands.press(Qt.Key.Key_Right)
    hands.press(Qt.Key.Key_A)
    hands.press(Qt.Key.Key_F6)
    hands.press(Qt.Key.Key_F6)
    hands.press(Qt.Key.Key_F6)

    hands.press(Qt.Key.Key_1, CTRL)
    for words in (
        "Secretary of a rowing club (invented)",
        "letter of the committee (invented)",
        "the bench (invented)",
    ):
        hands.type(words)
        hands.press(Qt.Key.Key_Tab)
    hands.tab_to(side.entitlement.seen)
    hands.press(Qt.Key.Key_Space)
    hands.press(Qt.Key.Key_6, CTRL)
    hands.tab_to(side.codes.settle)
    hands.press(Qt.Key.Key_Space)
    hands.press(Qt.Key.Key_7, CTRL)
    hands.wait(lambda: side.cutting.plan.list.count() > 0, "the trial plan")
    hands.tab_to(side.cutting.plan.opens)
    hands.press(Qt.Key.Key_Space)
    hands.press(Qt.Key.Key_8, CTRL)
    spec, code = session.bench.state.spec, session.bench.state.decided_code
    assert spec is not None and code is not None
    for field, label in zip(side.check.fields, code, strict=True):
        hands.tab_to(field)
        hands.type(f"{spec.root_of(label):.2f}")
    hands.tab_to(side.check.compare)
    hands.press(Qt.Key.Key_Space)
    check = (session.bench.state.cut_key_check or {}).get("outcome")
    hands.press(Qt.Key.Key_Z, CTRL)
    undone = session.bench.state.cut_key_check is None
    hands.press(Qt.Key.Key_Z, CTRL | Qt.KeyboardModifier.ShiftModifier)

    hands.press(Qt.Key.Key_E, CTRL)
    (dialog,) = window.findChildren(QFileDialog)
    field = dialog.findChild(QLineEdit, "fileNameEdit")
    assert isinstance(field, QLineEdit)  # it has the keyboard as the dialog comes up
    field.selectAll()
    QTest.keyClicks(field, str(out))
    QTest.keyClick(field, Qt.Key.Key_Return)
    hands.wait(lambda: window.status.text().startswith("Exported"), "the export")
    hands.press(Qt.Key.Key_S, CTRL)
    tried = [trial.opened for trial in session.bench.state.trials]
    return f"{first} {'-'.join(code)} held={held} tried={tried} check={check} undone={undone}"


def main() -> int:
    """Start as the program does, and do the job."""
    picture, out = Path(sys.argv[1]), Path(sys.argv[2])
    out.mkdir(parents=True, exist_ok=True)
    application = make_application()
    window = MainWindow(at_once=False)
    arrival = Arrival(window, picture)
    window.show()
    window.activateWindow()
    if not QTest.qWaitForWindowExposed(window, 20_000):
        raise SystemExit("the window was not shown")
    seen = do(Hands(application, window), out)
    window.close()
    arrival.end()
    print(application.platformName(), seen)
    return 0


if __name__ == "__main__":
    sys.exit(main())
