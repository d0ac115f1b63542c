"""Asking for a sealed job's passphrase: once to open it, twice to seal one."""

from __future__ import annotations

from PySide6.QtCore import Signal
from PySide6.QtWidgets import QDialog, QDialogButtonBox, QLineEdit, QVBoxLayout, QWidget

from app.window.parts import name_field, words


class PassphraseDialog(QDialog):
    """A passphrase, shown as dots; ``twice`` asks for it again, since a slip could never be put right."""

    given = Signal(str)

    def __init__(self, title: str, say: str, *, twice: bool = False, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self.setWindowTitle(title)
        self.setMinimumWidth(420)
        box = QVBoxLayout(self)
        box.addWidget(words(say))
        self.fields = [QLineEdit() for _ in range(2 if twice else 1)]
        names = (self.tr("Passphrase"), self.tr("The same again"))
        for field, name in zip(self.fields, names, strict=False):
            field.setEchoMode(QLineEdit.EchoMode.Password)
            name_field(field, name)
            label = words(name, "quiet")
            label.setBuddy(field)
            box.addWidget(label)
            box.addWidget(field)
        self.standing = words("", "trouble")
        box.addWidget(self.standing)
        buttons = QDialogButtonBox(QDialogButtonBox.StandardButton.Ok | QDialogButtonBox.StandardButton.Cancel)
        buttons.accepted.connect(self.accept)
        buttons.rejected.connect(self.reject)
        box.addWidget(buttons)

    def accept(self) -> None:
        """Give the passphrase, or say what is amiss."""
        first = self.fields[0].text()
        if any(field.text() != first for field in self.fields):
            self.standing.setText(self.tr("The two are not the same; type them again."))
            return
        if not first:
            self.standing.setText(self.tr("Type the passphrase."))
            return
        for field in self.fields:
            field.clear()
        super().accept()
        self.given.emit(first)
