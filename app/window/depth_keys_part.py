"""A depth table from measured depth keys: readings a depth a line, what they come to, and the depths taken over."""

from __future__ import annotations

from datetime import date

from PySide6.QtCore import Signal
from PySide6.QtGui import QFontDatabase
from PySide6.QtWidgets import QHBoxLayout, QLineEdit, QPlainTextEdit, QVBoxLayout, QWidget

from app.bench_numbers import parse_number
from app.window.language import said
from app.window.parts import button, set_kind, words
from app.window.table_draft import MeasuredDepths, depths_from_keys
from app.window.units import LengthFormat
from keycore.refusal import Refusal


class DepthKeysPart(QWidget):
    """Readings in, depths out; checked while one types."""

    taken = Signal(object, str)
    """(:class:`MeasuredDepths`, where they come from in words)."""
    left = Signal()

    def __init__(self, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self.format = LengthFormat()
        self._found: MeasuredDepths | None = None
        box = QVBoxLayout(self)
        box.setContentsMargins(0, 0, 0, 0)
        self.title = words("", "quiet")
        box.addWidget(self.title)
        self.readings = QPlainTextEdit()
        self.readings.setTabChangesFocus(True)
        self.readings.setFont(QFontDatabase.systemFont(QFontDatabase.SystemFont.FixedFont))
        self.readings.setAccessibleName(self.tr("Readings of the depth keys, a depth a line"))
        self.readings.textChanged.connect(self._study)
        box.addWidget(self.readings, 2)
        row = QHBoxLayout()
        self.instrument, self.by = QLineEdit(), QLineEdit()
        for field, name in (
            (self.instrument, self.tr("Uncertainty of the instrument")),
            (self.by, self.tr("Measured by")),
        ):
            field.setAccessibleName(name)
            field.setPlaceholderText(name)
            field.textChanged.connect(self._study)
            row.addWidget(field)
        box.addLayout(row)
        self.study = QPlainTextEdit()
        self.study.setReadOnly(True)
        self.study.setTabChangesFocus(True)
        self.study.setFont(QFontDatabase.systemFont(QFontDatabase.SystemFont.FixedFont))
        self.study.setLineWrapMode(QPlainTextEdit.LineWrapMode.WidgetWidth)
        self.study.setAccessibleName(self.tr("What the readings come to"))
        box.addWidget(self.study, 3)
        self.verdict = words("")
        box.addWidget(self.verdict)
        row = QHBoxLayout()
        self.take = button(self.tr("Take these depths"), self._take)
        row.addWidget(self.take)
        row.addWidget(button(self.tr("Back to the grid"), self.left.emit))
        box.addLayout(row)

    def begin(self, form: LengthFormat) -> None:
        """Show the part, for lengths in this unit."""
        self.format = form
        self.title.setText(
            self.tr(
                "Measure each depth key a few times. One depth a line: its label, then its readings in {0}, "
                "with blanks between."
            ).format(form.unit)
        )
        self.readings.setPlaceholderText("0  8.20 8.21 8.20\n1  7.70 7.70 7.71".replace(".", form.decimal))
        if not self.instrument.text():
            self.instrument.setText(form.bare(0.01, extra=1))
        self._study()
        self.readings.setFocus()

    def _study(self) -> None:
        self._found = None
        if not self.readings.toPlainText().strip():
            self.study.setPlainText("")
            self._say("", "quiet")
        else:
            try:
                sigma_mm = self.format.to_mm(parse_number(self.instrument.text(), "the instrument's uncertainty"))
                self._found = depths_from_keys(self.readings.toPlainText(), sigma_mm, self.format)
            except Refusal as refusal:
                self.study.setPlainText("")
                self._say(said(refusal.sentence), "trouble")
            else:
                self.study.setPlainText(said(self._found.words))
                self._say("" if self.by.text().strip() else self.tr("Say who measured them."), "doubt")
        self.take.setEnabled(self._found is not None and bool(self.by.text().strip()))

    def _say(self, sentence: str, kind: str) -> None:
        self.verdict.setText(sentence)
        set_kind(self.verdict, kind)

    def _take(self) -> None:
        if self._found is not None:
            source = self.tr("measured on depth keys by {0} on {1}, {2} readings or more a depth")
            by, fewest = self.by.text().strip(), self._found.fewest
            self.taken.emit(self._found, source.format(by, date.today().isoformat(), fewest))
