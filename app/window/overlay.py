"""Notices that lie on the picture without being in the way: a sentence about what went wrong, and work under way."""

from __future__ import annotations

from PySide6.QtCore import QEvent, QObject, QSize, QTimer, Signal
from PySide6.QtWidgets import QFrame, QHBoxLayout, QLabel, QProgressBar, QPushButton, QVBoxLayout, QWidget

from app.window.language import said
from app.window.parts import button, words

_SHOW_WORK_AFTER_MS = 500


class Notice(QFrame):
    """One plain sentence, in place, with a way to put it aside."""

    def __init__(self, parent: QWidget) -> None:
        super().__init__(parent)
        self.setObjectName("problem")
        self.text = words("")
        self.close_button = button(self.tr("Put aside (Esc)"), self.put_aside)
        row = QHBoxLayout(self)
        row.setContentsMargins(12, 8, 8, 8)
        row.addWidget(self.text, 1)
        row.addWidget(self.close_button)
        _Keeper(self, top=True)
        self.hide()

    def say(self, sentence: str) -> None:
        """Show a sentence."""
        sentence = said(sentence)
        self.text.setText(sentence)
        self.setAccessibleName(sentence)
        self.show()
        self.raise_()
        _place(self, top=True)

    def put_aside(self) -> None:
        """Take it away."""
        self.hide()


class WorkNotice(QFrame):
    """Work under way: shown once it takes longer than half a second, with its progress and a way to stop it."""

    cancel_asked = Signal()

    def __init__(self, parent: QWidget) -> None:
        super().__init__(parent)
        self.setObjectName("work")
        self.label: QLabel = words("", wrap=False)
        self.bar = QProgressBar()
        self.bar.setRange(0, 100)
        self.bar.setTextVisible(False)
        self.cancel: QPushButton = button(self.tr("Stop"), self.cancel_asked.emit)
        left = QVBoxLayout()
        left.addWidget(self.label)
        left.addWidget(self.bar)
        row = QHBoxLayout(self)
        row.setContentsMargins(12, 8, 8, 8)
        row.addLayout(left, 1)
        row.addWidget(self.cancel)
        self._timer = QTimer(self)
        self._timer.setSingleShot(True)
        self._timer.setInterval(_SHOW_WORK_AFTER_MS)
        self._timer.timeout.connect(self._appear)
        _Keeper(self, top=False)
        self.hide()

    def begin(self, what: str, *, can_stop: bool) -> None:
        """Work began; what says how far it has come moves the bar, else it only shows that it lives."""
        if not self._timer.isActive() and not self.isVisible():
            self.label.setText(what)
            self.bar.setRange(0, 100 if can_stop else 0)
            self.bar.setValue(0)
            self.cancel.setVisible(can_stop)
            self._timer.start()

    def progress(self, share: float, what: str) -> None:
        """How far it has come."""
        what = said(what)
        self.label.setText(what[:1].upper() + what[1:])
        self.bar.setValue(round(share * 100))

    def end(self) -> None:
        """Work ended."""
        self._timer.stop()
        self.hide()

    def _appear(self) -> None:
        self.show()
        self.raise_()
        _place(self, top=False)


class LeaveNotice(QFrame):
    """The last thing to be seen of a window: what it still does before it closes."""

    def __init__(self, parent: QWidget) -> None:
        super().__init__(parent)
        self.setObjectName("work")
        self.label: QLabel = words("")
        self.bar = QProgressBar()
        self.bar.setRange(0, 0)
        self.bar.setTextVisible(False)
        box = QVBoxLayout(self)
        box.setContentsMargins(20, 14, 20, 14)
        box.addWidget(self.label)
        box.addWidget(self.bar)
        self.hide()

    def show_work(self, sentence: str) -> None:
        """Say what is done, in the middle of the window."""
        self.label.setText(sentence)
        self.setAccessibleName(sentence)
        parent = self.parentWidget()
        if parent is not None:
            size = self.sizeHint().expandedTo(QSize(420, 80))
            self.setGeometry((parent.width() - size.width()) // 2, parent.height() // 3, size.width(), size.height())
        self.show()
        self.raise_()


class _Keeper(QObject):
    """Keeps a notice at the edge of its parent."""

    def __init__(self, notice: QWidget, *, top: bool) -> None:
        super().__init__(notice)
        self._notice, self._top = notice, top
        parent = notice.parentWidget()
        if parent is not None:
            parent.installEventFilter(self)

    def eventFilter(self, watched: QObject, event: QEvent) -> bool:
        if event.type() == QEvent.Type.Resize and self._notice.isVisible():
            _place(self._notice, top=self._top)
        return False


def _place(notice: QWidget, *, top: bool) -> None:
    parent = notice.parentWidget()
    if parent is None:
        return
    width = parent.width() - 24
    layout = notice.layout()
    high = (
        layout.heightForWidth(width)
        if layout is not None and layout.hasHeightForWidth()
        else notice.sizeHint().height()
    )
    high = max(high, notice.sizeHint().height() if not top else high, 40)
    notice.setGeometry(12, 12 if top else parent.height() - high - 12, width, high)
