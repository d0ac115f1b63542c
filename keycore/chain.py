"""Codes as a chain: sums over all codes, and the likeliest codes, at many points of a lattice at once.

At one point (one scale, one growth) a code's likelihood is a product of one factor a cut, and the largest adjacent step
links neighbours only.  So a code is a chain, and the classical recursions are exact: forward-backward sums over all
codes and gives every cut's marginals; the max-product recursion gives the best completion of any beginning.
Independent edges are one chain of twice the length whose middle link is free.

Cost is linear in cuts and at most quadratic in depths.

Source of the recursions: L. R. Rabiner, Proc. IEEE 77 (1989) 257 (from memory).
"""

from __future__ import annotations

import heapq
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from keycore.measured import Floats

Booleans = NDArray[np.bool_]


@dataclass(frozen=True)
class Links:
    """Which depths may follow which: at most ``reach`` steps apart, except across a ``free`` link.

    ``free[j]`` tells of the link between cut j and cut j + 1.
    """

    depths: int
    reach: int
    free: tuple[bool, ...]

    def matrix(self, link: int) -> Floats:
        """(depths, depths) of 1 where the two may be neighbours, else 0."""
        if self.free[link]:
            return np.ones((self.depths, self.depths))
        index = np.arange(self.depths)
        return np.asarray(np.abs(index[:, None] - index) <= self.reach, dtype=float)

    def allows(self, link: int, one: int, two: int) -> bool:
        """Whether these depths may be neighbours here."""
        return self.free[link] or abs(one - two) <= self.reach

    def count(self, allowed: Booleans | None = None) -> int:
        """How many codes there are, exactly; ``allowed`` is (cuts, depths)."""
        cuts = len(self.free) + 1
        mask = np.ones((cuts, self.depths), dtype=bool) if allowed is None else allowed
        ways = [int(open_) for open_ in mask[0]]
        for link in range(cuts - 1):
            ways = [
                sum(ways[one] for one in range(self.depths) if self.allows(link, one, two))
                if mask[link + 1, two]
                else 0
                for two in range(self.depths)
            ]
        return sum(ways)


def links_of(cuts_per_edge: int, edge_count: int, depths: int, max_adjacent_step: int) -> Links:
    """The links of a table's keys."""
    free = [False] * (cuts_per_edge * edge_count - 1)
    if edge_count == 2:
        free[cuts_per_edge - 1] = True
    return Links(depths, max_adjacent_step, tuple(free))


def forward(factors: Sequence[Floats], links: Links) -> list[Floats]:
    """Per cut, (cells, depths) sums over all beginnings that end in that depth, the cut's own factor included."""
    sums = [factors[0]]
    for link, factor in enumerate(factors[1:]):
        sums.append((sums[-1] @ links.matrix(link)) * factor)
    return sums


def backward(factors: Sequence[Floats], links: Links) -> list[Floats]:
    """Per cut, (cells, depths) sums over all completions after that cut, its own factor left out."""
    sums = [np.ones_like(factors[-1])]
    for link in range(len(factors) - 2, -1, -1):
        sums.append((sums[-1] * factors[link + 1]) @ links.matrix(link))
    return sums[::-1]


def totals(factors: Sequence[Floats], links: Links) -> Floats:
    """(cells,) sums over all codes."""
    return np.asarray(forward(factors, links)[-1].sum(axis=1))


def best_completions(factors: Sequence[Floats], links: Links) -> list[Floats]:
    """Per cut, (cells, depths) greatest product over all completions after that cut, its own factor left out."""
    best = [np.ones_like(factors[-1])]
    for link in range(len(factors) - 2, -1, -1):
        onward = best[-1] * factors[link + 1]
        if links.free[link]:
            best.append(np.repeat(onward.max(axis=1, keepdims=True), links.depths, axis=1))
        else:
            best.append(_greatest_within(onward, links.reach))
    return best[::-1]


def _greatest_within(values: Floats, reach: int) -> Floats:
    """(cells, depths) greatest of the values at most ``reach`` depths away, none of which is negative."""
    depths = values.shape[1]
    window = np.pad(values, ((0, 0), (reach, reach)))
    size = 1
    while size < 2 * reach + 1:
        step = min(size, 2 * reach + 1 - size)
        window = np.maximum(window[:, :-step], window[:, step:])
        size += step
    return np.asarray(window[:, :depths], dtype=float)


@dataclass(frozen=True)
class Ranked:
    """The likeliest codes, by mass, and whether their order is proven.

    Attributes
    ----------
    codes
        Depth indexes of each code, likeliest first.
    masses
        Unnormalised masses, falling.
    proven
        True where no code outside the list can have more mass than the last one in it.
    """

    codes: tuple[tuple[int, ...], ...]
    masses: tuple[float, ...]
    proven: bool


class Ranking:
    """Best-first search for the likeliest codes of a product of mixtures.

    The mass of a code is ``prod_p sum_c weight[p][c] * prod_j factors[p][j][c, code[j]]``: p runs over the pictures
    of the key, c over a picture's lattice.  Codes are built cut by cut.  A beginning is worth at most ``prod_p sum_c
    (its own product at c) * (greatest completion at c)``, because a sum of greatest values is at least the greatest
    sum; the bound of a whole code is its mass.  Beginnings are taken from a heap, the highest bound first, so when a
    whole code is taken nothing left can exceed it: the order is exact.

    The search is capped at ``most`` steps.  When the cap is met (readings that say next to nothing, so that thousands
    of codes are nearly alike) the list so far is filled up from the beginnings at hand, each with its best bound
    followed to the end; masses are still exact, but a code may be missing, and ``proven`` is False.
    """

    def __init__(
        self, weights: Sequence[Floats], factors: Sequence[Sequence[Floats]], links: Links, *, most: int = 4000
    ) -> None:
        self._factors = factors
        self._links = links
        self._steps_left = most
        self._cuts = len(factors[0])
        self._ahead = [
            [factor * best for factor, best in zip(own, best_completions(own, links), strict=True)] for own in factors
        ]
        self._next = [
            [np.flatnonzero(links.matrix(link)[depth]) for depth in range(links.depths)]
            for link in range(self._cuts - 1)
        ]
        self._heap: list[tuple[float, tuple[int, ...]]] = []
        self._products: dict[tuple[int, ...], list[Floats]] = {}
        self._spread((), list(weights))

    def take(self) -> tuple[tuple[int, ...], float] | None:
        """The next likeliest code and its mass; None when there is none left or the cap is met."""
        while self._heap:
            if len(self._heap[0][1]) == self._cuts:
                bound, code = heapq.heappop(self._heap)
                return code, -bound
            if self._steps_left == 0:
                return None
            self._steps_left -= 1
            code = heapq.heappop(self._heap)[1]
            self._spread(code, self._product_of(code))
        return None

    def first(self, count: int) -> Ranked:
        """The ``count`` likeliest codes."""
        found: list[tuple[tuple[int, ...], float]] = []
        while len(found) < count and (taken := self.take()) is not None:
            found.append(taken)
        proven = len(found) == count or not self._heap
        if not proven:
            found = sorted(found + self._followed(8 * count), key=lambda pair: -pair[1])[:count]
        return Ranked(tuple(code for code, _ in found), tuple(mass for _, mass in found), proven)

    def left(self, worth: float = 0.0) -> float:
        """Upper bound on the mass of all codes not taken yet.

        Beginnings whose bound is below ``worth`` are counted as if each of their codes had it.

        The completions of a beginning have at most the sum of one picture's, times the greatest of each other's; the
        picture whose sum exceeds its greatest by least is taken.
        """
        behind = [backward(own, self._links) for own in self._factors]
        mass = 0.0
        for bound, code in self._heap:
            if len(code) == self._cuts:
                mass -= bound
                continue
            if -bound < worth:
                mass -= bound * self._links.depths ** (self._cuts - len(code))
                continue
            cut, depth = len(code) - 1, code[-1]
            spread = np.inf
            for product, own, sums, ahead in zip(
                self._products[code[:-1]], self._factors, behind, self._ahead, strict=True
            ):
                best = float(product @ ahead[cut][:, depth])
                if best > 0:
                    whole = float(product @ (own[cut][:, depth] * sums[cut][:, depth]))
                    spread = min(spread, whole / best)
            mass -= bound * (spread if np.isfinite(spread) else 0.0)
        return mass

    def _product_of(self, code: tuple[int, ...]) -> list[Floats]:
        """Per picture, (points,) weight times the factors of a beginning."""
        return [
            product * own[len(code) - 1][:, code[-1]]
            for product, own in zip(self._products[code[:-1]], self._factors, strict=True)
        ]

    def _bounds(self, cut: int, products: Sequence[Floats]) -> Floats:
        bounds = np.ones(self._links.depths)
        for product, ahead in zip(products, self._ahead, strict=True):
            bounds *= product @ ahead[cut]
        return bounds

    def _spread(self, code: tuple[int, ...], products: list[Floats]) -> None:
        """Put every continuation of a beginning on the heap with its bound."""
        bounds = self._bounds(len(code), products)
        self._products[code] = products
        options = self._next[len(code) - 1][code[-1]] if code else range(self._links.depths)
        for depth in options:
            if bounds[depth] > 0:
                heapq.heappush(self._heap, (-float(bounds[depth]), (*code, int(depth))))

    def _followed(self, count: int) -> list[tuple[tuple[int, ...], float]]:
        """Whole codes from the best beginnings at hand, each following its highest bound."""
        found: dict[tuple[int, ...], float] = {}
        for _, start in heapq.nsmallest(count, self._heap):
            code, products = start, self._product_of(start)
            while len(code) < self._cuts:
                bounds = self._bounds(len(code), products)
                options = self._next[len(code) - 1][code[-1]]
                depth = int(options[np.argmax(bounds[options])])
                products = [p * own[len(code)][:, depth] for p, own in zip(products, self._factors, strict=True)]
                code = (*code, depth)
            found[code] = float(np.prod([product.sum() for product in products]))
        return list(found.items())


def code_masses(codes: Sequence[tuple[int, ...]], weights: Floats, factors: Sequence[Floats]) -> Floats:
    """(codes,) mass of each code in one picture: its product over cuts, summed over the lattice."""
    masses = np.empty(len(codes))
    for row, code in enumerate(codes):
        product = weights.copy()
        for factor, depth in zip(factors, code, strict=True):
            product *= factor[:, depth]
        masses[row] = product.sum()
    return masses
