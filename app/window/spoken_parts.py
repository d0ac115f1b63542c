"""Parts of a drawn widget (marks, rungs) as a screen reader meets them: a name, a description, and where each lies.

Qt tells assistive programs of widgets only.  So each part has a child widget of its own that draws nothing and lets
every click through.  They follow what is drawn once it has come to rest, so that no frame of a drag pays for them.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from typing import Final

from PySide6.QtCore import QObject, QRectF, Qt, QTimer
from PySide6.QtWidgets import QWidget

_REST_MS: Final = 200
Told = Mapping[str, tuple[str, str, QRectF]]
"""By a key of its own: name, description and extent of each part."""


class SpokenParts(QObject):
    """Keeps the parts of one widget."""

    def __init__(self, owner: QWidget, tell: Callable[[], Told]) -> None:
        super().__init__(owner)
        self._owner, self._tell = owner, tell
        self.parts: dict[str, QWidget] = {}
        self._timer = QTimer(self)
        self._timer.setSingleShot(True)
        self._timer.setInterval(_REST_MS)
        self._timer.timeout.connect(self.settle)

    def follow(self) -> None:
        """What is drawn has changed."""
        self._timer.start()

    def settle(self) -> None:
        """Put every part where it is drawn now."""
        told = self._tell()
        for key in [key for key in self.parts if key not in told]:
            self.parts.pop(key).deleteLater()
        for key, (name, description, extent) in told.items():
            part = self.parts.get(key)
            if part is None:
                part = self.parts[key] = QWidget(self._owner)
                part.setAttribute(Qt.WidgetAttribute.WA_TransparentForMouseEvents)
                part.setFocusPolicy(Qt.FocusPolicy.NoFocus)
                part.show()
            if part.accessibleName() != name:
                part.setAccessibleName(name)
            if part.accessibleDescription() != description:
                part.setAccessibleDescription(description)
            part.setGeometry(extent.toAlignedRect())
