"""From a file, or bytes, to a Picture: the one way in.

Pillow decodes every kind but PDF.  What comes out is plain: sRGB bytes the right way up, white behind what was
transparent, two-dimensional where the picture is grey.  The rules that change values:

* Sixteen bits become eight over the full range: 65535 is 255 (``(v + 128) // 257``; colour keeps its high byte, as
  Pillow does).  Where no value is above 4095 the file holds twelve bits in sixteen and 4095 is 255; where none
  is above 255 it holds eight.
* CMYK becomes RGB without a colour profile: edges stay where they are, colours are approximate.
* A colour picture whose three channels are equal everywhere becomes grey; no value changes.
* The orientation tag is applied once, here, and ``Picture.turned`` says so.
* The dpi is what the file claims, per axis, and is swapped with the axes when the picture is turned.
"""

from __future__ import annotations

import hashlib
import io
import math
import struct
import threading
import warnings
from collections.abc import Iterator
from pathlib import Path
from typing import IO, Any, Final

import numpy as np
from PIL import Image, ImageCms, ImageFile
from PIL.BmpImagePlugin import BmpImageFile
from PIL.GifImagePlugin import GifImageFile
from PIL.JpegImagePlugin import JpegImageFile
from PIL.PngImagePlugin import PngImageFile
from PIL.TiffImagePlugin import TiffImageFile
from PIL.WebPImagePlugin import WebPImageFile

from app.picture.formats_pdf import open_pdf_page
from app.picture.limits import MAX_PIXELS, check_size, no_such_page, too_large
from app.picture.values import Bytes, Picture
from keycore.refusal import Refusal

ACCEPTED_SUFFIXES: Final = (
    ".png", ".jpg", ".jpeg", ".tif", ".tiff", ".bmp", ".webp", ".gif", ".pdf", ".heic", ".heif",
)  # fmt: skip
ACCEPTED_WORDS: Final = "PNG, JPEG, TIFF, BMP, WebP, GIF, PDF and HEIC"

_RAW_SUFFIXES: Final = (".dng", ".nef", ".cr2", ".cr3", ".arw", ".orf", ".rw2", ".raf", ".pef", ".srw")
_PLUGINS: Final[dict[str, type[ImageFile.ImageFile]]] = {
    "PNG": PngImageFile,
    "JPEG": JpegImageFile,
    "TIFF": TiffImageFile,
    "BMP": BmpImageFile,
    "WebP": WebPImageFile,
    "GIF": GifImageFile,
}
_HEIF_BRANDS: Final = (b"heic", b"heix", b"heim", b"heis", b"hevc", b"hevx", b"hevm", b"hevs", b"mif1", b"msf1")
_DECODE_ERRORS: Final = (
    OSError, SyntaxError, ValueError, TypeError, KeyError, IndexError, EOFError, OverflowError, AttributeError,
    RuntimeError, ZeroDivisionError, struct.error, Image.DecompressionBombError,
)  # fmt: skip
_STRIP_PIXELS: Final = 250_000
"""A strip that stays in the processor's own memory while it is copied: twice as quick as one of some megapixels."""
_TURNS: Final = {
    2: "mirrored left to right",
    3: "turned half round",
    4: "mirrored top to bottom",
    5: "mirrored and turned a quarter to the left",
    6: "turned a quarter to the right",
    7: "mirrored and turned a quarter to the right",
    8: "turned a quarter to the left",
}
_warnings_lock = threading.Lock()


def open_picture(
    source: str | Path | bytes, *, name: str | None = None, page: int = 1, max_pixels: int = MAX_PIXELS
) -> Picture:
    """Open one picture.

    Parameters
    ----------
    source
        Path of a file, or the file's whole bytes (pasted, dropped, or taken from a job).
    name
        What to call the picture; by default the file's name, or "pasted picture".
    page
        1-based page of a PDF or TIFF (or frame of a GIF or WebP).
    max_pixels
        Guard against files that unpack to more than the machine can hold; raise it for one file, knowingly.

    Returns
    -------
    Picture

    Raises
    ------
    Refusal
        In one sentence: the file is missing, a folder, empty, not a picture, broken off, too large or too small,
        locked by a password, or has no such page.
    """
    if isinstance(source, bytes):
        return _open_stream(io.BytesIO(source), len(source), name or "pasted picture", page, max_pixels)
    path = Path(source)
    called = name or path.name
    try:
        if path.is_dir():
            raise Refusal(f'"{called}" is a folder; choose a picture inside it.', code="picture.folder")
        if not path.exists():
            raise Refusal(
                f'There is no file "{path}"; check the name and the folder.',
                code="picture.missing",
            )
        if not path.is_file():
            raise Refusal(f'"{called}" is not an ordinary file; choose a picture file.', code="picture.not-a-file")
        with path.open("rb") as stream:
            return _open_stream(stream, path.stat().st_size, called, page, max_pixels)
    except PermissionError as error:
        raise Refusal(
            f'"{called}" may not be read by this user; change its permissions or copy it to your own folder.',
            code="picture.permission",
        ) from error


def _open_stream(stream: IO[bytes], length: int, name: str, page: int, max_pixels: int) -> Picture:
    if length == 0:
        raise Refusal(f'"{name}" is empty (0 bytes); copy it again from where it came from.', code="picture.empty-file")
    if page < 1:
        raise Refusal(f"Pages are counted from 1; got page {page}.", code="picture.page")
    sha256 = hashlib.file_digest(stream, "sha256").hexdigest()  # type: ignore[arg-type]  # any binary stream will do
    stream.seek(0)
    head = stream.read(4096)
    stream.seek(0)
    kind = _kind(head, name)
    dpi: tuple[float, float] | None
    if kind == "PDF":
        rgb, dpi, turned, pages = open_pdf_page(stream.read(), name, page, max_pixels)
        rgb = grey_if_equal(rgb)
    else:
        rgb, dpi, turned, pages = _decode(stream, kind, name, page, max_pixels)
    rgb.flags.writeable = False
    return Picture(name=name, rgb=rgb, dpi=dpi, sha256=sha256, turned=turned, page=page, pages=pages)


def _kind(head: bytes, name: str) -> str:
    """Which kind of file the first bytes say it is; the name's ending is not believed."""
    if head.startswith(b"\x89PNG\r\n\x1a\n"):
        return "PNG"
    if head.startswith(b"\xff\xd8\xff"):
        return "JPEG"
    if head.startswith((b"II*\0", b"MM\0*", b"II+\0", b"MM\0+")):
        if name.lower().endswith(_RAW_SUFFIXES):
            raise _raw_file(name)
        return "TIFF"
    if head.startswith(b"BM"):
        return "BMP"
    if head[:4] == b"RIFF" and head[8:12] == b"WEBP":
        return "WebP"
    if head.startswith((b"GIF87a", b"GIF89a")):
        return "GIF"
    if b"%PDF-" in head[:1024]:
        return "PDF"
    if head[4:8] == b"ftyp" and head[8:12] in _HEIF_BRANDS:
        return "HEIC"
    if name.lower().endswith(_RAW_SUFFIXES):
        raise _raw_file(name)
    raise Refusal(
        f'"{name}" is not a picture that can be opened here; {ACCEPTED_WORDS} can, so save or export it as one.',
        code="picture.unknown-kind",
    )


def _raw_file(name: str) -> Refusal:
    return Refusal(
        f"\"{name}\" is a camera's raw file; export it from the camera's program as JPEG or TIFF and open that.",
        code="picture.raw",
    )


def _decode(
    stream: IO[bytes], kind: str, name: str, page: int, max_pixels: int
) -> tuple[Bytes, tuple[float, float] | None, str, int]:
    plugin = _plugin(kind)
    try:
        picture = plugin(stream)
    except Image.DecompressionBombError as error:
        raise too_large(name, None, max_pixels) from error
    except _DECODE_ERRORS as error:
        raise _damaged(name, kind) from error
    try:
        if kind == "TIFF" and 50706 in picture.tag_v2:  # type: ignore[attr-defined]  # DNGVersion
            raise _raw_file(name)
        pages = int(getattr(picture, "n_frames", 1))
        if page > pages:
            raise no_such_page(name, page, pages)
        if page > 1 or (kind != "HEIC" and pages > 1):
            picture.seek(page - 1)
        check_size(picture.size, name, max_pixels)
        orientation = _orientation(picture, kind)
        dpi = _dpi_claim(picture, kind)
        _load(picture)
        check_size(picture.size, name, max_pixels)
        # Pillow's TIFF plug-in turns the picture itself while it loads; HEIC is turned by its decoder.
        already_turned = kind in ("TIFF", "HEIC")
        rgb = _pixels(picture, kind, 1 if already_turned else orientation)
    except Refusal:
        raise
    except Image.DecompressionBombError as error:
        raise too_large(name, picture.size, max_pixels) from error
    except MemoryError as error:
        raise too_large(name, picture.size, max_pixels) from error
    except _DECODE_ERRORS as error:
        raise _damaged(name, kind) from error
    finally:
        picture.close()
    if dpi is not None and orientation >= 5:
        dpi = dpi[1], dpi[0]
    return rgb, dpi, _TURNS.get(orientation, ""), pages


def _plugin(kind: str) -> type[ImageFile.ImageFile]:
    if kind != "HEIC":
        return _PLUGINS[kind]
    try:
        from pi_heif import HeifImageFile
    except ImportError as error:
        raise Refusal(
            "HEIC pictures need the package pi-heif; install it, or send the picture as JPEG.", code="picture.no-heif"
        ) from error
    return HeifImageFile  # type: ignore[no-any-return]


def _load(picture: ImageFile.ImageFile) -> None:
    """Decode.  Our own guard has already passed the size; Pillow's warning about it is not for the user."""
    if picture.width * picture.height <= (Image.MAX_IMAGE_PIXELS or math.inf):
        picture.load()
        return
    with _warnings_lock, warnings.catch_warnings():
        warnings.simplefilter("ignore", Image.DecompressionBombWarning)
        picture.load()


def _orientation(picture: ImageFile.ImageFile, kind: str) -> int:
    """1..8 as the EXIF tag counts; for HEIC the turn that its decoder makes (its EXIF tag is not to be obeyed)."""
    if kind == "HEIC":
        return _heic_turn(picture)
    value = picture.getexif().get(0x0112, 1)
    return value if isinstance(value, int) and 1 <= value <= 8 else 1


def _heic_turn(picture: ImageFile.ImageFile) -> int:
    """Orientation that a HEIC file's own transform boxes ask for; 1 where it has none or several."""
    stream = picture.fp
    if stream is None:
        return 1
    place = stream.tell()
    stream.seek(0)
    head = stream.read(65536)
    stream.seek(place)
    turns = {head[at + 4] & 3 for at in _all_places(head, b"\0\0\0\x09irot") if at + 4 < len(head)}
    mirrors = {head[at + 4] & 1 for at in _all_places(head, b"\0\0\0\x09imir") if at + 4 < len(head)}
    if len(turns) == 1 and not mirrors:
        return {0: 1, 1: 8, 2: 3, 3: 6}[turns.pop()]
    if len(mirrors) == 1 and not turns:
        return {0: 4, 1: 2}[mirrors.pop()]
    return 1


def _all_places(data: bytes, what: bytes) -> Iterator[int]:
    """Index of the last four bytes of ``what`` wherever it stands in ``data``."""
    at = data.find(what)
    while at >= 0:
        yield at + len(what) - 4
        at = data.find(what, at + 1)


def _dpi_claim(picture: ImageFile.ImageFile, kind: str) -> tuple[float, float] | None:
    """(x, y) that the file claims, or None.

    A JPEG may hold two claims.  Its own density comes first, except where it is 72 or 96 (what programs write when
    they do not know) and the EXIF block says something else.
    """
    exif = _exif_dpi(picture)
    if kind != "JPEG":
        return _sane(picture.info.get("dpi")) or exif
    density, unit = picture.info.get("jfif_density"), picture.info.get("jfif_unit")
    own = None
    if density is not None and unit in (1, 2):
        per_inch = 1.0 if unit == 1 else 2.54
        own = _sane((density[0] * per_inch, density[1] * per_inch))
    if own is not None and exif is not None and own[0] in (72, 96):
        return exif
    return own or exif


def _exif_dpi(picture: ImageFile.ImageFile) -> tuple[float, float] | None:
    exif = picture.getexif()
    x, y, unit = exif.get(0x011A), exif.get(0x011B), exif.get(0x0128, 2)
    if x is None or y is None or unit not in (2, 3):
        return None
    per_inch = 2.54 if unit == 3 else 1.0
    try:
        return _sane((float(x) * per_inch, float(y) * per_inch))
    except (TypeError, ValueError, ZeroDivisionError):
        return None


def _sane(dpi: Any) -> tuple[float, float] | None:
    """The claim as floats, or None where it cannot be one (a file without a unit often claims 1 or 0)."""
    try:
        x, y = float(dpi[0]), float(dpi[1])
    except (TypeError, ValueError, IndexError, ZeroDivisionError):
        return None
    return (x, y) if 10 <= x <= 20000 and 10 <= y <= 20000 else None


def _pixels(picture: Image.Image, kind: str, orientation: int) -> Bytes:
    """Decoded picture to an array, strip by strip so that no second whole copy is held."""
    width, height = picture.size
    convert = _Converter(picture, kind)
    shape: tuple[int, ...] = (width, height) if orientation >= 5 else (height, width)
    out = np.empty(shape if convert.grey else (*shape, 3), np.uint8)
    as_stored = _as_stored(out, orientation)
    for top, strip in _strips(picture):
        as_stored[top : top + strip.height] = convert(strip)
    return out if convert.grey else grey_if_equal(out)


def _strips(picture: Image.Image) -> Iterator[tuple[int, Image.Image]]:
    rows = max(1, _STRIP_PIXELS // picture.width)
    for top in range(0, picture.height, rows):
        yield top, picture.crop((0, top, picture.width, min(top + rows, picture.height)))


def _as_stored(turned: Bytes, orientation: int) -> Bytes:
    """View of the turned array in which row and column run as the file stores them."""
    if orientation in (2, 6):
        turned = turned[:, ::-1]
    elif orientation in (3, 7):
        turned = turned[::-1, ::-1]
    elif orientation in (4, 8):
        turned = turned[::-1]
    return turned.swapaxes(0, 1) if orientation >= 5 else turned


class _Converter:
    """Turns strips of one picture into bytes; ``grey`` says whether they have two dimensions."""

    def __init__(self, picture: Image.Image, kind: str) -> None:
        mode = picture.mode
        self.mode = mode
        self.transparent = "transparency" in picture.info or mode in ("LA", "La", "PA", "RGBA", "RGBa")
        self.deep = mode.startswith("I") or mode == "F"
        self.grey = self.deep or mode in ("1", "L", "LA", "La")
        # Pillow hands sixteen-bit "white is zero" TIFFs over as they are stored.
        self.white_is_zero = (
            kind == "TIFF" and mode.startswith("I;16") and picture.tag_v2.get(262) == 0  # type: ignore[attr-defined]
        )
        self.full = _full_scale(picture) if self.deep else 255.0
        self.lab: ImageCms.ImageCmsTransform | None = None
        if mode == "LAB":
            lab, srgb = ImageCms.createProfile("LAB"), ImageCms.createProfile("sRGB")
            self.lab = ImageCms.buildTransform(lab, srgb, "LAB", "RGB")

    def __call__(self, strip: Image.Image) -> Bytes:
        if self.deep:
            return self._from_deep(np.asarray(strip))
        if self.lab is not None:
            return np.asarray(ImageCms.applyTransform(strip, self.lab))
        if self.transparent:
            return self._over_white(strip)
        plain = "L" if self.grey else "RGB"
        return np.asarray(strip if self.mode == plain else strip.convert(plain))

    def _from_deep(self, values: np.ndarray[Any, np.dtype[Any]]) -> Bytes:
        if values.dtype.kind == "u" and self.full == 65535:
            eight = ((values.astype(np.uint32) + 128) // 257).astype(np.uint8)
        else:
            scaled = np.nan_to_num(values.astype(np.float32)) * np.float32(255 / self.full)
            eight = np.clip(np.rint(scaled), 0, 255).astype(np.uint8)
        return np.asarray(255 - eight if self.white_is_zero else eight)

    def _over_white(self, strip: Image.Image) -> Bytes:
        if self.grey:
            pair = np.asarray(strip.convert("LA" if self.mode != "1" else "L"))
            if pair.ndim == 2:
                return pair
            colour, alpha = pair[..., :1], pair[..., 1:]
        else:
            four = np.asarray(strip.convert("RGBA"))
            colour, alpha = four[..., :3], four[..., 3:]
        a = alpha.astype(np.uint32)
        blended = (colour * a + 255 * (255 - a) + 127) // 255
        result = blended.astype(np.uint8)
        return result[..., 0] if self.grey else result


def _full_scale(picture: Image.Image) -> float:
    """The value that is white in a picture of more than eight bits."""
    top = 0.0
    for _, strip in _strips(picture):
        values = np.asarray(strip)
        if values.dtype.kind == "f":
            values = np.nan_to_num(values)
        top = max(top, float(values.max()))
    for full in (1.0, 255.0) if picture.mode == "F" else ():
        if top <= full:
            return full
    return next((full for full in (255.0, 4095.0, 65535.0) if top <= full), top)


def grey_if_equal(rgb: Bytes) -> Bytes:
    """The picture as (rows, columns) where its three channels are equal everywhere, else as it came."""
    if rgb.ndim == 2:
        return rgb
    rows = max(1, _STRIP_PIXELS // rgb.shape[1])
    starts = range(0, rgb.shape[0], rows)
    if not _equal(rgb[:: max(1, rgb.shape[0] // 16)]) or not all(_equal(rgb[y : y + rows]) for y in starts):
        return rgb
    return np.ascontiguousarray(rgb[..., 0])


def _equal(rgb: Bytes) -> bool:
    return bool(np.array_equal(rgb[..., 0], rgb[..., 1]) and np.array_equal(rgb[..., 1], rgb[..., 2]))


def _damaged(name: str, kind: str) -> Refusal:
    return Refusal(
        f'"{name}" begins like a {kind} picture but breaks off or is damaged; copy it again from where it came from, '
        "or scan again.",
        code="picture.damaged",
    )
