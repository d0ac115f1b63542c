"""The two faces that all papers use, and what to do with letters they lack.

reportlab carries Bitstream Vera (its own free licence), so every machine measures and prints the same; letters that it
lacks are looked for in a font of the system.
"""

from __future__ import annotations

import unicodedata
from functools import lru_cache
from pathlib import Path
from typing import Literal

import reportlab
from PIL import ImageFont
from reportlab.pdfbase import pdfmetrics
from reportlab.pdfbase.ttfonts import TTFont

Weight = Literal["plain", "bold"]
FAMILY = "Bitstream Vera Sans, DejaVu Sans, Verdana, sans-serif"
_OWN = {"plain": "Vera.ttf", "bold": "VeraBd.ttf"}
_SYSTEM = (
    ("/usr/share/fonts/truetype/dejavu/DejaVuSans.ttf", "/usr/share/fonts/truetype/dejavu/DejaVuSans-Bold.ttf"),
    ("/usr/share/fonts/dejavu/DejaVuSans.ttf", "/usr/share/fonts/dejavu/DejaVuSans-Bold.ttf"),
    ("/usr/share/fonts/truetype/noto/NotoSans-Regular.ttf", "/usr/share/fonts/truetype/noto/NotoSans-Bold.ttf"),
    ("/Library/Fonts/Arial Unicode.ttf", "/Library/Fonts/Arial Unicode.ttf"),
    ("/System/Library/Fonts/Supplemental/Arial.ttf", "/System/Library/Fonts/Supplemental/Arial Bold.ttf"),
    ("C:/Windows/Fonts/arial.ttf", "C:/Windows/Fonts/arialbd.ttf"),
)


@lru_cache(maxsize=1)
def _register() -> None:
    folder = Path(reportlab.__file__).parent / "fonts"
    for weight, file in _OWN.items():
        pdfmetrics.registerFont(TTFont(f"Paper-{weight}", str(folder / file)))
    pdfmetrics.registerFontFamily(
        "Paper-plain", normal="Paper-plain", bold="Paper-bold", italic="Paper-plain", boldItalic="Paper-bold"
    )
    for pair in _SYSTEM:
        if all(Path(file).is_file() for file in pair):
            for weight, file in zip(_OWN, pair, strict=True):
                pdfmetrics.registerFont(TTFont(f"Paper-wide-{weight}", file))
            pdfmetrics.registerFontFamily(
                "Paper-wide-plain",
                normal="Paper-wide-plain",
                bold="Paper-wide-bold",
                italic="Paper-wide-plain",
                boldItalic="Paper-wide-bold",
            )
            break


def font_name(weight: Weight = "plain", text: str = "") -> str:
    """Registered face that can draw the text: our own, or the system's where ours lacks a letter."""
    _register()
    own = f"Paper-{weight}"
    wide = f"Paper-wide-{weight}"
    if _covers(own, text) or wide not in pdfmetrics.getRegisteredFontNames():
        return own
    return wide


def drawable(text: str, weight: Weight = "plain") -> str:
    """The text with every letter that no face has replaced: by its plain form, or by a question mark."""
    name = font_name(weight, text)
    if _covers(name, text):
        return text
    out = []
    for letter in text:
        if _covers(name, letter):
            out.append(letter)
            continue
        plain = "".join(c for c in unicodedata.normalize("NFKD", letter) if not unicodedata.combining(c))
        out.append(plain if plain and _covers(name, plain) else "?")
    return "".join(out)


def text_width_mm(text: str, size_mm: float, weight: Weight = "plain") -> float:
    """Width of a line of text set in a size (height of the em), both mm."""
    return float(pdfmetrics.stringWidth(text, font_name(weight, text), size_mm))


def picture_font(text: str, size_px: float, weight: Weight = "plain") -> ImageFont.FreeTypeFont:
    """The same face for drawing on pictures."""
    face = pdfmetrics.getFont(font_name(weight, text)).face
    return ImageFont.truetype(face.filename, size_px)


def _covers(name: str, text: str) -> bool:
    glyphs = pdfmetrics.getFont(name).face.charToGlyph
    return all(ord(letter) in glyphs for letter in text if letter not in "\n\t")
