"""Several drawn pictures on one page, as where a copier's glass was full."""

from __future__ import annotations

from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

Pixels = NDArray[np.uint8]


def on_one_page(
    drawn: list[dict[str, Any]], size: tuple[int, int], places: list[tuple[int, int]], dpi: float | None = None
) -> Pixels:
    """Lay drawn pictures on a blank grey page.

    Parameters
    ----------
    drawn
        Pictures as :func:`tests.generator.make.draw_picture` gives them.
    size
        (width, height) of the page in pixels.
    places
        (x, y) of each picture's upper left corner.
    dpi
        Of the page, where the pictures have one: each is brought to it.
    """
    page = np.full((size[1], size[0]), 250, np.uint8)
    for one, (x, y) in zip(drawn, places, strict=True):
        grey = one["image"] if one["image"].ndim == 2 else cv2.cvtColor(one["image"], cv2.COLOR_RGB2GRAY)
        zoom = 1.0 if dpi is None else dpi / one["dpi"]
        if zoom != 1.0:
            how = cv2.INTER_AREA if zoom < 1 else cv2.INTER_CUBIC
            grey = cv2.resize(grey, None, fx=zoom, fy=zoom, interpolation=how)
        # Paper meets paper: the picture's own white is brought to the page's.
        level = np.clip(grey * (250.0 / np.median(grey)), 0, 255).astype(np.uint8)
        part = page[y : y + level.shape[0], x : x + level.shape[1]]
        np.minimum(part, level[: part.shape[0], : part.shape[1]], out=part)
    return page
