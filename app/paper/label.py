"""A label for the key tag: the job's number and date, and the code only where somebody asks for it.

The customer's name and address are never on it: a key that is found with its owner's address opens that door.
"""

from __future__ import annotations

import io
from datetime import date

from reportlab.pdfgen.canvas import Canvas

from app.paper.drawing import PT_PER_MM, Drawing
from app.paper.fonts import text_width_mm
from app.paper.words import require_entitlement
from keycore.codes import Code, format_code
from keycore.job import Entitlement
from keycore.refusal import Refusal
from keycore.spec import KeySpec

USUAL_SIZE_MM = (50.0, 20.0)
SMALLEST_MM, LARGEST_MM = 12.0, 120.0
MOST_COPIES = 100
MARGIN_MM = 2.0
TITLE_MM, LINE_MM = 4.6, 3.0


def label_drawing(
    job_number: str,
    *,
    made_on: date | None = None,
    table: str = "",
    code: Code | None = None,
    spec: KeySpec | None = None,
    entitlement: Entitlement | None = None,
    size_mm: tuple[float, float] = USUAL_SIZE_MM,
) -> Drawing:
    """One label as a drawing.

    Parameters
    ----------
    table
        The table's name, where the tag is to say it.
    code, spec, entitlement
        For a tag with the code on it; refused until the entitlement is whole.
    """
    width, height = size_mm
    if not all(SMALLEST_MM <= side <= LARGEST_MM for side in size_mm):
        raise Refusal(
            f"A label's sides lie between {SMALLEST_MM:g} and {LARGEST_MM:g} mm; got {width:g} x {height:g}.",
            code="label.size",
        )
    rows = [(job_number, TITLE_MM, True)]
    if code is not None:
        if spec is None:
            raise Refusal("A label with the code needs the code's depth table.", code="label.no-table")
        require_entitlement(entitlement, spec, "A label with the code")
        rows.append((format_code(code, spec), TITLE_MM, True))
    foot = "  ".join(part for part in (table, "" if made_on is None else f"{made_on:%Y-%m-%d}") if part)
    if foot:
        rows.append((foot, LINE_MM, False))
    drawing = Drawing(width, height)
    room = height - 2 * MARGIN_MM
    tall = sum(1.3 * size for _, size, _ in rows)
    shrink = min(1.0, room / tall)
    y = (height - shrink * tall) / 2
    for words, size, bold in rows:
        weight = "bold" if bold else "plain"
        fitted = shrink * size
        wide = text_width_mm(words, fitted, "bold" if bold else "plain")
        fitted *= min(1.0, (width - 2 * MARGIN_MM) / wide)
        y += 1.3 * shrink * size
        drawing.text((width / 2, y - 0.35 * shrink * size), words, size_mm=fitted, weight=weight, anchor="middle")
    return drawing


def label_pdf(drawing: Drawing, job_number: str, copies: int = 1) -> bytes:
    """Labels as a PDF, one a page, each page as large as the label."""
    if not 1 <= copies <= MOST_COPIES:
        raise Refusal(f"Between 1 and {MOST_COPIES} labels are made at once; got {copies}.", code="label.copies")
    out = io.BytesIO()
    size = (drawing.width_mm * PT_PER_MM, drawing.height_mm * PT_PER_MM)
    canvas = Canvas(out, pagesize=size, pageCompression=1, invariant=1)
    canvas.setTitle(f"Label, job {job_number}")
    canvas.setCreator("Valleygauge")
    canvas.setViewerPreference("PrintScaling", "None")
    for _ in range(copies):
        drawing.on_canvas(canvas, 0, size[1])
        canvas.showPage()
    canvas.save()
    return out.getvalue()
