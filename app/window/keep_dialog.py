"""Until when a record is kept: the day on which it is to be looked at again."""

from __future__ import annotations

from datetime import date

from PySide6.QtCore import QDate, Signal
from PySide6.QtWidgets import QDateEdit, QDialog, QHBoxLayout, QVBoxLayout, QWidget

from app.window.parts import button, name_field, words


class KeepUntilDialog(QDialog):
    """A day, or none.  Nothing is ever removed by itself."""

    given = Signal(object)
    """The day as a date; None takes the reminder away."""

    def __init__(self, day: date | None, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self.setWindowTitle(self.tr("Keep until"))
        box = QVBoxLayout(self)
        box.addWidget(
            words(
                self.tr(
                    "From this day on the record is shown as due, to be kept longer or forgotten. Nothing is removed "
                    "by itself. How long it may or must be kept is the law's to say."
                )
            )
        )
        shown = QDate.currentDate().addYears(1) if day is None else QDate(day.year, day.month, day.day)
        self.day = QDateEdit(shown)
        self.day.setCalendarPopup(True)
        name_field(self.day, self.tr("Keep until"))
        box.addWidget(self.day)
        row = QHBoxLayout()
        row.addWidget(button(self.tr("No day"), self.give_none))
        row.addStretch(1)
        row.addWidget(button(self.tr("Cancel"), self.reject))
        row.addWidget(button(self.tr("Keep until this day"), self.give, kind="main"))
        box.addLayout(row)

    def give(self) -> None:
        """This day."""
        day = self.day.date()
        self.accept()
        self.given.emit(date(day.year(), day.month(), day.day()))

    def give_none(self) -> None:
        """No day."""
        self.accept()
        self.given.emit(None)
