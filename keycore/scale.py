"""Several independent size references -> what is known of the scale, and whether they agree.

Scale is kept as its natural logarithm, ``ln(px per mm)``, across the blade (the direction of root heights) and along
it. The two differ by the copier's anisotropy, normal with ``Readings.anisotropy_sigma``.

Each reference is a likelihood of the scale:

* the spacing of the cuts: a straight line through (position in the table, position measured), both with errors; its
  slope is the scale along the blade and its start is the gauge point's error.  Growth moves both flanks of a cut in
  opposite directions, so the spacing is free of growth;
* blade height, across: carries a growth of its own (:func:`keycore.prior.blade_height_density`), so it is a likelihood
  of scale and growth together;
* blade length, along: tip and shoulder both grow, by amounts that partly cancel (0.15 mm);
* a card, a page or a known length, and the file's dpi claim, which on a copy says nothing of the key.

Every one of them may be plainly wrong: a share of its likelihood is broad (see :data:`BAD_REFERENCE`), so that one
false reference cannot carry the scale against the others.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np
from scipy.special import chdtrc

from keycore.measured import CutReading, Floats, Measured, Medium, Readings, ReferenceKind, SizeReference
from keycore.mixture import Mixture
from keycore.prior import (
    ALIKE_SIGMA_MM,
    HEIGHT_SHARE_TOP,
    HEIGHT_UNEVEN_MM,
    alike_height,
    alike_share,
    blade_height_density,
    hand_height_density,
    hand_height_moments,
)
from keycore.refusal import Refusal
from keycore.spec import KeySpec
from keycore.spread import lattice_spread_of, spread_of

BAD_REFERENCE = (0.02, 0.05)
"""(share, relative sigma) of references that are plainly wrong: another blank's blade height, a corner taken for
another."""
LENGTH_GROWTH_MM = 0.15
"""Shoulder and tip edges move the same way along the blade, so growth of the length is what is left of two shadows."""
DPI_TRUE = {"scan": 0.9, "photocopy": 0.15, "photo-card": 0.03, "photo-copy": 0.03, "calipers": 0.03}
"""How often a file's dpi is the scale of the key: a scan is of the key itself, a copy has its own enlargement."""
DPI_SIGMA = 0.003
DPI_UNKNOWN = (0.3, 0.5)
"""(mean, sigma) of ln(true scale / dpi) otherwise: enlargements of 1 to 2.6 are common."""
DISAGREE_SIGMAS = 3.0
OUTLYING_SIGMAS = 3.5
TOO_SCATTERED = 0.05
"""Probability of as much scatter by chance below which the sigmas of the places are taken to be too small."""
NAMES: dict[ReferenceKind, str] = {
    "cut-spacing": "spacing of the cuts",
    "blade-height": "blade height",
    "blade-length": "blade length",
    "dpi": "the file's dpi",
    "card": "card",
    "page": "page",
    "length": "known length",
}


@dataclass(frozen=True)
class Line:
    """A straight line ``y = start + slope * x`` with the standard uncertainties of its two parameters."""

    start: float
    slope: float
    start_sigma: float
    slope_sigma: float
    correlation: float
    chi_square: float
    points: int

    def at(self, x: float) -> Measured:
        """The line's value at ``x`` with its standard uncertainty, extrapolation included."""
        variance = (
            self.start_sigma**2
            + (x * self.slope_sigma) ** 2
            + 2 * x * self.start_sigma * self.slope_sigma * self.correlation
        )
        return Measured(self.start + self.slope * x, math.sqrt(max(variance, 0.0)))


@dataclass(frozen=True)
class ReferenceReading:
    """One reference as it came out: the scale it gives by itself and how far that lies from all taken together."""

    kind: ReferenceKind
    axis: str
    px_per_mm: Measured
    pull: float
    """(its own - all together), in standard uncertainties of its own."""
    used: bool
    note: str = ""

    @property
    def name(self) -> str:
        """In words."""
        return NAMES[self.kind]


@dataclass(frozen=True)
class Scale:
    """The scale along and across the blade, and what each reference says of it."""

    px_per_mm_along: Measured
    px_per_mm_across: Measured
    references: tuple[ReferenceReading, ...]
    agree: bool
    disagreement: str = ""
    """A plain sentence where two references disagree; else empty."""
    disagreement_percent: float = 0.0
    gauge_offset_mm: Measured | None = None
    """How far the cuts' own line starts from the gauge point that was measured from."""

    @property
    def sigma_rel(self) -> float:
        """Relative standard uncertainty of the scale across the blade."""
        return self.px_per_mm_across.sigma / self.px_per_mm_across.value


def fit_line(x: Floats, y: Floats, x_sigma: Floats, y_sigma: Floats) -> Line:
    """Weighted straight line with independent errors in both variables.

    Parameters
    ----------
    x, y
        (n,) points, n >= 2.
    x_sigma, y_sigma
        (n,) standard uncertainties; either may be 0, not both.

    Returns
    -------
    Line
        Uncertainties follow the given sigmas (they are not scaled by the scatter).

    Notes
    -----
    D. York, Can. J. Phys. 44 (1966) 1079; uncertainties by York et al., Am. J. Phys. 72 (2004) 367, from the adjusted
    points.  With ``x_sigma`` 0 this is the ordinary weighted least squares line.
    """
    x, y = np.asarray(x, dtype=float), np.asarray(y, dtype=float)
    var_x, var_y = np.asarray(x_sigma, dtype=float) ** 2, np.asarray(y_sigma, dtype=float) ** 2
    slope = float(np.polyfit(x, y, 1)[0])
    for _ in range(100):
        weight = 1 / (var_y + slope**2 * var_x)
        u, v = x - np.average(x, weights=weight), y - np.average(y, weights=weight)
        beta = weight * (u * var_y + slope * v * var_x)
        better = float((weight * beta) @ v / ((weight * beta) @ u))
        if math.isclose(better, slope, rel_tol=1e-14, abs_tol=1e-300):
            break
        slope = better
    slope = better
    weight = 1 / (var_y + slope**2 * var_x)
    mean_x, mean_y = float(np.average(x, weights=weight)), float(np.average(y, weights=weight))
    u, v = x - mean_x, y - mean_y
    adjusted = mean_x + weight * (u * var_y + slope * v * var_x)
    middle = float(np.average(adjusted, weights=weight))
    slope_sigma = 1 / math.sqrt(float(weight @ (adjusted - middle) ** 2))
    start_sigma = math.hypot(1 / math.sqrt(float(weight.sum())), middle * slope_sigma)
    start = mean_y - slope * mean_x
    return Line(
        start=start,
        slope=slope,
        start_sigma=start_sigma,
        slope_sigma=slope_sigma,
        correlation=-middle * slope_sigma / start_sigma,
        chi_square=float(weight @ (y - start - slope * x) ** 2),
        points=len(x),
    )


@dataclass(frozen=True)
class Spacing:
    """The cuts' own line: scale along the blade and the gauge point's error."""

    reference: SizeReference
    offset_mm: Measured
    left_out: tuple[int, ...]
    """0-based cuts whose centre lies off the line and was left out."""


def spacing_of(readings: Readings, spec: KeySpec) -> Spacing | None:
    """The cut spacing as a size reference; None where fewer than two centres were measured.

    A centre that lies more than 3.5 standard uncertainties off the line of the others is left out, the worst first, as
    long as three remain.  Where the others scatter more than chance would, the uncertainty is raised by Birge's ratio.
    """
    table_mm = np.tile(np.array(spec.cut_positions_mm), spec.edge_count)
    seen = [index for index, cut in enumerate(readings.cuts) if cut.position_px is not None]
    left_out: list[int] = []
    if len({table_mm[index] for index in seen}) < 2:
        return None
    while True:
        x_mm = table_mm[seen]
        y_px = np.array([_position(readings.cuts[index]) for index in seen])
        y_sigma_px = np.array([readings.cuts[index].position_sigma_px or 0.0 for index in seen])
        made_mm = np.full(len(seen), math.hypot(spec.tolerance.position_mm / 2, 0.01))
        line = fit_line(x_mm, y_px, made_mm, y_sigma_px)
        off = np.abs(y_px - line.start - line.slope * x_mm) / np.hypot(y_sigma_px, line.slope * made_mm)
        worst = int(np.argmax(off))
        if off[worst] < OUTLYING_SIGMAS or len(seen) <= 3:
            break
        left_out.append(seen.pop(worst))
    if line.slope <= 0:
        raise Refusal(
            "The cuts' positions do not rise as the table's do; measure them from the gauge point "
            f"({spec.gauge_from}), bow first.",
            code="scale.positions",
        )
    freedom = max(line.points - 2, 1)
    scattered = float(chdtrc(freedom, line.chi_square)) < TOO_SCATTERED
    birge = math.sqrt(line.chi_square / freedom) if scattered else 1.0
    span_mm = float(np.ptp(table_mm[seen]))
    reference = SizeReference(
        kind="cut-spacing",
        axis="along",
        seen_px=line.slope * span_mm,
        seen_sigma_px=line.slope_sigma * span_mm * birge,
        true_mm=span_mm,
    )
    offset_mm = Measured(line.start / line.slope, line.start_sigma * birge / line.slope)
    return Spacing(reference, offset_mm, tuple(sorted(left_out)))


def _position(cut: CutReading) -> float:
    assert cut.position_px is not None
    return cut.position_px


@dataclass(frozen=True)
class Height:
    """A blade height as likelihood of ln(scale across) and growth."""

    reference: SizeReference
    edges: float
    by_hand: bool

    def log_likelihood(self, log_scale: Floats, growth_mm: Floats) -> Floats:
        """Natural logarithm of the likelihood, for arrays of one shape."""
        px_per_mm = np.exp(log_scale)
        seen_mm = self.reference.seen_px / px_per_mm
        off_mm = seen_mm - self.reference.true_mm
        sigma_mm = np.hypot(
            math.hypot(self.reference.true_sigma_mm, HEIGHT_UNEVEN_MM), self.reference.seen_sigma_px / px_per_mm
        )
        if self.by_hand:
            density = hand_height_density(off_mm, sigma_mm)
        else:
            density = blade_height_density(off_mm, growth_mm, sigma_mm, self.edges, alike=self.reference.alike)
        share, wide = BAD_REFERENCE
        wide_mm = 2 * wide * self.reference.true_mm
        bad = np.exp(-0.5 * (off_mm / wide_mm) ** 2) / (wide_mm * math.sqrt(2 * math.pi))
        return np.asarray(np.log(((1 - share) * density + share * bad) * seen_mm))

    @property
    def relative_sigma(self) -> float:
        """Relative width of the narrowest feature of the likelihood in the scale."""
        reference = self.reference
        px_per_mm = reference.px_per_mm
        return (
            math.hypot(math.hypot(reference.true_sigma_mm, HEIGHT_UNEVEN_MM), reference.seen_sigma_px / px_per_mm)
            / reference.true_mm
        )


@dataclass(frozen=True)
class ScaleEvidence:
    """All that the references say: of the scale along, of the scale across, and of scale and growth together."""

    along: Mixture | None
    across: Mixture | None
    heights: tuple[Height, ...]
    anisotropy_sigma: float
    references: tuple[SizeReference, ...]
    spacing: Spacing | None
    medium: Medium

    @cached_property
    def of_across(self) -> Mixture | None:
        """Likelihood of ln(scale across) from all references but the blade heights."""
        along = None if self.along is None else self.along.widened(self.anisotropy_sigma)
        if along is None or self.across is None:
            return along if self.across is None else self.across
        return along.times(self.across).trimmed()

    def along_given(self, log_across: Floats, weights: Floats) -> Measured:
        """ln(scale along) where ln(scale across) has these values with these weights.

        Parts of different widths count with the root of their mean variance.
        """
        anisotropy = max(self.anisotropy_sigma, 1e-5)
        if self.along is None:
            means, variances, shares = log_across, np.full_like(log_across, anisotropy**2), weights
        else:
            var = self.along.sigmas**2
            total = anisotropy**2 + var
            off = log_across[:, None] - self.along.means
            log_share = self.along.log_weights - 0.5 * np.log(total) - 0.5 * off**2 / total
            part = np.exp(log_share - log_share.max(axis=1, keepdims=True))
            shares = (weights[:, None] * part / part.sum(axis=1, keepdims=True)).ravel()
            means = ((log_across[:, None] * var + self.along.means * anisotropy**2) / total).ravel()
            variances = np.broadcast_to(anisotropy**2 * var / total, off.shape).ravel()
        shares = shares / shares.sum()
        return spread_of(means, shares, math.sqrt(float(shares @ variances)))


def scale_evidence(readings: Readings, spec: KeySpec) -> ScaleEvidence:
    """Gather the references of one picture, the cut spacing included."""
    spacing = spacing_of(readings, spec)
    references = readings.references + ((spacing.reference,) if spacing is not None else ())
    along: Mixture | None = None
    across: Mixture | None = None
    heights: list[Height] = []
    for reference in references:
        _require_usable(reference)
        if not reference.used:
            continue
        if reference.kind == "blade-height" and reference.grows:
            heights.append(Height(reference, float(spec.edge_count), readings.medium == "calipers"))
            continue
        mixture = _mixture(reference, readings.medium)
        if reference.axis == "along":
            along = mixture if along is None else along.times(mixture).trimmed()
        else:
            across = mixture if across is None else across.times(mixture).trimmed()
    return ScaleEvidence(along, across, tuple(heights), readings.anisotropy_sigma, references, spacing, readings.medium)


def _require_usable(reference: SizeReference) -> None:
    numbers = (reference.seen_px, reference.seen_sigma_px, reference.true_mm, reference.true_sigma_mm)
    if not all(map(math.isfinite, numbers)) or min(numbers[0], numbers[2]) <= 0 or min(numbers[1], numbers[3]) < 0:
        raise Refusal(
            f"The {NAMES[reference.kind]} as a size reference must be a positive length with an uncertainty; got "
            f"{reference.seen_px:g} seen for {reference.true_mm:g} mm. Measure it again or leave it out.",
            code="scale.bad-reference",
        )


def _own(reference: SizeReference) -> tuple[float, float]:
    """(ln scale, sigma) that a reference gives by itself; the growth of a blade length is part of its sigma."""
    sigma = reference.sigma_rel
    if reference.grows:
        sigma = math.hypot(sigma, LENGTH_GROWTH_MM / reference.true_mm)
    if reference.kind == "dpi":
        sigma = math.hypot(sigma, DPI_SIGMA)
    return math.log(reference.px_per_mm), max(sigma, 1e-4)


def _mixture(reference: SizeReference, medium: Medium) -> Mixture:
    mean, sigma = _own(reference)
    if reference.kind == "dpi" or reference.weak:
        true = DPI_TRUE[medium] if reference.kind == "dpi" else 0.5
        off, wide = DPI_UNKNOWN
        if reference.kind != "dpi" or medium == "scan":
            off = 0.0
        return Mixture.of((true, mean, sigma), (1 - true, mean + off, wide))
    share, wide = BAD_REFERENCE
    return Mixture.of((1 - share, mean, sigma), (share, mean, math.hypot(wide, 3 * sigma)))


def report_scale(
    evidence: ScaleEvidence, log_across: Floats, weights: Floats, log_step: float, growth: Measured
) -> Scale:
    """The scale as the posterior has it, and each reference beside it.

    Parameters
    ----------
    log_across, weights
        (points,) the lattice's ln(scale across) with posterior weights that sum to 1.
    log_step
        Distance of the lattice's nodes in ln(scale).
    growth
        What is known of growth, mm.
    """
    across = lattice_spread_of(log_across, weights, log_step)
    mean, sigma = across.value, across.sigma
    along = evidence.along_given(log_across, weights)
    rows: list[tuple[SizeReference, float, float]] = []
    for reference in evidence.references:
        own, own_sigma = _own(reference)
        for height in evidence.heights:
            if height.reference is reference:
                own, own_sigma = _height_alone(height, growth.value, growth.sigma)
        rows.append((reference, own, own_sigma))
    found = []
    for reference, own, own_sigma in rows:
        at = along.value if reference.axis == "along" else mean
        pull = (own - at) / own_sigma
        note = "" if reference.used else "turned off"
        if reference.used and reference.kind == "dpi" and abs(pull) > DISAGREE_SIGMAS:
            note = "does not fit the key, as on any enlarged copy"
        found.append(
            ReferenceReading(
                reference.kind,
                reference.axis,
                Measured(math.exp(own), math.exp(own) * own_sigma),
                pull,
                reference.used,
                note,
            )
        )
    words, percent = _disagreement(rows, evidence.anisotropy_sigma)
    return Scale(
        px_per_mm_along=_from_log(along.value, along.sigma),
        px_per_mm_across=_from_log(mean, sigma),
        references=tuple(found),
        agree=not words,
        disagreement=words,
        disagreement_percent=percent,
        gauge_offset_mm=None if evidence.spacing is None else evidence.spacing.offset_mm,
    )


def _height_alone(height: Height, growth_mm: float, growth_sigma_mm: float) -> tuple[float, float]:
    """(ln scale, sigma) of a blade height by itself, its growth being what is now known of it."""
    reference = height.reference
    if height.by_hand:
        mean_mm, spread_mm = hand_height_moments()
    else:
        grown_mm, grown_sigma_mm = height.edges * growth_mm, height.edges * growth_sigma_mm
        reach_mm = HEIGHT_SHARE_TOP * grown_mm
        any_sigma_mm = math.hypot(abs(reach_mm) / math.sqrt(12), HEIGHT_SHARE_TOP / 2 * grown_sigma_mm)
        share = float(alike_share(grown_mm, alike=reference.alike))
        parts = (
            (1 - share, reach_mm / 2, any_sigma_mm),
            (share, float(alike_height(grown_mm)), math.hypot(ALIKE_SIGMA_MM, grown_sigma_mm)),
        )
        mean_mm = sum(weight * mean for weight, mean, _ in parts)
        spread_mm = math.sqrt(sum(weight * (sd**2 + (mean - mean_mm) ** 2) for weight, mean, sd in parts))
    whole_mm = reference.true_mm + mean_mm
    sigma_mm = math.hypot(spread_mm, math.hypot(HEIGHT_UNEVEN_MM, reference.true_sigma_mm))
    return (
        math.log(reference.seen_px / whole_mm),
        math.hypot(sigma_mm / whole_mm, reference.seen_sigma_px / reference.seen_px),
    )


def _disagreement(rows: Sequence[tuple[SizeReference, float, float]], anisotropy_sigma: float) -> tuple[str, float]:
    """The worst pair of references that cannot both be right, in a sentence; empty where all agree."""
    worst, words, percent = DISAGREE_SIGMAS, "", 0.0
    strong = [row for row in rows if row[0].used and not row[0].weak and row[0].kind != "dpi"]
    for index, (one, one_log, one_sigma) in enumerate(strong):
        for two, two_log, two_sigma in strong[index + 1 :]:
            sigma = math.hypot(one_sigma, two_sigma)
            if one.axis != two.axis:
                sigma = math.hypot(sigma, anisotropy_sigma)
            off = one_log - two_log
            if abs(off) > worst * sigma:
                worst = abs(off) / sigma
                percent = 100 * math.expm1(abs(off))
                words = (
                    f"The {NAMES[one.kind]} and the {NAMES[two.kind]} disagree about the scale by {percent:.1f} %; "
                    f"check both, or turn one off."
                )
    return words, percent


def _from_log(mean: float, sigma: float) -> Measured:
    value = math.exp(mean)
    return Measured(value, value * sigma)
