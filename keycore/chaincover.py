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
3. Where the two do not meet: a linear programme of one flow for each place (:mod:`keycore.chainprogram`).  Its
   optimum is a bound, of lists as the decoder gives them mostly within 1e-4 blanks of the best plan and often that
   plan; of very doubtful ones it has been 0.005 blanks off.
4. A plan from the programme: place after place is settled, and the programme asked again.
5. Its prices say what it costs at least to take a code at a place.  So a guess is made, how far the best plan lies
   above the bound: 1e-6 blanks at first.  Pairs of code and place that cost more than that are left out, which leaves a
   small integer programme (HiGHS through scipy).  If it has a plan within the guess, that is the best of all plans,
   for any better one would have been among the pairs; if not, the bound has risen to the guess, and the guess is made
   larger.  Where that takes long, the best plan of the pairs is sought whatever it costs.
6. Where the programme is too large for the time that is given (some 300 codes), prices are sought by steps along the
   bound's slope.

What that reaches on a busy core (``python -m tests.bench.trials``): all lists of up to 100 codes were proved best
within 3 s, and without a limit of time all 27 lists of 200 codes: half of the 24 that the decoder gave within 20 s,
one after some minutes, and of three of very doubtful readings one after some more. Stopped after 10 s, 15 of the 24
were proved and the others lay within 7e-4 blanks of the bound (doubtful ones within 0.016).

The answer carries the bound; ``proved`` is True only where plan and bound meet to 1e-9.
"""

from __future__ import annotations

import math
import time
from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass

import numpy as np

from keycore.blanks import Chain, Order, fewest_chains, heaviest_by_count
from keycore.chainproblem import ChainProblem, heaviest_again_and_again, improved, traced
from keycore.chainprogram import FlowProgramme, Pairs, Prices, dived, prices_of
from keycore.chainties import with_fewest_trials
from keycore.measured import Floats

MEETS = 1e-9
_MOST_COLUMNS = 60_000
"""A larger programme takes longer than a person waits."""
_FIRST_GUESS, _NEXT_GUESS = 1e-6, 3.0
_LIKELY_PLACES = 12
"""Places that a code may take in the first plan from the programme: with eight it was often far off."""
_MOST_ASCENT = 1500
_SOON_SECONDS, _LATER_SECONDS = 10.0, 100.0


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


def best_cover(
    order: Order,
    probabilities: Floats,
    *,
    none_probability: float = 0.0,
    seconds: float | None = 10.0,
    better: Callable[[Cover], None] | None = None,
) -> Cover:
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
        How long to look for a better plan or a better bound; the answer is valid whenever it stops.  None: until the
        plan is proved the best.
    better
        Called with the first plan, and again whenever plan or bound became better.
    """
    stop_at = math.inf if seconds is None else time.monotonic() + seconds
    problem = ChainProblem(order, np.asarray(probabilities, dtype=float), none_probability, stop_at)
    held = heaviest_by_count(order, problem.weights)
    flow_bound = float(np.sum(problem.weights.sum() + none_probability - held[:-1]))

    def cover(chains: Iterable[Chain], bound: float) -> Cover:
        cost = problem.cost(chains)
        return Cover(tuple(problem.sorted(chains)), cost, min(bound, cost), len(held) - 1)

    starts = [improved(problem, chains) for chains in (heaviest_again_and_again(problem), fewest_chains(order))]
    first = min(starts, key=problem.cost)
    best, bound = first, flow_bound
    if problem.cost(first) > flow_bound + MEETS:
        for best, bound in _by_programme(problem, starts, first, flow_bound):
            if better is not None:
                better(cover(best, bound))
    return cover(with_fewest_trials(problem, best), bound)


def _by_programme(
    problem: ChainProblem, starts: list[list[Chain]], best: list[Chain], bound: float
) -> Iterator[tuple[list[Chain], float]]:
    """Better and better plans and bounds, up to the best that the programme reaches in the time."""
    yield best, bound
    places = max(len(chains) for chains in starts) + 1
    allowed = np.ones((len(problem.weights), places), dtype=bool)
    programme = FlowProgramme(problem, allowed)
    hurried = math.isfinite(problem.seconds_left)
    too_large = hurried and programme.columns > _MOST_COLUMNS
    relaxed = None if too_large else programme.relaxed(problem.seconds_left)
    worth = _ascended(problem, best, places) if relaxed is None else relaxed[0]
    prices = prices_of(problem, worth, allowed)
    best = min([best, improved(problem, heaviest_again_and_again(problem, worth))], key=problem.cost)
    bound = max(bound, prices.bound)
    yield best, bound
    if relaxed is not None and problem.cost(best) > bound + MEETS:
        likely = prices.surplus <= np.sort(prices.surplus, axis=1)[:, [min(_LIKELY_PLACES, places) - 1]]
        settled = dived(problem, likely, 0.3 * problem.seconds_left if hurried else 0.0)
        best = min([best, improved(problem, settled)], key=problem.cost)
        yield best, bound
    guess = _FIRST_GUESS
    while problem.cost(best) > bound + MEETS and problem.seconds_left > 0:
        limit = min(prices.bound + guess, problem.cost(best))
        left = _within(problem, prices, allowed, limit)
        found, least = (None, np.inf) if left is None else _best_within(problem, left, limit, problem.cost(best))
        bound = max(bound, min(least, limit))
        if found is not None:
            best = min([best, found], key=problem.cost)
        yield best, bound
        if limit >= problem.cost(best):
            break  # nothing better was left out
        guess *= _NEXT_GUESS


def _best_within(problem: ChainProblem, left: Pairs, limit: float, known: float) -> tuple[list[Chain] | None, float]:
    """The best plan of these pairs and a bound of all that cost no more than the limit.

    That there is none within the limit is mostly shown soon.  Where it is not, the best plan of the pairs without a
    limit is sought, which is often easier, and may be better than the ``known`` cost.  Whether no plan is better than
    the known one is shown sooner in one way for some lists and in the other for others, so both are tried in turn.
    """
    programme = FlowProgramme(problem, left)
    guessed = limit < known - MEETS
    found: list[Chain] | None = None
    least = -np.inf
    for most, seconds in ((limit, _SOON_SECONDS), (np.inf, np.inf if guessed else _LATER_SECONDS), (limit, np.inf)):
        settled = least > limit - MEETS or (found is not None and problem.cost(found) <= least + MEETS)
        if settled or problem.seconds_left <= 0:
            break
        another, bound = programme.plan(most, min(seconds, problem.seconds_left))
        found = min((plan for plan in (found, another) if plan is not None), key=problem.cost, default=None)
        least = max(least, bound)
    return found, least


def _within(problem: ChainProblem, prices: Prices, allowed: Pairs, limit: float) -> Pairs | None:
    """The pairs that a plan of at most this cost may use; None where there is no such plan.

    With fewer pairs the linear programme's own bound rises, and may leave out more: so it is asked again, as long as
    that helps.
    """
    left = allowed & (prices.bound + prices.surplus <= limit + MEETS)
    while left.any(axis=1).all():
        relaxed = FlowProgramme(problem, left).relaxed(problem.seconds_left / 4)
        if relaxed is None:
            return left
        prices = prices_of(problem, relaxed[0], left)
        if prices.bound > limit + MEETS:
            return None
        fewer = left & (prices.bound + prices.surplus <= limit + MEETS)
        if fewer.sum() > 0.8 * left.sum():
            return fewer if fewer.any(axis=1).all() else None
        left = fewer
    return None


def _ascended(problem: ChainProblem, plan: Sequence[Chain], places: int) -> Floats:
    """Worths by steps along the bound's slope: a code that no chain holds is worth more, one that two hold less.

    Polyak's step, shorter after a while without gain; likely codes may move further.
    """
    cost, stop_with = problem.cost(plan), problem.seconds_left / 2
    worth = np.zeros(len(problem.weights))
    for place, chain in enumerate(problem.sorted(plan), 1):
        worth[list(chain)] = place * problem.weights[list(chain)] + problem.none / len(chain)
    reach = np.sqrt(problem.weights / problem.weights.max())
    uses = np.ones(places)
    uses[-1] = max(len(worth) - places + 1, 1)
    best, most = worth, -np.inf
    length, without_gain = 1.0, 0
    for _turn in range(_MOST_ASCENT):
        value, came_from = problem.longest(worth[:, None] - problem.weights[:, None] * np.arange(1, places + 1))
        earned = np.maximum(value.max(axis=0) - problem.none, 0)
        bound = float(worth.sum() - earned @ uses)
        without_gain += 1
        if bound > most + 1e-7 * cost:
            best, most, without_gain = worth, bound, 0
        elif without_gain >= 15:
            length, without_gain, worth = length / 2, 0, best
        slope = np.ones(len(worth))
        for paid in np.flatnonzero(earned):
            chain = traced(came_from[:, paid], int(value[:, paid].argmax()))
            slope[list(chain)] -= uses[paid]
        steep = float(slope @ (reach * slope))
        if steep == 0 or length < 1e-3 or cost - most < MEETS or problem.seconds_left < stop_with:
            break
        worth = np.maximum(worth + length * (cost - bound) / steep * reach * slope, 0)
    return best
