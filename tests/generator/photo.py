"""Phone photos: a key beside a card, and a photocopied page."""

from __future__ import annotations

import math
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from tests.generator.camera import Camera, aim
from tests.generator.copy import paper_copy
from tests.generator.flat import TINTS, Lie, encode, unsharp
from tests.generator.light import LitKey, light_key
from tests.generator.shape import KeyShape
from tests.generator.toner import write_on_page

Array = NDArray[np.float64]
Image = NDArray[np.float32]
CARD_MM = (85.60, 53.98)
CARD_THICK_MM, CARD_CORNER_MM = 0.76, 3.18
A4_MM = (210.0, 297.0)
SIZES = ((2400, 1800), (2000, 1500), (1800, 2400), (2400, 1350))


def draw_photo_card(shape: KeyShape, rng: np.random.Generator) -> dict[str, Any]:
    """The key and an ID-1 card on a table, tilted camera, one lamp or window."""
    notes: dict[str, Any] = {}
    angle = float(rng.uniform(0, 360))
    face = int(rng.integers(2))
    lie = Lie(shape, angle, face, y_up=True)
    card_turn = float(rng.choice([0, 90]) + rng.normal(0, 9))
    reach = np.abs(lie.corners).max(axis=0)
    card_axes = _axes(card_turn)
    half_card = np.abs(card_axes) @ (np.array(CARD_MM) / 2)
    side = rng.integers(4)
    gap = float(rng.uniform(4, 18))
    way = np.array([(0, 1), (0, -1), (1, 0), (-1, 0)][int(side)], float)
    card_at = way * (reach + half_card + gap) + rng.normal(0, 5, 2) * (1 - np.abs(way))
    low = np.minimum(-reach, card_at - half_card) - 4
    high = np.maximum(reach, card_at + half_card) + 4
    size = SIZES[int(rng.integers(len(SIZES)))]
    tilt = float(np.clip(np.abs(rng.normal(0, 12)), 0, 32))
    camera = aim(rng, low, high, size, tilt, float(rng.uniform(48, 70)), notes)

    thickness = shape.table.thickness
    lift = float(rng.uniform(0.0, 0.12))
    elevation, azimuth = float(rng.uniform(28, 75)), float(rng.uniform(0, 360))
    soft = float(rng.uniform(0.05, 0.45))
    centre = np.array([math.cos(math.radians(azimuth)), math.sin(math.radians(azimuth))]) / math.tan(
        math.radians(elevation)
    )
    offsets = rng.uniform(-1, 1, (28, 2)) * soft
    world_lamps = [(float(a), float(b), 1 / 28) for a, b in centre + offsets]
    ambient, level = float(rng.uniform(0.25, 0.7)), float(rng.uniform(0.22, 0.75))
    lamps = [(*(float(x) for x in np.array([a, b]) @ lie.to_scene), w) for a, b, w in world_lamps]
    lit = light_key(shape, rng, lamps=lamps, ambient=ambient, gap_mm=lift, metal_level=level, from_below=False)

    card_rgb = rng.choice(
        [
            [0.04, 0.1, 0.35],
            [0.4, 0.03, 0.04],
            [0.02, 0.02, 0.02],
            [0.75, 0.78, 0.8],
            [0.06, 0.3, 0.36],
            [0.45, 0.33, 0.05],
            [0.3, 0.3, 0.32],
            [0.05, 0.25, 0.08],
        ]
    )
    ground = _table(camera, rng, notes)
    shade = _card_shade(camera, card_at, card_axes, world_lamps, ambient)
    ground *= shade[..., None]
    _lay_card(ground, camera, card_at, card_axes, card_rgb, rng)
    z_top = thickness + lift
    picture = _lay_key(ground, camera, lit, lie, z_top, TINTS[metal := str(rng.choice(list(TINTS)))], rng)
    out, quality = _develop(picture, rng, notes)

    def to_picture(uv: Array, z: float = z_top) -> Array:
        xy = lie.scene(uv)
        return camera.picture(np.concatenate([xy, np.full((*xy.shape[:-1], 1), z)], axis=-1))

    corners = card_at + np.array([[-1, -1], [1, -1], [1, 1], [-1, 1]]) * np.array(CARD_MM) / 2 @ card_axes.T
    seen = camera.picture(np.concatenate([corners, np.full((4, 1), CARD_THICK_MM)], axis=1))
    notes.update(
        face=face,
        key_angle_deg=round(angle, 2),
        metal=metal,
        metal_level=round(level, 3),
        ambient=round(ambient, 3),
        light_elevation_deg=round(elevation, 1),
        light_azimuth_deg=round(azimuth, 1),
        light_softness=round(soft, 3),
        card_rgb=[round(float(c), 3) for c in card_rgb],
        marks_z_mm=round(z_top, 3),
        lower_rim_z_mm=round(lift, 3),
        card_face_z_mm=CARD_THICK_MM,
        lower_rim_roots=_lower(shape, to_picture, lift),
    )
    return {
        "image": out,
        "to_picture": to_picture,
        "px_per_mm": camera.focal_px / camera.place[2],
        "dpi": None,
        "stored_dpi": int(rng.choice([72, 96])),
        "quality": quality,
        "one_bit": False,
        "nuisance": notes,
        "reference": {"kind": "id1-card", "corners": [[round(float(a), 3) for a in c] for c in seen]},
    }


def _axes(turn_deg: float) -> Array:
    c, s = math.cos(math.radians(turn_deg)), math.sin(math.radians(turn_deg))
    return np.array([[c, -s], [s, c]])


def _lower(shape: KeyShape, to_picture: Any, z: float) -> list[list[list[float]]]:
    roots = shape.marks_mm()["roots"]
    edges = roots if isinstance(roots[0], list) else [roots]
    return [to_picture(np.array(edge), z).round(3).tolist() for edge in edges]


def _pixels(camera: Camera) -> tuple[Array, Array]:
    return np.meshgrid(np.arange(camera.size[0], dtype=np.float32), np.arange(camera.size[1], dtype=np.float32))


def _table(camera: Camera, rng: np.random.Generator, notes: dict[str, Any]) -> Image:
    """The table (paper, wood or cloth) without shadows."""
    kind = str(rng.choice(["paper", "wood", "cloth", "desk"], p=[0.45, 0.25, 0.1, 0.2]))
    tone = {
        "paper": rng.uniform(0.6, 0.85) * (1 + rng.normal(0, 0.03, 3)),
        "wood": np.array([0.42, 0.27, 0.16]) * rng.uniform(0.6, 1.4),
        "cloth": rng.uniform(0.08, 0.4, 3),
        "desk": rng.uniform(0.35, 0.7) * (1 + rng.normal(0, 0.05, 3)),
    }[kind]
    grain = {"paper": 0.006, "wood": 0.12, "cloth": 0.08, "desk": 0.015}[kind]
    width, height = camera.size
    coarse = (26, 200) if kind == "wood" else (200, 260)
    noise = rng.normal(0, 1, coarse).astype(np.float32)
    texture = cv2.resize(noise, (width, height), interpolation=cv2.INTER_CUBIC)
    image = np.empty((height, width, 3), np.float32)
    image[:] = np.asarray(tone, np.float32)
    image *= (1 + np.float32(grain) * texture)[..., None]
    notes["table"] = kind
    return image


def _card_distance(x: Array, y: Array, at: Array, axes: Array) -> Image:
    (c, _), (s, _) = axes.tolist()
    x, y = x - float(at[0]), y - float(at[1])
    a = np.abs(x * c + y * s) - CARD_MM[0] / 2 + CARD_CORNER_MM
    b = np.abs(y * c - x * s) - CARD_MM[1] / 2 + CARD_CORNER_MM
    outside = np.hypot(np.maximum(a, 0), np.maximum(b, 0)) + np.minimum(np.maximum(a, b), 0)
    return np.asarray(outside - CARD_CORNER_MM, np.float32)


def _card_shade(
    camera: Camera, at: Array, axes: Array, lamps: list[tuple[float, float, float]], ambient: float
) -> Image:
    """Light left on the table by the card's shadow, made at a quarter of the picture's size."""
    x, y = np.meshgrid(np.arange(0, camera.size[0], 4.0), np.arange(0, camera.size[1], 4.0))
    wx, wy, *_ = camera.plane(x, y, 0.0)
    blocked = np.zeros(wx.shape, np.float32)
    for a, b, weight in lamps[:12]:
        distance = _card_distance(wx + a * CARD_THICK_MM / 2, wy + b * CARD_THICK_MM / 2, at, axes)
        blocked += np.float32(weight * len(lamps) / 12) * np.clip(0.5 - distance / 0.6, 0, 1)
    sky = np.clip(0.5 - _card_distance(wx, wy, at, axes) / 1.6, 0, 1)
    small = 1 - (1 - ambient) * blocked - ambient * 0.5 * sky
    return cv2.resize(small.astype(np.float32), camera.size, interpolation=cv2.INTER_LINEAR)


def _lay_card(image: Image, camera: Camera, at: Array, axes: Array, rgb: Array, rng: np.random.Generator) -> None:
    corners = at + np.array([[-1, -1], [1, -1], [1, 1], [-1, 1]]) * np.array(CARD_MM) / 2 @ axes.T
    ends = [camera.picture(np.column_stack([corners, np.full(4, z)])) for z in (0.0, CARD_THICK_MM)]
    low = np.maximum(np.floor(np.min(ends, axis=(0, 1))).astype(int) - 4, 0)
    high = np.minimum(np.ceil(np.max(ends, axis=(0, 1))).astype(int) + 4, np.array(camera.size))
    x, y = np.meshgrid(np.arange(low[0], high[0], dtype=np.float32), np.arange(low[1], high[1], dtype=np.float32))
    ppm = camera.focal_px / float(np.linalg.norm(camera.place))

    def cover(z_mm: float) -> Image:
        wx, wy, *_ = camera.plane(x, y, z_mm)
        return np.clip(0.5 - _card_distance(wx, wy, at, axes) * np.float32(ppm), 0, 1)

    face = cover(CARD_THICK_MM)
    side = np.maximum(cover(CARD_THICK_MM / 2), cover(0.0))
    rgb = np.asarray(rgb, np.float32)
    part = image[low[1] : high[1], low[0] : high[0]]
    part += (side * (1 - face))[..., None] * (rgb * np.float32(rng.uniform(0.5, 1.6)) - part)
    part += face[..., None] * (rgb - part)


def _lay_key(
    ground: Image,
    camera: Camera,
    lit: LitKey,
    lie: Lie,
    z_top: float,
    tint: tuple[float, float, float],
    rng: np.random.Generator,
) -> Image:
    """Put the key with its light and shadow into the picture, three samples a pixel each way."""
    corners = np.concatenate([lie.corners * 1.0, np.full((4, 1), 0.0)], axis=1)
    reach = np.sign(corners[:, :2]) * 8.0
    corners[:, :2] += reach
    seen = camera.picture(corners)
    x0, y0 = np.maximum(np.floor(seen.min(axis=0)).astype(int), 0)
    x1, y1 = np.minimum(np.ceil(seen.max(axis=0)).astype(int), np.array(camera.size))
    s = 2 if (x1 - x0) * (y1 - y0) > 700_000 else 3
    fine = [(np.arange(n * s, dtype=np.float64) + 0.5) / s - 0.5 for n in (x1 - x0, y1 - y0)]
    x, y = np.meshgrid(x0 + fine[0], y0 + fine[1])
    wx, wy, slope_x, slope_y = camera.plane(x, y, z_top)
    t = lie.to_scene
    u = (wx * t[0, 0] + wy * t[1, 0] + lie.centre[0]).astype(np.float32)
    v = (wx * t[0, 1] + wy * t[1, 1] + lie.centre[1]).astype(np.float32)
    su = (slope_x * t[0, 0] + slope_y * t[1, 0]).astype(np.float32)
    sv = (slope_x * t[0, 1] + slope_y * t[1, 1]).astype(np.float32)
    metal, light, cover = lit.look(u, v, su, sv)
    size = (int(x1 - x0), int(y1 - y0))
    light = light * (1 - cover)
    metal, light = (cv2.resize(a, size, interpolation=cv2.INTER_AREA) for a in (metal, light))
    part = ground[y0:y1, x0:x1]
    white = np.float32(rng.uniform(0.8, 1.05))
    ground[y0:y1, x0:x1] = part * light[..., None] + metal[..., None] * np.asarray(tint, np.float32) * white
    return ground


def _encode_fast(linear: Image) -> Image:
    """:func:`encode` from a finely spaced table: within a thousandth of a grey level, and much quicker."""
    levels = encode(np.linspace(0, 1, 8193, dtype=np.float32))
    place = np.clip(linear, 0, 1) * np.float32(8192)
    low = np.minimum(place.astype(np.int32), 8191)
    return np.asarray(levels[low] + (place - low) * (levels[low + 1] - levels[low]), np.float32)


def _develop(linear: Image, rng: np.random.Generator, notes: dict[str, Any]) -> tuple[NDArray[np.uint8], int]:
    """Lens and camera: vignette, uneven light, focus, noise, curve, sharpening."""
    height, width = linear.shape[:2]
    y, x = np.mgrid[-1 : 1 : height * 1j, -1 : 1 : width * 1j].astype(np.float32)
    vignette, slope = float(rng.uniform(0, 0.35)), rng.normal(0, 0.12, 2).astype(np.float32)
    linear *= ((1 - np.float32(vignette / 2) * (x * x + y * y)) * (1 + slope[0] * x + slope[1] * y))[..., None]
    balance = rng.normal(0, 0.03, 3)
    exposure = float(rng.uniform(0.85, 1.1)) * 0.8 / float(np.percentile(linear[::8, ::8], 97))
    linear *= (np.float32(exposure) * (1 + balance)).astype(np.float32)
    focus = float(rng.uniform(0.45, 1.1))
    linear = cv2.GaussianBlur(linear, (0, 0), focus)
    motion = float(rng.choice([0, rng.uniform(1, 3)], p=[0.85, 0.15]))
    if motion:
        kernel = np.zeros((9, 9), np.float32)
        turn = rng.uniform(0, np.pi)
        end = (np.array([np.cos(turn), np.sin(turn)]) * motion / 2 + 4) * 16
        back = (-np.array([np.cos(turn), np.sin(turn)]) * motion / 2 + 4) * 16
        cv2.line(kernel, tuple(int(c) for c in back), tuple(int(c) for c in end), 1.0, 1, cv2.LINE_AA, 4)
        linear = cv2.filter2D(linear, -1, kernel / kernel.sum())
    shot, read = float(rng.uniform(0.003, 0.014)), float(rng.uniform(0.001, 0.004))
    noise = rng.standard_normal(linear.shape, dtype=np.float32)
    linear = linear + noise * np.sqrt(np.maximum(linear, 0) * np.float32(shot**2) + np.float32(read**2))
    image = _encode_fast(linear)
    curve = float(rng.uniform(0, 0.3))
    image = image + np.float32(curve) * (image * image * (3 - 2 * image) - image)
    sharpen = float(rng.uniform(0, 0.8))
    image = unsharp(image, sharpen, 1.2)
    quality = int(rng.integers(68, 95))
    notes.update(
        vignette=round(vignette, 3),
        exposure=round(exposure, 3),
        focus_sigma_px=round(focus, 3),
        motion_px=round(motion, 2),
        shot=round(shot, 4),
        read=round(read, 4),
        s_curve=round(curve, 3),
        unsharp=round(sharpen, 3),
        jpeg_q=quality,
        white_balance=balance.round(3).tolist(),
    )
    return np.uint8(np.clip(image, 0, 1) * 255 + 0.5), quality


def draw_photo_copy(shape: KeyShape, rng: np.random.Generator) -> dict[str, Any]:
    """A photo of an A4 photocopy lying on a table."""
    notes: dict[str, Any] = {}
    printed, ppm, lie, corner, enlargement, (paper, _ink) = paper_copy(shape, rng, notes, (3, 6))
    patch_mm = np.array(printed.shape[::-1]) / ppm
    if patch_mm[0] > A4_MM[0] - 10 or patch_mm[1] > A4_MM[1] - 10:  # a long enlargement: turn the copy on the page
        page_mm = np.array(A4_MM[::-1])
    else:
        page_mm = np.array(A4_MM)
    room = np.maximum(page_mm - patch_mm - 4, 0)
    at = 2 + rng.uniform(0, 1, 2) * room  # top left of the copied patch on the page, page mm, y down
    page_ppm = 8.0
    page = np.full((int(page_mm[1] * page_ppm), int(page_mm[0] * page_ppm)), paper, np.float32)
    box = (at * page_ppm).astype(int), ((at + patch_mm) * page_ppm).astype(int)
    lines = int(rng.poisson(8))
    write_on_page(page, rng, page_ppm, lines, int(rng.choice([0, 0, 1, 2])), (*box[0], *box[1]))  # type: ignore[arg-type]
    notes["text_lines"] += lines
    size = (2000, 2667) if page_mm[1] > page_mm[0] else (2667, 2000)
    tilt = float(np.clip(np.abs(rng.normal(0, 9)), 0, 24))
    half = page_mm / 2
    camera = aim(rng, -half, half, size, tilt, float(rng.uniform(42, 66)), notes)
    picture = _table(camera, rng, notes)
    picture *= np.float32(rng.uniform(0.3, 0.7))
    x, y = _pixels(camera)
    wx, wy, *_ = camera.plane(x, y, 0.0)
    px, py = wx + half[0], half[1] - wy  # page mm, y down
    page_px = ((px * page_ppm - 0.5).astype(np.float32), (py * page_ppm - 0.5).astype(np.float32))
    sharp = cv2.GaussianBlur(page, (0, 0), 0.7)
    on_page = cv2.remap(sharp, *page_px, cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE)
    _paste_patch(on_page, camera, printed, ppm, at - half * [1, 1], half)
    edge = np.minimum(np.minimum(px, page_mm[0] - px), np.minimum(py, page_mm[1] - py))
    cover = np.clip(0.5 + edge * (camera.focal_px / np.linalg.norm(camera.place)), 0, 1).astype(np.float32)
    warm = np.asarray(1 + rng.normal(0, 0.02, 3), np.float32)
    picture += cover[..., None] * (on_page[..., None] * warm - picture)
    _hand_shadow(picture, rng, notes)
    out, quality = _develop(picture, rng, notes)

    def to_picture(uv: Array) -> Array:
        page_xy = at + ((lie.scene(uv) - corner) * enlargement * ppm + 0.5) / ppm
        world = np.stack([page_xy[..., 0] - half[0], half[1] - page_xy[..., 1], np.zeros(page_xy.shape[:-1])], axis=-1)
        return camera.picture(world)

    corners = np.array([[-half[0], half[1], 0], [half[0], half[1], 0], [half[0], -half[1], 0], [-half[0], -half[1], 0]])
    seen = camera.picture(corners)
    return {
        "image": out,
        "to_picture": to_picture,
        "px_per_mm": float(camera.focal_px / camera.place[2] * enlargement.mean()),
        "dpi": None,
        "stored_dpi": 72,
        "quality": quality,
        "one_bit": False,
        "nuisance": notes,
        "reference": {"kind": "page-a4", "corners": [[round(float(a), 3) for a in c] for c in seen]},
    }


def _paste_patch(on_page: Image, camera: Camera, printed: Image, ppm: float, at: Array, half: Array) -> None:
    """Sample the printed patch at 3 x 3 points of every pixel it covers; ``at`` is page mm less half a page."""
    extent = np.array(printed.shape[::-1]) / ppm
    x0, y0 = at
    corners = np.array([[x0 + a * extent[0], -(y0 + b * extent[1]), 0.0] for a in (0, 1) for b in (0, 1)])
    seen = camera.picture(corners)
    low = np.maximum(np.floor(seen.min(axis=0)).astype(int), 0)
    high = np.minimum(np.ceil(seen.max(axis=0)).astype(int) + 1, np.array(camera.size))
    total = np.zeros((high[1] - low[1], high[0] - low[0]), np.float32)
    weight = np.zeros_like(total)
    soft = cv2.GaussianBlur(printed, (0, 0), 0.5)
    columns, rows = np.meshgrid(
        np.arange(low[0], high[0], dtype=np.float32), np.arange(low[1], high[1], dtype=np.float32)
    )
    for dx in (-1 / 3, 0, 1 / 3):
        for dy in (-1 / 3, 0, 1 / 3):
            wx, wy, *_ = camera.plane(columns + dx, rows + dy, 0.0)
            px, py = ((wx - x0) * ppm - 0.5).astype(np.float32), ((-wy - y0) * ppm - 0.5).astype(np.float32)
            inside = ((px >= 0) & (py >= 0) & (px < soft.shape[1] - 1) & (py < soft.shape[0] - 1)).astype(np.float32)
            total += inside * cv2.remap(soft, px, py, cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE)
            weight += inside
    part = on_page[low[1] : high[1], low[0] : high[0]]
    whole = weight > 0
    # typing of the page that runs into the patch stays: the darker of the two
    part[whole] = (part * (1 - weight / 9) + total / 9)[whole]


def _hand_shadow(picture: Image, rng: np.random.Generator, notes: dict[str, Any]) -> None:
    if rng.random() > 0.5:
        return
    height, width = picture.shape[:2]
    y, x = np.mgrid[0:1:128j, 0:1:128j].astype(np.float32)
    turn, at, depth = float(rng.uniform(0, 2 * np.pi)), float(rng.uniform(0.1, 0.7)), float(rng.uniform(0.15, 0.5))
    softness = float(rng.uniform(0.03, 0.2))
    along = (x - 0.5) * np.float32(np.cos(turn)) + (y - 0.5) * np.float32(np.sin(turn))
    shade = 1 - depth / (1 + np.exp(-(along - at / 2) / np.float32(softness)))
    picture *= cv2.resize(shade.astype(np.float32), (width, height), interpolation=cv2.INTER_LINEAR)[..., None]
    notes["hand_shadow"] = [round(turn, 2), round(at, 2), round(depth, 2)]
