"""Pages of a PDF: the embedded scan itself where there is one, a rendering with true dpi otherwise."""

from __future__ import annotations

import io
from concurrent.futures import ThreadPoolExecutor

import numpy as np
import pytest
from PIL import Image
from reportlab.lib.pdfencrypt import StandardEncryption
from reportlab.lib.utils import ImageReader
from reportlab.pdfgen.canvas import Canvas

from app.picture.load import open_picture
from keycore.refusal import Refusal

A4 = (595.276, 841.89)


def _noise(width: int, height: int, seed: int = 5) -> np.ndarray:
    return np.random.default_rng(seed).integers(0, 256, (height, width, 3), dtype=np.uint8)


def _pdf(draw: object, size: tuple[float, float] = A4, **options: object) -> bytes:
    stream = io.BytesIO()
    canvas = Canvas(stream, pagesize=size, **options)
    draw(canvas)  # type: ignore[operator]
    canvas.showPage()
    canvas.save()
    return stream.getvalue()


def _place(pixels: np.ndarray, x: float, y: float, width: float, height: float) -> object:
    reader = ImageReader(Image.fromarray(pixels))
    return lambda canvas: canvas.drawImage(reader, x, y, width, height)


def test_a_page_that_is_one_scan_gives_that_scan_bit_for_bit() -> None:
    """Colour and grey scans come out unchanged, with dpi from the size shown."""
    pixels = _noise(300, 200)
    for stored in (pixels, pixels[..., 0]):
        picture = open_picture(_pdf(_place(stored, 100, 200, 72, 48)), name="scan.pdf")
        assert np.array_equal(picture.rgb, stored)
        assert picture.dpi == pytest.approx((300, 300), rel=1e-4)


def test_a_scan_with_different_dpi_per_axis_keeps_both() -> None:
    """Squeezed pictures keep one dpi per axis."""
    picture = open_picture(_pdf(_place(_noise(300, 200), 50, 60, 72, 96)))
    assert picture.dpi == pytest.approx((300, 150), rel=1e-4)


@pytest.mark.parametrize("quarters", [0, 1, 2, 3])
def test_a_turned_page_shows_its_scan_upright(quarters: int) -> None:
    """/Rotate turns the stored pixels without changing them, and the dpi with them."""
    pixels = _noise(300, 200)

    def draw(canvas: Canvas) -> None:
        canvas.setPageRotation(90 * quarters)
        canvas.drawImage(ImageReader(Image.fromarray(pixels)), 40, 40, 72, 96)

    picture = open_picture(_pdf(draw))
    assert np.array_equal(picture.rgb, np.rot90(pixels, -quarters))
    assert picture.dpi == pytest.approx((300, 150) if quarters % 2 == 0 else (150, 300), rel=1e-4)
    assert bool(picture.turned) == (quarters != 0)


def test_hidden_recognised_words_do_not_stop_the_scan() -> None:
    """The invisible text of a searchable scan is no part of what the page shows."""
    pixels = _noise(300, 200)

    def draw(canvas: Canvas) -> None:
        canvas.drawImage(ImageReader(Image.fromarray(pixels)), 0, 0, 200, 130)
        words = canvas.beginText(10, 10)
        words.setTextRenderMode(3)
        words.textLine("hidden words")
        canvas.drawText(words)

    assert np.array_equal(open_picture(_pdf(draw)).rgb, pixels)


@pytest.mark.parametrize("also", ["words", "box over it", "second picture"])
def test_a_page_that_shows_more_is_rendered_whole(also: str) -> None:
    """Anything else that the page shows must be seen: then the page is rendered, at the scan's own dpi."""
    pixels = np.full((600, 900, 3), 250, np.uint8)
    pixels[100:200, 100:800] = 30
    reader = ImageReader(Image.fromarray(pixels))

    def draw(canvas: Canvas) -> None:
        canvas.drawImage(reader, 100, 300, 216, 144)
        if also == "words":
            canvas.setFont("Helvetica", 30)
            canvas.drawString(100, 600, "A note in large letters")
        elif also == "box over it":
            canvas.rect(150, 320, 60, 60, fill=1)
        else:
            canvas.drawImage(reader, 100, 100, 216, 144)

    picture = open_picture(_pdf(draw))
    assert picture.size[0] == pytest.approx(595.276 * 300 / 72, abs=2)
    assert picture.rgb.min() < 60


def test_a_rendered_page_states_its_true_dpi_per_axis() -> None:
    """A drawing without pictures is rendered at about 600 dpi; the dpi is that of the raster that came back."""

    def draw(canvas: Canvas) -> None:
        canvas.setLineWidth(0.5)
        canvas.line(100.3, 50, 100.3, 500)
        canvas.line(400.3, 50, 400.3, 500)

    picture = open_picture(_pdf(draw, size=(501.3, 555.7)))
    assert picture.dpi is not None and picture.dpi[0] == pytest.approx(600, rel=1e-3)
    assert picture.rgb.ndim == 2
    row = 255.0 - picture.rgb[picture.size[1] // 2]
    half = len(row) // 2
    places = np.arange(len(row))
    left = (row[:half] * places[:half]).sum() / row[:half].sum()
    right = (row[half:] * places[half:]).sum() / row[half:].sum()
    assert (right - left) / picture.dpi[0] * 72 == pytest.approx(300, abs=0.01)


def test_pages_are_chosen_counted_and_refused() -> None:
    """Page 2 of 2 opens; page 3 is refused with the number there is."""
    stream = io.BytesIO()
    canvas = Canvas(stream, pagesize=A4)
    for seed in (1, 2):
        canvas.drawImage(ImageReader(Image.fromarray(_noise(60, 40, seed))), 10, 10, 60, 40)
        canvas.showPage()
    canvas.save()
    picture = open_picture(stream.getvalue(), page=2)
    assert np.array_equal(picture.rgb, _noise(60, 40, 2)) and picture.pages == 2
    with pytest.raises(Refusal, match="has 2 pages, so page 3"):
        open_picture(stream.getvalue(), page=3)


def test_locked_and_broken_documents_are_refused() -> None:
    """A password and a cut-off document each have their sentence."""
    locked = _pdf(_place(_noise(30, 20), 0, 0, 30, 20), encrypt=StandardEncryption("x", "y"))
    with pytest.raises(Refusal, match="locked by a password"):
        open_picture(locked, name="a.pdf")
    with pytest.raises(Refusal, match="begins like a PDF"):
        open_picture(b"%PDF-1.7 and nothing more", name="a.pdf")


def test_a_huge_page_is_rendered_within_the_guard() -> None:
    """A drawing two metres wide gives fewer dpi, not more memory, and says so."""
    picture = open_picture(_pdf(lambda c: c.line(0, 0, 5000, 3000), size=(5700, 4000)), max_pixels=4_000_000)
    assert picture.rgb.shape[0] * picture.rgb.shape[1] <= 4_000_000
    assert picture.dpi is not None and picture.dpi[0] < 40


def test_pages_opened_by_several_threads_are_right() -> None:
    """PDFium is used by one thread at a time: eight at once all get their own page's pixels."""
    documents = [(_pdf(_place(_noise(120, 80, seed), 10, 10, 60, 40)), _noise(120, 80, seed)) for seed in range(8)]
    with ThreadPoolExecutor(8) as pool:
        for (_, pixels), picture in zip(documents, pool.map(lambda d: open_picture(d[0]), documents), strict=True):
            assert np.array_equal(picture.rgb, pixels)
