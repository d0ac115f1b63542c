"""Find a card of ID-1 size in a photo and fit it: the size reference that people have in their pocket.

Straight lines of a small copy make four-sided figures; those that a likely camera could see as an ID-1 rectangle are
fitted to the original's edges, and the one with rounded corners wins.  Roundness is what tells a card from a sheet, a
box or a tile of the same shape.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Final

import numpy as np

from app.picture.camera import apply_homography, fit_homography
from app.picture.perspective import ID1_CARD, PlaneView, long_side_first, refine_on
from app.picture.quads import Quads, Shrunk, best_apart, find_lines, find_quads, shape_misfit, shrink
from app.picture.sample import colours_at
from app.picture.values import Bytes, Picture
from keycore.measured import Floats

_LEAST_SIDE_SHARE: Final = 0.07
_LEAST_SEEN: Final = 0.35
_MOST_MISFIT: Final = 14.0
_CANDIDATES: Final = 5
_LEAST_ROUNDNESS: Final = 0.3
_LEAST_FITTED: Final = 0.4
_HOPELESS_ROUNDNESS: Final = -0.4
_LEAST_PX_PER_MM: Final = 1.5
_CERTAIN_ROUNDNESS: Final = 0.7
_CERTAIN_SEEN: Final = 0.7
_USEFUL_PX_PER_MM: Final = 2.5
"""Beside a smaller card a depth of 0.4 mm is one pixel, and no key could be read; such a figure is part of a key."""


def find_card(picture: Picture, small: Shrunk | None = None) -> PlaneView | None:
    """The ID-1 card in a photo, fitted, or None where there is none.

    Parameters
    ----------
    picture
        Any photo; the card may have any colour, lie in any direction, be partly in shadow, and lie over edges of
        what is under it.  All of its four sides must be in the picture.
    small
        Its small copy, where it was made already.
    """
    small = small or shrink(picture.rgb)
    return _best_fit(picture, small, faint=False) or _best_fit(picture, small, faint=True)


def _best_fit(picture: Picture, small: Shrunk, *, faint: bool) -> PlaneView | None:
    best, best_score = None, 0.0
    for corners in card_candidates(small, faint=faint):
        if _roundness_in_small(small, corners) < _HOPELESS_ROUNDNESS:
            continue
        ring = long_side_first(small.original_xy(corners), picture.size, ID1_CARD)
        view = refine_on(picture, ring, ID1_CARD, reach_px=float(np.clip(4.0 / small.scale, 6, 24)))
        if view is None or view.px_per_mm_at(view.corners_xy.mean(axis=0)) < _USEFUL_PX_PER_MM:
            continue
        score = fitted_roundness(picture, view)
        least_seen = min(side.share for side in view.sides)
        if least_seen > _LEAST_FITTED and score > max(best_score, _LEAST_ROUNDNESS):
            best, best_score = view, score
        if least_seen > _CERTAIN_SEEN and score > _CERTAIN_ROUNDNESS:
            break
    return best


def card_candidates(small: Shrunk, *, faint: bool = False) -> Floats:
    """(n, 4, 2) figures in the small copy that could be a card, likeliest first."""
    size = small.pixels.shape[1], small.pixels.shape[0]
    quads = find_quads(
        find_lines(small.pixels, faint=True) if faint else small.lines,
        size,
        min_side_px=_LEAST_SIDE_SHARE * max(size),
        min_seen=_LEAST_SEEN,
        outside_px=0.01 * max(size),
    )
    misfit, _ = shape_misfit(quads.corners, size, ID1_CARD.size_mm[0] / ID1_CARD.size_mm[1])
    possible = misfit < _MOST_MISFIT
    quads, misfit = quads.take(possible), misfit[possible]
    return _best(quads, misfit).corners


def _best(quads: Quads, misfit: Floats) -> Quads:
    if not len(quads.corners):
        return quads
    score = quads.seen.mean(axis=1) - 0.02 * misfit
    return quads.take(best_apart(quads, score, _CANDIDATES, apart_px=3.0))


def roundness(rgb: Bytes, to_picture: Callable[[Floats], Floats], px_per_mm: float) -> float:
    """How round the corners are: 1 where edges run along the arcs of an ID-1 card, -1 where into the square corners.

    Each corner compares the picture's change across the arc of 3.18 mm radius with its change across the last
    millimetre of the two straight sides, where a card has no edge; the middle two of four corners count.

    Parameters
    ----------
    to_picture
        From millimetres on the card's face, origin at its middle, long side along x, to the pixels of ``rgb``.
    """
    corner = np.array(ID1_CARD.size_mm) / 2
    radius = ID1_CARD.corner_radius_mm
    step = max(0.25, 1.5 / px_per_mm)
    angles = np.deg2rad(np.linspace(25, 65, 9))
    arc = np.stack([np.cos(angles), np.sin(angles)], axis=1)
    on_arc = corner - radius + radius * arc
    along = np.linspace(0.06, 0.34, 5) * radius
    on_sides = np.concatenate(
        [
            np.stack([corner[0] - along, np.full(5, corner[1])], axis=1),
            np.stack([np.full(5, corner[0]), corner[1] - along], axis=1),
        ]
    )
    out_of_sides = np.repeat([[0.0, 1.0], [1.0, 0.0]], 5, axis=0)
    scores = []
    for sign in np.array([[-1.0, -1.0], [1.0, -1.0], [1.0, 1.0], [-1.0, 1.0]]):
        edges = []
        for places, outward in ((on_arc, arc), (on_sides, out_of_sides)):
            inner, outer = (colours_at(rgb, to_picture(sign * (places + way * step * outward))) for way in (-1.0, 1.0))
            edges.append(float(np.median(np.sqrt(((outer - inner) ** 2).mean(axis=1)))))
        scores.append((edges[0] - edges[1]) / max(edges[0] + edges[1], 3.0))
    return float(np.mean(np.sort(scores)[1:3]))


def fitted_roundness(picture: Picture, view: PlaneView) -> float:
    """``roundness`` of a fitted card in its original picture."""
    scale = view.px_per_mm_at(view.corners_xy.mean(axis=0))
    return roundness(picture.rgb, lambda mm: view.to_picture(mm, ID1_CARD.face_mm), scale)


def _roundness_in_small(small: Shrunk, corners: Floats) -> float:
    """``roundness`` of an unfitted figure; 0 (no opinion) where the small copy shows too little."""
    half = np.array(ID1_CARD.size_mm) / 2
    size = small.pixels.shape[1], small.pixels.shape[0]
    ring = long_side_first(corners, size, ID1_CARD)
    scale = float(np.hypot(*(ring[1] - ring[0]))) / ID1_CARD.size_mm[0]
    if scale < _LEAST_PX_PER_MM:
        return 0.0
    homography = fit_homography(np.array([[-1.0, -1.0], [1.0, -1.0], [1.0, 1.0], [-1.0, 1.0]]) * half, ring)
    return roundness(small.pixels, lambda mm: apply_homography(homography, mm), scale)
