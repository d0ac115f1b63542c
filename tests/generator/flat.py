"""Flat pictures: the key on a scanner's or copier's glass."""

from __future__ import annotations

import math
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from tests.generator.light import LitKey, light_key
from tests.generator.shape import KeyShape

Array = NDArray[np.float64]
Image = NDArray[np.float32]
TINTS = {"nickel": (1.0, 0.985, 0.95), "brass": (1.12, 0.95, 0.58), "steel": (0.98, 1.0, 1.02)}


class Lie:
    """How a key lies: turned by an angle, on one face or the other, its box centre at a scene point.

    Scene positions are millimetres, x right, y down.
    """

    def __init__(self, shape: KeyShape, angle_deg: float, face: int, y_up: bool = False) -> None:
        u0, u1, v0, v1 = shape.box_mm
        self.centre = np.array([(u0 + u1) / 2, (v0 + v1) / 2])
        flip = (1.0 if face else -1.0) * (-1.0 if y_up else 1.0)
        c, s = math.cos(math.radians(angle_deg)), math.sin(math.radians(angle_deg))
        self.to_scene = np.array([[c, -s], [s, c]]) @ np.diag([1.0, flip])
        corners = np.array([[a, b] for a in (u0, u1) for b in (v0, v1)])
        self.corners = self.scene(corners)

    def scene(self, uv: Array) -> Array:
        """(..., 2) key millimetres to scene millimetres."""
        return np.asarray((np.asarray(uv, float) - self.centre) @ self.to_scene.T)

    def key(self, xy: Array) -> Array:
        """(..., 2) scene millimetres to key millimetres."""
        return np.asarray(np.asarray(xy, float) @ self.to_scene + self.centre)


def glass_light(
    shape: KeyShape, rng: np.random.Generator, lie: Lie, nuisance: dict[str, Any], *, copier: bool = False
) -> tuple[LitKey, tuple[float, float]]:
    """Light of a flatbed: a long lamp on one side, one lens (or a row of fibres) looking straight along the scan.

    Returns the lit key and (view centre x in scene mm, lens distance in mm; 0 for a row of fibres).
    """
    azimuth = float(rng.choice([90.0, 270.0]))
    theta = float(rng.uniform(28, 48))
    half = float(rng.uniform(4, 11))
    second = float(rng.choice([rng.uniform(0, 0.12), rng.uniform(0.2, 0.8)], p=[0.75, 0.25]))
    spread = float(rng.uniform(0.25, 0.9))
    sign = 1.0 if azimuth == 90.0 else -1.0
    lamps = []
    for share, way in ((1 / (1 + second), sign), (second / (1 + second), -sign)):
        if share < 0.02:
            continue
        for x in np.linspace(-1, 1, 36):  # along the lamp in order, across it by chance
            slope_y = way * math.tan(math.radians(theta + float(rng.uniform(-1, 1)) * half))
            slope = np.array([x * spread, slope_y]) @ lie.to_scene
            lamps.append((float(slope[0]), float(slope[1]), share / 36))
    total = sum(w for *_, w in lamps)
    lamps = [(a, b, w / total) for a, b, w in lamps]
    gap = float(rng.choice([rng.uniform(0.05, 1.2), rng.uniform(1.2, 4.0)], p=[0.85, 0.15]))
    # a copier's reflectors and platen cover throw more light back than a scanner's dark bed
    ambient = float(rng.uniform(0.5, 0.92) if copier else rng.uniform(0.18, 0.7))
    level = float(rng.uniform(0.1, 0.45) if copier else rng.uniform(0.16, 0.62))
    lit = light_key(shape, rng, lamps=lamps, ambient=ambient, gap_mm=gap, metal_level=level, from_below=True)
    ccd = None if rng.random() < 0.4 else (float(rng.uniform(-90, 90)), float(rng.uniform(280, 520)))
    nuisance.update(
        lamp_azimuth_deg=azimuth,
        theta=round(theta, 3),
        lamp_half_deg=round(half, 3),
        second=round(second, 4),
        gap=round(gap, 4),
        ambient=round(ambient, 4),
        metal_level=round(level, 4),
        ccd=ccd,
    )
    return lit, ccd or (0.0, 0.0)


def look_flat(
    lit: LitKey, lie: Lie, view: tuple[float, float], corner_mm: Array, pixel_mm: Array, size: tuple[int, int]
) -> tuple[Image, Image, Image]:
    """Metal, ground and cover of every pixel of a flat raster; ``corner_mm`` is the scene point of pixel (0, 0)."""
    width, height = size
    x = corner_mm[0] + np.arange(width) * pixel_mm[0]
    y = corner_mm[1] + np.arange(height) * pixel_mm[1]
    u = (x[None, :] * lie.to_scene[0, 0] + y[:, None] * lie.to_scene[1, 0] + lie.centre[0]).astype(np.float32)
    v = (x[None, :] * lie.to_scene[0, 1] + y[:, None] * lie.to_scene[1, 1] + lie.centre[1]).astype(np.float32)
    if view[1] == 0:
        return lit.look(u, v, 0.0, 0.0)
    slope_x = np.broadcast_to((x[None, :] + view[0]) / view[1], u.shape).astype(np.float32)
    return lit.look(u, v, slope_x * np.float32(lie.to_scene[0, 0]), slope_x * np.float32(lie.to_scene[0, 1]))


def encode(linear: Image) -> Image:
    """Linear light (0..1) to sRGB values (0..1), IEC 61966-2-1."""
    x = np.clip(linear, 0, 1)
    return np.asarray(np.where(x <= 0.0031308, 12.92 * x, 1.055 * np.power(x, 1 / 2.4) - 0.055), np.float32)


def unsharp(image: Image, amount: float, sigma: float) -> Image:
    """Sharpen as scanners and cameras do."""
    if amount <= 0:
        return image
    return image + np.float32(amount) * (image - cv2.GaussianBlur(image, (0, 0), sigma))


def frame(lie: Lie, rng: np.random.Generator, low: float, high: float) -> tuple[Array, Array]:
    """A window of the scene with free margins round the key: its corner and its size, in mm."""
    least, most = lie.corners.min(axis=0), lie.corners.max(axis=0)
    before, after = rng.uniform(low, high, 2), rng.uniform(low, high, 2)
    return least - before, most - least + before + after


def draw_scan(shape: KeyShape, rng: np.random.Generator) -> dict[str, Any]:
    """A flatbed scan.  Returns picture (uint8), to_picture (key mm -> px), nuisance and how to store it."""
    nuisance: dict[str, Any] = {}
    angle = (
        float(rng.choice([0, 90, 180, 270]) + rng.normal(0, 6)) if rng.random() < 0.75 else float(rng.uniform(0, 360))
    )
    face = int(rng.integers(2))
    lie = Lie(shape, angle, face)
    lit, view = glass_light(shape, rng, lie, nuisance)
    dpi = int(rng.choice([200, 300, 300, 300, 300, 400, 600]))
    ppm = dpi / 25.4 * (1 + float(rng.normal(0, 0.0007)))
    corner, extent = frame(lie, rng, 5, 14)
    size = (int(extent[0] * ppm), int(extent[1] * ppm))
    s = 3 if dpi <= 300 else 2 if dpi <= 400 else 1
    fine = 1 / (ppm * s)
    start = corner + (0.5 / s - 0.5) / ppm
    metal, ground, cover = look_flat(lit, lie, view, start, np.array([fine, fine]), (size[0] * s, size[1] * s))
    if s > 1:
        metal, ground, cover = (cv2.resize(a, size, interpolation=cv2.INTER_AREA) for a in (metal, ground, cover))
    white = float(rng.uniform(0.84, 0.97))
    tint_name = str(rng.choice(list(TINTS)))
    grey = bool(rng.random() < 0.4)
    lid = np.array([1.0, 1.0, 1.0]) + rng.normal(0, 0.012, 3)
    if grey:
        image = (metal + ground * (1 - cover)) * np.float32(white)
    else:
        image = np.stack(
            [(metal * t + ground * (1 - cover) * w) * white for t, w in zip(TINTS[tint_name], lid, strict=True)],
            axis=-1,
        ).astype(np.float32)
    mtf, sharpen, noise = (
        float(rng.uniform(0.3, 0.85)),
        float(rng.choice([0, rng.uniform(0.2, 1.2)])),
        float(rng.uniform(0.002, 0.014)),
    )
    image = cv2.GaussianBlur(image, (0, 0), mtf)
    image = unsharp(encode(image), sharpen, 1.0)
    image = image + rng.normal(0, noise, image.shape).astype(np.float32)
    dust = int(rng.poisson(1.5))
    for _ in range(dust):
        at = (int(rng.integers(size[0])), int(rng.integers(size[1])))
        cv2.circle(image, at, int(rng.integers(1, 3)), (float(rng.uniform(0.2, 0.6)),) * 3, -1, cv2.LINE_AA)
    quality = int(rng.integers(72, 96))
    png = bool(rng.random() < 0.15)
    nuisance.update(
        rotation_deg=round(angle, 3),
        face=face,
        metal=tint_name,
        white=round(white, 3),
        mtf_sigma_px=round(mtf, 3),
        sharpen=round(sharpen, 3),
        noise=round(noise, 4),
        grey=grey,
        dust=dust,
        format="png" if png else f"jpeg q{quality}",
        true_px_per_mm_of_key=[round(ppm, 4), round(ppm, 4)],
    )
    return {
        "image": np.uint8(np.clip(image, 0, 1) * 255 + 0.5),
        "to_picture": lambda uv: (lie.scene(uv) - corner) * ppm,
        "px_per_mm": ppm,
        "dpi": dpi,
        "stored_dpi": dpi,
        "quality": None if png else quality,
        "one_bit": False,
        "nuisance": nuisance,
        "reference": None,
    }
