"""The job's steps as a short path: what is done, what is assumed, what waits.  A click opens the step's panel."""

from __future__ import annotations

import re
from typing import TYPE_CHECKING

from PySide6.QtCore import QEvent, QPointF, QRectF, QSize, Qt, Signal
from PySide6.QtGui import QColor, QFont, QPainter, QPainterPath, QPaintEvent, QPen
from PySide6.QtWidgets import QAbstractButton, QButtonGroup, QSizePolicy, QVBoxLayout, QWidget

from app.window.language import said
from app.window.theme import LIGHT, Colours

if TYPE_CHECKING:
    from app.bench_steps import Standing, Step, StepName

_DISC = 8.0
_LEFT = 20.0
_TALLEST = 84
_BREAK = re.compile(r"(?<!\d) | (?!(?:%|mm|in|thou|px/mm)(?!\w))")
"""A space at which a line may end: not the one between a figure and its unit."""


def pieces_of(words: str) -> list[str]:
    """The words between which a line may end."""
    return _BREAK.split(words)


class StepButton(QAbstractButton):
    """One step.  A full disc with a tick is done, a half disc is assumed, an empty ring waits."""

    def __init__(self, name: StepName, title: str, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self.name = name
        self.colours: Colours = LIGHT
        self._title = title
        self._standing: Standing = "waits"
        self._words = ""
        self._locked = False
        self.first = self.last = False
        self.setCheckable(True)
        self.setFocusPolicy(Qt.FocusPolicy.TabFocus)
        self.setCursor(Qt.CursorShape.PointingHandCursor)
        self.setSizePolicy(QSizePolicy.Policy.Preferred, QSizePolicy.Policy.Preferred)
        self.setAccessibleName(title)

    def show_step(self, standing: Standing, words: str, *, locked: bool = False) -> None:
        """Show how the step stands."""
        if (standing, words, locked) == (self._standing, self._words, self._locked):
            return
        self._standing, self._words, self._locked = standing, words, locked
        spoken = {"done": self.tr("done"), "assumed": self.tr("assumed"), "waits": self.tr("waits")}[standing]
        if locked:
            spoken = self.tr("{0}, locked").format(spoken)
        self.setAccessibleDescription(f"{spoken}: {words}")
        self.setToolTip(f"{self._title} ({spoken}): {words}")
        self.update()

    @property
    def standing(self) -> Standing:
        """How the step stands."""
        return self._standing

    def sizeHint(self) -> QSize:
        return QSize(170, 56)

    def minimumSizeHint(self) -> QSize:
        return QSize(140, 40)

    def enterEvent(self, event: QEvent) -> None:
        self.update()

    def leaveEvent(self, event: QEvent) -> None:
        self.update()

    def paintEvent(self, event: QPaintEvent) -> None:
        painter = QPainter(self)
        painter.setRenderHint(QPainter.RenderHint.Antialiasing)
        c = self.colours
        middle = QPointF(_LEFT, 17)
        if self.isChecked():
            painter.setPen(Qt.PenStyle.NoPen)
            painter.setBrush(QColor(c.panel))
            painter.drawRoundedRect(QRectF(2, 1, self.width() - 4, self.height() - 4), 5, 5)
            painter.setBrush(QColor(c.accent))
            painter.drawRoundedRect(QRectF(2, 5, 3, self.height() - 12), 1.5, 1.5)
        if self.hasFocus() or self.underMouse():
            painter.setBrush(Qt.BrushStyle.NoBrush)
            painter.setPen(QPen(QColor(c.accent), 2 if self.hasFocus() else 1))
            painter.drawRoundedRect(QRectF(2, 1, self.width() - 4, self.height() - 4), 5, 5)
        painter.setPen(QPen(QColor(c.line), 2))
        if not self.first:
            painter.drawLine(QPointF(_LEFT, 0), middle - QPointF(0, _DISC + 2))
        if not self.last:
            painter.drawLine(middle + QPointF(0, _DISC + 2), QPointF(_LEFT, self.height()))
        self._paint_disc(painter, middle)
        bold = QFont(self.font())
        bold.setWeight(QFont.Weight.DemiBold)
        painter.setFont(bold)
        painter.setPen(QColor(c.ink))
        left = _LEFT + 20
        painter.drawText(
            QRectF(left, 6, self.width() - left - 8, 22),
            Qt.AlignmentFlag.AlignLeft | Qt.AlignmentFlag.AlignVCenter,
            self._title,
        )
        if self._locked:
            self._paint_lock(painter, QPointF(left + painter.fontMetrics().horizontalAdvance(self._title) + 13, 17))
        small = QFont(self.font())
        small.setPointSizeF(self.font().pointSizeF() * 0.88)
        painter.setFont(small)
        painter.setPen(QColor(c.doubt if self._standing == "assumed" else c.quiet))
        room = QRectF(left, 26, self.width() - left - 8, self.height() - 28)
        lines = max(int(room.height() // painter.fontMetrics().height()), 1)
        painter.drawText(
            room, Qt.AlignmentFlag.AlignLeft | Qt.TextFlag.TextWordWrap, self._short(painter, room.width(), lines)
        )

    def _paint_disc(self, painter: QPainter, middle: QPointF) -> None:
        c = self.colours
        if self._standing == "done":
            painter.setPen(Qt.PenStyle.NoPen)
            painter.setBrush(QColor(c.accent))
            painter.drawEllipse(middle, _DISC, _DISC)
            tick = QPainterPath(middle + QPointF(-3.6, 0.2))
            tick.lineTo(middle + QPointF(-1.0, 3.0))
            tick.lineTo(middle + QPointF(4.0, -3.2))
            painter.setBrush(Qt.BrushStyle.NoBrush)
            painter.setPen(QPen(QColor(c.on_accent), 2))
            painter.drawPath(tick)
            return
        tint = QColor(c.doubt if self._standing == "assumed" else c.quiet)
        painter.setBrush(QColor(c.field))
        painter.setPen(QPen(tint, 2))
        painter.drawEllipse(middle, _DISC - 1, _DISC - 1)
        if self._standing == "assumed":
            painter.setBrush(tint)
            painter.drawPie(
                QRectF(middle.x() - _DISC + 1, middle.y() - _DISC + 1, 2 * _DISC - 2, 2 * _DISC - 2), 90 * 16, 180 * 16
            )

    def _paint_lock(self, painter: QPainter, middle: QPointF) -> None:
        """A small padlock."""
        painter.setBrush(Qt.BrushStyle.NoBrush)
        painter.setPen(QPen(QColor(self.colours.ink), 1.6))
        painter.drawArc(QRectF(middle.x() - 3, middle.y() - 6, 6, 8), 0, 180 * 16)
        painter.setPen(Qt.PenStyle.NoPen)
        painter.setBrush(QColor(self.colours.ink))
        painter.drawRoundedRect(QRectF(middle.x() - 5, middle.y() - 1.5, 10, 7.5), 1.5, 1.5)

    def _short(self, painter: QPainter, width: float, lines: int) -> str:
        """The words cut to so many lines."""
        metrics = painter.fontMetrics()
        parts, line, rest = [], "", pieces_of(self._words)
        while rest:
            trial = f"{line} {rest[0]}".strip()
            if metrics.horizontalAdvance(trial) <= width or not line:
                line = trial
                rest.pop(0)
            else:
                parts.append(line)
                line = ""
                if len(parts) == lines:
                    break
        if line and len(parts) < lines:
            parts.append(line)
        if rest and parts:
            parts[-1] = metrics.elidedText(parts[-1] + " " + " ".join(rest), Qt.TextElideMode.ElideRight, int(width))
        return "\n".join(metrics.elidedText(part, Qt.TextElideMode.ElideRight, int(width)) for part in parts)


class JobPath(QWidget):
    """All steps, one under the other."""

    step_chosen = Signal(str)

    def __init__(self, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        titles: dict[StepName, str] = {
            "entitlement": self.tr("Entitlement"),
            "table": self.tr("Depth table"),
            "picture": self.tr("Picture"),
            "scale": self.tr("Scale"),
            "marks": self.tr("Marks"),
            "code": self.tr("Code"),
            "cutting": self.tr("Cutting"),
            "check": self.tr("Check"),
        }
        layout = QVBoxLayout(self)
        layout.setContentsMargins(0, 0, 0, 0)
        layout.setSpacing(0)
        self._group = QButtonGroup(self)
        self.buttons: dict[StepName, StepButton] = {}
        for name, title in titles.items():
            button = StepButton(name, title)
            button.clicked.connect(lambda checked=False, name=name: self.step_chosen.emit(name))
            self._group.addButton(button)
            self.buttons[name] = button
            button.setMaximumHeight(_TALLEST)
            layout.addWidget(button, 1)
        layout.addStretch(0)
        self.buttons["entitlement"].first = True
        self.buttons["check"].last = True

    def show_steps(self, steps: tuple[Step, ...]) -> None:
        """Show how each step stands."""
        for step in steps:
            self.buttons[step.name].show_step(step.standing, said(step.words), locked=step.locked)

    def choose(self, name: StepName) -> None:
        """Mark a step as the one whose panel is open."""
        self.buttons[name].setChecked(True)

    def set_colours(self, colours: Colours) -> None:
        """Light or dark."""
        for button in self.buttons.values():
            button.colours = colours
            button.update()
