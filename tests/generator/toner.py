"""A copier: light to toner on paper, and the typing that is already on the page."""

from __future__ import annotations

from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray
from PIL import Image as PilImage
from PIL import ImageDraw, ImageFont

Image = NDArray[np.float32]


def draw_toner(rng: np.random.Generator, ppm: float, metal_level: float) -> dict[str, Any]:
    """Draw one copier's settings; ``ppm`` is the raster's pixels per millimetre of paper."""
    mode = str(rng.choice(["screen", "line", "scatter", "threshold"], p=[0.4, 0.15, 0.25, 0.2]))
    # people press "darker" until the key shows; some stop while it is still half toned
    over = rng.uniform(0.08, 0.25) if rng.random() < 0.7 else rng.uniform(0.0, 0.08)
    mid = float(np.clip(metal_level + over, 0.3, 0.8))
    return {
        "mode": mode,
        "lpi": float(rng.uniform(85, 150)),
        "angle": float(rng.choice([0, 15, 45, 75])),
        "contrast": float(rng.uniform(5, 14)),
        "mid": mid,
        "copier_blur": float(rng.uniform(0.04, 0.11)) * ppm,
        "spread_sigma": float(rng.uniform(0.03, 0.09)) * ppm,
        "spread_tau": float(rng.uniform(0.3, 0.62)),
        "edge_k": float(rng.uniform(7, 16)),
        "edge_noise": float(rng.uniform(0.01, 0.06)),
        "mottle": float(rng.uniform(0.0, 0.08)),
        "specks": float(rng.uniform(0, 25)),
        "streaks": int(rng.poisson(0.4)),
        "paper": float(rng.uniform(0.78, 0.95)),
        "ink": float(rng.uniform(0.02, 0.14)),
    }


def threshold_field(rng: np.random.Generator, shape: tuple[int, int], toner: dict[str, Any], ppm: float) -> Image:
    """Thresholds (0..1) that decide where a grey prints: dots, lines, scattered dots, or none."""
    y, x = np.mgrid[0 : shape[0], 0 : shape[1]].astype(np.float32)
    turn = np.deg2rad(toner["angle"])
    wave = np.float32(2 * np.pi * toner["lpi"] / 25.4 / ppm)
    a = wave * (x * np.float32(np.cos(turn)) + y * np.float32(np.sin(turn)))
    b = wave * (y * np.float32(np.cos(turn)) - x * np.float32(np.sin(turn)))
    if toner["mode"] == "screen":
        return np.asarray(0.5 + 0.24 * (np.cos(a) + np.cos(b)), np.float32)
    if toner["mode"] == "line":
        return np.asarray(0.5 + 0.45 * np.cos(a), np.float32)
    if toner["mode"] == "scatter":
        noise = rng.normal(0, 1, shape).astype(np.float32)
        noise = cv2.GaussianBlur(noise, (0, 0), 0.7) - cv2.GaussianBlur(noise, (0, 0), 2.2)
        return np.asarray(np.clip(0.5 + 0.24 * noise / noise.std(), 0.03, 0.97), np.float32)
    return np.full(shape, 0.5, np.float32)


def copy_once(light: Image, rng: np.random.Generator, toner: dict[str, Any], ppm: float) -> Image:
    """Reflected light (0..1) of an original to the light of its copy (0..1, linear)."""
    seen = cv2.GaussianBlur(light, (0, 0), max(0.3, toner["copier_blur"]))
    for _ in range(toner["streaks"]):
        column = int(rng.integers(seen.shape[1]))
        seen[:, column : column + int(rng.integers(1, 4))] += np.float32(rng.normal(0, 0.12))
    grey = 1 / (1 + np.exp(-toner["contrast"] * (toner["mid"] - seen) / np.float32(0.5)))
    thresholds = threshold_field(rng, seen.shape, toner, ppm)
    printed = np.clip((grey - thresholds) * 12 + 0.5, 0, 1).astype(np.float32)
    spread = cv2.GaussianBlur(printed, (0, 0), max(0.4, toner["spread_sigma"]))
    rough = cv2.GaussianBlur(rng.normal(0, 1, seen.shape).astype(np.float32), (0, 0), 0.06 * ppm)
    rough *= np.float32(toner["edge_noise"]) / max(float(rough.std()), 1e-6)
    k, tau = toner["edge_k"], toner["spread_tau"]
    none, full = 1 / (1 + np.exp(k * tau)), 1 / (1 + np.exp(-k * (1 - tau)))
    solid = np.clip((1 / (1 + np.exp(-k * (spread + rough * (spread > 0.02) - tau))) - none) / (full - none), 0, 1)
    small = rng.normal(0, 1, (seen.shape[0] // 24 + 2, seen.shape[1] // 24 + 2)).astype(np.float32)
    mottle = cv2.resize(small, (seen.shape[1], seen.shape[0]), interpolation=cv2.INTER_CUBIC)
    ink = np.asarray(solid, np.float32)
    level = np.float32(toner["ink"]) * (1 + np.float32(toner["mottle"]) * 4 * np.clip(mottle, -2, 3))
    area_cm2 = seen.size / ppm**2 / 100
    for _ in range(int(rng.poisson(toner["specks"] * area_cm2 / 10))):
        at = (int(rng.integers(seen.shape[1])), int(rng.integers(seen.shape[0])))
        cv2.circle(ink, at, max(1, int(rng.uniform(0.02, 0.12) * ppm)), 1.0, -1, cv2.LINE_AA)
    return np.asarray(toner["paper"] * (1 - ink) + np.maximum(level, 0.005) * ink, np.float32)


def write_on_page(
    light: Image, rng: np.random.Generator, ppm: float, lines: int, rules: int, keep_off: tuple[int, int, int, int]
) -> None:
    """Type invented words and rule lines on a page; ``keep_off`` (x0, y0, x1, y1) is mostly left free."""
    height, width = light.shape
    ink = float(rng.uniform(0.03, 0.3))
    for _ in range(rules):
        if rng.random() < 0.5:
            y = int(rng.integers(height))
            cv2.line(light, (0, y), (width, y + int(rng.normal(0, 3))), ink, max(1, int(0.25 * ppm)), cv2.LINE_AA)
        else:
            x = int(rng.integers(width))
            cv2.line(light, (x, 0), (x + int(rng.normal(0, 3)), height), ink, max(1, int(0.25 * ppm)), cv2.LINE_AA)
    letters = np.array(list("abcdefghijklmnoprstuvwxyzABCDEFGHKLMNPRSTUV0123456789"))
    for _ in range(lines):
        words = " ".join("".join(rng.choice(letters, int(rng.integers(2, 9)))) for _ in range(int(rng.integers(1, 5))))
        font = ImageFont.load_default(size=max(8, float(rng.uniform(2.2, 5.5)) * ppm))
        left, top, right, bottom = (round(c) for c in font.getbbox(words))
        tile = PilImage.new("L", (right - left + 4, bottom - top + 4), 0)
        ImageDraw.Draw(tile).text((2 - left, 2 - top), words, fill=255, font=font)
        turn = int(rng.choice([0, 0, 0, 90, 180]))
        mask = np.asarray(tile.rotate(turn, expand=True), np.float32) / 255
        for _attempt in range(6):
            x = int(rng.integers(-mask.shape[1] // 2, max(1, width - mask.shape[1] // 2)))
            y = int(rng.integers(-mask.shape[0] // 3, max(1, height - mask.shape[0] // 2)))
            clear = (
                x > keep_off[2] or x + mask.shape[1] < keep_off[0] or y > keep_off[3] or y + mask.shape[0] < keep_off[1]
            )
            if clear:
                break
        else:
            if rng.random() < 0.8:
                continue
        x0, y0, x1, y1 = max(0, x), max(0, y), min(width, x + mask.shape[1]), min(height, y + mask.shape[0])
        if x1 <= x0 or y1 <= y0:
            continue
        part = mask[y0 - y : y1 - y, x0 - x : x1 - x]
        light[y0:y1, x0:x1] = light[y0:y1, x0:x1] * (1 - part) + ink * part
