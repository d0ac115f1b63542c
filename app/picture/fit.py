"""Fitting a table's whole blade to a picture, from a rough frame."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np
from numpy.typing import NDArray
from scipy.special import logsumexp

from app.picture.alignment import Alignment, Guess, align, shape_evidence
from app.picture.axisline import fit_back
from app.picture.cuts import SHARPNESS, CutEvidence, Top, measure_top, plateau_runs, read_cuts, top_log_p
from app.picture.frame import Frame
from app.picture.levels import Levels, measure_levels
from app.picture.runs import EdgeRuns, edge_runs
from app.picture.sample import Patch
from app.picture.shape import EdgeShape, edge_shape
from app.picture.symmetry import TopCurve, find_centreline
from keycore.measured import Floats
from keycore.spec import KeySpec

BESIDE_MM = 3.0


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


@dataclass(frozen=True)
class FittedBlade:
    """The whole blade as fitted in its final frame."""

    frame: Frame
    levels: Levels
    shape: EdgeShape
    alignment: Alignment
    edges: tuple[FittedEdge, ...]
    axis_sigma_mm: float


def fit_blade(patch: Patch, frame: Frame, spec: KeySpec, guess: Guess, *, back_reach_mm: tuple[float, ...]) -> FittedBlade:
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
    lowest = float(shape.roots_mm.min())
    single = spec.edges == "single"
    sigma = 0.0
    levels = _levels(patch, frame, shape, single=single)
    if single:
        for reach in back_reach_mm:
            back = fit_back(patch, frame, levels, x_from_mm=first - 2, x_to_mm=last + 1, reach_mm=reach)
            frame = back.applied(frame)
            sigma = back.sigma_mm
            levels = _levels(patch, frame, shape, single=single)
    sides: tuple[Literal[1, -1], ...] = (1,) if single else (1, -1)
    if not single:
        for reach in back_reach_mm[:2]:
            offset = _first_centreline(patch, frame, levels, spec, shape, guess, reach)
            frame = frame.moved(y_mm=offset)
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
                offset_sd_mm=(0.35, 0.12)[number],
                slope_sd=(0.02, 0.006)[number],
            )
            sigma = line.sigma_mm
            frame = frame.moved(y_mm=line.offset_mm - line.slope * line.x_mid_mm, slope=line.slope)
            levels = _levels(patch, frame, shape, single=single)
            state = _Pass(tops=tuple(shape.top_mm * alignment.scale for _ in sides), profiles=state.profiles)
    return FittedBlade(frame, levels, shape, alignment, edges, sigma)


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
    length = spec.blade.length_mm or float(np.ptp(shape.positions_mm)) + 10.0
    shoulder = 0.0 if spec.gauge_from == "shoulder" else -length
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


def _first_centreline(
    patch: Patch, frame: Frame, levels: Levels, spec: KeySpec, shape: EdgeShape, guess: Guess, reach_mm: float
) -> float:
    """Offset of the centreline, from the uncut stretch by the shoulder: both sides together are as wide as the blade."""
    length = spec.blade.length_mm or float(np.ptp(shape.positions_mm)) + 10.0
    shoulder = 0.0 if spec.gauge_from == "shoulder" else -length
    first = float(shape.positions_mm.min())
    until = first - shape.flat_mm / 2 - (shape.top_mm - float(shape.roots_mm.min())) * shape.tangent
    x_from = shoulder + 0.5 + 0.5 * guess.offset_sd_mm
    x_to = max(until - 0.5 * guess.offset_sd_mm, x_from + 1.0)
    sides = [
        edge_runs(
            patch,
            frame,
            levels,
            x_from_mm=x_from,
            x_to_mm=x_to,
            y_from_mm=0.6,
            y_to_mm=shape.top_mm + reach_mm + 0.5,
            side=side,
            sure_below_mm=0.9,
        )
        for side in (1, -1)
    ]
    upper, lower = (SHARPNESS * side.log_p.sum(axis=0) for side in sides)
    offsets = np.arange(-reach_mm, reach_mm + 1e-9, 0.02)
    growths = np.arange(-0.2, 0.41, 0.05)
    at = shape.top_mm + growths[None, :]
    score = (
        np.interp(at + offsets[:, None], sides[0].y_mm, upper)
        + np.interp(at - offsets[:, None], sides[1].y_mm, lower)
        - 0.5 * (growths[None, :] / 0.2) ** 2
        - 0.5 * (offsets[:, None] / (0.5 * reach_mm)) ** 2
    )
    return float(offsets[int(np.argmax(logsumexp(score, axis=1)))])


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
        outside = np.concatenate([np.arange(-top - BESIDE_MM, -top - 1.0, 0.1), np.arange(top + 1.0, top + BESIDE_MM, 0.1)])
    return measure_levels(
        patch,
        frame,
        x_from_mm=float(shape.positions_mm.min()) - 2,
        x_to_mm=float(shape.positions_mm.max()) + 2,
        metal_mm=metal,
        outside_mm=outside,
    )
