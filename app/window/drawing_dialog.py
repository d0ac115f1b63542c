"""A drawing of the paper kind on the screen, to look at and to keep as a picture."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Final

from PySide6.QtCore import Qt
from PySide6.QtGui import QImage, QPixmap
from PySide6.QtWidgets import QDialog, QFileDialog, QLabel, QScrollArea, QVBoxLayout, QWidget

from app.window.language import said
from app.window.parts import button, words
from keycore.refusal import Refusal

if TYPE_CHECKING:
    from app.bench_export import Drawing

_DPI: Final = 120.0


class DrawingDialog(QDialog):
    """One drawing."""

    def __init__(
        self, drawing: Drawing, shown: QImage, title: str, file_stem: str, parent: QWidget | None = None
    ) -> None:
        super().__init__(parent)
        self.drawing, self._title, self._stem = drawing, title, file_stem
        self.setWindowTitle(title)
        self.resize(940, 560)
        box = QVBoxLayout(self)
        label = QLabel()
        label.setPixmap(QPixmap.fromImage(shown))
        label.setAlignment(Qt.AlignmentFlag.AlignCenter)
        label.setAccessibleName(title)
        scroll = QScrollArea()
        scroll.setWidgetResizable(True)
        scroll.setWidget(label)
        box.addWidget(scroll, 1)
        self.standing = words("", "trouble")
        box.addWidget(self.standing)
        box.addWidget(button(self.tr("Keep as SVG or PNG…"), self._ask_file))

    def keep_as(self, file: str) -> None:
        """Write the drawing for its owner's eyes."""
        from app.bench_export import write_drawing

        path = Path(file)
        if path.suffix.lower() not in (".svg", ".png"):
            path = path.with_name(f"{path.name}.svg")
        try:
            write_drawing(path, self.drawing, self._title)
        except Refusal as refusal:
            self.standing.setText(said(refusal.sentence))
            return
        self.standing.setText(self.tr("Kept as {0}.").format(path.name))

    def _ask_file(self) -> None:
        dialog = QFileDialog(self, self.tr("Keep the drawing where?"), f"{self._stem}.svg", "SVG, PNG (*.svg *.png)")
        dialog.setAcceptMode(QFileDialog.AcceptMode.AcceptSave)
        dialog.setAttribute(Qt.WidgetAttribute.WA_DeleteOnClose)
        dialog.fileSelected.connect(self.keep_as)
        dialog.open()


def picture_of(drawing: Drawing) -> QImage:
    """The drawing for the screen; may be made on any thread."""
    image = drawing.to_image(_DPI)
    return QImage(image.tobytes(), image.width, image.height, 3 * image.width, QImage.Format.Format_RGB888).copy()
