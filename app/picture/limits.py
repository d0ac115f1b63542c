"""How large and how small a picture may be, and the sentences that refuse one."""

from __future__ import annotations

from typing import Final

from keycore.refusal import Refusal

MAX_PIXELS: Final = 170_000_000
"""Largest picture opened without being asked for: an A4 page at 1200 dpi has 139 million."""
MIN_SIDE: Final = 16
"""Smallest side in pixels: nothing of a key can be seen in less."""


def check_size(size: tuple[int, int], name: str, max_pixels: int) -> None:
    """Refuse a picture too large to hold or too small to show a key."""
    width, height = size
    if width * height > max_pixels:
        raise too_large(name, size, max_pixels)
    if width < MIN_SIDE or height < MIN_SIDE:
        raise Refusal(
            f'"{name}" is only {width} x {height} pixels, too small to show a key; use a larger picture.',
            code="picture.too-small",
        )


def too_large(name: str, size: tuple[int, int] | None, max_pixels: int) -> Refusal:
    """The refusal for a picture with too many pixels."""
    many = "too many pixels" if size is None else f"{size[0]} x {size[1]} pixels"
    return Refusal(
        f'"{name}" has {many}, more than the {max_pixels // 1_000_000} million that can be held here; '
        "cut it down to the key, or scan at 600 dpi.",
        code="picture.too-large",
    )


def no_such_page(name: str, page: int, pages: int) -> Refusal:
    """The refusal for a page that the file does not have."""
    has = "1 page" if pages == 1 else f"{pages} pages"
    return Refusal(
        f'"{name}" has {has}, so page {page} cannot be opened; choose a page from 1 to {pages}.', code="picture.page"
    )
