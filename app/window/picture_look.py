"""What of a picture is shown, and where one looks: the picture straightened, its reading, its marks, and the view.

A widget that draws nothing but the picture; :class:`~app.window.picture_view.PictureView` adds the marks and the hand.
"""

from __future__ import annotations

from collections.abc import Hashable, Sequence
from typing import Final

import numpy as np
from PySide6.QtCore import QRectF, Qt, QTimer, Signal
from PySide6.QtGui import (
    QAccessible,
    QAccessibleEvent,
    QColor,
    QImage,
    QPainter,
    QResizeEvent,
)
from PySide6.QtWidgets import QWidget

from app.bench_marks import MarkPoint
from app.picture.values import PictureReading, Straight
from app.window.compare_geometry import RootLine
from app.window.mark_painter import REACH
from app.window.picture_layers import PictureLayers
from app.window.spoken_parts import SpokenParts, Told
from app.window.theme import LIGHT, Colours
from app.window.view_transform import ViewTransform, plain_straight, view_of
from app.window.words import mark_title
from keycore.measured import Floats

_SETTLE_MS: Final = 90
_STEEP: Final = 20.0
"""A picture that straightens to more than so many times its size was taken along its plane; it has no useful whole."""


class PictureLook(QWidget):
    """Picture and view."""

    mark_chosen = Signal(str)
    view_changed = Signal()
    hint_changed = Signal()

    def __init__(self, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self.setAttribute(Qt.WidgetAttribute.WA_OpaquePaintEvent)
        self.setMinimumSize(240, 120)
        self.colours: Colours = LIGHT
        self.view: ViewTransform = view_of(plain_straight((1, 1)), (240.0, 120.0))
        self._layers: PictureLayers | None = None
        self._size = (1, 1)
        self._marks: dict[str, MarkPoint] = {}
        self._reading: PictureReading | None = None
        self._lines: tuple[tuple[RootLine, ...], ...] = ()
        self._selected: str | None = None
        self._fits, self._whole = True, False
        """Whether the blade, or the whole picture, is kept fitted."""
        self._key: Hashable = None
        self._places: dict[Hashable, tuple[float, tuple[float, float]]] = {}
        self._square = False
        self._cache: tuple[object, QImage] | None = None
        self._moving = False
        self._settle_timer = self._timer(_SETTLE_MS)
        self._settle_timer.timeout.connect(self._settle)
        self.spoken = SpokenParts(self, self._told)

    def show_picture(self, layers: PictureLayers | None, size: tuple[int, int], key: Hashable = None) -> None:
        """Show another picture, as it was stored, whole; where one looked at it before is found again by its key."""
        if key is not None and key == self._key:
            self._layers, self._cache = layers, None
            self.update()
            return
        if self._key is not None and not self._fits:
            x, y = self.view.picture_of_view(np.array(self.view.view_size) / 2)
            self._places[self._key] = (self.view.percent, (float(x), float(y)))
        else:
            self._places.pop(self._key, None)
        self._key = key
        self._layers, self._size = layers, size
        self._reading, self._marks, self._lines = None, {}, ()
        self._selected = None
        self._let_go()
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
        place = self._places.get(self._key) if first and reading is not None else None
        if place is not None:
            self.view = self._at(fresh, *place)
            self._fits = False
        elif first or self._fits or reading is None:
            whole = self._whole and not first and reading is not None
            self.view = fresh
            (self.fit if whole else self.fit_blade)()
        else:
            x, y = before.picture_of_view(np.array(before.view_size) / 2)
            self.view = self._at(fresh, before.percent, (float(x), float(y)))
        self._announce()

    @staticmethod
    def _at(view: ViewTransform, percent: float, picture_xy: tuple[float, float]) -> ViewTransform:
        """The same picture at this zoom, with this place of it in the middle."""
        x, y = view.straight.straight_xy(np.array(picture_xy))
        return view.at_percent(percent, (0.0, 0.0)).centred_on((float(x), float(y)))

    def show_marks(self, marks: Sequence[MarkPoint]) -> None:
        """Show these marks."""
        shown = {mark.name: mark for mark in marks}
        if shown == self._marks:
            return
        self._marks = shown
        self.spoken.follow()
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
                self._fits = False
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
        roots = self.straight.straight_xy(np.array([_read_at(self._marks[name]) for name in names]))
        return tuple(float(x) for x in roots[:, 0])

    def roots_xy(self) -> Floats:
        """All roots, straightened, where they are read: (n, 2); empty while none is marked."""
        roots = [mark for name, mark in self._marks.items() if name.startswith("root.")]
        roots.sort(key=lambda mark: int(mark.name.partition(".")[2]))
        return self.straight.straight_xy(np.array([_read_at(mark) for mark in roots])) if roots else np.empty((0, 2))

    def fit(self) -> None:
        """The whole picture, what lies around the key too."""
        self._fits = self._whole = True
        fresh = view_of(self.straight, self._extent(), self.devicePixelRatioF())
        box = self._picture_box()
        self._set_view(fresh if box is None else fresh.fitted(box))

    def fit_blade(self) -> None:
        """The blade with some room; the whole picture where no blade is known."""
        box = self._blade_box()
        if box is None:
            self.fit()
            return
        self._fits, self._whole = True, False
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

    def resizeEvent(self, event: QResizeEvent) -> None:
        self.view = self.view.resized(self._extent(), self.devicePixelRatioF())
        if self._fits:
            (self.fit if self._whole else self.fit_blade)()
        self._cache = None
        self.view_changed.emit()

    def _picture_image(self, layers: PictureLayers) -> QImage:
        """The picture alone, as last drawn while neither the view nor the size changed."""
        key = (self.view, self._moving or self._square, self.colours.field, layers, self.size().toTuple())
        if self._cache is None or self._cache[0] != key:
            ratio = self.devicePixelRatioF()
            image = QImage(round(self.width() * ratio), round(self.height() * ratio), QImage.Format.Format_RGB32)
            image.setDevicePixelRatio(ratio)
            image.fill(QColor(self.colours.field))
            painter = QPainter(image)
            layers.paint(painter, self.view, quick=self._moving or self._square)
            painter.end()
            self._cache = (key, image)
        return self._cache[1]

    def _told(self) -> Told:
        told = {}
        for name, mark in self._marks.items():
            x, y = self.view.view_of_picture(np.array(mark.xy))
            extent = QRectF(float(x) - REACH, float(y) - REACH, 2 * REACH, 2 * REACH)
            told[name] = (mark_title(name), self._spoken(name), extent)
        return told

    def _spoken(self, name: str) -> str:
        mark = self._marks[name]
        said = [self.tr("{0} at {1}, {2} pixels").format(mark_title(name), *(f"{value:.1f}" for value in mark.xy))]
        if mark.by_hand:
            said.append(self.tr("read as placed") if mark.as_placed else self.tr("set by hand"))
        if mark.stays:
            said.append(self.tr("locked"))
        return ", ".join(said)

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

    def _picture_box(self) -> tuple[float, float, float, float] | None:
        """Left, top, right, bottom of the stored picture, straightened; None where a steep plane has no such box."""
        width, height = self._size
        rim = np.array([[-0.5, -0.5], [width - 0.5, -0.5], [width - 0.5, height - 0.5], [-0.5, height - 0.5]])
        places = self.straight.straight_xy(rim)
        (left, top), (right, bottom) = places.min(axis=0), places.max(axis=0)
        if not np.isfinite(places).all() or max(right - left, bottom - top) > _STEEP * max(self._size):
            return None
        return float(left), float(top), float(right), float(bottom)

    def _set_view(self, view: ViewTransform) -> None:
        if view is not self.view:
            self.view = view
            self._announce()

    def _announce(self) -> None:
        self.view_changed.emit()
        self.spoken.follow()
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

    def _let_go(self) -> None:
        """Another picture came: whatever a hand holds is let go."""


def _read_at(mark: MarkPoint) -> tuple[float, float]:
    """Where a mark is read: at the edge that it snapped to, or where it stands."""
    return mark.xy if mark.snapped_xy is None or mark.as_placed else mark.snapped_xy
