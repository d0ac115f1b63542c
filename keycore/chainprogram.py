"""Chains at places as flows: the linear programme of a trial plan, its prices, and the integer programme.

At each place (the first blank, the second, ...) one unit flows through the order from shallow to deep.  Where it
passes through a code it either takes the code, which costs ``place * weight``, or passes it by for nothing; every code
is taken at one place.  With whole numbers this is exactly a plan; without, it is a lower bound, and a close one: the
flow at each place stays in the convex hull of the chains, so the bound is as good as that of a programme over all
chains, of which there are too many to write down.

The last place may be used by any number of chains, so that no plan with more blanks is shut out; a chain further on
counts as if it stood there, which can only lower the bound.

The linear programme's numbers are never trusted for the bound: its prices are, and any prices give a bound by one
longest path for each place (:func:`prices_of`).  That an integer programme has no better plan is the solver's own word,
good to about 1e-10 blanks.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from keycore.blanks import Chain, Order, direct
from keycore.chainproblem import ChainProblem, heaviest_again_and_again, traced
from keycore.measured import Floats

if TYPE_CHECKING:
    from scipy.sparse import csc_matrix

Pairs = NDArray[np.bool_]
"""(codes, places) True where a code may be taken."""
_COST_UNIT = 1e-4
"""Blanks that count as 1 for the solver: its tolerances are absolute, about 1e-6 of its own units."""
_NEVER, _LITTLE = -1e9, 1e-5


@dataclass(frozen=True)
class Prices:
    """Worths of the codes, and what follows from them.

    Attributes
    ----------
    worth
        (n,) what it is worth that a code is taken.
    bound
        No plan that takes its codes at allowed places costs less.
    surplus
        (n, places) no such plan that takes this code at this place costs less than ``bound + surplus``.
    """

    worth: Floats
    bound: float
    surplus: Floats


def prices_of(problem: ChainProblem, worth: Floats, allowed: Pairs) -> Prices:
    """The bound that these worths give.

    A plan costs at least the sum of all worths less what the best chain at each place earns, and if a code stands at a
    place, what the best chain through that code earns there.
    """
    places = allowed.shape[1]
    gain = worth[:, None] - problem.weights[:, None] * np.arange(1, places + 1)
    gain = np.where(allowed, gain, _NEVER)
    ending, _ = problem.longest(gain)
    through = ending + problem.onward(gain)
    earned = np.maximum(ending.max(axis=0) - problem.none, 0.0)
    uses = np.ones(places)
    uses[-1] = max(len(worth) - places + 1, 1)
    return Prices(worth, float(worth.sum() - earned @ uses), earned - (through - problem.none))


class FlowProgramme:
    """The programme over the allowed (code, place) pairs.

    Parameters
    ----------
    allowed
        Pairs that are left; every code needs one.
    """

    def __init__(self, problem: ChainProblem, allowed: Pairs) -> None:
        self.problem = problem
        self.places = allowed.shape[1]
        self._codes = [np.flatnonzero(allowed[:, place]) for place in range(self.places)]
        self._first_column: list[int] = []
        self._base = float(problem.weights.sum())
        self._cost, self._equal, self._limited = self._written()

    @property
    def columns(self) -> int:
        """How large the programme is."""
        return len(self._cost)

    def relaxed(self, seconds: float) -> tuple[Floats, Floats] | None:
        """The optimum without whole numbers: (n,) worths of the codes, and (n, places) how much of each code is taken
        at each place.  None if the time was too short.
        """
        from scipy.optimize import linprog  # here, and below, because they are slow to import

        count = len(self.problem.weights)
        found = linprog(
            self._cost / _COST_UNIT,
            A_ub=self._limited,
            b_ub=np.ones(self.places - 1),
            A_eq=self._equal,
            b_eq=self._demand(),
            method="highs-ipm",
            options={"time_limit": max(seconds, 0.05)},
        )
        if found.status != 0:
            return None
        taken = np.zeros((count, self.places))
        for place, (first, codes) in enumerate(zip(self._first_column, self._codes, strict=True)):
            taken[codes, place] = found.x[first : first + len(codes)]
        return np.asarray(found.eqlin.marginals[:count] * _COST_UNIT + self.problem.weights, dtype=float), taken

    def plan(self, limit: float, seconds: float) -> tuple[list[Chain] | None, float]:
        """The best plan of at most this cost that takes allowed pairs only (None if none was found), and a bound of
        all such plans: infinite where there are none.  The limit may be infinite.
        """
        from scipy.optimize import Bounds, LinearConstraint, milp

        whole = np.zeros(self.columns)
        for first, codes in zip(self._first_column, self._codes, strict=True):
            whole[first : first + len(codes)] = 1
        demand = self._demand()
        rules = [
            LinearConstraint(self._equal, demand, demand),
            LinearConstraint(self._limited, -np.inf, np.ones(self.places - 1)),
        ]
        if np.isfinite(limit):
            rules.append(LinearConstraint(self._cost[None, :] / _COST_UNIT, -np.inf, (limit - self._base) / _COST_UNIT))
        found = milp(
            self._cost / _COST_UNIT,
            constraints=rules,
            integrality=whole,
            bounds=Bounds(0, np.where(whole > 0, 1.0, np.inf)),
            options={"time_limit": max(seconds, 0.05), "mip_rel_gap": 0.0},
        )
        if found.status == 2:
            return None, np.inf
        bound = -np.inf if found.mip_dual_bound is None else found.mip_dual_bound * _COST_UNIT + self._base
        return None if found.x is None else self._chains(found.x), float(bound)

    def _demand(self) -> Floats:
        demand = np.zeros(self._equal.shape[0])
        demand[: len(self.problem.weights)] = 1
        return demand

    def _chains(self, taken: Floats) -> list[Chain]:
        chains = []
        for first, codes in zip(self._first_column, self._codes, strict=True):
            left = [int(code) for code in codes[taken[first : first + len(codes)] > 0.5]]
            left.sort(key=self.problem.rank.__getitem__)
            while left:  # one chain at every place but the last
                chain = [left[0]]
                for code in left[1:]:
                    if self.problem.order[chain[-1], code]:
                        chain.append(code)
                chains.append(tuple(chain))
                left = [code for code in left if code not in chain]
        return chains

    def _written(self) -> tuple[Floats, csc_matrix, csc_matrix]:
        """Costs (of a plan, less 1 blank for each code's weight), the equalities, and the limits of the places.

        Rows: every code is taken once; then for each place and code what flows in is taken or passed by, and flows
        out.  Columns for each place: taken, passed by, onward along each direct step, in, out.
        """
        from scipy.sparse import csc_matrix

        entries: list[tuple[NDArray[np.intp], NDArray[np.intp], float]] = []
        limits: list[tuple[NDArray[np.intp], NDArray[np.intp]]] = []
        costs: list[Floats] = []
        row, column = len(self.problem.weights), 0
        for place, codes in enumerate(self._codes):
            own = np.arange(len(codes))
            order: Order = self.problem.order[np.ix_(codes, codes)]
            steps = np.argwhere(direct(order))
            first, last = np.flatnonzero(~order.any(axis=0)), np.flatnonzero(~order.any(axis=1))
            taken = column + own
            passed = taken + len(own)
            onward = column + 2 * len(own) + np.arange(len(steps))
            enter = column + 2 * len(own) + len(steps) + np.arange(len(first))
            leave = column + 2 * len(own) + len(steps) + len(first) + np.arange(len(last))
            into, out_of = row + own, row + len(own) + own
            entries += [
                (codes, taken, 1),
                (into, taken, -1),
                (into, passed, -1),
                (out_of, taken, 1),
                (out_of, passed, 1),
                (out_of[steps[:, 0]], onward, -1),
                (into[steps[:, 1]], onward, 1),
                (into[first], enter, 1),
                (out_of[last], leave, -1),
            ]
            cost = np.zeros(2 * len(own) + len(steps) + len(first) + len(last))
            cost[: len(own)] = place * self.problem.weights[codes]
            cost[enter - column] = self.problem.none
            costs.append(cost)
            if place < self.places - 1:
                limits.append((np.full(len(first), place), enter))
            self._first_column.append(column)
            row, column = row + 2 * len(own), column + len(cost)
        values = np.concatenate([np.full(len(rows), value) for rows, _, value in entries])
        rows, columns = (np.concatenate([entry[i] for entry in entries]) for i in (0, 1))
        equal = csc_matrix((values, (rows, columns)), shape=(row, column))
        rows, columns = (np.concatenate([entry[i] for entry in limits] or [np.zeros(0, int)]) for i in (0, 1))
        limited = csc_matrix((np.ones(len(rows)), (rows, columns)), shape=(self.places - 1, column))
        return np.concatenate(costs), equal, limited


def dived(problem: ChainProblem, allowed: Pairs, stop_with: float) -> list[Chain]:
    """A plan by settling one place after another: where the programme has no single chain there, the chain that holds
    most of what it takes, and then the programme is asked again.  When only ``stop_with`` seconds are left, the
    heaviest chains of the other codes follow.
    """
    left = allowed.copy()
    left[:, -1] = True
    chains: list[Chain] = []
    taken: Floats | None = None
    for place in range(left.shape[1]):
        if taken is None:
            relaxed = FlowProgramme(problem, left).relaxed(problem.seconds_left - stop_with)
            if relaxed is None:
                break
            taken = relaxed[1]
        here = taken[:, place]
        value, came_from = problem.longest((here * problem.weights - 1e-12)[:, None])
        chain = tuple(c for c in traced(came_from[:, 0], int(value[:, 0].argmax())) if here[c] > _LITTLE)
        chains.append(chain)
        settled = np.zeros(len(left), dtype=bool)
        settled[list(chain)] = True
        left[:, place] = settled
        left[settled] = False
        left[settled, place] = True
        if np.abs(here - settled).max() > _LITTLE:
            taken = None
    over = np.ones(len(left), dtype=bool)
    over[[code for chain in chains for code in chain]] = False
    return chains + heaviest_again_and_again(problem, among=over)
