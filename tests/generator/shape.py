"""The solid key: its outline in the key's own millimetres, and where its true marks lie.

Key frame: u runs along the blade from the shoulder (0) to the tip (length), v from the back (0) to the blade height;
the bow lies at u < 0.  The blade's two edges are functions of u, so every later stage can ask for them exactly.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field
from typing import Any

import numpy as np
from numpy.typing import NDArray
from scipy import ndimage

from tests.generator.tables import Table, random_code

Array = NDArray[np.float64]
CELL_MM = 1 / 40
STEP_MM = 0.01


@dataclass
class KeyShape:
    """One key as made.

    Attributes
    ----------
    u_mm, upper_mm, lower_mm
        (n,) stations along the blade and the two edges there.
    cover, origin_mm
        Part of each cell that is metal, (rows, columns) float32 with v growing downwards in the array's rows, and
        the (u, v) of cell (0, 0)'s centre.
    """

    table: Table
    code: list[list[int]]
    roots_mm: list[list[float]]
    positions_mm: list[list[float]]
    u_mm: Array
    upper_mm: Array
    lower_mm: Array
    cover: NDArray[np.float32]
    origin_mm: tuple[float, float]
    nose_v_mm: float
    step_mm: float
    notes: dict[str, Any] = field(default_factory=dict)

    @property
    def box_mm(self) -> tuple[float, float, float, float]:
        """u0, u1, v0, v1 that hold the whole key."""
        rows, columns = np.nonzero(self.cover > 0.5)
        u = self.origin_mm[0] + columns * CELL_MM
        v = self.origin_mm[1] + rows * CELL_MM
        return float(u.min()), float(u.max()), float(v.min()), float(v.max())

    def marks_mm(self) -> dict[str, Any]:
        """True marks as (u, v) points in marks/1's names."""
        t = self.table
        length, height = t.length, t.height
        double = t.edges != "single"
        edges = []
        for edge, places in enumerate(self.cut_u_mm):
            line = self.upper_mm if edge == 0 else self.lower_mm
            edges.append([(p, float(np.interp(p, self.u_mm, line))) for p in places])
        high_u = 0.35 * (min(self.cut_u_mm[0]) - t.flat / 2 - (height - self.roots_floor(0)) * _run(t))
        high_u = max(0.3, high_u)
        return {
            "shoulder": None if t.gauge_from == "tip" else (0.0, height),
            "tip": (length, self.nose_v_mm),
            "back": None if double else ((0.5, 0.0), (length - self.notes["back_bevel_mm"] - 0.8, 0.0)),
            "centreline": ((0.5, height / 2), (length - 3.0, height / 2)) if double else None,
            "roots": edges if double else edges[0],
            "blade_height": ((high_u, 0.0), (high_u, height)),
        }

    @property
    def cut_u_mm(self) -> list[list[float]]:
        """Cut centres from the shoulder, per edge."""
        if self.table.gauge_from == "tip":
            return [[self.table.length - p for p in edge] for edge in self.positions_mm]
        return self.positions_mm

    def roots_floor(self, edge: int) -> float:
        """v of the first cut's floor on an edge."""
        line = self.upper_mm if edge == 0 else self.lower_mm
        return float(np.interp(self.cut_u_mm[edge][0], self.u_mm, line))


def _run(table: Table) -> float:
    return math.tan(math.radians(table.angle_deg / 2))


def make_key(table: Table, rng: np.random.Generator, code: list[list[int]] | None = None) -> KeyShape:
    """Cut a key to a random (or given) code, with making error and, on a third of keys, wear."""
    code = random_code(table, rng) if code is None else code
    worn = bool(rng.random() < 0.33)
    n = len(table.positions)
    error = np.clip(rng.normal(0, 0.02, (len(code), n)), -0.06, 0.06)
    if worn:
        error = error - rng.uniform(0, 0.08, error.shape)
    roots = np.array([[table.roots[i] for i in edge] for edge in code]) + error
    cut_edges = 1 if table.edges == "single" else 2
    positions = np.array(table.positions) + np.clip(rng.normal(0, 0.03, (cut_edges, n)), -0.09, 0.09)
    half = table.height / 2
    if table.edges == "single":
        floors = roots
    elif table.edges == "double-mirrored":
        floors = np.array([half + roots[0] / 2, half - roots[0] / 2])
    else:
        floors = np.array([half + roots[0], half - roots[1]])
    from_shoulder = table.length - positions if table.gauge_from == "tip" else positions

    margin = 0.5
    u = np.arange(-margin, table.length + margin, STEP_MM)
    peak_radius = float(rng.uniform(0.15, 0.45)) if worn else float(rng.choice([0.0, 0.06]))
    nose_radius = float(rng.uniform(0.0, 0.14))
    burr = bool(rng.random() < 0.25)
    upper = _edge(u, table, floors[0], from_shoulder[0], peak_radius, nose_radius, burr, rng)
    if cut_edges == 2:
        lower = table.height - _edge(
            u, table, table.height - floors[1], from_shoulder[1], peak_radius, nose_radius, burr, rng
        )
    else:
        lower = np.zeros_like(u)
    upper, lower, nose_v, bevel = _with_tip(u, upper, lower, table, from_shoulder, rng)
    bow = _draw_bow(table, rng)
    cover, origin = _cover(u, upper, lower, table, bow)
    return KeyShape(
        table=table,
        code=code,
        roots_mm=roots.tolist(),
        positions_mm=positions.tolist(),
        u_mm=u,
        upper_mm=upper,
        lower_mm=lower,
        cover=cover,
        origin_mm=origin,
        nose_v_mm=nose_v,
        step_mm=bow["step"],
        notes={
            "bow": bow["kind"],
            "worn": worn,
            "peak_radius_mm": round(peak_radius, 4),
            "burr": burr,
            "back_bevel_mm": bevel,
        },
    )


def _edge(
    u: Array,
    table: Table,
    floors: Array,
    centres: Array,
    peak_radius: float,
    nose_radius: float,
    burr: bool,
    rng: np.random.Generator,
) -> Array:
    """One cut edge: the blade height, cut down by every cut's flat and flanks, then worn."""
    run = _run(table)
    line = np.full_like(u, table.height)
    for floor, centre in zip(floors, centres, strict=True):
        away = np.maximum(0.0, np.abs(u - centre) - table.flat / 2)
        line = np.minimum(line, floor + away / run)
    if nose_radius > 0:  # a cutter's corners are round: fill the corners of the floor
        line = ndimage.grey_closing(line, structure=_ball(min(nose_radius, table.flat / 3)), mode="nearest")
    if peak_radius > 0:
        line = ndimage.grey_opening(line, structure=_ball(peak_radius), mode="nearest")
    if burr:
        for centre in centres:
            if rng.random() < 0.4:
                side = rng.choice([-1, 1])
                at = centre + side * (table.flat / 2 + rng.uniform(0.4, 0.8))
                line = line + rng.uniform(0.03, 0.09) * np.exp(-(((u - at) / 0.09) ** 2))
    return line


def _ball(radius: float) -> Array:
    n = max(1, round(radius / STEP_MM))
    x = np.arange(-n, n + 1) * STEP_MM
    return np.sqrt(np.maximum(0.0, radius**2 - x**2)) - radius


def _with_tip(
    u: Array, upper: Array, lower: Array, table: Table, centres: Array, rng: np.random.Generator
) -> tuple[Array, Array, float, float]:
    """Bevel the blade's end; returns the edges, the v of the tip's middle, and the length of the lower bevel."""
    length, height = table.length, table.height
    room = length - float(centres.max()) - table.flat / 2 - 0.4
    if table.edges == "single":
        top_run = min(room, float(rng.uniform(1.6, 4.0)))
        top_fall = float(rng.uniform(0.25, 0.55)) * height
        low_run = float(rng.uniform(0.4, 2.2))
        low_rise = float(rng.uniform(0.06, 0.25)) * height
    else:
        top_run = low_run = min(room, float(rng.uniform(1.6, 3.2)))
        top_fall = low_rise = float(rng.uniform(0.24, 0.38)) * height
    upper = np.minimum(upper, height - top_fall * np.clip((u - (length - top_run)) / top_run, 0, None))
    lower = np.maximum(lower, low_rise * np.clip((u - (length - low_run)) / low_run, 0, None))
    end_top, end_low = height - top_fall, low_rise
    radius = min(float(rng.uniform(0.1, 0.9)), 0.45 * (end_top - end_low))
    lead = np.clip((u - (length - radius)) / radius, 0, 1)  # rounded nose
    drop = radius * (1 - np.sqrt(1 - lead**2))
    upper, lower = upper - drop, lower + drop
    return upper, lower, (end_top + end_low) / 2, low_run


def _draw_bow(table: Table, rng: np.random.Generator) -> dict[str, Any]:
    kind = str(rng.choice(["round", "square", "oval", "hex", "trefoil", "wide"]))
    tip_gauged = table.gauge_from == "tip"
    return {
        "kind": kind,
        "size": float(rng.uniform(10.0, 13.5)),
        "aspect": float(rng.uniform(0.8, 1.1)),
        "neck": float(rng.uniform(1.5, 5.0)),
        "step": 0.0 if tip_gauged else float(rng.uniform(0.7, 2.0)),
        "back_step": 0.0 if tip_gauged or rng.random() < 0.5 else float(rng.uniform(0.4, 1.5)),
        "hole": str(rng.choice(["round", "slot", "small", "none"], p=[0.45, 0.3, 0.2, 0.05])),
        "hole_size": float(rng.uniform(1.6, 3.4)),
        "corner": float(rng.uniform(2.0, 5.0)),
        "offset": float(rng.uniform(-1.0, 1.0)),
    }


def _bow_distance(u: Array, v: Array, bow: dict[str, Any], height: float) -> Array:
    """Signed distance (about; negative inside) to the bow with its hole and neck."""
    size, aspect = bow["size"], bow["aspect"]
    cu, cv = -bow["neck"] - size * 0.92, height / 2 + bow["offset"]
    du, dv = u - cu, v - cv
    kind = bow["kind"]
    if kind == "round":
        body = np.hypot(du, dv) - size
    elif kind == "oval":
        body = (np.hypot(du, dv / aspect / 0.85) - size) * 0.85
    elif kind == "hex":
        a, b = np.abs(du), np.abs(dv)
        body = np.maximum(0.866 * a + 0.5 * b, b) - size * 0.93
    elif kind == "trefoil":
        lobes = [(-0.45, 0.0), (0.2, 0.5), (0.2, -0.5)]
        body = np.minimum.reduce([np.hypot(du - size * a, dv - size * b) - size * 0.62 for a, b in lobes])
    else:
        a, b, r = size * (0.95 if kind == "square" else 0.75), size * aspect * 0.95, bow["corner"]
        qa, qb = np.abs(du) - a + r, np.abs(dv) - b + r
        body = np.hypot(np.maximum(qa, 0), np.maximum(qb, 0)) + np.minimum(np.maximum(qa, qb), 0) - r
    low, high = -bow["back_step"], height + bow["step"]
    neck = np.maximum(np.maximum(u, (cu - u)), np.maximum(low - v, v - high))
    solid = np.minimum(body, neck)
    hole_u, hole_v = cu - size * 0.45, cv
    r = bow["hole_size"]
    if bow["hole"] == "slot":
        hole = np.hypot(u - hole_u, np.maximum(np.abs(v - hole_v) - 2.6, 0)) - r * 0.6
    elif bow["hole"] == "none":
        return solid
    else:
        hole = np.hypot(u - hole_u, v - hole_v) - (r if bow["hole"] == "round" else r * 0.55)
    return np.maximum(solid, -hole)


def _cover(
    u: Array, upper: Array, lower: Array, table: Table, bow: dict[str, Any]
) -> tuple[NDArray[np.float32], tuple[float, float]]:
    """Metal's share of every cell, exact to about a hundredth of a cell along straight edges."""
    size = bow["size"]
    reach = max(size * max(1.0, bow["aspect"]), size * 1.12) + abs(bow["offset"]) + 1.0
    u0, u1 = -bow["neck"] - 2.1 * size - 1.0, table.length + 1.0
    v0, v1 = table.height / 2 - reach, table.height / 2 + reach
    columns, rows = int((u1 - u0) / CELL_MM), int((v1 - v0) / CELL_MM)
    us, vs = u0 + np.arange(columns) * CELL_MM, v0 + np.arange(rows) * CELL_MM
    cover = np.zeros((rows, columns), np.float32)
    on_bow = us < 0.2
    grid_u, grid_v = np.meshgrid(us[on_bow], vs)
    cover[:, on_bow] = np.clip(0.5 - _bow_distance(grid_u, grid_v, bow, table.height) / CELL_MM, 0, 1)
    on_blade = us > -1.0
    blade = np.zeros((rows, int(on_blade.sum())), np.float32)
    for part in (-0.375, -0.125, 0.125, 0.375):
        at = us[on_blade] + part * CELL_MM
        top, low = np.interp(at, u, upper), np.interp(at, u, lower)
        inside = (at <= table.length) & (top > low)
        high = np.clip((top[None, :] - vs[:, None]) / CELL_MM + 0.5, 0, 1)
        under = np.clip((low[None, :] - vs[:, None]) / CELL_MM + 0.5, 0, 1)
        blade += ((high - under) * inside[None, :] / 4).astype(np.float32)
    cover[:, on_blade] = np.maximum(cover[:, on_blade], blade)
    return cover, (u0, v0)
