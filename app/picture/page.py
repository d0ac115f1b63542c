"""Find the page in a photo of a photocopied page, A4 or US Letter, and fit it."""

from __future__ import annotations

from typing import Final

import numpy as np

from app.picture.opencv import cv2
from app.picture.perspective import A4_PAGE, LETTER_PAGE, PlaneView, long_side_first, refine_on
from app.picture.quads import Quads, Shrunk, best_apart, find_quads, shape_misfit, shrink
from app.picture.values import Bytes, Picture
from keycore.measured import Floats

_LEAST_SIDE_SHARE: Final = 0.25
_LEAST_AREA_SHARE: Final = 0.2
_LEAST_SEEN: Final = 0.5
_MOST_MISFIT: Final = 12.0
_CANDIDATES: Final = 4
_LEAST_FITTED: Final = 0.4
_CERTAIN_SEEN: Final = 0.9
_CERTAIN_MISFIT_PX: Final = 0.3
_LIKELY: Final = (A4_PAGE, LETTER_PAGE)


def find_page(picture: Picture, small: Shrunk | None = None) -> PlaneView | None:
    """The page in a photo, fitted, or None where no whole page is seen.

    A4 or Letter is told by the aspect that a likely camera makes of the figure; the page's own tolerance and what
    the aspect leaves open are in the view's uncertainty.  ``small`` is its small copy, where it was made already.
    """
    small = small or shrink(picture.rgb)
    best, best_score = None, -np.inf
    for corners, rectangle_index in page_candidates(small):
        rectangle = _LIKELY[rectangle_index]
        ring = long_side_first(small.original_xy(corners), picture.size, rectangle)
        view = refine_on(picture, ring, rectangle, reach_px=float(np.clip(3.0 / small.scale, 6, 24)))
        if view is None:
            continue
        least_seen = min(side.share for side in view.sides)
        contrast = float(np.mean([side.contrast * side.share for side in view.sides]))
        score = float(np.log(contrast + 1) + np.log(_area(view.corners_xy)) - 0.2 * view.misfit_px)
        if least_seen > _LEAST_FITTED and score > best_score:
            best, best_score = view, score
        if least_seen > _CERTAIN_SEEN and view.misfit_px < _CERTAIN_MISFIT_PX:
            break
    return best


def page_candidates(small: Shrunk) -> list[tuple[Floats, int]]:
    """((4, 2) corners in the small copy, 0 for A4 or 1 for Letter), likeliest first."""
    size = small.pixels.shape[1], small.pixels.shape[0]
    quads = find_quads(
        small.lines,
        size,
        min_side_px=_LEAST_SIDE_SHARE * min(size),
        min_seen=_LEAST_SEEN,
        outside_px=0.01 * max(size),
    )
    if not len(quads.corners):
        return []
    misfits = np.stack([shape_misfit(quads.corners, size, r.size_mm[0] / r.size_mm[1])[0] for r in _LIKELY])
    kind, misfit = misfits.argmin(axis=0), misfits.min(axis=0)
    area = np.array([_area(corners) for corners in quads.corners]) / (size[0] * size[1])
    brighter = _brighter_inside(small.pixels, quads)
    possible = (misfit < _MOST_MISFIT) & (area > _LEAST_AREA_SHARE) & brighter
    quads, kind, misfit, area = quads.take(possible), kind[possible], misfit[possible], area[possible]
    if not len(quads.corners):
        return []
    score = quads.seen.mean(axis=1) - 0.02 * misfit + 0.5 * np.log(area)
    chosen = best_apart(quads, score, _CANDIDATES, apart_px=3.0)
    return [(quads.corners[k], int(kind[k])) for k in chosen]


def _area(corners: Floats) -> float:
    x, y = corners.T
    return float(abs(np.sum(x * np.roll(y, -1) - np.roll(x, -1) * y)) / 2)


def _brighter_inside(small: Bytes, quads: Quads) -> np.ndarray[tuple[int], np.dtype[np.bool_]]:
    """(n,) whether each figure is paper on something darker: at least three sides are brighter inside."""
    grey = small if small.ndim == 2 else cv2.cvtColor(small, cv2.COLOR_RGB2GRAY)
    grey = cv2.GaussianBlur(grey, (0, 0), 1.5).astype(float)
    height, width = grey.shape
    brighter = np.zeros((len(quads.corners), 4), dtype=bool)
    share = np.linspace(0.1, 0.9, 17)[:, None]
    for k in range(4):
        start, end = quads.corners[:, k, None], quads.corners[:, (k + 1) % 4, None]
        along = (end - start) / np.sqrt(((end - start) ** 2).sum(axis=-1, keepdims=True))
        inward = np.stack([-along[..., 1], along[..., 0]], axis=-1)
        feet = start + (end - start) * share
        levels = []
        for shift in (4.0, -4.0):
            xy = np.rint(feet + shift * inward).astype(int)
            x, y = np.clip(xy[..., 0], 0, width - 1), np.clip(xy[..., 1], 0, height - 1)
            levels.append(np.median(grey[y, x], axis=1))
        brighter[:, k] = levels[0] > levels[1] + 2
    return np.asarray(brighter.sum(axis=1) >= 3)
