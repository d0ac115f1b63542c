"""An enlarged office photocopy, scanned back in."""

from __future__ import annotations

import math
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from tests.generator.flat import Lie, encode, frame, glass_light, look_flat, unsharp
from tests.generator.light import LitKey
from tests.generator.shape import CELL_MM, KeyShape
from tests.generator.toner import copy_once, draw_toner, write_on_page

Array = NDArray[np.float64]
Image = NDArray[np.float32]


def blow_highlights(lit: LitKey, rng: np.random.Generator, shape: KeyShape) -> float:
    """Brighten streaks and patches of the face past white, as polished metal under a lamp does."""
    strength = float(rng.choice([0.0, rng.uniform(0.1, 0.5), rng.uniform(0.5, 1.6)], p=[0.5, 0.3, 0.2]))
    if strength > 0:
        rows, columns = lit.face.shape
        patch = cv2.resize(rng.normal(0, 1, (9, 12)).astype(np.float32), (columns, rows), interpolation=cv2.INTER_CUBIC)
        lines = rng.normal(0, 1, (rows // 4 + 1, columns // 60 + 2)).astype(np.float32)
        lines = cv2.resize(lines, (columns, rows), interpolation=cv2.INTER_LINEAR)
        lit.face += np.float32(0.5 * strength) * np.clip(patch - 0.6, 0, 1.5) * (0.6 + np.clip(lines, -0.6, 1.5))
        depth = cv2.distanceTransform((shape.cover > 0.5).astype(np.uint8), cv2.DIST_L2, 3) * np.float32(CELL_MM)
        lit.face = np.where(depth > 0, np.clip(lit.face, 0.01, 1.3), lit.face).astype(np.float32)
    return strength


def paper_copy(
    shape: KeyShape, rng: np.random.Generator, nuisance: dict[str, Any], margin: tuple[float, float]
) -> tuple[Image, float, Lie, Array, Array, tuple[float, float]]:
    """The enlarged copy as a raster of paper.

    Returns the linear light, pixels per mm of paper, the key's lie, the window's corner (scene mm), the enlargement
    (x, y), and the paper's (paper, ink) levels.
    """
    angle = (
        float(rng.uniform(0, 360)) if rng.random() < 0.4 else float(rng.choice([0, 90, 180, 270]) + rng.normal(0, 7))
    )
    face = int(rng.integers(2))
    lie = Lie(shape, angle, face)
    lit, view = glass_light(shape, rng, lie, nuisance, copier=True)
    blown = blow_highlights(lit, rng, shape)
    mean = float(rng.choice([1.0, 1.41, 2.0, rng.uniform(1.0, 2.6)], p=[0.15, 0.12, 0.13, 0.6])) + float(
        rng.normal(0, 0.004)
    )
    skewed = float(np.clip(rng.normal(0, 0.005), -0.015, 0.015))
    enlargement = np.array([mean * (1 + skewed / 2), mean * (1 - skewed / 2)])
    ppm = 18.0 if mean < 1.6 else 14.0
    corner, extent = frame(lie, rng, *margin)
    size = (int(extent[0] * enlargement[0] * ppm), int(extent[1] * enlargement[1] * ppm))
    pixel = 1 / (enlargement * ppm)
    metal, ground, cover = look_flat(lit, lie, view, corner, pixel, size)
    light = (metal + ground * (1 - cover)) * np.float32(rng.uniform(0.9, 1.0))
    box = (lie.corners - corner) / pixel
    keep_off = tuple(int(c) for c in (*box.min(axis=0), *box.max(axis=0)))
    lines, rules = int(rng.poisson(2.0)), int(rng.choice([0, 0, 0, 1, 2]))
    write_on_page(light, rng, ppm, lines, rules, keep_off)  # type: ignore[arg-type]
    toner = draw_toner(rng, ppm, nuisance["metal_level"])
    printed = copy_once(light.astype(np.float32), rng, toner, ppm)
    second = None
    if rng.random() < 0.15:
        second = draw_toner(rng, ppm, 0.3)
        second["mid"] = float(rng.uniform(0.4, 0.6))
        printed = copy_once(printed / max(toner["paper"], 0.1) * 0.95, rng, second, ppm)
    last = second or toner
    nuisance.update(
        rotation_deg=round(angle, 3),
        face=face,
        blown=round(blown, 3),
        text_lines=lines,
        rules=rules,
        toner={k: round(x, 4) if isinstance(x, float) else x for k, x in toner.items()},
        second_generation=second and {k: round(x, 4) if isinstance(x, float) else x for k, x in second.items()},
        enlargement_x=round(float(enlargement[0]), 5),
        enlargement_y=round(float(enlargement[1]), 5),
    )
    return printed, ppm, lie, corner, enlargement, (last["paper"], last["ink"])


def draw_photocopy(shape: KeyShape, rng: np.random.Generator) -> dict[str, Any]:
    """An enlarged photocopy scanned back: grey, colour-free JPEG, or 1-bit."""
    nuisance: dict[str, Any] = {}
    printed, ppm, lie, corner, enlargement, _ = paper_copy(shape, rng, nuisance, (4, 13))
    dpi = int(rng.choice([150, 200, 200, 300, 300]))
    out_ppm = dpi / 25.4
    skew = float(rng.normal(0, 1.0))
    c, s = math.cos(math.radians(skew)), math.sin(math.radians(skew))
    ratio = out_ppm / ppm
    height, width = printed.shape
    # paper raster px -> picture px: shrink about pixel centres, then turn about the middle
    size = (int(width * ratio), int(height * ratio))
    middle = np.array(size) / 2
    turn = np.array([[c, -s], [s, c]])
    scale = np.array([[ratio, 0, 0.5 * ratio - 0.5], [0, ratio, 0.5 * ratio - 0.5]])
    to_picture = np.hstack([turn @ scale[:, :2], (turn @ (scale[:, 2] - middle) + middle)[:, None]])
    if ratio < 1:
        printed = cv2.GaussianBlur(printed, (0, 0), 0.42 / ratio)
    border = float(np.median(printed[0]))
    image = cv2.warpAffine(
        printed, to_picture, size, flags=cv2.INTER_LINEAR, borderMode=cv2.BORDER_CONSTANT, borderValue=border
    )
    mtf, noise = float(rng.uniform(0.3, 0.9)), float(rng.uniform(0.002, 0.02))
    image = encode(cv2.GaussianBlur(image, (0, 0), mtf))
    image = unsharp(image, float(rng.choice([0, rng.uniform(0.2, 1.0)])), 1.0)
    image = image + rng.normal(0, noise, image.shape).astype(np.float32)
    kind = str(rng.choice(["jpeg", "png", "1-bit"], p=[0.5, 0.2, 0.3]))
    threshold = None
    if kind == "1-bit":
        threshold = float(rng.uniform(0.42, 0.7))
        image = np.where(image > threshold, 1.0, 0.0).astype(np.float32)
    quality = int(rng.integers(60, 94))
    nuisance.update(
        rescan_dpi=dpi,
        rescan_skew_deg=round(skew, 3),
        format=f"jpeg q{quality}" if kind == "jpeg" else kind,
        threshold=threshold,
        mtf_sigma_px=round(mtf, 3),
        noise=round(noise, 4),
        true_px_per_mm_of_key=[round(float(e * out_ppm), 4) for e in enlargement],
    )
    stored = int(rng.choice([dpi, 200, 300, 72]))
    nuisance["dpi_metadata"] = stored

    def key_to_picture(uv: Array) -> Array:
        raster = (lie.scene(uv) - corner) * enlargement * ppm
        return np.asarray(raster @ to_picture[:, :2].T + to_picture[:, 2])

    return {
        "image": np.uint8(np.clip(image, 0, 1) * 255 + 0.5),
        "to_picture": key_to_picture,
        "px_per_mm": float(enlargement.mean() * out_ppm),
        "dpi": None,
        "stored_dpi": stored,
        "quality": quality if kind == "jpeg" else None,
        "one_bit": kind == "1-bit",
        "nuisance": nuisance,
        "reference": None,
    }
