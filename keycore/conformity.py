"""Does a cut key meet its code, given the uncertainty of the instrument it was measured with?

Decision rule
-------------
A cut conforms when its root height lies within nominal +- tolerance.  Measured y with standard uncertainty u, nothing
known beforehand, the probability that it does is (JCGM 106:2012, clause 7)

    p = Phi((upper - y) / u) - Phi((lower - y) / u).

By the rule of ISO 14253-1 conformity is claimed only where it is proved, and so is its opposite: "pass" where p is at
least the level (0.95 by default), "fail" where 1 - p is, and between the two it cannot be told.  The cuts are judged
one by one; a key passes when every cut does, and fails when one does.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any, Literal

from scipy.special import ndtr, ndtri

from keycore.codes import Code, code_to_json, format_code, parse_code
from keycore.refusal import Refusal
from keycore.spec import KeySpec

Outcome = Literal["pass", "fail", "cannot be told"]
What = Literal["root", "position"]
LEVEL = 0.95
"""Conformance probability that ISO 14253-1 takes where nothing else was agreed."""


def conformance_probability(value: float, sigma: float, lower: float | None, upper: float | None) -> float:
    """Probability that the true value lies within the limits.

    Parameters
    ----------
    value, sigma
        Measured value and its standard uncertainty (Gaussian), sigma > 0.
    lower, upper
        Limits in the same unit; None where there is none.

    Notes
    -----
    JCGM 106:2012, clause 7, without prior knowledge of the process.
    """
    if not (math.isfinite(value) and math.isfinite(sigma) and sigma > 0):
        raise Refusal(
            f"A measured value needs an uncertainty of more than 0 to be judged; got {value} +- {sigma}.",
            code="conformity.sigma",
        )
    above = 0.0 if upper is None else float(ndtr((value - upper) / sigma))
    below = 0.0 if lower is None else float(ndtr((lower - value) / sigma))
    return max(0.0, 1.0 - above - below)


def guard_band(sigma: float, level: float = LEVEL) -> float:
    """How far inside a single limit a value must lie for conformity to be proved at this level."""
    return float(ndtri(level)) * sigma


def outcome_of(probability: float, level: float = LEVEL) -> Outcome:
    """Pass, fail, or cannot be told."""
    if probability >= level:
        return "pass"
    if 1.0 - probability >= level:
        return "fail"
    return "cannot be told"


@dataclass(frozen=True)
class CutCheck:
    """One measured root height, or one measured position, against the code.

    Attributes
    ----------
    edge, cut
        From 1; cuts count on their own edge.
    deviation_mm
        Measured less nominal: for a root, above nothing means that metal is left.
    reads_as
        Depth of the table nearest to a measured root.
    deepen_mm
        How much may still be cut away to reach nominal; None where metal is already missing, or nothing is to be done.
    """

    what: What
    edge: int
    cut: int
    depth: str
    nominal_mm: float
    measured_mm: float
    sigma_mm: float
    tolerance_mm: float
    probability: float
    outcome: Outcome
    reads_as: str
    deepen_mm: float | None
    words: str

    @property
    def deviation_mm(self) -> float:
        """Measured less nominal, mm."""
        return self.measured_mm - self.nominal_mm


@dataclass(frozen=True)
class CutKeyCheck:
    """The whole key: every check, what they come to, and what to do."""

    spec: KeySpec
    code: Code
    checks: tuple[CutCheck, ...]
    level: float
    outcome: Outcome
    words: tuple[str, ...]
    measured_by: Literal["calipers", "picture"] = "calipers"

    @property
    def probability(self) -> float:
        """Probability that every measured cut conforms, the measurements being independent."""
        return math.prod(check.probability for check in self.checks)

    def text(self) -> str:
        """A line for each check, then what they come to."""
        lines = [f"{self.spec.name}, code {format_code(self.code, self.spec)}: {self.outcome}."]
        for check in self.checks:
            edge = f" of edge {check.edge}" if self.spec.edge_count == 2 else ""
            lines.append(
                f"Cut {check.cut}{edge} {check.what}: nominal {check.nominal_mm:.3f}, measured {check.measured_mm:.3f} "
                f"+- {check.sigma_mm:.3f} mm, {check.deviation_mm:+.3f} of +-{check.tolerance_mm:.3f} allowed, "
                f"conforms with {100 * check.probability:.1f} %: {check.words}"
            )
        return "\n".join([*lines, *self.words])

    def to_json(self) -> dict[str, Any]:
        """The check as JSON members, keycheck/1."""
        return {
            "format": "keycheck/1",
            "spec": self.spec.name,
            "code": code_to_json(self.code, self.spec),
            "outcome": self.outcome,
            "probability": self.probability,
            "level": self.level,
            "measured_by": self.measured_by,
            "checks": [
                {
                    "what": check.what,
                    "edge": check.edge,
                    "cut": check.cut,
                    "depth": check.depth,
                    "nominal_mm": check.nominal_mm,
                    "measured_mm": check.measured_mm,
                    "sigma_mm": check.sigma_mm,
                    "deviation_mm": check.deviation_mm,
                    "tolerance_mm": check.tolerance_mm,
                    "probability": check.probability,
                    "outcome": check.outcome,
                    "reads_as": check.reads_as,
                    "deepen_mm": check.deepen_mm,
                    "words": check.words,
                }
                for check in self.checks
            ],
            "words": list(self.words),
        }


def check_cut_key(
    code: Code | str,
    spec: KeySpec,
    roots_mm: Sequence[float],
    sigma_mm: float | Sequence[float],
    *,
    positions_mm: Sequence[float] | None = None,
    position_sigma_mm: float | Sequence[float] | None = None,
    level: float = LEVEL,
) -> CutKeyCheck:
    """Judge a cut key.

    Parameters
    ----------
    code, spec
        What the key should be; the tolerances are the table's.
    roots_mm
        Measured root heights, bow to tip, the first edge's and then the second's.
    sigma_mm
        Standard uncertainty of the instrument and the hand, for all or one for each.
    positions_mm, position_sigma_mm
        Measured distances of the cut centres from the gauge point, where they were measured.
    level
        Probability at which something counts as proved.
    """
    code = parse_code(code, spec, keep_macs=False)
    if not 0.5 < level < 1:
        raise Refusal(f"The level must be between 0.5 and 1; got {level}.", code="conformity.level")
    per_edge = len(code) // spec.edge_count
    nominal_mm = [spec.root_of(label) for label in code]
    checks = _checks("root", code, spec, nominal_mm, roots_mm, sigma_mm, spec.tolerance.root_mm, level)
    if positions_mm is not None:
        if position_sigma_mm is None:
            raise Refusal("Measured positions need their uncertainty; give it too.", code="conformity.sigma")
        along_mm = list(spec.for_count(per_edge).cut_positions_mm) * spec.edge_count
        limit_mm = spec.tolerance.position_mm
        checks += _checks("position", code, spec, along_mm, positions_mm, position_sigma_mm, limit_mm, level)
    outcome = whole_outcome([check.outcome for check in checks])
    return CutKeyCheck(spec, code, tuple(checks), level, outcome, _what_to_do(checks, spec, level, outcome))


def _checks(
    what: What,
    code: Code,
    spec: KeySpec,
    nominal_mm: Sequence[float],
    measured_mm: Sequence[float],
    sigma_mm: float | Sequence[float],
    tolerance_mm: float,
    level: float,
) -> list[CutCheck]:
    sigmas = [float(sigma_mm)] * len(code) if isinstance(sigma_mm, (int, float)) else [float(s) for s in sigma_mm]
    if not len(measured_mm) == len(sigmas) == len(code):
        raise Refusal(
            f"The code has {len(code)} cuts; got {len(measured_mm)} {what} figures and {len(sigmas)} uncertainties. "
            f"Give one figure for each cut, bow to tip.",
            code="conformity.count",
        )
    per_edge = len(code) // spec.edge_count
    found = []
    for index, label in enumerate(code):
        nominal, value, sigma = nominal_mm[index], float(measured_mm[index]), sigmas[index]
        if not (math.isfinite(value) and value > 0):
            raise Refusal(
                f"Cut {index % per_edge + 1}: a measured {what} must be more than 0 mm; got {value}.",
                code="conformity.value",
            )
        probability = conformance_probability(value, sigma, nominal - tolerance_mm, nominal + tolerance_mm)
        outcome = outcome_of(probability, level)
        reads_as = spec.labels[int(abs(spec.roots_mm - value).argmin())] if what == "root" else label
        deepen = value - nominal if what == "root" and outcome != "pass" and value > nominal else None
        found.append(
            CutCheck(
                what=what,
                edge=index // per_edge + 1,
                cut=index % per_edge + 1,
                depth=label,
                nominal_mm=nominal,
                measured_mm=value,
                sigma_mm=sigma,
                tolerance_mm=tolerance_mm,
                probability=probability,
                outcome=outcome,
                reads_as=reads_as,
                deepen_mm=deepen,
                words=_words(what, outcome, value - nominal, sigma, tolerance_mm, label, reads_as, level),
            )
        )
    return found


def _words(
    what: What,
    outcome: Outcome,
    off_mm: float,
    sigma: float,
    tolerance_mm: float,
    label: str,
    reads_as: str,
    level: float,
) -> str:
    if outcome == "pass":
        return "passes."
    if what == "position":
        where = f"{abs(off_mm):.3f} mm too {'far from' if off_mm > 0 else 'near to'} the gauge point"
        if outcome == "fail":
            return f"fails, {where}; it cannot be mended on this blank."
        return f"cannot be told, {where}; measure it more closely."
    other = f"; it reads as depth {reads_as}, not {label}" if reads_as != label else ""
    if outcome == "fail":
        if off_mm > 0:
            return f"fails, {off_mm:.3f} mm too high{other}; deepen it by {off_mm:.3f} mm."
        return f"fails, {-off_mm:.3f} mm too low{other}; metal is missing, so cut a new blank."
    room_mm = tolerance_mm - abs(off_mm)
    # close enough for both limits to matter the needed uncertainty is smaller; the two-sided bound is always enough
    needed = room_mm / float(ndtri((1 + level) / 2))
    if needed <= 0.0005:
        side = "deepening it a little would settle it" if off_mm > 0 else "only a closer measurement can settle it"
        return f"cannot be told, it lies at or past the limit ({off_mm:+.3f} mm){other}; {side}."
    repeats = math.ceil((sigma / needed) ** 2)
    often = f", or the mean of {repeats} independent readings" if repeats <= 20 else ""
    return f"cannot be told{other}; a measurement with an uncertainty of {needed:.3f} mm{often} would do."


def whole_outcome(outcomes: Sequence[Outcome]) -> Outcome:
    """A key passes when every cut does, and fails when one does."""
    if "fail" in outcomes:
        return "fail"
    return "cannot be told" if "cannot be told" in outcomes else "pass"


def _what_to_do(checks: Sequence[CutCheck], spec: KeySpec, level: float, outcome: Outcome) -> tuple[str, ...]:
    def name(check: CutCheck) -> str:
        edge = f" of edge {check.edge}" if spec.edge_count == 2 else ""
        return f"cut {check.cut}{edge}"

    failed = [check for check in checks if check.outcome == "fail"]
    lost = [check for check in failed if check.deepen_mm is None]
    if outcome == "pass":
        return ("The key meets its code.",)
    words = []
    if lost:
        words.append(f"A new blank is needed: {', '.join(name(check) for check in lost)} cannot be mended.")
    elif failed:
        steps = ", ".join(f"{name(check)} by {check.deepen_mm:.3f} mm" for check in failed)
        words.append(f"This blank can still be used: deepen {steps}, and measure again.")
    else:
        words.append("No cut is proved wrong, and not every cut is proved right.")
    hopeless = max((check.sigma_mm for check in checks if not _could_pass(check, level)), default=None)
    if hopeless is not None:
        words.append(
            f"With an uncertainty of {hopeless:.3f} mm no reading at all could prove this tolerance; use a better "
            f"instrument or the mean of several readings."
        )
    return tuple(words)


def _could_pass(check: CutCheck, level: float) -> bool:
    """True where a reading exactly on nominal would pass with this instrument."""
    limits = check.nominal_mm - check.tolerance_mm, check.nominal_mm + check.tolerance_mm
    return conformance_probability(check.nominal_mm, check.sigma_mm, *limits) >= level
