"""Coarse search: straight lines of a shrunk picture, and the four-sided figures that they can make.

Everything is vectorised over figures and works on a copy of at most ``LONG_SIDE_PX`` pixels; positions that leave
this module are in pixels of the original picture.
"""

from __future__ import annotations

import math
import weakref
from dataclasses import dataclass
from functools import cached_property
from typing import Final

import numpy as np
from numpy.typing import NDArray

from app.picture.opencv import cv2
from app.picture.values import Bytes
from keycore.measured import Floats

LONG_SIDE_PX: Final = 640
_HALVED_FROM: Final = 3
"""A picture so many times as long as its small copy is halved; less would leave too little to average over."""
_HALF_KEPT_UP_TO: Final = 150_000_000
"""Bytes of a picture whose half is kept with it; of larger ones memory is dearer than time."""
_MIN_SEGMENT_PX: Final = 12.0
_SAME_LINE_PX: Final = 1.6
_SAME_LINE_RAD: Final = np.deg2rad(2.0)
_MOST_LINES: Final = 32
_FOCAL_OVER_HALF_DIAGONAL: Final = np.array([0.9, 1.1, 1.35, 1.65, 2.0, 2.5, 3.2])

Rows = NDArray[np.intp]


@dataclass(frozen=True)
class Shrunk:
    """A small copy and how it lies in the original."""

    pixels: Bytes
    scale: float
    """Small pixels per original pixel."""

    @cached_property
    def lines(self) -> Lines:
        """Its straight lines, looked for once."""
        return find_lines(self.pixels)

    def original_xy(self, small_xy: Floats) -> Floats:
        """Positions in the original picture (centres of pixels at whole numbers in both)."""
        return (np.asarray(small_xy, dtype=float) + 0.5) / self.scale - 0.5


@dataclass(frozen=True)
class Lines:
    """Straight lines ``normal . xy = offset`` with how much of each was seen.

    Attributes
    ----------
    normals
        (n, 2) unit vectors.
    offsets
        (n,) in pixels of the small copy.
    seen
        (n, m + 1) running count of seen pixels along the line, from ``-reach`` in steps of one pixel.
    reach
        Half length of the scale along each line.
    """

    normals: Floats
    offsets: Floats
    seen: Floats
    reach: int

    def share_seen(self, line: Rows, start: Floats, end: Floats) -> Floats:
        """Share of the stretch from ``start`` to ``end`` (n, 2) on ``line`` (n,) that was seen."""
        along = np.stack([-self.normals[line, 1], self.normals[line, 0]], axis=-1)
        a, b = np.sum(along * start, axis=-1), np.sum(along * end, axis=-1)
        low, high = np.minimum(a, b), np.maximum(a, b)
        last = self.seen.shape[1] - 1
        i = np.clip(np.rint(low + self.reach), 0, last).astype(np.intp)
        j = np.clip(np.rint(high + self.reach), 0, last).astype(np.intp)
        return np.asarray((self.seen[line, j] - self.seen[line, i]) / np.maximum(high - low, 1.0))


@dataclass(frozen=True)
class Quads:
    """Four-sided figures, corners in ring order, clockwise as seen (y down), in pixels of the small copy.

    Attributes
    ----------
    corners
        (n, 4, 2).
    seen
        (n, 4) share of each side that was seen; side i runs from corner i to corner i + 1.
    """

    corners: Floats
    seen: Floats

    def take(self, which: NDArray[np.bool_] | Rows) -> Quads:
        """Some of them."""
        return Quads(self.corners[which], self.seen[which])


def shrink(rgb: Bytes, long_side_px: int = LONG_SIDE_PX) -> Shrunk:
    """Small copy by area averaging; never larger than the original.

    A large picture is halved first, which is an average of whole pixels and many times as quick.
    """
    halved = 1
    while max(rgb.shape[:2]) >= _HALVED_FROM * long_side_px:
        rgb = _half_of(rgb)
        halved *= 2
    scale = min(1.0, long_side_px / max(rgb.shape[:2]))
    if scale == 1.0:
        return Shrunk(rgb, 1.0 / halved)
    size = max(1, round(rgb.shape[1] * scale)), max(1, round(rgb.shape[0] * scale))
    return Shrunk(np.asarray(cv2.resize(rgb, size, interpolation=cv2.INTER_AREA), dtype=np.uint8), scale / halved)


_halves: dict[int, tuple[weakref.ref[Bytes], Bytes]] = {}
"""Halves of large pictures that are still held and cannot change: several small copies are made of each."""


def _half_of(rgb: Bytes) -> Bytes:
    """The picture at half its size, each pixel the mean of four."""
    known = _halves.get(id(rgb))
    if known is not None and known[0]() is rgb:
        return known[1]
    width, height = rgb.shape[1] // 2, rgb.shape[0] // 2
    even = rgb[: 2 * height, : 2 * width]
    half = np.asarray(cv2.resize(even, (width, height), interpolation=cv2.INTER_AREA), dtype=np.uint8)
    if not rgb.flags.writeable and rgb.size <= _HALF_KEPT_UP_TO:
        key = id(rgb)
        half.flags.writeable = False
        _halves[key] = weakref.ref(rgb, lambda _gone: _halves.pop(key, None)), half
    return half


def find_lines(small: Bytes, *, faint: bool = False) -> Lines:
    """Straight lines by light and by colour, collinear pieces joined, longest first.

    ``faint`` looks at local contrast strengthened five times: for a white card on white paper.
    """
    height, width = small.shape[:2]
    pieces = [_segments(_strengthened(channel) if faint else channel) for channel in _channels(small)]
    segments = np.concatenate(pieces) if pieces else np.empty((0, 4))
    reach = int(np.ceil(np.hypot(width, height))) + 1
    groups = _join(segments)[:_MOST_LINES]
    normals = np.array([g[0] for g in groups]).reshape(-1, 2)
    offsets = np.array([g[1] for g in groups])
    seen = np.zeros((len(groups), 2 * reach + 1))
    for row, (normal, _, members) in enumerate(groups):
        ends = members.reshape(-1, 2, 2) @ np.array([-normal[1], normal[0]])
        for low, high in np.sort(ends, axis=1):
            seen[row, max(0, round(low + reach)) : round(high + reach) + 1] = 1.0
    running = np.concatenate([np.zeros((len(groups), 1)), np.cumsum(seen, axis=1)], axis=1)
    return Lines(normals, offsets, running, reach)


def _channels(small: Bytes) -> list[Bytes]:
    if small.ndim == 2:
        return [small]
    lab = np.asarray(cv2.cvtColor(small, cv2.COLOR_RGB2LAB), dtype=np.uint8)
    channels: list[Bytes] = [np.ascontiguousarray(lab[..., 0], dtype=np.uint8)]
    for index in (1, 2):
        strong = np.clip((lab[..., index].astype(np.int16) - 128) * 3 + 128, 0, 255).astype(np.uint8)
        if np.ptp(strong[::4, ::4].astype(int)) > 30:
            channels.append(strong)
    return channels


def _strengthened(channel: Bytes) -> Bytes:
    values = channel.astype(np.float32)
    around = cv2.GaussianBlur(values, (0, 0), 12)
    return np.asarray(np.clip(128 + 5 * (cv2.GaussianBlur(values, (0, 0), 0.8) - around), 0, 255), dtype=np.uint8)


def _segments(channel: Bytes) -> Floats:
    found = cv2.createLineSegmentDetector(cv2.LSD_REFINE_STD).detect(channel)[0]
    if found is None:
        return np.empty((0, 4))
    segments = np.asarray(found, dtype=float).reshape(-1, 4)
    length = np.hypot(segments[:, 2] - segments[:, 0], segments[:, 3] - segments[:, 1])
    return np.asarray(segments[length >= _MIN_SEGMENT_PX])


def _join(segments: Floats) -> list[tuple[Floats, float, Floats]]:
    """Collinear segments as (normal, offset, members), by the root sum of squared lengths, largest first."""
    step = segments[:, 2:] - segments[:, :2]
    length = np.hypot(step[:, 0], step[:, 1])
    order = np.argsort(-length)
    segments, step, length = segments[order], step[order], length[order]
    free = np.ones(len(segments), dtype=bool)
    groups = []
    for first in range(len(segments)):
        if not free[first]:
            continue
        normal = np.array([-step[first, 1], step[first, 0]]) / length[first]
        offset = float(normal @ (segments[first, :2] + segments[first, 2:]) / 2)
        for _ in range(2):
            near = free.copy()
            for ends in (segments[:, :2], segments[:, 2:]):
                near &= np.abs(ends @ normal - offset) < _SAME_LINE_PX
            near &= np.abs(step @ normal) < length * np.sin(_SAME_LINE_RAD)
            if not near.any():
                break
            normal, offset = _fit(segments[near], length[near])
        near[first] = True
        free &= ~near
        groups.append((normal, offset, segments[near], float(np.sqrt((length[near] ** 2).sum()))))
    groups.sort(key=lambda g: -g[3])
    return [(normal, offset, members) for normal, offset, members, _ in groups]


def _fit(members: Floats, weights: Floats) -> tuple[Floats, float]:
    points = members.reshape(-1, 2)
    w = np.repeat(weights, 2)
    centre = (points * w[:, None]).sum(axis=0) / w.sum()
    x, y = (points - centre).T
    along = 0.5 * math.atan2(2 * float((w * x * y).sum()), float((w * (x * x - y * y)).sum()))
    normal = np.array([-math.sin(along), math.cos(along)])
    return normal, float(normal @ centre)


def find_quads(lines: Lines, size: tuple[int, int], *, min_side_px: float, min_seen: float, outside_px: float) -> Quads:
    """All convex figures whose four sides are lines, long enough, seen enough and inside the picture.

    Parameters
    ----------
    size
        (width, height) of the small copy.
    min_side_px
        Shortest side.
    min_seen
        Least share of the least seen side.
    outside_px
        How far a corner may lie outside the picture.
    """
    n = len(lines.offsets)
    i, j = np.triu_indices(n, 1)
    turn = np.abs(lines.normals[i, 0] * lines.normals[j, 1] - lines.normals[i, 1] * lines.normals[j, 0])
    facing = turn < np.sin(np.deg2rad(32))
    i, j = i[facing], j[facing]
    a, b = np.triu_indices(len(i), 1)
    across = np.abs(
        lines.normals[i[a], 0] * lines.normals[i[b], 1] - lines.normals[i[a], 1] * lines.normals[i[b], 0]
    ) > np.sin(np.deg2rad(45))
    a, b = a[across], b[across]
    sides = np.stack([i[a], i[b], j[a], j[b]], axis=1)
    corners = np.stack([_meet(lines, sides[:, k - 1], sides[:, k]) for k in range(4)], axis=1)
    width, height = size
    inside = (
        np.isfinite(corners).all(axis=(1, 2))
        & (corners > -outside_px).all(axis=(1, 2))
        & (corners[..., 0] < width - 1 + outside_px).all(axis=1)
        & (corners[..., 1] < height - 1 + outside_px).all(axis=1)
    )
    corners, sides = corners[inside], sides[inside]
    edges = np.roll(corners, -1, axis=1) - corners
    after = np.roll(edges, -1, axis=1)
    turns = edges[..., 0] * after[..., 1] - edges[..., 1] * after[..., 0]
    convex = (turns > 0).all(axis=1) | (turns < 0).all(axis=1)
    long_enough = (np.hypot(edges[..., 0], edges[..., 1]) >= min_side_px).all(axis=1)
    good = convex & long_enough
    corners, sides, clockwise = corners[good], sides[good], np.asarray((turns[good] > 0).all(axis=1))
    ends = np.roll(corners, -1, axis=1)
    seen = np.stack([lines.share_seen(sides[:, k], corners[:, k], ends[:, k]) for k in range(4)], axis=1)
    enough = seen.min(axis=1) >= min_seen if len(seen) else np.zeros(0, dtype=bool)
    corners, seen, clockwise = corners[enough], np.minimum(seen[enough], 1.0), clockwise[enough]
    corners[~clockwise] = corners[~clockwise][:, ::-1]
    seen[~clockwise] = np.roll(seen[~clockwise][:, ::-1], -1, axis=1)
    return Quads(corners, seen)


def _meet(lines: Lines, one: Rows, other: Rows) -> Floats:
    (a, b), (c, d) = lines.normals[one].T, lines.normals[other].T
    e, f = lines.offsets[one], lines.offsets[other]
    with np.errstate(divide="ignore", invalid="ignore"):
        det = a * d - b * c
        return np.stack([(e * d - b * f) / det, (a * f - e * c) / det], axis=-1)


def shape_misfit(corners: Floats, size: tuple[int, int], aspect: float) -> tuple[Floats, NDArray[np.bool_]]:
    """How badly each figure can be the picture of a rectangle of one aspect, by a camera that is likely at all.

    Parameters
    ----------
    corners
        (n, 4, 2) in ring order.
    size
        (width, height) of the picture they lie in; the optical axis is taken to be at its centre.
    aspect
        Long side over short side.

    Returns
    -------
    tuple
        (n,) chi-square-like misfit (about 1 for a good figure), and (n,) whether the side from corner 0 to corner 1
        is the long one.
    """
    centre = (np.array(size, dtype=float) - 1) / 2
    half_diagonal = float(np.hypot(*size)) / 2
    first, second, third = _unit_square_columns((corners - centre) / half_diagonal)
    best = np.full(len(corners), np.inf)
    long_first = np.zeros(len(corners), dtype=bool)
    for focal in _FOCAL_OVER_HALF_DIAGONAL:
        rays = [column * np.array([1 / focal, 1 / focal, 1.0]) for column in (first, second, third)]
        lengths = [np.sqrt((ray**2).sum(axis=-1)) for ray in rays]
        skew = (rays[0] * rays[1]).sum(axis=-1) / (lengths[0] * lengths[1])
        ratio = np.log(lengths[0] / lengths[1])
        prior = (np.log(focal / 1.4) / 0.4) ** 2
        for is_long, target in ((True, np.log(aspect)), (False, -np.log(aspect))):
            misfit = ((ratio - target) / 0.02) ** 2 + (skew / 0.02) ** 2 + prior
            better = misfit < best
            best[better], long_first[better] = misfit[better], is_long
    return best, long_first


def _unit_square_columns(corners: Floats) -> tuple[Floats, Floats, Floats]:
    """Columns of the homography from the unit square to each figure (P. Heckbert's closed form, 1989)."""
    p0, p1, p2, p3 = (corners[:, k] for k in range(4))
    d1, d2, d3 = p1 - p2, p3 - p2, p0 - p1 + p2 - p3
    det = d1[:, 0] * d2[:, 1] - d2[:, 0] * d1[:, 1]
    g = (d3[:, 0] * d2[:, 1] - d2[:, 0] * d3[:, 1]) / det
    h = (d1[:, 0] * d3[:, 1] - d3[:, 0] * d1[:, 1]) / det
    first = np.concatenate([p1 - p0 + g[:, None] * p1, g[:, None]], axis=1)
    second = np.concatenate([p3 - p0 + h[:, None] * p3, h[:, None]], axis=1)
    third = np.concatenate([p0, np.ones((len(p0), 1))], axis=1)
    return first, second, third


def best_apart(quads: Quads, score: Floats, most: int, apart_px: float) -> Rows:
    """Indices of the best figures, highest score first, leaving out near-copies of better ones."""
    chosen: list[int] = []
    for index in np.argsort(-score):
        here = quads.corners[index]
        if all(_ring_distance(here, quads.corners[other]) > apart_px for other in chosen):
            chosen.append(int(index))
            if len(chosen) == most:
                break
    return np.array(chosen, dtype=np.intp)


def _ring_distance(one: Floats, other: Floats) -> float:
    """Largest distance between corresponding corners, over the four ways to start the ring."""
    return min(float(np.abs(one - np.roll(other, k, axis=0)).max()) for k in range(4))
