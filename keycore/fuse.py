"""Several pictures of one key: their code posteriors multiply, unless they contradict each other."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from keycore.chain import Links, Ranking, code_masses
from keycore.codes import format_code
from keycore.decoding import PictureShare
from keycore.measured import Floats
from keycore.posterior import Lattice, Sums
from keycore.spec import KeySpec
from keycore.verdict import Caution

CONFLICT = 0.1
"""Two pictures conflict over a cut when the probability that both mean the same depth is below this."""
CONFLICTS = 2
"""So many cuts in conflict are a contradiction; one is a bad reading, which the others outvote."""
NEGLIGIBLE = 1e-7
MOST_CODES = 400
MOST_STEPS = 1500
WORTH_LISTING = 1e-4


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
    mass = found + ranking.left()
    depths = np.zeros_like(sums[0].depths)
    for code, own in zip(codes, masses, strict=True):
        depths[np.arange(len(code)), code] += own / mass
    # What was not listed is shared out as the listed codes are; it is next to nothing unless the pictures say nothing.
    depths /= depths.sum(axis=1, keepdims=True)
    log_mass = math.log(max(mass, 1e-300)) + sum(math.log(own.mass) for own in sums)
    return Fused(tuple(codes), tuple(masses), mass, log_mass, depths, proven)


def side_by_side(lattices: Sequence[Lattice], sums: Sequence[Sums], links: Links, count: int) -> Fused:
    """Contradicting pictures' codes beside each other: each picture is as likely as the others to be the right one."""
    share = 1 / len(lattices)
    masses: dict[tuple[int, ...], float] = {}
    singles = [alone_of(lattice, own, links, count) for lattice, own in zip(lattices, sums, strict=True)]
    for code in dict.fromkeys(code for single in singles for code in single.codes):
        masses[code] = sum(
            share * float(code_masses([code], lattice.weights, lattice.factors)[0]) / own.mass
            for lattice, own in zip(lattices, sums, strict=True)
        )
    ranked = sorted(masses.items(), key=lambda pair: -pair[1])
    depths = np.mean([own.depths for own in sums], axis=0)
    return Fused(
        tuple(code for code, _ in ranked), tuple(mass for _, mass in ranked), 1.0, 0.0, np.asarray(depths), False
    )


def contradictions_of(shares: Sequence[PictureShare], sums: Sequence[Sums], spec: KeySpec) -> list[Caution]:
    """Sentences where pictures conflict.

    A picture that conflicts with most of the others over two cuts or more contradicts them: that is serious.  Over one
    cut it was misread, in this picture or in the others.
    """
    depths = np.array([own.depths for own in sums])
    conflict = np.einsum("pjd,qjd->pqj", depths, depths) < CONFLICT
    found = []
    for picture in range(len(sums)):
        others = [other for other in range(len(sums)) if other != picture]
        against = [other for other in others if conflict[picture, other].sum() >= CONFLICTS]
        if 2 * len(against) > len(others):
            one, two = shares[picture], shares[against[0]]
            return [
                Caution(
                    f"The pictures contradict each other: picture {picture + 1} says {format_code(one.code, spec)} "
                    f"({one.probability:.2f}), picture {against[0] + 1} says {format_code(two.code, spec)} "
                    f"({two.probability:.2f}). They may show different keys; nothing was averaged. Leave one out.",
                    True,
                    "the pictures contradict each other",
                )
            ]
        for cut in range(depths.shape[1]):
            if 2 * conflict[picture, others, cut].sum() > len(others):
                label = spec.labels[int(np.argmax(depths[picture, cut]))]
                found.append(
                    Caution(
                        f"Picture {picture + 1} says that cut {cut + 1} is {label}, against the others; look at it again."
                    )
                )
    return found


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
