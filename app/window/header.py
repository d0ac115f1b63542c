"""The strip at the top: which job, what can be taken back, units, whether it is saved, export."""

from __future__ import annotations

from PySide6.QtCore import Signal
from PySide6.QtGui import QAction, QFont
from PySide6.QtWidgets import QButtonGroup, QHBoxLayout, QLabel, QMenu, QPushButton, QToolButton, QWidget

from app.window.parts import button, set_kind, words
from app.window.units import UNITS, Unit


class Header(QWidget):
    """Job, undo, units, saved, export."""

    unit_chosen = Signal(str)
    export_asked = Signal()

    def __init__(self, actions: dict[str, QAction], parent: QWidget | None = None) -> None:
        super().__init__(parent)
        row = QHBoxLayout(self)
        row.setContentsMargins(4, 0, 4, 0)
        row.setSpacing(6)
        self.job = QToolButton()
        self.job.setPopupMode(QToolButton.ToolButtonPopupMode.InstantPopup)
        self.job.setObjectName("plain")
        self.job.setAccessibleName(self.tr("Job menu"))
        font = QFont(self.job.font())
        font.setBold(True)
        font.setPointSizeF(font.pointSizeF() * 1.15)
        self.job.setFont(font)
        menu = QMenu(self)
        for name in ("open", "open_job", "paste", "demo", "-", "new", "save", "export", "-", "keys", "quit"):
            if name == "-":
                menu.addSeparator()
            else:
                menu.addAction(actions[name])
        self.job.setMenu(menu)
        self.saved: QLabel = words("", "quiet", wrap=False)
        row.addWidget(self.job)
        row.addWidget(self.saved)
        row.addStretch(1)
        for name in ("undo", "redo"):
            made = QToolButton()
            made.setDefaultAction(actions[name])
            made.setObjectName("plain")
            row.addWidget(made)
        row.addSpacing(10)
        self._units = QButtonGroup(self)
        self.unit_buttons: dict[Unit, QToolButton] = {}
        for unit in UNITS:
            choose = QToolButton()
            choose.setText(unit)
            choose.setCheckable(True)
            choose.setAccessibleName(self.tr("lengths in {0}").format(unit))
            choose.setToolTip(self.tr("lengths in {0} (F6: next unit)").format(unit))
            choose.clicked.connect(lambda checked=False, unit=unit: self.unit_chosen.emit(unit))
            self._units.addButton(choose)
            self.unit_buttons[unit] = choose
            row.addWidget(choose)
        row.addSpacing(10)
        self.export: QPushButton = button(self.tr("Export…"), self.export_asked.emit, kind="main")
        row.addWidget(self.export)

    def show_job(self, number: str) -> None:
        """Name the job."""
        self.job.setText(self.tr("Job {0}  \u25be").format(number))

    def show_unit(self, unit: Unit) -> None:
        """Mark the unit in use."""
        self.unit_buttons[unit].setChecked(True)

    def show_saved(self, text: str, *, trouble: bool) -> None:
        """Say whether the job is saved."""
        self.saved.setText(text)
        set_kind(self.saved, "trouble" if trouble else "quiet")
