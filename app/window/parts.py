"""Small parts that the panels are made of."""

from __future__ import annotations

from collections.abc import Callable

from PySide6.QtCore import QRectF, QSize, Qt
from PySide6.QtGui import QColor, QPainter, QPaintEvent
from PySide6.QtWidgets import QFrame, QLabel, QLayout, QLineEdit, QListWidget, QPushButton, QSizePolicy, QWidget

from app.window.theme import LIGHT, Colours


class Panel(QFrame):
    """A sheet on the desk."""

    def __init__(self, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self.setObjectName("panel")


def words(text: str = "", kind: str = "", *, wrap: bool = True) -> QLabel:
    """A label; ``kind`` is heading, quiet, doubt or trouble."""
    label = QLabel(text)
    label.setObjectName(kind)
    label.setWordWrap(wrap)
    label.setTextFormat(Qt.TextFormat.PlainText)
    label.setTextInteractionFlags(Qt.TextInteractionFlag.NoTextInteraction)
    if wrap:
        # a wrapped label asks for its height once it knows its width
        label.setSizePolicy(QSizePolicy.Policy.Preferred, QSizePolicy.Policy.Minimum)
    return label


def set_kind(label: QLabel, kind: str) -> None:
    """Change what a label means, and so its colour."""
    if label.objectName() != kind:
        label.setObjectName(kind)
        label.style().unpolish(label)
        label.style().polish(label)


def rule() -> QFrame:
    """A thin line between two parts of a panel."""
    line = QFrame()
    line.setObjectName("rule")
    return line


def button(text: str, then: Callable[[], object], *, kind: str = "") -> QPushButton:
    """A button; ``kind`` is main or plain."""
    made = QPushButton(text)
    if kind:
        made.setObjectName(kind)
    made.clicked.connect(lambda: then())
    return made


def name_field(field: QWidget, name: str) -> None:
    """Give a field its name for screen readers, its inner line of text too."""
    field.setAccessibleName(name)
    for inner in field.findChildren(QLineEdit):
        inner.setAccessibleName(name)


def plain_list(name: str) -> QListWidget:
    """A list of lines; a line that is too long is cut and stands whole in its tip."""
    made = QListWidget()
    made.setAccessibleName(name)
    made.setHorizontalScrollBarPolicy(Qt.ScrollBarPolicy.ScrollBarAlwaysOff)
    made.setTextElideMode(Qt.TextElideMode.ElideRight)
    return made


def clear_layout(layout: QLayout) -> None:
    """Take everything out of a layout."""
    while layout.count():
        item = layout.takeAt(0)
        widget = item.widget() if item is not None else None
        if widget is not None:
            widget.setParent(None)
            widget.deleteLater()


class ShareBar(QWidget):
    """A probability as a bar with its number beside it elsewhere."""

    def __init__(self, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self.colours: Colours = LIGHT
        self._share = 0.0
        self._likely = False
        self.setSizePolicy(QSizePolicy.Policy.Expanding, QSizePolicy.Policy.Fixed)

    def show_share(self, share: float, *, likely: bool) -> None:
        """Draw this probability."""
        self._share, self._likely = min(max(share, 0.0), 1.0), likely
        self.update()

    def sizeHint(self) -> QSize:
        return QSize(60, 10)

    def paintEvent(self, event: QPaintEvent) -> None:
        painter = QPainter(self)
        painter.setRenderHint(QPainter.RenderHint.Antialiasing)
        painter.setPen(Qt.PenStyle.NoPen)
        box = QRectF(0, 1, self.width(), self.height() - 2)
        painter.setBrush(QColor(self.colours.line))
        painter.setOpacity(0.45)
        painter.drawRoundedRect(box, 2, 2)
        painter.setOpacity(1.0)
        painter.setBrush(QColor(self.colours.accent if self._likely else self.colours.doubt))
        if self._share >= 0.0005:
            painter.drawRoundedRect(QRectF(0, 1, max(box.width() * self._share, 2.0), box.height()), 2, 2)
