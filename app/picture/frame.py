"""The blade's frame: millimetres along and across the blade, laid into the picture by one map.

``blade_mm`` is (x, y): x runs along the blade from bow to tip with 0 at the gauge point (so cuts gauged from the tip
lie at negative x), y runs from the back (or centreline) towards the cuts.  The millimetres are nominal: they use the
frame's own ``px_per_mm``, which is a first guess; the true scale is found later and never written back here.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from app.picture.values import Straight
from keycore.measured import Floats


@dataclass(frozen=True)
class Frame:
    """A map from nominal blade millimetres to picture pixels.

    Attributes
    ----------
    to_picture
        (3, 3) homography, ``blade_mm`` to ``picture_xy``.
    px_per_mm
        Picture pixels per nominal millimetre near the blade.
    """

    to_picture: Floats
    px_per_mm: float

    @classmethod
    def from_axes(cls, origin_xy: Floats, along_xy: Floats, up_xy: Floats, px_per_mm: float) -> Frame:
        """Lay a frame at ``origin_xy`` with unit vectors ``along_xy`` and ``up_xy`` (all picture pixels)."""
        matrix = np.eye(3)
        matrix[:2, 0] = px_per_mm * np.asarray(along_xy)
        matrix[:2, 1] = px_per_mm * np.asarray(up_xy)
        matrix[:2, 2] = origin_xy
        return cls(matrix, px_per_mm)

    def picture_xy(self, blade_mm: Floats) -> Floats:
        """(..., 2) blade millimetres to picture pixels."""
        mapped = np.asarray(blade_mm, dtype=float) @ self.to_picture[:, :2].T + self.to_picture[:, 2]
        return np.asarray(mapped[..., :2] / mapped[..., 2:], dtype=float)

    def blade_mm(self, picture_xy: Floats) -> Floats:
        """(..., 2) picture pixels to blade millimetres."""
        inverse = np.linalg.inv(self.to_picture)
        mapped = np.asarray(picture_xy, dtype=float) @ inverse[:, :2].T + inverse[:, 2]
        return np.asarray(mapped[..., :2] / mapped[..., 2:], dtype=float)

    @property
    def mirrored(self) -> bool:
        """True where the frame turns the picture over: cuts up and tip right need a reflection."""
        return bool(np.linalg.det(self.to_picture[:2, :2]) > 0)

    def moved(self, *, x_mm: float = 0.0, y_mm: float = 0.0, slope: float = 0.0) -> Frame:
        """Return this frame with its origin moved to (x_mm, y_mm) and its x axis turned to ``slope`` (dy/dx)."""
        angle = np.arctan(slope)
        c, s = np.cos(angle), np.sin(angle)
        step = np.array([[c, -s, x_mm], [s, c, y_mm], [0.0, 0.0, 1.0]])
        matrix = self.to_picture @ step
        return Frame(matrix / matrix[2, 2], self.px_per_mm)

    def scaled(self, factor: float) -> Frame:
        """Return the frame with millimetres ``factor`` times as large in the picture, its origin unmoved."""
        matrix = self.to_picture @ np.diag([factor, factor, 1.0])
        return Frame(matrix / matrix[2, 2], self.px_per_mm * factor)

    def straight(self, *, x_from_mm: float, x_to_mm: float, y_from_mm: float, y_to_mm: float) -> Straight:
        """Return the straightened picture that shows this stretch of the frame, at the picture's own resolution."""
        scale = self.px_per_mm
        unit = np.array([[1 / scale, 0.0, x_from_mm], [0.0, -1 / scale, y_to_mm], [0.0, 0.0, 1.0]])
        matrix = self.to_picture @ unit
        size = (int(np.ceil((x_to_mm - x_from_mm) * scale)), int(np.ceil((y_to_mm - y_from_mm) * scale)))
        return Straight(to_picture=matrix / matrix[2, 2], size=size, mirrored=self.mirrored)
