"""The check of the cut key: its roots as calipers read them, against the code."""

from __future__ import annotations

from typing import Final

from PySide6.QtWidgets import QFormLayout, QLineEdit, QWidget

from app.bench_numbers import parse_number
from app.window.language import said
from app.window.parts import button, set_kind, words
from app.window.session import Session
from app.window.step_panel import StepPanel
from keycore.refusal import Refusal
from keycore.spec import format_code

USUAL_SIGMA_MM: Final = 0.012
"""Good calipers on a key."""


class CheckPage(StepPanel):
    """Measured roots of the cut key."""

    def __init__(self, session: Session, parent: QWidget | None = None) -> None:
        super().__init__(session, "", parent)
        self.title.setText(self.tr("Check the cut key"))
        self.standing = words("", "quiet")
        self.box.addWidget(self.standing)
        self._home = QWidget()
        self._form = QFormLayout(self._home)
        self._form.setContentsMargins(0, 0, 0, 0)
        self.box.addWidget(self._home)
        self.fields: list[QLineEdit] = []
        self._for: tuple[str, ...] = ()
        self._typed_in = self.format
        label = words(self.tr("Standard uncertainty of one reading"), "quiet")
        self.sigma = QLineEdit(self.format.number(USUAL_SIGMA_MM, 3))
        self.sigma.setAccessibleName(label.text())
        self.box.addWidget(label)
        self.box.addWidget(self.sigma)
        self.compare = button(self.tr("Compare with the code"), self._compare)
        self.box.addWidget(self.compare)
        self.verdict = words("")
        self.box.addWidget(self.verdict)
        self.box.addStretch(1)

    def refresh(self) -> None:
        bench = self.session.bench
        spec = bench.decoding.spec if bench.decoding is not None else bench.state.spec
        code = bench.state.decided_code
        self._follow_unit()
        there = spec is not None and code is not None
        self.compare.setEnabled(there)
        if spec is None or code is None:
            self.standing.setText(self.tr("Settle on a code first (step Code)."))
            self._rebuild(())
            return
        self.standing.setText(
            self.tr("Measure the roots of the cut key, in {0}, for {1}.").format(
                self.format.unit, format_code(code, spec)
            )
        )
        self._rebuild(code)
        check = bench.state.cut_key_check
        if check is not None:
            lines = [f"{row['cut']}: {said(row['words'])}" for row in check.get("checks", ())]
            summary = map(said, check.get("words", ()))
            self.verdict.setText("\n".join([said(str(check.get("outcome", ""))), *lines, *summary]))
            set_kind(self.verdict, {"pass": "quiet", "fail": "trouble"}.get(str(check.get("outcome")), "doubt"))
        else:
            self.verdict.setText("")

    def _follow_unit(self) -> None:
        """Write what was typed in the unit that is shown now, so that a change of unit changes no length."""
        before, self._typed_in = self._typed_in, self.format
        if before == self.format:
            return
        for field in (self.sigma, *self.fields):
            try:
                typed = before.to_mm(parse_number(field.text()))
            except Refusal:
                continue
            field.setText(self.format.bare(typed, extra=1))

    def _rebuild(self, code: tuple[str, ...]) -> None:
        if code == self._for:
            return
        self._for = code
        self.fields.clear()
        while self._form.rowCount():
            self._form.removeRow(0)
        for index, label in enumerate(code):
            field = QLineEdit()
            title = self.tr("cut {0}, depth {1}").format(index + 1, label)
            field.setAccessibleName(title)
            self.fields.append(field)
            self._form.addRow(title, field)

    def _compare(self) -> None:
        bench = self.session.bench
        spec, code = bench.state.spec, bench.state.decided_code
        if spec is None or code is None:
            return
        from keycore.conformity import check_cut_key  # here: it brings scipy, and the window starts without it

        measured: list[float] = []
        try:
            sigma_mm = self.format.to_mm(parse_number(self.sigma.text(), self.tr("the uncertainty")))
            for index, field in enumerate(self.fields):
                what = self.tr("root of cut {0}").format(index + 1)
                measured.append(self.format.to_mm(parse_number(field.text(), what)))
            found = check_cut_key(code, spec, measured, sigma_mm)
        except Refusal as refusal:
            self.session.refused.emit(refusal.sentence)
            return
        self.session.act(lambda: bench.set_cut_key_check({**found.to_json(), "verdict": found.outcome}))
