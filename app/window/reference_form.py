"""Saying what of known size lies in the picture, so that its corners can be marked by hand."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final, Literal

from PySide6.QtCore import Signal
from PySide6.QtWidgets import QComboBox, QHBoxLayout, QLineEdit, QVBoxLayout, QWidget

from app.bench_numbers import parse_number
from app.window.parts import button, words
from app.window.units import LengthFormat
from keycore.marks import ReferenceMark
from keycore.refusal import Refusal

_SAME_MM: Final = 0.005
"""A size is written to about a thousandth of a millimetre; less is no new size."""
ReferenceKindMarked = Literal["id1-card", "page-a4", "page-letter", "rectangle", "length"]
_CORNERS: Final[dict[ReferenceKindMarked, int]] = {
    "id1-card": 4,
    "page-a4": 4,
    "page-letter": 4,
    "rectangle": 4,
    "length": 2,
}


@dataclass(frozen=True)
class WantedReference:
    """A thing of known size that is to be marked: how many corners, and its own size where it is not a standard one."""

    kind: ReferenceKindMarked
    length_mm: float | None
    height_mm: float | None

    @property
    def corners(self) -> int:
        """How many points it is marked with."""
        return _CORNERS[self.kind]


class ReferenceForm(QWidget):
    """Kind, own size, and a button to begin marking."""

    asked = Signal(object)
    """A :class:`WantedReference`."""
    resized = Signal(object)
    """A :class:`WantedReference`: the size of the one that is marked, typed anew; its corners stay."""
    refused = Signal(str)
    taken_away = Signal()

    def __init__(self, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self.format = LengthFormat()
        box = QVBoxLayout(self)
        box.setContentsMargins(0, 6, 0, 0)
        box.setSpacing(6)
        label = words(self.tr("Mark something of known size yourself"), "quiet")
        self.kind = QComboBox()
        self.kind.setAccessibleName(label.text())
        titles: dict[ReferenceKindMarked, str] = {
            "id1-card": self.tr("Card, 85.60 by 53.98 mm"),
            "page-a4": self.tr("A4 page, 210 by 297 mm"),
            "page-letter": self.tr("Letter page, 8.5 by 11 inch"),
            "rectangle": self.tr("Rectangle of your own size"),
            "length": self.tr("Length: ruler, coin across"),
        }
        for name, title in titles.items():
            self.kind.addItem(title, name)
        self.kind.currentIndexChanged.connect(self._kind_changed)
        self.length_field, self.height_field = QLineEdit(), QLineEdit()
        for field in (self.length_field, self.height_field):
            field.editingFinished.connect(self._resize)
        self._marked: tuple[str, float | None, float | None] | None = None
        self._typed_in = self.format
        self.length_field.setAccessibleName(self.tr("Its length"))
        self.height_field.setAccessibleName(self.tr("Its height"))
        sizes = QHBoxLayout()
        sizes.addWidget(self.length_field)
        sizes.addWidget(self.height_field)
        buttons = QHBoxLayout()
        self.begin = button(self.tr("Mark its corners"), self._begin)
        self.away = button(self.tr("Take away"), self.taken_away.emit)
        buttons.addWidget(self.begin, 1)
        buttons.addWidget(self.away)
        box.addWidget(label)
        box.addWidget(self.kind)
        box.addLayout(sizes)
        box.addLayout(buttons)
        self._kind_changed()

    def refresh(self, *, marked: ReferenceMark | None, there: bool) -> None:
        """Which reference is marked, and whether there is a picture to mark one in."""
        self.begin.setEnabled(there)
        self.away.setEnabled(marked is not None)
        if marked is not None and (marked.kind, marked.length_mm, marked.height_mm) != self._marked:
            self._marked = marked.kind, marked.length_mm, marked.height_mm
            self.kind.setCurrentIndex(self.kind.findData(marked.kind))
            self._write_size()
        elif marked is None:
            self._marked = None
        elif self._typed_in != self.format:
            self._write_size()
        self._typed_in = self.format
        self.length_field.setPlaceholderText(self.tr("length, {0}").format(self.format.unit))
        self.height_field.setPlaceholderText(self.tr("height, {0}").format(self.format.unit))

    def _write_size(self) -> None:
        if self._marked is not None:
            for field, mm in zip((self.length_field, self.height_field), self._marked[1:], strict=True):
                field.setText("" if mm is None else self.format.bare(mm, extra=1))

    def _resize(self) -> None:
        """The size of the marked reference, typed anew: nothing has to be marked again for that."""
        if self._marked is None or self._marked[0] != self.kind.currentData():
            return
        wanted = self._wanted()
        if wanted is not None and any(
            one is not None and abs(one - (two or 0.0)) > _SAME_MM
            for one, two in zip((wanted.length_mm, wanted.height_mm), self._marked[1:], strict=True)
        ):
            self.resized.emit(wanted)

    def _kind_changed(self) -> None:
        kind = self.kind.currentData()
        self.length_field.setVisible(kind in ("rectangle", "length"))
        self.height_field.setVisible(kind == "rectangle")

    def _begin(self) -> None:
        wanted = self._wanted()
        if wanted is not None:
            self.asked.emit(wanted)

    def _wanted(self) -> WantedReference | None:
        """What is chosen; None, with the reason told, where a size is no size."""
        kind: ReferenceKindMarked = self.kind.currentData()
        try:
            length = self._size(self.length_field, self.tr("its length")) if kind in ("rectangle", "length") else None
            height = self._size(self.height_field, self.tr("its height")) if kind == "rectangle" else None
        except Refusal as refusal:
            self.refused.emit(refusal.sentence)
            return None
        return WantedReference(kind, length, height)

    def _size(self, field: QLineEdit, what: str) -> float:
        value_mm = self.format.to_mm(parse_number(field.text(), what))
        if value_mm <= 0:
            raise Refusal(self.tr("A size must be above 0; got {0}.").format(field.text()), code="size")
        return value_mm
