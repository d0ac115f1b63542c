"""Entering or correcting a depth table from a chart: grids, equal-step filler, live checks, drawing of the blade."""

from __future__ import annotations

import json
from collections.abc import Callable
from datetime import date
from pathlib import Path
from typing import Any

from PySide6.QtCore import Qt, Signal
from PySide6.QtWidgets import (
    QCheckBox,
    QComboBox,
    QFileDialog,
    QFormLayout,
    QGridLayout,
    QHBoxLayout,
    QHeaderView,
    QLineEdit,
    QScrollArea,
    QStackedWidget,
    QTableWidget,
    QTableWidgetItem,
    QVBoxLayout,
    QWidget,
)

from app.window.blade_drawing import BladeDrawing
from app.window.depth_keys_part import DepthKeysPart
from app.window.language import said
from app.window.parts import Panel, button, set_kind, words
from app.window.session import Session
from app.window.table_draft import MeasuredDepths, TableDraft, draft_of, equal_steps, labels_for, table_of
from app.window.theme import Colours
from app.window.units import LengthFormat
from keycore.refusal import Refusal
from keycore.spec import KeySpec, check_list, spec_to_json


class TableEditor(Panel):
    """A table being typed."""

    done = Signal()

    def __init__(self, session: Session, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self.session = session
        self.format = LengthFormat()
        self._quiet = False
        self._notes = ""
        box = QVBoxLayout(self)
        box.setContentsMargins(18, 12, 18, 12)
        self.title = words(self.tr("Depth table from a chart"), "heading")
        box.addWidget(self.title)
        columns = QHBoxLayout()
        columns.setSpacing(18)
        box.addLayout(columns, 1)
        facts = QWidget()
        facts.setObjectName("page")
        facts.setLayout(self._facts())
        scroll = QScrollArea()
        scroll.setWidget(facts)
        scroll.setWidgetResizable(True)
        scroll.setHorizontalScrollBarPolicy(Qt.ScrollBarPolicy.ScrollBarAlwaysOff)
        scroll.setFocusPolicy(Qt.FocusPolicy.NoFocus)
        scroll.viewport().setAutoFillBackground(False)
        scroll.setMinimumWidth(facts.minimumSizeHint().width() + scroll.verticalScrollBar().sizeHint().width())
        columns.addWidget(scroll, 6)
        columns.addLayout(self._grids(), 5)
        self.drawing = BladeDrawing()
        box.addWidget(self.drawing)
        self.verdict = words("")
        box.addWidget(self.verdict)
        row = QHBoxLayout()
        self.use = button(self.tr("Use this table"), self._use, kind="main")
        self.store = button(self.tr("Save as a file…"), self.ask_file)
        row.addWidget(self.use)
        row.addWidget(self.store)
        row.addStretch(1)
        row.addWidget(button(self.tr("Back without using it"), self.done.emit))
        box.addLayout(row)

    # ---- building ------------------------------------------------------------------------------------------------

    def _facts(self) -> QFormLayout:
        form = QFormLayout()
        form.setContentsMargins(0, 0, 6, 0)
        form.setVerticalSpacing(4)
        titles = {
            "name": self.tr("Name"),
            "designation": self.tr("Designation"),
            "source": self.tr("Source: which chart, or how measured"),
            "largest_step": self.tr("Largest step between neighbours"),
            "cut_counts": self.tr("Numbers of cuts, where keys differ: 5, 6"),
            "root_tolerance": self.tr("Root tolerance"),
            "position_tolerance": self.tr("Position tolerance"),
            "flat": self.tr("Flat of the cutter"),
            "angle": self.tr("Angle of the cutter, degrees"),
            "blade_height": self.tr("Blade height"),
            "blade_length": self.tr("Blade length"),
            "blade_thickness": self.tr("Blade thickness"),
            "confirmed_by": self.tr("Confirmed by"),
            "confirmed_chart": self.tr("Confirmed against chart"),
        }
        choices = {
            "source_kind": (self.tr("Kind of source"), ("measured", "published", "memory", "invented")),
            "edges": (self.tr("Edges"), ("single", "double-mirrored", "double-independent")),
            "gauge_from": (self.tr("Gauged from"), ("shoulder", "tip")),
            "root_from": (self.tr("Root measured from"), ("back", "opposite-floor", "centreline")),
        }
        self.fields: dict[str, QLineEdit] = {}
        self.choices: dict[str, QComboBox] = {}
        for name, title in titles.items():
            if name == "largest_step":
                for which, (choice_title, values) in choices.items():
                    choice = QComboBox()
                    choice.setSizeAdjustPolicy(QComboBox.SizeAdjustPolicy.AdjustToMinimumContentsLengthWithIcon)
                    choice.setMinimumContentsLength(8)
                    for value in values:
                        choice.addItem(said(value), value)
                    choice.setAccessibleName(choice_title)
                    choice.currentIndexChanged.connect(self._check)
                    self.choices[which] = choice
                    form.addRow(choice_title, choice)
            field = QLineEdit()
            field.setAccessibleName(title)
            field.textChanged.connect(self._check)
            field.setMinimumWidth(90)
            self.fields[name] = field
            form.addRow(title, field)
        self.restricted = QCheckBox(self.tr("Restricted: cut only with the authority's reference"))
        self.restricted.toggled.connect(self._check)
        form.addRow(self.restricted)
        return form

    def _grids(self) -> QVBoxLayout:
        whole, self.sides = QVBoxLayout(), QStackedWidget()
        self.keys = DepthKeysPart()
        self.keys.taken.connect(self._take_depths)
        self.keys.left.connect(lambda: self.sides.setCurrentIndex(0))
        grids = QWidget()
        box = QVBoxLayout(grids)
        box.setContentsMargins(0, 0, 0, 0)
        self.sides.addWidget(grids)
        self.sides.addWidget(self.keys)
        whole.addWidget(self.sides)
        self.depths = self._grid([self.tr("depth"), self.tr("root")], self.tr("Depths, shallowest first"))
        self.positions = self._grid([self.tr("cut, bow first")], self.tr("Cut positions, bow first"))
        self._fillers: list[tuple[QLineEdit, QLineEdit, QLineEdit]] = []
        for grid, title, fill in (
            (self.depths, self.tr("Depths: label and root height"), self._fill_depths),
            (self.positions, self.tr("Cut centres from the gauge point"), self._fill_positions),
        ):
            box.addWidget(words(title, "quiet"))
            box.addWidget(grid, 1)
            box.addLayout(self._filler(title, fill))
            if grid is self.depths:
                self.from_keys = button(self.tr("From measured depth keys…"), self._measure)
                box.addWidget(self.from_keys)
        return whole

    def _grid(self, titles: list[str], name: str) -> QTableWidget:
        grid = QTableWidget(0, len(titles))
        grid.setHorizontalHeaderLabels(titles)
        grid.horizontalHeader().setSectionResizeMode(QHeaderView.ResizeMode.Stretch)
        grid.verticalHeader().setVisible(False)
        grid.verticalHeader().setDefaultSectionSize(26)
        grid.setAccessibleName(name)
        grid.setTabKeyNavigation(False)
        grid.itemChanged.connect(self._check)
        return grid

    def _filler(self, title: str, fill: Callable[[], None]) -> QGridLayout:
        row = QGridLayout()
        fields = []
        for column, says in enumerate((self.tr("first"), self.tr("step"), self.tr("count"))):
            field = QLineEdit()
            field.setPlaceholderText(says)
            field.setAccessibleName(f"{title}: {says}")
            fields.append(field)
            row.addWidget(field, 0, column)
        self._fillers.append((fields[0], fields[1], fields[2]))
        row.addWidget(button(self.tr("Fill evenly"), fill), 0, 3)
        return row

    # ---- what is typed -------------------------------------------------------------------------------------------

    def edit(self, spec: KeySpec | None, form: LengthFormat) -> None:
        """Begin from a table, or from nothing."""
        self.format = form
        self.title.setText(self.tr("Depth table from a chart; lengths in {0}").format(form.unit))
        draft = TableDraft() if spec is None else draft_of(spec, form)
        self._quiet = True
        for name, field in self.fields.items():
            field.setText(getattr(draft, name))
            field.setCursorPosition(0)
        for name, choice in self.choices.items():
            choice.setCurrentIndex(choice.findData(getattr(draft, name)))
        self.restricted.setChecked(draft.restricted)
        self._notes = draft.notes
        self.sides.setCurrentIndex(0)
        self._fill_grid(self.depths, draft.depths)
        self._fill_grid(self.positions, [(text,) for text in draft.positions])
        self._quiet = False
        self._check()
        self.fields["name"].setFocus()

    def draft(self) -> TableDraft:
        """What is typed now."""
        values: dict[str, Any] = {name: field.text() for name, field in self.fields.items()}
        values |= {name: choice.currentData() for name, choice in self.choices.items()}
        signed = bool(values["confirmed_by"] or values["confirmed_chart"])
        return TableDraft(
            **values,
            restricted=self.restricted.isChecked(),
            notes=self._notes,
            positions=tuple(row[0] for row in _rows(self.positions)),
            depths=tuple((row[0], row[1]) for row in _rows(self.depths)),
            confirmed_on=date.today().isoformat() if signed else "",
        )

    def table(self) -> KeySpec | None:
        """The table that is typed; None, with the reason shown, where a rule is broken."""
        try:
            spec = table_of(self.draft(), self.format)
        except Refusal as refusal:
            self.verdict.setText(said(refusal.sentence))
            set_kind(self.verdict, "trouble")
            return None
        findings = check_list(spec)
        self.verdict.setText("  ".join(("\u2713 " if f.holds else "! ") + said(f.sentence) for f in findings))
        set_kind(self.verdict, "quiet" if all(f.holds for f in findings) else "doubt")
        return spec

    def ask_file(self) -> None:
        """Save the table as keyspec/1."""
        spec = self.table()
        if spec is None:
            return
        dialog = QFileDialog(self, self.tr("Save the table"), f"{spec.name}.json", self.tr("Depth tables (*.json)"))
        dialog.setAcceptMode(QFileDialog.AcceptMode.AcceptSave)
        dialog.setDefaultSuffix("json")
        dialog.setAttribute(Qt.WidgetAttribute.WA_DeleteOnClose)
        dialog.fileSelected.connect(lambda path: self.save_to(Path(path)))
        dialog.open()

    def save_to(self, path: Path) -> None:
        """Write the table as keyspec/1 in millimetres."""
        spec = self.table()
        if spec is None:
            return
        try:
            path.write_text(json.dumps(spec_to_json(spec), indent=1, ensure_ascii=False) + "\n", encoding="utf-8")
        except OSError as error:
            self.session.refused.emit(
                self.tr("The table could not be saved as {0}: {1}.").format(path.name, error.strerror or error)
            )

    def set_colours(self, colours: Colours) -> None:
        """Light or dark."""
        self.drawing.colours = colours
        self.drawing.update()

    # ---- within --------------------------------------------------------------------------------------------------

    def _check(self) -> None:
        if self._quiet:
            return
        spec = self.table()
        self.use.setEnabled(spec is not None)
        self.store.setEnabled(spec is not None)
        self.drawing.show_table(spec)

    def _use(self) -> None:
        spec = self.table()
        if spec is not None and self.session.act(lambda: self.session.bench.set_spec(spec)):
            self.done.emit()

    def _measure(self) -> None:
        self.sides.setCurrentWidget(self.keys)
        self.keys.begin(self.format)

    def _take_depths(self, found: MeasuredDepths, source: str) -> None:
        self._fill_grid(self.depths, found.rows)
        kind = self.choices["source_kind"]
        kind.setCurrentIndex(kind.findData("measured"))
        self.fields["source"].setText(source)
        self.sides.setCurrentIndex(0)
        self._check()
        self.depths.setFocus()

    def _fill_depths(self) -> None:
        roots = self._steps(0)
        labels = labels_for(len(roots), [row[0] for row in _rows(self.depths)])
        if roots:
            self._fill_grid(self.depths, list(zip(labels, roots, strict=True)))
            self._check()

    def _fill_positions(self) -> None:
        positions = self._steps(1)
        if positions:
            self._fill_grid(self.positions, [(text,) for text in positions])
            self._check()

    def _steps(self, which: int) -> tuple[str, ...]:
        first, step, count = (field.text() for field in self._fillers[which])
        try:
            return equal_steps(first, step, count, self.format)
        except Refusal as refusal:
            self.verdict.setText(said(refusal.sentence))
            set_kind(self.verdict, "trouble")
            return ()

    def _fill_grid(self, grid: QTableWidget, rows: Any) -> None:
        before, self._quiet = self._quiet, True
        grid.setRowCount(0)
        for index, row in enumerate([*rows, ("",) * grid.columnCount()]):
            grid.insertRow(index)
            for column, text in enumerate(row):
                grid.setItem(index, column, QTableWidgetItem(text))
        self._quiet = before


def _rows(grid: QTableWidget) -> list[list[str]]:
    """All rows with something in them."""
    rows = []
    for index in range(grid.rowCount()):
        items = [grid.item(index, column) for column in range(grid.columnCount())]
        row = ["" if item is None else item.text().strip() for item in items]
        if any(row):
            rows.append(row)
    return rows
