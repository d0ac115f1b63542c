"""How the job sheet looks: faces, tables, drawings in the flow, and the foot of every page."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any
from xml.sax.saxutils import escape

from reportlab.lib.colors import black, white
from reportlab.lib.styles import ParagraphStyle
from reportlab.pdfgen.canvas import Canvas
from reportlab.platypus import Flowable, KeepTogether, Paragraph, Spacer, Table, TableStyle

from app.paper.drawing import PT_PER_MM, Drawing, wrap
from app.paper.fonts import Weight, drawable, font_name
from keycore.job import Entitlement

WIDTH = 180.0 * PT_PER_MM
SMALL, BODY, HEAD = 7.6, 8.8, 11.0
FOOT_MM = 12.0
"""Room over the margin for the foot of every page: two rows for the entitlement, one for the caution."""
FOOT, FOOT_ROW = 6.8, 8.6


def words(text: str, size: float = BODY, weight: Weight = "plain", space: float = 2.0, align: int = 0) -> Paragraph:
    """One paragraph of plain text; nothing in it is taken as markup."""
    text = drawable(text.replace("\u00a0", " "), weight)
    face = font_name(weight, text)
    style = ParagraphStyle(
        f"{face}{size}", fontName=face, fontSize=size, leading=size * 1.3, spaceAfter=space, alignment=align
    )
    return Paragraph(escape(text).replace("\n", "<br/>"), style)


def head(text: str) -> Flowable:
    """The heading of a part."""
    return words(text, HEAD, "bold", 3.0)


def part(title: str, *body: Flowable, together: bool = True) -> list[Flowable]:
    """A part of the sheet with its heading, kept on one page where it fits."""
    gap = Spacer(1, 9.0)
    if together:
        return [KeepTogether([head(title), *body]), gap]
    return [KeepTogether([head(title), body[0]]), *body[1:], gap]


def table(
    rows: Sequence[Sequence[str | Flowable]],
    widths_mm: Sequence[float],
    *,
    headed: bool = True,
    right: Sequence[int] = (),
    lined: bool = True,
    tall_mm: float | None = None,
) -> Table:
    """A ruled table; ``right`` names the columns set to the right, ``tall_mm`` gives rows room for handwriting."""
    cells = []
    for i, row in enumerate(rows):
        weight: Weight = "bold" if headed and i == 0 else "plain"
        cells.append(
            [
                cell if isinstance(cell, Flowable) else words(cell, SMALL, weight, 0.0, 2 if j in right else 0)
                for j, cell in enumerate(row)
            ]
        )
    height = None if tall_mm is None else [None if headed and i == 0 else tall_mm * PT_PER_MM for i in range(len(rows))]
    made = Table(cells, [w * PT_PER_MM for w in widths_mm], height, repeatRows=1 if headed else 0, hAlign="LEFT")
    style: list[Any] = [
        ("VALIGN", (0, 0), (-1, -1), "MIDDLE" if tall_mm else "TOP"),
        ("TOPPADDING", (0, 0), (-1, -1), 1.6),
        ("BOTTOMPADDING", (0, 0), (-1, -1), 2.2),
        ("LEFTPADDING", (0, 0), (-1, -1), 2.5),
        ("RIGHTPADDING", (0, 0), (-1, -1), 2.5),
    ]
    style += [
        ("LEFTPADDING", (j + 1, 0), (j + 1, -1), 9.0) for j in right if j + 1 not in right and j + 1 < len(rows[0])
    ]
    if lined:
        style.append(("LINEBELOW", (0, 0), (-1, -1), 0.25, black))
    else:
        style += [("LEFTPADDING", (0, 0), (0, -1), 0.0), ("RIGHTPADDING", (-1, 0), (-1, -1), 0.0)]
    if headed:
        style.append(("LINEBELOW", (0, 0), (-1, 0), 0.8, black))
    made.setStyle(TableStyle(style))
    return made


def framed(*body: Flowable) -> Table:
    """Flowables in a box."""
    box = Table([[list(body)]], [WIDTH], hAlign="LEFT")
    box.setStyle(TableStyle([("BOX", (0, 0), (-1, -1), 0.8, black), ("BACKGROUND", (0, 0), (-1, -1), white)]))
    return box


class Drawn(Flowable):  # type: ignore[misc]
    """A drawing in the flow of a page, at its own size or shrunk to fit the width."""

    def __init__(self, drawing: Drawing, most_mm: float = 180.0) -> None:
        super().__init__()
        self.drawing = drawing
        self.shrink = min(1.0, most_mm / drawing.width_mm)
        self.width = drawing.width_mm * PT_PER_MM * self.shrink
        self.height = drawing.height_mm * PT_PER_MM * self.shrink

    def wrap(self, width: float, height: float) -> tuple[float, float]:
        """Size in points."""
        return self.width, self.height

    def draw(self) -> None:
        """Draw on the page's canvas."""
        self.canv.saveState()
        self.canv.translate(0, self.height)
        self.canv.scale(self.shrink, self.shrink)
        self.drawing.on_canvas(self.canv, 0, 0)
        self.canv.restoreState()


def page_words(job_number: str, entitlement: Entitlement) -> tuple[str, str]:
    """The two lines at the foot of every page."""
    when = "" if entitlement.seen_on is None else f" on {entitlement.seen_on:%Y-%m-%d}"
    return (
        f"Job {job_number}. Asked by {entitlement.asked_by}; proof seen by {entitlement.seen_by}{when}.",
        "This paper can open somebody's door: keep it locked away.",
    )


class NumberedCanvas(Canvas):  # type: ignore[misc]
    """A canvas that knows how many pages there are before it writes their feet."""

    def __init__(self, *positions: Any, foot: tuple[str, str], margin: float, **names: Any) -> None:
        super().__init__(*positions, **names)
        self._foot, self._margin = foot, margin
        self._pages: list[dict[str, Any]] = []

    def showPage(self) -> None:
        """Keep the page until the number of pages is known."""
        self._pages.append(dict(self.__dict__))
        self._startPage()

    def save(self) -> None:
        """Write every page with its foot."""
        pages = self._pages
        for number, state in enumerate(pages, 1):
            self.__dict__.update(state)
            self._draw_foot(number, len(pages))
            super().showPage()
        super().save()

    def _draw_foot(self, number: int, count: int) -> None:
        width, y = self._pagesize[0], self._margin
        top = y + FOOT_MM * PT_PER_MM - 8.0
        self.setLineWidth(0.4)
        self.line(self._margin, top, width - self._margin, top)
        room = width - 2 * self._margin - 60
        rows = [*_rows(self._foot[0], room, 2), *_rows(self._foot[1], room, 1)]
        for row, text in enumerate(rows, 1):
            self.setFont(font_name("plain", text), FOOT)
            self.drawString(self._margin, top - FOOT_ROW * row, text)
        self.setFont(font_name("plain"), FOOT)
        self.drawRightString(width - self._margin, top - FOOT_ROW, f"page {number} of {count}")


def _rows(text: str, width: float, most: int) -> list[str]:
    """Text broken into at most so many rows of the foot; what has no room is left out, with three dots."""
    text = drawable(text)
    rows = wrap(text, width, FOOT)
    while len(rows) > most:
        text = text.removesuffix("...")[:-4].rstrip() + "..."
        rows = wrap(text, width, FOOT)
    return rows
