"""Codes that one blank can be cut to, one after another: chains in the component-wise order.

A blank can be cut deeper and never shallower.  Code b can therefore follow code a on one blank exactly when no cut of
b is shallower than the same cut of a.  That is a partial order, codes that can share a blank are a chain of it, and
by Dilworth's theorem (Ann. Math. 51 (1950) 161-166) the fewest blanks that all of a list of codes need is the size of
its largest antichain: the largest set of codes of which no two can share a blank.

Depths here are indexes: a larger index is a deeper cut; -1 is no cut.  Volumes and pages are cited from memory.
"""

from __future__ import annotations

from collections import deque
from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from keycore.measured import Floats

Order = NDArray[np.bool_]
Chain = tuple[int, ...]


def order_of(codes: Sequence[Sequence[int]]) -> Order:
    """Which code can follow which on one blank.

    Parameters
    ----------
    codes
        (n, cuts) depth indexes, all different.

    Returns
    -------
    (n, n) bool
        ``[a, b]`` is True where b can be cut from a blank already cut to a (a and b different).
    """
    depths = np.asarray(codes, dtype=int)
    if depths.ndim != 2:
        raise ValueError(f"codes must form a (n, cuts) table; got shape {depths.shape}")
    can_follow: Order = np.all(depths[:, None, :] <= depths[None, :, :], axis=2)
    np.fill_diagonal(can_follow, False)
    return can_follow


def shallow_first(order: Order) -> NDArray[np.intp]:
    """(n,) all codes in an order in which each stands after every code that it can follow."""
    return np.argsort(order.sum(axis=0), kind="stable")


def fewest_chains(order: Order) -> tuple[Chain, ...]:
    """A smallest set of chains that together hold every code: the fewest blanks on which all can be tried.

    Notes
    -----
    A matching of largest size between "is followed by" and "follows" (Hopcroft and Karp, as networkx has it) links
    each code to at most one next and one previous one; n codes with m links are n - m chains (Fulkerson 1956).
    """
    import networkx as nx  # here, because it is slow to import

    count = len(order)
    graph = nx.Graph()
    graph.add_nodes_from(range(count))
    graph.add_nodes_from(range(count, 2 * count))
    graph.add_edges_from((int(a), int(b) + count) for a, b in np.argwhere(order))
    matched = nx.bipartite.hopcroft_karp_matching(graph, range(count))
    follows = {a: b - count for a, b in matched.items() if a < count}
    firsts = sorted(set(range(count)) - set(follows.values()))
    chains = []
    for code in firsts:
        chain = [code]
        while chain[-1] in follows:
            chain.append(follows[chain[-1]])
        chains.append(tuple(chain))
    return tuple(chains)


def heaviest_by_count(order: Order, weights: Floats) -> Floats:
    """How much weight k chains can hold at most, for k = 0, 1, 2, ... up to all of it.

    Parameters
    ----------
    order
        (n, n) from :func:`order_of`.
    weights
        (n,) positive weights.

    Returns
    -------
    (k_all + 1,)
        Rising and concave; the last entry is the sum of all weights, reached by ``k_all`` chains, the fewest that
        hold every code.

    Notes
    -----
    Greene and Kleitman's k-families for chains with weights (J. Combin. Theory A 20 (1976) 41-68), found as a flow
    of least cost: a code is an arc that pays its weight once and may be passed through for nothing after that.  Each
    unit of flow is one chain; adding units one by one along the best augmenting path gives the best k-chain set for
    every k on the way.
    """
    network = _Network(order, weights)
    total = float(np.sum(weights))
    held = [0.0]
    while (gain := network.augment()) > 1e-13 * total:
        held.append(held[-1] + gain)
    held[-1] = total
    return np.array(held)


class _Network:
    """Residual network: node 0 is the source, 1 the sink, code i enters at 2 + 2 i and leaves at 3 + 2 i."""

    def __init__(self, order: Order, weights: Floats) -> None:
        count = len(order)
        self._head: list[int] = []
        self._room: list[int] = []
        self._price: list[float] = []
        self._arcs: list[list[int]] = [[] for _ in range(2 + 2 * count)]
        steps = direct(order)
        for code in range(count):
            self._arc(2 + 2 * code, 3 + 2 * code, 1, -float(weights[code]))
            self._arc(2 + 2 * code, 3 + 2 * code, count, 0.0)
            if not order[:, code].any():
                self._arc(0, 2 + 2 * code, count, 0.0)
            if not order[code].any():
                self._arc(3 + 2 * code, 1, count, 0.0)
            for deeper in np.flatnonzero(steps[code]):
                self._arc(3 + 2 * code, 2 + 2 * int(deeper), count, 0.0)

    def _arc(self, tail: int, head: int, room: int, price: float) -> None:
        for start, end, free, cost in ((tail, head, room, price), (head, tail, 0, -price)):
            self._arcs[start].append(len(self._head))
            self._head.append(end)
            self._room.append(free)
            self._price.append(cost)

    def augment(self) -> float:
        """Send one more unit along the cheapest path; returns the weight it adds (0 where no path adds any)."""
        nodes = len(self._arcs)
        cost = [np.inf] * nodes
        cost[0] = 0.0
        came_by = [-1] * nodes
        waiting, is_waiting = deque([0]), [False] * nodes
        while waiting:
            node = waiting.popleft()
            is_waiting[node] = False
            for arc in self._arcs[node]:
                head = self._head[arc]
                through = cost[node] + self._price[arc]
                if self._room[arc] > 0 and through < cost[head] - 1e-15:
                    cost[head] = through
                    came_by[head] = arc
                    if not is_waiting[head]:
                        is_waiting[head] = True
                        waiting.append(head)
        if not cost[1] < 0:
            return 0.0
        node = 1
        while node != 0:
            arc = came_by[node]
            self._room[arc] -= 1
            self._room[arc ^ 1] += 1
            node = self._head[arc ^ 1]
        return float(-cost[1])


def direct(order: Order) -> Order:
    """(n, n) True where one code can follow another and no third one lies between them."""
    steps = order.astype(np.float32)
    between = (steps @ steps) > 0.5
    return np.asarray(order & ~between, dtype=bool)
