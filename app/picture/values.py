"""The values that pass between the stages of reading a picture: Picture, Straight, Blade, PictureReading.

Spaces
------
``picture_xy``   pixels of the picture as stored, after its orientation tag; x right, y down, pixel centres at whole
                 numbers.  Marks live here.
``straight_xy``  pixels of the straightened picture: same handedness unless ``mirrored``; the blade lies level, bow at
                 the left, tip at the right, and for a single edge the cuts are uppermost and the back lowermost.
A straightened picture is a map, not a resampled copy: measuring samples the original through it.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING, Literal

import numpy as np
from numpy.typing import NDArray

from keycore.marks import Marks
from keycore.measured import Floats, Readings

if TYPE_CHECKING:
    from app.picture.reread import KeptFit

Bytes = NDArray[np.uint8]


@dataclass(frozen=True)
class Picture:
    """A picture as it came: its pixels the right way up, its claims, and what file they came from.

    Attributes
    ----------
    name
        File name (never a path) or "pasted picture".
    rgb
        (rows, columns, 3) uint8 sRGB, or (rows, columns) for a grey picture; read-only.
    dpi
        (x, y) that the file claims, or None.  A claim, not a measurement.
    sha256
        Of the file's own bytes, hex.
    turned
        Which turn the orientation tag asked for and the loader applied, in words; "" for none.
    page
        1-based page of a PDF or TIFF, else 1.
    """

    name: str
    rgb: Bytes
    dpi: tuple[float, float] | None
    sha256: str
    turned: str = ""
    page: int = 1
    pages: int = 1

    @property
    def size(self) -> tuple[int, int]:
        """(width, height) in pixels."""
        return int(self.rgb.shape[1]), int(self.rgb.shape[0])


@dataclass(frozen=True)
class Straight:
    """How straightened positions map to the picture.

    Attributes
    ----------
    to_picture
        (3, 3) homography from ``straight_xy`` to ``picture_xy``.
    size
        (width, height) of the straightened picture in its pixels.
    mirrored
        True where the map turns the key over (it lies with its other face up).
    """

    to_picture: Floats
    size: tuple[int, int]
    mirrored: bool = False

    def picture_xy(self, straight_xy: Floats) -> Floats:
        """(..., 2) straightened positions to picture positions."""
        return _apply(self.to_picture, straight_xy)

    def straight_xy(self, picture_xy: Floats) -> Floats:
        """(..., 2) picture positions to straightened positions."""
        return _apply(np.asarray(np.linalg.inv(self.to_picture), dtype=float), picture_xy)


def _apply(homography: Floats, xy: Floats) -> Floats:
    xy = np.asarray(xy, dtype=float)
    mapped = xy @ homography[:, :2].T + homography[:, 2]
    return np.asarray(mapped[..., :2] / mapped[..., 2:], dtype=float)


@dataclass(frozen=True)
class Blade:
    """The blade in straightened pixels.

    Attributes
    ----------
    shoulder_x, tip_x
        Where the blade starts and ends; None where it was not seen.
    back_y0, back_slope
        Back (or, for double keys, centreline): y = back_y0 + back_slope * x.
    back_sigma_px
        Standard uncertainty of the back's offset over the cuts.
    top_y
        The uncut edge at full blade height; None where no uncut stretch was seen.
    outline
        (n, 2) straightened positions of the visible edge, for drawing; may be empty.
    """

    shoulder_x: float | None
    tip_x: float | None
    back_y0: float
    back_slope: float
    back_sigma_px: float
    top_y: float | None
    outline: Floats


@dataclass(frozen=True)
class Moved:
    """How far the program moved one mark of a hand when it refined it on the picture."""

    mark: str
    distance_px: float
    status: Literal["refined", "kept", "not found"]


@dataclass(frozen=True)
class PictureReading:
    """One key read from one picture, before any decision about its code."""

    straight: Straight
    blade: Blade
    readings: Readings
    marks: Marks
    """All marks, in picture pixels: the hand's where there were any (refined), the program's own elsewhere."""
    moved: tuple[Moved, ...]
    warnings: tuple[str, ...]
    kept: KeptFit | None = field(default=None, compare=False, repr=False)
    """What a reading with other marks can go on from; None where nothing was kept (a reading off a record)."""
