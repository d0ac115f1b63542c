"""A pinhole camera with one lens term, as plain functions on arrays; and homographies.

A camera is (8,): rotation vector, translation in mm, ln(focal length / half diagonal), k1.  It looks at a plane whose
x and y run the same way round as the picture; heights count from the plane towards the camera.  Positions called
*seen* are in half diagonals of the picture from its middle, as the lens bends them; *ideal* ones are as a pinhole
would see them: ``ideal = seen * (1 + k1 * |seen|^2)``.
"""

from __future__ import annotations

import numpy as np
from scipy.spatial.transform import Rotation

from keycore.measured import Floats


def fit_homography(source: Floats, target: Floats) -> Floats:
    """(3, 3) homography that takes (n, 2) source to target; exact for four, least squares for more.

    Direct linear transformation with both sets normalised (R. Hartley, "In defense of the eight-point algorithm",
    IEEE PAMI 19 (1997) 580-593).
    """
    source, target = np.asarray(source, dtype=float), np.asarray(target, dtype=float)
    to_source, to_target = _normaliser(source), _normaliser(target)
    s = np.c_[source, np.ones(len(source))] @ to_source.T
    t = np.c_[target, np.ones(len(target))] @ to_target.T
    zero = np.zeros_like(s)
    rows = np.concatenate([np.hstack([s, zero, -t[:, :1] * s]), np.hstack([zero, s, -t[:, 1:2] * s])])
    flat = np.linalg.svd(rows)[2][-1]
    homography = np.linalg.inv(to_target) @ flat.reshape(3, 3) @ to_source
    return np.asarray(homography / homography[2, 2])


def apply_homography(homography: Floats, xy: Floats) -> Floats:
    """(..., 2) positions through a (3, 3) homography."""
    mapped = xy @ homography[:, :2].T + homography[:, 2]
    return np.asarray(mapped[..., :2] / mapped[..., 2:])


def _normaliser(points: Floats) -> Floats:
    centre = points.mean(axis=0)
    size = float(np.hypot(*(points - centre).T).mean()) / np.sqrt(2)
    return np.array([[1 / size, 0, -centre[0] / size], [0, 1 / size, -centre[1] / size], [0, 0, 1.0]])


def half_diagonal(picture_size: tuple[int, int]) -> float:
    return float(np.hypot(*picture_size)) / 2


def from_pixels(xy: Floats, picture_size: tuple[int, int]) -> Floats:
    return np.asarray((xy - (np.array(picture_size, float) - 1) / 2) / half_diagonal(picture_size))


def to_pixels(centred: Floats, picture_size: tuple[int, int]) -> Floats:
    return np.asarray(centred * half_diagonal(picture_size) + (np.array(picture_size, float) - 1) / 2)


def bend(ideal: Floats, k1: float) -> Floats:
    """Seen position of an ideal one: the root of ``r (1 + k1 r^2) = ideal radius`` by Newton's rule."""
    radius = np.sqrt((ideal**2).sum(axis=-1, keepdims=True))
    seen = radius.copy()
    for _ in range(5):
        seen = seen - (seen * (1 + k1 * seen**2) - radius) / np.maximum(1 + 3 * k1 * seen**2, 0.2)
    return np.asarray(ideal * np.where(radius > 1e-12, seen / np.maximum(radius, 1e-12), 1.0))


def turn_matrix(vector: Floats) -> Floats:
    """(3, 3) rotation by Rodrigues' formula."""
    angle = float(np.sqrt((vector**2).sum()))
    x, y, z = vector
    cross = np.array([[0.0, -z, y], [z, 0.0, -x], [-y, x, 0.0]])
    if angle < 1e-8:
        return np.asarray(np.eye(3) + cross)
    return np.asarray(np.eye(3) + np.sin(angle) / angle * cross + (1 - np.cos(angle)) / angle**2 * (cross @ cross))


def turn_vector(rotation: Floats) -> Floats:
    return np.asarray(Rotation.from_matrix(rotation).as_rotvec(), dtype=float)


def plane_columns(camera: Floats, z_mm: float) -> Floats:
    """(3, 3) from plane millimetres to ideal homogeneous positions in half diagonals."""
    rotation = turn_matrix(camera[:3])
    focal = float(np.exp(camera[6]))
    columns = np.stack([rotation[:, 0], rotation[:, 1], camera[3:6] - z_mm * rotation[:, 2]], axis=1)
    return np.asarray(columns * np.array([[focal], [focal], [1.0]]))


def picture_to_plane(camera: Floats, picture_xy: Floats, z_mm: float, picture_size: tuple[int, int]) -> Floats:
    seen = from_pixels(picture_xy, picture_size)
    ideal = seen * (1 + camera[7] * (seen**2).sum(axis=-1, keepdims=True))
    return apply_homography(np.asarray(np.linalg.inv(plane_columns(camera, z_mm))), np.asarray(ideal, dtype=float))


def ln_area(camera: Floats, picture_xy: Floats, z_mm: float, picture_size: tuple[int, int]) -> float:
    """ln of square millimetres per square pixel at one place."""
    steps = np.array([[0.5, 0.0], [-0.5, 0.0], [0.0, 0.5], [0.0, -0.5]])
    plane = picture_to_plane(camera, picture_xy + steps, z_mm, picture_size)
    (a, b), (c, d) = plane[0] - plane[1], plane[2] - plane[3]
    return float(np.log(abs(a * d - b * c)))
