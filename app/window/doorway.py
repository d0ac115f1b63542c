"""How things come onto the bench and leave it: files, the clipboard, a drop, the demo; the export."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Final

from PySide6.QtCore import QBuffer, QByteArray, QIODevice, QMimeData, QObject, Qt, Signal
from PySide6.QtGui import QGuiApplication, QImage, QImageWriter
from PySide6.QtWidgets import QFileDialog, QWidget

from app.window.demo import demo_bench
from app.window.language import said
from app.window.session import Session

_PICTURES: Final = "PNG, JPEG, TIFF, PDF, HEIC (*.png *.jpg *.jpeg *.tif *.tiff *.bmp *.webp *.gif *.pdf *.heic *.heif)"


class Doorway(QObject):
    """In and out."""

    said = Signal(str)
    """A sentence about what did not come in, or did not go out."""
    done = Signal(str)
    """A sentence about what did."""
    entitlement_wanted = Signal()

    def __init__(self, session: Session, window: QWidget) -> None:
        super().__init__(window)
        self._session, self._window = session, window

    def ask_picture(self) -> None:
        """Let the person pick a picture file."""
        self._ask(self.tr("Open a picture of a key"), self._session.open, filters=_PICTURES)

    def ask_job(self) -> None:
        """Let the person pick a job folder."""
        self._ask(self.tr("Open a job folder"), self._session.open, folder=True)

    def open_demo(self) -> None:
        """Lay the demo job on the bench."""
        self._session.start_bench(demo_bench)

    def paste(self) -> None:
        """Take a picture, or a picture file, from the clipboard."""
        mime = QGuiApplication.clipboard().mimeData()
        if mime is None or not self.take(mime, self.tr("pasted picture.png")):
            self.said.emit(self.tr("There is no picture on the clipboard; copy one and paste again, or open a file."))

    def accepts(self, mime: QMimeData) -> bool:
        """Whether something that is dragged over the window could be taken."""
        return mime.hasImage() or any(url.isLocalFile() for url in mime.urls())

    def take(self, mime: QMimeData, name: str) -> bool:
        """Take the files, or the picture, of a drop or of the clipboard; several files are pictures of one key."""
        files = [url.toLocalFile() for url in mime.urls() if url.isLocalFile()]
        if len(files) > 1:
            self._session.open_pictures(files)
            return True
        if files:
            self._session.open(files[0])
            return True
        image = mime.imageData() if mime.hasImage() else None
        if isinstance(image, QImage) and not image.isNull():
            self._session.open(png_of(image), name=name)
            return True
        return False

    def export(self, why_no_code: str) -> None:
        """Write the annotated picture and the job, once the entitlement is recorded."""
        bench = self._session.bench
        missing = bench.state.missing_for_export
        if missing:
            self.entitlement_wanted.emit()
            self.said.emit(
                self.tr(
                    "Nothing was exported: a code leaves only with its entitlement. Still to be recorded: {0}."
                ).format(", ".join(map(said, missing)))
            )
            return
        if bench.decoding is None or not bench.is_current:
            self.said.emit(self.tr("Nothing was exported: there is no code yet. {0}").format(why_no_code))
            return
        name = f"job-{bench.state.number}"
        self._ask(self.tr("Export to which folder?"), lambda home: self.export_to(Path(home) / name), folder=True)

    def export_to(self, folder: Path) -> None:
        """Write the export into a folder, beside the window and after the saves that wait."""
        session = self._session
        twin = session.bench.twin()

        def written(files: tuple[Path, ...]) -> None:
            names = ", ".join(path.name for path in files)
            self.done.emit(self.tr("Exported to {0}: {1}.").format(folder, names))

        session.saver.do(lambda: twin.export(folder), written, session.failed)
        self.done.emit(self.tr("Exporting to {0}.").format(folder))

    def _ask(self, title: str, then: Callable[[str], object], *, filters: str = "", folder: bool = False) -> None:
        dialog = QFileDialog(self._window, title, "", filters)
        if folder:
            dialog.setFileMode(QFileDialog.FileMode.Directory)
        dialog.setAttribute(Qt.WidgetAttribute.WA_DeleteOnClose)
        dialog.fileSelected.connect(then)
        dialog.open()


def png_of(image: QImage) -> bytes:
    """A picture from the clipboard as the bytes of a file."""
    buffer = QBuffer()
    buffer.open(QIODevice.OpenModeFlag.WriteOnly)
    QImageWriter(buffer, QByteArray(b"png")).write(image)
    return bytes(buffer.data().data())
