"""Chains of codes on one blank: order, fewest blanks, most weight on k blanks."""

from __future__ import annotations

import itertools

import numpy as np
import pytest

from keycore.blanks import fewest_chains, heaviest_by_count, order_of


def random_codes(rng: np.random.Generator, count: int, cuts: int = 3, depths: int = 4) -> list[tuple[int, ...]]:
    """Some different codes."""
    every = list(itertools.product(range(depths), repeat=cuts))
    return [every[i] for i in rng.choice(len(every), count, replace=False)]


def test_code_can_follow_only_where_no_cut_is_shallower() -> None:
    """2-2 follows 1-2 and 1-1; 0-3 follows neither."""
    order = order_of([(1, 1), (1, 2), (2, 2), (0, 3)])
    assert order.tolist() == [
        [False, True, True, False],
        [False, False, True, False],
        [False, False, False, False],
        [False, False, False, False],
    ]


@pytest.mark.parametrize("seed", range(12))
def test_fewest_chains_equal_the_largest_set_that_cannot_share(seed: int) -> None:
    """Dilworth: as many blanks as the largest antichain, found here by trying all subsets."""
    rng = np.random.default_rng(seed)
    codes = random_codes(rng, 9)
    order = order_of(codes)

    chains = fewest_chains(order)

    largest = max(
        len(some)
        for size in range(1, 10)
        for some in itertools.combinations(range(9), size)
        if not order[np.ix_(some, some)].any()
    )
    assert len(chains) == largest
    assert sorted(code for chain in chains for code in chain) == list(range(9))
    assert all(order[a, b] for chain in chains for a, b in itertools.pairwise(chain))


@pytest.mark.parametrize("seed", range(8))
def test_heaviest_k_chains_agree_with_trying_all_subsets(seed: int) -> None:
    """A subset fits on k blanks exactly when its own fewest chains are at most k."""
    rng = np.random.default_rng(100 + seed)
    codes = random_codes(rng, 9)
    order = order_of(codes)
    weights = rng.uniform(0.1, 1, 9)
    best = np.zeros(len(fewest_chains(order)) + 1)
    for size in range(1, 10):
        for some in itertools.combinations(range(9), size):
            needed = len(fewest_chains(order[np.ix_(some, some)]))
            best[needed] = max(best[needed], weights[list(some)].sum())

    assert heaviest_by_count(order, weights) == pytest.approx(np.maximum.accumulate(best), abs=1e-12)
