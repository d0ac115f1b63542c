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
*on average* is another one, and no rule that is quick for every list is to be hoped for: it is NP-hard, even with two
depths and all codes alike likely.  Proof: take any partial order of n things and let thing x be the key of n cuts whose
cut y is deep where y <= x.  Then x comes before y among the keys exactly where it does in the order, so every partial
order is an order of keys.  Take the order of intervals on a line by "ends before".  Chains are sets of intervals that
do not overlap, and with r = 0 and equal p the average is, but for a factor, the sum over intervals of the number of
their set: the minimum sum colouring of an interval graph, which is NP-hard (Szkaliczki, SIAM J. Comput. 29 (1999)
274-287; Marx, Oper. Res. Lett. 33 (2005) 382-384; both cited from memory).

How it is solved
----------------
1. Good plans: heaviest chain again and again, and the fewest chains (matching), each improved by exchanging the deep
   ends of two blanks and by moving single codes.
2. A bound by flow: blank k is begun with probability at least 1 - F(k - 1), where F(k) is the most that any k chains
   can hold (:func:`keycore.blanks.heaviest_by_count`).
3. Where the two do not meet: a linear programme over all (chain, place) pairs and its dual, worths of codes.  Any
   worths give a valid lower bound, whenever the work is stopped, by one longest path for each place.  First they climb
   along the bound's slope, which comes near the best within a second or two; the chains met on the way start the
   programme, which is solved by generating the chains that still pay.
4. Plans from the worths (the chain that pays best at each place in turn), and from an integer programme over the
   chains found (HiGHS through scipy).
5. Where a gap is left and time too: every chain whose reduced cost is within the gap is listed; if they are not too
   many, the integer programme over them proves the best plan.

What that reaches in 10 s (``python -m tests.bench.trials``): plans for 50 codes were all proved best within a second,
most for 100, none for 200; where it was not proved, plan and bound lay within one in two hundred of each other.

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
_MOST_ASCENT, _ASCENT_SHARE = 1500, 0.3
_DISJOINT_A_ROUND = 2
"""Chains with no code in common that are added at each place in each round."""


@dataclass(frozen=True)
class _Prices:
    """Worth of each code, what the best chain at each place earns, and the bound that they give."""

    worth: Floats
    earned: Floats
    bound: float


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


def _heaviest_again_and_again(problem: _Problem, worth: Floats | None = None) -> list[Chain]:
    """For each place in turn the heaviest chain of what is left; with worths, the one that pays best at its place."""
    left = np.ones(len(problem.weights), dtype=bool)
    chains: list[Chain] = []
    while left.any():
        gain = problem.weights if worth is None else worth - (len(chains) + 1) * problem.weights
        if not (gain[left] > 0).any():
            gain = problem.weights
        value, came_from = problem.longest(np.where(left, gain, -np.inf)[:, None])
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
    prices = _ascend(problem, programme, best)
    by_worth = _improved(problem, _heaviest_again_and_again(problem, prices.worth))
    for place, chain in enumerate(problem.sorted(by_worth)[:places]):
        programme.add(place, chain)
    best = min([best, by_worth], key=problem.cost)
    prices = _generate(problem, programme, prices, share_of_time=0.6)
    bound = max(bound, prices.bound)
    programme.take_back()
    found, _ = programme.whole_plan(0.6 * problem.seconds_left)
    if found is not None:
        best = min([best, _improved(problem, found)], key=problem.cost)
    gap = problem.cost(best) - bound
    if gap > MEETS and problem.seconds_left > 0:
        listed = _within(problem, prices, problem.cost(best))
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


def _priced(problem: _Problem, worth: Floats, places: int) -> tuple[_Prices, list[tuple[int, Chain]]]:
    """The bound that these worths give, and the chains that pay at them.

    Any worths give a bound: a plan costs at least their sum less what the best chain at each place earns; the last
    place may be used by all chains that the other places leave over.
    """
    value, came_from = problem.longest(worth[:, None] - problem.weights[:, None] * np.arange(1, places + 1))
    earned = np.maximum(value.max(axis=0) - problem.none, 0)
    bound = float(worth.sum() - earned @ _uses(problem, places))
    paying = [
        (int(place), _traced(came_from[:, place], int(value[:, place].argmax()))) for place in np.flatnonzero(earned)
    ]
    return _Prices(worth, earned, bound), paying


def _uses(problem: _Problem, places: int) -> Floats:
    uses = np.ones(places)
    uses[-1] = max(len(problem.weights) - places + 1, 1)
    return uses


def _ascend(problem: _Problem, programme: _Programme, plan: Sequence[Chain]) -> _Prices:
    """Raise the bound by steps along its slope: a code that no chain holds is worth more, one that two hold less.

    Far quicker than the linear programme until close to the best prices, where the programme takes over with the
    chains found here.  Polyak's step, shorter after a while without gain; likely codes may move further.
    """
    places, cost = programme.places, problem.cost(plan)
    worth = np.zeros(len(problem.weights))
    for place, chain in enumerate(problem.sorted(plan), 1):
        worth[list(chain)] = place * problem.weights[list(chain)] + problem.none / len(chain)
    stop_with = (1 - _ASCENT_SHARE) * problem.seconds_left
    reach = np.sqrt(problem.weights / problem.weights.max())
    uses = _uses(problem, places)
    best, paying = _priced(problem, np.zeros(len(worth)), places)
    length, without_gain = 1.0, 0
    for _ in range(_MOST_ASCENT):
        prices, paying = _priced(problem, worth, places)
        if prices.bound > 0.998 * best.bound:
            for place, chain in paying:
                programme.add(place, chain)
        without_gain += 1
        if prices.bound > best.bound + 1e-7 * cost:
            best, without_gain = prices, 0
        elif without_gain >= 15:
            length, without_gain, worth = length / 2, 0, best.worth
        slope = np.ones(len(worth))
        for place, chain in paying:
            slope[list(chain)] -= uses[place]
        steep = float(slope @ (reach * slope))
        if steep == 0 or length < 1e-3 or cost - best.bound < MEETS or problem.seconds_left < stop_with:
            break
        worth = np.maximum(worth + length * (cost - prices.bound) / steep * reach * slope, 0)
    return best


def _generate(problem: _Problem, programme: _Programme, best: _Prices, share_of_time: float) -> _Prices:
    """Generate chains until none can lower the programme, or the time is up; returns the prices of the best bound."""
    stop_with = (1 - share_of_time) * problem.seconds_left
    place_cost = np.arange(1, programme.places + 1)
    while problem.seconds_left >= stop_with:
        worth, rent = programme.prices()
        prices, paying = _priced(problem, worth, programme.places)
        if prices.bound > best.bound:
            best = prices
        added = False
        gain = worth[:, None] - problem.weights[:, None] * place_cost
        for _ in range(_DISJOINT_A_ROUND):
            for place, chain in paying:
                if float(gain[list(chain), place].sum()) - rent[place] - problem.none > 1e-10:
                    added |= programme.add(place, chain)
                    gain[list(chain), place] = -np.inf
            value, came_from = problem.longest(gain)
            ends = value.argmax(axis=0)
            paying = [(place, _traced(came_from[:, place], int(code))) for place, code in enumerate(ends)]
        if not added:
            break
    return best


def _within(problem: _Problem, prices: _Prices, cost: float) -> list[tuple[int, Chain]] | None:
    """Every (place, chain) that a plan cheaper than ``cost`` could use, or None where they are too many.

    A plan that uses a pair costs at least ``bound`` plus the pair's reduced cost.
    """
    worth, rent = prices.worth, prices.earned
    room = cost - prices.bound + 1e-9
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
