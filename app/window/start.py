"""Starting the window.

opencv-python brings a Qt of its own and points Qt's plug-in search at it on import.  So OpenCV comes in first, through
its one door, and the two variables are taken out of the environment before a QApplication exists.
"""

from __future__ import annotations

import os
import sys
from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING, Final

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
    import app.bench  # noqa: F401 - brings OpenCV in through its door where anything needs it at once

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
    """The window, with a picture or job folder on its way in."""
    from app.window.main_window import MainWindow

    window = MainWindow()
    if what is not None:
        window.session.open(what)
    return window


def run(what: Path | str | None = None) -> int:
    """Open the window and stay until it is closed."""
    application = make_application()
    window = make_window(what)
    window.show()
    return int(application.exec())


if __name__ == "__main__":
    sys.exit(run(sys.argv[1] if len(sys.argv) > 1 else None))
