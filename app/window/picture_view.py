"""The straightened picture with its marks: shows them, lets a hand or the keys move them, and says what was asked for.

The view owns where one looks (its :class:`ViewTransform`) and nothing else; a moved mark is announced, not kept.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Final

import numpy as np
from PySide6.QtCore import QEvent, QObject, QPointF, Qt, QTimer, Signal
from PySide6.QtGui import (
    QAccessible,
    QAccessibleEvent,
    QColor,
    QFocusEvent,
    QImage,
    QKeyEvent,
    QMouseEvent,
    QNativeGestureEvent,
    QPainter,
    QPaintEvent,
    QResizeEvent,
    QWheelEvent,
)
from PySide6.QtWidgets import QWidget

from app.bench_marks import MarkPoint
from app.picture.values import PictureReading, Straight
from app.window.compare_geometry import RootLine
from app.window.mark_interaction import Direction, Drag, in_order, mark_at, next_mark, nudge_px, nudged
from app.window.mark_painter import MarkPainter
from app.window.picture_layers import PictureLayers
from app.window.theme import LIGHT, Colours
from app.window.view_transform import ViewTransform, plain_straight, view_of
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
_SETTLE_MS: Final = 90
_PAN_STEP: Final = 40.0


class PictureView(QWidget):
    """Picture, marks, loupe."""

    mark_moved = Signal(str, float, float, bool)
    """(name, x, y in the stored picture, by a key): asked for."""
    mark_given_back = Signal(str)
    mark_lock_asked = Signal(str)
    mark_placed = Signal(str, float, float)
    mark_chosen = Signal(str)
    view_changed = Signal()
    hint_changed = Signal()

    def __init__(self, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self.setFocusPolicy(Qt.FocusPolicy.StrongFocus)
        self.setMouseTracking(True)
        self.setAttribute(Qt.WidgetAttribute.WA_OpaquePaintEvent)
        self.setAccessibleName(self.tr("Picture with its marks"))
        self.setMinimumSize(240, 120)
        self.colours: Colours = LIGHT
        self.view: ViewTransform = view_of(plain_straight((1, 1)), (240.0, 120.0))
        self._layers: PictureLayers | None = None
        self._size = (1, 1)
        self._marks: dict[str, MarkPoint] = {}
        self._reading: PictureReading | None = None
        self._lines: tuple[tuple[RootLine, ...], ...] = ()
        self._selected: str | None = None
        self._hovered: str | None = None
        self._drag: Drag | None = None
        self._dragged_xy: tuple[float, float] | None = None
        self._panning: QPointF | None = None
        self._space = False
        self._hidden = False
        self._fits = True
        self._placing: tuple[str, ...] = ()
        self._pointer: tuple[float, float] | None = None
        self._cache: tuple[object, QImage] | None = None
        self._moving = False
        self._loupe_timer = self._timer(_LOUPE_MS)
        self._settle_timer = self._timer(_SETTLE_MS)
        self._settle_timer.timeout.connect(self._settle)
        self.installEventFilter(self)

    # ---- what is shown -------------------------------------------------------------------------------------------

    def show_picture(self, layers: PictureLayers | None, size: tuple[int, int]) -> None:
        """Show another picture, as it was stored, whole."""
        self._layers, self._size = layers, size
        self._reading, self._marks, self._lines = None, {}, ()
        self._selected = self._hovered = self._drag = self._dragged_xy = None
        self.view = view_of(plain_straight(size), self._extent(), self.devicePixelRatioF())
        self._fits = True
        self._cache = None
        self._announce()

    def show_reading(self, reading: PictureReading | None) -> None:
        """Show the straightened picture of a reading; what was in the middle stays, once somebody looked closer."""
        if reading is self._reading:
            return
        first = self._reading is None
        before = self.view
        self._reading = reading
        straight = plain_straight(self._size) if reading is None else reading.straight
        fresh = view_of(straight, self._extent(), self.devicePixelRatioF())
        if first or self._fits or reading is None:
            self.view = fresh
            self.fit_blade()
        else:
            middle = before.picture_of_view(np.array(before.view_size) / 2)
            x, y = straight.straight_xy(middle)
            self.view = fresh.at_percent(before.percent, (0.0, 0.0)).centred_on((float(x), float(y)))
        self._announce()

    def show_marks(self, marks: Sequence[MarkPoint]) -> None:
        """Show these marks."""
        shown = {mark.name: mark for mark in marks}
        if shown == self._marks:
            return
        self._marks = shown
        if self._selected not in self._marks:
            self._selected = None
        self.update()

    def show_lines(self, lines: tuple[tuple[RootLine, ...], ...]) -> None:
        """Show the floors of up to two codes for comparing."""
        if lines != self._lines:
            self._lines = lines
            self.update()

    @property
    def straight(self) -> Straight:
        """The map of what is shown."""
        return self.view.straight

    @property
    def selected(self) -> str | None:
        """Name of the chosen mark."""
        return self._selected

    def choose(self, name: str | None) -> None:
        """Choose a mark, and bring it into sight."""
        if name == self._selected:
            return
        self._selected = name if name in self._marks else None
        if self._selected is not None:
            x, y = self.view.view_of_picture(np.array(self._marks[self._selected].xy))
            if not (10 <= x <= self.width() - 10 and 10 <= y <= self.height() - 10):
                self._set_view(self.view.centred_on(self._straight_of(self._selected)))
            self.setAccessibleDescription(self._spoken(self._selected))
            self.mark_chosen.emit(self._selected)
        QAccessible.updateAccessibility(QAccessibleEvent(self, QAccessible.Event.DescriptionChanged))
        self.hint_changed.emit()
        self.update()

    def cut_centres(self, cuts: int) -> tuple[float, ...]:
        """Straightened x of the cut centres, bow to tip; empty while the roots are not all marked."""
        names = [f"root.{index}" for index in range(cuts)]
        if any(name not in self._marks for name in names):
            return ()
        roots = self.straight.straight_xy(np.array([self._marks[name].xy for name in names]))
        return tuple(float(x) for x in roots[:, 0])

    # ---- where one looks -----------------------------------------------------------------------------------------

    def fit(self) -> None:
        """The whole picture."""
        self._fits = True
        self._set_view(view_of(self.straight, self._extent(), self.devicePixelRatioF()))

    def fit_blade(self) -> None:
        """The blade with some room; the whole picture where no blade is known."""
        box = self._blade_box()
        if box is None:
            self.fit()
            return
        self._fits = True
        self._set_view(self.view.fitted(box))

    def one_to_one(self) -> None:
        """One pixel of the picture on one pixel of the screen, round the chosen mark or the middle."""
        self._fits = False
        at = self._anchor()
        self._set_view(self.view.at_percent(100.0, at).kept_in_sight())

    def to_cut(self) -> None:
        """Close to the chosen mark."""
        if self._selected is None:
            return
        self._fits = False
        box = self._blade_box()
        wide = (box[2] - box[0]) / 6 if box is not None else 120.0
        x, y = self._straight_of(self._selected)
        self._set_view(self.view.fitted((x - wide / 2, y - wide / 4, x + wide / 2, y + wide / 4)))

    def zoom(self, factor: float, at: tuple[float, float] | None = None) -> None:
        """Nearer or farther, about a place in the view."""
        self._fits = False
        self._set_view(self.view.zoomed(factor, at or self._anchor()))

    def pan(self, dx: float, dy: float) -> None:
        """Move the picture by logical pixels."""
        self._fits = False
        self._set_view(self.view.moved((dx, dy)))

    def place_marks(self, names: Sequence[str]) -> None:
        """Ask for these marks, one click (or Return) each; an empty list stops asking."""
        self._placing = tuple(names)
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
            return self.tr("click the {0} (Return: where the cross is) · Esc stops").format(
                mark_title(self._placing[0])
            )
        name = self._hovered or self._selected
        if name is not None and name in self._marks:
            keys = self.tr(
                "drag, or arrows 1 px, Shift 10, Alt 0.1 · Tab next mark · L lock · Delete: find again · C closer"
            )
            return f"{mark_title(name)} · {keys}"
        if self._layers is None:
            return ""
        return self.tr(
            "wheel zooms, middle button or Space drags · F blade, W whole, 1 one to one · Tab first mark · H hides"
        )

    # ---- events --------------------------------------------------------------------------------------------------

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
        elif not self._marks[name].locked:
            self._drag = Drag(name, (at.x(), at.y()), self._marks[name].xy)
            self.update()

    def mouseMoveEvent(self, event: QMouseEvent) -> None:
        at = event.position()
        self._pointer = (at.x(), at.y())
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
        if key in _ARROWS:
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
        elif key in (Qt.Key.Key_Delete, Qt.Key.Key_Backspace) and self._selected is not None:
            self.mark_given_back.emit(self._selected)
        elif key == Qt.Key.Key_L and self._selected is not None:
            self.mark_lock_asked.emit(self._selected)
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

    def resizeEvent(self, event: QResizeEvent) -> None:
        self.view = self.view.resized(self._extent(), self.devicePixelRatioF())
        if self._fits:
            self.fit_blade()
        self._cache = None
        self.view_changed.emit()

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

    # ---- within --------------------------------------------------------------------------------------------------

    def _picture_image(self, layers: PictureLayers) -> QImage:
        """The picture alone, as last drawn while neither the view nor the size changed."""
        key = (self.view, self._moving, self.colours.field, layers, self.size().toTuple())
        if self._cache is None or self._cache[0] != key:
            ratio = self.devicePixelRatioF()
            image = QImage(round(self.width() * ratio), round(self.height() * ratio), QImage.Format.Format_RGB32)
            image.setDevicePixelRatio(ratio)
            image.fill(QColor(self.colours.field))
            painter = QPainter(image)
            layers.paint(painter, self.view, quick=self._moving)
            painter.end()
            self._cache = (key, image)
        return self._cache[1]

    def _paint_marks(self, painter: QPainter, layers: PictureLayers) -> None:
        pen = MarkPainter(painter, self.view, self.colours)
        marks = dict(self._marks)
        if self._drag is not None and self._dragged_xy is not None:
            marks[self._drag.name] = self._with_place(self._drag.name, self._dragged_xy)
        if self._reading is not None:
            pen.outline(self._reading.blade.outline)
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
        if loupe and loupe_name is not None:
            pen.loupe(marks[loupe_name].xy, layers.paint, self.font(), mark_title(loupe_name))
        elif self._placing and self._pointer is not None:
            xy = self.view.picture_of_view(np.array(self._pointer))
            pen.loupe((float(xy[0]), float(xy[1])), layers.paint, self.font(), mark_title(self._placing[0]))

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
        else:
            return False
        return True

    def _place(self, x: float, y: float) -> None:
        place = self.view.picture_of_view(np.array([x, y]))
        name, rest = self._placing[0], self._placing[1:]
        self.place_marks(rest)
        self.mark_placed.emit(name, float(place[0]), float(place[1]))

    def _mark_under(self, at: QPointF) -> str | None:
        if self._hidden:
            return None
        return mark_at({name: mark.xy for name, mark in self._marks.items()}, self.view, (at.x(), at.y()))

    def _walk(self) -> tuple[str, ...]:
        return in_order(list(self._marks), {name: mark.xy for name, mark in self._marks.items()})

    def _with_place(self, name: str, xy: tuple[float, float]) -> MarkPoint:
        mark = self._marks[name]
        return MarkPoint(name, xy, True, mark.locked)

    def _shift_mark(self, name: str, xy: tuple[float, float]) -> None:
        self._marks[name] = self._with_place(name, xy)

    def _spoken(self, name: str) -> str:
        x, y = self._marks[name].xy
        return self.tr("{0} at {1}, {2} pixels").format(mark_title(name), f"{x:.1f}", f"{y:.1f}")

    def _straight_of(self, name: str) -> tuple[float, float]:
        x, y = self.straight.straight_xy(np.array(self._marks[name].xy))
        return float(x), float(y)

    def _anchor(self) -> tuple[float, float]:
        if self._selected is not None and self._selected in self._marks:
            x, y = self.view.view_of_picture(np.array(self._marks[self._selected].xy))
            if 0 <= x <= self.width() and 0 <= y <= self.height():
                return float(x), float(y)
        return self.width() / 2, self.height() / 2

    def _blade_box(self) -> tuple[float, float, float, float] | None:
        """Left, top, right, bottom of the blade's marks with room beside them, straightened."""
        own = [mark.xy for name, mark in self._marks.items() if not name.startswith("reference.")]
        if self._reading is None or len(own) < 3:
            return None
        places = self.straight.straight_xy(np.array(own))
        (left, top), (right, bottom) = places.min(axis=0), places.max(axis=0)
        high = max(bottom - top, (right - left) / 8)
        return float(left - 0.3 * high), float(top - 0.2 * high), float(right + 0.3 * high), float(bottom + 0.25 * high)

    def _set_view(self, view: ViewTransform) -> None:
        if view is not self.view:
            self.view = view
            self._announce()

    def _announce(self) -> None:
        self.view_changed.emit()
        self.update()

    def _move_quickly(self) -> None:
        self._moving = True
        self._settle_timer.start()

    def _settle(self) -> None:
        self._moving = False
        self.update()

    def _extent(self) -> tuple[float, float]:
        return float(max(self.width(), 1)), float(max(self.height(), 1))

    def _timer(self, milliseconds: int) -> QTimer:
        timer = QTimer(self)
        timer.setSingleShot(True)
        timer.setInterval(milliseconds)
        timer.timeout.connect(self.update)
        return timer


def mark_line_title(group: str) -> str:
    """What a line through marks is called."""
    return mark_title("back.0").partition(",")[0] if group == "back" else mark_title(group)
