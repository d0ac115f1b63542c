"""readings/1: the readings taken off one picture, as JSON that reads back to the last bit.

With the table and the holds, which a job keeps too, this is all that decoding needs: a job opened years later gives
the same code with the same probability.
"""

from __future__ import annotations

import math
from dataclasses import asdict
from typing import Any

import numpy as np

from keycore.measured import CutReading, HeightEvidence, Measured, Readings, SizeReference
from keycore.refusal import Refusal

FORMAT = "readings/1"


def readings_to_json(readings: Readings) -> dict[str, Any]:
    """Readings as plain JSON members."""
    return {
        "format": FORMAT,
        "cuts": [_cut_to_json(cut) for cut in readings.cuts],
        "references": [asdict(reference) for reference in readings.references],
        "growth_mm": None if readings.growth_mm is None else asdict(readings.growth_mm),
        "anisotropy_sigma": readings.anisotropy_sigma,
        "medium": readings.medium,
        "warnings": list(readings.warnings),
        "tilt_sigma": readings.tilt_sigma,
        "centre_sigma_mm": readings.centre_sigma_mm,
        "others": [readings_to_json(way) for way in readings.others],
        "log_weight": readings.log_weight,
    }


def readings_from_json(stored: dict[str, Any]) -> Readings:
    """Readings from what :func:`readings_to_json` made; a refusal where they are damaged."""
    if stored.get("format") != FORMAT:
        raise Refusal(
            f'Stored readings should have the format "{FORMAT}"; got {stored.get("format")!r}.', code="readings.format"
        )
    try:
        growth = stored["growth_mm"]
        return Readings(
            cuts=tuple(_cut_from_json(cut) for cut in stored["cuts"]),
            references=tuple(SizeReference(**reference) for reference in stored["references"]),
            growth_mm=None if growth is None else Measured(**growth),
            anisotropy_sigma=float(stored["anisotropy_sigma"]),
            medium=stored["medium"],
            warnings=tuple(stored["warnings"]),
            tilt_sigma=_optional(stored.get("tilt_sigma")),
            centre_sigma_mm=_optional(stored.get("centre_sigma_mm")),
            others=tuple(readings_from_json(way) for way in stored.get("others", ())),
            log_weight=float(stored.get("log_weight", 0.0)),
        )
    except (KeyError, TypeError, ValueError, AttributeError) as error:
        raise Refusal(
            f"Stored readings are damaged ({error}); read the picture again.", code="readings.damaged"
        ) from error


def _cut_to_json(cut: CutReading) -> dict[str, Any]:
    evidence = cut.evidence
    return {
        "root_px": float(cut.root_px),
        "sigma_px": float(cut.sigma_px),
        "position_px": None if cut.position_px is None else float(cut.position_px),
        "position_sigma_px": None if cut.position_sigma_px is None else float(cut.position_sigma_px),
        "edge": cut.edge,
        "evidence": None
        if evidence is None
        else {
            "heights_px": evidence.heights_px.tolist(),
            "growths_mm": evidence.growths_mm.tolist(),
            "log_likelihood": [[_finite(value) for value in row] for row in evidence.log_likelihood.tolist()],
        },
    }


def _optional(value: float | None) -> float | None:
    """A member that readings stored earlier do not have."""
    return None if value is None else float(value)


def _finite(value: float) -> float | None:
    """JSON has no infinity: an impossible height (log-likelihood of minus infinity) is stored as null."""
    return value if math.isfinite(value) else None


def _cut_from_json(stored: dict[str, Any]) -> CutReading:
    evidence = stored["evidence"]
    members = {name: stored[name] for name in ("root_px", "sigma_px", "position_px", "position_sigma_px", "edge")}
    if evidence is None:
        return CutReading(**members)
    whole = HeightEvidence(
        heights_px=np.asarray(evidence["heights_px"], dtype=float),
        growths_mm=np.asarray(evidence["growths_mm"], dtype=float),
        log_likelihood=np.array(
            [[-math.inf if value is None else value for value in row] for row in evidence["log_likelihood"]],
            dtype=float,
        ),
    )
    if whole.log_likelihood.shape != (whole.growths_mm.size, whole.heights_px.size):
        raise ValueError("a cut's evidence has the wrong shape")
    return CutReading(**members, evidence=whole)
