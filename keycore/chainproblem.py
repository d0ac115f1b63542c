"""Sharing out codes over blanks: the problem as numbers, quick good plans, and their improvement.

See :mod:`keycore.chaincover` for what is minimised.
"""

from __future__ import annotations

import math
import time
from collections.abc import Iterable, Iterator, Sequence

import numpy as np

from keycore.blanks import Chain, Order, shallow_first
from keycore.chain import Booleans
from keycore.measured import Floats

ALIKE_DIGITS = 12
"""Masses and costs that agree to so many digits are alike."""


class ChainProblem:
    """Order, weights and the clock."""

    def __init__(self, order: Order, weights: Floats, none: float, stop_at: float) -> None:
        self.order, self.weights, self.none, self._stop_at = order, weights, none, stop_at
        self.topological = shallow_first(order)
        self.rank = {int(code): rank for rank, code in enumerate(self.topological)}
        self.before = [np.flatnonzero(order[:, code]) for code in range(len(order))]
        self.after = [np.flatnonzero(order[code]) for code in range(len(order))]

    @property
    def seconds_left(self) -> float:
        """Until the search must stop; negative afterwards."""
        return self._stop_at - time.monotonic()

    def mass(self, chain: Iterable[int]) -> float:
        """Weight that a chain holds."""
        return math.fsum(self.weights[code] for code in chain)

    def sorted(self, chains: Iterable[Chain]) -> list[Chain]:
        """Chains in the order in which blanks are used."""
        used = [tuple(chain) for chain in chains if chain]
        return sorted(used, key=lambda chain: (-round(self.mass(chain), ALIKE_DIGITS), len(chain), chain))

    def trials(self, chains: Iterable[Chain]) -> float:
        """Trials on average, blanks being used in the order of :meth:`sorted`."""
        tried = np.array([code for chain in self.sorted(chains) for code in chain], dtype=np.intp)
        return float(np.arange(1, len(tried) + 1) @ self.weights[tried]) + len(tried) * self.none

    def cost(self, chains: Iterable[Chain]) -> float:
        """Blanks spent on average."""
        return self.cost_of_masses([self.mass(chain) for chain in chains if chain])

    def cost_of_masses(self, masses: Sequence[float]) -> float:
        """As :meth:`cost`, from what the chains hold."""
        ranked = sorted(masses, reverse=True)
        return math.fsum((place + 1) * mass for place, mass in enumerate(ranked)) + len(ranked) * self.none

    def longest(self, gain: Floats) -> tuple[Floats, Floats]:
        """Best chain that ends in each code, for each column of gains: (n, k) values and the code before (or -1)."""
        value = gain.copy()
        came_from = np.full(gain.shape, -1)
        columns = np.arange(gain.shape[1])
        for code in self.topological:
            before = self.before[code]
            if before.size:
                which = value[before].argmax(axis=0)
                most = value[before][which, columns]
                value[code] += np.maximum(most, 0)
                came_from[code] = np.where(most > 0, before[which], -1)
        return value, came_from

    def onward(self, gain: Floats) -> Floats:
        """What the best chain that starts in each code earns after it, for each column of gains: (n, k)."""
        further = np.zeros_like(gain)
        for code in self.topological[::-1]:
            after = self.after[code]
            if after.size:
                further[code] = np.maximum((gain[after] + further[after]).max(axis=0), 0)
        return further


def heaviest_again_and_again(
    problem: ChainProblem, worth: Floats | None = None, among: Booleans | None = None
) -> list[Chain]:
    """For each place in turn the heaviest chain of what is left; with worths, the one that pays best at its place.

    ``among`` says of which codes; all where it is None.
    """
    left = np.ones(len(problem.weights), dtype=bool) if among is None else among.copy()
    chains: list[Chain] = []
    while left.any():
        gain = problem.weights if worth is None else worth - (len(chains) + 1) * problem.weights
        if not (gain[left] > 0).any():
            gain = problem.weights
        value, came_from = problem.longest(np.where(left, gain, -np.inf)[:, None])
        chain = traced(came_from[:, 0], int(value[:, 0].argmax()))
        chains.append(chain)
        left[list(chain)] = False
    return chains


def traced(came_from: Floats, code: int) -> Chain:
    """The chain that ends in a code, from :meth:`ChainProblem.longest`."""
    chain = []
    while code != -1:
        chain.append(int(code))
        code = int(came_from[code])
    return tuple(reversed(chain))


def improved(problem: ChainProblem, chains: Iterable[Chain]) -> list[Chain]:
    """Exchange deep ends of two chains, and move single codes, for as long as that saves blanks."""
    current = problem.sorted(chains)
    found = True
    while found and problem.seconds_left > 0:
        found = False
        for first in range(len(current)):
            for second in range(first + 1, len(current)):
                pair = _better_pair(problem, current, first, second)
                if pair is not None:
                    current[first], current[second] = pair
                    found = True
        current = problem.sorted(current)
    return current


def exchanges(order: Order, one: Chain, two: Chain) -> Iterator[tuple[Chain, Chain]]:
    """Two chains with their deep ends exchanged anywhere, and with single codes of the second moved to the first."""

    def follows(chain: Chain, tail: Chain) -> bool:
        return not chain or not tail or bool(order[chain[-1], tail[0]])

    for i in range(len(one) + 1):
        for j in range(len(two) + 1):
            if follows(one[:i], two[j:]) and follows(two[:j], one[i:]):
                yield one[:i] + two[j:], two[:j] + one[i:]
    for place, code in enumerate(two):
        for i in range(len(one) + 1):
            if follows(one[:i], (code,)) and follows((code,), one[i:]):
                yield one[:i] + (code,) + one[i:], two[:place] + two[place + 1 :]
                break


def _better_pair(problem: ChainProblem, chains: list[Chain], first: int, second: int) -> tuple[Chain, Chain] | None:
    one, two = chains[first], chains[second]
    if not one or not two:
        return None
    best, best_cost = None, problem.cost(chains) - 1e-12
    rest = [problem.mass(chain) for place, chain in enumerate(chains) if chain and place not in (first, second)]
    for a, b in exchanges(problem.order, one, two):
        cost = problem.cost_of_masses(rest + [problem.mass(chain) for chain in (a, b) if chain])
        if cost < best_cost:
            best, best_cost = (a, b), cost
    return best
