"""One coordinate convention from the file to the answer: pixel centres lie at whole numbers.

Source: ``skimage.data.checkerboard()``, which ships with scikit-image: 200 x 200 px, 8 x 8 squares of 25 px, so its 49
inner corners lie at (24.5 + 25 i, 24.5 + 25 j), i, j = 0..6.
"""

from __future__ import annotations

import io

import numpy as np
import pytest
import skimage.data
from PIL import Image

from app.picture.load import open_picture
from app.picture.opencv import cv2
from app.picture.sample import to_grey
from app.picture.values import Picture

BORDER_PX = 30
CORNERS_XY = np.array([(24.5 + 25 * i, 24.5 + 25 * j) for j in range(7) for i in range(7)])


@pytest.fixture(scope="module")
def board() -> Picture:
    """The board with a white border, through a PNG file and our own loader."""
    pixels = np.pad(skimage.data.checkerboard(), BORDER_PX, constant_values=255)
    stream = io.BytesIO()
    Image.fromarray(pixels).save(stream, "PNG")
    return open_picture(stream.getvalue(), name="board.png")


def test_checkerboard_corners_lie_where_scikit_image_puts_them(board: Picture) -> None:
    """OpenCV's corner finder on a picture of our loader gives the 49 corners to a hundredth of a pixel."""
    found, corners = cv2.findChessboardCorners(to_grey(board.rgb).astype(np.uint8), (7, 7))
    assert found
    seen = np.asarray(corners).reshape(-1, 2) - BORDER_PX
    nearest = np.linalg.norm(seen[:, None, :] - CORNERS_XY[None, :, :], axis=2).min(axis=1)
    assert len(np.unique(np.round(seen), axis=0)) == 49
    assert nearest.max() < 0.01
