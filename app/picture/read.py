"""Reading one key in one picture: from marks, or from nothing, to readings with their uncertainty."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from typing import Literal

import numpy as np

from app.picture.alignment import Guess
from app.picture.border import NO_BORDER
from app.picture.find import FoundKey, count_of_keys, keys_on
from app.picture.fit import (
    MOST_FINE,
    MOST_SETTLED,
    FittedBlade,
    RoughFit,
    fit_blade,
    likeliest,
    look_roughly,
    second_outline,
    settled,
)
from app.picture.frame import Frame
from app.picture.ground import Ground, ground_of
from app.picture.lie import LineGuess
from app.picture.report import report
from app.picture.reread import KeptFit
from app.picture.sample import grey_patch
from app.picture.values import Picture, PictureReading
from keycore.marks import Marks
from keycore.measured import Medium
from keycore.refusal import Refusal
from keycore.spec import KeySpec

__all__ = ["Reference", "read_picture"]

Progress = Callable[[float, str], None]
Cancelled = Callable[[], bool]
Reference = Literal["auto", "card", "a4", "dpi", "none"]
MARGIN_MM = 6.0
BY_HAND = Guess(offset_sd_mm=0.6, scale_sd=0.018), LineGuess(offset_sd_mm=0.4, slope_sd=0.02, across_sd=0.01)
"""A frame from rough marks: clicks about 0.4 mm off."""
BY_OUTLINE = (
    Guess(offset_sd_mm=3.0, scale_sd=0.03, scale=0.98),
    LineGuess(offset_sd_mm=0.6, slope_sd=0.01, across_sd=0.01),
)
"""A frame from a silhouette, whose shoulder is rounded and whose shadow counts as key."""
MOST_OUTLINES = 2
"""How many outlines of one key are tried."""
SAME_START_MM = 0.02
"""Two first frames nearer than this at every corner are one: a quarter of the first look's raster."""
CLEARLY_SMOOTHER = 0.02
CLAIM_IS_NEAR = 0.3
WIDE_SHADOW_MM = 1.5
"""Where an outline is wider than the blade by more than this, the back is looked for at its inner end too."""
NO_BLADE = 8.0
"""Less log evidence than this for each cut is no blade of the table: shapes that are none have 1 to 2, blades 30 and
more."""
STOPPED = "The reading was stopped; nothing was changed."
NO_SUCH_KEY = "picture.no-such-key"
NO_KEY = (
    "No key was found in {name}; check that the whole key is in the picture, "
    "or mark its back, shoulder and tip by hand."
)


@dataclass(frozen=True)
class _Start:
    """A first frame, and how far it may be trusted."""

    frame: Frame
    guess: Guess
    line: LineGuess


@dataclass(frozen=True)
class _Watch:
    """Who is told how far the work is, and may stop it."""

    tell: Progress
    stopped: Cancelled

    def at(self, share: float, words: str) -> None:
        """Say how far the work is; refuse to go on where it was stopped."""
        if self.stopped():
            raise Refusal(STOPPED, code="picture.stopped")
        self.tell(share, words)


def read_picture(
    picture: Picture,
    spec: KeySpec,
    marks: Marks | None = None,
    *,
    fixed: frozenset[str] = frozenset(),
    reference: Reference = "auto",
    key: int = 0,
    medium: Medium | None = None,
    progress: Progress | None = None,
    cancelled: Cancelled | None = None,
) -> PictureReading:
    """Read one key.

    Parameters
    ----------
    picture, spec
        The picture and the table that the key is cut to.
    marks
        Rough marks of a hand; what is missing is found.
    fixed
        Marks that are to be taken as they stand: "root.0" ... in flat order, "tip", "shoulder", and the two ends of
        the line and of the height: "back.0", "back.1", "centreline.0", "blade_height.0" ...
    reference
        Which size reference in the picture to use.
    key
        Which of the keys found, where no marks say.
    medium
        What the picture is; None to tell from the picture.
    progress, cancelled
        Told how far the work is (0 to 1, and in words); asked whether to stop.

    Raises
    ------
    Refusal
        Where no key can be found, or the marks contradict the picture or the table.
    """
    watch = _Watch(progress or (lambda _share, _words: None), cancelled or (lambda: False))
    check_marks(picture, spec, marks)
    watch.at(0.05, "looking for the key")
    ground = ground_of(picture, spec, marks, medium=medium, reference=reference)
    likely = _search(picture, spec, marks, key, ground, watch)
    least = NO_BLADE * len(spec.cut_positions_mm) * spec.edge_count
    if marks is None and key == 0 and max(one.score for one in likely) < least:
        likely += _next_key(picture, spec, ground, watch)
    watch.at(0.7, "fitting the blade")
    fitted = _fitted(likeliest(likely, spec, MOST_FINE), spec, ground, watch)
    watch.at(0.9, "measuring")
    reading = report(picture, spec, fitted, marks, fixed=fixed, ground=ground, reference=reference)
    return replace(reading, kept=KeptFit(spec, fitted, ground, marks, reference))


def _fitted(candidates: list[RoughFit], spec: KeySpec, ground: Ground, watch: _Watch) -> FittedBlade:
    """The likeliest candidate fitted finely, beside its second outline where it has one."""
    fits = []
    for number, one in enumerate(candidates if len(candidates) > 1 else []):
        watch.at(0.7 + 0.2 * number / len(candidates), "fitting the blade")
        fits.append(fit_blade(one, spec, paper_lighter=ground.paper_lighter))
    best = max(range(len(fits)), key=lambda number: fits[number].score) if fits else 0
    border = NO_BORDER
    if not ground.paper_lighter and spec.edges == "single":
        # A copy shows a shadow as black as the key; a double key's centreline would follow a border on one side.
        border = second_outline(candidates[best], spec)
    if fits and border == NO_BORDER:
        return fits[best]
    return fit_blade(candidates[best], spec, paper_lighter=ground.paper_lighter, border=border)


def _search(
    picture: Picture, spec: KeySpec, marks: Marks | None, key: int, ground: Ground, watch: _Watch
) -> list[RoughFit]:
    """Everything that the key's blade may be, settled."""
    rough: list[RoughFit] = []
    starts = _starts(picture, spec, marks, key, ground)
    for number, start in enumerate(starts):
        watch.at(0.15 + 0.35 * number / len(starts), "looking at the blade")
        corners = start.frame.picture_xy(_extent(spec))
        patch = grey_patch(picture, corners, MARGIN_MM * start.frame.px_per_mm)
        rough += look_roughly(patch, start.frame, spec, start.guess, start.line, paper_lighter=ground.paper_lighter)
    likely = []
    for number, one in enumerate(candidates := likeliest(rough, spec, MOST_SETTLED)):
        watch.at(0.5 + 0.2 * number / len(candidates), "looking at the blade again")
        likely.append(settled(one, spec, paper_lighter=ground.paper_lighter))
    return likely


def _next_key(picture: Picture, spec: KeySpec, ground: Ground, watch: _Watch) -> list[RoughFit]:
    """The same for the next likeliest key, where what looked most like one is none."""
    try:
        return _search(picture, spec, None, 1, ground, watch)
    except Refusal as refusal:
        if refusal.code == NO_SUCH_KEY:
            return []
        raise


def check_marks(picture: Picture, spec: KeySpec, marks: Marks | None) -> None:
    """Refuse marks that lie outside the picture, or a number of root marks that no key of the table has."""
    if marks is None:
        return
    width, height = picture.size
    for name, (x, y) in _named_points(marks):
        if not (-0.5 <= x <= width - 0.5 and -0.5 <= y <= height - 0.5):
            raise Refusal(
                f"The mark {name} at ({x:.0f}, {y:.0f}) lies outside {picture.name}, which is {width} x {height} "
                "pixels; move it onto the key.",
                code="marks.outside",
            )
    edges = marks.roots_by_edge()
    wanted_edges = 1 if spec.edges == "single" else 2
    if edges and len(edges) != wanted_edges:
        raise Refusal(
            f"The marks give roots for {len(edges)} edge(s), but a key of {spec.name} is cut on {wanted_edges}; mark "
            f"{'both edges' if wanted_edges == 2 else 'one edge only'}.",
            code="marks.edges",
        )
    for roots in edges:
        if roots and len(roots) not in spec.allowed_counts:
            raise Refusal(
                f"The marks give {len(roots)} roots, but a key of {spec.name} has "
                f"{' or '.join(map(str, spec.allowed_counts))} cuts; mark every cut once, bow to tip.",
                code="marks.count",
            )


def _named_points(marks: Marks) -> list[tuple[str, tuple[float, float]]]:
    points: list[tuple[str, tuple[float, float]]] = []
    for name in ("shoulder", "tip"):
        point = getattr(marks, name)
        if point is not None:
            points.append((name, point))
    for name in ("back", "centreline", "blade_height"):
        pair = getattr(marks, name)
        if pair is not None:
            points += [(f"{name} {end + 1}", pair[end]) for end in range(2)]
    for edge in marks.roots_by_edge():
        points += [(f"root {number + 1}", point) for number, point in enumerate(edge)]
    return points


def _extent(spec: KeySpec) -> np.ndarray:
    """Corners of the stretch of frame that a fit looks at, millimetres."""
    positions = np.asarray(spec.cut_positions_mm) * (1.0 if spec.gauge_from == "shoulder" else -1.0)
    height = spec.blade.height_mm or float(max(spec.roots_mm)) + 1.0
    low = 0.0 if spec.edges == "single" else -height / 2
    x_from, x_to = float(positions.min()) - 9.0, float(positions.max()) + 9.0
    return np.array([[x_from, low], [x_to, low], [x_to, low + height], [x_from, low + height]])


def _starts(picture: Picture, spec: KeySpec, marks: Marks | None, key: int, ground: Ground) -> list[_Start]:
    """First frames to try: one from marks that suffice, else from what is found."""
    if marks is not None:
        try:
            return [_Start(ground.frame(marks, spec), ground.guess(BY_HAND[0]), BY_HAND[1])]
        except Refusal:
            pass
    found = keys_on(picture, spec, ground)
    if not found:
        raise Refusal(NO_KEY.format(name=picture.name), code="picture.no-key")
    if marks is not None:
        outlines = _outlines(_nearest(found, marks))
    elif key < len(found):
        outlines = _outlines(found[key])
        if key == 0 and len(found) > 1 and count_of_keys(found) == 1:
            # Too unlike a key to count as a second one, yet it may be the only one.
            outlines += _outlines(found[1])
    else:
        raise Refusal(
            f"{picture.name} shows {len(found)} key(s), so there is no key number {key + 1}; choose 1 to {len(found)}.",
            code=NO_SUCH_KEY,
        )
    given = {name: value for name, value in marks or () if value is not None and name != "format"}
    starts = [
        start
        for outline in outlines
        for back_is_a in _backs(outline, spec)
        for start in _starts_of(picture, spec, outline, given, ground, back_is_a=back_is_a)
    ]
    return _different(starts, spec)


def _different(starts: list[_Start], spec: KeySpec) -> list[_Start]:
    """Those that do not lie where an earlier one lies: the first look would see the same again."""
    extent = _extent(spec)
    kept: list[_Start] = []
    for start in starts:
        corners = start.frame.picture_xy(extent)
        near = SAME_START_MM * start.frame.px_per_mm
        for index, other in enumerate(kept):
            if start.guess == other.guess and np.abs(other.frame.picture_xy(extent) - corners).max() < near:
                wider = max(start.line, other.line, key=lambda line: line.offset_sd_mm)
                kept[index] = replace(other, line=wider)
                break
        else:
            kept.append(start)
    return kept


def _outlines(key: FoundKey) -> list[FoundKey]:
    return [key, *key.others[: MOST_OUTLINES - 1]]


def _backs(outline: FoundKey, spec: KeySpec) -> tuple[bool, ...]:
    """Which side may be the back: the smoother one, or either where both are much alike."""
    smoother = outline.roughness_a <= outline.roughness_b
    if spec.edges != "single" or abs(outline.roughness_a - outline.roughness_b) > CLEARLY_SMOOTHER:
        return (smoother,)
    return (smoother, not smoother)


def _starts_of(
    picture: Picture, spec: KeySpec, outline: FoundKey, given: dict[str, object], ground: Ground, *, back_is_a: bool
) -> list[_Start]:
    """First frames from one outline: with the scale that it shows, and with the one that a scanner's file claims."""
    own = outline.marks(single=spec.edges == "single", back_is_a=back_is_a)
    frame = ground.frame(own.model_copy(update=given), spec)
    guess, line = BY_OUTLINE
    wider = 0.0
    if spec.blade.height_mm:
        # A shadow along one side makes the outline too wide, and may be all of the back's error.
        a, b = frame.blade_mm(np.asarray(own.blade_height))
        wider = max(0.0, abs(float(b[1] - a[1])) - spec.blade.height_mm)
        line = replace(line, offset_sd_mm=float(np.clip(line.offset_sd_mm + 0.4 * wider, 0.6, 1.4)))
    starts = [_Start(frame, ground.guess(guess), line)]
    if spec.edges == "single" and wider > WIDE_SHADOW_MM:
        starts.append(_Start(frame.moved(y_mm=wider), ground.guess(guess), line))
    if ground.medium == "scan" and picture.dpi is not None:
        claimed = float(np.sqrt(picture.dpi[0] * picture.dpi[1])) / 25.4
        if abs(np.log(claimed / frame.px_per_mm)) < CLAIM_IS_NEAR:
            scaled = frame.scaled(claimed / frame.px_per_mm)
            starts.append(_Start(scaled, replace(guess, scale=1.0, scale_sd=0.006), line))
    return starts


def _nearest(found: tuple[FoundKey, ...], marks: Marks) -> FoundKey:
    points = np.array([point for _, point in _named_points(marks)])
    if not len(points):
        return found[0]
    return min(found, key=lambda key: float(np.hypot(*(key.box.mean(axis=0) - points.mean(axis=0)))))
