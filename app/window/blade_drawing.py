"""A drawing of the blade that a table makes: every depth at every cut, and the cutter's form at the deepest."""

from __future__ import annotations

from PySide6.QtCore import QPointF, QRectF, Qt
from PySide6.QtGui import QColor, QPainter, QPaintEvent, QPen, QPolygonF
from PySide6.QtWidgets import QWidget

from app.window.blade_geometry import BladeSketch, blade_sketch
from app.window.theme import LIGHT, Colours, colour
from keycore.spec import KeySpec


class BladeDrawing(QWidget):
    """The resulting blade, bow at the left."""

    def __init__(self, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self.colours: Colours = LIGHT
        self._spec: KeySpec | None = None
        self.setMinimumHeight(96)
        self.setAccessibleName(self.tr("Drawing of the blade that this table makes"))

    def show_table(self, spec: KeySpec | None) -> None:
        """Draw this table's blade; None draws nothing."""
        self._spec = spec
        self.update()

    def sketch(self) -> BladeSketch | None:
        """What is drawn."""
        return None if self._spec is None else blade_sketch(self._spec, float(self.width()), float(self.height()))

    def paintEvent(self, event: QPaintEvent) -> None:
        painter = QPainter(self)
        painter.setRenderHint(QPainter.RenderHint.Antialiasing)
        drawn = self.sketch()
        if drawn is None:
            return
        c = self.colours
        painter.setPen(QPen(QColor(c.ink), 1.4))
        painter.setBrush(colour(c.line, 0.5))
        painter.drawPolygon(QPolygonF([QPointF(x, y) for x, y in drawn.outline]))
        painter.setPen(QPen(QColor(c.accent), 1))
        for left, right, y in drawn.depths:
            painter.drawLine(QPointF(left, y), QPointF(right, y))
        painter.setPen(QPen(QColor(c.quiet), 1, Qt.PenStyle.DotLine))
        for x in drawn.centres:
            painter.drawLine(QPointF(x, 4), QPointF(x, self.height() - 4))
        painter.setPen(QColor(c.quiet))
        for number, x in enumerate(drawn.centres, 1):
            painter.drawText(QRectF(x - 20, self.height() - 18, 40, 16), Qt.AlignmentFlag.AlignCenter, str(number))
