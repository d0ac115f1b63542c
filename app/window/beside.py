"""The job's other pictures of the key, beside the one that is worked on: the same stretch of blade in each."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np
from PySide6.QtCore import QRectF, QSize, Qt, Signal
from PySide6.QtGui import QColor, QPainter, QPaintEvent
from PySide6.QtWidgets import QAbstractButton, QSizePolicy, QVBoxLayout, QWidget

from app.picture.values import PictureReading
from app.window.beside_geometry import same_stretch
from app.window.mark_painter import MarkPainter
from app.window.picture_layers import PictureLayers
from app.window.theme import LIGHT, Colours, colour
from app.window.view_transform import ViewTransform, plain_straight, view_of
from keycore.measured import Floats

MOST: Final = 3
_CAPTION: Final = 20.0


@dataclass(frozen=True, eq=False)
class Other:
    """Another picture of the job: which one, what is written under it, and what is known of it."""

    index: int
    caption: str
    size: tuple[int, int]
    layers: PictureLayers | None
    reading: PictureReading | None

    @property
    def roots_xy(self) -> Floats:
        """Its roots, straightened: (n, 2)."""
        if self.reading is None:
            return np.empty((0, 2))
        roots = [xy for edge in self.reading.marks.roots_by_edge() for xy in edge]
        return self.reading.straight.straight_xy(np.array(roots)) if roots else np.empty((0, 2))


class PictureBeside(QAbstractButton):
    """One other picture; a click works on it."""

    def __init__(self, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self.colours: Colours = LIGHT
        self._other: Other | None = None
        self._view: ViewTransform | None = None
        self._own_roots: Floats = np.empty((0, 2))
        self.setCursor(Qt.CursorShape.PointingHandCursor)
        self.setFocusPolicy(Qt.FocusPolicy.TabFocus)
        self.setSizePolicy(QSizePolicy.Policy.Preferred, QSizePolicy.Policy.Expanding)

    @property
    def other(self) -> Other | None:
        """What is shown."""
        return self._other

    def show_other(self, other: Other) -> None:
        """Show this picture."""
        self._other = other
        self.setAccessibleName(self.tr("work on {0}").format(other.caption))
        self.setToolTip(other.caption)
        self.update()

    def follow(self, view: ViewTransform, own_roots_xy: Floats) -> None:
        """Show the stretch that ``view`` shows of the picture that is worked on."""
        self._view, self._own_roots = view, own_roots_xy
        self.update()

    def view_now(self) -> ViewTransform | None:
        """Where one looks in it."""
        other = self._other
        if other is None:
            return None
        size = (float(max(self.width(), 1)), max(self.height() - _CAPTION, 1.0))
        straight = plain_straight(other.size) if other.reading is None else other.reading.straight
        if self._view is None or other.reading is None:
            return view_of(straight, size, self.devicePixelRatioF())
        return same_stretch(self._view, self._own_roots, straight, other.roots_xy, size)

    def sizeHint(self) -> QSize:
        return QSize(220, 110)

    def minimumSizeHint(self) -> QSize:
        return QSize(140, 56)

    def paintEvent(self, event: QPaintEvent) -> None:
        painter = QPainter(self)
        c, other, view = self.colours, self._other, self.view_now()
        painter.fillRect(self.rect(), QColor(c.field))
        if other is None or view is None:
            return
        if other.layers is not None:
            painter.save()
            painter.setClipRect(QRectF(0, 0, self.width(), self.height() - _CAPTION))
            other.layers.paint(painter, view)
            if other.reading is not None:
                MarkPainter(painter, view, c).outline(other.reading.blade.outline)
            painter.restore()
        strip = QRectF(0, self.height() - _CAPTION, self.width(), _CAPTION)
        painter.fillRect(strip, QColor(c.panel))
        painter.setPen(QColor(c.ink))
        text = painter.fontMetrics().elidedText(other.caption, Qt.TextElideMode.ElideMiddle, int(strip.width() - 12))
        painter.drawText(strip.adjusted(6, 0, -6, 0), Qt.AlignmentFlag.AlignVCenter | Qt.AlignmentFlag.AlignLeft, text)
        around = self.hasFocus() or self.underMouse()
        painter.setPen(QColor(c.accent) if around else colour(c.line))
        painter.drawRect(self.rect().adjusted(0, 0, -1, -1))


class Beside(QWidget):
    """Up to three other pictures, one under the other; hidden where the job has one picture."""

    picture_asked = Signal(int)

    def __init__(self, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        box = QVBoxLayout(self)
        box.setContentsMargins(0, 0, 0, 0)
        box.setSpacing(3)
        self.parts = [PictureBeside() for _ in range(MOST)]
        for part in self.parts:
            part.clicked.connect(lambda checked=False, part=part: self._asked(part))
            box.addWidget(part, 1)
        self.hide()

    def show_others(self, others: tuple[Other, ...]) -> None:
        """Show these pictures."""
        for part, other in zip(self.parts, (*others, None, None, None), strict=False):
            part.setVisible(other is not None)
            if other is not None:
                part.show_other(other)
        self.setVisible(bool(others))

    def follow(self, view: ViewTransform, own_roots_xy: Floats) -> None:
        """Show in each the stretch that ``view`` shows."""
        for part in self.parts:
            part.follow(view, own_roots_xy)

    def set_colours(self, colours: Colours) -> None:
        """Light or dark."""
        for part in self.parts:
            part.colours = colours
            part.update()

    def _asked(self, part: PictureBeside) -> None:
        if part.other is not None:
            self.picture_asked.emit(part.other.index)
