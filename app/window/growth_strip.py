"""The growth slider with its code strip: which code each growth gives, and where the evidence puts the growth."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import TYPE_CHECKING, Final

import numpy as np
from PySide6.QtCore import QPointF, QRectF, QSize, Qt, Signal
from PySide6.QtGui import (
    QAccessible,
    QAccessibleEvent,
    QColor,
    QFontMetricsF,
    QKeyEvent,
    QMouseEvent,
    QPainter,
    QPainterPath,
    QPaintEvent,
    QPen,
    QPixmap,
    QWheelEvent,
)
from PySide6.QtWidgets import QSlider, QWidget

from app.window.strip_geometry import StripScale, curve, near_range, segment_index, shown_range
from app.window.theme import LIGHT, Colours, colour
from app.window.units import LengthFormat
from keycore.measured import Floats
from keycore.spec import KeySpec, format_code

if TYPE_CHECKING:
    from keycore.decode import StripSegment

_SIDE: Final = 16.0
_UM_PER_MM: Final = 1000.0


class GrowthStrip(QSlider):
    """A slider whose value is growth in micrometres; -1 below its range would mean nothing, so "auto" is told apart."""

    slid = Signal(float)
    """Growth in mm that the hand or the keys ask for."""
    released_to_evidence = Signal()
    slide_ended = Signal()
    hint_changed = Signal()

    def __init__(self, parent: QWidget | None = None) -> None:
        super().__init__(Qt.Orientation.Horizontal, parent)
        self.setMinimumHeight(92)
        self.setMouseTracking(True)
        self.setAccessibleName(self.tr("Growth: how far the visible edge stands outside the metal, in micrometres"))
        self.colours: Colours = LIGHT
        self.format = LengthFormat()
        self._segments: tuple[StripSegment, ...] = ()
        self._borders: tuple[tuple[float, float], ...] = ()
        self._growths: Floats | None = None
        self._density: Floats | None = None
        self._spec: KeySpec | None = None
        self._growth: float | None = None
        self._by_hand = False
        self._hover: float | None = None
        self._whole = False
        self._drawn: tuple[object, object, QPixmap] | None = None
        """What the density was drawn for, its values (kept, so that their ids stay theirs), and the drawing."""
        self._shown_mm = (-0.1, 0.9)
        self.setFocusPolicy(Qt.FocusPolicy.StrongFocus)

    def show_strip(
        self,
        segments: Sequence[StripSegment],
        density: tuple[Floats, Floats] | None,
        spec: KeySpec | None,
        growth_mm: float | None,
        *,
        by_hand: bool,
    ) -> None:
        """Show the decoder's strip and density with the slider at a growth (None: nothing is known yet)."""
        self._segments, self._spec = tuple(segments), spec
        self._borders = tuple((s.growth_from_mm, s.growth_to_mm) for s in segments)
        if density is not None or growth_mm is None:  # while a new reading is under way the last density stays in sight
            self._growths, self._density = density if density is not None else (None, None)
        self._growth, self._by_hand = growth_mm, by_hand
        self.setEnabled(growth_mm is not None)
        low, high = shown_range(self._borders, self._growths)
        if not self.isSliderDown():  # under a hand the scale stays still
            self._shown_mm = self._range_to_show()
        self.blockSignals(True)
        self.setRange(round(low * _UM_PER_MM), round(high * _UM_PER_MM))
        self.setSingleStep(10)
        self.setPageStep(100)
        self.setValue(round((growth_mm or 0.0) * _UM_PER_MM))
        self.blockSignals(False)
        self._say()
        self.update()

    def scale_now(self) -> StripScale:
        """Growth along the widget as it is drawn."""
        low, high = self._shown_mm
        return StripScale(low, high, _SIDE, max(self.width() - _SIDE, _SIDE + 1))

    def show_whole(self, whole: bool) -> None:
        """Show all growths that the decoder speaks of, or (False) those near to where the evidence is."""
        self._whole = whole
        self._shown_mm = self._range_to_show()
        self.hint_changed.emit()
        self.update()

    def code_at(self, growth_mm: float) -> str:
        """The code that this growth gives; "" outside the strip."""
        index = segment_index(self._borders, growth_mm)
        if index is None or self._spec is None:
            return ""
        return format_code(self._segments[index].code, self._spec)

    def hint(self) -> str:
        """What lies under the pointer, and the keys."""
        keys = (
            self.tr("drag, or arrows 0.01 mm, Shift 0.1 · A leaves it to the evidence · W: near the evidence")
            if self._whole
            else self.tr("drag, or arrows 0.01 mm, Shift 0.1 · A leaves it to the evidence · W: all growths")
        )
        if self._hover is not None and self.code_at(self._hover):
            return self.tr("growth {0} gives {1} · {2}").format(
                self.format.length(self._hover), self.code_at(self._hover), keys
            )
        return keys

    def sizeHint(self) -> QSize:
        return QSize(400, 92)

    # ---- events --------------------------------------------------------------------------------------------------

    def mousePressEvent(self, event: QMouseEvent) -> None:
        if event.button() == Qt.MouseButton.LeftButton and self._growth is not None:
            self.setSliderDown(True)
            self._ask(self.scale_now().growth_mm(event.position().x()))

    def mouseMoveEvent(self, event: QMouseEvent) -> None:
        growth = self.scale_now().growth_mm(event.position().x())
        if self.isSliderDown():
            self._ask(growth)
        self._hover = growth
        self.hint_changed.emit()

    def mouseReleaseEvent(self, event: QMouseEvent) -> None:
        if self.isSliderDown():
            self.setSliderDown(False)
            self.slide_ended.emit()

    def leaveEvent(self, event: object) -> None:
        self._hover = None
        self.hint_changed.emit()

    def wheelEvent(self, event: QWheelEvent) -> None:
        event.ignore()  # a wheel over the strip must not change the growth by accident

    def keyPressEvent(self, event: QKeyEvent) -> None:
        if self._growth is None:
            super().keyPressEvent(event)
            return
        coarse = bool(event.modifiers() & Qt.KeyboardModifier.ShiftModifier)
        step = 0.1 if coarse else 0.01
        ways: dict[int, float] = {
            Qt.Key.Key_Left: -step,
            Qt.Key.Key_Down: -step,
            Qt.Key.Key_Right: step,
            Qt.Key.Key_Up: step,
        }
        ways |= {Qt.Key.Key_PageUp: 0.1, Qt.Key.Key_PageDown: -0.1}
        if event.key() in ways:
            low, high = shown_range(self._borders, self._growths)
            self._ask(min(max(round(self._growth + ways[event.key()], 3), low), high))
            self._shown_mm = self._range_to_show()
        elif event.key() == Qt.Key.Key_W:
            self.show_whole(not self._whole)
        elif event.key() in (Qt.Key.Key_A, Qt.Key.Key_Delete, Qt.Key.Key_Backspace):
            self.released_to_evidence.emit()
        else:
            event.ignore()

    def paintEvent(self, event: QPaintEvent) -> None:
        painter = QPainter(self)
        painter.setRenderHint(QPainter.RenderHint.Antialiasing)
        c, scale = self.colours, self.scale_now()
        rule_y = self.height() - 26.0
        box_top, box_height = rule_y - 34.0, 26.0
        if self._growth is None:
            painter.setPen(QColor(c.quiet))
            painter.drawText(
                self.rect(),
                Qt.AlignmentFlag.AlignCenter,
                self.tr("The codes that each growth gives stand here after the reading."),
            )
            return
        self._paint_density(painter, scale, box_top - 3, max(box_top - 6, 8.0))
        self._paint_segments(painter, scale, box_top, box_height)
        painter.setPen(QPen(QColor(c.quiet), 2))
        painter.drawLine(QPointF(scale.left, rule_y), QPointF(scale.right, rule_y))
        painter.setPen(QColor(c.quiet))
        ticks = scale.ticks(unit_mm=self.format.to_mm(1.0))
        for tick in ticks:
            x = scale.x(tick)
            painter.drawLine(QPointF(x, rule_y), QPointF(x, rule_y + 4))
            text = self.format.length(tick) if tick == ticks[-1] else self.format.bare(tick)
            width = QFontMetricsF(self.font()).horizontalAdvance(text)
            left = min(max(x - width / 2, 2.0), self.width() - width - 2)
            painter.drawText(QPointF(left, self.height() - 4), text)
        self._paint_handle(painter, scale.x(self._growth), box_top, rule_y)

    # ---- within --------------------------------------------------------------------------------------------------

    def _paint_density(self, painter: QPainter, scale: StripScale, base: float, height: float) -> None:
        """The density, drawn once for as long as it stays: under a sliding hand nothing of it moves."""
        if self._growths is None or self._density is None:
            return
        ratio = self.devicePixelRatioF()
        key = (id(self._growths), id(self._density), scale, base, height, ratio, self.colours)
        if self._drawn is None or self._drawn[0] != key:
            picture = QPixmap(round(self.width() * ratio), math.ceil((base + 2) * ratio))
            picture.setDevicePixelRatio(ratio)
            picture.fill(Qt.GlobalColor.transparent)
            on = QPainter(picture)
            on.setRenderHint(QPainter.RenderHint.Antialiasing)
            points = curve(np.asarray(self._growths), np.asarray(self._density), scale, base, height)
            self._draw_density(on, points, base)
            on.end()
            self._drawn = key, (self._growths, self._density), picture
        painter.drawPixmap(QPointF(0, 0), self._drawn[2])

    def _draw_density(self, painter: QPainter, points: Sequence[tuple[float, float]], base: float) -> None:
        if not points:
            return
        line = QPainterPath(QPointF(*points[0]))
        for x, y in points[1:]:
            line.lineTo(x, y)
        under = QPainterPath(line)
        under.lineTo(points[-1][0], base)
        under.lineTo(points[0][0], base)
        painter.setPen(Qt.PenStyle.NoPen)
        painter.setBrush(colour(self.colours.fill, 0.55))
        painter.drawPath(under)
        painter.setBrush(Qt.BrushStyle.NoBrush)
        painter.setPen(QPen(QColor(self.colours.accent), 1.6))
        painter.drawPath(line)

    def _range_to_show(self) -> tuple[float, float]:
        whole = shown_range(self._borders, self._growths)
        return whole if self._whole else near_range(whole, self._growths, self._density, self._growth)

    def _paint_segments(self, painter: QPainter, scale: StripScale, top: float, height: float) -> None:
        c = self.colours
        at = None if self._growth is None else segment_index(self._borders, self._growth)
        painter.setFont(self.font())
        for index, segment in enumerate(self._segments):
            left, right = (
                max(scale.x(segment.growth_from_mm), scale.left),
                min(scale.x(segment.growth_to_mm), scale.right),
            )
            if right <= left:
                continue
            box = QRectF(left + 1, top, max(right - left - 2, 1.0), height)
            painter.setPen(QPen(QColor(c.accent), 2) if index == at else QPen(QColor(c.line), 1))
            painter.setBrush(QColor(c.fill) if index == at else colour(c.line, 0.25 if index % 2 else 0.5))
            painter.drawRoundedRect(box, 3, 3)
            text = "" if self._spec is None else format_code(segment.code, self._spec)
            if QFontMetricsF(self.font()).horizontalAdvance(text) + 8 <= box.width():
                painter.setPen(QColor(c.ink))
                painter.drawText(box, Qt.AlignmentFlag.AlignCenter, text)

    def _paint_handle(self, painter: QPainter, x: float, top: float, rule_y: float) -> None:
        c = self.colours
        painter.setPen(QPen(QColor(c.ink), 1.4))
        painter.drawLine(QPointF(x, top - 4), QPointF(x, top + 4))  # the code between stays readable
        painter.drawLine(QPointF(x, top + 22), QPointF(x, rule_y))
        painter.setBrush(QColor(c.accent) if self._by_hand else QColor(c.panel))
        painter.setPen(QPen(QColor(c.accent if not self.hasFocus() else c.ink), 2.4))
        painter.drawEllipse(QPointF(x, rule_y), 8, 8)
        if self.hasFocus():
            painter.setBrush(Qt.BrushStyle.NoBrush)
            painter.setPen(QPen(QColor(c.accent), 1.6))
            painter.drawEllipse(QPointF(x, rule_y), 12, 12)

    def _ask(self, growth_mm: float) -> None:
        self._growth = growth_mm
        self.update()
        self.slid.emit(growth_mm)

    def _say(self) -> None:
        text = (
            ""
            if self._growth is None
            else self.tr("{0}, code {1}").format(self.format.length(self._growth), self.code_at(self._growth))
        )
        if text != self.accessibleDescription():
            self.setAccessibleDescription(text)
            QAccessible.updateAccessibility(QAccessibleEvent(self, QAccessible.Event.DescriptionChanged))
