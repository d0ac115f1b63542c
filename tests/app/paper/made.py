"""What paper tests are made of: an invented job on a shipped invented table, and a ruler for rendered pages."""

from __future__ import annotations

import math
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


def ink(pdf: bytes, box_mm: tuple[float, float, float, float], dpi: float = 2400, page: int = 0):
    """Darkness (0..1) of a box (x0, y0, x1, y1 from the page's top left) of a rendered page, mm per pixel, and where
    the first pixel's outer corner lies, mm: a renderer works in whole pixels, so neither is quite what was asked."""
    document = pdfium.PdfDocument(pdf)
    sheet = document[page]
    scale = dpi / 72
    points = sheet.get_size()
    pixels = [math.ceil(side * scale) for side in points]  # the page is stretched to whole pixels
    mm = [side / PT / count for side, count in zip(points, pixels, strict=True)]
    first = [math.floor(box_mm[0] / mm[0]), math.floor(box_mm[1] / mm[1])]
    last = [math.ceil(box_mm[2] / mm[0]), math.ceil(box_mm[3] / mm[1])]
    tidy = 0.25  # of a pixel, so that rounding up gives the whole number that is meant
    crop = [first[0] - tidy, pixels[1] - last[1] - tidy, pixels[0] - last[0] - tidy, first[1] - tidy]
    image = sheet.render(scale=scale, crop=tuple(max(0.0, c) / scale for c in crop), grayscale=True).to_numpy()
    document.close()
    assert image.shape[:2] == (last[1] - first[1], last[0] - first[0])
    dark = 1 - image.reshape(image.shape[:2]).astype(float) / 255
    return dark, mm, (first[0] * mm[0], first[1] * mm[1])


def line_at(pdf: bytes, box_mm: tuple[float, float, float, float], across: bool) -> float:
    """Middle of the one line in a box: its y where ``across`` is true, else its x, in mm from the page's corner."""
    dark, mm, start = ink(pdf, box_mm)
    sums = dark.sum(axis=1 if across else 0)
    places = (np.arange(len(sums)) + 0.5) * mm[1 if across else 0] + start[1 if across else 0]
    return float((sums * places).sum() / sums.sum())
