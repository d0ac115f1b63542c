"""Fitting a table's whole blade to a picture, from a rough frame."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from app.picture.alignment import Alignment, Guess, align, shape_evidence
from app.picture.axisline import TopCurve, fit_back
from app.picture.cuts import SHARPNESS, CutEvidence, Top, measure_top, plateau_runs, read_cuts, top_log_p, visible_floor
from app.picture.ends import find_shoulder, find_tip
from app.picture.frame import Frame
from app.picture.levels import Levels, measure_levels
from app.picture.runs import EdgeRuns, blur_of, edge_runs
from app.picture.sample import Patch
from app.picture.shape import EdgeShape, edge_shape
from app.picture.symmetry import Centreline, envelope_centreline, find_centreline
from keycore.measured import Floats, Measured
from keycore.spec import KeySpec

BESIDE_MM = 3.0
ENVELOPE_SD = ((0.6, 0.025), (0.25, 0.01))
"""How far off a double key's centreline may be in the first and second look: offset in millimetres, slope."""


@dataclass(frozen=True)
class FittedEdge:
    """One cut edge as fitted: its runs, its cuts, its plateau."""

    side: Literal[1, -1]
    runs: EdgeRuns
    cuts: tuple[CutEvidence, ...]
    top: Top | None
    top_mm: float
    """Height of the uncut edge: as measured, or as the table has it."""
    plateau: NDArray[np.bool_]
    """(c,) which runs stand on the uncut edge."""
    profile_mm: Floats
    floors_mm: tuple[float, ...] = ()
    """(k,) floors as the eye sees them, where a step is clear; else where the metal ends."""


@dataclass(frozen=True)
class FittedBlade:
    """The whole blade as fitted in its final frame."""

    frame: Frame
    levels: Levels
    shape: EdgeShape
    alignment: Alignment
    edges: tuple[FittedEdge, ...]
    axis_sigma_mm: float
    shoulder_mm: Measured | None
    """The shoulder's face along the frame, where it was seen."""
    tip_mm: Measured | None


def fit_blade(
    patch: Patch, frame: Frame, spec: KeySpec, guess: Guess, *, back_reach_mm: tuple[float, ...]
) -> FittedBlade:
    """Fit the table's blade to the picture, starting from a rough frame.

    Parameters
    ----------
    guess
        How far off the frame may be along the blade.
    back_reach_mm
        How far to look for the back, in passes of shrinking reach.
    """
    shape = edge_shape(spec)
    first, last = float(shape.positions_mm.min()), float(shape.positions_mm.max())
    single = spec.edges == "single"
    sigma = 0.0
    levels = _levels(patch, frame, shape, single=single)
    if single:
        for reach in back_reach_mm:
            back = fit_back(
                patch,
                frame,
                levels,
                x_from_mm=first - 2,
                x_to_mm=last + 1,
                reach_mm=reach,
                top=_shoulder_top(patch, frame, levels, spec, shape, guess, reach),
                blade_mm=shape.top_mm,
                scale_sd=guess.scale_sd,
            )
            frame = back.applied(frame)
            sigma = back.sigma_mm
            levels = _levels(patch, frame, shape, single=single)
    sides: tuple[Literal[1, -1], ...] = (1,) if single else (1, -1)
    if not single:
        for number in range(len(ENVELOPE_SD)):
            frame = _envelope(patch, frame, levels, spec, shape, guess, number).applied(frame)
            levels = _levels(patch, frame, shape, single=single)
    state = _Pass(tops=tuple(shape.top_mm for _ in sides), profiles=tuple(None for _ in sides))
    for number in range(2 if single else 3):
        edges, alignment, state = _fit_edges(patch, frame, levels, spec, shape, guess, sides, state)
        if not single and number < 2:
            line = find_centreline(
                (edges[0].cuts, edges[1].cuts),
                (_top_curve(edges[0]), _top_curve(edges[1])),
                roots_mm=shape.roots_mm,
                top_mm=shape.top_mm,
                scale=alignment.scale,
                mirrored=spec.edges == "double-mirrored",
                offset_sd_mm=(0.15, 0.1)[number],
                slope_sd=(0.008, 0.005)[number],
            )
            sigma = line.sigma_mm
            frame = line.applied(frame)
            levels = _levels(patch, frame, shape, single=single)
            state = _Pass(tops=tuple(shape.top_mm * alignment.scale for _ in sides), profiles=state.profiles)
    edges = tuple(
        replace(
            edge,
            floors_mm=tuple(
                seen
                if (seen := visible_floor(patch, frame, shape, cut, edge.side, blur_of(frame))) is not None
                else cut.mode_mm
                for cut in edge.cuts
            ),
        )
        for edge in edges
    )
    shoulder, tip = _blade_ends(patch, frame, levels, spec, shape, alignment, edges)
    return FittedBlade(frame, levels, shape, alignment, edges, sigma, shoulder, tip)


def _blade_ends(
    patch: Patch,
    frame: Frame,
    levels: Levels,
    spec: KeySpec,
    shape: EdgeShape,
    alignment: Alignment,
    edges: tuple[FittedEdge, ...],
) -> tuple[Measured | None, Measured | None]:
    if not spec.blade.length_mm:
        return None, None
    length = spec.blade.length_mm * alignment.scale
    from_shoulder = spec.gauge_from == "shoulder"
    shoulder_at = alignment.offset_mm - (0.0 if from_shoulder else length)
    low = 0.0 if len(edges) == 1 else -edges[1].top_mm
    seen = [
        find_shoulder(patch, frame, levels, expected_mm=shoulder_at, top_mm=edge.top_mm, side=edge.side)
        for edge in edges
    ]
    shoulder = next((one for one in seen if one is not None), None)
    tip = find_tip(patch, frame, levels, expected_mm=shoulder_at + length, top_mm=edges[0].top_mm, low_mm=low)
    return shoulder, tip


@dataclass(frozen=True)
class _Pass:
    """What one pass leaves for the next: the uncut edge's height and the profile, for each edge."""

    tops: tuple[float, ...]
    profiles: tuple[Floats | None, ...]


def _fit_edges(
    patch: Patch,
    frame: Frame,
    levels: Levels,
    spec: KeySpec,
    shape: EdgeShape,
    guess: Guess,
    sides: tuple[Literal[1, -1], ...],
    before: _Pass,
) -> tuple[tuple[FittedEdge, ...], Alignment, _Pass]:
    first, last = float(shape.positions_mm.min()), float(shape.positions_mm.max())
    lowest = float(shape.roots_mm.min())
    shoulder = _shoulder_x(spec, shape)
    runs = [
        edge_runs(
            patch,
            frame,
            levels,
            x_from_mm=min(first - 3.0, shoulder + 0.3) - 0.5 * guess.offsets_mm[-1],
            x_to_mm=last + 3.0 + 0.5 * guess.offsets_mm[-1],
            y_from_mm=max(lowest - 1.0, 0.4),
            y_to_mm=shape.top_mm + 1.2,
            side=side,
            known_profile=profile,
            sure_below_mm=lowest - 0.15,
        )
        for side, profile in zip(sides, before.profiles, strict=True)
    ]
    evidence = [shape_evidence(edge, shape, top, guess) for edge, top in zip(runs, before.tops, strict=True)]
    alignment = align(evidence, shape, guess, sharpness=SHARPNESS)
    edges = []
    for index, side in enumerate(sides):
        cuts = read_cuts(evidence[index], shape, alignment)
        floors = np.array([cut.mode_mm for cut in cuts])
        plateau = plateau_runs(
            runs[index], shape, alignment, floors, alignment.offset_mm + alignment.scale * shoulder + 0.4, last + 1.0
        )
        top = measure_top(runs[index], plateau, shape.top_mm * alignment.scale, 0.25)
        top_mm = before.tops[index] if top is None else top.height_mm
        profile = shape.profile(runs[index].x_mm, alignment.centres_mm(shape), floors, top_mm)
        edges.append(FittedEdge(side, runs[index], cuts, top, top_mm, plateau, profile))
    after = _Pass(tuple(edge.top_mm for edge in edges), tuple(edge.profile_mm for edge in edges))
    return tuple(edges), alignment, after


def _shoulder_top(
    patch: Patch, frame: Frame, levels: Levels, spec: KeySpec, shape: EdgeShape, guess: Guess, reach_mm: float
) -> TopCurve | None:
    """Where the uncut edge by the shoulder may stand; that stretch is uncut whatever the code is."""
    if not spec.blade.height_mm:
        return None
    shoulder = _shoulder_x(spec, shape)
    first = float(shape.positions_mm.min())
    until = first - shape.flat_mm / 2 - (shape.top_mm - float(shape.roots_mm.min())) * shape.tangent
    x_from = shoulder + 0.4 + 0.7 * guess.offset_sd_mm
    x_to = max(until - 0.3 * guess.offset_sd_mm, x_from + 0.8)
    runs = edge_runs(
        patch,
        frame,
        levels,
        x_from_mm=x_from,
        x_to_mm=x_to,
        y_from_mm=0.45 * shape.top_mm,
        y_to_mm=shape.top_mm + reach_mm + 0.6,
        sure_below_mm=0.5 * shape.top_mm,
    )
    return TopCurve(float(runs.x_mm.mean()), runs.y_mm, SHARPNESS * runs.log_p.sum(axis=0))


def _envelope(
    patch: Patch, frame: Frame, levels: Levels, spec: KeySpec, shape: EdgeShape, guess: Guess, number: int
) -> Centreline:
    """Centreline from the two edges' envelopes, looking widely at first."""
    last = float(shape.positions_mm.max())
    shoulder = _shoulder_x(spec, shape)
    offset_sd_mm, slope_sd = ENVELOPE_SD[number]
    reach = 2.5 * offset_sd_mm
    x_from, x_to = shoulder + 0.5 + guess.offset_sd_mm, last + 0.8
    sides = [
        edge_runs(
            patch,
            frame,
            levels,
            x_from_mm=x_from,
            x_to_mm=x_to,
            y_from_mm=0.3,
            y_to_mm=shape.top_mm + reach + 0.5,
            side=side,
            sure_below_mm=max(float(shape.roots_mm.min()) - reach, 0.6),
        )
        for side in (1, -1)
    ]
    return envelope_centreline(
        sides[0],
        sides[1],
        top_mm=shape.top_mm,
        lowest_mm=float(shape.roots_mm.min()),
        x_from_mm=x_from,
        x_to_mm=x_to,
        offset_sd_mm=offset_sd_mm,
        slope_sd=slope_sd,
    )


def _shoulder_x(spec: KeySpec, shape: EdgeShape) -> float:
    """Where the shoulder lies along the frame, as far as the table tells."""
    if spec.gauge_from == "shoulder":
        return 0.0
    return -(spec.blade.length_mm or float(np.ptp(shape.positions_mm)) + 10.0)


def _top_curve(edge: FittedEdge) -> TopCurve | None:
    log_p = top_log_p(edge.runs, edge.plateau)
    if log_p is None:
        return None
    return TopCurve(float(edge.runs.x_mm[edge.plateau].mean()), edge.runs.y_mm, log_p)


def _levels(patch: Patch, frame: Frame, shape: EdgeShape, *, single: bool) -> Levels:
    lowest = float(shape.roots_mm.min())
    top = shape.top_mm
    if single:
        metal = (0.15 * top, lowest - 0.6)
        outside = np.concatenate([np.arange(-1.2 - BESIDE_MM, -1.2, 0.1), np.arange(top + 1.2, top + BESIDE_MM, 0.1)])
    else:
        metal = (-lowest + 0.6, lowest - 0.6)
        outside = np.concatenate(
            [np.arange(-top - BESIDE_MM, -top - 1.0, 0.1), np.arange(top + 1.0, top + BESIDE_MM, 0.1)]
        )
    return measure_levels(
        patch,
        frame,
        x_from_mm=float(shape.positions_mm.min()) - 2,
        x_to_mm=float(shape.positions_mm.max()) + 2,
        metal_mm=metal,
        outside_mm=outside,
    )
