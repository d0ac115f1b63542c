"""What paper tests are made of: an invented job on a shipped invented table, and a ruler for rendered pages."""

from __future__ import annotations

from datetime import datetime

import numpy as np
import pypdfium2 as pdfium

from app.picture.values import Blade
from keycore.decode import decode_figures
from keycore.job import Entitlement
from keycore.measured import CutReading
from keycore.spec import load_spec, parse_code

PT = 72 / 25.4
SEEN = Entitlement(
    asked_by="Keeper of the boathouse (invented)",
    proof_seen="register entry (invented)",
    seen_by="the demo's locksmith (invented)",
    seen_on=datetime(2026, 1, 15, 10, 30),
)
SPEC = load_spec("Harbourside 5")
CODE = parse_code("3-1-4-2-5", SPEC)


def decoding():
    """3-1-4-2-5 as calipers would read it off a copy at twice the size."""
    return decode_figures(16.9, [13.5, 15.5, 12.5, 14.5, 11.5], [8.4, 16.2, 24.0, 31.8, 39.6], 0.02, SPEC)


def straight_picture():
    """A grey strip with a dark blade, its Blade and its cuts: 20 px a mm, shoulder at x = 60, back at y = 240."""
    rows, columns, px = 300, 700, 20.0
    x = np.arange(columns)
    top = np.full(columns, 240 - 8.4 * px)
    for at, root in zip(SPEC.cut_positions_mm, (6.7, 7.7, 6.2, 7.2, 5.7), strict=True):
        floor = root + np.maximum(0, np.abs((x - 60) / px - at) - 0.4)
        top = np.maximum(top, 240 - px * floor)
    inside = (np.arange(rows)[:, None] > top) & (np.arange(rows)[:, None] < 240) & (x > 60) & (x < 610)
    rgb = np.where(inside, 90, 230).astype(np.uint8)
    blade = Blade(60.0, 610.0, 240.0, 0.0, 0.5, 240 - 8.4 * px, np.column_stack([x, top])[61:600])
    cuts = tuple(
        CutReading(root * px, 0.5, at * px, 0.5)
        for at, root in zip(SPEC.cut_positions_mm, (6.7, 7.7, 6.2, 7.2, 5.7), strict=True)
    )
    return np.repeat(rgb[:, :, None], 3, axis=2), blade, cuts


def ink(pdf: bytes, box_mm: tuple[float, float, float, float], dpi: float = 1200, page: int = 0):
    """Darkness (0..1) of a box (x0, y0, x1, y1 from the page's top left) of a rendered page, and mm per pixel."""
    document = pdfium.PdfDocument(pdf)
    sheet = document[page]
    width, height = sheet.get_size()
    x0, y0, x1, y1 = (c * PT for c in box_mm)
    scale = dpi / 72
    image = sheet.render(scale=scale, crop=(x0, height - y1, width - x1, y0), grayscale=True).to_numpy()
    document.close()
    return 1 - image.reshape(image.shape[:2]).astype(float) / 255, 25.4 / dpi


def line_at(pdf: bytes, box_mm: tuple[float, float, float, float], across: bool) -> float:
    """Middle of the one line in a box: its y where ``across`` is true, else its x, in mm from the page's corner."""
    dark, mm = ink(pdf, box_mm)
    sums = dark.sum(axis=1 if across else 0)
    places = (np.arange(len(sums)) + 0.5) * mm
    return float((sums * places).sum() / sums.sum()) + (box_mm[1] if across else box_mm[0])
