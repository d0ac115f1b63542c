"""Grey values of a picture at any positions, sampled once from the original pixels."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from app.picture.frame import Frame
from app.picture.opencv import cv2
from app.picture.values import Bytes, Picture
from keycore.measured import Floats

GreyPixels = NDArray[np.float32]
RED_GREEN_BLUE = np.array([0.299, 0.587, 0.114], dtype=np.float32)
"""Luma weights of ITU-R BT.601, as JPEG (ITU-T T.871) uses them."""


@dataclass(frozen=True)
class Patch:
    """A grey crop of a picture that still knows where it lies.

    Attributes
    ----------
    grey
        (rows, columns) float32, 0 black to 255 white.
    left, top
        Picture position of the crop's first pixel.
    rgb
        (rows, columns, 3) its colours; None where the picture has none.
    """

    grey: GreyPixels
    left: int
    top: int
    rgb: Bytes | None = None

    def at(self, picture_xy: Floats) -> Floats:
        """Grey values at (..., 2) picture positions, by bilinear interpolation; the border repeats outward."""
        xy = np.asarray(picture_xy, dtype=np.float32)
        shape = xy.shape[:-1]
        flat = xy.reshape(-1, 2)
        # OpenCV addresses at most 32767 rows a call: fold the positions into a rectangle.
        width = 1024
        rows = -(-len(flat) // width)
        folded = np.full((rows * width, 2), -1.0, dtype=np.float32)
        folded[: len(flat)] = flat - np.array([self.left, self.top], dtype=np.float32)
        x, y = folded.reshape(rows, width, 2)[..., 0], folded.reshape(rows, width, 2)[..., 1]
        values = cv2.remap(self.grey, x, y, cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE)
        return np.asarray(values.reshape(-1)[: len(flat)].reshape(shape), dtype=float)

    def grid(self, frame: Frame, x_mm: Floats, y_mm: Floats) -> GreyPixels:
        """(len(y_mm), len(x_mm)) grey values on a grid of the frame (at most 32767 a side), sampled as by ``at``."""
        to = frame.to_picture
        x, y = ((to[row, 0] * x_mm + to[row, 2])[None, :] + (to[row, 1] * y_mm)[:, None] for row in range(2))
        if to[2, 0] or to[2, 1] or to[2, 2] != 1.0:
            by = (to[2, 0] * x_mm + to[2, 2])[None, :] + (to[2, 1] * y_mm)[:, None]
            x, y = x / by, y / by
        at = (x - self.left).astype(np.float32), (y - self.top).astype(np.float32)
        return np.asarray(
            cv2.remap(self.grey, *at, cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE), dtype=np.float32
        )


def grey_patch(picture: Picture, picture_xy: Floats, margin_px: float) -> Patch:
    """Cut the grey patch that holds all ``picture_xy`` with a margin around them.

    Parameters
    ----------
    picture
        The whole picture.
    picture_xy
        (n, 2) positions to be covered; parts outside the picture are left out.
    margin_px
        How much more to take on every side.
    """
    width, height = picture.size
    low = np.floor(np.asarray(picture_xy).min(axis=0) - margin_px)
    high = np.ceil(np.asarray(picture_xy).max(axis=0) + margin_px)
    left, right = int(np.clip(low[0], 0, width - 1)), int(np.clip(high[0], 1, width))
    top, bottom = int(np.clip(low[1], 0, height - 1)), int(np.clip(high[1], 1, height))
    crop = picture.rgb[top : max(bottom, top + 1), left : max(right, left + 1)]
    return Patch(to_grey(crop), left, top, crop if crop.ndim == 3 else None)


def to_grey(pixels: NDArray[np.uint8]) -> GreyPixels:
    """Return grey float32 values of (rows, columns) or (rows, columns, 3) pixels."""
    if pixels.ndim == 2:
        return pixels.astype(np.float32)
    return np.asarray(pixels.astype(np.float32) @ RED_GREEN_BLUE, dtype=np.float32)


def colours_at(rgb: Bytes, picture_xy: Floats) -> Floats:
    """(n, channels) colours at (n, 2) picture positions, by bilinear interpolation; the border repeats outward."""
    low = np.floor(picture_xy.min(axis=0)).astype(int) - 1
    high = np.ceil(picture_xy.max(axis=0)).astype(int) + 2
    height, width = rgb.shape[:2]
    left, top = int(np.clip(low[0], 0, width - 2)), int(np.clip(low[1], 0, height - 2))
    crop = rgb[top : max(top + 2, high[1]), left : max(left + 2, high[0])].astype(np.float32)
    x, y = (picture_xy - [left, top]).astype(np.float32).T
    values = cv2.remap(crop, x[None], y[None], cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE)
    return np.asarray(values.reshape(len(picture_xy), -1), dtype=float)
