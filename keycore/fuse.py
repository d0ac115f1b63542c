"""Several pictures of one key: their code posteriors multiply, unless they contradict each other."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from keycore.chain import Booleans, Links, Ranking
from keycore.codes import format_code
from keycore.measured import Floats, Measured, Readings
from keycore.posterior import Lattice, Sums
from keycore.prior import SPOILT_KEYS, Making, bad_density
from keycore.refusal import Refusal
from keycore.spec import KeySpec
from keycore.spread import lattice_spread_of
from keycore.verdict import Caution

CONFLICT = 0.02
"""A picture conflicts over a cut when it gives the common depth less than this, the other cuts being as all say."""
CONFLICTS = 2
"""So many cuts in conflict are a contradiction; one is a bad reading, which the other pictures outvote."""
NEGLIGIBLE = 1e-7
CRUMB = 1e-16
MOST_CODES = 400
MOST_STEPS = 1500
WORTH_LISTING = 1e-4
HEIGHT_STEP_SIGMAS, MOST_HEIGHTS = 0.4, 2000


@dataclass(frozen=True)
class Fused:
    """Codes by mass, the mass of all codes, and every cut's marginals, of one picture or several."""

    codes: tuple[tuple[int, ...], ...]
    masses: tuple[float, ...]
    mass: float
    log_mass: float
    """Logarithm of the mass of all codes in the lattices' own units."""
    depths: Floats
    proven: bool


def count_of(readings: Sequence[Readings], spec: KeySpec) -> int:
    """Cuts per edge by the number of readings; refused where the table has no key of so many."""
    counts = {len(one.cuts) for one in readings}
    if len(counts) > 1:
        raise Refusal(
            f"The pictures have different numbers of cuts ({', '.join(map(str, sorted(counts)))}); they cannot "
            f"be of one key.",
            code="decode.counts-differ",
        )
    total = counts.pop()
    possible = [count * spec.edge_count for count in spec.allowed_counts]
    if total not in possible:
        raise Refusal(
            f"{spec.name} has keys of {' or '.join(map(str, possible))} cuts and {total} were measured; mark the "
            f"missing or "
            f"surplus cut, or choose another table.",
            code="decode.count",
        )
    per_edge = total // spec.edge_count
    for one in readings:
        edges = [cut.edge for cut in one.cuts]
        if edges != [1] * per_edge + [2] * (total - per_edge):
            raise Refusal(
                f"Cuts of {spec.name} are given edge by edge, {per_edge} each; got edges {edges}.", code="decode.edges"
            )
    return per_edge


def alone_of(lattice: Lattice, sums: Sums, links: Links, count: int) -> Fused:
    """One picture's codes, exactly."""
    ranked = Ranking([lattice.weights], [lattice.factors], links).first(count)
    return Fused(ranked.codes, ranked.masses, sums.mass, math.log(sums.mass), sums.depths, ranked.proven)


def fuse(lattices: Sequence[Lattice], sums: Sequence[Sums], links: Links) -> Fused:
    """The product of several pictures' posteriors.

    Codes are taken from the likeliest on until the next one no longer matters; an upper bound on the mass of all that
    were not taken is added to the whole, so no listed code is given too much.
    """
    weights = [lattice.weights / own.mass for lattice, own in zip(lattices, sums, strict=True)]
    ranking = Ranking(weights, [lattice.factors for lattice in lattices], links, most=MOST_STEPS)
    codes: list[tuple[int, ...]] = []
    masses: list[float] = []
    while len(codes) < MOST_CODES and (taken := ranking.take()) is not None:
        codes.append(taken[0])
        masses.append(taken[1])
        if len(codes) >= 10 and taken[1] < NEGLIGIBLE * sum(masses):
            break
    proven = bool(codes) and len(codes) >= 10
    if not codes:
        rest = ranking.first(10)
        codes, masses = list(rest.codes), list(rest.masses)
    found = sum(masses)
    mass = found + ranking.left(CRUMB * found)
    depths = np.zeros_like(sums[0].depths)
    for code, own in zip(codes, masses, strict=True):
        depths[np.arange(len(code)), code] += own / mass
    # What was not listed is shared out as the listed codes are; it is next to nothing unless the pictures say nothing.
    depths /= depths.sum(axis=1, keepdims=True)
    log_mass = math.log(max(mass, 1e-300)) + sum(math.log(own.mass) for own in sums)
    return Fused(tuple(codes), tuple(masses), mass, log_mass, depths, proven)


def side_by_side(singles: Sequence[Fused]) -> Fused:
    """Contradicting pictures' codes beside each other: each picture is as likely as the others to be the right one."""
    masses: dict[tuple[int, ...], float] = {}
    for single in singles:
        for code, mass in zip(single.codes, single.masses, strict=True):
            masses[code] = masses.get(code, 0.0) + mass / single.mass / len(singles)
    ranked = sorted(masses.items(), key=lambda pair: -pair[1])
    depths = np.mean([single.depths for single in singles], axis=0)
    return Fused(
        tuple(code for code, _ in ranked), tuple(mass for _, mass in ranked), 1.0, 0.0, np.asarray(depths), False
    )


def conflicts_of(fused: Fused, lattices: Sequence[Lattice]) -> list[tuple[int, ...]]:
    """Per picture, the 0-based cuts over which it conflicts with the code that all together give."""
    common = fused.codes[0]
    found = []
    for lattice in lattices:
        own = []
        for cut, depth in enumerate(common):
            depths = cells_without(common, lattice, cut) @ lattice.factors[cut]
            if depths[depth] < CONFLICT * depths.sum():
                own.append(cut)
        found.append(tuple(own))
    return found


def conflict_cautions(conflicts: Sequence[tuple[int, ...]]) -> list[Caution]:
    """A word for every picture that conflicts over a single cut."""
    return [
        Caution(f"Picture {picture} disagrees with the others over cut {cuts[0] + 1}; look at it again.")
        for picture, cuts in enumerate(conflicts, 1)
        if 0 < len(cuts) < CONFLICTS
    ]


def contradiction(singles: Sequence[Fused], conflicts: Sequence[tuple[int, ...]], spec: KeySpec) -> Caution:
    """The sentence for pictures that contradict each other."""
    odd = max(range(len(conflicts)), key=lambda picture: len(conflicts[picture]))
    other = min(range(len(conflicts)), key=lambda picture: (len(conflicts[picture]), picture == odd))

    def says(picture: int) -> str:
        single = singles[picture]
        code = format_code(tuple(spec.labels[depth] for depth in single.codes[0]), spec)
        return f"picture {picture + 1} says {code} ({single.masses[0] / single.mass:.2f})"

    return Caution(
        f"The pictures contradict each other: {says(odd)}, {says(other)}. They may show different keys; nothing was "
        f"averaged. Leave one out.",
        True,
        "the pictures contradict each other",
    )


@dataclass(frozen=True)
class SeenHeight:
    """What all pictures together say of one cut's height on the key: evenly spaced heights and their density.

    Attributes
    ----------
    heights_mm, density
        (n,) heights and the density of each, 1/mm; it integrates to 1.
    """

    heights_mm: Floats
    density: Floats

    @classmethod
    def of(cls, roots: Sequence[Measured], bad_shares: Sequence[float]) -> SeenHeight:
        """From each picture's own root and how often its reading is bad: one bad reading does not drag the others."""
        reach_mm = 6 * max(root.sigma for root in roots) + 0.3
        low = min(root.value for root in roots) - reach_mm
        high = max(root.value for root in roots) + reach_mm
        count = min(math.ceil((high - low) / (HEIGHT_STEP_SIGMAS * min(root.sigma for root in roots))), MOST_HEIGHTS)
        heights_mm = np.linspace(low, high, count + 1)
        log_density = np.zeros_like(heights_mm)
        for root, share in zip(roots, bad_shares, strict=True):
            off_mm = root.value - heights_mm
            sound = np.exp(-0.5 * (off_mm / root.sigma) ** 2) / (root.sigma * math.sqrt(2 * math.pi))
            log_density += np.log((1 - share) * sound + share * bad_density(off_mm, root.sigma) + 1e-300)
        density = np.exp(log_density - log_density.max())
        return cls(heights_mm, density / (density.sum() * (heights_mm[1] - heights_mm[0])))

    def spread(self, wear_mm: Floats, shares: Floats) -> Measured:
        """Median and one-sigma half-width of the height less a common wear with these probabilities.

        Wear is mostly none and sometimes much, so the two are added as they are, not as two standard deviations.
        """
        step_mm = float(self.heights_mm[1] - self.heights_mm[0])
        held = self.density > 1e-9 * self.density.max()
        roots_mm = self.heights_mm[held, None] - wear_mm
        weights = self.density[held, None] * step_mm * shares
        return lattice_spread_of(roots_mm.ravel(), weights.ravel() / weights.sum(), step_mm)

    def mean_of(self, density: Floats) -> float:
        """Integral of this density times another one at the same heights."""
        return float(self.density @ density) * float(self.heights_mm[1] - self.heights_mm[0])


def with_spoilt_cuts(
    fused: Fused, seen: Sequence[SeenHeight], making: Making, spec: KeySpec, links: Links, allowed: Booleans
) -> Fused:
    """Several pictures' posterior, when a cut may be spoilt on the key itself and so look alike in all of them.

    The likeliest code's neighbours in one cut gain the mass that they have if that cut is spoilt
    (:mod:`keycore.prior`), by its height as seen in all pictures.
    """
    best, best_mass = fused.codes[0], fused.masses[0]
    share = SPOILT_KEYS / len(best)
    masses = dict(zip(fused.codes, fused.masses, strict=True))
    depths = fused.depths * fused.mass
    gained = 0.0
    for cut, height in enumerate(seen):
        off_mm = height.heights_mm - spec.roots_mm[:, None]
        spoilt = share * np.array([height.mean_of(bad_density(row, 0.0)) for row in off_mm])
        sound = (1 - share) * height.mean_of(making.density(off_mm[best[cut]], 0.0))
        for depth in np.flatnonzero(allowed[cut]):
            code = (*best[:cut], int(depth), *best[cut + 1 :])
            if depth == best[cut] or not _may_be(code, links):
                continue
            gain = best_mass * float(spoilt[depth]) / (sound + float(spoilt[best[cut]]))
            masses[code] = masses.get(code, 0.0) + gain
            depths[np.arange(len(code)), code] += gain
            gained += gain
    mass = fused.mass + gained
    ranked = sorted(masses.items(), key=lambda pair: -pair[1])
    return Fused(
        tuple(code for code, _ in ranked),
        tuple(own for _, own in ranked),
        mass,
        fused.log_mass,
        np.asarray(depths / depths.sum(axis=1, keepdims=True)),
        fused.proven,
    )


def _may_be(code: tuple[int, ...], links: Links) -> bool:
    return all(links.allows(link, one, two) for link, (one, two) in enumerate(pairwise(code)))


def cells_given(fused: Fused, lattice: Lattice) -> Floats:
    """(points,) weights of one picture's lattice, given what all pictures say of the code."""
    cells = np.zeros_like(lattice.weights)
    for code, mass in zip(fused.codes, fused.masses, strict=True):
        if mass < WORTH_LISTING * fused.masses[0]:
            break
        product = _product(code, lattice, None)
        total = float(product.sum())
        if total > 0:
            cells += mass / total * product
    return np.asarray(cells / cells.sum())


def allows(code: Sequence[int], lattice: Lattice) -> bool:
    """Whether this code has any weight on a picture's lattice (of a picture of another key it may have none)."""
    return bool(_product(code, lattice, None).any())


def cells_without(code: Sequence[int], lattice: Lattice, cut: int) -> Floats:
    """(points,) weights of one picture's lattice under this code, one cut's reading left out."""
    product = _product(code, lattice, cut)
    return np.asarray(product / product.sum())


def _product(code: Sequence[int], lattice: Lattice, without: int | None) -> Floats:
    product = lattice.weights.copy()
    for j, (factor, depth) in enumerate(zip(lattice.factors, code, strict=True)):
        if j != without:
            product *= factor[:, depth]
    return product
