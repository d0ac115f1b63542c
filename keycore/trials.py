"""In which order to cut candidate codes and try them, so that the fewest blanks are spent, and then the fewest trials.

A blank can be cut deeper and never shallower, so several candidates can be tried on one blank, shallow to deep; which
ones share a blank is chosen by :mod:`keycore.chaincover`, which also says what "fewest" means and how sure it is.
The answer is a plan that a person follows at the machine, step by step.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from keycore.blanks import order_of
from keycore.chaincover import Cover, best_cover
from keycore.codes import Code, code_to_json, edge_lists, format_code
from keycore.measured import Floats
from keycore.refusal import Refusal
from keycore.spec import KeySpec

MOST_CANDIDATES = 400
UNCUT = -1
"""Depth index of a place where a shorter key of the table has no cut."""
BEGUN = 2.0
"""Weight of a key that was already begun: more than all candidates together, so that its blank comes first."""


@dataclass(frozen=True)
class TrialStep:
    """One cutting and trying.

    Attributes
    ----------
    number, blank
        Both from 1; blank 0 is the key that was already begun.
    code
        The code that the blank has after this step.
    roots_mm
        Its root heights, bow to tip; None for a place that this code leaves uncut.
    cut
        Which cuts to make now, counted from 1 over the whole code: all of them on a fresh blank, later only those
        that become deeper (none where the key that was begun is this code already).
    probability, opened_by_now
        That this step opens the lock, and that this or an earlier one does.
    """

    number: int
    blank: int
    code: Code
    roots_mm: tuple[float, ...]
    cut: tuple[int, ...]
    fresh: bool
    probability: float
    opened_by_now: float


@dataclass(frozen=True)
class TrialPlan:
    """All steps in order, and what the plan costs.

    Attributes
    ----------
    blanks
        Fresh blanks spent if every candidate must be tried.
    expected_blanks, expected_trials
        On average, the chance that none of the candidates is right included.
    bound_blanks
        No plan spends fewer blanks on average.
    fewest_blanks
        No plan that tries every candidate can do with fewer blanks in the worst case.
    begun_mm
        Root heights of the key that was already begun, None where there was none.
    """

    spec: KeySpec
    steps: tuple[TrialStep, ...]
    blanks: int
    expected_blanks: float
    expected_trials: float
    bound_blanks: float
    fewest_blanks: int
    none_probability: float
    begun_mm: tuple[float, ...] | None = None

    @property
    def proved(self) -> bool:
        """True where it is proved that no plan spends fewer blanks on average."""
        return self.expected_blanks <= self.bound_blanks + 1e-9

    def text(self) -> str:
        """The plan in words, a step a line."""
        lines = []
        for step in self.steps:
            code = format_code(step.code, self.spec)
            if step.fresh:
                lines.append(f"Blank {step.blank}: cut {code}, that is {self._heights(step)}; try.")
            else:
                start = "On the key already begun" if step.number == 1 else "  Not yet"
                cuts = f"deepen {self._cut_names(step.cut)}" if step.cut else "leave it as it is"
                lines.append(f"{start}: {cuts}, that is {code} ({self._heights(step)}); try.")
            lines.append(f"    opens with {_percent(step.probability)}; by now {_percent(step.opened_by_now)}")
        return "\n".join([*lines, *self.summary()])

    def how_good(self) -> str:
        """Whether the plan is proved the best, or how near it comes, in a sentence."""
        if self.proved:
            return "No order spends fewer blanks on average."
        spare = max(math.ceil(1e5 * (self.expected_blanks - self.bound_blanks)) / 1e5, 1e-5)
        return f"It is not proved the best, but no order saves more than {spare:g} blanks on average."

    def standing(self) -> str:
        """Blanks on average and how good that is, while a search goes on."""
        return f"{self.expected_blanks:.4f} blanks on average. {self.how_good()}"

    def summary(self) -> tuple[str, ...]:
        """What the plan costs and how good it is, in sentences."""
        blank = "blank" if self.begun_mm is None else "fresh blank"
        return (
            f"On average {self.expected_blanks:.2f} {_plural(blank, self.expected_blanks)} and "
            f"{self.expected_trials:.1f} trials; at most {self.blanks} "
            f"{_plural(blank, self.blanks)} and {len(self.steps)} trials. {self.how_good()}",
            f"The chance that none of these codes is right is {_percent(self.none_probability)}.",
        )

    def to_json(self) -> dict[str, Any]:
        """The plan as JSON members."""
        return {
            "format": "trialplan/1",
            "spec": self.spec.name,
            "steps": [
                {
                    "number": step.number,
                    "blank": step.blank,
                    "fresh": step.fresh,
                    "code": code_to_json(step.code, self.spec),
                    "roots_mm": list(step.roots_mm),
                    "cut": list(step.cut),
                    "probability": step.probability,
                    "opened_by_now": step.opened_by_now,
                }
                for step in self.steps
            ],
            "blanks": self.blanks,
            "expected_blanks": self.expected_blanks,
            "expected_trials": self.expected_trials,
            "bound_blanks": self.bound_blanks,
            "proved": self.proved,
            "fewest_blanks": self.fewest_blanks,
            "none_probability": self.none_probability,
            "begun_mm": None if self.begun_mm is None else list(self.begun_mm),
        }

    def _heights(self, step: TrialStep) -> str:
        per_edge = len(step.roots_mm) // self.spec.edge_count
        edges = [step.roots_mm[i : i + per_edge] for i in range(0, len(step.roots_mm), per_edge)]
        return " / ".join(" ".join(f"{root_mm:.2f}" for root_mm in edge) for edge in edges) + " mm"

    def _cut_names(self, cuts: Sequence[int]) -> str:
        per_edge = len(self.steps[0].code) // self.spec.edge_count
        if self.spec.edge_count == 1:
            names = [str(cut) for cut in cuts]
        else:
            names = [f"{(cut - 1) % per_edge + 1} of edge {(cut - 1) // per_edge + 1}" for cut in cuts]
        listed = names[0] if len(names) == 1 else ", ".join(names[:-1]) + " and " + names[-1]
        return f"{_plural('cut', len(cuts))} {listed}"


def plan_trials(
    candidates: Iterable[tuple[Code, float]],
    spec: KeySpec,
    *,
    seconds: float | None = 10.0,
    most: int = 200,
    begun_mm: Sequence[float] | None = None,
    tried: Iterable[Code] = (),
    better: Callable[[TrialPlan], None] | None = None,
) -> TrialPlan:
    """The plan that spends the fewest blanks on average, and then the fewest trials.

    Parameters
    ----------
    candidates
        Codes with their probabilities; the sum may be less than 1 (the rest is the chance that none is right).
        Candidates of probability 0 are left out.
    spec
        Their table.  Codes must all have the same number of cuts, or any of the counts that the table allows.
    seconds
        How long the search for a better plan or bound may take; None: until the plan is proved the best.
    most
        Only so many of the likeliest candidates are planned; the rest counts as "none of these".
    begun_mm
        Root heights, mm, of a key that is already cut and may be cut deeper, bow to tip (of independent edges, the
        first edge's and then the second's).  It costs no blank, so it is used first.
    tried
        Codes that were tried already and did not open.  They are left out, and what is left becomes likelier by as
        much.
    better
        Called with the first plan of a search that takes longer, and again whenever plan or bound became better.

    Notes
    -----
    The key that was begun is one more candidate that lies before all that can still be cut on it, and so likely that
    its blank comes first; its share of the average is then taken off again.
    """
    if not 1 <= most <= MOST_CANDIDATES:
        raise Refusal(f"A plan holds between 1 and {MOST_CANDIDATES} candidates; got {most}.", code="trials.most")
    kept = _untried(_checked(candidates, spec), tried, spec)[:most]
    probabilities = np.array([probability for _code, probability in kept])
    none = max(0.0, 1.0 - math.fsum(probabilities))
    depths = [_depths(code, spec) for code, _probability in kept]
    order = order_of(depths)
    begun = None if begun_mm is None else _begun_places(begun_mm, spec)
    if begun is not None:
        after = [_can_follow(begun, now, spec) for now in depths]
        order = np.block([[order, np.zeros((len(kept), 1), dtype=bool)], [np.array([*after, False])]])
        probabilities = np.append(probabilities, BEGUN)

    def plan(cover: Cover) -> TrialPlan:
        return _plan_of(cover, kept, depths, none, spec, begun, begun_mm)

    def tell(cover: Cover) -> None:
        if better is not None:
            better(plan(cover))

    return plan(best_cover(order, probabilities, none_probability=none, seconds=seconds, better=tell))


def _plan_of(
    cover: Cover,
    kept: list[tuple[Code, float]],
    depths: list[tuple[int, ...]],
    none: float,
    spec: KeySpec,
    begun: Floats | None,
    begun_mm: Sequence[float] | None,
) -> TrialPlan:
    """The steps of a cover, and what they cost."""
    total = math.fsum(probability for _code, probability in kept)
    free = 0.0 if begun is None else BEGUN + total + none
    spare = 0 if begun is None else 1
    steps: list[TrialStep] = []
    opened = 0.0
    for blank, chain in enumerate(cover.chains, 1 - spare):
        before: tuple[int, ...] | None = None
        for index in chain:
            if index == len(kept):
                continue
            code, probability = kept[index]
            opened += probability
            now = depths[index]
            steps.append(
                TrialStep(
                    number=len(steps) + 1,
                    blank=blank,
                    code=code,
                    roots_mm=tuple(spec.root_of(label) for label in code),
                    cut=_to_cut(before, now) if begun is None or before or blank else _still_to_cut(begun, now, spec),
                    fresh=before is None and blank > 0,
                    probability=float(probability),
                    opened_by_now=min(opened, 1.0),
                )
            )
            before = now
    expected_trials = math.fsum(step.number * step.probability for step in steps) + len(steps) * none
    return TrialPlan(
        spec=spec,
        steps=tuple(steps),
        blanks=len(cover.chains) - spare,
        expected_blanks=max(cover.expected_blanks - free, 0.0),
        expected_trials=expected_trials,
        bound_blanks=max(cover.bound_blanks - free, 0.0),
        fewest_blanks=cover.fewest_blanks - spare,
        none_probability=none,
        begun_mm=None if begun_mm is None else tuple(begun_mm),
    )


def _checked(candidates: Iterable[tuple[Code, float]], spec: KeySpec) -> list[tuple[Code, float]]:
    kept: dict[Code, float] = {}
    for code, probability in candidates:
        code = tuple(code)
        shown = "-".join(code)
        if not math.isfinite(probability) or not 0 <= probability <= 1:
            raise Refusal(
                f"The probability of a candidate must be between 0 and 1; {shown} has {probability}.",
                code="trials.probability",
            )
        if code in kept:
            raise Refusal(f"The candidate {shown} is listed twice; list it once.", code="trials.twice")
        for number, label in enumerate(code, 1):
            if label not in spec.labels:
                raise Refusal(
                    f"Cut {number} of {shown}: depth {label!r} is not in table {spec.name}; check the code.",
                    code="code.unknown-depth",
                )
        per_edge, left = divmod(len(code), spec.edge_count)
        if left or per_edge not in spec.allowed_counts:
            raise Refusal(f"{shown} has a number of cuts that keys of {spec.name} do not have.", code="code.count")
        kept[code] = float(probability)
    total = math.fsum(kept.values())
    if total > 1 + 1e-6:
        raise Refusal(
            f"The probabilities of the candidates add up to {total:.4f}, more than 1; correct them.",
            code="trials.probability",
        )
    likely = sorted(((c, p) for c, p in kept.items() if p > 0), key=lambda item: (-item[1], item[0]))
    if not likely:
        raise Refusal("There is no candidate code to plan for; read the key first.", code="trials.none")
    return likely


def _untried(likely: list[tuple[Code, float]], tried: Iterable[Code], spec: KeySpec) -> list[tuple[Code, float]]:
    """The candidates that are left after some did not open."""
    gone = {tuple(code) for code in tried}
    left = [(code, probability) for code, probability in likely if code not in gone]
    if not left:
        raise Refusal("Every candidate was tried already; read the key again.", code="trials.all-tried")
    still = 1.0 - math.fsum(probability for code, probability in likely if code in gone)
    return [(code, min(probability / max(still, probability), 1.0)) for code, probability in left]


def _depths(code: Code, spec: KeySpec) -> tuple[int, ...]:
    """Depth indexes at all places of the longest key; a place that a shorter key leaves uncut is :data:`UNCUT`."""
    full = max(spec.allowed_counts)
    depths: tuple[int, ...] = ()
    for labels in edge_lists(code, spec):
        known = tuple(spec.labels.index(label) for label in labels)
        empty = (UNCUT,) * (full - len(known))
        depths += known + empty if spec.gauge_from == "shoulder" else empty + known
    return depths


def _to_cut(before: tuple[int, ...] | None, now: tuple[int, ...]) -> tuple[int, ...]:
    """Which cuts of a code (from 1) become deeper."""
    places = [place for place, depth in enumerate(now) if depth != UNCUT]
    return tuple(n for n, place in enumerate(places, 1) if before is None or now[place] > before[place])


def _begun_places(begun_mm: Sequence[float], spec: KeySpec) -> Floats:
    """Root heights, mm, at all places of the longest key; infinite where there is no cut."""
    roots_mm = np.array(begun_mm, dtype=float)
    per_edge, left = divmod(len(roots_mm), spec.edge_count)
    if left or per_edge not in spec.allowed_counts:
        raise Refusal(
            f"The key already begun has {len(roots_mm)} cuts, which keys of {spec.name} do not have; give the root "
            f"height of every cut.",
            code="trials.begun",
        )
    if not (np.isfinite(roots_mm).all() and (roots_mm > 0).all()):
        raise Refusal(
            "Root heights of the key already begun must be positive; measure them again.", code="trials.begun"
        )
    uncut = np.full((spec.edge_count, max(spec.allowed_counts) - per_edge), np.inf)
    edges = roots_mm.reshape(spec.edge_count, per_edge)
    return np.hstack([edges, uncut] if spec.gauge_from == "shoulder" else [uncut, edges]).ravel()


def _roots_at_places(now: tuple[int, ...], spec: KeySpec) -> Floats:
    return np.array([np.inf if depth == UNCUT else spec.roots_mm[depth] for depth in now])


def _can_follow(begun: Floats, now: tuple[int, ...], spec: KeySpec) -> bool:
    """Whether a key with these root heights can still be cut to this code, within the table's tolerance."""
    return bool(np.all(_roots_at_places(now, spec) <= begun + spec.tolerance.root_mm))


def _still_to_cut(begun: Floats, now: tuple[int, ...], spec: KeySpec) -> tuple[int, ...]:
    """Which cuts of a code (from 1) are deeper than on the key that was begun, by more than the tolerance."""
    deeper = _roots_at_places(now, spec) < begun - spec.tolerance.root_mm
    places = [place for place, depth in enumerate(now) if depth != UNCUT]
    return tuple(n for n, place in enumerate(places, 1) if deeper[place])


def _percent(probability: float) -> str:
    percent = 100 * probability
    if 0 < percent < 0.1:
        return "less than 0.1 %"
    if 99.9 < percent < 100:
        return "more than 99.9 %"
    return f"{percent:.1f} %"


def _plural(noun: str, count: float) -> str:
    return noun if round(count, 2) == 1 else noun + "s"
