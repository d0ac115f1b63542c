"""Reading one key in one picture: from marks, or from nothing, to readings with their uncertainty."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from typing import Literal

import numpy as np

from app.picture.clicks import Clicks
from app.picture.find import FoundKey, count_of_keys, keys_on
from app.picture.fit import (
    MOST_FINE,
    MOST_SETTLED,
    FittedBlade,
    RoughFit,
    fit_blade,
    likeliest,
    look_roughly,
    nearly_best,
    settled,
)
from app.picture.ground import Ground, ground_of
from app.picture.report import report
from app.picture.reread import KeptFit
from app.picture.sample import grey_patch
from app.picture.starts import Start, extent, start_by_hand, unusual_starts, usual_starts
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
LITTLE = 40.0
"""Where less log evidence than this speaks for each cut, more is looked at: nineteen blades of twenty have more, shapes
that are none and wrong places mostly less."""
NO_BLADE = 25.0
"""Less log evidence than this for each cut is hardly a blade of the table: of 677 codes read right none had less."""
MORE_KEYS = 2
"""How many other things that may be keys are looked at then."""
STOPPED = "The reading was stopped; nothing was changed."
NO_KEY = (
    "No key was found in {name}; check that the whole key is in the picture, "
    "or mark its back, shoulder and tip by hand."
)


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
    by_hand: frozenset[str] | None = None,
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
    by_hand
        Which of the marks a hand set, named in the same way; None for all.  The others say where to begin, and are no
        evidence.
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
    clicks = Clicks.of(marks, spec, by_hand)
    likely = _search(picture, spec, marks, clicks, key, ground, watch)
    fits: list[FittedBlade] = []
    for number, one in enumerate(candidates := likeliest(likely, spec, MOST_FINE)):
        watch.at(0.7 + 0.2 * number / len(candidates), "fitting the blade")
        best = max((fit.score for fit in fits), default=-np.inf)
        fits += fit_blade(one, spec, paper_lighter=ground.paper_lighter, clicks=clicks, best=best)
    ways = nearly_best(fits)
    watch.at(0.9, "measuring")
    reading = report(picture, spec, ways, marks, fixed=fixed, ground=ground, reference=reference)
    return replace(reading, kept=KeptFit(spec, ways, ground, marks, reference))


def _search(
    picture: Picture, spec: KeySpec, marks: Marks | None, clicks: Clicks, key: int, ground: Ground, watch: _Watch
) -> list[RoughFit]:
    """Everything that the key's blade may be, settled."""
    by_hand = start_by_hand(marks, spec, ground)
    if by_hand is not None:
        return _looked_at([by_hand], picture, spec, clicks, ground, watch, (0.15, 0.7))
    found = keys_on(picture, spec, ground)
    chosen = _chosen(found, picture, marks, key)
    usual = usual_starts(picture, spec, chosen, marks, ground)
    likely = _looked_at(usual, picture, spec, clicks, ground, watch, (0.15, 0.55))
    for_each_cut = max(one.score for one in likely) / (len(spec.cut_positions_mm) * spec.edge_count)
    if for_each_cut >= LITTLE:
        return likely
    more = unusual_starts(picture, spec, chosen, marks, ground)
    # Things that count as keys have numbers of their own: the first is not read as another while it may be one.
    if marks is None and key == 0 and (for_each_cut < NO_BLADE or count_of_keys(found) == 1):
        for other in found[1 : 1 + MORE_KEYS]:
            more += usual_starts(picture, spec, other, None, ground)
    return likely + _looked_at(more, picture, spec, clicks, ground, watch, (0.55, 0.7))


def _looked_at(
    starts: list[Start],
    picture: Picture,
    spec: KeySpec,
    clicks: Clicks,
    ground: Ground,
    watch: _Watch,
    shares: tuple[float, float],
) -> list[RoughFit]:
    """What is found from these first frames, settled; the work goes from one of the ``shares`` to the other."""
    begin, settling, end = shares[0], shares[0] + 0.65 * (shares[1] - shares[0]), shares[1]
    rough: list[RoughFit] = []
    for number, start in enumerate(starts):
        watch.at(begin + (settling - begin) * number / len(starts), "looking at the blade")
        corners = start.frame.picture_xy(extent(spec))
        patch = grey_patch(picture, corners, MARGIN_MM * start.frame.px_per_mm)
        rough += look_roughly(
            patch, start.frame, spec, start.guess, start.line, paper_lighter=ground.paper_lighter, clicks=clicks
        )
    likely = []
    for number, one in enumerate(candidates := likeliest(rough, spec, MOST_SETTLED)):
        watch.at(settling + (end - settling) * number / len(candidates), "looking at the blade again")
        likely.append(settled(one, spec, paper_lighter=ground.paper_lighter, clicks=clicks))
    return likely


def _chosen(found: tuple[FoundKey, ...], picture: Picture, marks: Marks | None, key: int) -> FoundKey:
    """The key that is to be read."""
    if not found:
        raise Refusal(NO_KEY.format(name=picture.name), code="picture.no-key")
    if marks is not None:
        return _nearest(found, marks)
    if key < len(found):
        return found[key]
    raise Refusal(
        f"{picture.name} shows {len(found)} key(s), so there is no key number {key + 1}; choose 1 to {len(found)}.",
        code="picture.no-such-key",
    )


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


def _nearest(found: tuple[FoundKey, ...], marks: Marks) -> FoundKey:
    points = np.array([point for _, point in _named_points(marks)])
    if not len(points):
        return found[0]
    return min(found, key=lambda key: float(np.hypot(*(key.box.mean(axis=0) - points.mean(axis=0)))))
