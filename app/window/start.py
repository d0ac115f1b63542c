"""Starting the window.

opencv-python brings a Qt of its own and points Qt's plug-in search at it on import.  What it left in the environment is
taken out before a QApplication exists; its one door (:mod:`app.picture.opencv`) does the same whenever it comes in.

The frame of the window is painted first.  Numpy, pydantic, scipy and the panels are imported on a thread beside it, and
put into the frame when they are there (:mod:`app.window.arrival`).
"""

from __future__ import annotations

import os
import sys
from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Final

from app.bench_log import log_faults, start_log

if TYPE_CHECKING:
    from PySide6.QtWidgets import QApplication

    from app.window.main_window import MainWindow

_FOREIGN: Final = ("QT_QPA_PLATFORM_PLUGIN_PATH", "QT_QPA_FONTDIR")


def clean_environment(environment: dict[str, str] | os._Environ[str] | None = None) -> None:
    """Take out what OpenCV's own Qt left, so that our Qt finds its own plug-ins and fonts."""
    target = os.environ if environment is None else environment
    for name in _FOREIGN:
        if "cv2" in target.get(name, ""):
            del target[name]


def make_application(arguments: Sequence[str] = ()) -> QApplication:
    """The one QApplication of the process, in our colours."""
    clean_environment()
    from PySide6.QtCore import QCoreApplication, QLocale
    from PySide6.QtGui import QIcon
    from PySide6.QtWidgets import QApplication

    from app.bench_assets import assets_folder
    from app.window import theme
    from app.window.language import speak

    existing = QCoreApplication.instance()
    if isinstance(existing, QApplication):
        return existing
    application = QApplication(["valleygauge", *arguments])
    application.setApplicationName("valleygauge")
    application.setApplicationDisplayName("Valleygauge")
    application.setStyle("Fusion")
    icon = assets_folder() / "icon.svg"
    if icon.is_file():
        application.setWindowIcon(QIcon(str(icon)))
    speak(application, QLocale())
    theme.apply(application, theme.system_colours())
    return application


def make_window(what: Path | str | None = None) -> MainWindow:
    """The window, whole, with a picture or job folder on its way in."""
    from app.window.main_window import MainWindow

    window = MainWindow(at_once=False)
    window.fill(what=what)
    return window


def run(what: Path | str | None = None) -> int:
    """Open the window and stay until it is closed."""
    start_log()
    log_faults()
    application = make_application()
    from app.window.arrival import Arrival
    from app.window.main_window import MainWindow

    window = MainWindow(at_once=False)
    arrival = Arrival(window, what)
    window.show()
    code = int(application.exec())
    arrival.end()
    return code


if __name__ == "__main__":
    sys.exit(run(sys.argv[1] if len(sys.argv) > 1 else None))
