"""All marks in a list: who set each one, how far the program moved it, what is locked."""

from __future__ import annotations

from PySide6.QtCore import Qt, Signal, SignalInstance
from PySide6.QtWidgets import QHBoxLayout, QListWidgetItem, QSizePolicy, QWidget

from app.bench_marks import MarkPoint, group_of
from app.bench_work import FIXABLE
from app.window.mark_interaction import in_order
from app.window.parts import button, plain_list, words
from app.window.session import Session
from app.window.step_panel import StepPanel
from app.window.words import mark_title


class MarksPanel(StepPanel):
    """The marks."""

    chosen = Signal(str)
    place_asked = Signal()
    lock_asked = Signal(str)
    snap_asked = Signal(str)
    shift_asked = Signal(int)

    def __init__(self, session: Session, parent: QWidget | None = None) -> None:
        super().__init__(session, "", parent)
        self.title.setText(self.tr("Marks"))
        self._chosen = ""
        self.standing = words("", "quiet")
        self.box.addWidget(self.standing)
        self.list = plain_list(self.tr("Marks of the picture"))
        self.list.currentItemChanged.connect(self._current)
        self.list.setMinimumHeight(96)  # on a low screen the buttons come first, and the list scrolls
        self.list.setSizePolicy(QSizePolicy.Policy.Preferred, QSizePolicy.Policy.Ignored)
        self.box.addWidget(self.list, 1)
        own = QHBoxLayout()
        self.lock = button(self.tr("Lock (L)"), lambda: self._ask(self.lock_asked))
        self.snap = button(self.tr("Read as placed (S)"), lambda: self._ask(self.snap_asked))
        own.addWidget(self.lock)
        own.addWidget(self.snap)
        self.box.addLayout(own)
        label = words(self.tr("All cuts by one spacing (Ctrl with an arrow)"), "quiet")
        self.box.addWidget(label)
        shift = QHBoxLayout()
        self.to_bow = button(self.tr("← bow"), lambda: self.shift_asked.emit(-1))
        self.to_tip = button(self.tr("tip →"), lambda: self.shift_asked.emit(1))
        self.to_bow.setAccessibleName(self.tr("all cuts one spacing towards the bow"))
        self.to_tip.setAccessibleName(self.tr("all cuts one spacing towards the tip"))
        shift.addWidget(self.to_bow)
        shift.addWidget(self.to_tip)
        self.box.addLayout(shift)
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
        for shift in (self.to_bow, self.to_tip):
            shift.setEnabled("root.1" in marks)
        names = in_order(list(marks), {name: mark.xy for name, mark in marks.items()})
        self.list.blockSignals(True)
        self.list.clear()
        for name in names:
            item = QListWidgetItem(f"{mark_title(name)} · {self._said(marks[name])}")
            item.setToolTip(item.text())
            item.setData(Qt.ItemDataRole.UserRole, name)
            self.list.addItem(item)
        if self._chosen in names:
            self.list.setCurrentRow(names.index(self._chosen))
        self.list.blockSignals(False)
        self._show_own()

    def show_chosen(self, name: str) -> None:
        """Follow the picture, also while another panel is open."""
        self._chosen = name
        self.list.blockSignals(True)
        for row in range(self.list.count()):
            if self.list.item(row).data(Qt.ItemDataRole.UserRole) == name:
                self.list.setCurrentRow(row)
        self.list.blockSignals(False)
        self._show_own()

    def _name(self) -> str:
        item = self.list.currentItem()
        return "" if item is None else str(item.data(Qt.ItemDataRole.UserRole))

    def _ask(self, what: SignalInstance) -> None:
        if self._name():
            what.emit(self._name())

    def _show_own(self) -> None:
        """What can be asked of the chosen mark."""
        mark = next((mark for mark in self.session.bench.marks() if mark.name == self._name()), None)
        self.lock.setEnabled(mark is not None)
        self.lock.setText(self.tr("Unlock (L)") if mark is not None and mark.locked else self.tr("Lock (L)"))
        self.snap.setEnabled(mark is not None and mark.by_hand and group_of(mark.name) in FIXABLE)
        placed = mark is not None and mark.as_placed
        self.snap.setText(self.tr("Snap to the edge (S)") if placed else self.tr("Read as placed (S)"))

    def _said(self, mark: MarkPoint) -> str:
        words_of = []
        if not mark.by_hand:
            words_of.append(self.tr("found"))
        elif mark.as_placed:
            words_of.append(self.tr("by hand, read as placed"))
        elif mark.status == "refined" and mark.snapped_xy is not None:
            far = ((mark.xy[0] - mark.snapped_xy[0]) ** 2 + (mark.xy[1] - mark.snapped_xy[1]) ** 2) ** 0.5
            words_of.append(self.tr("by hand, edge found {0} px away").format(self.format.number(far, 1)))
        elif mark.status == "not found":
            words_of.append(self.tr("by hand, no edge found there"))
        else:
            words_of.append(self.tr("by hand"))
        if mark.stays:
            words_of.append(self.tr("locked"))
        return ", ".join(words_of)

    def _current(self, item: QListWidgetItem | None, before: QListWidgetItem | None) -> None:
        if item is not None:
            self._chosen = str(item.data(Qt.ItemDataRole.UserRole))
            self.chosen.emit(str(item.data(Qt.ItemDataRole.UserRole)))
            self._show_own()

    def _accept(self) -> None:
        self.session.act(self.session.bench.accept_marks)
