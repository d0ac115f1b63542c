"""A small renderer of cards and pages under a camera, for tests; it shares nothing with the program.

World: millimetres, x right, y away, z up; the table is z = 0.  The camera's rows look right, down and forward.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.ndimage import gaussian_filter

from app.picture.values import Picture


@dataclass(frozen=True)
class Camera:
    """A pinhole with one lens term: a ray at slope s is seen at slope s (1 + k s^2)."""

    place: np.ndarray
    turn: np.ndarray
    focal_px: float
    size: tuple[int, int]
    k: float = 0.0

    def seen(self, world: np.ndarray) -> np.ndarray:
        """(..., 3) world to (..., 2) pixels."""
        eye = (np.asarray(world, float) - self.place) @ self.turn.T
        slope = eye[..., :2] / eye[..., 2:]
        bent = slope * (1 + self.k * (slope**2).sum(axis=-1, keepdims=True))
        return bent * self.focal_px + (np.array(self.size) - 1) / 2

    def on_plane(self, z: float) -> np.ndarray:
        """(rows, columns, 2) where every pixel's ray meets height z."""
        columns, rows = np.meshgrid(np.arange(self.size[0]), np.arange(self.size[1]))
        bent = (np.stack([columns, rows], axis=-1) - (np.array(self.size) - 1) / 2) / self.focal_px
        slope = bent.copy()
        for _ in range(6 if self.k else 0):
            slope = bent / (1 + self.k * (slope**2).sum(axis=-1, keepdims=True))
        ray = np.concatenate([slope, np.ones((*slope.shape[:2], 1))], axis=-1) @ self.turn
        return (self.place + ray * ((z - self.place[2]) / ray[..., 2])[..., None])[..., :2]


def aim(
    tilt_deg: float,
    azimuth_deg: float,
    roll_deg: float,
    distance_mm: float,
    focal_px: float,
    size: tuple[int, int],
    k: float = 0.0,
) -> Camera:
    """A camera that looks at the origin from a tilt off the vertical."""
    tilt, azimuth, roll = np.deg2rad([tilt_deg, azimuth_deg, roll_deg])
    back = np.array([np.sin(tilt) * np.cos(azimuth), np.sin(tilt) * np.sin(azimuth), np.cos(tilt)])
    right = np.cross([np.sin(roll), np.cos(roll), 0.0], back)
    right /= np.linalg.norm(right)
    turn = np.stack([right, -np.cross(back, right), -back])
    return Camera(back * distance_mm, turn, focal_px, size, k)


def corners(at: tuple[float, float], angle_deg: float, size_mm: tuple[float, float], z: float) -> np.ndarray:
    """(4, 3) corners of a rectangle that lies at height z."""
    angle = np.deg2rad(angle_deg)
    axes = np.array([[np.cos(angle), np.sin(angle)], [-np.sin(angle), np.cos(angle)]])
    flat = np.array([[-1, -1], [1, -1], [1, 1], [-1, 1]]) * np.array(size_mm) / 2 @ axes + np.array(at)
    return np.concatenate([flat, np.full((4, 1), z)], axis=1)


def draw(
    camera: Camera,
    *,
    at: tuple[float, float] = (0.0, 0.0),
    angle_deg: float = 0.0,
    size_mm: tuple[float, float] = (85.6, 53.98),
    radius_mm: float = 3.18,
    z: float = 0.76,
    light: tuple[float, float, float] = (0.05, 0.1, 0.4),
    ground: tuple[float, float, float] = (0.6, 0.58, 0.55),
    shadow: float = 0.0,
    blur_px: float = 0.8,
    noise: float = 0.004,
    seed: int = 1,
) -> Picture:
    """A rectangle with rounded corners on plain ground, in light, blurred, with noise, as sRGB bytes.

    ``shadow`` darkens the ground to the right of the thing within a millimetre.
    """
    rng = np.random.default_rng(seed)
    angle = np.deg2rad(angle_deg)
    axes = np.array([[np.cos(angle), -np.sin(angle)], [np.sin(angle), np.cos(angle)]])

    def cover(height: float, grow_mm: float, soft_mm: float, shift: float) -> np.ndarray:
        places = (camera.on_plane(height) - np.array(at) - [shift, 0.0]) @ axes
        beyond = np.abs(places) - np.array(size_mm) / 2 + radius_mm
        far = np.hypot(*np.maximum(beyond, 0).transpose(2, 0, 1)) + np.minimum(beyond.max(axis=-1), 0)
        return np.clip(0.5 - (far - radius_mm - grow_mm) / soft_mm, 0, 1)

    px_mm = float(np.linalg.norm(camera.place)) / camera.focal_px
    bright = np.broadcast_to(np.asarray(ground), (camera.size[1], camera.size[0], 3))
    if shadow:
        bright = bright * (1 - shadow * cover(0.0, 0.0, 1.2, 0.5))[..., None]
    face = cover(z, 0.0, px_mm, 0.0)[..., None]
    scene = bright * (1 - face) + np.asarray(light) * face
    scene = gaussian_filter(scene, (blur_px, blur_px, 0)) + rng.normal(0, noise, scene.shape)
    scene = np.clip(scene, 0, 1)
    encoded = np.where(scene <= 0.0031308, 12.92 * scene, 1.055 * scene ** (1 / 2.4) - 0.055)
    rgb = np.rint(encoded * 255).astype(np.uint8)
    rgb.flags.writeable = False
    return Picture(name="drawn.png", rgb=rgb, dpi=None, sha256="")
