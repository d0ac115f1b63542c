"""All marks in a list: who set each one, how far the program moved it, what is locked."""

from __future__ import annotations

from PySide6.QtCore import Qt, Signal
from PySide6.QtWidgets import QListWidgetItem, QWidget

from app.bench_marks import MarkPoint
from app.window.mark_interaction import in_order
from app.window.parts import button, plain_list, words
from app.window.session import Session
from app.window.step_panel import StepPanel
from app.window.words import mark_title


class MarksPanel(StepPanel):
    """The marks."""

    chosen = Signal(str)
    place_asked = Signal()

    def __init__(self, session: Session, parent: QWidget | None = None) -> None:
        super().__init__(session, "", parent)
        self.title.setText(self.tr("Marks"))
        self.standing = words("", "quiet")
        self.box.addWidget(self.standing)
        self.list = plain_list(self.tr("Marks of the picture"))
        self.list.currentItemChanged.connect(self._current)
        self.box.addWidget(self.list, 1)
        self.accept = button(self.tr("These marks are right"), self._accept)
        self.place = button(self.tr("Mark by hand, one by one"), self.place_asked.emit)
        self.again = button(self.tr("Find all again"), lambda: session.act(session.bench.clear_marks))
        for made in (self.accept, self.place, self.again):
            self.box.addWidget(made)

    def refresh(self) -> None:
        bench = self.session.bench
        marks = {mark.name: mark for mark in bench.marks()}
        picture, spec = bench.state.picture, bench.state.spec
        by_hand = sum(mark.by_hand for mark in marks.values())
        if not marks:
            self.standing.setText(self.tr("No marks yet. Choose a table, or mark the key by hand."))
        else:
            self.standing.setText(
                self.tr("{0} marks, {1} set by hand. Drag one on the picture, or use Tab and the arrows.").format(
                    len(marks), by_hand
                )
            )
        self.accept.setEnabled(bool(marks) and picture is not None and not picture.accepted)
        self.again.setEnabled(by_hand > 0)
        self.place.setEnabled(picture is not None and spec is not None)
        names = in_order(list(marks), {name: mark.xy for name, mark in marks.items()})
        self.list.blockSignals(True)
        row = self.list.currentRow()
        self.list.clear()
        for name in names:
            item = QListWidgetItem(f"{mark_title(name)} · {self._said(marks[name])}")
            item.setToolTip(item.text())
            item.setData(Qt.ItemDataRole.UserRole, name)
            self.list.addItem(item)
        if 0 <= row < self.list.count():
            self.list.setCurrentRow(row)
        self.list.blockSignals(False)

    def show_chosen(self, name: str) -> None:
        """Follow the picture."""
        self.list.blockSignals(True)
        for row in range(self.list.count()):
            if self.list.item(row).data(Qt.ItemDataRole.UserRole) == name:
                self.list.setCurrentRow(row)
        self.list.blockSignals(False)

    def _said(self, mark: MarkPoint) -> str:
        words_of = []
        if not mark.by_hand:
            words_of.append(self.tr("found"))
        elif mark.status == "refined" and mark.snapped_xy is not None:
            far = ((mark.xy[0] - mark.snapped_xy[0]) ** 2 + (mark.xy[1] - mark.snapped_xy[1]) ** 2) ** 0.5
            words_of.append(self.tr("by hand, edge found {0} px away").format(self.format.number(far, 1)))
        elif mark.status == "not found":
            words_of.append(self.tr("by hand, no edge found there"))
        else:
            words_of.append(self.tr("by hand"))
        if mark.locked:
            words_of.append(self.tr("locked"))
        return ", ".join(words_of)

    def _current(self, item: QListWidgetItem | None, before: QListWidgetItem | None) -> None:
        if item is not None:
            self.chosen.emit(str(item.data(Qt.ItemDataRole.UserRole)))

    def _accept(self) -> None:
        self.session.act(self.session.bench.accept_marks)
