"""The ten likeliest codes, what the reading warns of, and settling on a code."""

from __future__ import annotations

from PySide6.QtCore import Qt, Signal
from PySide6.QtWidgets import QListWidgetItem, QPlainTextEdit, QWidget

from app.window.parts import button, plain_list, set_kind, words
from app.window.session import Session
from app.window.step_panel import StepPanel
from keycore.spec import format_code


class CodePage(StepPanel):
    """More about the code."""

    compare_asked = Signal(object)

    def __init__(self, session: Session, parent: QWidget | None = None) -> None:
        super().__init__(session, "", parent)
        self.title.setText(self.tr("Likeliest codes"))
        self.list = plain_list(self.tr("Likeliest codes"))
        self.list.setMinimumHeight(110)
        self.list.currentRowChanged.connect(self._compare)
        self.box.addWidget(self.list, 1)
        self.settle = button(self.tr("Settle on the chosen code"), self._settle)
        self.box.addWidget(self.settle)
        self.settled = words("", "quiet")
        self.box.addWidget(self.settled)
        self.warnings = words("", "doubt")
        self.box.addWidget(self.warnings)
        self.advice = words(
            self.tr("You know more? Click a rung of the ladder to hold that depth, again to rule it out."), "quiet"
        )
        self.box.addWidget(self.advice)
        label = words(self.tr("Notes"), "quiet")
        self.notes = QPlainTextEdit()
        self.notes.setAccessibleName(label.text())
        self.notes.setTabChangesFocus(True)
        self.notes.setMaximumHeight(64)
        self.notes.textChanged.connect(self._note)
        label.setBuddy(self.notes)
        self.box.addWidget(label)
        self.box.addWidget(self.notes)

    def refresh(self) -> None:
        bench = self.session.bench
        decoding, spec, settled = bench.decoding, bench.state.spec, bench.state.decided_code
        row = max(self.list.currentRow(), 0)
        self.list.blockSignals(True)
        self.list.clear()
        if decoding is not None:
            for ranked in decoding.codes[:10]:
                item = QListWidgetItem(
                    f"{format_code(ranked.code, decoding.spec)}   {self.format.probability(ranked.probability)}"
                )
                item.setData(Qt.ItemDataRole.UserRole, ranked.code)
                self.list.addItem(item)
        if self.list.count():
            self.list.setCurrentRow(min(row, self.list.count() - 1))
        self.list.blockSignals(False)
        self.settle.setEnabled(self.list.count() > 0)
        if settled is not None and spec is not None:
            self.settled.setText(self.tr("Settled: {0}").format(format_code(settled, spec)))
        else:
            self.settled.setText("")
        self.warnings.setText("\n".join(decoding.warnings) if decoding is not None else "")
        self.warnings.setVisible(bool(self.warnings.text()))
        set_kind(self.warnings, "doubt")
        if self.notes.toPlainText() != bench.state.notes:
            self.notes.blockSignals(True)
            self.notes.setPlainText(bench.state.notes)
            self.notes.blockSignals(False)

    def _compare(self, row: int) -> None:
        item = self.list.item(row) if row >= 0 else None
        self.compare_asked.emit(item.data(Qt.ItemDataRole.UserRole) if item is not None and row > 0 else None)

    def _settle(self) -> None:
        item = self.list.currentItem() or self.list.item(0)
        if item is not None:
            code = tuple(item.data(Qt.ItemDataRole.UserRole))
            self.session.act(lambda: self.session.bench.decide_code(code))

    def _note(self) -> None:
        self.session.act(lambda: self.session.bench.set_notes(self.notes.toPlainText()))
