"""The straightened picture with its marks: lets a hand or the keys move them, and says what was asked for.

A moved mark is announced, not kept; where one looks is kept in :class:`~app.window.picture_look.PictureLook`.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from typing import Final

import numpy as np
from PySide6.QtCore import QEvent, QObject, QPointF, Qt, Signal
from PySide6.QtGui import (
    QColor,
    QFocusEvent,
    QKeyEvent,
    QKeySequence,
    QMouseEvent,
    QNativeGestureEvent,
    QPainter,
    QPaintEvent,
    QWheelEvent,
)
from PySide6.QtWidgets import QWidget

from app.bench_marks import MarkPoint
from app.window.mark_interaction import STEPS, Direction, Drag, in_order, mark_at, next_mark, nudge_px, nudged
from app.window.mark_painter import MarkPainter
from app.window.picture_layers import PictureLayers
from app.window.picture_look import PictureLook
from app.window.words import mark_title

_ARROWS: Final[dict[int, Direction]] = {
    Qt.Key.Key_Left: "left",
    Qt.Key.Key_Right: "right",
    Qt.Key.Key_Up: "up",
    Qt.Key.Key_Down: "down",
}
_WHEEL_STEP: Final = 1.2
"""One notch of a mouse wheel (120 units) zooms by this."""
_LOUPE_MS: Final = 1800
_PAN_STEP: Final = 40.0
_RIM: Final = 24.0
OPACITIES: Final = (1.0, 0.55, 0.2)
"""How strongly marks are drawn; a key goes from one to the next."""


class PictureView(PictureLook):
    """Picture, marks, loupe."""

    mark_moved = Signal(str, float, float, bool)
    """(name, x, y in the stored picture, by a key): asked for."""
    mark_given_back = Signal(str)
    mark_lock_asked = Signal(str)
    mark_snap_asked = Signal(str)
    """The snap of this mark to the edge is to be refused, or to be taken again."""
    cuts_shift_asked = Signal(int)
    """All cuts by so many spacings, towards the tip where above 0."""
    mark_placed = Signal(str, float, float)
    mark_unplaced = Signal(str)
    """The mark that was placed last is asked for again."""
    placing_changed = Signal(bool)
    """Whether marks are being asked for."""

    def __init__(self, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self.setFocusPolicy(Qt.FocusPolicy.StrongFocus)
        self.setMouseTracking(True)
        self.setAccessibleName(self.tr("Picture with its marks"))
        self._hovered: str | None = None
        self._drag: Drag | None = None
        self._dragged_xy: tuple[float, float] | None = None
        self._panning: QPointF | None = None
        self._space = False
        self._hidden = False
        self.wheel_zooms = True
        """A wheel without keys zooms; else it moves the picture, and Ctrl with the wheel zooms."""
        self._opacity = 0
        self._placing: tuple[str, ...] = ()
        self._placed: list[str] = []
        self._pointer: tuple[float, float] | None = None
        self._loupe_timer = self._timer(_LOUPE_MS)
        self._aims = False
        """Whether the keys, not a pointer, have the cross that places a mark."""
        self.installEventFilter(self)

    def place_marks(self, names: Sequence[str]) -> None:
        """Ask for these marks, one click (or Return) each; an empty list stops asking."""
        begins = bool(names) and not self._placing
        self._placing = tuple(names)
        if begins or not names:
            self._placed.clear()
        if begins:
            self.choose(None)
            self._aims = not self.underMouse()
            if self._aims or self._pointer is None:
                self._pointer = (self.width() / 2, self.height() / 2)
        self.placing_changed.emit(bool(names))
        self.setCursor(Qt.CursorShape.CrossCursor if names else Qt.CursorShape.ArrowCursor)
        self.hint_changed.emit()
        self.update()

    @property
    def placing(self) -> tuple[str, ...]:
        """Marks that are still asked for."""
        return self._placing

    def hint(self) -> str:
        """The keys for what is under the pointer, or chosen."""
        if self._placing:
            return self.tr("click the {0}, or arrows and Return · Backspace: the one before · Esc stops").format(
                mark_title(self._placing[0])
            )
        name = self._hovered or self._selected
        if name is not None and name in self._marks:
            keys = self.tr("arrows 1 px, Shift 10, Alt 0.1 · Tab next mark · L lock · Delete: find again · C closer")
            mark = self._marks[name]
            if mark.step_locked:
                native = QKeySequence.SequenceFormat.NativeText
                step = QKeySequence("Ctrl+4" if name.startswith("reference") else "Ctrl+5").toString(native)
                return self.tr("{0} · locked with its step · {1}, then {2}, unlocks it").format(
                    mark_title(name), step, QKeySequence("Ctrl+K").toString(native)
                )
            if mark.locked:
                return self.tr("{0} · locked · L unlocks it · Tab next mark · C closer").format(mark_title(name))
            if mark.as_placed:
                keys = self.tr("read as placed · S snaps to the edge · {0}").format(keys)
            elif mark.snapped_xy is not None and mark.by_hand:
                keys = self.tr("read at the edge, the small square · S reads it as placed · {0}").format(keys)
            return f"{mark_title(name)} · {keys}"
        if self._layers is None:
            return ""
        if self.wheel_zooms:
            return self.tr(
                "wheel zooms, middle button or Space drags · F blade, W whole, 1 one to one · Tab first mark · H hides"
            )
        return self.tr(
            "wheel moves, Ctrl with the wheel zooms · F blade, W whole, 1 one to one · Tab first mark · H hides"
        )

    def mousePressEvent(self, event: QMouseEvent) -> None:
        at = event.position()
        if event.button() == Qt.MouseButton.MiddleButton or (
            event.button() == Qt.MouseButton.LeftButton and self._space
        ):
            self._panning = at
            self.setCursor(Qt.CursorShape.ClosedHandCursor)
            return
        if event.button() != Qt.MouseButton.LeftButton or self._layers is None:
            return
        if self._placing:
            self._place(at.x(), at.y())
            return
        name = self._mark_under(at)
        self.choose(name)
        if name is None:
            self._panning = at
        elif not self._marks[name].stays:
            self._drag = Drag(name, (at.x(), at.y()), self._marks[name].xy)
            self.update()

    def mouseMoveEvent(self, event: QMouseEvent) -> None:
        at = event.position()
        self._pointer, self._aims = (at.x(), at.y()), False
        if self._panning is not None:
            by = at - self._panning
            self._panning = at
            self._move_quickly()
            self.pan(by.x(), by.y())
        elif self._drag is not None:
            self._drag, place = self._drag.moved(self.view, (at.x(), at.y()), self._size)
            if place is not None:
                self._dragged_xy = place
                self.update()
        else:
            hovered = self._mark_under(at)
            if hovered != self._hovered:
                self._hovered = hovered
                if not self._placing:
                    self.setCursor(Qt.CursorShape.OpenHandCursor if hovered else Qt.CursorShape.ArrowCursor)
                self.hint_changed.emit()
                self.update()
            elif self._placing:
                self.update()

    def mouseReleaseEvent(self, event: QMouseEvent) -> None:
        if self._panning is not None:
            self._panning = None
            self.setCursor(Qt.CursorShape.CrossCursor if self._placing else Qt.CursorShape.ArrowCursor)
        elif self._drag is not None:
            drag, place = self._drag, self._dragged_xy
            self._drag = self._dragged_xy = None
            if place is not None:
                self._shift_mark(drag.name, place)
                self.mark_moved.emit(drag.name, place[0], place[1], False)
            self.update()

    def leaveEvent(self, event: QEvent) -> None:
        self._hovered = None
        self.hint_changed.emit()
        self.update()

    def wheelEvent(self, event: QWheelEvent) -> None:
        at = (event.position().x(), event.position().y())
        zooming = bool(event.modifiers() & Qt.KeyboardModifier.ControlModifier)
        fine = event.pixelDelta()
        self._move_quickly()
        if not zooming and not fine.isNull():
            self.pan(fine.x(), fine.y())  # two fingers on a touchpad
        elif event.modifiers() & Qt.KeyboardModifier.ShiftModifier:
            notch = event.angleDelta().x() + event.angleDelta().y()
            self.pan(notch / 120 * _PAN_STEP, 0)
        elif not zooming and not self.wheel_zooms:
            self.pan(event.angleDelta().x() / 120 * _PAN_STEP, event.angleDelta().y() / 120 * _PAN_STEP)
        else:
            self.zoom(_WHEEL_STEP ** (event.angleDelta().y() / 120), at)
        event.accept()

    def eventFilter(self, watched: QObject, event: QEvent) -> bool:
        """Pinches, and arrows with Alt.  A filter, because an event() of our own would hide faults of painting."""
        if isinstance(event, QNativeGestureEvent) and event.gestureType() == Qt.NativeGestureType.ZoomNativeGesture:
            self._move_quickly()
            self.zoom(1.0 + event.value(), (event.position().x(), event.position().y()))
            return True
        if event.type() == QEvent.Type.ShortcutOverride and isinstance(event, QKeyEvent) and event.key() in _ARROWS:
            event.accept()  # Alt with an arrow is ours, whatever a menu thinks
            return True
        return False

    def focusNextPrevChild(self, forwards: bool) -> bool:
        """Tab walks the marks; past the last one it leaves the picture."""
        name = next_mark(self._walk(), self._selected, backwards=not forwards)
        if name is None or not self._marks:
            self.choose(None)
            return super().focusNextPrevChild(forwards)
        self.choose(name)
        return True

    def keyPressEvent(self, event: QKeyEvent) -> None:
        key = event.key()
        shift = bool(event.modifiers() & Qt.KeyboardModifier.ShiftModifier)
        alt = bool(event.modifiers() & Qt.KeyboardModifier.AltModifier)
        if key in (Qt.Key.Key_Left, Qt.Key.Key_Right) and event.modifiers() & Qt.KeyboardModifier.ControlModifier:
            self.cuts_shift_asked.emit(1 if key == Qt.Key.Key_Right else -1)
        elif key in _ARROWS and self._placing:
            self._aim(_ARROWS[key], shift=shift, alt=alt)
        elif key in _ARROWS:
            self._arrow(_ARROWS[key], shift=shift, alt=alt)
        elif key == Qt.Key.Key_Space:
            self._space = True
            self.setCursor(Qt.CursorShape.OpenHandCursor)
        elif key == Qt.Key.Key_H:
            self._hidden = True
            self.update()
        elif key in (Qt.Key.Key_Return, Qt.Key.Key_Enter) and self._placing:
            self._place(*(self._pointer or (self.width() / 2, self.height() / 2)))
        elif key == Qt.Key.Key_Escape and self._placing:
            self.place_marks(())
        elif key == Qt.Key.Key_Backspace and self._placing:
            if self._placed:
                name = self._placed.pop()
                self.place_marks((name, *self._placing))
                self.mark_unplaced.emit(name)
        elif key in (Qt.Key.Key_Delete, Qt.Key.Key_Backspace) and self._selected is not None:
            self.mark_given_back.emit(self._selected)
        elif key == Qt.Key.Key_L and self._selected is not None:
            self.mark_lock_asked.emit(self._selected)
        elif key == Qt.Key.Key_S and self._selected is not None:
            self.mark_snap_asked.emit(self._selected)
        elif not self._look_key(key):
            super().keyPressEvent(event)

    def keyReleaseEvent(self, event: QKeyEvent) -> None:
        if event.isAutoRepeat():
            return
        if event.key() == Qt.Key.Key_Space:
            self._space = False
            self.setCursor(Qt.CursorShape.CrossCursor if self._placing else Qt.CursorShape.ArrowCursor)
        elif event.key() == Qt.Key.Key_H:
            self._hidden = False
            self.update()
        else:
            super().keyReleaseEvent(event)

    def focusInEvent(self, event: QFocusEvent) -> None:
        if (
            event.reason() in (Qt.FocusReason.TabFocusReason, Qt.FocusReason.BacktabFocusReason)
            and self._selected is None
        ):
            self.choose(next_mark(self._walk(), None, backwards=event.reason() == Qt.FocusReason.BacktabFocusReason))
        self.hint_changed.emit()
        self.update()

    def focusOutEvent(self, event: QFocusEvent) -> None:
        self._space = self._hidden = False
        self.update()

    def paintEvent(self, event: QPaintEvent) -> None:
        painter = QPainter(self)
        if self._layers is None:
            painter.fillRect(self.rect(), QColor(self.colours.field))
            return
        painter.drawImage(0, 0, self._picture_image(self._layers))
        if not self._hidden:
            self._paint_marks(painter, self._layers)
        if self.hasFocus():
            painter.setBrush(Qt.BrushStyle.NoBrush)
            painter.setPen(QColor(self.colours.accent))
            painter.drawRect(self.rect().adjusted(0, 0, -1, -1))

    def _paint_marks(self, painter: QPainter, layers: PictureLayers) -> None:
        pen = MarkPainter(painter, self.view, self.colours)
        marks = dict(self._marks)
        if self._drag is not None and self._dragged_xy is not None:
            marks[self._drag.name] = self._with_place(self._drag.name, self._dragged_xy)
        if self._reading is not None:
            pen.outline(self._reading.blade.outline)
        painter.setOpacity(OPACITIES[self._opacity])
        pen.lines(marks, mark_line_title)
        roots = [pen.place(mark.xy) for name, mark in marks.items() if name.startswith("root.")]
        pen.leaders([at.x() for at in roots], [at.y() for at in roots], self.height())
        for index, lines in enumerate(self._lines):
            for line in lines:
                pen.level_line(line.x_from, line.x_to, line.y, dashed=index > 0)
        loupe_name = self._drag.name if self._drag is not None else self._selected
        loupe = loupe_name in marks and (self._drag is not None or self._loupe_timer.isActive())
        for name, mark in marks.items():
            chosen = name == self._selected
            label = "" if loupe and name == loupe_name else mark_title(name)
            pen.marker(mark, selected=chosen, under_pointer=name == self._hovered, label=label)
        painter.setOpacity(1.0)
        if loupe and loupe_name is not None:
            pen.loupe(marks[loupe_name].xy, layers.paint, self.font(), mark_title(loupe_name))
        if self._placing:
            pen.banner(self.hint())
        if not loupe and self._placing and self._pointer is not None:
            xy = self.view.picture_of_view(np.array(self._pointer))
            pen.loupe((float(xy[0]), float(xy[1])), layers.paint, self.font(), mark_title(self._placing[0]))
            if self._aims:
                pen.marker(MarkPoint("", (float(xy[0]), float(xy[1]))), selected=True, under_pointer=True, label="")

    def _aim(self, direction: Direction, *, shift: bool, alt: bool) -> None:
        """Move the cross that places a mark: a pixel (of picture or screen, whichever is larger), ten, a tenth."""
        per_px = self.view.percent / 100 / self.devicePixelRatioF()
        step = 0.1 * per_px if alt else max(1.0, per_px) * (10 if shift else 1)
        x, y = self._pointer or (self.width() / 2, self.height() / 2)
        dx, dy = STEPS[direction]
        x, y = x + dx * step, y + dy * step
        low, right, bottom = _RIM, self.width() - _RIM, self.height() - _RIM
        kept_x, kept_y = min(max(x, low), right), min(max(y, low), bottom)
        self._pointer, self._aims = (kept_x, kept_y), True
        if (kept_x, kept_y) != (x, y):  # at the rim the picture comes to the cross
            self.pan(kept_x - x, kept_y - y)
        self.update()

    def _arrow(self, direction: Direction, *, shift: bool, alt: bool) -> None:
        if self._selected is None:
            dx, dy = {"left": (1, 0), "right": (-1, 0), "up": (0, 1), "down": (0, -1)}[direction]
            self.pan(dx * _PAN_STEP, dy * _PAN_STEP)
            return
        mark = self._marks[self._selected]
        x, y = nudged(self.straight, mark.xy, direction, nudge_px(shift=shift, alt=alt))
        self._loupe_timer.start()
        self.mark_moved.emit(mark.name, x, y, True)

    def _look_key(self, key: int) -> bool:
        if key in (Qt.Key.Key_Plus, Qt.Key.Key_Equal):
            self.zoom(_WHEEL_STEP)
        elif key == Qt.Key.Key_Minus:
            self.zoom(1 / _WHEEL_STEP)
        elif key == Qt.Key.Key_F:
            self.fit_blade()
        elif key == Qt.Key.Key_W:
            self.fit()
        elif key == Qt.Key.Key_1:
            self.one_to_one()
        elif key == Qt.Key.Key_C:
            self.to_cut()
        elif key == Qt.Key.Key_O:
            self._opacity = (self._opacity + 1) % len(OPACITIES)
            self.update()
        elif key == Qt.Key.Key_P:
            self._square = not self._square
            self.update()
        else:
            return False
        return True

    def _place(self, x: float, y: float) -> None:
        place = self.view.picture_of_view(np.array([x, y]))
        name, rest = self._placing[0], self._placing[1:]
        self._placed.append(name)
        self.place_marks(rest)
        self.mark_placed.emit(name, float(place[0]), float(place[1]))

    def _mark_under(self, at: QPointF) -> str | None:
        if self._hidden:
            return None
        return mark_at({name: mark.xy for name, mark in self._marks.items()}, self.view, (at.x(), at.y()))

    def _walk(self) -> tuple[str, ...]:
        return in_order(list(self._marks), {name: mark.xy for name, mark in self._marks.items()})

    def _with_place(self, name: str, xy: tuple[float, float]) -> MarkPoint:
        return replace(self._marks[name], xy=xy, by_hand=True, snapped_xy=None, status="")

    def _shift_mark(self, name: str, xy: tuple[float, float]) -> None:
        self._marks[name] = self._with_place(name, xy)

    def _let_go(self) -> None:
        self._hovered = self._drag = self._dragged_xy = None


def mark_line_title(group: str) -> str:
    """What a line through marks is called."""
    return mark_title("back.0").partition(",")[0] if group == "back" else mark_title(group)
