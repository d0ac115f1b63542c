"""Fine search: the four sides of a known rectangle as sub-pixel edge points, taken from the original pixels.

Each side is sampled along its normals.  A straight line through the strongest agreement of all normals is found
first, so that no single glint or printed word can pull a side; then every normal gives its own edge point near that
line, and points that do not lie on one smooth curve (a parabola: lenses bend straight lines) are left out.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache
from typing import Final, Literal

import numpy as np
from numpy.typing import NDArray
from scipy.ndimage import gaussian_filter1d
from scipy.special import ndtr

from app.picture.opencv import cv2
from app.picture.values import Bytes
from keycore.measured import Floats

_STEP_PX: Final = 0.5
_EDGE_SIGMA_PX: Final = 1.0
_ALONG_SIGMA: Final = 1.5
_MOST_NORMALS: Final = 240
_NEAR_PX: Final = 2.5
_MODEL_X_PX: Final = np.arange(-4.0, 2.51, 0.5)
_TRIES_PX: Final = np.arange(-1.25, 1.26, 0.25)
_MODEL_ALONG_SIGMA: Final = 3.0
_BLURS_PX: Final = np.arange(0.5, 2.05, 0.1)
_FALL_PENALTY: Final = 3.0
_MOST_LENS_BEND: Final = 0.02
_APART_PX: Final = 4.5
_LEAST_FAINT: Final = 3.0
_LEAST_CONTRAST: Final = 4.0
"""Grey levels over an edge below which noise and JPEG blocks are as strong."""

Prefer = Literal["innermost", "strongest", "outermost"]


@dataclass(frozen=True)
class Side:
    """One side as seen.

    Attributes
    ----------
    points
        (n, 2) picture positions on the edge, outliers left out; may be empty.
    scatter_px
        Standard deviation of one point about the smooth curve.
    share
        Share of the normals that gave a point on the curve.
    contrast
        Median height of the edge's step, grey levels.
    """

    points: Floats
    scatter_px: float
    share: float
    contrast: float


def trace_sides(
    rgb: Bytes,
    corners: Floats,
    *,
    reach_px: float,
    skip_share: tuple[float, float, float, float],
    prefer: Prefer,
    bows_px: tuple[float, float, float, float] | None = None,
) -> tuple[Side, Side, Side, Side]:
    """Edge points of the four sides near their rough places.

    Parameters
    ----------
    corners
        (4, 2) rough corners, clockwise as seen; side i runs from corner i to corner i + 1.
    reach_px
        How far from the rough side to look, on both sides of it.
    skip_share
        Share of each side to leave out at either end (rounded corners, crossing edges).
    prefer
        Which of several parallel edges is the one: a card's face ends at the innermost (its wall and its shadow lie
        outside it), a page at the outermost (ruled lines and typing lie inside it).
    bows_px
        None for a first look: each side is searched, and its steepest place is taken as it is.  For the second look,
        how far the middle of each side lies outside its chord: the side is then only measured, not searched.
    """
    looks = [
        _look(rgb, corners[k], corners[(k + 1) % 4], reach_px, skip_share[k], prefer, bows_px and bows_px[k])
        for k in range(4)
    ]
    blur = None if bows_px is None else _common_blur([look for look in looks if look is not None])
    one, two, three, four = (_side(look, blur) for look in looks)
    return one, two, three, four


@dataclass(frozen=True)
class _Look:
    """One side sampled along its normals: ``light`` (normals, offsets, channels), and its edge roughly found."""

    feet: Floats
    outward: Floats
    places: Floats
    offsets: Floats
    light: NDArray[np.float32]
    line: Floats
    found: Floats
    height: Floats


def _look(
    rgb: Bytes, start: Floats, end: Floats, reach_px: float, skip: float, prefer: Prefer, bow_px: float | None
) -> _Look | None:
    length = float(np.hypot(*(end - start)))
    along = (end - start) / length
    outward = np.array([along[1], -along[0]])  # clockwise as seen: the inside lies to the right of the way
    count = int(np.clip(length * (1 - 2 * skip) / 2, 12, _MOST_NORMALS))
    places = np.linspace(skip, 1 - skip, count)
    feet = start + (end - start) * places[:, None]
    offsets = np.arange(-reach_px, reach_px + _STEP_PX / 2, _STEP_PX)
    inside = _in_picture(rgb, feet)
    if inside.sum() < 12:
        return None
    feet, places = feet[inside], places[inside]
    light = _sampled(rgb, feet[:, None] + offsets[:, None] * outward)
    strength = _edge_strength(light)
    line: Floats
    if bow_px is None:
        searched = _agreed_line(strength, places, offsets, prefer, _most_bow_px(rgb, start, end))
        if searched is None:
            return None
        line = searched - (_step_inward(strength, offsets, searched) if prefer == "innermost" else 0.0)
    else:
        line = bow_px * 4 * places * (1 - places)
    found, height = _peaks_near(strength, offsets, line)
    line = np.asarray(np.polyval(_smooth_curve(places, found, height)[0], places - 0.5), dtype=float)
    found, height = _peaks_near(strength, offsets, line)
    return _Look(feet, outward, places, offsets, light, line, found, height)


def _side(look: _Look | None, blur: float | None) -> Side:
    """Edge points of one side; measured in light where the picture's blur is known."""
    if look is None:
        return Side(np.empty((0, 2)), 0.0, 0.0, 0.0)
    found = look.found
    if blur is not None:
        in_light, has = _peaks_near(_edge_strength(look.light, as_seen=False), look.offsets, look.line)
        found = np.where((has > 0) & (np.abs(in_light - found) < 1), in_light, found)
    _, keep, scatter = _smooth_curve(look.places, found, look.height)
    if blur is not None:
        # The model is the better place as long as it describes this side; on grain it is the noisier one.
        modelled = _steps_near(look, blur)
        _, keep_modelled, scatter_modelled = _smooth_curve(look.places, modelled, look.height)
        if scatter_modelled < 1.5 * scatter + 0.02 and keep_modelled.mean() > 0.8 * keep.mean():
            found, keep, scatter = modelled, keep_modelled, scatter_modelled
    contrast = float(np.median(look.height[keep])) if keep.any() else 0.0
    return Side((look.feet + found[:, None] * look.outward)[keep], scatter, float(keep.mean()), contrast)


def _most_bow_px(rgb: Bytes, start: Floats, end: Floats) -> float:
    """How far the strongest likely lens bends this side from its chord, towards or away from the middle."""
    centre = (np.array([rgb.shape[1], rgb.shape[0]]) - 1) / 2
    half = (end - start) / 2
    length = float(np.hypot(*half))
    away = abs(float(half[0] * (start - centre)[1] - half[1] * (start - centre)[0])) / length
    return _MOST_LENS_BEND * away * length**2 / float(centre @ centre)


def _in_picture(rgb: Bytes, feet: Floats) -> NDArray[np.bool_]:
    height, width = rgb.shape[:2]
    return np.asarray(((feet > 2) & (feet < [width - 3, height - 3])).all(axis=1))


def _sampled(rgb: Bytes, grid: Floats) -> NDArray[np.float32]:
    """(normals, offsets, channels) light at each place, square-rooted, smoothed along the side.

    Blur mixes light, so light is what is interpolated.
    """
    low = np.floor(grid.reshape(-1, 2).min(axis=0)).astype(int) - 2
    high = np.ceil(grid.reshape(-1, 2).max(axis=0)).astype(int) + 3
    left, top = (int(max(0, v)) for v in low)
    crop = rgb[top : max(top + 1, high[1]), left : max(left + 1, high[0])]
    x, y = np.moveaxis((grid - [left, top]).astype(np.float32), -1, 0)
    values = cv2.remap(_LIGHT[crop], x, y, cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE)
    values = values.reshape(*grid.shape[:2], -1)
    smooth = [
        cv2.GaussianBlur(np.ascontiguousarray(values[..., k]), (0, 0), 1e-3, sigmaY=_ALONG_SIGMA)
        for k in range(values.shape[2])
    ]
    return np.stack(smooth, axis=-1)


def _edge_strength(light: NDArray[np.float32], *, as_seen: bool = True) -> Floats:
    """(normals, offsets) height of the step across each place, over all channels together.

    As the eye sees it (the root of light), which finds dim edges; or in light, in which blur leaves the steepest
    place where it was (in the picture's own values it moves a quarter of a pixel to the dark side).
    """
    sigma = _EDGE_SIGMA_PX / _STEP_PX
    radius = int(np.ceil(4 * sigma))
    taps = np.arange(-radius, radius + 1)
    slope = -taps * np.exp(-0.5 * (taps / sigma) ** 2)
    slope = (slope / np.abs(slope).sum() * 2).reshape(1, -1)
    seen = np.sqrt(np.maximum(light, 0) * np.float32(255)) if as_seen else light
    total = np.zeros(light.shape[:2])
    for channel in range(light.shape[2]):
        plane = np.ascontiguousarray(seen[..., channel])
        total += cv2.filter2D(plane, cv2.CV_32F, slope, borderType=cv2.BORDER_REPLICATE).astype(float) ** 2
    return np.asarray(np.sqrt(total / light.shape[2]))


def _light() -> NDArray[np.float32]:
    """(256,) light of each sRGB level (IEC 61966-2-1), white scaled to 255."""
    v = np.arange(256) / 255
    return np.where(v <= 0.04045, v / 12.92, ((v + 0.055) / 1.055) ** 2.4).astype(np.float32) * np.float32(255)


_LIGHT: Final = _light()


def _agreed_line(strength: Floats, places: Floats, offsets: Floats, prefer: Prefer, bow_px: float) -> Floats | None:
    """(normals,) offset of the straight line on which most normals agree that there is an edge."""
    every = max(1, len(places) // 60)
    rows, at = strength[::every], places[::every]
    typical = float(np.median(rows.max(axis=1)))
    if typical < _LEAST_CONTRAST:
        return None
    level = 0.35 * typical
    agreed = rows / (rows + level)
    shifts = np.arange(offsets[0], offsets[-1] + 0.25, 0.5)
    a, b = np.meshgrid(shifts, shifts, indexing="ij")
    span = at[-1] - at[0]
    weight = (at - at[0]) / span
    positions = a[..., None] * (1 - weight) + b[..., None] * weight
    index = np.clip(np.rint((positions - offsets[0]) / _STEP_PX), 0, len(offsets) - 1).astype(np.intp)
    score = agreed[np.arange(len(at)), index].mean(axis=-1)
    floor = float(np.median(score))
    peak = (score >= cv2.dilate(score, np.ones((5, 5), np.uint8)) - 1e-12) & (
        score >= floor + (0.55 if prefer != "strongest" else 1.0) * (score.max() - floor)
    )
    i, j = np.nonzero(peak)
    middle = (shifts[i] + shifts[j]) / 2
    pick = {"innermost": int(np.argmin(middle)), "outermost": int(np.argmax(middle)), "strongest": 0}[prefer]
    start, stop = shifts[i[pick]], shifts[j[pick]]
    return _bent(agreed, at, offsets, (start, stop), places, bow_px)


def _bent(
    agreed: Floats, at: Floats, offsets: Floats, ends: tuple[float, float], places: Floats, bow_px: float
) -> Floats:
    """(normals,) offset of the line between two ends, bent as a lens may bend it, where most normals agree."""
    share = (at - at[0]) / (at[-1] - at[0])
    bows = np.arange(-np.ceil(2 * bow_px) / 2, bow_px + 0.5, 0.5)
    ends_near = np.arange(-1.0, 1.01, 0.5)
    bow, a, b = np.meshgrid(bows, ends[0] + ends_near, ends[1] + ends_near, indexing="ij")

    def line(t: Floats) -> Floats:
        return np.asarray(a[..., None] * (1 - t) + b[..., None] * t + bow[..., None] * 4 * t * (1 - t))

    index = np.clip(np.rint((line(share) - offsets[0]) / _STEP_PX), 0, len(offsets) - 1).astype(np.intp)
    score = agreed[np.arange(len(at)), index].mean(axis=-1) - 1e-3 * np.abs(bow)
    best = np.unravel_index(score.argmax(), score.shape)
    return np.asarray(line((places - at[0]) / (at[-1] - at[0]))[best])


def _step_inward(strength: Floats, offsets: Floats, line: Floats) -> float:
    """How far inside the found line a faint but separate edge runs all along it; 0 for none.

    Where a card's shadow is as dark as the card, the shadow's outer edge is the strong one and the card's own is
    faint.  It must be parallel, clearly apart (sharpening leaves a false edge within a few pixels), and well above
    anything further in (printing, the blocks of a JPEG).
    """
    inward = np.arange(0, round((line.min() - offsets[0]) / _STEP_PX) + 1)
    if len(inward) * _STEP_PX <= _APART_PX + 1:
        return 0.0
    index = np.rint((line - offsets[0]) / _STEP_PX).astype(np.intp)[:, None] - inward
    profile = np.median(strength[np.arange(len(line))[:, None], np.clip(index, 0, strength.shape[1] - 1)], axis=0)
    main = float(profile[:3].max())
    beyond = round(2.0 / _STEP_PX)
    for k in range(len(profile) - 1 - beyond, round(_APART_PX / 2 / _STEP_PX), -1):
        if not (profile[k] > profile[k + 1] and profile[k] >= profile[k - 1]):
            continue
        far = inward[k] * _STEP_PX >= _APART_PX
        least = max(_LEAST_FAINT, 3 * float(profile[k + beyond :].max()), (0.08 if far else 0.25) * main)
        if profile[k] >= least and profile[:k].min() < (0.6 if far else 0.8) * profile[k]:
            return float(inward[k] * _STEP_PX)
    return 0.0


def _peaks_near(strength: Floats, offsets: Floats, line: Floats) -> tuple[Floats, Floats]:
    """Strongest edge of every normal within ``_NEAR_PX`` of the line, to a fraction of a step, and its height."""
    summit = np.zeros(strength.shape, dtype=bool)
    summit[:, 1:-1] = (strength[:, 1:-1] >= strength[:, :-2]) & (strength[:, 1:-1] > strength[:, 2:])
    summit &= np.abs(offsets - line[:, None]) <= _NEAR_PX
    masked = np.where(summit, strength, -1.0)
    k = np.clip(masked.argmax(axis=1), 1, len(offsets) - 2)
    rows = np.arange(len(line))
    before, here, after = (np.log(strength[rows, k + d] + 1e-6) for d in (-1, 0, 1))
    bend = before - 2 * here + after
    shift = np.where(bend < -1e-9, 0.5 * (before - after) / np.where(bend < -1e-9, bend, -1.0), 0.0)
    height = np.where(summit.any(axis=1) & (np.abs(shift) <= 1), strength[rows, k], 0.0)
    return offsets[k] + np.clip(shift, -1, 1) * _STEP_PX, height


def _steps_near(look: _Look, blur: float) -> Floats:
    """(normals,) where the inside level ends: a blurred step, beside which a shadow or glow may fall away linearly.

    The steepest place of the whole profile would be drawn outward by a soft shadow beside the edge.  Here light is
    modelled as ``inside + step * S(x) + fall * R(x)``, S the blurred step at the place sought and R its integral;
    the place is searched, the others are solved for.  Whether there is a fall at all is chosen once for the whole
    side on its mean profile: a fall that is not needed would take part of the step's place.
    """
    windows, middle = _windows(look)
    windows = gaussian_filter1d(windows, _MODEL_ALONG_SIGMA, axis=0)
    mean = np.median(windows, axis=0)[None]
    plain, falling = (float(_misfit(mean, blur, falls=falls).min()) for falls in (False, True))
    left = _misfit(windows, blur, falls=falling * _FALL_PENALTY < plain)
    k = np.clip(left.argmin(axis=1), 1, len(_TRIES_PX) - 2)
    rows = np.arange(len(left))
    before, here, after = left[rows, k - 1], left[rows, k], left[rows, k + 1]
    bend = before - 2 * here + after
    shift = np.where(bend > 1e-9, 0.5 * (before - after) / np.where(bend > 1e-9, bend, 1.0), 0.0)
    return np.asarray(look.offsets[middle] + _TRIES_PX[k] + np.clip(shift, -1, 1) * (_TRIES_PX[1] - _TRIES_PX[0]))


def _common_blur(looks: list[_Look]) -> float:
    """The one blur, in pixels, with which the model fits the mean profiles of all sides together.

    A shadow beside one side passes for blur; the picture has one focus, and the clean sides show it.
    """
    total = np.zeros(len(_BLURS_PX))
    for look in looks:
        windows, _ = _windows(look)
        mean = np.median(windows, axis=0)[None]
        least = 1e-4 * float(((mean - mean[..., :1]) ** 2).sum()) + 1e-3
        for k, blur in enumerate(_BLURS_PX):
            misfit = min(
                float(_misfit(mean, blur, falls=False).min()),
                _FALL_PENALTY * float(_misfit(mean, blur, falls=True).min()),
            )
            total[k] += np.log(misfit + least)
    return float(_BLURS_PX[int(total.argmin())])


def _windows(look: _Look) -> tuple[Floats, NDArray[np.intp]]:
    """(normals, channels, x) light around the line at ``_MODEL_X_PX``, and the offsets' indices of their middles."""
    inside, outside = round(-_MODEL_X_PX[0] / _STEP_PX), round(_MODEL_X_PX[-1] / _STEP_PX)
    middle = np.rint((look.line - look.offsets[0]) / _STEP_PX).astype(np.intp)
    middle = np.clip(middle, inside, len(look.offsets) - 1 - outside)
    near = np.arange(-inside, outside + 1)
    windows = look.light[np.arange(len(look.line))[:, None], middle[:, None] + near]
    return windows.astype(float).transpose(0, 2, 1), middle


def _misfit(windows: Floats, blur: float, *, falls: bool) -> Floats:
    """(normals, tries) squared distance of (normals, channels, x) windows from the best model at each place."""
    normals, channels, width = windows.shape
    bases = _model_bases(blur, falls)
    parts = windows.reshape(-1, width) @ bases.transpose(1, 0, 2).reshape(width, -1)
    explained = (parts**2).reshape(normals, channels, len(bases), -1).sum(axis=(1, 3))
    return np.asarray((windows**2).sum(axis=(1, 2))[:, None] - explained)


@cache
def _model_bases(blur: float, falls: bool) -> Floats:
    """(tries, x, 2 or 3) for each place tried, an orthonormal basis of all that the model can be."""
    u = (_MODEL_X_PX - _TRIES_PX[:, None]) / blur
    step = ndtr(u)
    parts = [np.ones_like(u), step]
    if falls:
        parts.append(u * step + np.exp(-0.5 * u**2) / np.sqrt(2 * np.pi))
    return np.asarray(np.linalg.qr(np.stack(parts, axis=2))[0])


def _smooth_curve(places: Floats, found: Floats, height: Floats) -> tuple[Floats, NDArray[np.bool_], float]:
    """Parabola through most points (Tukey's weights), which points lie on it, and their scatter."""
    x = places - 0.5
    typical = np.median(height[height > 0]) if (height > 0).any() else 1.0
    base = np.clip(height / typical, 0.0, 1.0)
    if (base > 0.2).sum() < 8:
        return np.zeros(3), np.zeros(len(x), dtype=bool), 0.0
    weights = base
    design = np.stack([x**2, x, np.ones_like(x)], axis=1)
    curve: Floats = np.zeros(3)
    scale = 1.0
    for _ in range(8):
        root = np.sqrt(weights)[:, None]
        curve = np.asarray(np.linalg.lstsq(design * root, found * root[:, 0], rcond=None)[0], dtype=float)
        miss = np.abs(found - design @ curve)
        scale = max(0.05, 1.4826 * float(np.median(miss[base > 0.2])))
        weights = base * np.clip(1 - (miss / (4.685 * scale)) ** 2, 0, 1) ** 2
    keep = (miss < 3 * scale) & (base > 0.2)
    scatter = float(np.sqrt(np.mean((found - design @ curve)[keep] ** 2))) if keep.any() else 0.0
    return curve, keep, scatter
