"""Made-up keys and readings of them, for calibration and speed: a table, a key, a picture's errors, the readings.

Nothing here imports the decoder or its priors.  The errors are drawn by rules of their own, not by the decoder's:

* growth: a third clean (about 0.05 mm), a third usual (0.05 to 0.6 mm), a third anything up to 1.2 mm;
* growth differs from cut to cut by up to 0.02 mm (one sigma);
* the blade's height carries a share of that growth, 0 to 1;
* axes differ by up to 1.5 % on copies, hardly on scans; a scanner's dpi is right within 0.3 % (one sigma);
* what shoulder and tip leave of their shadows differs from copy to copy, and so does how evenly the uncut edge grows;
* references stray by their sigma, and one in twenty-five by up to 2 % more;
* a key's making error is 0.7 to 1.5 times half the tolerance; a third is worn, each cut by up to 0.08 mm;
* the noise of roots is 0.8 to 1.25 times the sigma that goes with them;
* one key in ten has one cut measured on a wrong edge, 0.15 to 1 mm away; of curves, which show other edges in three
  cuts of ten, one in fifty has a cut whose curve does not show the root at all, and one
  in 25 was misread, about half of its cuts (of fifty rendered pictures read with rough marks the curves spoke so
  against the true code in at most one);
* a picture's own growth estimate, where there is one (half of the pictures), is wrong by up to 0.5 mm in one of twenty.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np
from scipy.special import logsumexp

from keycore.measured import CutReading, Floats, HeightEvidence, Measured, Medium, Readings, SizeReference
from keycore.spec import KeySpec, parse_spec

KINDS = ("single from shoulder", "single from tip", "mirrored", "independent", "single, curves")


@dataclass(frozen=True)
class MadeUp:
    """One set of readings with its truth."""

    spec: KeySpec
    readings: Readings
    code: tuple[str, ...]
    roots_mm: Floats
    px_per_mm_across: float
    px_per_mm_along: float
    growth_mm: float
    bad_cut: int | None


def made_up_table(kind: str, rng: np.random.Generator, cuts: int | None = None, depths: int | None = None) -> KeySpec:
    """An invented table of one kind."""
    edges = {"mirrored": "double-mirrored", "independent": "double-independent"}.get(kind, "single")
    tip = kind == "single from tip"
    cuts = int(rng.integers(5, 8)) if cuts is None else cuts
    depths = int(rng.integers(5, 11)) if depths is None else depths
    spacing_mm = float(rng.uniform(3.2, 4.2))
    step_mm = float(rng.uniform(0.3, 0.6)) if depths < 9 else float(rng.uniform(0.3, 0.4))
    top_mm = float(rng.uniform(7.8, 8.8))
    if edges == "double-independent":
        step_mm, top_mm, depths = float(rng.uniform(0.35, 0.5)), float(rng.uniform(3.8, 4.3)), min(depths, 6)
    if edges == "double-mirrored":
        spacing_mm, depths = float(rng.uniform(2.5, 3.5)), min(depths, 6)
    first_mm = float(rng.uniform(4, 6))
    positions = [first_mm + spacing_mm * index for index in range(cuts)]
    height_mm = top_mm + 0.3 if edges != "double-independent" else 2 * top_mm + 0.4
    return parse_spec(
        {
            "format": "keyspec/1",
            "name": f"Made up, {kind}",
            "provenance": {"kind": "invented", "source": "drawn for a calibration bench"},
            "units": "mm",
            "edges": edges,
            "gauge_from": "tip" if tip else "shoulder",
            "root_from": {"single": "back", "double-mirrored": "opposite-floor"}.get(edges, "centreline"),
            "cut_positions": positions[::-1] if tip else positions,
            "depths": [{"label": str(index), "root": top_mm - step_mm * index} for index in range(depths)],
            "tolerance": {"root": 0.04, "position": 0.06},
            "max_adjacent_step": max(2, math.ceil(0.7 * (depths - 1))),
            "blade": {"height": height_mm, "length": positions[-1] + 6},
        }
    )


def made_up_code(spec: KeySpec, rng: np.random.Generator) -> list[int]:
    """Depth indexes of a random key that the table allows."""
    cuts = spec.cuts_per_edge
    while True:
        code = rng.integers(0, len(spec.depths), cuts * spec.edge_count)
        steps = np.abs(np.diff(code.reshape(spec.edge_count, cuts), axis=1))
        if steps.max() <= spec.max_adjacent_step:
            return [int(depth) for depth in code]


def made_up_set(kind: str, rng: np.random.Generator, spec: KeySpec | None = None) -> MadeUp:
    """One key and the readings of one picture of it."""
    spec = made_up_table(kind, rng) if spec is None else spec
    code = made_up_code(spec, rng)
    return made_up_picture(kind, rng, spec, code, made_roots_mm(spec, code, rng))


def made_up_pictures(kind: str, rng: np.random.Generator, count: int) -> list[MadeUp]:
    """Several pictures of one key."""
    if count == 1:
        return [made_up_set(kind, rng)]
    spec = made_up_table(kind, rng)
    code = made_up_code(spec, rng)
    roots_mm = made_roots_mm(spec, code, rng)
    return [made_up_picture(kind, rng, spec, code, roots_mm) for _ in range(count)]


def made_roots_mm(spec: KeySpec, code: list[int], rng: np.random.Generator) -> Floats:
    """Root heights of the key as it is: made within its tolerance, and a third of the keys worn."""
    sigma_mm = spec.tolerance.root_mm / 2 * rng.uniform(0.7, 1.5)
    roots_mm = spec.roots_mm[code] + rng.normal(0, sigma_mm, len(code))
    if rng.random() < 1 / 3:
        roots_mm -= rng.uniform(0, 0.08, len(code))
    return roots_mm


def made_up_picture(kind: str, rng: np.random.Generator, spec: KeySpec, code: list[int], roots_mm: Floats) -> MadeUp:
    """Readings of one picture of this key."""
    scan = rng.random() < 0.5
    medium: Medium = "scan" if scan else "photocopy"
    across = float(np.exp(rng.uniform(math.log(8), math.log(40))))
    anisotropy = float(rng.normal(0, 0.001) if scan else np.clip(rng.normal(0, 0.0075), -0.015, 0.015))
    along = across * math.exp(anisotropy)
    growth_mm = float((rng.normal(0.05, 0.05), rng.uniform(0.05, 0.6), rng.uniform(0, 1.2))[rng.integers(3)])
    positions_mm = np.tile(spec.cut_positions_mm, spec.edge_count)
    visible_mm = roots_mm + growth_mm + rng.normal(0, rng.uniform(0, 0.02), len(code))
    tilted_mm = rng.normal(0, 0.002) * (positions_mm - positions_mm.mean())
    if spec.edges == "single":
        visible_mm = visible_mm + tilted_mm
    if spec.edges == "double-independent":
        visible_mm = visible_mm + (rng.normal(0, 0.03) + tilted_mm) * np.repeat([1, -1], spec.cuts_per_edge)
    noise_mm = float(rng.uniform(0.01, 0.05))
    seen_mm = visible_mm + rng.normal(0, noise_mm * rng.uniform(0.8, 1.25), len(code))
    bad_share = 1 / 50 if kind == "single, curves" else 0.1
    bad = int(rng.integers(len(code))) if rng.random() < bad_share else None
    if bad is not None:
        seen_mm[bad] += rng.choice([-1, 1]) * rng.uniform(0.15, 1.0)
    if kind == "single, curves" and rng.random() < 0.04:
        misread = rng.random(len(code)) < 0.5
        seen_mm += misread * rng.choice([-1, 1], len(code)) * rng.uniform(0.15, 1.0, len(code))
    made_mm = positions_mm + rng.normal(0, spec.tolerance.position_mm / 2, len(code))
    place_noise_mm = float(rng.uniform(0.03, 0.1))
    placed_mm = made_mm + rng.normal(0, 0.2) + rng.normal(0, place_noise_mm, len(code))
    cuts = [
        CutReading(
            root_px=float(across * seen_mm[index]),
            sigma_px=across * noise_mm,
            position_px=float(along * placed_mm[index]),
            position_sigma_px=along * place_noise_mm,
            edge=2 if spec.edge_count == 2 and index >= spec.cuts_per_edge else 1,
        )
        for index in range(len(code))
    ]
    if kind == "single, curves":
        cuts = [_with_curve(cut, across, rng) for cut in cuts]
    growth = None
    if rng.random() < 0.5:
        sigma_mm = float(rng.uniform(0.03, 0.12))
        wrong_mm = rng.uniform(-0.5, 0.5) if rng.random() < 0.05 else 0.0
        growth = Measured(growth_mm + float(rng.normal(0, sigma_mm)) + wrong_mm, sigma_mm)
    return MadeUp(
        spec=spec,
        readings=Readings(
            tuple(cuts),
            _references(spec, across, along, growth_mm, scan, rng),
            growth,
            0.001 if scan else 0.0075,
            medium,
        ),
        code=tuple(spec.labels[depth] for depth in code),
        roots_mm=roots_mm,
        px_per_mm_across=across,
        px_per_mm_along=along,
        growth_mm=growth_mm,
        bad_cut=bad,
    )


def _references(
    spec: KeySpec, across: float, along: float, growth_mm: float, scan: bool, rng: np.random.Generator
) -> tuple[SizeReference, ...]:
    height_mm, length_mm = spec.blade.height_mm, spec.blade.length_mm
    assert height_mm is not None and length_mm is not None
    sigma_mm = 0.04
    share = rng.uniform(0, 1) * spec.edge_count

    def stray() -> float:
        return float(rng.uniform(-0.02, 0.02)) if rng.random() < 0.04 else 0.0

    uneven_mm = rng.normal(0, rng.uniform(0, 0.08))
    seen_mm = height_mm + share * growth_mm + rng.normal(0, 0.03) + uneven_mm + rng.normal(0, sigma_mm)
    height = SizeReference(
        "blade-height", "across", across * seen_mm * (1 + stray()), across * sigma_mm, height_mm, 0.03, grows=True
    )
    left_mm = rng.normal(0, rng.uniform(0.05, 0.25))
    seen_mm = length_mm + left_mm + rng.normal(0, sigma_mm) + rng.normal(0, 0.1)
    length = SizeReference(
        "blade-length", "along", along * seen_mm * (1 + stray()), along * sigma_mm, length_mm, 0.1, grows=True
    )
    references = [height, length]
    if rng.random() < 0.6:
        dpi = across * 25.4 * (math.exp(rng.normal(0, 0.003)) if scan else math.exp(-rng.uniform(0, 0.95)))
        references.append(SizeReference("dpi", "both", dpi, 0.0, 25.4, weak=True))
    return tuple(references)


def _with_curve(cut: CutReading, px_per_mm: float, rng: np.random.Generator) -> CutReading:
    """The reading as a whole likelihood; in three cuts of ten another edge competes with the true one."""
    step_px = cut.sigma_px / 3
    reach_px = 1.4 * px_per_mm
    heights_px = cut.root_px + float(rng.uniform(-0.3, 0.3)) * px_per_mm + np.arange(-reach_px, reach_px, step_px)
    peaks = [(1.0, cut.root_px)]
    if rng.random() < 0.3:
        true = float(rng.uniform(0.2, 0.95))
        peaks = [(true, cut.root_px), (1 - true, cut.root_px + float(rng.uniform(-1, 1)) * px_per_mm)]
        if rng.random() > true:
            # The likelihood says how often the stronger edge is the true one, so here the weaker one is.
            peaks = [(1 - true, cut.root_px), (true, peaks[1][1])]
    off = np.array([(heights_px - at) / cut.sigma_px for _, at in peaks])
    log_density = logsumexp(-0.5 * off**2, axis=0, b=np.array([[weight] for weight, _ in peaks]))
    best = float(heights_px[np.argmax(log_density)])
    return replace(cut, root_px=best, evidence=HeightEvidence(heights_px, np.zeros(1), log_density[None, :]))
