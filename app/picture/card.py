"""Find a card of ID-1 size in a photo and fit it: the size reference that people have in their pocket.

Straight lines of a small copy make four-sided figures; those that a likely camera could see as an ID-1 rectangle are
fitted to the original's edges, and the one with rounded corners wins.  Roundness is what tells a card from a sheet, a
box or a tile of the same shape.
"""

from __future__ import annotations

from typing import Final

import numpy as np

from app.picture.opencv import cv2
from app.picture.perspective import ID1_CARD, PlaneView, long_side_first, refine_on
from app.picture.quads import Quads, Shrunk, best_apart, find_lines, find_quads, shape_misfit, shrink
from app.picture.values import Bytes, Picture
from keycore.measured import Floats

_LEAST_SIDE_SHARE: Final = 0.07
_LEAST_SEEN: Final = 0.35
_MOST_MISFIT: Final = 14.0
_CANDIDATES: Final = 5
_LEAST_ROUNDNESS: Final = 0.3
_LEAST_FITTED: Final = 0.4


def find_card(picture: Picture) -> PlaneView | None:
    """The ID-1 card in a photo, fitted, or None where there is none.

    Parameters
    ----------
    picture
        Any photo; the card may have any colour, lie in any direction, be partly in shadow, and lie over edges of
        what is under it.  All of its four sides must be in the picture.
    """
    small = shrink(picture.rgb)
    candidates = card_candidates(small)
    best, best_score = None, 0.0
    for corners in candidates:
        ring = long_side_first(small.original_xy(corners), picture.size, ID1_CARD)
        view = refine_on(picture, ring, ID1_CARD, reach_px=float(np.clip(4.0 / small.scale, 6, 24)))
        if view is None or min(side.share for side in view.sides) < _LEAST_FITTED:
            continue
        round_corners = roundness(picture.rgb, view)
        score = round_corners - 0.05 * view.misfit_px
        if round_corners >= _LEAST_ROUNDNESS and score > best_score:
            best, best_score = view, score
    return best


def card_candidates(small: Shrunk) -> Floats:
    """(n, 4, 2) figures in the small copy that could be a card, likeliest first."""
    size = small.pixels.shape[1], small.pixels.shape[0]
    quads = find_quads(
        find_lines(small.pixels),
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


def roundness(rgb: Bytes, view: PlaneView) -> float:
    """How round the corners are: 1 where edges run along the arcs of an ID-1 card, -1 where into the square corners.

    Each corner compares the picture's change across the arc of 3.18 mm radius with its change across the last
    millimetres of the two straight sides, where a card has no edge; the middle two of four corners count.
    """
    half_length, half_height = np.array(view.rectangle.size_mm) / 2
    radius = view.rectangle.corner_radius_mm
    angles = np.deg2rad(np.linspace(25, 65, 9))
    arc = np.stack([np.cos(angles), np.sin(angles)], axis=1)
    along = np.linspace(0.06, 0.34, 5) * radius
    scores = []
    for sign_x, sign_y in ((-1, -1), (1, -1), (1, 1), (-1, 1)):
        sign = np.array([sign_x, sign_y], dtype=float)
        corner = np.array([half_length, half_height])
        on_arc = corner - radius + radius * arc
        on_sides = np.concatenate(
            [
                np.stack([corner[0] - along, np.full(5, corner[1])], axis=1),
                np.stack([np.full(5, corner[0]), corner[1] - along], axis=1),
            ]
        )
        out_of_sides = np.repeat([[0.0, 1.0], [1.0, 0.0]], 5, axis=0)
        round_edge = _change(rgb, view, sign * on_arc, sign * arc)
        square_edge = _change(rgb, view, sign * on_sides, sign * out_of_sides)
        scores.append((round_edge - square_edge) / max(round_edge + square_edge, 3.0))
    return float(np.mean(np.sort(scores)[1:3]))


def _change(rgb: Bytes, view: PlaneView, places_mm: Floats, outward: Floats) -> float:
    """Median height in grey levels of the picture's change across places on the card's face."""
    step = max(0.25, 1.5 / view.px_per_mm_at(view.corners_xy.mean(axis=0)))
    z = view.rectangle.face_mm
    samples = [_colours(rgb, view.to_picture(places_mm + side * step * outward, z)) for side in (-1.0, 1.0)]
    return float(np.median(np.sqrt(((samples[1] - samples[0]) ** 2).mean(axis=1))))


def _colours(rgb: Bytes, picture_xy: Floats) -> Floats:
    """(n, channels) bilinear samples; the border repeats outward."""
    low = np.floor(picture_xy.min(axis=0)).astype(int) - 1
    high = np.ceil(picture_xy.max(axis=0)).astype(int) + 2
    height, width = rgb.shape[:2]
    left, top = int(np.clip(low[0], 0, width - 2)), int(np.clip(low[1], 0, height - 2))
    crop = rgb[top : max(top + 2, high[1]), left : max(left + 2, high[0])].astype(np.float32)
    x, y = (picture_xy - [left, top]).astype(np.float32).T
    values = cv2.remap(crop, x[None], y[None], cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE)
    return np.asarray(values.reshape(len(picture_xy), -1), dtype=float)
