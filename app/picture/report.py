"""From a fitted blade to readings, refined marks and the straightened picture's map."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

import numpy as np

from app.picture.cuts import TEMPER, CutEvidence
from app.picture.fit import FittedBlade
from app.picture.ground import Ground
from app.picture.placed import BY_HAND_MM, is_placed, placed
from app.picture.rows import as_the_hand_counts, first_lies_below, turned_name, turned_over
from app.picture.shape import USUAL_ANGLE_DEG, USUAL_FLAT_MM
from app.picture.values import Blade, Moved, Picture, PictureReading, Straight
from keycore.marks import Marks
from keycore.measured import Axis, CutReading, Floats, HeightEvidence, Measured, Readings, SizeReference
from keycore.spec import KeySpec

MARGIN_MM = 3.0
ANISOTROPY = {"scan": 0.0015, "photocopy": 0.0075, "photo-card": 0.004, "photo-copy": 0.0085, "calipers": 0.0075}
"""Standard deviation of ln(scale across / scale along): a scanner's two directions agree within about 0.2 %; office
copiers differ within about 1.5 %, taken as two standard deviations; a photo adds what its plane leaves."""
GROWTH = {
    "scan": Measured(0.0, 0.05),
    "photocopy": Measured(0.03, 0.12),
    "photo-card": Measured(0.0, 0.06),
    "photo-copy": Measured(0.03, 0.12),
    "calipers": None,
}
"""Growth that is left where the metal's own edge was found.

Blur is the same on both sides of a step and moves it by nothing; a chamfer hides a few hundredths of a millimetre; a
copier's toner spreads or shrinks by up to about a tenth on either side.  Where a shadow's border was followed instead
it is far more: the decoder keeps a share for that.  The blade's height says the rest.
"""
FLOORS_HIDDEN = (
    "Black hides floors of cuts in this copy, so these cuts were measured by their flanks; a lighter copy or a picture "
    "of the key itself would tell more."
)
CLICK_PX, LENGTH_SD_MM = 1.0, 0.05
"""How far off a hand's click at the end of a length is, and how far the thing's size is from what is said of it."""
OFF_PLANE = 0.01
"""In a photo a ruler on the table lies some millimetres below the key's edge, and farther from the camera."""
ONE_WAY = 0.35
"""A length within about twenty degrees of the blade, or of across it, tells of that direction alone."""


def report(
    picture: Picture,
    spec: KeySpec,
    ways: tuple[FittedBlade, ...],
    marks: Marks | None,
    *,
    fixed: frozenset[str],
    ground: Ground,
    reference: str,
) -> PictureReading:
    """Make the reading that the rest of the program takes: drawn as the first way has it, measured in all."""
    if marks is not None and first_lies_below(ways[0].frame, marks):
        cuts = len(ways[0].edges[0].cuts)
        turned = frozenset(turned_name(name, cuts) for name in fixed)
        other = report(picture, spec, ways, turned_over(marks), fixed=turned, ground=ground, reference=reference)
        return as_the_hand_counts(other, cuts)
    laid = [placed(fitted, spec, marks, fixed) for fitted in ways]
    fitted = laid[0]
    refined = _beside(fitted, _refined_marks(fitted, spec), marks)
    if ground.view is not None:  # a card or page that was found is seen, and can be corrected
        refined = refined.model_copy(update={"reference": ground.view.mark()})
    first, *others = (_readings(picture, spec, way, marks, fixed, ground, reference) for way in laid)
    # The power that each cut's likelihood is taken to, and for the same reasons.
    others = [
        replace(own, log_weight=TEMPER * (way.score - ways[0].score)) for own, way in zip(others, ways[1:], strict=True)
    ]
    readings = replace(first, others=tuple(others))
    straight, warnings = _straight(fitted), first.warnings
    kept = _kept(refined, marks, fixed)
    return PictureReading(
        straight=straight,
        blade=_blade(fitted, straight),
        readings=readings,
        marks=kept,
        moved=_moved(marks, refined, fixed),
        warnings=warnings,
    )


def _readings(
    picture: Picture,
    spec: KeySpec,
    fitted: FittedBlade,
    marks: Marks | None,
    fixed: frozenset[str],
    ground: Ground,
    reference: str,
) -> Readings:
    """What the picture says where its blade is fitted this way."""
    return Readings(
        cuts=_cut_readings(fitted, spec, marks, fixed),
        references=_references(picture, spec, fitted, ground, reference, marks),
        growth_mm=GROWTH[ground.medium],
        anisotropy_sigma=ANISOTROPY[ground.medium],
        medium=ground.medium,
        warnings=_warnings(spec, ground, fitted),
    )


def _warnings(spec: KeySpec, ground: Ground, fitted: FittedBlade) -> tuple[str, ...]:
    """Say what had to be assumed."""
    warnings = []
    if spec.cut_form.flat_mm is None or spec.cut_form.angle_deg is None:
        warnings.append(
            f"{spec.name} does not say how its cutter is made; cuts were looked for with a flat of "
            f"{spec.cut_form.flat_mm or USUAL_FLAT_MM:g} mm and {spec.cut_form.angle_deg or USUAL_ANGLE_DEG:g} degrees."
        )
    if ground.medium in ("photo-card", "photo-copy") and ground.view is None:
        warnings.append(
            "This looks like a photo, but no card or page was found to straighten it by; mark the four corners of one."
        )
    if any(edge.hidden for edge in fitted.edges):
        warnings.append(FLOORS_HIDDEN)
    return tuple(warnings)


def _cut_readings(
    fitted: FittedBlade, spec: KeySpec, marks: Marks | None, fixed: frozenset[str]
) -> tuple[CutReading, ...]:
    scale = fitted.frame.px_per_mm
    if spec.edges == "double-mirrored":
        pairs = [_pair_evidence(a, b) for a, b in zip(fitted.edges[0].cuts, fitted.edges[1].cuts, strict=True)]
        edges: list[tuple[int, tuple[CutEvidence, ...]]] = [(1, tuple(pairs))]
    else:
        edges = [(number, edge.cuts) for number, edge in enumerate(fitted.edges, start=1)]
    by_hand = _roots_by_hand(fitted, marks)
    readings = []
    flat = 0
    for number, cuts in edges:
        for cut in cuts:
            mean, sigma = cut.mean_sigma_mm
            set_mm = by_hand.get(flat) if f"root.{flat}" in fixed else None
            readings.append(
                CutReading(
                    root_px=(mean if set_mm is None else set_mm) * scale,
                    sigma_px=(sigma if set_mm is None else BY_HAND_MM) * scale,
                    position_px=abs(cut.centre_mm) * scale,
                    position_sigma_px=cut.centre_sigma_mm * scale,
                    edge=1 if number == 1 else 2,
                    evidence=None
                    if set_mm is not None
                    else HeightEvidence(cut.height_mm * scale, np.zeros(1), cut.log_p[None, :]),
                )
            )
            flat += 1
    return tuple(readings)


def _roots_by_hand(fitted: FittedBlade, marks: Marks | None) -> dict[int, float]:
    if marks is None:
        return {}
    heights = {}
    for number, (edge, points) in enumerate(zip(fitted.edges, marks.roots_by_edge(), strict=False)):
        for index, point in enumerate(points):
            height_mm = float(edge.side * fitted.frame.blade_mm(np.asarray(point))[1])
            heights[number * len(edge.cuts) + index] = height_mm
    return heights


def _pair_evidence(first: CutEvidence, second: CutEvidence) -> CutEvidence:
    """Root-to-root evidence of a mirrored pair: the two half heights' likelihoods, folded together."""
    p = np.exp(first.log_p - first.log_p.max())
    q = np.exp(second.log_p - second.log_p.max())
    step = float(first.height_mm[1] - first.height_mm[0])
    both = np.convolve(p, q)
    height = first.height_mm[0] + second.height_mm[0] + step * np.arange(len(both))
    return CutEvidence(
        centre_mm=(first.centre_mm + second.centre_mm) / 2,
        centre_sigma_mm=float(np.hypot(first.centre_sigma_mm, second.centre_sigma_mm) / 2),
        height_mm=height,
        log_p=np.log(both / both.sum() + 1e-300),
    )


def _references(
    picture: Picture, spec: KeySpec, fitted: FittedBlade, ground: Ground, reference: str, marks: Marks | None
) -> tuple[SizeReference, ...]:
    scale = fitted.frame.px_per_mm
    found: list[SizeReference] = []
    if spec.blade.height_mm:
        tops = [edge.top for edge in fitted.edges if edge.top is not None]
        if len(tops) == len(fitted.edges):
            seen = sum(top.height_mm for top in tops)
            sigma = float(np.hypot(np.sqrt(sum(top.sigma_mm**2 for top in tops)), fitted.axis_sigma_mm))
            found.append(
                SizeReference(
                    "blade-height",
                    "across",
                    seen * scale,
                    sigma * scale,
                    spec.blade.height_mm,
                    0.03,
                    grows=True,
                    alike=ground.paper_lighter,
                )
            )
    shoulder, tip = fitted.shoulder_mm, fitted.tip_mm
    if shoulder is not None and tip is not None and spec.blade.length_mm and spec.gauge_from == "shoulder":
        # A key gauged from its tip has no sharp shoulder to measure to.
        seen = (tip.value - shoulder.value) * scale
        sigma = float(np.hypot(tip.sigma, shoulder.sigma)) * scale
        found.append(
            SizeReference("blade-length", "along", seen, sigma, spec.blade.length_mm, 0.1, weak=True, grows=True)
        )
    here = fitted.frame.picture_xy(np.array([float(fitted.shape.positions_mm.mean()), fitted.shape.top_mm / 2]))
    plane = ground.reference(here, scale)
    if plane is not None:
        found.append(plane)
    length = _marked_length(fitted, ground, marks)
    if length is not None:
        found.append(length)
    if picture.dpi is not None and ground.medium in ("scan", "photocopy") and reference in ("auto", "dpi"):
        x_dpi, y_dpi = picture.dpi
        claimed = float(np.sqrt(x_dpi * y_dpi)) / 25.4
        found.append(SizeReference("dpi", "both", claimed * 10.0, claimed * 10.0 * 0.002, 10.0, weak=True))
    return tuple(found)


def _marked_length(fitted: FittedBlade, ground: Ground, marks: Marks | None) -> SizeReference | None:
    """A length that a hand marked between two points (a ruler, a coin across), as the key's frame shows it."""
    mark = None if marks is None else marks.reference
    if mark is None or mark.kind != "length" or mark.length_mm is None or len(mark.corners) != 2:
        return None
    scale = fitted.frame.px_per_mm
    ends = fitted.frame.blade_mm(np.asarray(mark.corners, dtype=float))
    along, across = np.abs(ends[1] - ends[0])
    seen_px = float(np.hypot(along, across)) * scale
    axis: Axis = "both"
    if min(along, across) < ONE_WAY * max(along, across):
        axis = "along" if along > across else "across"
    off_plane = OFF_PLANE if ground.medium in ("photo-card", "photo-copy") else 0.0
    sigma_px = float(np.hypot(np.sqrt(2) * CLICK_PX, off_plane * seen_px))
    return SizeReference("length", axis, seen_px, sigma_px, mark.length_mm, LENGTH_SD_MM)


def _refined_marks(fitted: FittedBlade, spec: KeySpec) -> Marks:
    frame, shape = fitted.frame, fitted.shape
    centres = fitted.alignment.centres_mm(shape)
    ends = np.array([[centres.min() - 2.0, 0.0], [centres.max() + 2.0, 0.0]])
    line = frame.picture_xy(ends)
    gauge_mm = fitted.alignment.offset_mm
    roots = [
        [
            _xy(frame.picture_xy(np.array([cut.centre_mm, edge.side * floor])))
            for cut, floor in zip(edge.cuts, edge.floors_mm, strict=True)
        ]
        for edge in fitted.edges
    ]
    low = 0.0 if len(fitted.edges) == 1 else -fitted.edges[1].top_mm
    x_height = float(centres.min()) - 1.5
    height = frame.picture_xy(np.array([[x_height, low], [x_height, fitted.edges[0].top_mm]]))
    single = spec.edges == "single"
    axis = (_xy(line[0]), _xy(line[1]))
    return Marks(
        shoulder=_xy(frame.picture_xy(np.array([gauge_mm, fitted.edges[0].top_mm])))
        if spec.gauge_from == "shoulder"
        else _end(fitted, fitted.shoulder_mm),
        tip=_end(fitted, Measured(gauge_mm, 0.0) if spec.gauge_from == "tip" else fitted.tip_mm),
        back=axis if single else None,
        centreline=None if single else axis,
        roots=tuple(roots[0]) if single else (tuple(roots[0]), tuple(roots[1])),
        blade_height=(_xy(height[0]), _xy(height[1])),
    )


def _end(fitted: FittedBlade, at_mm: Measured | None) -> tuple[float, float] | None:
    """Return an end of the blade on its middle line."""
    if at_mm is None:
        return None
    low = 0.0 if len(fitted.edges) == 1 else -fitted.edges[1].top_mm
    return _xy(fitted.frame.picture_xy(np.array([at_mm.value, (low + fitted.edges[0].top_mm) / 2])))


def _kept(refined: Marks, marks: Marks | None, fixed: frozenset[str]) -> Marks:
    """Refined marks, with those that a person wants kept put back as they stood."""
    if marks is None:
        return refined
    update: dict[str, object] = {} if marks.reference is None else {"reference": marks.reference}
    for name in ("shoulder", "tip", "back", "centreline", "blade_height"):
        given = getattr(marks, name)
        if given is not None and (is_placed(name, fixed) or getattr(refined, name) is None):
            update[name] = given
    edges = [list(edge) for edge in refined.roots_by_edge()]
    for number, edge in enumerate(marks.roots_by_edge()):
        for index, point in enumerate(edge):
            if f"root.{number * len(edges[0]) + index}" in fixed:
                edges[number][index] = point
    update["roots"] = tuple(edges[0]) if len(edges) == 1 else (tuple(edges[0]), tuple(edges[1]))
    return refined.model_copy(update=update)


def _beside(fitted: FittedBlade, refined: Marks, marks: Marks | None) -> Marks:
    """Refined marks, right beside where the hand set its own.

    Those of a line keep their places along the blade, and so do the ends of its height; those of its ends keep their
    places across.
    """
    if marks is None:
        return refined
    frame = fitted.frame
    update: dict[str, object] = {}
    for name in ("shoulder", "tip"):
        given, found = getattr(marks, name), getattr(refined, name)
        if given is not None and found is not None:
            along, across = (frame.blade_mm(np.asarray(point, dtype=float)) for point in (found, given))
            update[name] = _xy(frame.picture_xy(np.array([along[0], across[1]])))
    low = 0.0 if len(fitted.edges) == 1 else -fitted.edges[1].top_mm
    for name in ("back", "centreline", "blade_height"):
        given = getattr(marks, name)
        if given is None or getattr(refined, name) is None:
            continue
        at = frame.blade_mm(np.asarray(given, dtype=float))
        rises = (at[:, 1] > at[:, 1].mean()) if name == "blade_height" else np.zeros(2, dtype=bool)
        axis = low if name == "blade_height" else 0.0
        at[:, 1] = np.where(rises, fitted.edges[0].top_mm, axis)
        update[name] = tuple(_xy(point) for point in frame.picture_xy(at))
    return refined.model_copy(update=update)


def _moved(marks: Marks | None, refined: Marks, fixed: frozenset[str]) -> tuple[Moved, ...]:
    if marks is None:
        return ()
    pairs = [
        (f"root.{number * len(found) + index}", a, b)
        for number, (given, found) in enumerate(zip(marks.roots_by_edge(), refined.roots_by_edge(), strict=False))
        for index, (a, b) in enumerate(zip(given, found, strict=False))
    ]
    for name in ("shoulder", "tip"):
        a, b = getattr(marks, name), getattr(refined, name)
        if a is not None and b is not None:
            pairs.append((name, a, b))
    for name in ("back", "centreline", "blade_height"):
        given, found = getattr(marks, name), getattr(refined, name)
        if given is not None and found is not None:
            pairs += [(f"{name}.{end}", given[end], found[end]) for end in range(2)]
    moved = []
    for name, a, b in pairs:
        kept = is_placed(name if name.startswith("root") else name.partition(".")[0], fixed)
        distance = 0.0 if kept else float(np.hypot(a[0] - b[0], a[1] - b[1]))
        moved.append(Moved(name, distance, "kept" if kept else "refined"))
    return tuple(moved)


def _straight(fitted: FittedBlade) -> Straight:
    centres = fitted.alignment.centres_mm(fitted.shape)
    top = max(edge.top_mm for edge in fitted.edges)
    low = 0.0 if len(fitted.edges) == 1 else -top
    gauge = fitted.alignment.offset_mm
    return fitted.frame.straight(
        x_from_mm=min(float(centres.min()) - 6.0, gauge - MARGIN_MM),
        x_to_mm=max(float(centres.max()) + 6.0, gauge + MARGIN_MM),
        y_from_mm=low - MARGIN_MM,
        y_to_mm=top + MARGIN_MM,
    )


def _blade(fitted: FittedBlade, straight: Straight) -> Blade:
    scale = fitted.frame.px_per_mm

    def level(blade_mm: Floats) -> Floats:
        return straight.straight_xy(fitted.frame.picture_xy(blade_mm))

    outlines = [level(np.stack([edge.x_mm, edge.side * edge.profile_mm], axis=-1)) for edge in fitted.edges]
    axis = level(np.array([[0.0, 0.0], [1.0, 0.0]]))
    slope = float((axis[1, 1] - axis[0, 1]) / (axis[1, 0] - axis[0, 0]))
    gauge_x = float(level(np.array([fitted.alignment.offset_mm, 0.0]))[0])
    from_shoulder = fitted.shape.positions_mm[-1] > 0
    top = fitted.edges[0].top
    return Blade(
        shoulder_x=gauge_x if from_shoulder else _level_x(level, fitted.shoulder_mm),
        tip_x=_level_x(level, fitted.tip_mm) if from_shoulder else gauge_x,
        back_y0=float(axis[0, 1] - slope * axis[0, 0]),
        back_slope=slope,
        back_sigma_px=fitted.axis_sigma_mm * scale,
        top_y=None if top is None else float(level(np.array([0.0, top.height_mm]))[1]),
        outline=np.concatenate(outlines),
    )


def _level_x(level: Callable[[Floats], Floats], at_mm: Measured | None) -> float | None:
    return None if at_mm is None else float(level(np.array([at_mm.value, 0.0]))[0])


def _xy(point: Floats) -> tuple[float, float]:
    return float(point[0]), float(point[1])
