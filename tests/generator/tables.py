"""Invented depth tables, drawn by seed: five kinds of key, sizes free within what a shop would call ordinary."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any

import numpy as np

KINDS = ("A", "B", "C", "D", "E")


@dataclass(frozen=True)
class Table:
    """One depth table, in mm, as the generator needs it.

    ``edges`` is "single", "double-mirrored" or "double-independent"; positions run bow first from the gauge point.
    """

    name: str
    edges: str
    gauge_from: str
    positions: tuple[float, ...]
    labels: tuple[str, ...]
    roots: tuple[float, ...]
    flat: float
    angle_deg: float
    macs: int
    height: float
    length: float
    thickness: float

    def to_json(self) -> dict[str, Any]:
        """keyspec/1 of this table."""
        root_from = {"single": "back", "double-mirrored": "opposite-floor", "double-independent": "centreline"}
        return {
            "format": "keyspec/1",
            "name": self.name,
            "provenance": {"kind": "invented", "source": "drawn by the project's own generator"},
            "units": "mm",
            "edges": self.edges,
            "gauge_from": self.gauge_from,
            "root_from": root_from[self.edges],
            "cut_positions": list(self.positions),
            "depths": [{"label": a, "root": r} for a, r in zip(self.labels, self.roots, strict=True)],
            "tolerance": {"root": 0.04, "position": 0.06},
            "cut_form": {"flat": self.flat, "angle": self.angle_deg},
            "max_adjacent_step": self.macs,
            "blade": {"height": self.height, "length": self.length, "thickness": self.thickness},
        }


def table_from_json(data: dict[str, Any]) -> Table:
    """Table of a keyspec/1 file in mm."""
    if data["units"] != "mm":
        raise ValueError("The generator takes tables in mm only.")
    return Table(
        name=data["name"],
        edges=data["edges"],
        gauge_from=data["gauge_from"],
        positions=tuple(data["cut_positions"]),
        labels=tuple(d["label"] for d in data["depths"]),
        roots=tuple(d["root"] for d in data["depths"]),
        flat=data["cut_form"]["flat"],
        angle_deg=data["cut_form"]["angle"],
        macs=data["max_adjacent_step"],
        height=data["blade"]["height"],
        length=data["blade"]["length"],
        thickness=data["blade"]["thickness"],
    )


def invented_table(kind: str, seed: int) -> Table:
    """Draw a table of one kind: A coarse, B fine, C gauged from the tip, D mirrored pair, E independent edges."""
    rng = np.random.default_rng([seed, ord(kind)])
    angle = float(rng.choice([80.0, 86.0, 90.0, 90.0, 96.0, 100.0]))
    run = math.tan(math.radians(angle / 2))  # mm along the blade for one mm of depth on a flank
    flat = round(float(rng.uniform(0.6, 1.1)), 2)
    if kind in "ABC":
        count, pitch, depths, step = {
            "A": (int(rng.integers(4, 7)), rng.uniform(3.7, 4.4), int(rng.integers(5, 8)), rng.uniform(0.45, 0.65)),
            "B": (int(rng.integers(5, 8)), rng.uniform(3.5, 4.2), 10, rng.uniform(0.3, 0.4)),
            "C": (int(rng.integers(5, 8)), rng.uniform(3.5, 4.1), int(rng.integers(7, 11)), rng.uniform(0.3, 0.42)),
        }[kind]
        height = round(float(rng.uniform(7.9, 9.3)), 2)
        first_root = height - float(rng.uniform(0.25, 0.5))
    elif kind == "D":
        count, pitch, depths, step = int(rng.integers(6, 10)), rng.uniform(2.5, 3.0), 4, rng.uniform(0.5, 0.65)
        height = round(float(rng.uniform(6.6, 7.8)), 2)
        first_root = height - float(rng.uniform(0.4, 0.55))
    else:
        count, pitch, depths, step = int(rng.integers(4, 7)), rng.uniform(3.4, 4.0), 5, rng.uniform(0.36, 0.46)
        height = round(float(rng.uniform(7.6, 8.8)), 2)
        first_root = height / 2 - float(rng.uniform(0.2, 0.32))
    pitch, step = round(float(pitch), 2), round(float(step), 3)
    roots = tuple(round(first_root - step * i, 3) for i in range(depths))
    per_edge = step / 2 if kind == "D" else step
    macs = int(min(depths - 1, max(1, math.floor((pitch - flat - 0.1) / run / per_edge))))
    deepest = (height - roots[-1]) / (2 if kind == "D" else 1) if kind != "E" else height / 2 - roots[-1]
    start = round(flat / 2 + deepest * run * 0.75 + float(rng.uniform(1.2, 2.4)), 2)
    nose = float(rng.uniform(5.0, 6.4)) if kind in "ABC" else float(rng.uniform(4.0, 5.0))
    along = [round(start + pitch * i, 2) for i in range(count)]
    length = round(along[-1] + nose, 1)
    base = int(rng.integers(0, 2)) if depths < 10 else 0
    return Table(
        name=f"Invented {kind}-{seed}",
        edges={"D": "double-mirrored", "E": "double-independent"}.get(kind, "single"),
        gauge_from="tip" if kind == "C" else "shoulder",
        positions=tuple(round(length - p, 2) for p in along) if kind == "C" else tuple(along),
        labels=tuple(str(base + i) for i in range(depths)),
        roots=roots,
        flat=flat,
        angle_deg=angle,
        macs=macs,
        height=height,
        length=length,
        thickness=round(float(rng.uniform(1.8, 2.5)), 2),
    )


def random_code(table: Table, rng: np.random.Generator) -> list[list[int]]:
    """One list of depth indices per independent edge, neighbours within the MACS."""
    edges = 2 if table.edges == "double-independent" else 1
    codes = []
    for _ in range(edges):
        code = [int(rng.integers(len(table.roots)))]
        while len(code) < len(table.positions):
            low, high = max(0, code[-1] - table.macs), min(len(table.roots) - 1, code[-1] + table.macs)
            code.append(int(rng.integers(low, high + 1)))
        codes.append(code)
    return codes
