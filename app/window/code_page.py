"""Settling on a code, what the reading warns of, and notes."""

from __future__ import annotations

from PySide6.QtWidgets import QPlainTextEdit, QWidget

from app.window.language import said
from app.window.parts import button, words
from app.window.session import Session
from app.window.step_panel import StepPanel
from keycore.codes import Code
from keycore.spec import format_code


class CodePage(StepPanel):
    """More about the code; the code itself and its rivals stand above, in the code panel."""

    def __init__(self, session: Session, parent: QWidget | None = None) -> None:
        super().__init__(session, "", parent)
        self.title.setText(self.tr("Settle on a code"))
        self._compared: Code | None = None
        self.settle = button("", self._settle)
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
        self.box.addStretch(1)

    def show_compared(self, code: Code | None) -> None:
        """The code that is compared on the picture is the one to settle on; without one the likeliest is."""
        self._compared = code
        self._show_settle()

    def refresh(self) -> None:
        bench = self.session.bench
        decoding, spec, settled = bench.decoding, bench.state.spec, bench.state.decided_code
        self._show_settle()
        if settled is not None and spec is not None:
            self.settled.setText(self.tr("Settled: {0}").format(format_code(settled, spec)))
        else:
            self.settled.setText("")
        self.settled.setVisible(bool(self.settled.text()))
        self.warnings.setText("\n".join(said(line) for line in decoding.warnings) if decoding is not None else "")
        self.warnings.setVisible(bool(self.warnings.text()))
        if self.notes.toPlainText() != bench.state.notes:
            self.notes.blockSignals(True)
            self.notes.setPlainText(bench.state.notes)
            self.notes.blockSignals(False)

    def _chosen(self) -> Code | None:
        decoding = self.session.bench.decoding
        if decoding is None or not decoding.codes:
            return None
        codes = [ranked.code for ranked in decoding.codes]
        return self._compared if self._compared in codes else codes[0]

    def _show_settle(self) -> None:
        code, decoding = self._chosen(), self.session.bench.decoding
        self.settle.setEnabled(code is not None)
        if code is None or decoding is None:
            self.settle.setText(self.tr("Settle on the likeliest code"))
        else:
            self.settle.setText(self.tr("Settle on {0}").format(format_code(code, decoding.spec)))

    def _settle(self) -> None:
        code = self._chosen()
        if code is not None:
            self.session.act(lambda: self.session.bench.decide_code(code))

    def _note(self) -> None:
        self.session.act(lambda: self.session.bench.set_notes(self.notes.toPlainText()))
