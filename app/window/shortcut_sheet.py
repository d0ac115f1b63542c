"""One sheet with every key, laid over the desk; any key puts it aside."""

from __future__ import annotations

from typing import Final

from PySide6.QtCore import Qt
from PySide6.QtGui import QKeyEvent, QKeySequence, QMouseEvent
from PySide6.QtWidgets import QFrame, QGridLayout, QVBoxLayout, QWidget

from app.window.parts import words

_WIDEST: Final = 1080
_RIM: Final = 6
"""Of the desk, left free on either side on a narrow screen, where the words wrap."""


class ShortcutSheet(QFrame):
    """All keys at one look."""

    def __init__(self, parent: QWidget) -> None:
        super().__init__(parent)
        self.setObjectName("panel")
        self.setFocusPolicy(Qt.FocusPolicy.StrongFocus)
        self.setAccessibleName(self.tr("All keys"))
        box = QVBoxLayout(self)
        box.setContentsMargins(24, 18, 24, 18)
        box.addWidget(words(self.tr("All keys"), "heading"))
        grid = QGridLayout()
        grid.setHorizontalSpacing(18)
        grid.setVerticalSpacing(4)
        grid.setColumnStretch(1, 1)
        grid.setColumnStretch(3, 1)
        box.addLayout(grid)
        keys = self.keys()
        half = (len(keys) + 1) // 2
        for index, (key, says) in enumerate(keys):
            row, column = index % half, index // half * 2
            grid.addWidget(words(_native(key), "heading", wrap=False), row, column)
            grid.addWidget(words(says, "quiet"), row, column + 1)
        self._before: QWidget | None = None
        self.hide()

    def keys(self) -> list[tuple[str, str]]:
        """(key, what it does)."""
        return [
            ("F10", self.tr("the job menu, with all that has no key")),
            ("Ctrl+O", self.tr("open a picture")),
            ("Ctrl+J", self.tr("open a job folder")),
            ("Ctrl+L", self.tr("kept jobs: find one")),
            ("Ctrl+N", self.tr("begin a new job")),
            ("Ctrl+V", self.tr("paste a picture")),
            ("Ctrl+E", self.tr("export picture and job")),
            ("Ctrl+P", self.tr("job sheet, to look at and to keep")),
            ("Ctrl+S", self.tr("save now")),
            ("Ctrl+Z", self.tr("take back")),
            ("Ctrl+Shift+Z", self.tr("bring again")),
            ("Ctrl+1 … Ctrl+8", self.tr("the job's steps")),
            ("Ctrl+K", self.tr("lock the open step, or unlock it")),
            ("F2 · F3 · F4", self.tr("to the picture, the ladder, the growth")),
            (self.tr("Ctrl+PgDown · Ctrl+PgUp"), self.tr("next picture of the key, picture before")),
            ("W", self.tr("growth: all growths, or those near the evidence")),
            ("F6", self.tr("mm, inch, thou")),
            ("F5", self.tr("read again")),
            ("Ctrl+Q", self.tr("close")),
            ("Tab", self.tr("picture: next mark")),
            (self.tr("arrows"), self.tr("picture: move the mark 1 px, Shift 10, Alt 0.1")),
            (self.tr("Return · Backspace"), self.tr("picture, marks one by one: set it, take it back")),
            ("L", self.tr("picture: lock the mark")),
            ("S", self.tr("picture: read the mark as placed, or at the edge")),
            ("Ctrl+← · Ctrl+→", self.tr("picture: all cuts by one spacing")),
            ("O", self.tr("picture: marks strong, pale, faint")),
            ("P", self.tr("picture: square pixels or smooth")),
            (self.tr("Delete"), self.tr("picture: find the mark again")),
            ("H", self.tr("picture: hide the marks while held")),
            (self.tr("+ · - · wheel"), self.tr("picture: nearer, farther")),
            ("F · W · 1 · C", self.tr("picture: blade, whole, one to one, to this cut")),
            (self.tr("Space, middle button"), self.tr("picture: drag the view")),
            (self.tr("arrows, Return"), self.tr("ladder: choose a rung; hold, rule out, clear")),
            (self.tr("arrows, Shift"), self.tr("growth: 0.01 mm, 0.1 mm")),
            ("A", self.tr("growth: leave it to the evidence")),
            ("Esc", self.tr("put a notice aside")),
            ("F1", self.tr("this sheet")),
        ]

    def toggle(self) -> None:
        """Show or put aside."""
        if self.isVisible():
            self.put_aside()
            return
        parent = self.parentWidget()
        if parent is None:
            return
        self._before = parent.window().focusWidget()
        width = min(_WIDEST, parent.width() - 2 * _RIM)
        layout = self.layout()
        self.resize(width, self.sizeHint().height() if layout is None else layout.heightForWidth(width))
        self.move((parent.width() - self.width()) // 2, max((parent.height() - self.height()) // 2, 0))
        self.show()
        self.raise_()
        self.setFocus()

    def put_aside(self) -> None:
        """Put it aside and go back to where one was."""
        self.hide()
        if self._before is not None:
            self._before.setFocus()

    def keyPressEvent(self, event: QKeyEvent) -> None:
        self.put_aside()

    def mousePressEvent(self, event: QMouseEvent) -> None:
        self.put_aside()


def _native(keys: str) -> str:
    """Keys as the person's keyboard names them: Ctrl is Strg on a German one."""
    control = QKeySequence("Ctrl+A").toString(QKeySequence.SequenceFormat.NativeText).rpartition("A")[0]
    return keys.replace("Ctrl+", control)
