"""The reduction route on a page of its own: what to set on a copier so that an enlarged copy has the key's size."""

from __future__ import annotations

from typing import TYPE_CHECKING

from PySide6.QtWidgets import QDialog, QFormLayout, QGridLayout, QLineEdit, QVBoxLayout, QWidget

from app.bench_numbers import parse_number
from app.window.language import said
from app.window.parts import button, clear_layout, set_kind, words
from app.window.session import Session
from app.window.units import LengthFormat
from keycore.refusal import Refusal

if TYPE_CHECKING:
    from keycore.reduction import Reduction


class ReductionDialog(QDialog):
    """Two figures in, three rows out; follows the job while it is open."""

    def __init__(self, session: Session, form: LengthFormat, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self._session, self._form = session, form
        self.found: Reduction | None = None
        self.setWindowTitle(self.tr("Reduction on a copier"))
        box = QVBoxLayout(self)
        box.setContentsMargins(20, 16, 20, 16)
        box.setSpacing(8)
        box.addWidget(
            words(
                self.tr(
                    "An enlarged copy is brought back to the key's true size on a copier. It is the older way, and a "
                    "cross-check: lay the reduced copy under the key, or measure it with calipers."
                ),
                "quiet",
            )
        )
        fields = QFormLayout()
        self.dpi, self.step = QLineEdit(), QLineEdit(form.number(1.0, 0))
        for field, name in (
            (self.dpi, self.tr("Dots per inch of the scan of that copy")),
            (self.step, self.tr("Finest step of the copier, per cent")),
        ):
            field.setAccessibleName(name)
            field.textChanged.connect(self.refresh)
            fields.addRow(name, field)
        box.addLayout(fields)
        self.standing = words("", "trouble")
        box.addWidget(self.standing)
        self.table = QWidget()
        self._grid = QGridLayout(self.table)
        self._grid.setContentsMargins(0, 4, 0, 4)
        self._grid.setHorizontalSpacing(22)
        box.addWidget(self.table)
        self.growth = words(
            self.tr("Growth is reduced with the rest but stays: the new copy's edges still stand outside the metal."),
            "quiet",
        )
        box.addWidget(self.growth)
        box.addStretch(1)
        box.addWidget(button(self.tr("Close"), self.close))
        self.resize(620, 340)
        picture = session.bench.state.picture
        if picture is not None and picture.picture.dpi is not None:
            across, down = picture.picture.dpi
            self.dpi.setText(form.number((across * down) ** 0.5, 0))
        session.changed.connect(self.refresh)
        self.refresh()

    def refresh(self) -> None:
        """Show what the two figures come to for the job as it stands."""
        from app.bench_paper import reduction_of

        self.found = None
        try:
            text = self.dpi.text().strip()
            dpi = parse_number(text, self.tr("the dots per inch")) if text else None
            step = parse_number(self.step.text(), self.tr("the copier's step"))
            self.found = reduction_of(self._session.bench, paper_dpi=dpi, step_percent=step)
        except Refusal as refusal:
            self.standing.setText(said(refusal.sentence))
        else:
            self.standing.setText("")
        self.standing.setVisible(bool(self.standing.text()))
        self.table.setVisible(self.found is not None)
        self.growth.setVisible(self.found is not None)
        if self.found is not None:
            self._show_rows(self.found)

    def rows(self, found: Reduction) -> tuple[tuple[str, ...], ...]:
        """(what, exact, to be set, what is left) in words and figures, the heading first."""
        number, bare = self._form.number, self._form.bare
        left_mm = (found.length_left_mm, found.height_left_mm)
        made = [("", self.tr("exact"), self.tr("set"), self.tr("then off by"))]
        for name, axis, mm in zip(
            (self.tr("along the blade"), self.tr("across the blade")), (found.along, found.across), left_mm, strict=True
        ):
            exact = f"{number(axis.exact_percent.value, 2)} ± {number(axis.exact_percent.sigma, 2)} %"
            left = f"{number(100 * axis.left.value, 2)} %"
            if mm is not None:
                left += f", {bare(mm.value, 1)} ± {bare(mm.sigma, 1)} {self._form.unit}"
            made.append((name, exact, self._passes(axis.passes), left))
        both = f"{number(100 * found.one_left_along, 2)} %, {number(100 * found.one_left_across, 2)} %"
        made.append((self.tr("one setting for both"), "", self._passes(found.one), both))
        return tuple(made)

    def _passes(self, passes: tuple[float, ...]) -> str:
        return self.tr(" and then ").join(f"{self._form.number(one, 2).rstrip('0').rstrip(',.')} %" for one in passes)

    def _show_rows(self, found: Reduction) -> None:
        clear_layout(self._grid)
        for row, cells in enumerate(self.rows(found)):
            for column, text in enumerate(cells):
                label = words(text, "quiet" if row == 0 or column in (0, 1) else "", wrap=False)
                if column == 2 and row:
                    set_kind(label, "heading")
                self._grid.addWidget(label, row, column)
