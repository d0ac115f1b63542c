"""The picture as the painter takes it: once whole and a few times halved, drawn through a view transform.

A large scan shown small is drawn from one of its halved copies, smoothly; shown larger than life it is drawn from the
whole picture in square pixels.  Smoothing is for the eye only: nothing is measured here.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np
from PySide6.QtCore import QSize, Qt
from PySide6.QtGui import QImage, QPainter, QTransform

from app.picture.values import Bytes
from app.window.view_transform import ViewTransform
from keycore.measured import Floats

_SMALLEST_SIDE: Final = 400


@dataclass(frozen=True, eq=False)
class PictureLayers:
    """The whole picture first, then each half as large as the one before."""

    images: tuple[QImage, ...]

    @property
    def size(self) -> tuple[int, int]:
        """(width, height) of the whole picture."""
        return self.images[0].width(), self.images[0].height()

    def paint(self, painter: QPainter, view: ViewTransform, *, quick: bool = False) -> None:
        """Draw the picture as the view shows it; ``quick`` leaves the smoothing out while something moves."""
        step = min(self.step_for(view.percent), len(self.images) - 1)
        image = self.images[step]
        whole = view.raster_to_view() @ np.diag([self.size[0] / image.width(), self.size[1] / image.height(), 1.0])
        painter.save()
        painter.setRenderHint(QPainter.RenderHint.SmoothPixmapTransform, view.smooth and not quick)
        painter.setTransform(qt_transform(whole), True)
        painter.drawImage(0, 0, image)
        painter.restore()

    @staticmethod
    def step_for(percent: float) -> int:
        """How often the picture may be halved before the screen would show fewer pixels than it could."""
        return max(int(np.floor(np.log2(max(100.0 / percent, 1.0)) + 1e-9)), 0)


def make_layers(rgb: Bytes) -> PictureLayers:
    """Layers of a picture (rows, columns[, 3]); may run on any thread."""
    pixels = np.ascontiguousarray(rgb)
    height, width = pixels.shape[:2]
    form = QImage.Format.Format_RGB888 if pixels.ndim == 3 else QImage.Format.Format_Grayscale8
    # the stride is given: rows of an array need not start at multiples of four bytes
    image = QImage(pixels.data, width, height, pixels.strides[0], form).convertToFormat(QImage.Format.Format_RGB32)
    images = [image]
    while max(images[-1].width(), images[-1].height()) >= 2 * _SMALLEST_SIDE:
        last = images[-1]
        half = QSize(max(last.width() // 2, 1), max(last.height() // 2, 1))
        images.append(
            last.scaled(half, Qt.AspectRatioMode.IgnoreAspectRatio, Qt.TransformationMode.SmoothTransformation)
        )
    return PictureLayers(tuple(images))


def qt_transform(homography: Floats) -> QTransform:
    """A (3, 3) homography as Qt writes it: transposed."""
    (a, b, c), (d, e, f), (g, h, i) = homography.tolist()
    return QTransform(a, d, g, b, e, h, c, f, i)
