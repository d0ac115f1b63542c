"""A drawing in millimetres that comes out the same as a picture, as SVG and in a PDF.

x right, y down, both in mm from the drawing's top left corner.
"""

from __future__ import annotations

import base64
import io
from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from typing import Any, Literal
from xml.sax.saxutils import escape, quoteattr

import numpy as np
from numpy.typing import NDArray
from PIL import Image as PilImage
from PIL import ImageDraw
from reportlab.lib.colors import HexColor
from reportlab.lib.utils import ImageReader

from app.paper.fonts import FAMILY, Weight, drawable, font_name, picture_font, text_width_mm

PT_PER_MM = 72 / 25.4
Anchor = Literal["start", "middle", "end"]
XY = tuple[float, float]


@dataclass(frozen=True)
class Line:
    """A line through points; closed and filled where ``fill`` is given."""

    points: tuple[XY, ...]
    width_mm: float = 0.2
    colour: str = "#000000"
    dash_mm: tuple[float, ...] = ()
    fill: str | None = None
    closed: bool = False


@dataclass(frozen=True)
class Text:
    """One line of text; ``at`` is on its base line; size is the height of the em."""

    at: XY
    text: str
    size_mm: float = 3.0
    weight: Weight = "plain"
    anchor: Anchor = "start"
    colour: str = "#000000"

    @property
    def box(self) -> tuple[float, float, float, float]:
        """x0, y0, x1, y1 that hold the ink, about."""
        width = text_width_mm(self.text, self.size_mm, self.weight)
        left = self.at[0] - {"start": 0.0, "middle": width / 2, "end": width}[self.anchor]
        return left, self.at[1] - 0.76 * self.size_mm, left + width, self.at[1] + 0.24 * self.size_mm


@dataclass(frozen=True)
class Picture:
    """A picture stretched over a box."""

    at: XY
    size_mm: XY
    pixels: NDArray[np.uint8]


Item = Line | Text | Picture


@dataclass
class Drawing:
    """Items in the order in which they are laid down."""

    width_mm: float
    height_mm: float
    items: list[Item] = field(default_factory=list)

    def line(self, points: Sequence[XY], **style: Any) -> None:
        """Add a line."""
        self.items.append(Line(tuple((float(x), float(y)) for x, y in points), **style))

    def text(self, at: XY, text: str, **style: Any) -> None:
        """Add a line of text; letters that no face has are replaced."""
        self.items.append(Text(at, drawable(text.replace("\u00a0", " "), style.get("weight", "plain")), **style))

    def picture(self, at: XY, size_mm: XY, pixels: NDArray[np.uint8]) -> None:
        """Add a picture."""
        self.items.append(Picture(at, size_mm, np.ascontiguousarray(pixels)))

    def wrapped(self, at: XY, text: str, width_mm: float, size_mm: float = 3.0, **style: Any) -> float:
        """Add text broken over lines; returns the y below it."""
        y = at[1]
        for row in wrap(text, width_mm, size_mm, style.get("weight", "plain")):
            self.text((at[0], y), row, size_mm=size_mm, **style)
            y += 1.35 * size_mm
        return y

    def padded(self, pad_mm: float) -> Drawing:
        """The same with free space on all sides."""
        moved = [_moved(item, pad_mm, pad_mm) for item in self.items]
        return Drawing(self.width_mm + 2 * pad_mm, self.height_mm + 2 * pad_mm, moved)

    def place(self, other: Drawing, at: XY) -> None:
        """Lay another drawing's items onto this one."""
        self.items += [_moved(item, *at) for item in other.items]

    def to_image(self, dpi: float) -> PilImage.Image:
        """As a picture; lines are drawn at three times the size and shrunk, so that they come out smooth."""
        finer = 3
        k = dpi / 25.4
        size = (round(self.width_mm * k), round(self.height_mm * k))
        image = PilImage.new("RGB", size, "white")
        pending: list[Line] = []
        for item in [*self.items, None]:
            if isinstance(item, Line):
                pending.append(item)
                continue
            if pending:
                image = _with_lines(image, pending, k, finer)
                pending = []
            if isinstance(item, Picture):
                box = [round(c * k) for c in (*item.at, item.at[0] + item.size_mm[0], item.at[1] + item.size_mm[1])]
                tile = PilImage.fromarray(item.pixels).convert("RGB")
                image.paste(
                    tile.resize((box[2] - box[0], box[3] - box[1]), PilImage.Resampling.LANCZOS), (box[0], box[1])
                )
            elif isinstance(item, Text):
                font = picture_font(item.text, item.size_mm * k, item.weight)
                anchor = {"start": "ls", "middle": "ms", "end": "rs"}[item.anchor]
                draw = ImageDraw.Draw(image)
                draw.text((item.at[0] * k, item.at[1] * k), item.text, font=font, anchor=anchor, fill=item.colour)
        return image

    def to_svg(self, title: str = "") -> str:
        """As SVG whose user unit is the millimetre."""
        w, h = self.width_mm, self.height_mm
        out = [
            '<?xml version="1.0" encoding="UTF-8"?>',
            f'<svg xmlns="http://www.w3.org/2000/svg" width="{w:g}mm" height="{h:g}mm" viewBox="0 0 {w:g} {h:g}">',
            f"<title>{escape(title)}</title>",
            f'<rect width="{w:g}" height="{h:g}" fill="#ffffff"/>',
        ]
        out += [_svg_item(item) for item in self.items]
        return "\n".join([*out, "</svg>\n"])

    def on_canvas(self, canvas: Any, left_pt: float, top_pt: float) -> None:
        """Draw on a reportlab canvas with the drawing's top left corner at (left, top) in points."""
        canvas.saveState()
        canvas.translate(left_pt, top_pt)
        canvas.scale(PT_PER_MM, PT_PER_MM)
        for item in self.items:
            _pdf_item(canvas, item)
        canvas.restoreState()


def _moved(item: Item, dx: float, dy: float) -> Item:
    if isinstance(item, Line):
        return replace(item, points=tuple((x + dx, y + dy) for x, y in item.points))
    return replace(item, at=(item.at[0] + dx, item.at[1] + dy))


def wrap(text: str, width_mm: float, size_mm: float, weight: Weight = "plain") -> list[str]:
    """Break text into lines that are not wider than the width; a word longer than a line is broken within."""
    rows: list[str] = []
    for paragraph in text.split("\n"):
        row = ""
        for word in paragraph.split(" "):
            while text_width_mm(word, size_mm, weight) > width_mm and len(word) > 1:
                cut = len(word) - 1
                while cut > 1 and text_width_mm(word[:cut], size_mm, weight) > width_mm:
                    cut -= 1
                if row:
                    rows.append(row)
                    row = ""
                rows.append(word[:cut])
                word = word[cut:]
            longer = f"{row} {word}".strip()
            if text_width_mm(longer, size_mm, weight) > width_mm:
                rows.append(row)
                row = word
            else:
                row = longer
        rows.append(row)
    return rows


def _with_lines(image: PilImage.Image, lines: list[Line], k: float, finer: int) -> PilImage.Image:
    xs = [x for line in lines for x, _ in line.points]
    ys = [y for line in lines for _, y in line.points]
    pad = 2 + k * max(line.width_mm for line in lines)
    x0, y0 = max(0, int(min(xs) * k - pad)), max(0, int(min(ys) * k - pad))
    x1, y1 = min(image.width, int(max(xs) * k + pad) + 1), min(image.height, int(max(ys) * k + pad) + 1)
    if x1 <= x0 or y1 <= y0:
        return image
    part = image.crop((x0, y0, x1, y1))
    big = part.resize((part.width * finer, part.height * finer), PilImage.Resampling.NEAREST)
    draw = ImageDraw.Draw(big)
    f = k * finer
    for line in lines:
        points = [((x * k - x0) * finer, (y * k - y0) * finer) for x, y in line.points]
        if line.fill is not None and len(points) > 2:
            draw.polygon(points, fill=line.fill)
        if line.width_mm <= 0:
            continue
        if line.closed:
            points.append(points[0])
        width = max(1, round(line.width_mm * f))
        for piece in _dashed(points, [d * f for d in line.dash_mm]):
            draw.line(piece, fill=line.colour, width=width, joint="curve")
    image.paste(big.resize(part.size, PilImage.Resampling.BOX), (x0, y0))
    return image


def _dashed(points: list[XY], dash: list[float]) -> list[list[XY]]:
    """A line cut into its dashes."""
    if not dash:
        return [points]
    pieces: list[list[XY]] = []
    index, left, on = 0, dash[0], True
    piece = [points[0]]
    for (ax, ay), (bx, by) in zip(points, points[1:], strict=False):
        length = float(np.hypot(bx - ax, by - ay))
        done = 0.0
        while length - done > left:
            done += left
            at = (ax + (bx - ax) * done / length, ay + (by - ay) * done / length)
            if on:
                pieces.append([*piece, at])
            on, index = not on, index + 1
            left = dash[index % len(dash)]
            piece = [at]
        left -= length - done
        piece.append((bx, by))
    if on and len(piece) > 1:
        pieces.append(piece)
    return pieces


def _svg_item(item: Item) -> str:
    if isinstance(item, Line):
        points = " ".join(f"{x:.4f},{y:.4f}" for x, y in item.points)
        dash = f' stroke-dasharray="{" ".join(f"{d:g}" for d in item.dash_mm)}"' if item.dash_mm else ""
        shape = "polygon" if item.closed else "polyline"
        stroke = f'stroke="{item.colour}" stroke-width="{item.width_mm:g}"' if item.width_mm > 0 else 'stroke="none"'
        return f'<{shape} points="{points}" fill="{item.fill or "none"}" {stroke}{dash} stroke-linejoin="round"/>'
    if isinstance(item, Text):
        width = text_width_mm(item.text, item.size_mm, item.weight)
        weight = ' font-weight="bold"' if item.weight == "bold" else ""
        place = f'x="{item.at[0]:.3f}" y="{item.at[1]:.3f}" text-anchor="{item.anchor}"'
        face = f'font-family={quoteattr(FAMILY)} font-size="{item.size_mm:g}"{weight} fill="{item.colour}"'
        fit = f'textLength="{width:.3f}" lengthAdjust="spacingAndGlyphs" xml:space="preserve"'
        return f"<text {place} {face} {fit}>{escape(item.text)}</text>"
    data = base64.b64encode(_png(item.pixels)).decode()
    place = f'x="{item.at[0]:.3f}" y="{item.at[1]:.3f}" width="{item.size_mm[0]:.3f}" height="{item.size_mm[1]:.3f}"'
    return f'<image {place} preserveAspectRatio="none" href="data:image/png;base64,{data}"/>'


def _png(pixels: NDArray[np.uint8]) -> bytes:
    out = io.BytesIO()
    PilImage.fromarray(pixels).save(out, "PNG")
    return out.getvalue()


def _pdf_item(canvas: Any, item: Item) -> None:
    if isinstance(item, Line):
        canvas.setStrokeColor(HexColor(item.colour))
        canvas.setLineWidth(item.width_mm)
        canvas.setDash(list(item.dash_mm))
        path = canvas.beginPath()
        path.moveTo(item.points[0][0], -item.points[0][1])
        for x, y in item.points[1:]:
            path.lineTo(x, -y)
        if item.closed:
            path.close()
        if item.fill is not None:
            canvas.setFillColor(HexColor(item.fill))
        canvas.setLineJoin(1)
        canvas.drawPath(path, stroke=int(item.width_mm > 0), fill=int(item.fill is not None))
    elif isinstance(item, Text):
        canvas.setFillColor(HexColor(item.colour))
        canvas.setFont(font_name(item.weight, item.text), item.size_mm)
        draw = {"start": canvas.drawString, "middle": canvas.drawCentredString, "end": canvas.drawRightString}
        draw[item.anchor](item.at[0], -item.at[1], item.text)
    else:
        canvas.drawImage(
            ImageReader(PilImage.fromarray(item.pixels)),
            item.at[0],
            -item.at[1] - item.size_mm[1],
            item.size_mm[0],
            item.size_mm[1],
        )
