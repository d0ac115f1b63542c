"""A page of a PDF to pixels: the embedded scan itself where the page is one scan, a rendering otherwise.

A rendering resamples every pixel and rounds the page's size up, so a page that shows one picture and nothing else is
not rendered: the picture's own pixels are taken, and its dpi from the size at which the page shows it.  Whether the
page really shows just that picture is seen by comparing a small rendering of the page with the picture laid on white.
"""

from __future__ import annotations

import ctypes
import math
import threading
from typing import TYPE_CHECKING, Any, Final

import numpy as np
from PIL import Image

from app.picture.limits import check_size, no_such_page
from app.picture.values import Bytes
from keycore.refusal import Refusal

if TYPE_CHECKING:
    import pypdfium2

RENDER_DPI: Final = 600.0
"""For pages with no picture in them that could say better."""
_DPI_RANGE: Final = (150.0, 1200.0)
_POINTS_PER_INCH: Final = 72.0
_BLOCKS: Final = 48
_BLOCK_DIFFERENCE: Final = 20.0
_INVISIBLE_TEXT: Final = 3

_pdfium_lock = threading.Lock()
"""PDFium may not be used by two threads at once, even on two documents."""

Dpi = tuple[float, float]


def open_pdf_page(data: bytes, name: str, page: int, max_pixels: int) -> tuple[Bytes, Dpi, str, int]:
    """Pixels (own memory), dpi (x, y), turn in words, and number of pages."""
    try:
        import pypdfium2
    except ImportError as error:
        raise Refusal(
            "PDF pages need the package pypdfium2; install it, or save the page as PNG.", code="picture.no-pdf"
        ) from error
    with _pdfium_lock:
        try:
            document = pypdfium2.PdfDocument(data)
        except pypdfium2.PdfiumError as error:
            raise _unreadable(name, error) from error
        try:
            return _open_page(document, name, page, max_pixels)
        except pypdfium2.PdfiumError as error:
            raise _unreadable(name, error) from error
        finally:
            document.close()


def _unreadable(name: str, error: Exception) -> Refusal:
    if "password" in str(error).lower():
        return Refusal(
            f'"{name}" is locked by a password; open it in a PDF reader, save an unlocked copy, and open that.',
            code="picture.pdf-locked",
        )
    return Refusal(
        f'"{name}" begins like a PDF but cannot be read; copy it again from where it came from, or print it to a new '
        "PDF.",
        code="picture.damaged",
    )


def _open_page(document: pypdfium2.PdfDocument, name: str, page: int, max_pixels: int) -> tuple[Bytes, Dpi, str, int]:
    pages = len(document)
    if pages == 0:
        raise Refusal(f'"{name}" is a PDF without pages; copy it again from where it came from.', code="picture.page")
    if page > pages:
        raise no_such_page(name, page, pages)
    opened = document[page - 1]
    try:
        embedded = _embedded_scan(opened, name, max_pixels)
        if embedded is not None:
            return *embedded, pages
        rgb, dpi = _render(opened, name, max_pixels)
        return rgb, dpi, "", pages
    finally:
        opened.close()


def _embedded_scan(page: pypdfium2.PdfPage, name: str, max_pixels: int) -> tuple[Bytes, Dpi, str] | None:
    """The page's one picture as it is stored, upright, or None where the page shows anything else."""
    objects = [thing for thing in page.get_objects(max_depth=1) if not _invisible(thing)]
    images = [thing for thing in objects if _is_image(thing)]
    if len(images) != 1:
        return None
    image = images[0]
    check_size(image.get_px_size(), name, max_pixels)
    right, up = _shown_axes(image, page.get_rotation())
    lengths = math.hypot(*right), math.hypot(*up)
    if min(lengths) < 1e-3 or not _axis_aligned(right, lengths[0]) or not _axis_aligned(up, lengths[1]):
        return None
    pixels = _bitmap_pixels(image.get_bitmap(render=False))
    if pixels is None:
        return None
    dpi = pixels.shape[1] * _POINTS_PER_INCH / lengths[0], pixels.shape[0] * _POINTS_PER_INCH / lengths[1]
    upright, turned = _upright(pixels, right, up)
    if not _shows_only(page, image, upright):
        return None
    if abs(right[1]) > abs(right[0]):
        dpi = dpi[1], dpi[0]
    return np.ascontiguousarray(upright), dpi, turned


def _is_image(thing: Any) -> bool:
    import pypdfium2.raw as pdfium_c

    return bool(thing.type == pdfium_c.FPDF_PAGEOBJ_IMAGE)


def _invisible(thing: Any) -> bool:
    """True of the hidden words that a scanner's text recognition lays over a page."""
    import pypdfium2.raw as pdfium_c

    if thing.type != pdfium_c.FPDF_PAGEOBJ_TEXT:
        return False
    return bool(pdfium_c.FPDFTextObj_GetTextRenderMode(thing) == _INVISIBLE_TEXT)


def _shown_axes(image: Any, rotation: int) -> tuple[tuple[float, float], tuple[float, float]]:
    """Where the picture's own right and up point on the page as shown (points, y up)."""
    a, b, c, d, _, _ = image.get_matrix().get()
    right, up = (a, b), (c, d)
    for _ in range(rotation // 90 % 4):  # each quarter turns clockwise
        right, up = (right[1], -right[0]), (up[1], -up[0])
    return right, up


def _axis_aligned(vector: tuple[float, float], length: float) -> bool:
    return min(abs(vector[0]), abs(vector[1])) < 0.002 * length


def _upright(pixels: Bytes, right: tuple[float, float], up: tuple[float, float]) -> tuple[Bytes, str]:
    """The stored pixels as the page shows them, and the turn in words."""
    if abs(right[0]) >= abs(right[1]):
        flip_x, flip_y = right[0] < 0, up[1] < 0
        words = {(False, False): "", (True, True): "turned half round", (True, False): "mirrored left to right",
                 (False, True): "mirrored top to bottom"}  # fmt: skip
    else:
        pixels = pixels.swapaxes(0, 1)
        flip_x, flip_y = up[0] > 0, right[1] > 0
        words = {(True, False): "turned a quarter to the right", (False, True): "turned a quarter to the left",
                 (False, False): "mirrored and turned a quarter to the left",
                 (True, True): "mirrored and turned a quarter to the right"}  # fmt: skip
    turned = words[flip_x, flip_y]
    return pixels[:: -1 if flip_y else 1, :: -1 if flip_x else 1], turned


def _bitmap_pixels(bitmap: Any) -> Bytes | None:
    """(rows, columns) or (rows, columns, 3) copy of a PDFium bitmap; None for one with transparency."""
    order, raw = bitmap.mode, bitmap.to_numpy()
    if order == "L":
        return np.array(raw.reshape(raw.shape[:2]))
    if order in ("BGR", "BGRX"):
        return np.array(raw[..., 2::-1])
    if order in ("RGB", "RGBX"):
        return np.array(raw[..., :3])
    return None


def _shows_only(page: pypdfium2.PdfPage, image: Any, upright: Bytes) -> bool:
    """True where a small rendering of the page is the picture on white and nothing else, block by block."""
    width_pt, height_pt = page.get_size()
    scale = 8 * _BLOCKS / max(width_pt, height_pt)
    shown = np.asarray(page.render(scale=scale, grayscale=True).to_pil().convert("L"), float)
    expected = np.full(shown.shape, 255.0)
    corners = [_to_pixel(page, shown.shape, x, y) for x, y in image.get_quad_points()]
    left, top = (min(c[axis] for c in corners) for axis in (0, 1))
    right, bottom = (max(c[axis] for c in corners) for axis in (0, 1))
    x0, x1 = (int(np.clip(round(v), 0, shown.shape[1])) for v in (left, right))
    y0, y1 = (int(np.clip(round(v), 0, shown.shape[0])) for v in (top, bottom))
    if x1 <= x0 or y1 <= y0 or right > shown.shape[1] + 2 or bottom > shown.shape[0] + 2 or left < -2 or top < -2:
        return False
    step = max(1, min(upright.shape[0] // max(1, y1 - y0), upright.shape[1] // max(1, x1 - x0)) // 4)
    small = Image.fromarray(np.ascontiguousarray(upright[::step, ::step])).convert("L")
    expected[y0:y1, x0:x1] = np.asarray(small.resize((x1 - x0, y1 - y0), Image.Resampling.BOX), float)
    difference = shown - expected
    for x in (x0, x1):  # which side of its border a pixel falls is a matter of rounding
        difference[:, max(0, x - 2) : x + 2] = 0
    for y in (y0, y1):
        difference[max(0, y - 2) : y + 2] = 0
    return bool(np.abs(_block_means(difference)).max() < _BLOCK_DIFFERENCE)


def _to_pixel(page: pypdfium2.PdfPage, shape: tuple[int, ...], x: float, y: float) -> tuple[float, float]:
    import pypdfium2.raw as pdfium_c

    px, py = ctypes.c_int(), ctypes.c_int()
    pdfium_c.FPDF_PageToDevice(page, 0, 0, shape[1], shape[0], 0, x, y, px, py)
    return float(px.value), float(py.value)


def _block_means(grey: np.ndarray[Any, np.dtype[np.float64]]) -> np.ndarray[Any, np.dtype[np.float64]]:
    rows, columns = grey.shape[0] // 8, grey.shape[1] // 8
    return np.asarray(grey[: rows * 8, : columns * 8].reshape(rows, 8, columns, 8).mean(axis=(1, 3)))


def _render(page: pypdfium2.PdfPage, name: str, max_pixels: int) -> tuple[Bytes, Dpi]:
    """The page as shown, and its true dpi per axis: from the raster that came back, not from the dpi asked for."""
    width_pt, height_pt = page.get_size()
    if not (width_pt > 0 and height_pt > 0):
        raise Refusal(f'"{name}" has a page without size; print it to a new PDF.', code="picture.damaged")
    dpi = _best_dpi(page)
    fits = math.sqrt(max_pixels / (width_pt * height_pt)) * _POINTS_PER_INCH * 0.99
    dpi = min(dpi, fits)
    check_size(
        (math.ceil(width_pt * dpi / _POINTS_PER_INCH), math.ceil(height_pt * dpi / _POINTS_PER_INCH)), name, max_pixels
    )
    bitmap = page.render(scale=dpi / _POINTS_PER_INCH, rev_byteorder=True, fill_color=(255, 255, 255, 255))
    pixels = _bitmap_pixels(bitmap)
    if pixels is None:
        pixels = np.array(bitmap.to_pil().convert("RGB"))
    true = pixels.shape[1] * _POINTS_PER_INCH / width_pt, pixels.shape[0] * _POINTS_PER_INCH / height_pt
    return pixels, true


def _best_dpi(page: pypdfium2.PdfPage) -> float:
    """The finest picture's own dpi, within reason; 600 where there is none."""
    finest = 0.0
    for thing in page.get_objects(max_depth=1):
        if _is_image(thing):
            right, up = _shown_axes(thing, 0)
            columns, rows = thing.get_px_size()
            for pixels, length in ((columns, math.hypot(*right)), (rows, math.hypot(*up))):
                finest = max(finest, pixels * _POINTS_PER_INCH / length if length > 1e-3 else 0.0)
    return float(np.clip(finest, *_DPI_RANGE)) if finest > 0 else RENDER_DPI
