"""Small tables and readings for tests; all invented."""

from __future__ import annotations

from typing import Any

import numpy as np

from keycore.measured import CutReading, HeightEvidence, Measured, Readings, SizeReference
from keycore.spec import KeySpec, parse_spec


def table(**changes: Any) -> dict[str, Any]:
    """Members of a small single-edge table: four cuts, five depths of 0.4 mm."""
    members: dict[str, Any] = {
        "format": "keyspec/1",
        "name": "Test 4",
        "provenance": {"kind": "invented", "source": "made up for a test"},
        "units": "mm",
        "edges": "single",
        "gauge_from": "shoulder",
        "root_from": "back",
        "cut_positions": [5.0, 9.0, 13.0, 17.0],
        "depths": [{"label": str(index), "root": 8.0 - 0.4 * index} for index in range(5)],
        "tolerance": {"root": 0.04, "position": 0.06},
        "cut_form": {"flat": 0.8, "angle": 90},
        "max_adjacent_step": 3,
        "blade": {"height": 8.3, "length": 24.0},
    }
    members.update(changes)
    return {name: value for name, value in members.items() if value is not ...}


def spec_of(**changes: Any) -> KeySpec:
    """The small table with some members changed; ``...`` leaves one out."""
    return parse_spec(table(**changes))


MIRRORED = {"edges": "double-mirrored", "root_from": "opposite-floor"}
INDEPENDENT = {
    "edges": "double-independent",
    "root_from": "centreline",
    "cut_positions": [5.0, 9.0],
    "depths": [{"label": str(index), "root": 3.9 - 0.42 * index} for index in range(4)],
    "max_adjacent_step": 2,
    "blade": {"height": 8.3, "length": 24.0},
}


def readings_of(
    spec: KeySpec,
    code: str,
    *,
    px_per_mm: float = 12.0,
    growth_mm: float = 0.2,
    sigma_px: float = 0.4,
    noise: np.random.Generator | None = None,
    places: bool = True,
    growth: Measured | None = None,
    height: bool = True,
    medium: str = "scan",
    anisotropy_sigma: float = 0.001,
) -> Readings:
    """Readings of a key cut to this code, exact unless ``noise`` is given."""
    labels = list(code)
    per_edge = len(labels) // spec.edge_count
    positions = np.tile(spec.for_count(per_edge).cut_positions_mm, spec.edge_count)
    cuts = []
    for index, label in enumerate(labels):
        off = 0.0 if noise is None else float(noise.normal(0, sigma_px))
        cuts.append(
            CutReading(
                root_px=px_per_mm * (spec.root_of(label) + growth_mm) + off,
                sigma_px=sigma_px,
                position_px=px_per_mm * float(positions[index]) if places else None,
                position_sigma_px=0.6 if places else None,
                edge=2 if spec.edge_count == 2 and index >= per_edge else 1,
            )
        )
    references = []
    if height:
        seen_px = px_per_mm * (spec.blade.height_mm + 0.5 * growth_mm * spec.edge_count)
        references.append(SizeReference("blade-height", "across", seen_px, 0.4, spec.blade.height_mm, 0.03, grows=True))
    return Readings(tuple(cuts), tuple(references), growth, anisotropy_sigma, medium)


def curve(peaks: list[tuple[float, float]], sigma_px: float, floor: float = 1e-6, growths: int = 1) -> HeightEvidence:
    """Evidence with peaks (share, height in px)."""
    low, high = min(at for _, at in peaks) - 12, max(at for _, at in peaks) + 12
    heights = np.linspace(low, high, 601)
    density = sum(share * np.exp(-0.5 * ((heights - at) / sigma_px) ** 2) for share, at in peaks) + floor
    rows = np.tile(np.log(density), (growths, 1))
    return HeightEvidence(heights, np.linspace(-0.2, 1.2, growths) if growths > 1 else np.zeros(1), rows)
