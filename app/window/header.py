"""The strip at the top: which job, what can be taken back, units, whether it is saved, export."""

from __future__ import annotations

from PySide6.QtCore import Qt, Signal
from PySide6.QtGui import QAction, QFont
from PySide6.QtWidgets import QButtonGroup, QHBoxLayout, QLabel, QMenu, QPushButton, QToolButton, QWidget

from app.window.empty_state import recent_jobs, shown_name
from app.window.parts import button, set_kind, words
from app.window.units import UNITS, Unit

_IN_MENU = 10
_STEP_WIDTH = 190
"""Of what Undo and Redo say, logical pixels; the tip says it whole."""
_WIDE = 1150
"""A narrower header has no room for it beside the rest."""
_MENU = (
    "open", "open_job", "open_sealed", "jobs", "paste", "demo", "recent", "-", "new", "save", "seal", "keep", "forget",
    "-", "sheet", "template", "label", "reduction", "export", "-", "wheel", "keys", "quit",
)  # fmt: skip


class Header(QWidget):
    """Job, undo, units, saved, export."""

    unit_chosen = Signal(str)
    job_asked = Signal(str)
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
        for name in _MENU:
            if name == "-":
                menu.addSeparator()
            elif name == "recent":
                self.recent = menu.addMenu(self.tr("Go on with"))
                self.recent.aboutToShow.connect(self._list_jobs)
            else:
                menu.addAction(actions[name])
        self.job.setMenu(menu)
        self.saved: QLabel = words("", "quiet", wrap=False)
        row.addWidget(self.job)
        row.addWidget(self.saved)
        row.addStretch(1)
        self.picture: QLabel = words("", "quiet", wrap=False)
        row.addWidget(self.picture)
        row.addStretch(1)
        self.steps: dict[str, QToolButton] = {}
        self._titles = {name: actions[name].text() for name in ("undo", "redo")}
        for name in ("undo", "redo"):
            made = self.steps[name] = QToolButton()
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

    def show_undo(self, undo: str, redo: str) -> None:
        """Say beside Undo and Redo what they would take back and bring again."""
        for name, does in (("undo", undo), ("redo", redo)):
            made = self.steps[name]
            title = self._titles[name]
            whole = f"{title}: {does}" if does else title
            elided = self.fontMetrics().elidedText(whole, Qt.TextElideMode.ElideRight, _STEP_WIDTH)
            made.setText(elided if self.width() >= _WIDE else title)
            made.setAccessibleName(whole)

    def show_job(self, number: str) -> None:
        """Name the job."""
        self.job.setText(self.tr("Job {0}  \u25be").format(number))

    def show_picture(self, index: int, pictures: int) -> None:
        """Say which of the job's pictures is worked on, where there are several."""
        self.picture.setText(self.tr("picture {0} of {1}").format(index + 1, pictures) if pictures > 1 else "")

    def _list_jobs(self) -> None:
        self.recent.clear()
        for folder in recent_jobs(_IN_MENU):
            action = self.recent.addAction(shown_name(folder))
            action.triggered.connect(lambda checked=False, folder=folder: self.job_asked.emit(str(folder)))
        if self.recent.isEmpty():
            self.recent.addAction(self.tr("no job is kept yet")).setEnabled(False)

    def show_unit(self, unit: Unit) -> None:
        """Mark the unit in use."""
        self.unit_buttons[unit].setChecked(True)

    def show_saved(self, text: str, *, trouble: bool) -> None:
        """Say whether the job is saved."""
        self.saved.setText(text)
        set_kind(self.saved, "trouble" if trouble else "quiet")
