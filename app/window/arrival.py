"""The bench comes into the window: what its panels need is imported on a thread, beside the frame that is painted."""

from __future__ import annotations

import importlib
import threading
from pathlib import Path
from typing import Final

from PySide6.QtCore import QObject, Qt, Signal

from app.window.main_window import MainWindow

PARTS: Final = (
    "app.bench",
    "app.window.session",
    "app.window.doorway",
    "app.window.keeper",
    "app.window.sheet",
    "app.window.side",
    "app.window.table_editor",
)


class Arrival(QObject):
    """Fills a window once it has been painted; a window that is closed before stays empty."""

    _imported = Signal()

    def __init__(self, window: MainWindow, what: Path | str | None = None) -> None:
        super().__init__(window)
        self._window, self._what = window, what
        self._thread = threading.Thread(target=self._import, name="imports")
        window.painted.connect(self._begin, Qt.ConnectionType.QueuedConnection)
        self._imported.connect(self._fill, Qt.ConnectionType.QueuedConnection)

    def end(self) -> None:
        """Wait for the thread."""
        if self._thread.ident is not None:
            self._thread.join()

    def _begin(self) -> None:
        if self._thread.ident is None:
            self._thread.start()

    def _import(self) -> None:
        try:
            for name in PARTS:
                importlib.import_module(name)
            from app.window.table_panel import shipped_tables

            shipped_tables()
        finally:  # where an import failed, filling the window says so on the window's own thread
            self._imported.emit()

    def _fill(self) -> None:
        self._thread.join()
        self._window.fill(what=self._what)
