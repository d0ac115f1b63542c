"""Light on a solid key that lies on, or under, a plane.

All maps live in the key frame.  Depth d is measured from the face nearest the eye (d = 0) to the far rim
(d = thickness) and on to the ground plane (d = ground_depth): the lid of a scanner, or the table under a photo.
A lamp sample is a slope (mm sideways for every mm of depth) from a point on the ground back towards the lamp.
"""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from tests.generator.shape import CELL_MM, KeyShape

Array = NDArray[np.float64]
Image = NDArray[np.float32]
GROUND_CELL_MM = 1 / 12
MARGIN_MM = 14.0


@dataclass
class LitKey:
    """A key with its light: what a ray sees wherever it lands (key frame, linear light, white ground = 1)."""

    shape: KeyShape
    face: Image
    wall: Image
    ground: Image
    ground_origin_mm: tuple[float, float]
    thickness_mm: float
    ground_depth_mm: float
    wall_fall: float
    near_metal: Image

    def look(self, u: Image, v: Image, slope_u: Image | float, slope_v: Image | float) -> tuple[Image, Image, Image]:
        """What rays through (u, v) of the near face see.

        Returns
        -------
        metal, ground, cover
            Light from metal (already times its share), light factor of the ground, and metal's share.
        """
        cover = self._take(self.shape.cover, u, v, 0.0)
        metal = self._take(self.face, u, v, 0.0) * cover
        steepest = float(max(np.abs(slope_u).max(), np.abs(slope_v).max()))
        if steepest * self.thickness_mm > 0.02:
            self._add_walls(u, v, slope_u, slope_v, metal, cover)
        g = np.float32(self.ground_depth_mm)
        ground = self._take(self.ground, u + slope_u * g, v + slope_v * g, 1.0, GROUND_CELL_MM, self.ground_origin_mm)
        return metal, ground, cover

    def _add_walls(
        self, u: Image, v: Image, slope_u: Image | float, slope_v: Image | float, metal: Image, cover: Image
    ) -> None:
        """Add, in place, the side walls that oblique rays meet below the near face's rim."""
        slope_u, slope_v = np.broadcast_to(slope_u, u.shape), np.broadcast_to(slope_v, u.shape)
        t = np.float32(self.thickness_mm)
        far = self._take(self.near_metal, u + slope_u * t / 2, v + slope_v * t / 2, 0.0)
        band = np.flatnonzero((cover < 0.999) & (far > 0))
        if band.size == 0:
            return
        width = 1024
        padded = np.resize(band, (-(-band.size // width), width))
        u, v = u.ravel()[padded], v.ravel()[padded]
        slope_u, slope_v = slope_u.ravel()[padded], slope_v.ravel()[padded]
        here, light = cover.ravel()[padded], metal.ravel()[padded]
        steps = int(np.clip(float(np.hypot(slope_u, slope_v).max()) * t / 0.06, 3, 12))
        for k in range(1, steps + 1):
            depth = t * np.float32(k / steps)
            pu, pv = u + slope_u * depth, v + slope_v * depth
            more = np.maximum(self._take(self.shape.cover, pu, pv, 0.0) - here, 0)
            light += more * self._take(self.wall, pu, pv, 0.3) * np.float32(1 - self.wall_fall * k / steps)
            here += more
        metal.ravel()[padded.ravel()] = light.ravel()
        cover.ravel()[padded.ravel()] = here.ravel()

    def _take(
        self,
        image: Image,
        u: Image,
        v: Image,
        outside: float,
        cell: float = CELL_MM,
        origin: tuple[float, float] | None = None,
    ) -> Image:
        u0, v0 = self.shape.origin_mm if origin is None else origin
        x = ((u - u0) / cell).astype(np.float32)
        y = ((v - v0) / cell).astype(np.float32)
        return cv2.remap(image, x, y, cv2.INTER_LINEAR, borderMode=cv2.BORDER_CONSTANT, borderValue=outside)


def light_key(
    shape: KeyShape,
    rng: np.random.Generator,
    *,
    lamps: list[tuple[float, float, float]],
    ambient: float,
    gap_mm: float,
    metal_level: float,
    from_below: bool,
) -> LitKey:
    """Light a key.

    Parameters
    ----------
    lamps
        (slope_u, slope_v, weight) samples of the lamp, key frame; weights add up to 1.
    ambient
        Share of light that comes from everywhere (0..1); the lamps give the rest.
    gap_mm
        Free space between the far rim and the ground.
    metal_level
        Light that the flat face gives back, white ground = 1.
    """
    thickness = shape.table.thickness
    depth = thickness + gap_mm
    toward = np.array([sum(w * a for a, _, w in lamps), sum(w * b for _, b, w in lamps)])
    ground, origin = _ground(shape, lamps, ambient, thickness, depth, rng)
    face = _face(shape, rng, toward, metal_level, ambient)
    wall = _wall(shape, rng, lamps, metal_level, ambient)
    reach = int(2 * thickness / CELL_MM) | 1
    near = cv2.dilate(shape.cover, np.ones((reach, reach), np.uint8))
    return LitKey(shape, face, wall, ground, origin, thickness, depth, 0.6 if from_below else 0.35, near)


def _ground(
    shape: KeyShape,
    lamps: list[tuple[float, float, float]],
    ambient: float,
    thickness: float,
    depth: float,
    rng: np.random.Generator,
) -> tuple[Image, tuple[float, float]]:
    """Light on the ground plane: every lamp sample's shadow, less of the sky near the key, light thrown by walls."""
    u0, v0 = shape.origin_mm[0] - MARGIN_MM, shape.origin_mm[1] - MARGIN_MM
    rows = int((shape.cover.shape[0] * CELL_MM + 2 * MARGIN_MM) / GROUND_CELL_MM)
    columns = int((shape.cover.shape[1] * CELL_MM + 2 * MARGIN_MM) / GROUND_CELL_MM)
    ratio = GROUND_CELL_MM / CELL_MM
    soft = cv2.blur(shape.cover, (3, 3))
    to_key = np.array([[ratio, 0, -MARGIN_MM / CELL_MM], [0, ratio, -MARGIN_MM / CELL_MM]], np.float32)
    mask = cv2.warpAffine(soft, to_key, (columns, rows), flags=cv2.INTER_LINEAR | cv2.WARP_INVERSE_MAP)
    vis = np.zeros_like(mask)
    for slope_u, slope_v, weight in lamps:
        start = depth - thickness  # from the ground up to the far rim
        blocked = _shifted(mask, slope_u * start, slope_v * start)
        steps = max(1, int(np.ceil(np.log2(max(1.0, thickness * float(np.hypot(slope_u, slope_v)) / GROUND_CELL_MM)))))
        for k in range(steps):  # doubling: after k rounds the layers of the first 2^k parts are joined
            part = thickness * 2.0**k / 2.0**steps
            blocked = np.maximum(blocked, _shifted(blocked, slope_u * part, slope_v * part))
        blocked = np.maximum(blocked, _shifted(mask, slope_u * depth, slope_v * depth))
        vis += np.float32(weight) * (1 - blocked)
    spacing = float(np.hypot(np.ptp([a for a, *_ in lamps]), np.ptp([b for _, b, _ in lamps]))) / len(lamps) ** 0.5
    vis = cv2.GaussianBlur(vis, (0, 0), max(0.35, 0.3 * spacing * (depth - thickness / 2) / GROUND_CELL_MM))
    sky = np.zeros_like(mask)
    for spread, share in ((0.35, 0.35), (0.9, 0.4), (2.2, 0.25)):
        sigma = max(0.6, spread * depth / GROUND_CELL_MM)
        sky += np.float32(share) * cv2.GaussianBlur(mask, (0, 0), sigma)
    open_sky = 1 - np.float32(rng.uniform(0.75, 0.98)) * sky
    thrown = _thrown(mask, lamps, depth, float(rng.uniform(0.0, 0.14)))
    return np.asarray(ambient * open_sky + (1 - ambient) * vis * (1 + thrown), np.float32), (u0, v0)


def _shifted(mask: Image, du_mm: float, dv_mm: float) -> Image:
    """The mask as seen from a point moved by (du, dv)."""
    move = np.array([[1, 0, du_mm / GROUND_CELL_MM], [0, 1, dv_mm / GROUND_CELL_MM]], np.float32)
    return cv2.warpAffine(mask, move, mask.shape[::-1], flags=cv2.INTER_LINEAR | cv2.WARP_INVERSE_MAP)


def _thrown(mask: Image, lamps: list[tuple[float, float, float]], depth: float, strength: float) -> Image:
    """Light that walls facing the lamp throw on the ground beside them."""
    smooth = cv2.GaussianBlur(mask, (0, 0), 1.0)
    gu, gv = cv2.Sobel(smooth, cv2.CV_32F, 1, 0), cv2.Sobel(smooth, cv2.CV_32F, 0, 1)
    a, b = sum(w * s for s, _, w in lamps), sum(w * s for _, s, w in lamps)
    norm = max(1e-6, float(np.hypot(a, b)))
    facing = np.maximum(-(gu * a + gv * b) / norm, 0)
    spread = max(0.8, 0.45 * depth / GROUND_CELL_MM)
    shift = np.array([[1, 0, -a / norm * spread], [0, 1, -b / norm * spread]], np.float32)
    size = (mask.shape[1], mask.shape[0])
    facing = cv2.warpAffine(facing, shift, size, flags=cv2.INTER_LINEAR | cv2.WARP_INVERSE_MAP)
    return np.asarray(strength * cv2.GaussianBlur(facing, (0, 0), spread) * spread, np.float32)


def _face(shape: KeyShape, rng: np.random.Generator, toward: Array, level: float, ambient: float) -> Image:
    """The near face: brushed texture, slow tone, grooves, and a bright or dark chamfer along the rim."""
    rows, columns = shape.cover.shape
    brush = _brushed(
        rng, rows, columns, float(rng.uniform(0.02, 0.12)), float(rng.choice([0, 0, 90, rng.uniform(0, 180)]))
    )
    slow = cv2.resize(rng.normal(0, 1, (4, 7)).astype(np.float32), (columns, rows), interpolation=cv2.INTER_CUBIC)
    face = np.float32(level) * (1 + brush + np.float32(rng.uniform(0.01, 0.1)) * slow)
    face = _grooves(shape, rng, face, toward, level)
    width = float(rng.uniform(0.015, 0.11))
    depth_in = cv2.distanceTransform((shape.cover > 0.5).astype(np.uint8), cv2.DIST_L2, 5) * np.float32(CELL_MM)
    nu, nv = _outward(shape.cover, 2.0)
    across = np.clip(toward @ toward, 0, 4) ** 0.5 or 1.0
    facing = (nu * toward[0] + nv * toward[1]) / np.float32(across)
    glint = float(rng.uniform(0.2, 1.3))
    rim_tone = level * (0.55 * ambient + 0.25) + np.maximum(facing, 0) ** 2 * glint * (1 - ambient)
    rim = np.clip(1.5 - depth_in / np.float32(width), 0, 1)
    ragged = np.clip(1 + 0.5 * _blobs(rng, rows, columns, 0.6), 0, 1)
    rim = rim * ragged
    shape.notes["edge_chamfer_mm"] = round(width, 4)
    shape.notes["glint"] = round(glint, 3)
    return np.asarray(np.maximum(face * (1 - rim) + rim * rim_tone, 0.01), np.float32)


def _outward(cover: Image, sigma_cells: float) -> tuple[Image, Image]:
    smooth = cv2.GaussianBlur(cover, (0, 0), sigma_cells)
    gu, gv = -cv2.Sobel(smooth, cv2.CV_32F, 1, 0), -cv2.Sobel(smooth, cv2.CV_32F, 0, 1)
    norm = np.maximum(np.hypot(gu, gv), 1e-4)
    return gu / norm, gv / norm


def _brushed(rng: np.random.Generator, rows: int, columns: int, amount: float, angle_deg: float) -> Image:
    side = int(np.hypot(rows, columns)) // 2 + 2
    noise = rng.normal(0, 1, (side, side // 12 + 2)).astype(np.float32)
    long = cv2.resize(noise, (side, side), interpolation=cv2.INTER_CUBIC)
    turn = cv2.getRotationMatrix2D((side / 2, side / 2), angle_deg, 2.0)
    turn[:, 2] += [columns / 2 - side / 2, rows / 2 - side / 2]
    out = cv2.warpAffine(long, turn, (columns, rows), flags=cv2.INTER_LINEAR, borderMode=cv2.BORDER_REFLECT)
    return np.asarray(amount * out, np.float32)


def _blobs(rng: np.random.Generator, rows: int, columns: int, size_mm: float) -> Image:
    cell = max(2, int(size_mm / CELL_MM))
    small = rng.normal(0, 1, (rows // cell + 2, columns // cell + 2)).astype(np.float32)
    return cv2.resize(small, (columns, rows), interpolation=cv2.INTER_CUBIC)


def _grooves(shape: KeyShape, rng: np.random.Generator, face: Image, toward: Array, level: float) -> Image:
    """Milled grooves along the blade: a darker floor between two lines, one bright and one dark."""
    table = shape.table
    rows, columns = face.shape
    u = (shape.origin_mm[0] + np.arange(columns) * CELL_MM)[None, :]
    v = (shape.origin_mm[1] + np.arange(rows) * CELL_MM)[:, None]
    grooves: list[dict[str, float]] = []
    for _ in range(int(rng.choice([0, 1, 1, 2, 3]))):
        groove = {
            "v": float(rng.uniform(0.12, 0.85) * table.height),
            "width": float(rng.uniform(0.6, 2.0)),
            "depth": float(rng.uniform(0.25, 0.9)),
            "slope": float(rng.uniform(0.05, 0.6)),
            "start": float(rng.uniform(-5.0, 2.0)),
            "end": float(rng.choice([table.length + 1, table.length - 2.5])),
        }
        grooves.append({k: round(x, 3) for k, x in groove.items()})
        along = np.clip((u - groove["start"]) / 0.6, 0, 1) * np.clip((groove["end"] - u) / 0.6, 0, 1)
        side = (v - groove["v"]) / (groove["width"] / 2)
        flank = max(0.06, groove["slope"] * groove["depth"])
        edge_low = np.exp(-(((v - groove["v"] + groove["width"] / 2) / flank) ** 2))
        edge_high = np.exp(-(((v - groove["v"] - groove["width"] / 2) / flank) ** 2))
        floor = (np.abs(side) < 1) * rng.uniform(-0.3, 0.12)
        lean = float(toward[1] / max(0.3, float(np.hypot(*toward))))
        lines = lean * (edge_low - edge_high) * rng.uniform(0.25, 0.9)
        face = face * (1 + along * (floor + lines - 0.25 * (edge_low + edge_high))).astype(np.float32)
    shape.notes["grooves"] = grooves
    return np.maximum(face, np.float32(0.03 * level))


def _wall(
    shape: KeyShape, rng: np.random.Generator, lamps: list[tuple[float, float, float]], level: float, ambient: float
) -> Image:
    """Side walls: as bright as they face the lamp; milled floors and flanks catch it differently."""
    small = cv2.resize(shape.cover, None, fx=0.5, fy=0.5, interpolation=cv2.INTER_AREA)
    nu, nv = _outward(small, 3.0)
    lit = np.zeros_like(small)
    for a, b, weight in lamps:
        lit += np.float32(weight) * np.maximum(nu * a + nv * b, 0) / np.float32(np.sqrt(1 + a * a + b * b))
    tone = level * (0.5 * ambient + 1.6 * (1 - ambient) * lit) + 0.05
    tone = tone * (1 + 0.25 * cv2.resize(_blobs(rng, *shape.cover.shape, 0.3), (small.shape[1], small.shape[0])))
    return np.asarray(np.maximum(cv2.resize(tone, (shape.cover.shape[1], shape.cover.shape[0])), 0.01), np.float32)
