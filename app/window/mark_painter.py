"""How marks, lines and the loupe are drawn on the picture.

A marker has an open centre, so that it never hides what it marks, keeps its size at any zoom, and is drawn twice, light
on dark, so that it is seen on paper, metal and toner alike.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import replace
from typing import Final

import numpy as np
from PySide6.QtCore import QPointF, QRectF, Qt
from PySide6.QtGui import QColor, QFont, QPainter, QPainterPath, QPen

from app.bench_marks import MarkPoint
from app.window.theme import Colours, colour
from app.window.view_transform import ViewTransform

OPEN: Final = 5.0
REACH: Final = 13.0
LOUPE_RADIUS: Final = 74.0
LOUPE_PERCENT: Final = 1200.0
_SNAPPED_FROM: Final = 1.5
"""A snap nearer than this to the hand's mark (view units) is not drawn apart."""


class MarkPainter:
    """Draws one view's marks."""

    def __init__(self, painter: QPainter, view: ViewTransform, colours: Colours) -> None:
        self._p = painter
        self._view = view
        self._c = colours
        painter.setRenderHint(QPainter.RenderHint.Antialiasing)

    def place(self, picture_xy: Sequence[float]) -> QPointF:
        """Where a picture position is seen."""
        x, y = self._view.view_of_picture(np.array(picture_xy, dtype=float))
        return QPointF(float(x), float(y))

    def lines(self, marks: Mapping[str, MarkPoint], words: Callable[[str], str]) -> None:
        """The lines that marks stand for: back, blade height, centreline, shoulder, size reference."""
        for pair, dashed in (("back", False), ("centreline", True), ("blade_height", True)):
            if f"{pair}.0" in marks and f"{pair}.1" in marks:
                ends = [self.place(marks[f"{pair}.{end}"].xy) for end in (0, 1)]
                self._line(ends[0], ends[1], dashed=dashed)
                if pair == "back":
                    self._label(ends[1] + QPointF(10, 18), words(pair))
        for name in ("shoulder", "tip"):
            if name in marks:
                self._upright(self.place(marks[name].xy), words(name))
        corners = [self.place(mark.xy) for name, mark in marks.items() if name.startswith("reference.")]
        for start, end in zip(corners, corners[1:] + corners[:1], strict=True):
            if len(corners) > 1:
                self._line(start, end, dashed=True)

    def leaders(self, places_x: Sequence[float], tops_y: Sequence[float], bottom: float) -> None:
        """Dotted lines from the roots down to the ladder."""
        pen = QPen(colour(self._c.accent if not self._c.dark else self._c.mark_light, 0.55), 1.2, Qt.PenStyle.DotLine)
        self._p.setPen(pen)
        for x, y in zip(places_x, tops_y, strict=True):
            self._p.drawLine(QPointF(x, y + REACH + 3), QPointF(x, bottom))

    def marker(self, mark: MarkPoint, *, selected: bool, under_pointer: bool, label: str) -> None:
        """One marker; brackets: a hand set it; a lock: it stays; a pin: read as placed; a ring: it is chosen."""
        at = self.place(mark.xy)
        path = QPainterPath()
        for dx, dy in ((1, 0), (-1, 0), (0, 1), (0, -1)):
            path.moveTo(at + QPointF(dx * OPEN, dy * OPEN))
            path.lineTo(at + QPointF(dx * REACH, dy * REACH))
        if mark.by_hand:
            for dx, dy in ((1, 1), (-1, 1), (-1, -1), (1, -1)):
                corner = at + QPointF(dx * 9, dy * 9)
                path.moveTo(corner - QPointF(dx * 4, 0))
                path.lineTo(corner)
                path.lineTo(corner - QPointF(0, dy * 4))
        if mark.as_placed:  # a pin: read where it stands
            path.moveTo(at + QPointF(-13, 20))
            path.lineTo(at + QPointF(-9, 9))
            path.lineTo(at + QPointF(-20, 13))
            path.closeSubpath()
        if mark.stays:
            path.addRect(QRectF(at.x() + 9, at.y() - 19, 8, 7))
            path.addEllipse(QRectF(at.x() + 10.5, at.y() - 24, 5, 9))
        if selected:
            path.addEllipse(at, 18, 18)
        self._twice(path, bold=selected or under_pointer)
        if mark.snapped_xy is not None and not mark.as_placed:
            snapped = self.place(mark.snapped_xy)
            if (snapped - at).manhattanLength() >= _SNAPPED_FROM:
                bridge = QPainterPath(at)
                bridge.lineTo(snapped)
                bridge.addRect(QRectF(snapped.x() - 2.5, snapped.y() - 2.5, 5, 5))
                self._twice(bridge, bold=False)
        if (selected or under_pointer) and label:
            wide = self._p.fontMetrics().horizontalAdvance(label)
            self._label(at + QPointF(-wide / 2, 36), label)

    def banner(self, text: str) -> None:
        """What is asked of the hand, at the top of the picture."""
        wide = self._p.fontMetrics().horizontalAdvance(text)
        self._label(QPointF((self._view.view_size[0] - wide) / 2, 24), text)

    def level_line(self, x_from: float, x_to: float, y: float, *, dashed: bool) -> None:
        """A floor as a code would have it, in straightened positions."""
        ends = self._view.view_xy(np.array([[x_from, y], [x_to, y]]))
        pen = QPen(colour(self._c.mark_light, 0.95), 4.5, Qt.PenStyle.SolidLine, Qt.PenCapStyle.FlatCap)
        self._p.setPen(pen)
        self._p.drawLine(QPointF(*ends[0]), QPointF(*ends[1]))
        tint = "#b35c00" if dashed else "#0f5fa8"
        self._p.setPen(
            QPen(QColor(tint), 2.4, Qt.PenStyle.DashLine if dashed else Qt.PenStyle.SolidLine, Qt.PenCapStyle.FlatCap)
        )
        self._p.drawLine(QPointF(*ends[0]), QPointF(*ends[1]))

    def outline(self, outline_xy: np.ndarray) -> None:
        """The visible edge that the program found, thin."""
        if len(outline_xy) < 2:
            return
        path = QPainterPath()
        places = self._view.view_xy(outline_xy)
        steps = np.hypot(*np.diff(outline_xy, axis=0).T)
        jump = max(float(np.median(steps)) * 8, 4.0)
        for index, (x, y) in enumerate(places):
            if index == 0 or steps[index - 1] > jump:
                path.moveTo(x, y)
            else:
                path.lineTo(x, y)
        self._p.setPen(QPen(QColor(255, 176, 60, 210), 1.3))
        self._p.drawPath(path)

    def loupe(
        self,
        mark_xy: Sequence[float],
        paint_picture: Callable[[QPainter, ViewTransform], None],
        font: QFont,
        title: str,
    ) -> QRectF:
        """A round window beside the mark that shows its pixels large; returns where it lies."""
        at = self.place(mark_xy)
        width, height = self._view.view_size
        r = LOUPE_RADIUS
        x = at.x() + r + 44 if at.x() + 2 * r + 60 < width else at.x() - r - 44
        y = min(max(at.y() - r * 0.4, r + 6), height - r - 6)
        centre = QPointF(x, y)
        factor = max(LOUPE_PERCENT, self._view.percent * 3) / self._view.percent
        near = self._view.at_percent(self._view.percent * factor, (at.x(), at.y()))
        near = replace(near, offset_xy=(near.offset_xy[0] + x - at.x(), near.offset_xy[1] + y - at.y()))
        circle = QPainterPath()
        circle.addEllipse(centre, r, r)
        self._p.save()
        self._p.setClipPath(circle)
        self._p.fillPath(circle, QColor(self._c.field))
        paint_picture(self._p, near)
        cross = QPainterPath()
        for dx, dy in ((1, 0), (-1, 0), (0, 1), (0, -1)):
            cross.moveTo(centre + QPointF(dx * 8, dy * 8))
            cross.lineTo(centre + QPointF(dx * r, dy * r))
        self._twice(cross, bold=False)
        self._p.restore()
        self._p.setPen(QPen(QColor(self._c.mark_light), 4))
        self._p.drawPath(circle)
        self._p.setPen(QPen(QColor(self._c.accent), 2))
        self._p.drawPath(circle)
        self._p.setFont(font)
        self._label(QPointF(x - r, y + r + 16 if y + r + 20 < height else y - r - 6), title)
        return circle.boundingRect()

    def _upright(self, at: QPointF, word: str) -> None:
        top, bottom = at - QPointF(0, 46), at + QPointF(0, 46)
        self._line(top, bottom, dashed=True)
        self._label(bottom + QPointF(-4, 14), word)

    def _line(self, start: QPointF, end: QPointF, *, dashed: bool) -> None:
        path = QPainterPath(start)
        path.lineTo(end)
        self._p.setPen(QPen(colour(self._c.mark_dark, 0.55), 3))
        self._p.drawPath(path)
        style = Qt.PenStyle.DashLine if dashed else Qt.PenStyle.SolidLine
        self._p.setPen(QPen(QColor("#7fd0ff"), 1.2, style))
        self._p.drawPath(path)

    def _twice(self, path: QPainterPath, *, bold: bool) -> None:
        self._p.setBrush(Qt.BrushStyle.NoBrush)
        self._p.setPen(QPen(colour(self._c.mark_dark, 0.85), 4.4 if bold else 3.4))
        self._p.drawPath(path)
        self._p.setPen(QPen(QColor("#ffcf6b") if bold else QColor(self._c.mark_light), 2.0 if bold else 1.4))
        self._p.drawPath(path)

    def _label(self, at: QPointF, text: str) -> None:
        if not (-20 <= at.x() <= self._view.view_size[0] + 20 and -20 <= at.y() <= self._view.view_size[1] + 20):
            return
        metrics = self._p.fontMetrics()
        box = QRectF(metrics.boundingRect(text)).adjusted(-5, -2, 5, 2).translated(at)
        width, height = self._view.view_size
        dx = (
            min(max(0.0, 2 - box.left()), max(width - 2 - box.right(), -1e4))
            if box.left() < 2
            else min(0.0, width - 2 - box.right())
        )
        dy = max(0.0, 2 - box.top()) + min(0.0, height - 2 - box.bottom())
        self._p.setPen(Qt.PenStyle.NoPen)
        self._p.setBrush(colour(self._c.panel, 0.9))
        self._p.drawRoundedRect(box.translated(dx, dy), 3, 3)
        self._p.setPen(QColor(self._c.ink))
        self._p.drawText(at + QPointF(dx, dy), text)
        self._p.setBrush(Qt.BrushStyle.NoBrush)
