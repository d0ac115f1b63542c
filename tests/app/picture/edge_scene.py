"""Four cuts of a small blade on a drawn picture, for tests of what is seen along an edge."""

from __future__ import annotations

import numpy as np

from app.picture.edgemaps import EdgeMaps, edge_maps
from app.picture.frame import Frame
from app.picture.sample import Patch
from app.picture.shape import EdgeShape

PX = 16.0
ORIGIN = np.array([60.0, 260.0])
FRAME = Frame.from_axes(ORIGIN, np.array([1.0, 0.0]), np.array([0.0, -1.0]), PX)
SHAPE = EdgeShape(np.array([5.0, 9.0, 13.0, 17.0]), 8.0, np.array([7.6, 7.0, 6.4, 5.8, 5.2]), 1.0, 1.0)


def places_mm() -> tuple[np.ndarray, np.ndarray]:
    """(columns,) along and (rows, columns) across the blade: where each pixel lies in the frame."""
    columns, rows = np.meshgrid(np.arange(440.0), np.arange(300.0))
    return (columns[0] - ORIGIN[0]) / PX, (ORIGIN[1] - rows) / PX


def softly(inside_mm: np.ndarray) -> np.ndarray:
    """Share of a pixel that is covered, by how far it lies inside an edge."""
    return np.asarray(1.0 / (1.0 + np.exp(-inside_mm * 40.0)))


def maps_of(grey: np.ndarray, noise: float, *, signed: bool = False) -> EdgeMaps:
    """The map of a drawn picture, made noisy; of a copy where only a rise towards the outside counts (``signed``)."""
    noisy = grey + np.random.default_rng(2).normal(0.0, noise, grey.shape)
    patch = Patch(noisy.astype(np.float32), 0, 0)
    return edge_maps(
        patch, FRAME, SHAPE, side=1, step_mm=0.04, beyond_mm=3.0, above_mm=1.5, below_mm=1.0, signed=signed
    )
