"""What the panels of the job's steps have in common."""

from __future__ import annotations

from PySide6.QtCore import Qt
from PySide6.QtWidgets import QHBoxLayout, QToolButton, QVBoxLayout, QWidget

from app.window.parts import words
from app.window.session import Session
from app.window.theme import LIGHT, Colours
from app.window.units import LengthFormat


class StepPanel(QWidget):
    """One step's panel: a title with the step's lock, and whatever it needs; :meth:`refresh` shows the job."""

    def __init__(self, session: Session, title: str, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self.setObjectName("page")
        self.session = session
        self.format = LengthFormat()
        self.colours: Colours = LIGHT
        self.step = ""
        self.box = QVBoxLayout(self)
        self.box.setContentsMargins(0, 0, 4, 0)
        self.box.setSpacing(6)
        self.title = words(title, "heading")
        self.lock_step = QToolButton()
        self.lock_step.setObjectName("plain")
        self.lock_step.setCheckable(True)
        self.lock_step.setFocusPolicy(Qt.FocusPolicy.StrongFocus)
        self.lock_step.clicked.connect(lambda checked: self._lock(checked))
        head = QHBoxLayout()
        head.addWidget(self.title, 1)
        head.addWidget(self.lock_step, 0, Qt.AlignmentFlag.AlignTop)
        self.box.addLayout(head)

    def refresh(self) -> None:
        """Show the job as it stands."""

    def show_lock(self) -> None:
        """Show whether the step is locked."""
        locked = self.step in self.session.bench.locked_steps
        self.lock_step.setChecked(locked)
        self.lock_step.setText(self.tr("Unlock step") if locked else self.tr("Lock step"))
        self.lock_step.setAccessibleName(
            self.tr("unlock this step (Ctrl+K)") if locked else self.tr("lock this step (Ctrl+K)")
        )
        self.lock_step.setToolTip(
            self.tr("locked: nothing of this step changes by accident (Ctrl+K unlocks)")
            if locked
            else self.tr("keep this step from being changed by accident (Ctrl+K)")
        )

    def _lock(self, locked: bool) -> None:
        self.session.act(lambda: self.session.bench.lock_step(self.step, locked))
        self.show_lock()
