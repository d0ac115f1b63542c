"""Among plans that spend as few blanks on average, one with the fewest trials on average.

Plans cost the same where codes are alike likely, or sums of their probabilities happen to be.  Then parts of two blanks
are exchanged as long as that saves trials and costs no blanks, and lists of up to :data:`SHORT` codes are looked
through completely: codes are laid shallow first on every blank that they can follow on, and left off where what is laid
so far costs too much.  (A code costs at least its weight in blanks, on whichever blank it comes to lie.)
"""

from __future__ import annotations

import math
from collections.abc import Iterable
from itertools import combinations

from keycore.blanks import Chain
from keycore.chainproblem import ALIKE_DIGITS, ChainProblem, exchanges

SHORT = 12
_MOST_STEPS = 50_000
_LESS = 1e-12


def with_fewest_trials(problem: ChainProblem, chains: Iterable[Chain]) -> list[Chain]:
    """A plan, blanks in their order, that spends no more blanks than this one, and as few trials as can be found."""
    best = _exchanged(problem, chains)
    if len(problem.weights) > SHORT:
        return best
    codes = [int(code) for code in problem.topological]
    left = [math.fsum(problem.weights[codes[index:]]) for index in range(len(codes) + 1)]
    limit, fewest = problem.cost(best) + 10.0**-ALIKE_DIGITS, problem.trials(best)
    steps = _MOST_STEPS
    waiting: list[tuple[Chain, ...]] = [()]
    while waiting and steps:
        steps -= 1
        laid = waiting.pop()
        index = sum(map(len, laid))
        if problem.cost(laid) + left[index] > limit:
            continue
        if index == len(codes):
            if (trials := problem.trials(laid)) < fewest - _LESS:
                best, fewest = problem.sorted(laid), trials
            continue
        code = codes[index]
        waiting.append((*laid, (code,)))
        for place, chain in enumerate(laid):
            if problem.order[chain[-1], code]:
                waiting.append((*laid[:place], (*chain, code), *laid[place + 1 :]))
    return best


def _exchanged(problem: ChainProblem, chains: Iterable[Chain]) -> list[Chain]:
    """Deep ends and single codes exchanged for as long as that saves trials and costs no blanks."""
    current = problem.sorted(chains)
    found = True
    while found and problem.seconds_left > 0:
        found = False
        now, trials = problem.cost(current), problem.trials(current)
        for first, second in combinations(range(len(current)), 2):
            rest = [chain for place, chain in enumerate(current) if place not in (first, second)]
            held = [problem.mass(chain) for chain in rest]
            for pair in exchanges(problem.order, current[first], current[second]):
                cost = problem.cost_of_masses(held + [problem.mass(chain) for chain in pair if chain])
                if round(cost - now, ALIKE_DIGITS) <= 0 and problem.trials([*rest, *pair]) < trials - _LESS:
                    current, found = problem.sorted([*rest, *pair]), True
                    break
            if found:
                break
    return current
