"""The check of the cut key: its roots as calipers read them, against the code."""

from __future__ import annotations

from PySide6.QtWidgets import QFormLayout, QLineEdit, QWidget

from app.bench_numbers import parse_number
from app.window.parts import button, set_kind, words
from app.window.session import Session
from app.window.step_panel import StepPanel
from keycore.refusal import Refusal
from keycore.spec import format_code


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
        self.compare = button(self.tr("Compare with the code"), self._compare)
        self.box.addWidget(self.compare)
        self.verdict = words("")
        self.box.addWidget(self.verdict)
        self.box.addStretch(1)

    def refresh(self) -> None:
        bench = self.session.bench
        spec = bench.decoding.spec if bench.decoding is not None else bench.state.spec
        code = bench.state.decided_code
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
            self.verdict.setText(str(check.get("verdict", "")))
            set_kind(self.verdict, "quiet" if check.get("conforms") else "trouble")
        else:
            self.verdict.setText("")

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
        off: list[str] = []
        measured: list[float] = []
        try:
            for index, (field, label) in enumerate(zip(self.fields, code, strict=True)):
                root_mm = self.format.to_mm(parse_number(field.text(), self.tr("root of cut {0}").format(index + 1)))
                measured.append(root_mm)
                error_mm = root_mm - spec.root_of(label)
                if abs(error_mm) > spec.tolerance.root_mm:
                    off.append(self.tr("cut {0} is off by {1}").format(index + 1, self.format.length(error_mm)))
        except Refusal as refusal:
            self.session.refused.emit(refusal.sentence)
            return
        allowed = self.format.length(spec.tolerance.root_mm)
        if off:
            verdict = self.tr("Outside {0}: {1}.").format(allowed, "; ".join(off))
        else:
            verdict = self.tr("All cuts lie within {0} of the code.").format(allowed)
        record = {"verdict": verdict, "conforms": not off, "roots_mm": measured}
        self.session.act(lambda: bench.set_cut_key_check(record))
