"""A plain sheet to draw on with Pillow: title, lines, arrows, words; its colours do not rely on red against green."""

from __future__ import annotations

from collections.abc import Sequence
from functools import cache

import numpy as np
from numpy.typing import ArrayLike
from PIL import Image, ImageDraw, ImageFont

from app.picture.values import Bytes
from keycore.measured import Floats

Colour = tuple[int, int, int]
INK: Colour = (28, 32, 38)
QUIET: Colour = (120, 126, 134)
RULE: Colour = (214, 218, 223)
PAPER: Colour = (255, 255, 255)
BLUE: Colour = (0, 90, 181)
ORANGE: Colour = (220, 110, 0)
SKY: Colour = (86, 180, 233)
YELLOW: Colour = (250, 200, 30)
MARGIN = 24
DASH = 8.0
TITLE_SIZE, TEXT_SIZE, SMALL_SIZE = 26, 18, 15


@cache
def _font(size: int) -> ImageFont.FreeTypeFont | ImageFont.ImageFont:
    return ImageFont.load_default(size)


class Plate:
    """One sheet.  Positions are sheet pixels, x right and y down; the drawing area begins under the head."""

    def __init__(self, size: tuple[int, int], title: str, words: Sequence[str] = ()) -> None:
        """Lay out a title and lines of explanation over a drawing area of ``size`` (width, height) pixels."""
        self.width = size[0] + 2 * MARGIN
        self.left = MARGIN
        lines = [line for text in words for line in _folded(text, size[0])]
        self.top = MARGIN + TITLE_SIZE + 14 + len(lines) * (TEXT_SIZE + 7) + 8
        self.height = self.top + size[1] + MARGIN
        self.image = Image.new("RGB", (self.width, self.height), PAPER)
        self._draw = ImageDraw.Draw(self.image)
        self.words((self.left, MARGIN), title, size=TITLE_SIZE, anchor="la")
        for number, line in enumerate(lines):
            at = (self.left, MARGIN + TITLE_SIZE + 14 + number * (TEXT_SIZE + 7))
            self.words(at, line, colour=QUIET, anchor="la")

    def paste(self, pixels: Bytes, at: tuple[float, float]) -> None:
        """Put (rows, columns) or (rows, columns, 3) pixels at ``at``."""
        self.image.paste(Image.fromarray(pixels).convert("RGB"), (round(at[0]), round(at[1])))

    def line(self, points: ArrayLike, colour: Colour, width: int = 2, *, dashed: bool = False) -> None:
        """Draw a line through (n, 2) points."""
        xy = np.asarray(points, dtype=float)
        if not dashed:
            self._draw.line([tuple(point) for point in xy.tolist()], fill=colour, width=width, joint="curve")
            return
        run = np.concatenate([[0.0], np.cumsum(np.hypot(*np.diff(xy, axis=0).T))])
        for start in np.arange(0.0, run[-1], 2 * DASH):
            at = np.array([start, *run[(run > start) & (run < start + DASH)], min(start + DASH, run[-1])])
            dash = np.stack([np.interp(at, run, xy[:, 0]), np.interp(at, run, xy[:, 1])], axis=-1)
            self._draw.line([tuple(point) for point in dash.tolist()], fill=colour, width=width)

    def arrow(self, start: ArrayLike, end: ArrayLike, colour: Colour, width: int = 3) -> None:
        """Draw an arrow."""
        a, b = np.asarray(start, dtype=float), np.asarray(end, dtype=float)
        along = (b - a) / max(float(np.hypot(*(b - a))), 1e-9)
        across = np.array([-along[1], along[0]])
        head = 5.0 * width
        self.line([a, b - 0.7 * head * along], colour, width)
        self.area([b, b - head * along + 0.45 * head * across, b - head * along - 0.45 * head * across], colour)

    def area(self, points: ArrayLike, colour: Colour) -> None:
        """Fill a figure with (n, 2) corners."""
        self._draw.polygon([tuple(point) for point in np.asarray(points, dtype=float).tolist()], fill=colour)

    def box(
        self, x: tuple[float, float], y: tuple[float, float], fill: Colour | None, outline: Colour | None = None
    ) -> None:
        """Draw an upright box."""
        corners = (min(x), min(y), max(x), max(y))
        self._draw.rectangle(corners, fill=fill, outline=outline)

    def dot(self, at: ArrayLike, colour: Colour, radius: float = 5.0) -> None:
        """Draw a dot with a light rim."""
        x, y = np.asarray(at, dtype=float)
        for size, fill in ((radius + 2, PAPER), (radius, colour)):
            self._draw.ellipse((x - size, y - size, x + size, y + size), fill=fill)

    def words(
        self,
        at: ArrayLike,
        text: str,
        *,
        colour: Colour = INK,
        size: int = TEXT_SIZE,
        anchor: str = "mm",
        rim: Colour | None = None,
        over_picture: bool = False,
    ) -> None:
        """Write words, with a rim that keeps them apart from what lies behind; over a picture they stay on the sheet.

        ``anchor`` is Pillow's: left, middle or right, then ascender, middle and so on.
        """
        x, y = np.asarray(at, dtype=float)
        rim = PAPER if over_picture else rim
        if over_picture:
            reach = self._draw.textlength(text, font=_font(size)) * {"l": 0.0, "m": 0.5, "r": 1.0}[anchor[0]]
            x = float(np.clip(x, 4 + reach, max(4 + reach, self.width - 4)))
        self._draw.text(
            (x, y),
            text,
            fill=colour,
            font=_font(size),
            anchor=anchor,
            stroke_width=0 if rim is None else 3,
            stroke_fill=rim,
        )

    def pixels(self) -> Bytes:
        """(rows, columns, 3) of the whole sheet."""
        return np.asarray(self.image, dtype=np.uint8)


def _folded(text: str, width: int) -> list[str]:
    """Break a text into lines that fit."""
    lines: list[str] = []
    line = ""
    for word in text.split():
        longer = f"{line} {word}".strip()
        if line and _font(TEXT_SIZE).getlength(longer) > width:
            lines.append(line)
            line = word
        else:
            line = longer
    return [*lines, line]


def heat(share: Floats) -> Bytes:
    """(rows, columns, 3) colours of shares 0 to 1, from pale yellow to dark violet, which darkens evenly."""
    at = np.linspace(0.0, 1.0, 5)
    stops = np.array([(255, 247, 180), (253, 190, 70), (235, 100, 60), (160, 25, 110), (50, 0, 80)], dtype=float)
    flat = np.clip(share, 0.0, 1.0)
    return np.stack([np.interp(flat, at, stops[:, k]) for k in range(3)], axis=-1).astype(np.uint8)
