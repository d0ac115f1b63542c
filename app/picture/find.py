"""Finding keys on a page: which blobs are keys, which way they lie, and rough marks for each.

A key is a blob that is long, wide at one end (the bow) and narrow and even at the other (the blade).  The picture is
looked at small; everything found here is rough, and the fit refines it on the original pixels.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from app.picture.ground import Ground
from app.picture.median import median_of, median_of_bytes
from app.picture.opencv import cv2
from app.picture.quads import shrink
from app.picture.sample import to_grey
from app.picture.values import Picture
from keycore.marks import Marks
from keycore.measured import Floats
from keycore.spec import KeySpec

LOOK_PX = 1400
"""Longest side of the small picture that is searched."""
ITS_OWN = 0.3
"""A shape that looks this much less like a key than the best one in its picture is not counted as a key."""
HUE_BLUR_PX, HUE_DARK, HUE_TIMES, HUE_LEAST = 2.0, 16.0, 3.0, 0.01
"""Ratios of colours: blur, what is added to a colour so that noise in the dark is no hue, how far a hue must be from
the usual one (in usual distances, in logarithms)."""
_SQUARES = np.square(np.arange(256, dtype=np.float32))
_HUE_LOGARITHMS = np.log(np.arange(256, dtype=np.float32) + np.float32(HUE_DARK))
LEAST_AREA = 0.0008
"""A smaller share of the picture is no key that could be measured."""
MOST_OUTLINES = 3
LEVEL_PX = 900
"""Length to which a found key is brought before its outline is measured."""


@dataclass(frozen=True)
class FoundKey:
    """One key found in a picture, in picture pixels.

    Attributes
    ----------
    shoulder_xy, tip_xy
        Ends of the blade, on its middle line.
    side_a, side_b
        (2, 2) lines along the blade's two long sides, bow end first.
    roughness_a, roughness_b
        How far the outline strays from each line, as a share of the blade's width; the back of a single edge is smooth.
    box
        (4, 2) corners of the smallest rectangle around the whole key, for drawing.
    quality
        0 to 1: how much it looks like a key.
    length_px
        Length of the whole key.
    others
        Other outlines of the same key, as found by other means.
    """

    shoulder_xy: tuple[float, float]
    tip_xy: tuple[float, float]
    side_a: Floats
    side_b: Floats
    roughness_a: float
    roughness_b: float
    box: Floats
    quality: float
    length_px: float
    others: tuple[FoundKey, ...] = ()

    def marks(self, *, single: bool, back_is_a: bool) -> Marks:
        """Rough marks of this key, as a hand might have set them."""
        back, cut = (self.side_a, self.side_b) if back_is_a else (self.side_b, self.side_a)
        shoulder, tip = np.array(self.shoulder_xy), np.array(self.tip_xy)
        along = (tip - shoulder) / np.hypot(*(tip - shoulder))
        across_from = _beside(back, shoulder, along)
        across_to = _beside(cut, shoulder, along)
        middle = (self.side_a + self.side_b) / 2
        return Marks(
            shoulder=_pair(shoulder),
            tip=_pair(tip),
            back=(_pair(back[0]), _pair(back[1])) if single else None,
            centreline=None if single else (_pair(middle[0]), _pair(middle[1])),
            blade_height=(_pair(across_from), _pair(across_to)),
        )


def find_keys(
    picture: Picture,
    *,
    ignore: Floats | None = None,
    within: Floats | None = None,
    length_px: tuple[float, float] | None = None,
) -> tuple[FoundKey, ...]:
    """Find every key in a picture, the likeliest first.

    Parameters
    ----------
    picture
        The picture.
    ignore
        (n, 2) corners of something that is not a key (a card), or None.
    within
        (n, 2) corners of the page that holds the keys, or None.
    length_px
        How long a key can be (least, most) where the scale is known, or None.
    """
    pixels, scale = _small(picture)
    allowed = np.ones(pixels.shape[:2], dtype=np.uint8)
    if ignore is not None:
        cv2.fillConvexPoly(allowed, np.rint(_grown(ignore, 1.04) * scale).astype(np.int32), 0)
    if within is not None:
        inside = np.zeros_like(allowed)
        cv2.fillConvexPoly(inside, np.rint(_grown(within, 0.97) * scale).astype(np.int32), 1)
        allowed = allowed * inside
    if np.count_nonzero(allowed[::2, ::2]) < LEAST_AREA * allowed.size / 4:
        return ()
    found: list[FoundKey] = []
    for mask in _foregrounds(pixels, allowed):
        # Not the variant that gives boxes too: it takes several times as long, and eight are wanted of thousands.
        count, labels = cv2.connectedComponents(mask, connectivity=8)
        area = np.bincount(labels[mask > 0], minlength=count)
        order = sorted(range(1, count), key=lambda label: -int(area[label]))
        for label in order[:8]:
            if area[label] < LEAST_AREA * mask.size:
                continue
            blob = np.asarray(cv2.inRange(labels, label, label), dtype=np.uint8) & np.uint8(1)
            left, top, across, down = cv2.boundingRect(blob)
            key = _as_key(blob, (slice(top, top + down), slice(left, left + across)), scale)
            if key is not None and (length_px is None or length_px[0] < key.length_px < length_px[1]):
                found.append(key)
    return _without_repeats(found)


def keys_on(picture: Picture, spec: KeySpec, ground: Ground) -> tuple[FoundKey, ...]:
    """Find the keys that lie on a ground, as the table's blade and the ground's scale allow, the likeliest first."""
    return find_keys(
        picture, ignore=ground.card_xy, within=ground.page_xy, length_px=ground.key_length_px(spec, picture.size)
    )


def count_of_keys(found: tuple[FoundKey, ...]) -> int:
    """How many of the shapes found count as keys of their own, set against the likeliest."""
    return sum(key.quality >= ITS_OWN * found[0].quality for key in found)


def _without_repeats(found: list[FoundKey]) -> tuple[FoundKey, ...]:
    """One entry for each key, the likeliest outline first; its other outlines are kept beside it."""
    keys: list[FoundKey] = []
    for key in sorted(found, key=lambda key: -key.quality):
        middle = key.box.mean(axis=0)
        same = [n for n, other in enumerate(keys) if np.hypot(*(other.box.mean(axis=0) - middle)) < 0.4 * key.length_px]
        if not same:
            keys.append(key)
        elif len(keys[same[0]].others) < MOST_OUTLINES - 1:
            keys[same[0]] = replace(keys[same[0]], others=(*keys[same[0]].others, key))
    return tuple(keys)


def _small(picture: Picture) -> tuple[NDArray[np.uint8], float]:
    small = shrink(picture.rgb, LOOK_PX)
    return small.pixels, small.scale


def _foregrounds(pixels: NDArray[np.uint8], allowed: NDArray[np.uint8]) -> list[NDArray[np.uint8]]:
    """Masks of what may be a key: darker than the paper around it, or of another colour than what it lies on."""
    grey = np.clip(np.rint(to_grey(pixels)), 0, 255).astype(np.uint8)
    masks = [_darker(grey)]
    if pixels.ndim == 3:
        masks += [*_other_colour(pixels, allowed), _other_hue(pixels, allowed)]
    # Ruled lines and letters that touch a key are thinner than its blade.
    radius = max(2, round(max(grey.shape) / 300))
    disc = cv2.getStructuringElement(cv2.MORPH_ELLIPSE, (2 * radius + 1, 2 * radius + 1))
    kept = []
    for mask in masks:
        mask = mask * allowed
        kept += [mask, np.asarray(cv2.morphologyEx(mask, cv2.MORPH_OPEN, disc), dtype=np.uint8)]
    return kept


def _darker(grey: NDArray[np.uint8]) -> NDArray[np.uint8]:
    """White where something darker than the paper around it lies."""
    size = max(31, int(0.35 * max(grey.shape)) | 1)
    tiny = cv2.resize(grey, None, fx=0.125, fy=0.125, interpolation=cv2.INTER_AREA)
    kernel = max(3, int(size * 0.125) | 1)
    paper = cv2.medianBlur(cv2.dilate(tiny, np.ones((5, 5), np.uint8)), min(kernel, 255))
    paper = np.maximum(paper, np.uint8(np.percentile(tiny, 60)))
    paper = cv2.resize(paper, (grey.shape[1], grey.shape[0]), interpolation=cv2.INTER_LINEAR)
    darker = np.clip(paper.astype(np.int16) - grey.astype(np.int16), 0, 255).astype(np.uint8)
    level, _ = cv2.threshold(cv2.GaussianBlur(darker, (5, 5), 0), 0, 255, cv2.THRESH_BINARY | cv2.THRESH_OTSU)
    mask = (cv2.GaussianBlur(darker, (5, 5), 0) > max(18.0, 0.8 * level)).astype(np.uint8)
    reach = max(3, round(max(grey.shape) / 250)) | 1
    closed = cv2.morphologyEx(mask, cv2.MORPH_CLOSE, np.ones((reach, reach), np.uint8))
    return np.asarray(closed, dtype=np.uint8)


def _other_colour(pixels: NDArray[np.uint8], allowed: NDArray[np.uint8]) -> list[NDArray[np.uint8]]:
    """Masks, cautious and eager, of what differs in lightness or colour from what lies around it.

    What lies around is a wide median; how far it differs by itself (grain of a table, noise) is its usual distance
    from that median, and a key must differ by several times as much.
    """
    lab = np.asarray(cv2.cvtColor(cv2.GaussianBlur(pixels, (5, 5), 0), cv2.COLOR_RGB2LAB), dtype=np.uint8)
    if not allowed.all():
        lab = np.where(allowed[..., None] > 0, lab, _usual(lab, allowed))
    tiny = cv2.resize(lab, None, fx=0.125, fy=0.125, interpolation=cv2.INTER_AREA)
    kernel = min(255, int(0.3 * max(tiny.shape[:2])) | 1)
    around = cv2.merge([cv2.medianBlur(np.ascontiguousarray(tiny[..., k]), kernel) for k in range(3)])
    around = cv2.resize(around, (lab.shape[1], lab.shape[0]), interpolation=cv2.INTER_LINEAR)
    squares = cv2.LUT(cv2.absdiff(lab, around), _SQUARES)
    distance = np.sqrt(cv2.transform(squares, np.ones((1, 3)))) * (allowed > 0)
    grain = median_of(distance[allowed > 0])
    levels = (max(times * grain, least) for times, least in ((6.0, 14.0), (3.5, 7.0)))
    return [_closed((distance > level).astype(np.uint8)) for level in levels]


def _other_hue(pixels: NDArray[np.uint8], allowed: NDArray[np.uint8]) -> NDArray[np.uint8]:
    """Mask of what differs in the ratios of its red, green and blue from what is usual, however light it is."""
    logarithms = cv2.LUT(cv2.GaussianBlur(pixels, (0, 0), HUE_BLUR_PX), _HUE_LOGARITHMS)
    red, green, blue = (np.asarray(channel, dtype=np.float32) for channel in cv2.split(logarithms))
    some = allowed[::2, ::2] > 0
    aways = [np.abs(ratio - np.float32(median_of(ratio[::2, ::2][some]))) for ratio in (red - green, blue - green)]
    away = np.maximum(*aways)
    grain = median_of(away[::2, ::2][some])
    mask = (away > max(HUE_TIMES * grain, HUE_LEAST)).astype(np.uint8) * allowed
    return _closed(mask)


def _closed(mask: NDArray[np.uint8]) -> NDArray[np.uint8]:
    """The mask with its small gaps filled."""
    reach = max(3, round(max(mask.shape) / 150)) | 1
    return np.asarray(cv2.morphologyEx(mask, cv2.MORPH_CLOSE, np.ones((reach, reach), np.uint8)), dtype=np.uint8)


def _usual(lab: NDArray[np.uint8], allowed: NDArray[np.uint8]) -> NDArray[np.uint8]:
    """(channels,) median of each channel where a key may lie."""
    channels = (np.ascontiguousarray(lab[..., channel]) for channel in range(lab.shape[2]))
    return np.array([int(median_of_bytes(channel, allowed)) for channel in channels], dtype=np.uint8)


def _as_key(blob: NDArray[np.uint8], within: tuple[slice, slice], scale: float) -> FoundKey | None:
    """Measure one blob, which lies within some rows and columns, as a key, or None where it cannot be one."""
    contours, _ = cv2.findContours(np.ascontiguousarray(blob[within]), cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_NONE)
    outline = max(contours, key=len).reshape(-1, 2).astype(float) + (within[1].start, within[0].start)
    rectangle = cv2.minAreaRect(outline.astype(np.float32))
    long_side, short_side = max(rectangle[1]), min(rectangle[1])
    if short_side < 8 or long_side / short_side < 1.35:
        return None
    filled = float(cv2.contourArea(outline.astype(np.float32))) / (long_side * short_side)
    if filled > 0.93 or filled < 0.25:
        return None
    box = np.asarray(cv2.boxPoints(rectangle), dtype=float)
    level_map, columns = _level(blob, outline, box, long_side)
    top, bottom = columns
    width = bottom - top
    count = len(width)
    ends = width[: count // 4].mean(), width[-count // 4 :].mean()
    flipped = ends[1] > ends[0]
    if flipped:
        top, bottom, width = top[::-1], bottom[::-1], width[::-1]
    blade = _blade_stretch(width)
    if blade is None:
        return None
    shoulder, tip = blade
    height = float(np.percentile(width[shoulder:tip], 90))
    length = tip - shoulder
    x = np.arange(count, dtype=float)
    inner = slice(shoulder + int(0.05 * length), tip - int(0.15 * length))
    lines = [_straight_side(x[inner], side[inner], sign, height) for side, sign in ((top, -1.0), (bottom, 1.0))]
    if not 1.4 < length / height < 7.0:
        return None

    def to_picture(level_xy: Floats) -> Floats:
        xy = np.asarray(level_xy, dtype=float).copy()
        if flipped:
            xy[..., 0] = count - 1 - xy[..., 0]
        flat = np.concatenate([xy, np.ones((*xy.shape[:-1], 1))], axis=-1) @ level_map.T
        return np.asarray((flat + 0.5) / scale - 0.5)

    sides = []
    for slope, offset, _ in lines:
        ends_x = np.array([shoulder + 0.05 * length, tip - 0.12 * length])
        sides.append(to_picture(np.stack([ends_x, offset + slope * ends_x], axis=-1)))
    middle = (lines[0][1] + lines[1][1]) / 2, (lines[0][0] + lines[1][0]) / 2
    shoulder_xy = to_picture(np.array([float(shoulder), middle[0] + middle[1] * shoulder]))
    tip_xy = to_picture(np.array([float(tip), middle[0] + middle[1] * tip]))
    quality = _looks_like(
        bow_ratio=float(np.percentile(width[:shoulder], 80)) / height if shoulder > 5 else 1.0,
        blade_ratio=length / height,
        whole_ratio=count / length,
        straightest=min(lines[0][2], lines[1][2]),
        filled=filled,
    )
    return FoundKey(
        shoulder_xy=_pair(shoulder_xy),
        tip_xy=_pair(tip_xy),
        side_a=sides[0],
        side_b=sides[1],
        roughness_a=lines[0][2],
        roughness_b=lines[1][2],
        box=(box + 0.5) / scale - 0.5,
        quality=quality,
        length_px=long_side / scale,
    )


def _looks_like(
    *, bow_ratio: float, blade_ratio: float, whole_ratio: float, straightest: float, filled: float
) -> float:
    """0 to 1: how ordinary a key's proportions are.

    Parameters
    ----------
    bow_ratio, blade_ratio, whole_ratio
        Bow's width to the blade's; blade's length to its height; whole length to the blade's.
    straightest
        Roughness of the straighter side, as a share of the blade's height: one side of any key is straight enough.
    filled
        Share of the smallest rectangle around it that the key fills.
    """
    off = (
        np.log(bow_ratio / 2.5) / 0.35,
        np.log(blade_ratio / 3.4) / 0.35,
        np.log(whole_ratio / 1.75) / 0.25,
        (filled - 0.6) / 0.15,
        straightest / 0.12,
    )
    return float(np.exp(-0.25 * np.sum(np.square(off))))


def _level(
    blob: NDArray[np.uint8], outline: Floats, box: Floats, long_side: float
) -> tuple[Floats, tuple[Floats, Floats]]:
    """Turn the blob level; return the (2, 3) map from level to blob pixels and its top and bottom in every column."""
    centred = outline - outline.mean(axis=0)
    along = box[1] - box[0] if np.hypot(*(box[1] - box[0])) > np.hypot(*(box[2] - box[1])) else box[2] - box[1]
    along = along / np.hypot(*along)
    across = np.array([-along[1], along[0]])
    low, high = (centred @ along).min() - 3, (centred @ along).max() + 3
    up, down = (centred @ across).min() - 3, (centred @ across).max() + 3
    zoom = LEVEL_PX / long_side
    size = (int((high - low) * zoom), int((down - up) * zoom))
    origin = outline.mean(axis=0) + low * along + up * across
    matrix = np.column_stack([along / zoom, across / zoom, origin])
    level = cv2.warpAffine(blob, matrix, size, flags=cv2.INTER_NEAREST | cv2.WARP_INVERSE_MAP)
    filled = cv2.reduce(level, 0, cv2.REDUCE_MAX).ravel() > 0
    # The first row of each column that is filled, from above and from below; columns without any are never asked for.
    top = np.where(filled, level.argmax(axis=0), size[1]).astype(float)
    bottom = np.where(filled, size[1] - 1 - level[::-1].argmax(axis=0), -1).astype(float)
    first, last = np.flatnonzero(filled)[[0, -1]]
    matrix = matrix.copy()
    matrix[:, 2] += first * matrix[:, 0]
    return matrix, (top[first : last + 1], bottom[first : last + 1])


def _blade_stretch(width: Floats) -> tuple[int, int] | None:
    """First and last column of the blade in a width profile with the bow at the left."""
    count = len(width)
    tail = width[int(0.55 * count) : int(0.92 * count)]
    if len(tail) < 10:
        return None
    usual = float(np.percentile(tail, 85))
    smooth = np.convolve(width, np.ones(5) / 5, mode="same")
    wide = np.flatnonzero(smooth[: int(0.8 * count)] > 1.22 * usual)
    if len(wide) == 0:
        return None
    shoulder = int(wide[-1]) + 1
    return (shoulder, count - 1) if count - shoulder > 0.25 * count else None


def _straight_side(x: Floats, y: Floats, sign: float, height: float) -> tuple[float, float, float]:
    """Fit the outermost straight line of one side; (slope, offset, roughness as a share of the height)."""
    keep = np.ones(len(x), dtype=bool)
    slope, offset = 0.0, 0.0
    for _ in range(6):
        slope, offset = np.polyfit(x[keep], y[keep], 1)
        outward = sign * (y - offset - slope * x)
        keep = outward > np.median(outward[keep]) - max(1.5, 0.6 * float(np.std(outward[keep])))
        if keep.sum() < 0.2 * len(x):
            break
    residual = sign * (y - offset - slope * x)
    return float(slope), float(offset), float(np.mean(np.clip(-residual, 0.0, None)) / height)


def _beside(side: Floats, point: Floats, along: Floats) -> Floats:
    """Where a side that runs ``along`` through its middle passes a point."""
    middle = side.mean(axis=0)
    return np.asarray(middle + along * ((point - middle) @ along))


def _grown(corners: Floats, factor: float) -> Floats:
    middle = corners.mean(axis=0)
    return np.asarray(middle + factor * (corners - middle))


def _pair(xy: Any) -> tuple[float, float]:
    return float(xy[0]), float(xy[1])
