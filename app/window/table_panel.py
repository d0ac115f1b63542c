"""Choosing the depth table, with where it comes from and whether anybody has confirmed it."""

from __future__ import annotations

from functools import lru_cache
from pathlib import Path

from PySide6.QtCore import Qt, Signal
from PySide6.QtWidgets import QFileDialog, QLineEdit, QListWidgetItem, QWidget

from app.window.language import said
from app.window.parts import button, plain_list, set_kind, words
from app.window.session import Session
from app.window.step_panel import StepPanel
from keycore.spec import KeySpec, SpecEntry, list_specs


class TablePanel(StepPanel):
    """The depth table."""

    edit_asked = Signal(bool)
    """True: the chosen table; False: a new one."""

    def __init__(self, session: Session, parent: QWidget | None = None) -> None:
        super().__init__(session, "", parent)
        self.title.setText(self.tr("Depth table"))
        self.standing = words("", "quiet")
        self.box.addWidget(self.standing)
        self.filter = QLineEdit()
        self.filter.setPlaceholderText(self.tr("Find a table"))
        self.filter.setAccessibleName(self.tr("Find a table"))
        self.filter.textChanged.connect(self._fill)
        self.list = plain_list(self.tr("Depth tables"))
        self.list.setMinimumHeight(120)
        self.list.itemActivated.connect(self._chosen)
        self.list.itemClicked.connect(self._chosen)
        self.box.addWidget(self.filter)
        self.box.addWidget(self.list, 1)
        self.box.addWidget(button(self.tr("From a file…"), self.ask_file))
        self.change = button(self.tr("Correct or confirm this table…"), lambda: self.edit_asked.emit(True))
        self.box.addWidget(self.change)
        self.box.addWidget(button(self.tr("Enter a table from a chart…"), lambda: self.edit_asked.emit(False)))
        self._entries: tuple[SpecEntry, ...] | None = None

    def refresh(self) -> None:
        if self._entries is None:
            self._entries = shipped_tables()
            self._fill()
        spec = self.session.bench.state.spec
        self.change.setEnabled(spec is not None)
        if spec is None:
            self.standing.setText(self.tr("Choose the table that the key was cut by."))
            set_kind(self.standing, "quiet")
        else:
            self.standing.setText(_described(spec))
            set_kind(self.standing, "doubt" if spec.is_unconfirmed or spec.restricted else "quiet")
        for index in range(self.list.count()):
            item = self.list.item(index)
            font = item.font()
            chosen = spec is not None and item.data(Qt.ItemDataRole.UserRole) == spec.name
            font.setBold(chosen)
            item.setFont(font)

    def ask_file(self) -> None:
        """Let the person pick a keyspec/1 file."""
        dialog = QFileDialog(self, self.tr("Open a depth table"), "", self.tr("Depth tables (*.json)"))
        dialog.setAttribute(Qt.WidgetAttribute.WA_DeleteOnClose)
        dialog.fileSelected.connect(lambda path: self.session.act(lambda: self.session.bench.set_spec(Path(path))))
        dialog.open()

    def _fill(self) -> None:
        self.list.clear()
        wanted = self.filter.text().casefold().split()
        for entry in self._entries or ():
            text = _line(entry, self.tr("unconfirmed"), self.tr("restricted"), self.tr("cannot be used"))
            if not all(part in text.casefold() for part in wanted):
                continue
            item = QListWidgetItem(text)
            item.setData(Qt.ItemDataRole.UserRole, entry.name)
            item.setToolTip(said(entry.fault if entry.spec is None else entry.spec.describe()))
            if entry.spec is None:
                item.setFlags(item.flags() & ~Qt.ItemFlag.ItemIsEnabled)
            self.list.addItem(item)

    def _chosen(self, item: QListWidgetItem) -> None:
        name = str(item.data(Qt.ItemDataRole.UserRole))
        spec = next(entry.spec for entry in self._entries or () if entry.name == name)
        self.session.act(lambda: self.session.bench.set_spec(spec))


@lru_cache(maxsize=1)
def shipped_tables() -> tuple[SpecEntry, ...]:
    """The tables that come with the program, read once: two dozen files are a tenth of a second beside other work."""
    return list_specs()


def _line(entry: SpecEntry, unconfirmed: str, restricted: str, broken: str) -> str:
    """A table in one line: its name, its designation, where it comes from."""
    spec = entry.spec
    if spec is None:
        return f"{entry.name}: {broken}"
    parts = [spec.name]
    if spec.designation:
        parts.append(spec.designation)
    parts.append(unconfirmed if spec.is_unconfirmed else said(spec.provenance.kind))
    if spec.restricted:
        parts.append(restricted)
    return " · ".join(parts)


def _described(spec: KeySpec) -> str:
    return said(spec.describe())
