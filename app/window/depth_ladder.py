"""The depth ladder: under each cut a column of the table's depths, with the measured root and the probabilities."""

from __future__ import annotations

from collections.abc import Mapping
from typing import TYPE_CHECKING

from PySide6.QtCore import QEvent, QPointF, QRectF, Qt, Signal
from PySide6.QtGui import (
    QAccessible,
    QAccessibleEvent,
    QColor,
    QFont,
    QFontMetricsF,
    QKeyEvent,
    QMouseEvent,
    QPainter,
    QPaintEvent,
    QPen,
)
from PySide6.QtWidgets import QToolTip, QWidget

from app.window.ladder_geometry import Column, Ladder, Rung, ladder, next_state
from app.window.spoken_parts import SpokenParts, Told
from app.window.theme import LIGHT, Colours, colour
from app.window.units import LengthFormat
from app.window.words import cut_title, rung_words
from keycore.spec import KeySpec

if TYPE_CHECKING:
    from keycore.decode import Decoding

_TOP = 40.0
_FOOT = 48.0


class DepthLadder(QWidget):
    """Columns of rungs on the picture's axis: click to hold a depth, again to rule it out, again to clear."""

    asked = Signal(int, str, str)
    """(cut counted from 0, label, "held" | "ruled out" | "free"): what a rung should become."""
    hint_changed = Signal()
    cut_entered = Signal(int)

    def __init__(self, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self.setFocusPolicy(Qt.FocusPolicy.StrongFocus)
        self.setMouseTracking(True)
        self.setMinimumHeight(190)
        self.setAccessibleName(self.tr("Depth ladder"))
        self.colours: Colours = LIGHT
        self.format = LengthFormat()
        self._spec: KeySpec | None = None
        self._decoding: Decoding | None = None
        self._centres: tuple[float, ...] = ()
        self._held: dict[int, str] = {}
        self._ruled_out: frozenset[tuple[int, str]] = frozenset()
        self._hovered: tuple[int, str] | None = None
        self._current: tuple[int, str] | None = None
        self._stale = False
        self.spoken = SpokenParts(self, self._told)

    def show_table(self, spec: KeySpec | None, decoding: Decoding | None, *, stale: bool = False) -> None:
        """Show this table, and what is known of each cut; ``stale`` draws it paler while a new reading is under way."""
        self._spec, self._decoding, self._stale = spec, decoding, stale
        if spec is None:
            self._current = self._hovered = None
        self._say()
        self.spoken.follow()
        self.update()

    def show_holds(self, held: Mapping[int, str], ruled_out: frozenset[tuple[int, str]]) -> None:
        """Show the locksmith's knowledge."""
        self._held, self._ruled_out = dict(held), ruled_out
        self._say()
        self.spoken.follow()
        self.update()

    def set_centres(self, centres_x: tuple[float, ...]) -> None:
        """Where the cut centres lie in this widget."""
        self._centres = centres_x
        self.spoken.follow()
        self.update()

    def geometry_now(self) -> Ladder | None:
        """The ladder as it is drawn."""
        if self._spec is None or not self._centres:
            return None
        return ladder(
            self._spec,
            self._decoding,
            self._centres,
            top=_TOP,
            bottom=max(self.height() - _FOOT, _TOP + 30),
            held=self._held,
            ruled_out=self._ruled_out,
        )

    def words_for(self, cut: int, label: str) -> str:
        """What a rung says: "cut 3 at 2: 7.20 mm, measured 7.24 ± 0.04, 0.93"."""
        if self._spec is None:
            return ""
        per_edge = max(len(self._centres), 1)
        title = cut_title(cut % per_edge + 1, cut // per_edge + 1, self._spec.edge_count)
        known = self._decoding.cuts[cut] if self._decoding is not None and cut < len(self._decoding.cuts) else None
        measured = None if known is None else (known.root_mm, known.sigma_mm)
        probability = None if known is None else float(known.depths.get(label, 0.0))
        text = rung_words(title, label, self._spec.root_of(label), measured, probability, self.format)
        if self._held.get(cut) == label:
            return self.tr("{0}; held").format(text)
        if (cut, label) in self._ruled_out:
            return self.tr("{0}; ruled out").format(text)
        return text

    def hint(self) -> str:
        """The rung under the pointer, or the keys."""
        at = self._hovered or (self._current if self.hasFocus() else None)
        if at is None:
            return self.tr(
                "click a rung to hold that depth, again to rule it out, again to clear · arrows and Return do the same"
            )
        return self.tr("{0} · click or Return: hold, again: rule out, again: clear").format(self.words_for(*at))

    # ---- events --------------------------------------------------------------------------------------------------

    def mouseMoveEvent(self, event: QMouseEvent) -> None:
        rung = self._rung_under(event.position())
        hovered = None if rung is None else (rung.cut, rung.label)
        if hovered != self._hovered:
            self._hovered = hovered
            if rung is None:
                QToolTip.hideText()
            else:
                QToolTip.showText(event.globalPosition().toPoint(), self.words_for(rung.cut, rung.label), self)
            self.hint_changed.emit()
            self.update()

    def mousePressEvent(self, event: QMouseEvent) -> None:
        rung = self._rung_under(event.position())
        if event.button() != Qt.MouseButton.LeftButton or rung is None:
            return
        self._current = (rung.cut, rung.label)
        self.asked.emit(rung.cut, rung.label, next_state(rung.state))

    def leaveEvent(self, event: QEvent) -> None:
        self._hovered = None
        self.hint_changed.emit()
        self.update()

    def focusInEvent(self, event: object) -> None:
        if self._current is None and self._spec is not None and self._centres:
            known = self._decoding.cuts[0].depth if self._decoding is not None and self._decoding.cuts else None
            self._current = (0, known or self._spec.labels[0])
        self._say()
        self.hint_changed.emit()
        self.update()

    def focusOutEvent(self, event: object) -> None:
        self.hint_changed.emit()
        self.update()

    def keyPressEvent(self, event: QKeyEvent) -> None:
        drawn = self.geometry_now()
        if drawn is None or self._spec is None or self._current is None:
            super().keyPressEvent(event)
            return
        cut, label = self._current
        labels = self._spec.labels
        depth = labels.index(label) if label in labels else 0
        key = event.key()
        if key in (Qt.Key.Key_Left, Qt.Key.Key_Right):
            cut = min(max(cut + (1 if key == Qt.Key.Key_Right else -1), 0), len(drawn.columns) - 1)
            self.cut_entered.emit(cut)
        elif key in (Qt.Key.Key_Up, Qt.Key.Key_Down):
            depth = min(max(depth + (1 if key == Qt.Key.Key_Down else -1), 0), len(labels) - 1)
        elif key in (Qt.Key.Key_Return, Qt.Key.Key_Enter, Qt.Key.Key_Space):
            rung = drawn.rung(cut, label)
            if rung is not None:
                self.asked.emit(cut, label, next_state(rung.state))
            return
        elif event.text() and event.text() in labels:
            depth = labels.index(event.text())
        else:
            super().keyPressEvent(event)
            return
        self._current = (cut, labels[depth])
        self._say()
        self.hint_changed.emit()
        self.update()

    def paintEvent(self, event: QPaintEvent) -> None:
        painter = QPainter(self)
        painter.setRenderHint(QPainter.RenderHint.Antialiasing)
        drawn = self.geometry_now()
        if drawn is None:
            painter.setPen(QColor(self.colours.quiet))
            painter.drawText(
                self.rect().adjusted(16, 0, -16, 0),
                Qt.AlignmentFlag.AlignCenter | Qt.TextFlag.TextWordWrap,
                self._empty(),
            )
            return
        if self._stale:
            painter.setOpacity(0.5)
        small, big = QFont(self.font()), QFont(self.font())
        small.setPointSizeF(self.font().pointSizeF() * 0.85)
        big.setPointSizeF(self.font().pointSizeF() * 1.7)
        big.setBold(True)
        room = QFontMetricsF(small)
        middles = sorted((column.left + column.right) / 2 for column in drawn.columns)
        near = min((b - a for a, b in zip(middles, middles[1:], strict=False)), default=99.0)
        for column in drawn.columns:
            if column.right > 0 and column.left < self.width():
                painter.setFont(small)
                self._paint_column(painter, column, room, near - 6)
                painter.setFont(big)
                self._paint_depth(painter, column)

    # ---- within --------------------------------------------------------------------------------------------------

    def _paint_column(self, painter: QPainter, column: Column, metrics: QFontMetricsF, room: float) -> None:
        c = self.colours
        painter.setPen(QPen(colour(c.accent, 0.55), 1.0, Qt.PenStyle.DotLine))
        if self._spec is not None and self._spec.edge_count == 1:
            painter.drawLine(QPointF(column.centre, 0), QPointF(column.centre, 8))
        painter.setPen(QColor(c.quiet))
        title = (
            self.tr("cut {0}").format(column.number) if column.edge == 1 else self.tr("{0} low").format(column.number)
        )
        if metrics.horizontalAdvance(title) > room:
            title = f"{column.number}" if column.edge == 1 else f"{column.number}\u2193"
        painter.drawText(QRectF((column.left + column.right) / 2 - 60, 9, 120, 16), Qt.AlignmentFlag.AlignCenter, title)
        for rung in column.rungs:
            self._paint_rung(painter, rung)
        if column.root is not None:
            root = column.root
            left, right = column.left - 2, column.right + 5
            low, high = max(root.band_top, _TOP - 12), min(root.band_bottom, self.height() - _FOOT + 12)
            painter.fillRect(QRectF(left, low, right - left, max(high - low, 0.0)), colour(c.ink, 0.16))
            painter.setPen(QPen(QColor(c.ink), 2.0, Qt.PenStyle.SolidLine, Qt.PenCapStyle.FlatCap))
            painter.drawLine(QPointF(left, root.y), QPointF(right, root.y))
        for rung in column.rungs:
            self._paint_rung_words(painter, rung, metrics)

    def _paint_depth(self, painter: QPainter, column: Column) -> None:
        """The likeliest depth, large, under its column."""
        c = self.colours
        if column.depth is not None:
            painter.setPen(QColor(c.doubt if column.doubtful else c.ink))
            text = f"{column.depth}?" if column.doubtful else column.depth
            painter.drawText(
                QRectF(column.left - 18, self.height() - 32, column.right - column.left + 36, 30),
                Qt.AlignmentFlag.AlignCenter,
                text,
            )

    def _paint_rung(self, painter: QPainter, rung: Rung) -> None:
        c = self.colours
        box = QRectF(rung.left, rung.top, rung.right - rung.left, rung.bottom - rung.top)
        here = (rung.cut, rung.label)
        painter.setPen(Qt.PenStyle.NoPen)
        painter.setBrush(colour(c.line, 0.35))
        painter.drawRoundedRect(box, 2, 2)
        if rung.probability:
            share = rung.probability
            painter.setBrush(QColor(c.fill if share >= 0.5 else c.doubt_fill))
            painter.drawRect(
                QRectF(
                    box.left(), box.top(), max(rung.filled_to - rung.left, 2.0 if share >= 0.005 else 0.0), box.height()
                )
            )
        painter.setBrush(Qt.BrushStyle.NoBrush)
        if rung.state == "held":
            painter.setPen(QPen(QColor(c.ink), 2))
            painter.drawRoundedRect(box.adjusted(-1, -1, 1, 1), 3, 3)
            painter.setBrush(QColor(c.ink))
            painter.drawEllipse(QPointF(box.right() - 6, rung.middle), 3, 3)
            painter.setBrush(Qt.BrushStyle.NoBrush)
        elif rung.state == "ruled out":
            painter.setPen(QPen(QColor(c.quiet), 1.6))
            painter.drawLine(QPointF(box.left() - 12, rung.middle), QPointF(box.right(), rung.middle))
        if here == self._hovered or (here == self._current and self.hasFocus()):
            painter.setPen(QPen(QColor(c.accent), 2))
            painter.drawRoundedRect(box.adjusted(-3, -3, 3, 3), 4, 4)

    def _paint_rung_words(self, painter: QPainter, rung: Rung, room: QFontMetricsF) -> None:
        """Label and probability, over the measured root and with a rim, so that the line does not cross them out."""
        c = self.colours
        box = QRectF(rung.left, rung.top, rung.right - rung.left, rung.bottom - rung.top)
        if box.height() + 3 >= room.height() * 0.72:
            chosen = (rung.probability or 0.0) >= 0.5 or rung.state == "held"
            painter.setPen(QColor(c.ink if chosen else c.quiet))
            before = box.left() - 4 - room.horizontalAdvance(rung.label)
            painter.drawText(QPointF(before, rung.middle + room.capHeight() / 2), rung.label)
            shown = rung.probability is not None and rung.probability >= 0.005
            if rung.probability is not None and shown and box.width() >= 32 and rung.state != "held":
                number = self.format.probability(rung.probability)
                at = QPointF(box.right() - 4 - room.horizontalAdvance(number), rung.middle + room.capHeight() / 2)
                rim = QRectF(room.tightBoundingRect(number)).translated(at).adjusted(-2, -1, 2, 1)
                painter.fillRect(rim, QColor(c.fill if rung.probability >= 0.5 else c.panel))
                painter.setPen(QColor(c.ink))
                painter.drawText(at, number)

    def _rung_under(self, at: QPointF) -> Rung | None:
        drawn = self.geometry_now()
        return None if drawn is None else drawn.rung_at(at.x(), at.y())

    def _told(self) -> Told:
        drawn = self.geometry_now()
        told: dict[str, tuple[str, str, QRectF]] = {}
        for rung in () if drawn is None else (rung for column in drawn.columns for rung in column.rungs):
            extent = QRectF(rung.left, rung.top, rung.right - rung.left, rung.bottom - rung.top)
            told[f"{rung.cut} {rung.label}"] = (self.words_for(rung.cut, rung.label), rung.state, extent)
        return told

    def _say(self) -> None:
        """Tell a screen reader the rung that the keys are on."""
        text = self.words_for(*self._current) if self._current is not None and self._spec is not None else self._empty()
        if text != self.accessibleDescription():
            self.setAccessibleDescription(text)
            self.spoken.follow()
            QAccessible.updateAccessibility(QAccessibleEvent(self, QAccessible.Event.DescriptionChanged))

    def _empty(self) -> str:
        return self.tr("The depths of each cut stand here once a table is chosen and the picture is read.")
