"""First frames: where a hand's marks, or an outline, put the blade, and how far each may be trusted.

A hand's marks give one frame.  An outline gives several, since it errs in ways of its own:

* *Its shoulder.*  A neck no wider than the blade counts as blade, and the length then says too large a scale.  Where
  the height, or a scale that is known (a card's, a scanner's), says a clearly smaller one, that is tried, laid from the
  tip.  (An outline is never much lower than its blade.)
* *Its sides.*  A shadow counts as key.  A single edge's back may lie a whole shadow farther in; the sides of a double
  key should be parallel, and where they are not, one of them is wrong: the direction of each is tried besides their
  mean.
* *Its smoother side,* taken for the back, may be a cut edge.

The last, and frames that turn farther, are tried only where the usual ones show nothing like a blade.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, replace

import numpy as np

from app.picture.alignment import Guess
from app.picture.find import FoundKey
from app.picture.frame import Frame
from app.picture.ground import Ground
from app.picture.lie import LineGuess
from app.picture.shape import edge_shape
from app.picture.values import Picture
from keycore.marks import Marks
from keycore.measured import Floats
from keycore.refusal import Refusal
from keycore.spec import MM_PER_INCH, KeySpec

BY_HAND = Guess(offset_sd_mm=0.6, scale_sd=0.018), LineGuess(offset_sd_mm=0.4, slope_sd=0.02, across_sd=0.01)
"""A frame from rough marks: clicks about 0.4 mm off."""
BY_OUTLINE = (
    Guess(offset_sd_mm=3.0, scale_sd=0.03, scale=0.98),
    LineGuess(offset_sd_mm=0.6, slope_sd=0.01, across_sd=0.01),
)
"""A frame from a silhouette, whose shoulder is rounded and whose shadow counts as key."""
BY_CLAIM = Guess(offset_sd_mm=3.0, scale_sd=0.006)
"""The same in the scale that a scanner's file claims."""
TURNED_SLOPE_SD = 0.03
"""How far an outline's sides may be turned where little speaks for the usual frames."""
USUAL_OUTLINES = 2
"""How many outlines of one key are tried at first."""
SAME_START_MM = 0.02
"""Two first frames nearer than this at every corner are one: a quarter of the first look's raster."""
SAME_OUTLINE = 0.02
"""Two outlines whose ends and sides are nearer than this share of a key's length are one."""
CLEARLY_SMOOTHER = 0.02
CLAIM_IS_NEAR = 0.7
"""A claim within a factor of two of the outline's scale is tried: an outline is off by half as much again where a notch
or a bow passes for a part of the blade."""
PLAUSIBLE_LENGTH, PLAUSIBLE_HEIGHT = (0.95, 1.35), (0.9, 1.7)
"""Outlines' lengths and heights as shares of the blade's: rounded or worn ends at the least, a neck and a shadow at the
most."""
NECK = 1.06
"""An outline longer than its height says by this factor may have a neck in it."""
CUT_SHORT = 1.2
"""An outline higher than its length says by this factor may be cut short; a shadow seldom makes so much of it."""
NECK_MM = 1.5
WIDE_SHADOW_MM = 1.5
"""Where an outline is wider than the blade by more than this, the back is looked for at its inner end too."""
PARALLEL = 0.02
"""Sides of a blade that differ in slope by less are parallel."""


@dataclass(frozen=True)
class Start:
    """A first frame, and how far it may be trusted."""

    frame: Frame
    guess: Guess
    line: LineGuess


def extent(spec: KeySpec) -> Floats:
    """(4, 2) corners of the stretch of frame that a fit looks at, millimetres."""
    positions = edge_shape(spec).positions_mm
    height = spec.blade.height_mm or float(max(spec.roots_mm)) + 1.0
    low = 0.0 if spec.edges == "single" else -height / 2
    x_from, x_to = float(positions.min()) - 9.0, float(positions.max()) + 9.0
    return np.array([[x_from, low], [x_to, low], [x_to, low + height], [x_from, low + height]])


def start_by_hand(marks: Marks | None, spec: KeySpec, ground: Ground) -> Start | None:
    """The frame that marks give by themselves; None where they do not suffice."""
    if marks is None:
        return None
    try:
        return Start(ground.frame(marks, spec), ground.guess(BY_HAND[0]), BY_HAND[1])
    except Refusal:
        return None


def usual_starts(picture: Picture, spec: KeySpec, key: FoundKey, marks: Marks | None, ground: Ground) -> list[Start]:
    """First frames from the likeliest outlines of a key; marks that do not suffice by themselves replace its parts."""
    return _different(
        [
            start
            for outline in _outlines(key)[:USUAL_OUTLINES]
            for back_is_a in _backs(outline, spec)
            for start in _starts_of(picture, spec, outline, marks, ground, back_is_a=back_is_a)
        ],
        spec,
    )


def unusual_starts(picture: Picture, spec: KeySpec, key: FoundKey, marks: Marks | None, ground: Ground) -> list[Start]:
    """Further frames, for a key in which the usual ones show nothing like a blade."""
    turned = []
    for outline in _outlines(key):
        for back_is_a in (True, False) if spec.edges == "single" else (True,):
            for start in _starts_of(picture, spec, outline, marks, ground, back_is_a=back_is_a, trust_claim=False):
                turned.append(replace(start, line=replace(start.line, slope_sd=TURNED_SLOPE_SD)))
    return _different(turned, spec)


def _different(starts: list[Start], spec: KeySpec) -> list[Start]:
    """Those that do not lie where an earlier one lies: the first look would see the same again."""
    corners_mm = extent(spec)
    kept: list[Start] = []
    for start in starts:
        corners = start.frame.picture_xy(corners_mm)
        near = SAME_START_MM * start.frame.px_per_mm
        for index, other in enumerate(kept):
            if start.guess == other.guess and np.abs(other.frame.picture_xy(corners_mm) - corners).max() < near:
                wider = max(start.line, other.line, key=lambda line: line.offset_sd_mm)
                kept[index] = replace(other, line=wider)
                break
        else:
            kept.append(start)
    return kept


def _outlines(key: FoundKey) -> list[FoundKey]:
    """The outlines of a key that differ, the likeliest first."""
    kept: list[FoundKey] = []
    for outline in (key, *key.others):
        at = _ends_and_sides(outline)
        if all(np.abs(at - _ends_and_sides(other)).max() > SAME_OUTLINE * key.length_px for other in kept):
            kept.append(outline)
    return kept


def _ends_and_sides(outline: FoundKey) -> Floats:
    return np.concatenate([[outline.shoulder_xy, outline.tip_xy], outline.side_a, outline.side_b])


def _backs(outline: FoundKey, spec: KeySpec) -> tuple[bool, ...]:
    """Which side may be the back: the smoother one, or either where both are much alike."""
    smoother = outline.roughness_a <= outline.roughness_b
    if spec.edges != "single" or abs(outline.roughness_a - outline.roughness_b) > CLEARLY_SMOOTHER:
        return (smoother,)
    return (smoother, not smoother)


def _starts_of(
    picture: Picture,
    spec: KeySpec,
    outline: FoundKey,
    marks: Marks | None,
    ground: Ground,
    *,
    back_is_a: bool,
    trust_claim: bool = True,
) -> list[Start]:
    """First frames from one outline, in each scale that it may have."""
    own = outline.marks(single=spec.edges == "single", back_is_a=back_is_a)
    given = {name: value for name, value in marks or () if value is not None and name != "format"}
    frame = ground.frame(own.model_copy(update=given), spec)
    gauge_given = spec.gauge_from in given
    starts = []
    for factor, guess in _scales(picture, spec, own, frame, ground, trust_claim=trust_claim):
        scaled = frame.scaled(factor)
        if not gauge_given:
            scaled = _from_the_tip(scaled, own, spec)
        starts += [Start(laid, ground.guess(guess), line) for laid, line in _lines(scaled, outline, own, spec, given)]
    return starts


def _scales(
    picture: Picture, spec: KeySpec, own: Marks, frame: Frame, ground: Ground, *, trust_claim: bool
) -> list[tuple[float, Guess]]:
    """The frame's millimetre as a multiple of itself, in each scale that the outline may have."""
    usual = [(1.0, BY_OUTLINE[0])]
    if ground.key_scale or not spec.blade.height_mm:
        return usual
    a, b = frame.blade_mm(np.asarray(own.blade_height))
    by_height = abs(float(b[1] - a[1])) / spec.blade.height_mm
    shoulder, tip = frame.blade_mm(np.array([own.shoulder, own.tip]))
    by_length = float(tip[0] - shoulder[0]) / spec.blade.length_mm if spec.blade.length_mm else by_height
    if by_length > NECK * by_height or by_height > CUT_SHORT * by_length:
        usual.append((by_height, BY_OUTLINE[0]))
    if ground.medium != "scan" or picture.dpi is None:
        return usual
    claimed = float(np.sqrt(picture.dpi[0] * picture.dpi[1])) / MM_PER_INCH / frame.px_per_mm
    if abs(np.log(claimed)) > CLAIM_IS_NEAR:
        return usual
    (shortest, longest), (lowest, highest) = PLAUSIBLE_LENGTH, PLAUSIBLE_HEIGHT
    plausible = shortest < by_length / claimed < longest and lowest < by_height / claimed < highest
    return [(claimed, BY_CLAIM)] if trust_claim and plausible else [*usual, (claimed, BY_CLAIM)]


def _from_the_tip(frame: Frame, own: Marks, spec: KeySpec) -> Frame:
    """The frame of a key gauged from its shoulder, laid from the tip where the outline's length is not the blade's."""
    if spec.gauge_from != "shoulder" or not spec.blade.length_mm:
        return frame
    shoulder, tip = frame.blade_mm(np.array([own.shoulder, own.tip]))
    neck = float(tip[0] - shoulder[0]) - spec.blade.length_mm
    return frame.moved(x_mm=neck) if abs(neck) > NECK_MM else frame


def _lines(
    frame: Frame, outline: FoundKey, own: Marks, spec: KeySpec, given: dict[str, object]
) -> Iterable[tuple[Frame, LineGuess]]:
    """The frame on each line that the back or the centreline may be, and how far that may be off."""
    line = BY_OUTLINE[1]
    if not spec.blade.height_mm:
        return [(frame, line)]
    # A shadow along one side makes the outline too wide, and may be all of the back's error.
    a, b = frame.blade_mm(np.asarray(own.blade_height))
    wider = max(0.0, abs(float(b[1] - a[1])) - spec.blade.height_mm)
    unsure = replace(line, offset_sd_mm=float(np.clip(line.offset_sd_mm + 0.4 * wider, 0.6, 1.4)))
    if spec.edges == "single":
        inner = [(frame.moved(y_mm=wider), unsure)] if wider > WIDE_SHADOW_MM and "back" not in given else []
        return [(frame, unsure), *inner]
    slopes = [_slope(frame, side) for side in (outline.side_a, outline.side_b)]
    if "centreline" in given or abs(slopes[0] - slopes[1]) < PARALLEL:
        return [(frame, unsure)]
    middle = float(edge_shape(spec).positions_mm.mean())
    turned = (frame.moved(x_mm=middle).moved(slope=slope).moved(x_mm=-middle) for slope in slopes)
    return [(frame, unsure), *((one, unsure) for one in turned)]


def _slope(frame: Frame, side: Floats) -> float:
    (x_from, y_from), (x_to, y_to) = frame.blade_mm(side)
    return float((y_to - y_from) / (x_to - x_from))
