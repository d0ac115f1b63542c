"""The cut list of the code: where each cut lies and how high its root stands, in the person's own unit."""

from __future__ import annotations

from PySide6.QtCore import Qt
from PySide6.QtWidgets import QAbstractItemView, QHeaderView, QTableWidget, QTableWidgetItem, QWidget

from app.window.language import said
from app.window.parts import words
from app.window.session import Session
from app.window.step_panel import StepPanel
from app.window.trial_plan import TrialPlanPart
from keycore.cutting import cut_list
from keycore.spec import format_code


class CuttingPage(StepPanel):
    """What to cut."""

    def __init__(self, session: Session, parent: QWidget | None = None) -> None:
        super().__init__(session, "", parent)
        self.title.setText(self.tr("Cut list"))
        self.standing = words("", "quiet")
        self.box.addWidget(self.standing)
        self.table = QTableWidget(0, 4)
        self.table.setAccessibleName(self.tr("Cut list"))
        self.table.verticalHeader().setVisible(False)
        self.table.setEditTriggers(QAbstractItemView.EditTrigger.NoEditTriggers)
        self.table.setTabKeyNavigation(False)
        self.table.horizontalHeader().setSectionResizeMode(QHeaderView.ResizeMode.Stretch)
        self.table.verticalHeader().setDefaultSectionSize(22)
        self.table.setVerticalScrollBarPolicy(Qt.ScrollBarPolicy.ScrollBarAlwaysOff)
        self.box.addWidget(self.table)
        self.warnings = words("", "doubt")
        self.box.addWidget(self.warnings)
        self.care = words(
            self.tr("Cutting machines: mind eyes, hands and swarf; the machine maker's instructions come first."),
            "quiet",
        )
        self.plan = TrialPlanPart(session)
        self.box.addWidget(self.plan, 1)
        self.box.addWidget(self.care)

    def refresh(self) -> None:
        bench = self.session.bench
        spec, decoding = bench.state.spec, bench.decoding
        code = bench.state.decided_code
        if decoding is not None:
            spec = decoding.spec
            code = code or decoding.codes[0].code
        self.plan.format = self.format
        self.plan.refresh()
        self.table.setRowCount(0)
        self._fit_table()
        self.warnings.setText("")
        if spec is None or code is None:
            self.standing.setText(self.tr("The cut list stands here once there is a code."))
            return
        shown = format_code(code, spec)
        if bench.state.decided_code is None:
            self.standing.setText(self.tr("{0}, the likeliest code; it is not settled yet.").format(shown))
        else:
            self.standing.setText(self.tr("{0}, settled.").format(shown))
        unit = self.format.unit
        self.table.setHorizontalHeaderLabels(
            [
                self.tr("no."),
                self.tr("depth"),
                self.tr("at, {0}").format(unit),
                self.tr("root, {0}").format(unit),
            ]
        )
        listed = cut_list(code, spec)
        for index, row in enumerate(listed.rows):
            self.table.insertRow(index)
            number = str(row.cut) if spec.edge_count == 1 else f"{row.edge}.{row.cut}"
            cells = (number, row.depth, self.format.bare(row.position_mm), self.format.bare(row.root_mm))
            for column, text in enumerate(cells):
                item = QTableWidgetItem(text)
                item.setTextAlignment(Qt.AlignmentFlag.AlignCenter)
                self.table.setItem(index, column, item)
        self.warnings.setText("\n".join(said(line) for line in listed.warnings))
        self._fit_table()

    def _fit_table(self) -> None:
        """The table as high as its rows: the page scrolls, not the table."""
        header = self.table.horizontalHeader().sizeHint().height()
        self.table.setFixedHeight(header + 22 * self.table.rowCount() + 12)
        self.warnings.setVisible(bool(self.warnings.text()))
