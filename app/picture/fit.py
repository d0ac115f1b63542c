"""Fitting a table's whole blade to a picture, from a rough frame."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np

from app.picture.alignment import Alignment, Guess, align, shape_evidence
from app.picture.axisline import fit_back
from app.picture.cuts import SHARPNESS, CutEvidence, Top, measure_top, read_cuts
from app.picture.frame import Frame
from app.picture.levels import Levels, measure_levels
from app.picture.runs import EdgeRuns, edge_runs
from app.picture.sample import Patch
from app.picture.shape import EdgeShape, edge_shape
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
    tops = [shape.top_mm for _ in sides]
    profiles: list[Floats | None] = [None for _ in sides]
    for _ in range(2):
        runs = [
            edge_runs(
                patch,
                frame,
                levels,
                x_from_mm=first - 3 - 0.5 * guess.offsets_mm[-1],
                x_to_mm=last + 3 + 0.5 * guess.offsets_mm[-1],
                y_from_mm=lowest - 1.0,
                y_to_mm=shape.top_mm + 1.2,
                side=side,
                known_profile=profile,
                sure_below_mm=lowest - 0.15,
            )
            for side, profile in zip(sides, profiles, strict=True)
        ]
        evidence = [shape_evidence(edge, shape, top, guess) for edge, top in zip(runs, tops, strict=True)]
        alignment = align(evidence, shape, guess, sharpness=SHARPNESS)
        edges = []
        for index, side in enumerate(sides):
            cuts = read_cuts(evidence[index], shape, alignment)
            profile = shape.profile(
                runs[index].x_mm, alignment.centres_mm(shape), np.array([cut.mode_mm for cut in cuts]), tops[index]
            )
            inside = (runs[index].x_mm > first - 2.5) & (runs[index].x_mm < last + 1)
            top = measure_top(
                runs[index],
                np.where(inside, profile, -np.inf),
                tops[index],
                shape.top_mm * alignment.scale,
                0.3,
            )
            profiles[index] = profile
            if top is not None:
                tops[index] = top.height_mm
            edges.append(FittedEdge(side, runs[index], cuts, top, tops[index], profile))
    return FittedBlade(frame, levels, shape, alignment, tuple(edges), sigma)


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
