"""What the panels of the job's steps have in common."""

from __future__ import annotations

from PySide6.QtWidgets import QVBoxLayout, QWidget

from app.window.parts import words
from app.window.session import Session
from app.window.theme import LIGHT, Colours
from app.window.units import LengthFormat


class StepPanel(QWidget):
    """One step's panel: a title and whatever the step needs; :meth:`refresh` shows the job as it stands."""

    def __init__(self, session: Session, title: str, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self.setObjectName("page")
        self.session = session
        self.format = LengthFormat()
        self.colours: Colours = LIGHT
        self.box = QVBoxLayout(self)
        self.box.setContentsMargins(0, 0, 4, 0)
        self.box.setSpacing(6)
        self.title = words(title, "heading")
        self.box.addWidget(self.title)

    def refresh(self) -> None:
        """Show the job as it stands."""
