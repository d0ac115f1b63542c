"""A pinhole camera with a little radial distortion, over a table."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]


@dataclass(frozen=True)
class Camera:
    """World: mm, x right, y up on the table, z towards the eye.  Picture: x right, y down.

    ``turn`` rows are the camera's right, down and forward directions; ``size`` is (width, height) in pixels.
    """

    place: Array
    turn: Array
    focal_px: float
    size: tuple[int, int]
    k1: float

    @property
    def middle(self) -> Array:
        """Principal point."""
        return (np.array(self.size) - 1) / 2

    def picture(self, world: Array) -> Array:
        """(..., 3) world points to (..., 2) pixels."""
        eye = (np.asarray(world, float) - self.place) @ self.turn.T
        flat = eye[..., :2] / eye[..., 2:]
        r2 = (flat**2).sum(axis=-1, keepdims=True)
        return np.asarray(flat * (1 + self.k1 * r2) * self.focal_px + self.middle)

    def plane(self, x: Array, y: Array, z_mm: float) -> tuple[Array, Array, Array, Array]:
        """Where the rays of pixels meet the plane z, and their slope there.

        Returns
        -------
        world_x, world_y, slope_x, slope_y
            Slopes are mm sideways for every mm further down.
        """
        cx, cy = (float(c) for c in self.middle)  # plain floats keep float32 arrays float32
        turn = self.turn.tolist()
        dx, dy = (x - cx) / self.focal_px, (y - cy) / self.focal_px
        ux, uy = dx, dy
        for _ in range(3):
            stretch = 1 + self.k1 * (ux * ux + uy * uy)
            ux, uy = dx / stretch, dy / stretch
        down = -1 / (ux * turn[0][2] + uy * turn[1][2] + turn[2][2])
        slope_x = (ux * turn[0][0] + uy * turn[1][0] + turn[2][0]) * down
        slope_y = (ux * turn[0][1] + uy * turn[1][1] + turn[2][1]) * down
        drop = float(self.place[2]) - z_mm
        return float(self.place[0]) + slope_x * drop, float(self.place[1]) + slope_y * drop, slope_x, slope_y


def aim(
    rng: np.random.Generator,
    low: Array,
    high: Array,
    size: tuple[int, int],
    tilt_deg: float,
    hfov_deg: float,
    notes: dict[str, Any],
) -> Camera:
    """Point a camera at a box on the table so that all of it is in the picture."""
    focal = size[0] / 2 / math.tan(math.radians(hfov_deg / 2))
    azimuth, roll = float(rng.uniform(0, 360)), float(rng.normal(0, 5))
    k1 = float(rng.normal(0, 0.012))
    tilt = math.radians(tilt_deg)
    away = np.array(
        [
            math.sin(tilt) * math.cos(math.radians(azimuth)),
            math.sin(tilt) * math.sin(math.radians(azimuth)),
            math.cos(tilt),
        ]
    )
    target = np.array([*((low + high) / 2 + rng.normal(0, 2.5, 2)), 0.0])
    forward = -away
    right = np.cross(forward, [0.0, 1.0, 0.0])
    right /= np.linalg.norm(right)
    down = np.cross(forward, right)
    c, s = math.cos(math.radians(roll)), math.sin(math.radians(roll))
    turn = np.array([c * right + s * down, -s * right + c * down, forward])
    corners = np.array([[a, b, 0.0] for a in (low[0], high[0]) for b in (low[1], high[1])])
    distance = 60.0
    room = float(rng.uniform(0.86, 0.97))
    while distance < 1500:
        camera = Camera(target + away * distance, turn, focal, size, k1)
        seen = camera.picture(corners) - camera.middle
        if (np.abs(seen) < room * np.array(size) / 2).all() and ((corners - camera.place) @ forward > 20).all():
            break
        distance *= 1.02
    notes.update(
        tilt_deg=round(tilt_deg, 2),
        azimuth_deg=round(azimuth, 2),
        roll_deg=round(roll, 2),
        hfov_deg=round(hfov_deg, 1),
        distance_mm=round(distance, 1),
        k1=round(k1, 5),
        camera={"C": camera.place.round(3).tolist(), "R": camera.turn.round(5).tolist(), "f_px": round(focal, 3)},
    )
    return camera
