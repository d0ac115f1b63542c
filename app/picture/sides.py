"""Fine search: the four sides of a known rectangle as sub-pixel edge points, taken from the original pixels.

Each side is sampled along its normals.  A straight line through the strongest agreement of all normals is found
first, so that no single glint or printed word can pull a side; then every normal gives its own edge point near that
line, and points that do not lie on one smooth curve (a parabola: lenses bend straight lines) are left out.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final, Literal

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtr

from app.picture.opencv import cv2
from app.picture.values import Bytes
from keycore.measured import Floats

_STEP_PX: Final = 0.5
_EDGE_SIGMA_PX: Final = 1.0
_ALONG_SIGMA: Final = 1.5
_MOST_NORMALS: Final = 240
_NEAR_PX: Final = 2.5
_MODEL_INSIDE_PX: Final = 4.0
_MODEL_OUTSIDE_PX: Final = 2.5
_MODEL_NEAR_PX: Final = 1.25
_BLURS_PX: Final = (0.55, 0.8, 1.15)
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
    exact: bool = True,
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
    exact
        False for a first look: the steepest place is taken as it is.
    """
    one, two, three, four = (
        _trace(rgb, corners[k], corners[(k + 1) % 4], reach_px, skip_share[k], prefer, exact) for k in range(4)
    )
    return one, two, three, four


def _trace(rgb: Bytes, start: Floats, end: Floats, reach_px: float, skip: float, prefer: Prefer, exact: bool) -> Side:
    length = float(np.hypot(*(end - start)))
    along = (end - start) / length
    outward = np.array([along[1], -along[0]])  # clockwise as seen: the inside lies to the right of the way
    count = int(np.clip(length * (1 - 2 * skip) / 2, 12, _MOST_NORMALS))
    places = np.linspace(skip, 1 - skip, count)
    feet = start + (end - start) * places[:, None]
    offsets = np.arange(-reach_px, reach_px + _STEP_PX / 2, _STEP_PX)
    inside = _in_picture(rgb, feet)
    if inside.sum() < 12:
        return Side(np.empty((0, 2)), 0.0, 0.0, 0.0)
    feet, places = feet[inside], places[inside]
    values = _sampled(rgb, feet[:, None] + offsets[:, None] * outward)
    strength = _edge_strength(values)
    line = _agreed_line(strength, places, offsets, prefer)
    if line is None:
        return Side(np.empty((0, 2)), 0.0, 0.0, 0.0)
    found, height = _peaks_near(strength, offsets, line)
    line = np.polyval(_smooth_curve(places, found, height)[0], places - 0.5)
    found, height = _peaks_near(strength, offsets, line)
    if exact:
        found = _steps_near(values, offsets, line)
    _, keep, scatter = _smooth_curve(places, found, height)
    share = float(keep.mean())
    contrast = float(np.median(height[keep])) if keep.any() else 0.0
    return Side((feet + found[:, None] * outward)[keep], scatter, share, contrast)


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


def _edge_strength(light: NDArray[np.float32]) -> Floats:
    """(normals, offsets) height of the step across each place as the eye sees it, over all channels together."""
    sigma = _EDGE_SIGMA_PX / _STEP_PX
    radius = int(np.ceil(4 * sigma))
    taps = np.arange(-radius, radius + 1)
    slope = -taps * np.exp(-0.5 * (taps / sigma) ** 2)
    slope = (slope / np.abs(slope).sum() * 2).reshape(1, -1)
    seen = np.sqrt(np.maximum(light, 0) * np.float32(255))
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


def _agreed_line(strength: Floats, places: Floats, offsets: Floats, prefer: Prefer) -> Floats | None:
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
    return np.asarray(start + (places - at[0]) / span * (stop - start))


def _peaks_near(strength: Floats, offsets: Floats, line: Floats) -> tuple[Floats, Floats]:
    """Strongest edge of every normal within ``_NEAR_PX`` of the line, to a fraction of a step, and its height."""
    far = np.abs(offsets - line[:, None]) > _NEAR_PX
    masked = np.where(far, -1.0, strength)
    k = np.clip(masked.argmax(axis=1), 1, len(offsets) - 2)
    rows = np.arange(len(line))
    before, here, after = (np.log(strength[rows, k + d] + 1e-6) for d in (-1, 0, 1))
    bend = before - 2 * here + after
    shift = np.where(bend < -1e-9, 0.5 * (before - after) / np.where(bend < -1e-9, bend, -1.0), 0.0)
    at_rim = np.abs(offsets[k] - line) > _NEAR_PX - _STEP_PX
    height = np.where(at_rim | (np.abs(shift) > 1), 0.0, strength[rows, k])
    return offsets[k] + np.clip(shift, -1, 1) * _STEP_PX, height


def _steps_near(light: NDArray[np.float32], offsets: Floats, line: Floats) -> Floats:
    """(normals,) where the inside level ends: a blurred step, from which a shadow or glow may fall away linearly.

    The steepest place of the whole profile would be drawn outward by a soft shadow beside the edge.  Here light is
    modelled as ``inside + step * S(x) + fall * R(x)``, S the blurred step at the place sought and R its integral;
    the place is searched, the three others are solved for, and one blur is chosen for the whole side.
    """
    inside, outside = round(_MODEL_INSIDE_PX / _STEP_PX), round(_MODEL_OUTSIDE_PX / _STEP_PX)
    near = np.arange(-inside, outside + 1)
    middle = np.rint((line - offsets[0]) / _STEP_PX).astype(np.intp)
    middle = np.clip(middle, inside, len(offsets) - 1 - outside)
    windows = light[np.arange(len(line))[:, None], middle[:, None] + near].astype(float).transpose(0, 2, 1)
    x = near * _STEP_PX
    tries = np.arange(-_MODEL_NEAR_PX, _MODEL_NEAR_PX + 0.01, 0.25)
    best_total, best = np.inf, np.empty((0, 0))
    energy = (windows**2).sum(axis=(1, 2))
    for sigma in _BLURS_PX:
        left = np.empty((len(line), len(tries)))
        for k, place in enumerate(tries):
            u = (x - place) / sigma
            step = ndtr(u)
            fall = u * step + np.exp(-0.5 * u**2) / np.sqrt(2 * np.pi)
            basis = np.linalg.qr(np.stack([np.ones_like(x), step, fall], axis=1))[0]
            left[:, k] = energy - ((windows @ basis) ** 2).sum(axis=(1, 2))
        total = float(np.median(left.min(axis=1)))
        if total < best_total:
            best_total, best = total, left
    k = np.clip(best.argmin(axis=1), 1, len(tries) - 2)
    rows = np.arange(len(line))
    before, here, after = best[rows, k - 1], best[rows, k], best[rows, k + 1]
    bend = before - 2 * here + after
    shift = np.where(bend > 1e-9, 0.5 * (before - after) / np.where(bend > 1e-9, bend, 1.0), 0.0)
    return np.asarray(offsets[middle] + tries[k] + np.clip(shift, -1, 1) * 0.25)


def _smooth_curve(places: Floats, found: Floats, height: Floats) -> tuple[Floats, NDArray[np.bool_], float]:
    """Parabola through most points (Tukey's weights), which points lie on it, and their scatter."""
    x = places - 0.5
    typical = np.median(height[height > 0]) if (height > 0).any() else 1.0
    base = np.clip(height / typical, 0.0, 1.0)
    if (base > 0.2).sum() < 8:
        return np.zeros(3), np.zeros(len(x), dtype=bool), 0.0
    weights = base
    design = np.stack([x**2, x, np.ones_like(x)], axis=1)
    curve = np.zeros(3)
    scale = 1.0
    for _ in range(8):
        root = np.sqrt(weights)[:, None]
        curve = np.linalg.lstsq(design * root, found * root[:, 0], rcond=None)[0]
        miss = np.abs(found - design @ curve)
        scale = max(0.05, 1.4826 * float(np.median(miss[base > 0.2])))
        weights = base * np.clip(1 - (miss / (4.685 * scale)) ** 2, 0, 1) ** 2
    keep = (miss < 3 * scale) & (base > 0.2)
    scatter = float(np.sqrt(np.mean((found - design @ curve)[keep] ** 2))) if keep.any() else 0.0
    return curve, keep, scatter
