"""Who asked for the key and what proof was seen: recorded in place, before a code may leave the program."""

from __future__ import annotations

from collections.abc import Callable
from datetime import datetime
from typing import Final

from PySide6.QtCore import QDateTime
from PySide6.QtWidgets import QDateTimeEdit, QHBoxLayout, QLabel, QLineEdit, QWidget

from app.window.language import said
from app.window.parts import button, name_field, set_kind, words
from app.window.session import Session
from app.window.step_panel import StepPanel

_FIELDS: Final = ("asked_by", "proof_seen", "seen_by", "authority_reference")


class EntitlementPanel(StepPanel):
    """The record of entitlement."""

    def __init__(self, session: Session, parent: QWidget | None = None) -> None:
        super().__init__(session, "", parent)
        self.title.setText(self.tr("Entitlement"))
        self.box.addWidget(
            words(
                self.tr("Only for keys that the customer is entitled to. Local law and licence rules come first."),
                "quiet",
            )
        )
        self._restricted = words(self.tr("This table is restricted: the authority's reference is needed too."), "doubt")
        self.box.addWidget(self._restricted)
        titles = {
            "asked_by": self.tr("Who asked for the key"),
            "proof_seen": self.tr("What proof was seen"),
            "seen_by": self.tr("Who saw the proof"),
            "authority_reference": self.tr("The authority's reference"),
        }
        self.fields: dict[str, QLineEdit] = {}
        self._labels: dict[str, QLabel] = {}
        for name in _FIELDS:
            field = QLineEdit()
            field.setAccessibleName(titles[name])
            field.textEdited.connect(self._writer(name))
            self.fields[name] = field
            self._labels[name] = words(titles[name], "quiet")
            self._labels[name].setBuddy(field)
            self.box.addWidget(self._labels[name])
            self.box.addWidget(field)
            if name == "seen_by":
                self._add_when()
        self.standing = words("")
        self.box.addWidget(self.standing)
        self.box.addStretch(1)

    def refresh(self) -> None:
        state = self.session.bench.state
        record = state.entitlement
        for name, field in self.fields.items():
            value = getattr(record, name) or ""
            if field.text() != value:
                field.setText(value)
                field.setCursorPosition(0)
        seen_on = record.seen_on
        self.when.setEnabled(seen_on is not None)
        if seen_on is not None:
            shown = QDateTime.fromSecsSinceEpoch(int(seen_on.timestamp()))
            self.when.blockSignals(True)
            self.when.setDateTime(shown)
            self.when.blockSignals(False)
        for part in (self._restricted, self._labels["authority_reference"], self.fields["authority_reference"]):
            part.setVisible(state.restricted)
        missing = state.missing_for_export
        if missing:
            self.standing.setText(
                self.tr("A code leaves the program once this is recorded: {0}.").format(", ".join(map(said, missing)))
            )
            set_kind(self.standing, "doubt")
        else:
            self.standing.setText(self.tr("Recorded. It goes with every export."))
            set_kind(self.standing, "quiet")

    def _add_when(self) -> None:
        self.when = QDateTimeEdit()
        self.when.setCalendarPopup(True)
        self.when.setDisplayFormat("yyyy-MM-dd  HH:mm")
        name_field(self.when, self.tr("When the proof was seen"))
        self.when.dateTimeChanged.connect(self._when_changed)
        row = QHBoxLayout()
        row.addWidget(self.when, 1)
        self.seen = button(self.tr("Seen now"), self._seen_now)
        row.addWidget(self.seen)
        label = words(self.tr("When the proof was seen"), "quiet")
        label.setBuddy(self.when)
        self.box.addWidget(label)
        self.box.addLayout(row)

    def _writer(self, name: str) -> Callable[[str], None]:
        def write(text: str) -> None:
            value = text or None if name == "authority_reference" else text
            self.session.act(lambda: self.session.bench.set_entitlement(**{name: value}))

        return write

    def _seen_now(self) -> None:
        now = datetime.now().astimezone().replace(second=0, microsecond=0)
        self.session.act(lambda: self.session.bench.set_entitlement(seen_on=now))

    def _when_changed(self, shown: QDateTime) -> None:
        when = datetime.fromtimestamp(shown.toSecsSinceEpoch()).astimezone()
        self.session.act(lambda: self.session.bench.set_entitlement(seen_on=when))
