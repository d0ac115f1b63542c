"""The ways in which scanners and office programs store a picture: palettes, tiles, planes, compressions, odd depths."""

from __future__ import annotations

import io
import sys

import numpy as np
import pytest
import tifffile
from PIL import Image

from app.picture.load import ACCEPTED_WORDS, open_picture
from keycore.refusal import Refusal
from tests.app.picture.test_load import DATA, _colours, _file, _refused


@pytest.mark.parametrize("kind", ["PNG", "BMP", "TIFF", "GIF"])
def test_a_palette_gives_its_colours(kind: str) -> None:
    """Sixteen colours by number come back as those colours, bit for bit."""
    palette = Image.fromarray(_colours()).quantize(16)
    assert np.array_equal(open_picture(_file(palette, kind)).rgb, np.asarray(palette.convert("RGB")))


@pytest.mark.parametrize(
    "options",
    [
        {"compression": "tiff_adobe_deflate"},
        {"compression": "tiff_lzw"},
        {"compression": "packbits"},
        {"tile": (16, 16)},
        {"bigtiff": True},
        {"rowsperstrip": 5},
    ],
    ids=str,
)
def test_every_usual_way_to_store_a_tiff_gives_the_same_pixels(options: dict) -> None:
    """Compressed, tiled, in strips, in the large form."""
    pixels = _colours(80, 48)
    stream = io.BytesIO()
    if "compression" in options:
        Image.fromarray(pixels).save(stream, "TIFF", **options)
    else:
        tifffile.imwrite(stream, pixels, photometric="rgb", **options)
    assert np.array_equal(open_picture(stream.getvalue()).rgb, pixels)


def test_a_tiff_with_its_colours_in_planes_is_put_together() -> None:
    """Red, green and blue one after the other."""
    pixels = _colours()
    stream = io.BytesIO()
    tifffile.imwrite(stream, np.moveaxis(pixels, 2, 0), photometric="rgb", planarconfig="separate")
    assert np.array_equal(open_picture(stream.getvalue()).rgb, pixels)


def test_a_webp_may_be_lossy_or_have_holes() -> None:
    """A lossy one is near the picture; white lies behind a transparent part of a lossless one."""
    smooth = np.linspace(0, 255, 64 * 48).reshape(48, 64).astype(np.uint8)
    lossy = open_picture(_file(Image.fromarray(smooth), "WEBP", quality=90)).rgb
    assert np.abs(lossy.reshape(48, 64, -1).astype(int) - smooth[..., None]).mean() < 4
    holes = np.dstack([_colours(), np.full((24, 40), 255, np.uint8)])
    holes[:, :10, 3] = 0
    shown = open_picture(_file(Image.fromarray(holes), "WEBP", lossless=True, exact=True)).rgb
    assert (shown[:, :10] == 255).all() and np.array_equal(shown[:, 10:], holes[:, 10:, :3])


def test_sixteen_bits_with_alpha_or_inks_open() -> None:
    """Colour with alpha, and four inks, each of sixteen bits: within a level, and paper stays white."""
    values = np.random.default_rng(3).integers(0, 65536, (24, 40, 3), dtype=np.uint16)
    opaque = np.dstack([values, np.full((24, 40), 65535, np.uint16)])
    stream = io.BytesIO()
    tifffile.imwrite(stream, opaque, photometric="rgb", extrasamples=["unassalpha"])
    assert np.abs(open_picture(stream.getvalue()).rgb.astype(int) - values / 257).max() <= 1
    stream = io.BytesIO()
    tifffile.imwrite(stream, np.zeros((24, 40, 4), np.uint16), photometric="separated")
    assert open_picture(stream.getvalue()).rgb.min() == 255


@pytest.mark.parametrize(("top", "kind"), [(255, "uint16"), (4095, "uint16"), (65535, "uint16"), (255, "uint32")])
def test_white_is_white_however_many_bits_are_used(top: int, kind: str) -> None:
    """Eight, twelve or sixteen bits stored in more: the brightest value of the depth is 255."""
    values = np.linspace(0, top, 40 * 24).astype(kind).reshape(24, 40)
    stream = io.BytesIO()
    tifffile.imwrite(stream, values)
    rgb = open_picture(stream.getvalue()).rgb
    assert rgb[0, 0] == 0 and rgb[-1, -1] == 255 and abs(int(rgb[12, 0]) - 128) <= 2


@pytest.mark.parametrize(
    ("name", "head"),
    [
        ("drawing.svg", b"<svg xmlns='http://www.w3.org/2000/svg'/>"),
        ("letter.docx", b"PK\3\4" + bytes(40)),
        ("photo.avif", b"\0\0\0\x1cftypavif\0\0\0\0avifmif1miaf"),
        ("scan.jp2", b"\0\0\0\x0cjP  \r\n\x87\n" + bytes(40)),
    ],
)
def test_a_kind_that_does_not_open_is_told_what_does(name: str, head: bytes) -> None:
    """One sentence with the file's name, the kinds that open, and what to do."""
    refusal = _refused(head, name=name)
    assert refusal.code == "picture.unknown-kind"
    assert f'"{name}"' in refusal.sentence and ACCEPTED_WORDS in refusal.sentence and "export it" in refusal.sentence


def test_without_its_decoder_a_heic_says_what_to_do(monkeypatch: pytest.MonkeyPatch) -> None:
    """A missing package is told, with the other way out."""
    monkeypatch.setitem(sys.modules, "pi_heif", None)
    with pytest.raises(Refusal, match="need the package pi-heif; install it, or send the picture as JPEG") as caught:
        open_picture(DATA / "squares.heic")
    assert caught.value.code == "picture.no-heif"


def test_strips_join_without_a_seam(monkeypatch: pytest.MonkeyPatch) -> None:
    """A picture that is unpacked in many strips is the same as one unpacked in one, turned ones too."""
    for orientation in (1, 6, 8):
        exif = Image.Exif()
        exif[0x0112] = orientation
        data = _file(Image.fromarray(_colours(50, 70)), "PNG", exif=exif)
        whole = open_picture(data).rgb
        with monkeypatch.context() as patch:
            patch.setattr("app.picture.load._STRIP_PIXELS", 120)
            assert np.array_equal(open_picture(data).rgb, whole)
