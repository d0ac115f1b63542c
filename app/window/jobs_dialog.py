"""The jobs of a folder: found by number, customer, table, day and state; opened, or listed for a spreadsheet."""

from __future__ import annotations

from datetime import date
from pathlib import Path
from typing import Final

from PySide6.QtCore import QDate, QSettings, Qt, Signal
from PySide6.QtWidgets import (
    QAbstractItemView,
    QCheckBox,
    QComboBox,
    QDateEdit,
    QDialog,
    QFileDialog,
    QHBoxLayout,
    QHeaderView,
    QLineEdit,
    QTableWidget,
    QTableWidgetItem,
    QVBoxLayout,
    QWidget,
)

from app.bench_jobs import JobRow, JobSearch, jobs_csv, jobs_in
from app.folders import jobs_folder
from app.window.language import said
from app.window.parts import button, name_field, words
from app.window.worker import Worker
from keycore.refusal import Refusal

_COLUMNS: Final = ("number", "created", "state", "table", "asked_by", "keep_until", "open_at", "remark")
_STATES: Final = ("open", "read", "cut", "done", "sealed")


class JobsDialog(QDialog):
    """A folder of jobs.  It is read off the window's thread; codes are never shown."""

    chosen = Signal(str)
    """Folder or sealed file of the job to open."""

    def __init__(self, parent: QWidget | None = None, *, folder: Path | None = None) -> None:
        super().__init__(parent)
        self.setWindowTitle(self.tr("Kept jobs"))
        self.resize(980, 560)
        self.folder = folder or Path(str(QSettings("valleygauge", "window").value("jobs") or jobs_folder()))
        self.rows: tuple[JobRow, ...] = ()
        self.shown: tuple[JobRow, ...] = ()
        self.worker = Worker(self)
        box = QVBoxLayout(self)
        where = QHBoxLayout()
        self.where = words("", "quiet")
        where.addWidget(self.where, 1)
        where.addWidget(button(self.tr("Another folder…"), self._ask_folder))
        box.addLayout(where)
        asked = QHBoxLayout()
        self.words_asked = QLineEdit()
        self.words_asked.setPlaceholderText(self.tr("Number, customer, table or day"))
        name_field(self.words_asked, self.tr("Find a job"))
        self.state = QComboBox()
        self.state.addItem(self.tr("any state"), "")
        for state in _STATES:
            self.state.addItem(said(state), state)
        name_field(self.state, self.tr("State"))
        self.from_day = QCheckBox(self.tr("begun since"))
        self.since = QDateEdit(QDate.currentDate().addYears(-1))
        self.since.setCalendarPopup(True)
        self.since.setEnabled(False)
        name_field(self.since, self.tr("begun since"))
        self.due = QCheckBox(self.tr("only those to be looked at again"))
        for part in (self.words_asked, self.state, self.from_day, self.since, self.due):
            asked.addWidget(part, 1 if part is self.words_asked else 0)
        box.addLayout(asked)
        self.table = QTableWidget(0, len(_COLUMNS))
        self.table.setAccessibleName(self.tr("Kept jobs"))
        self.table.setHorizontalHeaderLabels(
            [
                self.tr("number"),
                self.tr("begun"),
                self.tr("state"),
                self.tr("table"),
                self.tr("asked by"),
                self.tr("kept until"),
                self.tr("open at"),
                self.tr("remark"),
            ]
        )
        self.table.verticalHeader().setVisible(False)
        self.table.setEditTriggers(QAbstractItemView.EditTrigger.NoEditTriggers)
        self.table.setSelectionBehavior(QAbstractItemView.SelectionBehavior.SelectRows)
        self.table.setSelectionMode(QAbstractItemView.SelectionMode.SingleSelection)
        self.table.setTabKeyNavigation(False)
        self.table.horizontalHeader().setSectionResizeMode(QHeaderView.ResizeMode.ResizeToContents)
        self.table.horizontalHeader().setStretchLastSection(True)
        box.addWidget(self.table, 1)
        self.standing = words("", "quiet")
        box.addWidget(self.standing)
        foot = QHBoxLayout()
        foot.addWidget(button(self.tr("List as CSV…"), self._ask_csv))
        foot.addStretch(1)
        foot.addWidget(button(self.tr("Close"), self.close))
        self.go = button(self.tr("Open the job"), self.open_chosen, kind="main")
        foot.addWidget(self.go)
        box.addLayout(foot)
        self.words_asked.textChanged.connect(self._show)
        self.state.currentIndexChanged.connect(self._show)
        self.due.toggled.connect(self._show)
        self.from_day.toggled.connect(self._by_day)
        self.since.dateChanged.connect(self._show)
        self.table.itemActivated.connect(lambda _item: self.open_chosen())
        self.table.itemSelectionChanged.connect(self._choose)
        self.read()

    def read(self) -> None:
        """Read the folder, off this thread."""
        self.where.setText(str(self.folder))
        self.standing.setText(self.tr("Reading the folder…"))
        folder = self.folder
        self.worker.start("jobs", lambda progress, cancelled: jobs_in(folder), self._read, self._failed)

    def open_chosen(self) -> None:
        """Open the job of the chosen line."""
        at = self.table.currentRow()
        if 0 <= at < len(self.shown):
            self.chosen.emit(str(self.shown[at].place))
            self.close()

    def look_in(self, folder: str) -> None:
        """Look at another folder, a shared one say, and remember it."""
        self.folder = Path(folder)
        QSettings("valleygauge", "window").setValue("jobs", folder)
        self.read()

    def write_csv(self, file: str) -> None:
        """Write the lines that are shown for a spreadsheet, for their owner's eyes."""
        from app.bench_export import write_private

        path = Path(file if file.lower().endswith(".csv") else f"{file}.csv")
        try:
            write_private(path, jobs_csv(self.shown).encode())
        except Refusal as refusal:
            self.standing.setText(said(refusal.sentence))
            return
        self.standing.setText(self.tr("Kept as {0}.").format(path.name))

    def done(self, result: int) -> None:
        """Close, and end the thread."""
        self.worker.close()
        super().done(result)

    def _search(self) -> JobSearch:
        day = self.since.date()
        since = date(day.year(), day.month(), day.day()) if self.from_day.isChecked() else None
        return JobSearch(
            words=self.words_asked.text().strip(),
            state=str(self.state.currentData()),
            since=since,
            due=self.due.isChecked(),
        )

    def _read(self, rows: tuple[JobRow, ...]) -> None:
        self.rows = rows
        self._show()

    def _failed(self, error: BaseException) -> None:
        if not isinstance(error, (Refusal, OSError)):
            raise error
        self.standing.setText(said(str(error)))

    def _show(self, *_changed: object) -> None:
        search = self._search()
        self.shown = tuple(row for row in self.rows if search.takes(row))
        self.table.setRowCount(len(self.shown))
        for at, row in enumerate(self.shown):
            texts = row.texts()
            for column, name in enumerate(_COLUMNS):
                text = said(texts[name]) if name in ("state", "remark") else texts[name]
                if name == "keep_until" and texts["due"]:
                    text = self.tr("{0}, due").format(text)
                item = QTableWidgetItem(text)
                item.setToolTip(text)
                self.table.setItem(at, column, item)
        due = sum(row.is_due() for row in self.rows)
        told = self.tr("{0} of {1} jobs").format(len(self.shown), len(self.rows))
        if due:
            told += self.tr("; {0} to be looked at again").format(due)
        self.standing.setText(told)
        if self.shown:
            self.table.selectRow(0)
        self._choose()

    def _choose(self) -> None:
        self.go.setEnabled(0 <= self.table.currentRow() < len(self.shown))

    def _by_day(self, on: bool) -> None:
        self.since.setEnabled(on)
        self._show()

    def _ask_folder(self) -> None:
        dialog = QFileDialog(self, self.tr("Jobs of which folder?"), str(self.folder))
        dialog.setFileMode(QFileDialog.FileMode.Directory)
        dialog.setAttribute(Qt.WidgetAttribute.WA_DeleteOnClose)
        dialog.fileSelected.connect(self.look_in)
        dialog.open()

    def _ask_csv(self) -> None:
        dialog = QFileDialog(self, self.tr("Keep the list where?"), "jobs.csv", "CSV (*.csv)")
        dialog.setAcceptMode(QFileDialog.AcceptMode.AcceptSave)
        dialog.setAttribute(Qt.WidgetAttribute.WA_DeleteOnClose)
        dialog.fileSelected.connect(self.write_csv)
        dialog.open()
