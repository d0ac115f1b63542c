"""What a picture is: a scan of the key, a photocopy, a photo with a card, or a photo of a photocopied page.

Told by what light and toner do, not by sizes or names of files:

* An ID-1 card or a whole page makes it a photo; but a page that lies flat at just the scale that the file claims came
  from a scanner.
* A key on a scanner's glass throws a shadow that falls away softly beside it.  Toner is there or it is not: a copy
  has no soft shades beside the key, however its metal came out.  And toner is dark: beside a key that is light on its
  ground, less of a soft shadow is enough.
* Where neither card nor page is seen, light that is uneven over the bare ground still gives a photo away.
"""

from __future__ import annotations

import weakref
from dataclasses import dataclass
from typing import Final, Literal

import numpy as np
from numpy.typing import NDArray

from app.picture.card import find_card
from app.picture.median import median_of_bytes
from app.picture.opencv import cv2
from app.picture.page import find_page
from app.picture.perspective import PlaneView
from app.picture.quads import shrink
from app.picture.values import Bytes, Picture
from keycore.spec import MM_PER_INCH

PictureMedium = Literal["scan", "photocopy", "photo-card", "photo-copy"]

_LONG_SIDE_PX: Final = 1200
_BILEVEL: Final = 0.985
_SOFT: Final = 0.10
_LIGHT: Final = 0.57
_SOFT_BESIDE_LIGHT: Final = 0.02
_FLAT_TILT_DEG: Final = 1.0
_SAME_SCALE: Final = 0.03
_UNEVEN: Final = 0.10
_DARK_GROUND: Final = 200.0


@dataclass(frozen=True)
class MediumGuess:
    """What the picture seems to be.

    Attributes
    ----------
    medium
        The likeliest.
    confidence
        0.5 (a guess) to 0.99; a rough order, not a calibrated probability.
    because
        The reason, in words for the person at the bench.
    view
        The card or page that was found on the way, so that nobody needs to look for it twice.
    """

    medium: PictureMedium
    confidence: float
    because: str
    view: PlaneView | None = None


@dataclass(frozen=True)
class _Ground:
    """What lies beside the largest dark thing."""

    soft_share: float
    """Share of the ring beside it that is softly shaded."""
    level: float
    """Grey level of the bare ground."""
    lightness: float
    """Grey level of the thing, as a share of the ground's."""
    unevenness: float
    """How much the ground's level differs over the picture, as a share of it."""


_lately: dict[tuple[int, tuple[float, float] | None], tuple[weakref.ref[Bytes], MediumGuess]] = {}
"""What was told of pictures that are still held; marks move many times on one picture."""


def medium_of(picture: Picture) -> MediumGuess:
    """Tell what a picture is from its pixels.  What was told once of pixels that cannot change is told again at once.

    Parameters
    ----------
    picture
        Any picture; its name is not looked at.
    """
    if picture.rgb.flags.writeable:
        return _looked_at(picture)
    key = id(picture.rgb), picture.dpi
    known = _lately.get(key)
    if known is not None and known[0]() is picture.rgb:
        return known[1]
    guess = _looked_at(picture)
    _lately[key] = weakref.ref(picture.rgb, lambda _gone: _lately.pop(key, None)), guess
    return guess


def _looked_at(picture: Picture) -> MediumGuess:
    small = shrink(picture.rgb, _LONG_SIDE_PX).pixels
    grey = small if small.ndim == 2 else np.asarray(cv2.cvtColor(small, cv2.COLOR_RGB2GRAY), dtype=np.uint8)
    if _is_bilevel(picture.rgb):
        return MediumGuess("photocopy", 0.99, "the picture is black and white only")
    smaller = shrink(picture.rgb)
    card = find_card(picture, smaller)
    if card is not None:
        return MediumGuess("photo-card", 0.98, "a card lies in it", card)
    page = find_page(picture, smaller)
    if page is not None and not _from_a_scanner(picture, page):
        tilted = page.tilt_deg >= _FLAT_TILT_DEG
        return MediumGuess("photo-copy", 0.97 if tilted else 0.85, "a whole page lies in it", page)
    ground = _look_beside(grey)
    # Toner is dark where it is at all: beside a light thing little soft shade is enough.
    enough = _SOFT_BESIDE_LIGHT if ground is not None and ground.lightness > _LIGHT else _SOFT
    soft = ground is not None and ground.soft_share > enough
    if ground is not None and (ground.unevenness > _UNEVEN or ground.level < _DARK_GROUND):
        if soft:
            return MediumGuess("photo-card", 0.6, "the light is uneven as in a photo, but no card is seen")
        return MediumGuess("photo-copy", 0.6, "the light is uneven as in a photo, and the key has no soft shadow", page)
    if ground is None:
        return MediumGuess("photocopy", 0.5, "nothing dark enough for a key is seen")
    doubt = 0.45 * float(np.exp(-abs(np.log((ground.soft_share + 0.01) / (enough + 0.01)))))
    if soft:
        return MediumGuess("scan", 0.95 - doubt, "a soft shadow lies beside the key")
    return MediumGuess("photocopy", 0.95 - doubt, "no soft shadow lies beside the key")


def _from_a_scanner(picture: Picture, page: PlaneView) -> bool:
    """True where a page lies flat and has the very size that the file's dpi claim gives it."""
    if picture.dpi is None or page.tilt_deg >= _FLAT_TILT_DEG:
        return False
    claimed = float(np.sqrt(picture.dpi[0] * picture.dpi[1])) / MM_PER_INCH
    return bool(abs(np.log(page.px_per_mm_at(page.corners_xy.mean(axis=0)) / claimed)) < _SAME_SCALE)


def _is_bilevel(rgb: Bytes) -> bool:
    """True where nearly every pixel is near black or near white (1-bit pictures, also after a JPEG)."""
    if rgb.ndim == 3:
        return False
    step = max(1, round(np.sqrt(rgb.size / 2e6)))
    some = np.ascontiguousarray(rgb[::step, ::step])
    histogram = cv2.calcHist([some], [0], None, [256], [0, 256]).ravel().astype(float) / some.size
    return bool(histogram[:20].sum() + histogram[236:].sum() > _BILEVEL and histogram[:20].sum() > 0.005)


def _look_beside(grey: Bytes) -> _Ground | None:
    """Measure the ground beside the largest dark thing that does not touch the picture's border."""
    threshold, _ = cv2.threshold(grey, 0, 255, cv2.THRESH_OTSU)
    dark = (cv2.GaussianBlur(grey, (0, 0), 1.5) < threshold).astype(np.uint8)
    thing = _largest(dark)
    if thing is None:
        return None
    size = float(max(np.ptp(np.flatnonzero(thing.any(axis=axis))) for axis in (0, 1)))
    away = cv2.distanceTransform(1 - thing, cv2.DIST_L2, 5)
    near_any = cv2.distanceTransform(1 - dark, cv2.DIST_L2, 5)
    unit = max(2.0, 0.01 * size)
    far = near_any > 8 * unit
    if far.sum() < 200:
        far = near_any > 3 * unit
    if far.sum() < 200:
        return None
    level = median_of_bytes(grey, far)
    inside = median_of_bytes(grey, thing)
    if level - inside < 20:
        return None
    ring = (away > unit) & (away < 4 * unit)
    ground = _ground_under(grey, far, ring)
    # Strokes of print are taken out: a closing fills dark things narrower than its kernel, which no shadow is.
    kernel = cv2.getStructuringElement(cv2.MORPH_ELLIPSE, (2 * round(0.7 * unit) + 1,) * 2)
    without_print = cv2.morphologyEx(grey, cv2.MORPH_CLOSE, kernel)
    shade = (ground - without_print[ring].astype(float)) / np.maximum(ground - inside, 10.0)
    soft = float(np.mean((shade > 0.06) & (shade < 0.5)))
    return _Ground(soft, level, inside / level, _unevenness(grey, far))


def _ground_under(grey: Bytes, far: NDArray[np.bool_], ring: NDArray[np.bool_]) -> NDArray[np.float64]:
    """Level that the bare ground would have in the ring: a plane through its level elsewhere, two rounds."""
    places = np.flatnonzero(far)
    y, x = np.divmod(places[:: max(1, len(places) // 20_000)], far.shape[1])
    values = grey[y, x].astype(float)
    design = np.stack([np.ones_like(values), x / grey.shape[1], y / grey.shape[0]], axis=1)
    keep = np.ones(len(values), dtype=bool)
    plane = np.zeros(3)
    for _ in range(2):
        plane = np.asarray(np.linalg.lstsq(design[keep], values[keep], rcond=None)[0], dtype=float)
        miss = np.abs(values - design @ plane)
        keep = miss <= 3 * max(1.0, 1.4826 * float(np.median(miss)))
    y, x = np.nonzero(ring)
    return np.asarray(plane[0] + plane[1] * x / grey.shape[1] + plane[2] * y / grey.shape[0], dtype=float)


def _largest(dark: NDArray[np.uint8]) -> NDArray[np.uint8] | None:
    """(rows, columns) 1 on the largest connected dark thing of a key's area; those touching the border come last."""
    count, labels = cv2.connectedComponents(dark)
    area = np.bincount(labels[dark > 0], minlength=count)
    touches = np.zeros(count, dtype=bool)
    for rim in (labels[0], labels[-1], labels[:, 0], labels[:, -1]):
        touches[rim] = True
    worth = np.where(area > 0.002 * dark.size, area * np.where(touches, 0.1, 1.0), 0.0)
    worth[0] = 0.0  # what is not dark
    best = int(worth.argmax())
    return (labels == best).astype(np.uint8) if worth[best] > 0 else None


def _unevenness(grey: Bytes, far: NDArray[np.bool_]) -> float:
    """Spread of the ground's level between the parts of a 4 x 4 division, as a share of its level."""
    levels = []
    for rows, rows_far in zip(np.array_split(grey, 4), np.array_split(far, 4), strict=True):
        for part, part_far in zip(np.array_split(rows, 4, axis=1), np.array_split(rows_far, 4, axis=1), strict=True):
            if part_far.sum() > 0.1 * part_far.size:
                levels.append(median_of_bytes(np.ascontiguousarray(part), np.ascontiguousarray(part_far)))
    if len(levels) < 3:
        return 0.0
    return float((np.max(levels) - np.min(levels)) / np.median(levels))
