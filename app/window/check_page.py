"""The check of the cut key: its roots as calipers read them, or a picture of it, against the code."""

from __future__ import annotations

import importlib
from collections.abc import Callable
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final

from PySide6.QtCore import Qt
from PySide6.QtWidgets import QFileDialog, QFormLayout, QLineEdit, QWidget

from app.bench_numbers import parse_number
from app.window.language import said
from app.window.parts import button, set_kind, words
from app.window.session import Session
from app.window.step_panel import StepPanel
from keycore.refusal import Refusal
from keycore.spec import format_code

if TYPE_CHECKING:
    from app.bench_check import CheckResult
    from app.bench_work import LoadedPicture

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
        self._brought = False
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
        self.by_picture = button(self.tr("Compare a picture of the cut key…"), self._ask_picture)
        self.box.addWidget(self.by_picture)
        self.again = button(self.tr("Compare that picture again"), self.read_cut_key)
        self.again.setToolTip(self.tr("after its marks were moved by hand"))
        self.box.addWidget(self.again)
        self.verdict = words("")
        self.box.addWidget(self.verdict)
        self.overlay = button(self.tr("Nominal and measured profile…"), self.show_overlay)
        self.box.addWidget(self.overlay)
        self.box.addStretch(1)

    def refresh(self) -> None:
        bench = self.session.bench
        spec = bench.decoding.spec if bench.decoding is not None else bench.state.spec
        code = bench.state.decided_code
        self._follow_unit()
        there = spec is not None and code is not None
        self.compare.setEnabled(there)
        self.by_picture.setEnabled(there)
        self.again.setVisible(there and any(picture.shows == "cut key" for picture in bench.state.pictures))
        self.overlay.setVisible(there and bench.state.cut_key_check is not None)
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
        self._bring_the_check()
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
        from app.bench_check import check_by_calipers  # here: it brings scipy, and the window starts without it

        measured: list[float] = []
        try:
            sigma_mm = self.format.to_mm(parse_number(self.sigma.text(), self.tr("the uncertainty")))
            for index, field in enumerate(self.fields):
                what = self.tr("root of cut {0}").format(index + 1)
                measured.append(self.format.to_mm(parse_number(field.text(), what)))
        except Refusal as refusal:
            self.session.refused.emit(refusal.sentence)
            return
        self.session.act(lambda: check_by_calipers(bench, measured, sigma_mm))

    def open_cut_key(self, file: str | Path) -> None:
        """Put a picture of the cut key into the job and compare it with the code."""
        from app.bench_work import load_picture

        def put(loaded: LoadedPicture) -> None:
            bench = self.session.bench
            if self.session.act(lambda: bench.add_picture(loaded, shows="cut key")):
                self.read_cut_key()

        self.session.worker.start("cut key", lambda progress, cancelled: load_picture(file), put, self.session.failed)

    def read_cut_key(self) -> None:
        """Compare the picture of the cut key, with its marks as they are."""
        from app.bench_check import check_work, take_check

        bench = self.session.bench
        try:
            work = check_work(bench)
        except Refusal as refusal:
            self.session.refused.emit(refusal.sentence)
            return
        if work is None:
            return

        def done(result: CheckResult) -> None:
            self.session.act(lambda: take_check(bench, result))

        self.session.worker.start("cut key", work.run, done, self.session.failed)

    def show_overlay(self) -> None:
        """Show nominal and measured profile over each other, drawn beside the window."""
        session, twin = self.session, self.session.bench.twin()

        def draw(_progress: Callable[[float, str], None], _cancelled: Callable[[], bool]) -> Any:
            from app.bench_check import recorded_overlay
            from app.window.drawing_dialog import picture_of

            drawing = recorded_overlay(twin)
            return None if drawing is None else (drawing, picture_of(drawing))

        session.worker.start("overlay", draw, self._show_drawn, session.failed)

    def _show_drawn(self, drawn: Any) -> None:
        from app.window.drawing_dialog import DrawingDialog

        if drawn is None:
            self.session.refused.emit(self.tr("The overlay cannot be drawn; compare the cut key again."))
            return
        title = self.tr("Nominal and measured profile")
        drawing, shown = drawn
        dialog = DrawingDialog(drawing, shown, title, f"overlay-{self.session.bench.state.number}", self.window())
        dialog.setAttribute(Qt.WidgetAttribute.WA_DeleteOnClose)
        dialog.show()

    def _bring_the_check(self) -> None:
        """Import the check, with half of scipy, while the figures are typed: not when they are to be compared."""
        if not self._brought:
            self._brought = True
            self.session.worker.start("bring", _import_check, lambda _nothing: None, self.session.failed)

    def _ask_picture(self) -> None:
        dialog = QFileDialog(self, self.tr("Open a picture of the cut key"))
        dialog.setAttribute(Qt.WidgetAttribute.WA_DeleteOnClose)
        dialog.fileSelected.connect(self.open_cut_key)
        dialog.open()


def _import_check(_progress: Callable[[float, str], None], _cancelled: Callable[[], bool]) -> None:
    for name in ("app.bench_check", "keycore.conformity"):
        importlib.import_module(name)
