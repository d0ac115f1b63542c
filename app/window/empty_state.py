"""What the window says before there is a picture: what to do, the demo, and jobs to go on with."""

from __future__ import annotations

from functools import partial
from pathlib import Path

from PySide6.QtCore import QCoreApplication, Qt, Signal
from PySide6.QtGui import QFont
from PySide6.QtWidgets import QHBoxLayout, QVBoxLayout, QWidget

from app.folders import jobs_folder
from app.window.parts import button, clear_layout, words

_RECENT = 4
SEALED = ".job.age"
"""As in :mod:`app.sealing`, which the window's frame starts without."""


class EmptyState(QWidget):
    """The start of a job."""

    open_asked = Signal()
    paste_asked = Signal()
    demo_asked = Signal()
    job_asked = Signal(str)

    def __init__(self, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        outer = QHBoxLayout(self)
        inner = QVBoxLayout()
        inner.setSpacing(10)
        outer.addStretch(1)
        outer.addLayout(inner, 8)
        outer.addStretch(1)
        title = words(self.tr("Lay a picture of the key on the bench"), "heading")
        font = QFont(title.font())
        font.setPointSizeF(font.pointSizeF() * 1.6)
        title.setFont(font)
        title.setAlignment(Qt.AlignmentFlag.AlignCenter)
        say = words(
            self.tr(
                "Drop a photocopy, scan, photo or PDF here, paste one, or open a file. Any direction, any enlargement."
            ),
            "quiet",
        )
        say.setAlignment(Qt.AlignmentFlag.AlignCenter)
        row = QHBoxLayout()
        row.addStretch(1)
        self.open = button(self.tr("Open a picture…"), self.open_asked.emit, kind="main")
        self.paste = button(self.tr("Paste"), self.paste_asked.emit)
        self.demo = button(self.tr("Try the demo job"), self.demo_asked.emit)
        for made in (self.open, self.paste, self.demo):
            row.addWidget(made)
        row.addStretch(1)
        inner.addStretch(1)
        inner.addWidget(title)
        inner.addWidget(say)
        inner.addLayout(row)
        self._recent = QVBoxLayout()
        self._recent.setSpacing(2)
        inner.addSpacing(8)
        inner.addLayout(self._recent)
        inner.addStretch(1)

    def refresh(self) -> None:
        """List the latest jobs."""
        clear_layout(self._recent)
        folders = recent_jobs()
        if not folders:
            return
        title = words(self.tr("Or go on with a job"), "quiet")
        title.setAlignment(Qt.AlignmentFlag.AlignCenter)
        self._recent.addWidget(title)
        for folder in folders:
            made = button(shown_name(folder), partial(self.job_asked.emit, str(folder)), kind="plain")
            made.setAccessibleName(self.tr("open job {0}").format(folder.name))
            self._recent.addWidget(made, 0, Qt.AlignmentFlag.AlignCenter)


def recent_jobs(most: int = _RECENT) -> tuple[Path, ...]:
    """The latest saved jobs, newest first: folders, and sealed files, of which only the file's name is known."""
    home = jobs_folder()
    if not home.is_dir():
        return ()
    kept = [(folder / "job.json", folder) for folder in home.iterdir() if (folder / "job.json").is_file()]
    kept += [(file, file) for file in home.iterdir() if file.name.endswith(SEALED) and file.is_file()]
    kept.sort(key=lambda pair: pair[0].stat().st_mtime, reverse=True)
    return tuple(place for _record, place in kept[:most])


def shown_name(place: Path) -> str:
    """A kept job in a list."""
    if place.name.endswith(SEALED):
        return QCoreApplication.translate("EmptyState", "{0} (sealed)").format(place.name.removesuffix(SEALED))
    return place.name
