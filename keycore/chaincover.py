"""Sharing out candidate codes over blanks so that the fewest blanks are spent on average.

What is minimised
-----------------
Candidates i have probabilities p_i; with probability r = 1 - sum p_i none of them is right.  A plan shares the
candidates out over blanks, each blank a chain (:mod:`keycore.blanks`), and uses the blanks one after another until
the lock opens.  Blank k is begun only if nothing on the blanks before it opened, so

    E[blanks] = sum over k of (1 - P_1 - ... - P_(k-1)) = sum_k k P_k + K r,

with P_k the probability held by blank k and K the number of blanks.  Three things follow at once:

* a blank that is begun is finished before another is begun (finishing it costs no blank);
* within a blank the order is forced, shallow to deep;
* for given chains the likeliest blank comes first; among equally likely blanks the one with fewer codes comes first,
  which leaves E[blanks] and saves trials.

So what is left to choose is the chains.  Fewest blanks in the worst case is Dilworth's problem and a matching; fewest
*on average* is another one: it is the minimum-sum colouring, with weights, of the graph of codes that cannot share a
blank.  That is NP-hard already for interval orders (Szkaliczki, SIAM J. Discrete Math. 12 (1999) 274-293; Marx,
Oper. Res. Lett. 33 (2005) 382-384; both cited from memory), so no quick exact rule is to be hoped for, and none is
claimed.

How it is solved
----------------
1. Good plans: heaviest chain again and again, and the fewest chains (matching), each improved by exchanging the deep
   ends of two blanks and by moving single codes.
2. A bound by flow: blank k is begun with probability at least 1 - F(k - 1), where F(k) is the most that any k chains
   can hold (:func:`keycore.blanks.heaviest_by_count`).
3. Where the two do not meet: a linear programme over all (chain, place) pairs, solved by generating chains as they
   are needed (the best chain for given prices is a longest path).  Any prices give a valid lower bound, whenever the
   work is stopped.  The chains found make an integer programme (HiGHS through scipy), which gives better plans.
4. Where a gap is left and time too: every chain whose reduced cost is within the gap is listed; if they are not too
   many, the integer programme over them proves the best plan.

The answer carries the bound; ``proved`` is True only where plan and bound meet to 1e-9.
"""

from __future__ import annotations

import math
import time
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from keycore.blanks import Chain, Order, fewest_chains, heaviest_by_count, shallow_first
from keycore.measured import Floats

if TYPE_CHECKING:
    from scipy.sparse import csc_matrix

MEETS = 1e-9
_MOST_LISTED = 20_000
_MOST_PAIRS_A_ROW = 8
"""Pairs in the linear programme for each of its rows, before those that are far from paying are put aside."""
_DISJOINT_A_ROUND = 2
"""Chains with no code in common that are added at each place in each round."""


@dataclass(frozen=True)
class Cover:
    """Chains in the order in which blanks are used.

    Attributes
    ----------
    chains
        Indexes of the candidates on each blank, shallow to deep; likeliest blank first.
    expected_blanks
        Blanks spent on average, the chance that no candidate is right included.
    bound_blanks
        No plan spends fewer on average.
    fewest_blanks
        Size of the largest antichain: no plan that tries every candidate needs fewer blanks in the worst case.
    """

    chains: tuple[Chain, ...]
    expected_blanks: float
    bound_blanks: float
    fewest_blanks: int

    @property
    def proved(self) -> bool:
        """True where it is proved that no plan spends fewer blanks on average."""
        return self.expected_blanks <= self.bound_blanks + MEETS


def best_cover(order: Order, probabilities: Floats, *, none_probability: float = 0.0, seconds: float = 10.0) -> Cover:
    """Chains that spend the fewest blanks on average.

    Parameters
    ----------
    order
        (n, n) from :func:`keycore.blanks.order_of`.
    probabilities
        (n,) positive.
    none_probability
        Chance that no candidate is right.
    seconds
        How long to look for a better plan or a better bound; the answer is valid whenever it stops.
    """
    problem = _Problem(order, np.asarray(probabilities, dtype=float), none_probability, time.monotonic() + seconds)
    held = heaviest_by_count(order, problem.weights)
    flow_bound = float(np.sum(problem.weights.sum() + none_probability - held[:-1]))
    starts = [_improved(problem, chains) for chains in (_heaviest_again_and_again(problem), fewest_chains(order))]
    best = min(starts, key=problem.cost)
    bound = flow_bound
    if problem.cost(best) > bound + MEETS:
        best, bound = _by_linear_programme(problem, starts, best, bound)
    cost = problem.cost(best)
    return Cover(tuple(problem.sorted(best)), cost, min(bound, cost), len(held) - 1)


class _Problem:
    """Order, weights and the clock."""

    def __init__(self, order: Order, weights: Floats, none: float, stop_at: float) -> None:
        self.order, self.weights, self.none, self._stop_at = order, weights, none, stop_at
        self.topological = shallow_first(order)
        self.before = [np.flatnonzero(order[:, code]) for code in range(len(order))]
        self.after = [np.flatnonzero(order[code]) for code in range(len(order))]

    @property
    def seconds_left(self) -> float:
        return self._stop_at - time.monotonic()

    def mass(self, chain: Iterable[int]) -> float:
        return math.fsum(self.weights[code] for code in chain)

    def sorted(self, chains: Iterable[Chain]) -> list[Chain]:
        used = [tuple(chain) for chain in chains if chain]
        return sorted(used, key=lambda chain: (-self.mass(chain), len(chain), chain))

    def cost(self, chains: Iterable[Chain]) -> float:
        return self.cost_of_masses([self.mass(chain) for chain in chains if chain])

    def cost_of_masses(self, masses: Sequence[float]) -> float:
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


def _heaviest_again_and_again(problem: _Problem) -> list[Chain]:
    left = np.ones(len(problem.weights), dtype=bool)
    chains = []
    while left.any():
        value, came_from = problem.longest(np.where(left, problem.weights, -np.inf)[:, None])
        chain = _traced(came_from[:, 0], int(value[:, 0].argmax()))
        chains.append(chain)
        left[list(chain)] = False
    return chains


def _traced(came_from: Floats, code: int) -> Chain:
    chain = []
    while code != -1:
        chain.append(int(code))
        code = int(came_from[code])
    return tuple(reversed(chain))


def _improved(problem: _Problem, chains: Iterable[Chain]) -> list[Chain]:
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


def _better_pair(problem: _Problem, chains: list[Chain], first: int, second: int) -> tuple[Chain, Chain] | None:
    one, two = chains[first], chains[second]
    masses = [problem.mass(chain) for chain in chains if chain]
    if not one or not two:
        return None
    now = problem.cost_of_masses(masses)
    rest = [problem.mass(chain) for place, chain in enumerate(chains) if chain and place not in (first, second)]
    order = problem.order
    best, best_cost = None, now - 1e-12

    def follows(chain: Chain, tail: Chain) -> bool:
        return not chain or not tail or bool(order[chain[-1], tail[0]])

    options = [
        (one[:i] + two[j:], two[:j] + one[i:])
        for i in range(len(one) + 1)
        for j in range(len(two) + 1)
        if follows(one[:i], two[j:]) and follows(two[:j], one[i:])
    ]
    for place, code in enumerate(two):
        for i in range(len(one) + 1):
            if follows(one[:i], (code,)) and follows((code,), one[i:]):
                options.append((one[:i] + (code,) + one[i:], two[:place] + two[place + 1 :]))
                break
    for a, b in options:
        cost = problem.cost_of_masses(rest + [problem.mass(chain) for chain in (a, b) if chain])
        if cost < best_cost:
            best, best_cost = (a, b), cost
    return best


class _Programme:
    """The (chain, place) pairs known so far.

    The last place may be used by any number of chains, so that no plan with more blanks is shut out; a chain further
    on counts as if it stood there, which can only lower the bound.
    """

    def __init__(self, problem: _Problem, places: int) -> None:
        self.problem, self.places = problem, places
        self.pairs: list[tuple[int, Chain]] = []
        self._known: set[tuple[int, Chain]] = set()
        self._aside: list[tuple[int, Chain]] = []
        self._most_pairs = _MOST_PAIRS_A_ROW * (len(problem.weights) + places)

    def add(self, place: int, chain: Chain) -> bool:
        """Take a pair in; returns whether it was not among those in use."""
        if (place, chain) in self._known:
            return False
        self._known.add((place, chain))
        self.pairs.append((place, chain))
        return True

    def take_back(self) -> None:
        """Bring back all pairs that were put aside."""
        for place, chain in self._aside:
            self.add(place, chain)

    def _put_aside(self, reduced_cost: Floats) -> None:
        """Keep the programme small: pairs that are far from paying wait outside."""
        if len(self.pairs) <= self._most_pairs:
            return
        keep = np.sort(np.argsort(reduced_cost, kind="stable")[: self._most_pairs // 2])
        self._most_pairs += self._most_pairs // 4  # so that no pair can come and go for ever
        kept = [self.pairs[index] for index in keep]
        self._known = set(kept)
        self._aside += [pair for pair in self.pairs if pair not in self._known]
        self.pairs = kept

    def arrays(self) -> tuple[Floats, csc_matrix, Floats]:
        from scipy.sparse import csc_matrix  # here, and below, because they are slow to import

        count = len(self.problem.weights)
        rows: list[int] = []
        columns: list[int] = []
        entries: list[float] = []
        cost = np.empty(len(self.pairs))
        for column, (place, chain) in enumerate(self.pairs):
            cost[column] = (place + 1) * self.problem.mass(chain) + self.problem.none
            rows += [*chain, count + place] if place < self.places - 1 else list(chain)
            entries += [-1.0] * len(chain) + [1.0] * (place < self.places - 1)
            columns += [column] * (len(rows) - len(columns))
        shape = (count + self.places - 1, len(self.pairs))
        limits = np.concatenate([-np.ones(count), np.ones(self.places - 1)])
        return cost, csc_matrix((entries, (rows, columns)), shape=shape), limits

    def prices(self) -> tuple[Floats, Floats]:
        """(worth of each code, rent of each place) at the optimum over the pairs known so far."""
        from scipy.optimize import linprog

        cost, matrix, limits = self.arrays()
        result = linprog(cost, A_ub=matrix, b_ub=limits, method="highs", options={"presolve": False})
        worth_and_rent = -np.asarray(result.ineqlin.marginals)
        self._put_aside(cost + matrix.T @ worth_and_rent)
        count = len(self.problem.weights)
        return np.maximum(worth_and_rent[:count], 0), np.append(np.maximum(worth_and_rent[count:], 0), 0.0)

    def whole_plan(self, seconds: float) -> tuple[list[Chain] | None, float]:
        """The best plan made of the known pairs, and a bound for all such plans."""
        from scipy.optimize import Bounds, LinearConstraint, milp

        cost, matrix, limits = self.arrays()
        result = milp(
            cost,
            constraints=LinearConstraint(matrix, -np.inf, limits),
            integrality=np.ones(len(cost)),
            bounds=Bounds(0, 1),
            options={"time_limit": max(seconds, 0.05), "mip_rel_gap": 1e-10},
        )
        bound = -math.inf if result.mip_dual_bound is None else float(result.mip_dual_bound)
        if result.x is None:
            return None, bound
        taken: set[int] = set()
        chains = []
        for (_place, chain), used in zip(self.pairs, result.x, strict=True):
            if used > 0.5:
                chains.append(tuple(code for code in chain if code not in taken))
                taken |= set(chain)
        return chains, bound


def _by_linear_programme(
    problem: _Problem, starts: list[list[Chain]], best: list[Chain], bound: float
) -> tuple[list[Chain], float]:
    places = max(len(chains) for chains in starts) + 1
    programme = _Programme(problem, places)
    for chains in starts:
        for place, chain in enumerate(problem.sorted(chains)):
            for near in range(max(0, place - 1), min(places, place + 2)):
                programme.add(near, chain)
    worth, rent, lp_bound = _generate(problem, programme, share_of_time=0.7)
    bound = max(bound, lp_bound)
    programme.take_back()
    found, _ = programme.whole_plan(0.6 * problem.seconds_left)
    if found is not None:
        best = min([best, _improved(problem, found)], key=problem.cost)
    gap = problem.cost(best) - bound
    if gap > MEETS and problem.seconds_left > 0:
        listed = _within(problem, worth, rent, lp_bound, problem.cost(best))
        if listed is not None:
            whole = _Programme(problem, places)
            for place, chain in listed:
                whole.add(place, chain)
            for place, chain in enumerate(problem.sorted(best)):
                whole.add(min(place, places - 1), chain)
            found, whole_bound = whole.whole_plan(problem.seconds_left)
            bound = max(bound, min(whole_bound, problem.cost(best)))
            if found is not None:
                best = min([best, _improved(problem, found)], key=problem.cost)
    return best, bound


def _generate(problem: _Problem, programme: _Programme, share_of_time: float) -> tuple[Floats, Floats, float]:
    """Generate chains until none can lower the programme, or the time is up; returns prices and their bound."""
    stop_with = (1 - share_of_time) * problem.seconds_left
    place_cost = np.arange(1, programme.places + 1)
    best = (np.zeros(len(problem.weights)), np.zeros(programme.places))
    best_bound = 0.0
    while True:
        worth, rent = programme.prices()
        gain = worth[:, None] - problem.weights[:, None] * place_cost
        added = False
        for turn in range(_DISJOINT_A_ROUND):
            value, came_from = problem.longest(gain)
            if turn == 0:
                # any worths give a bound: a plan costs at least their sum less what the best chain at each place
                # earns; the last place may be used by all chains that the other places leave over
                earned = np.maximum(value.max(axis=0) - problem.none, 0)
                uses = np.ones(programme.places)
                uses[-1] = max(len(worth) - programme.places + 1, 1)
                bound = float(worth.sum() - earned @ uses)
                if bound > best_bound:
                    best_bound, best = bound, (worth, earned)
            for place, code in enumerate(value.argmax(axis=0)):
                if value[code, place] - rent[place] - problem.none > 1e-10:
                    chain = _traced(came_from[:, place], int(code))
                    added |= programme.add(place, chain)
                    gain[list(chain), place] = -np.inf
        if not added or problem.seconds_left < stop_with:
            return best[0], best[1], best_bound


def _within(
    problem: _Problem, worth: Floats, rent: Floats, bound: float, cost: float
) -> list[tuple[int, Chain]] | None:
    """Every (place, chain) that a plan cheaper than ``cost`` could use, or None where they are too many.

    A plan that uses a pair costs at least ``bound`` plus the pair's reduced cost.
    """
    room = cost - bound + 1e-9
    if not math.isfinite(room):
        return None
    listed: list[tuple[int, Chain]] = []
    for place in range(len(rent)):
        gain = worth - (place + 1) * problem.weights
        further = gain.copy()
        for code in reversed(problem.topological):
            after = problem.after[code]
            if after.size:
                further[code] += max(0.0, float(further[after].max()))
        least = rent[place] + problem.none - room
        stack: list[tuple[Chain, float]] = [((int(code),), float(gain[code])) for code in range(len(gain))]
        steps = 0
        while stack:
            steps += 1
            if len(listed) > _MOST_LISTED or steps > 10 * _MOST_LISTED or problem.seconds_left < 0:
                return None
            chain, value = stack.pop()
            if value - gain[chain[-1]] + further[chain[-1]] < least:
                continue
            if value >= least:
                listed.append((place, chain))
            stack += [((*chain, int(code)), value + float(gain[code])) for code in problem.after[chain[-1]]]
    return listed
