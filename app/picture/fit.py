"""Fitting a table's whole blade to a picture, from a rough frame.

A look is: evidence of cuts at every place (:mod:`app.picture.edgemaps`), the places along the blade that the cuts share
(:mod:`app.picture.alignment`), the line of the back or the centreline with everything that must agree with it
(:mod:`app.picture.lie`).  The first look at each rough frame is coarse and tries several places; the line's evidence,
the shoulder and the tip decide.  The likeliest are looked at again from where they were found, in a frame of the scale
that they showed, until nothing gets better: a frame that was wide of the blade is often led to it in steps.  The last
look is fine.  There a copy's edges are looked at with their floors shown and hidden (:mod:`app.picture.valleys`), and
every cut is weighed with its neighbours (:mod:`app.picture.neighbours`), the line once more with what that gives.
What is nearly as good as the best is handed on with it: another line of the back, another view of the floors, another
first frame.  Which it is cannot be told here, since nothing here knows of depths; the decoder weighs them all.
"""

from __future__ import annotations

import heapq
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from functools import cached_property, partial
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from app.picture.alignment import Alignment, Guess, alignments
from app.picture.clicks import NO_CLICKS, Clicks
from app.picture.cuts import CutEvidence, Top, cut_curve, cut_evidence, measure_top, uneven, visible_floor
from app.picture.edgemaps import EdgeMaps, blur_mm, edge_maps
from app.picture.ends import MOST_OF_ENDS, BladeEnds, find_shoulder, find_tip
from app.picture.frame import Frame
from app.picture.hue import Hue, metal_hue
from app.picture.lie import APART_MM, Back, HeightCurve, Lie, LineGuess, Uncut, back_of, lies_of, means_of
from app.picture.neighbours import with_neighbours
from app.picture.rims import near_rims
from app.picture.sample import Patch
from app.picture.shape import EdgeShape, edge_shape
from app.picture.straight import runs_on
from app.picture.valleys import as_seen, sights
from keycore.measured import Floats, Measured
from keycore.spec import KeySpec

COARSE_MM, FINE_MM = 0.08, 0.04
PLACES, LINES = 5, 2
"""How many places along the blade are tried coarsely, and how many lines of the back for each place."""
MOST_SETTLED, MOST_FINE, WORSE, SAME_MM = 4, 2, 100.0, 0.2
"""How many rough fits are settled, and looked at finely; how much worse than the best they may be, how far apart."""
SETTLING_LOOKS, BETTER = 4, 3.0
"""How often a fit is looked at again at most, and how much better it must get each time."""
AGAIN = Guess(offset_sd_mm=0.25, scale_sd=0.012)
LINE_AGAIN = LineGuess(offset_sd_mm=0.25, slope_sd=0.004, across_sd=0.008)
NEARLY = 10.0
"""Fits whose log evidence is this near to the best one's are handed on beside it: what speaks for a fit is tempered
like a cut's likelihood, so this is a weight of one in fifty."""
SAME_FIT_MM = 0.04
TOP_SD_MM = 0.25
UNCUT_PIECE_MM = 1.5
"""The uncut edge is looked at in pieces no longer than this."""


@dataclass(frozen=True)
class FittedEdge:
    """One cut edge as fitted: its cuts and its uncut edge."""

    side: Literal[1, -1]
    cuts: tuple[CutEvidence, ...]
    top: Top | None
    top_mm: float
    """Height of the uncut edge: as measured, or as the table has it."""
    x_mm: Floats
    profile_mm: Floats
    """(n,) height of the edge along ``x_mm``, for drawing."""
    floors_mm: tuple[float, ...]
    """(k,) floors as the eye sees them where a step is clear, else as fitted."""
    hidden: bool
    """True where most floors are hidden in a copy's black, so that the flanks tell the cuts."""


@dataclass(frozen=True)
class FittedBlade:
    """The whole blade as fitted in its final frame."""

    frame: Frame
    shape: EdgeShape
    alignment: Alignment
    edges: tuple[FittedEdge, ...]
    axis_sigma_mm: float
    shoulder_mm: Measured | None
    """The shoulder's face along the frame, where it was seen."""
    tip_mm: Measured | None
    score: float
    """Log evidence of the whole fit, to compare different first frames on the same picture."""

    @property
    def floors_xy(self) -> Floats:
        """(cuts, 2) picture positions of the likeliest floors, edge by edge."""
        at = [(cut.centre_mm, edge.side * cut.mode_mm) for edge in self.edges for cut in edge.cuts]
        return self.frame.picture_xy(np.array(at))

    @property
    def line_xy(self) -> Floats:
        """(2, 2) picture positions of the back or the centreline under the first and the last cut."""
        centres_mm = self.alignment.centres_mm(self.shape)
        return self.frame.picture_xy(np.array([[centres_mm.min(), 0.0], [centres_mm.max(), 0.0]]))


@dataclass(frozen=True)
class _Look:
    """One pass's result in its frame."""

    maps: tuple[EdgeMaps, ...]
    alignment: Alignment
    clicked: Clicks
    """A hand's clicks, in frame millimetres."""
    curves: tuple[tuple[tuple[HeightCurve, float, float], ...], ...]
    tops: tuple[Uncut | None, ...]
    back: Back | None
    lie: Lie
    log_p: float
    """Log evidence of all but the blade's ends."""
    look_at_ends: Callable[[], BladeEnds]

    @cached_property
    def ends(self) -> BladeEnds:
        """Shoulder and tip, looked for when they are asked for."""
        return self.look_at_ends()

    @property
    def score(self) -> float:
        """Log evidence of the whole."""
        return self.log_p + self.ends.score


@dataclass(frozen=True)
class RoughFit:
    """A blade as a coarse look found it, in a frame of its place and scale: flats and flanks are the table's."""

    patch: Patch
    frame: Frame
    log_p: float
    """Log evidence of all but the blade's ends."""
    look_at_ends: Callable[[], BladeEnds]

    @cached_property
    def score(self) -> float:
        """Log evidence of the whole, to compare different first frames on the same picture."""
        return self.log_p + self.look_at_ends().score

    @classmethod
    def of(cls, patch: Patch, frame: Frame, look: _Look) -> RoughFit:
        """What a look in this frame found."""
        found = look.alignment
        moved = look.lie.applied(frame).moved(x_mm=found.offset_mm).scaled(found.scale)
        return cls(patch, moved, look.log_p, look.look_at_ends)


def look_roughly(
    patch: Patch,
    frame: Frame,
    spec: KeySpec,
    guess: Guess,
    line: LineGuess,
    *,
    paper_lighter: bool,
    clicks: Clicks = NO_CLICKS,
) -> tuple[RoughFit, ...]:
    """Look for the table's blade coarsely, starting from a rough frame: everything that it may be.

    Parameters
    ----------
    guess, line
        How far off the frame may be along the blade, and its axis across.
    paper_lighter
        True where everything outside the key is lighter than the key (a copy).
    clicks
        Where a hand saw the blade, picture pixels.
    """
    shape = edge_shape(spec)
    looks = _looks(patch, frame, spec, shape, guess, line, COARSE_MM, paper_lighter, clicks, places=PLACES, lines=LINES)
    return tuple(RoughFit.of(patch, frame, look) for look in looks)


def likeliest(rough: list[RoughFit], spec: KeySpec, most: int) -> list[RoughFit]:
    """Those of the rough fits that are worth another look: different ones, not much worse than the best, best first.

    The ends are looked for only where they could still make a fit one of these.
    """
    positions = edge_shape(spec).positions_mm
    ends = np.array([[float(positions.min()), 0.0], [float(positions.max()), 0.0]])
    kept: list[tuple[RoughFit, Floats]] = []
    waiting = [(-(one.log_p + MOST_OF_ENDS), False, number) for number, one in enumerate(rough)]
    heapq.heapify(waiting)
    while waiting and len(kept) < most:
        worse, known, number = heapq.heappop(waiting)
        one = rough[number]
        if kept and -worse < kept[0][0].score - WORSE:
            break
        at = one.frame.picture_xy(ends)
        near = SAME_MM * one.frame.px_per_mm
        if any(np.abs(at - other).max() <= near for _, other in kept):
            continue
        if known:
            kept.append((one, at))
        else:
            heapq.heappush(waiting, (-one.score, True, number))
    return [one for one, _ in kept]


def settled(rough: RoughFit, spec: KeySpec, *, paper_lighter: bool, clicks: Clicks = NO_CLICKS) -> RoughFit:
    """Look again where a fit was found, from there, for as long as that makes it much better."""
    shape = edge_shape(spec)
    found: list[RoughFit] = []
    while len(found) < SETTLING_LOOKS:
        last = found[-1] if found else rough
        (look,) = _looks(last.patch, last.frame, spec, shape, AGAIN, LINE_AGAIN, COARSE_MM, paper_lighter, clicks)
        again = RoughFit.of(last.patch, last.frame, look)
        if found and again.score < last.score + BETTER:
            break
        found.append(again)
    return found[-1]


def fit_blade(
    rough: RoughFit,
    spec: KeySpec,
    *,
    paper_lighter: bool,
    clicks: Clicks = NO_CLICKS,
    best: float = -np.inf,
) -> tuple[FittedBlade, ...]:
    """Fit the table's blade finely where the first look found it: every way that is nearly as good as the best.

    Ways differ in the back's line and, on a copy, in whether its floors show.  ``best`` is the score of the best fit
    elsewhere.
    """
    shape = edge_shape(spec)
    patch, frame = rough.patch, rough.frame
    hue = None if paper_lighter else metal_hue(patch, frame, shape, double=spec.edges != "single")
    looks = _looks(
        patch,
        frame,
        spec,
        shape,
        AGAIN,
        LINE_AGAIN,
        FINE_MM,
        paper_lighter,
        clicks,
        lines=LINES,
        hue=hue,
        hidden=paper_lighter,
    )
    fine: list[_Look] = []
    for number, look in enumerate(_likely(looks, best)):
        if number == 0:
            # What the cuts say together may put its line elsewhere; then where it was is one way more.
            fine.append(_with_neighbours(look, spec, shape, anywhere=True))
            if abs(fine[0].lie.offset_mm - look.lie.offset_mm) <= APART_MM / 2:
                continue
        fine.append(_with_neighbours(look, spec, shape, anywhere=False))
    return tuple(_fitted(patch, frame, spec, shape, look) for look in fine)


def _likely(looks: list[_Look], best: float) -> list[_Look]:
    """The looks that are nearly as good as the best of them and of what else scored ``best``, the best first.

    The ends are looked for only where they could still make a look one of these.
    """
    kept = []
    for look in sorted(looks, key=lambda look: -look.log_p):
        if look.log_p + MOST_OF_ENDS <= best - NEARLY:
            break
        kept.append(look)
        best = max(best, look.score)
    return sorted((look for look in kept if look.score > best - NEARLY), key=lambda look: -look.score)


def _fitted(patch: Patch, frame: Frame, spec: KeySpec, shape: EdgeShape, fine: _Look) -> FittedBlade:
    """One look, its cuts weighed together, brought to the frame of its line."""
    final = fine.lie.applied(frame)
    edges = tuple(_fitted_edge(patch, final, shape, fine, number, side) for number, side in enumerate(_sides(spec)))
    return FittedBlade(
        frame=final,
        shape=shape,
        alignment=fine.alignment,
        edges=edges,
        axis_sigma_mm=fine.lie.sigma_mm,
        shoulder_mm=fine.ends.shoulder_mm,
        tip_mm=fine.ends.tip_mm,
        score=fine.score,
    )


def nearly_best(fits: Sequence[FittedBlade]) -> tuple[FittedBlade, ...]:
    """The best of the fits and those that are nearly as good, the best first; of two that are one, the better."""
    kept: list[FittedBlade] = []
    for fit in sorted(fits, key=lambda fit: -fit.score):
        if kept and fit.score <= kept[0].score - NEARLY:
            break
        if not any(_same(fit, other) for other in kept):
            kept.append(fit)
    return tuple(kept)


def _same(one: FittedBlade, other: FittedBlade) -> bool:
    """Whether two fits are one: their floors lie at the same places of the picture, and are seen alike."""
    if [edge.hidden for edge in one.edges] != [edge.hidden for edge in other.edges]:
        return False
    apart = np.abs(one.floors_xy - other.floors_xy).max() / one.frame.px_per_mm
    line = np.abs(one.line_xy - other.line_xy).max() / one.frame.px_per_mm
    return bool(max(apart, line) < SAME_FIT_MM)


def _with_neighbours(look: _Look, spec: KeySpec, shape: EdgeShape, *, anywhere: bool) -> _Look:
    """Weigh every cut with its neighbours, the line with what that gives, and the cuts once more on that line."""
    besides, tops = _besides(look, spec)
    look = replace(look, tops=tops)
    weighed = _weighed(look, spec, shape, besides)
    (lie,) = _lies(
        weighed.curves,
        look.tops,
        look.back,
        spec,
        shape,
        look.alignment,
        LINE_AGAIN,
        look.clicked,
        step_mm=FINE_MM,
        count=1,
        near_mm=None if anywhere else look.lie.offset_mm,
    )
    return _weighed(replace(weighed, lie=lie), spec, shape, besides)


def _besides(look: _Look, spec: KeySpec) -> tuple[tuple[tuple[Floats, ...], ...], tuple[Uncut | None, ...]]:
    """What speaks for each cut's floor besides its lines: a hand's click, and that it is the near one of two rims.

    And the uncut edges, as the near ones of two rims too.  On a copy, where wall and shadow are as black as the metal,
    there are no rims.
    """
    edges, tops = [], []
    for edge, cuts, uncut, side in zip(look.maps, look.curves, look.tops, _sides(spec), strict=True):
        told = tuple(look.clicked.of_floor(side, cut, edge.y_mm) for cut in range(len(cuts)))
        if not edge.signed:
            rims, far = near_rims(edge, tuple(curve for curve, _, _ in cuts))
            told = tuple(click + rim for click, rim in zip(told, rims, strict=True))
            uncut = None if uncut is None else replace(uncut, far_rim=far)
        edges.append(told)
        tops.append(uncut)
    return tuple(edges), tuple(tops)


def _weighed(look: _Look, spec: KeySpec, shape: EdgeShape, besides: tuple[tuple[Floats, ...], ...]) -> _Look:
    place = look.alignment
    edges = with_neighbours(
        look.maps,
        shape,
        place.centres_mm(shape),
        look.lie,
        place.offset_mm + place.scale * shoulder_x_mm(spec, shape),
        mirrored=spec.edges == "double-mirrored",
        besides=besides,
    )
    curves = tuple(
        tuple((new, centre, spread) for new, (_, centre, spread) in zip(cuts, before, strict=True))
        for cuts, before in zip(edges, look.curves, strict=True)
    )
    return replace(look, curves=curves)


def _sides(spec: KeySpec) -> tuple[Literal[1, -1], ...]:
    return (1,) if spec.edges == "single" else (1, -1)


def _looks(
    patch: Patch,
    frame: Frame,
    spec: KeySpec,
    shape: EdgeShape,
    guess: Guess,
    line: LineGuess,
    step_mm: float,
    paper_lighter: bool,
    clicks: Clicks,
    *,
    places: int = 1,
    lines: int = 1,
    hue: Hue | None = None,
    hidden: bool = False,
) -> list[_Look]:
    """Look along and across the blade.

    With several ``places`` and ``lines``, at the likeliest places and at the likeliest lines of each; where floors may
    be ``hidden``, with those of each edge shown and hidden.
    """
    reach_mm = 2.5 * line.offset_sd_mm
    beyond = 1.0 + guess.offsets_mm[-1] + 2.5 * guess.scale_sd * float(np.abs(shape.positions_mm).max()) + 2.0
    maps = tuple(
        edge_maps(
            patch,
            frame,
            shape,
            side=side,
            step_mm=step_mm,
            beyond_mm=beyond,
            above_mm=min(reach_mm, 2.0) + 1.2,
            below_mm=min(reach_mm, 2.0) + 0.6,
            signed=paper_lighter,
            hue=hue,
        )
        for side in _sides(spec)
    )
    back = None
    if spec.edges == "single":
        back = back_of(patch, frame, shape, reach_mm=reach_mm, step_mm=step_mm / 2, signed=paper_lighter, hue=hue)
    deepest = float(shape.roots_mm.min())
    clicked = clicks.seen_from(frame)
    looks = []
    for sight in sights(maps) if hidden else (maps,):
        for place in alignments(sight, shape, guess, places, clicked):
            centres_mm = place.centres_mm(shape)
            seen, believed = as_seen(sight, centres_mm) if hidden else (sight, 0.0)
            curves = tuple(
                tuple(
                    cut_curve(edge, float(at), clicked.of_floor(side, cut, edge.y_mm))
                    for cut, at in enumerate(centres_mm)
                )
                for edge, side in zip(seen, _sides(spec), strict=True)
            )
            floors = [[deepest if places > 1 else curve.most_mm for curve, _, _ in edge] for edge in curves]
            tops = tuple(_uncut(edge, spec, shape, place, at) for edge, at in zip(seen, floors, strict=True))
            straight = sum(
                runs_on(edge, shape, centres_mm, np.array([curve.most_mm for curve, _, _ in cuts]))
                for edge, cuts in zip(seen, curves, strict=True)
            )
            for lie in _lies(curves, tops, back, spec, shape, place, line, clicked, step_mm=step_mm, count=lines):
                ends = partial(_ends, patch, lie.applied(frame), spec, shape, place, paper_lighter)
                log_p = lie.score + place.log_prior + straight + believed
                looks.append(_Look(seen, place, clicked, curves, tops, back, lie, log_p, ends))
    return looks


def _lies(
    curves: tuple[tuple[tuple[HeightCurve, float, float], ...], ...],
    tops: tuple[Uncut | None, ...],
    back: Back | None,
    spec: KeySpec,
    shape: EdgeShape,
    place: Alignment,
    line: LineGuess,
    clicked: Clicks,
    *,
    step_mm: float,
    count: int,
    near_mm: float | None = None,
) -> tuple[Lie, ...]:
    return lies_of(
        tuple(tuple(uneven(curve) for curve, _, _ in edge) for edge in curves),
        tops,
        back,
        shape,
        mirrored=spec.edges == "double-mirrored",
        scale_along=place.scale,
        guess=line,
        clicked=clicked,
        step_mm=step_mm,
        count=count,
        near_mm=near_mm,
    )


def _uncut(maps: EdgeMaps, spec: KeySpec, shape: EdgeShape, place: Alignment, floors_mm: list[float]) -> Uncut | None:
    """Evidence of the uncut edge, where cuts of these floors (or the deepest) leave it uncut; None for too little."""
    if not spec.blade.height_mm:
        return None
    shoulder = place.offset_mm + place.scale * shoulder_x_mm(spec, shape)
    centres = place.centres_mm(shape)
    chosen = np.zeros(len(maps.x_mm), dtype=bool)
    for floors, margin in ((np.full(len(centres), shape.roots_mm.min()), 0.0), (np.array(floors_mm), 0.15)):
        beside = [maps.x_mm - margin, maps.x_mm, maps.x_mm + margin]
        chosen |= np.all([shape.profile(x, centres, floors, shape.top_mm) >= shape.top_mm for x in beside], axis=0)
    chosen &= (maps.x_mm > shoulder + 0.4) & (maps.x_mm < float(centres.max()) + 1.0)
    column_mm = float(maps.x_mm[1] - maps.x_mm[0])
    if chosen.sum() * column_mm < 0.5:
        return None
    pieces = _pieces(chosen, max(1, round(UNCUT_PIECE_MM / column_mm)))
    return Uncut(
        x_mm=np.array([maps.x_mm[piece].mean() for piece in pieces]),
        length_mm=np.array([len(piece) * column_mm for piece in pieces]),
        height_mm=maps.y_mm,
        rise=means_of(maps.rise, pieces),
        wide=None if maps.wide is None else means_of(maps.wide, pieces),
        noise=maps.noise,
        signed=maps.signed,
        no_metal=None if maps.no_metal is None else means_of(maps.no_metal, pieces),
    )


def _pieces(chosen: NDArray[np.bool_], longest: int) -> list[NDArray[np.intp]]:
    """The chosen columns in runs without a gap, long ones parted evenly."""
    columns = np.flatnonzero(chosen)
    runs = np.split(columns, np.flatnonzero(np.diff(columns) > 1) + 1)
    return [part for run in runs for part in np.array_split(run, -(-len(run) // longest))]


def shoulder_x_mm(spec: KeySpec, shape: EdgeShape) -> float:
    """Where the shoulder lies along the frame, as far as the table tells."""
    if spec.gauge_from == "shoulder":
        return 0.0
    return -(spec.blade.length_mm or float(np.ptp(shape.positions_mm)) + 10.0)


def _ends(patch: Patch, frame: Frame, spec: KeySpec, shape: EdgeShape, place: Alignment, signed: bool) -> BladeEnds:
    """Shoulder and tip where the table says how far apart they are, and how much speaks for both."""
    if not spec.blade.length_mm:
        return BladeEnds(None, None, 0.0)
    top = shape.top_mm * place.scale
    low = 0.0 if spec.edges == "single" else -top
    shoulder_at = place.offset_mm + place.scale * shoulder_x_mm(spec, shape)
    bands = ((top + 0.4, top + 1.3), (low - 1.3, low - 0.4))
    shoulder = find_shoulder(patch, frame, expected_mm=shoulder_at, bands_mm=bands, signed=signed)
    tip_at = shoulder_at + place.scale * spec.blade.length_mm
    tip = find_tip(patch, frame, expected_mm=tip_at, low_mm=low, top_mm=top, signed=signed)
    return BladeEnds(shoulder.at_mm, tip.at_mm, shoulder.score + tip.score)


def _fitted_edge(
    patch: Patch, frame: Frame, shape: EdgeShape, look: _Look, number: int, side: Literal[1, -1]
) -> FittedEdge:
    """Bring one edge's evidence to the final frame."""
    cuts = tuple(
        cut_evidence(curve, centre, spread, side * float(look.lie.at(curve.x_mm)))
        for curve, centre, spread in look.curves[number]
    )
    uncut = look.tops[number]
    expected = shape.top_mm * look.alignment.scale
    top = None
    if uncut is not None:
        curve = uncut.curve(side * look.lie.slope)
        line_mm = side * float(look.lie.at(curve.x_mm))
        top = measure_top(curve, line_mm, expected + look.lie.growth_mm, TOP_SD_MM)
    top_mm = expected if top is None else top.height_mm
    x = np.arange(float(look.maps[number].x_mm[0]) + 1.0, float(look.maps[number].x_mm[-1]) - 1.0, 0.2)
    modes = np.array([cut.mode_mm for cut in cuts])
    seen = (visible_floor(patch, frame, shape, cut, side, blur_mm(frame)) for cut in cuts)
    return FittedEdge(
        side=side,
        cuts=cuts,
        top=top,
        top_mm=top_mm,
        x_mm=x,
        profile_mm=shape.profile(x, look.alignment.centres_mm(shape), modes, top_mm),
        floors_mm=tuple(cut.mode_mm if floor is None else floor for cut, floor in zip(cuts, seen, strict=True)),
        hidden=look.maps[number].hidden,
    )
