"""The window's actions with their keys."""

from __future__ import annotations

from collections.abc import Callable, Mapping

from PySide6.QtCore import QCoreApplication
from PySide6.QtGui import QAction, QKeySequence
from PySide6.QtWidgets import QWidget

_KEYS = {
    "open": "Ctrl+O", "open_job": "Ctrl+J", "paste": "Ctrl+V", "new": "Ctrl+N", "save": "Ctrl+S", "export": "Ctrl+E",
    "undo": "Ctrl+Z", "redo": "Ctrl+Shift+Z", "unit": "F6", "keys": "F1", "read": "F5", "to_picture": "F2",
    "to_ladder": "F3", "to_growth": "F4", "next_picture": "Ctrl+PgDown", "last_picture": "Ctrl+PgUp", "quit": "Ctrl+Q",
    "aside": "Esc", "sheet": "Ctrl+P", "jobs": "Ctrl+L", "lock": "Ctrl+K", "menu": "F10",
}  # fmt: skip


def action_titles() -> dict[str, str]:
    """What each action is called."""
    return {
        "open": QCoreApplication.translate("actions", "Open a picture…"),
        "open_job": QCoreApplication.translate("actions", "Open a job folder…"),
        "open_sealed": QCoreApplication.translate("actions", "Open a sealed job…"),
        "jobs": QCoreApplication.translate("actions", "Kept jobs…"),
        "paste": QCoreApplication.translate("actions", "Paste a picture"),
        "demo": QCoreApplication.translate("actions", "Try the demo job"),
        "new": QCoreApplication.translate("actions", "New job"),
        "save": QCoreApplication.translate("actions", "Save now"),
        "export": QCoreApplication.translate("actions", "Export picture and job…"),
        "seal": QCoreApplication.translate("actions", "Seal with a passphrase…"),
        "keep": QCoreApplication.translate("actions", "Keep until…"),
        "forget": QCoreApplication.translate("actions", "Forget this job…"),
        "sheet": QCoreApplication.translate("actions", "Job sheet…"),
        "template": QCoreApplication.translate("actions", "Light-test template…"),
        "label": QCoreApplication.translate("actions", "Label for the key tag…"),
        "reduction": QCoreApplication.translate("actions", "Reduction on a copier…"),
        "undo": QCoreApplication.translate("actions", "Undo"),
        "redo": QCoreApplication.translate("actions", "Redo"),
        "unit": QCoreApplication.translate("actions", "Next unit"),
        "keys": QCoreApplication.translate("actions", "All keys"),
        "read": QCoreApplication.translate("actions", "Read again"),
        "menu": QCoreApplication.translate("actions", "Job menu"),
        "lock": QCoreApplication.translate("actions", "Lock or unlock the open step"),
        "to_picture": QCoreApplication.translate("actions", "To the picture"),
        "to_ladder": QCoreApplication.translate("actions", "To the ladder"),
        "to_growth": QCoreApplication.translate("actions", "To the growth"),
        "next_picture": QCoreApplication.translate("actions", "Next picture"),
        "last_picture": QCoreApplication.translate("actions", "Picture before"),
        "wheel": QCoreApplication.translate("actions", "Mouse wheel zooms without Ctrl"),
        "quit": QCoreApplication.translate("actions", "Close"),
        "aside": QCoreApplication.translate("actions", "Put the notice aside"),
    }


def make_actions(window: QWidget, does: Mapping[str, Callable[[], object]]) -> dict[str, QAction]:
    """One action for each name; all of them hear their keys anywhere in the window."""
    made: dict[str, QAction] = {}
    for name, title in action_titles().items():
        action = QAction(title, window)
        if name in _KEYS:
            action.setShortcut(QKeySequence(_KEYS[name]))
        action.triggered.connect(lambda checked=False, name=name: does[name]())
        window.addAction(action)
        made[name] = action
    return made
