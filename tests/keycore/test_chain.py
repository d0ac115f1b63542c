"""Sums over codes and ranked codes, against plain enumeration."""

from __future__ import annotations

import itertools

import numpy as np
import pytest

from keycore.chain import Ranking, backward, best_completions, code_masses, forward, links_of, totals

CASES = [(4, 1, 4, 2), (3, 1, 5, 4), (5, 1, 3, 1), (2, 2, 4, 1), (1, 1, 4, 3), (1, 2, 3, 1)]


def _made(cuts, edges, depths, reach, seed, points=7, zero=False):
    rng = np.random.default_rng(seed)
    links = links_of(cuts, edges, depths, reach)
    factors = [rng.gamma(0.3, size=(points, depths)) for _ in range(cuts * edges)]
    if zero:
        factors[0][:, 1] = 0.0
    codes = [
        code
        for code in itertools.product(range(depths), repeat=cuts * edges)
        if all(links.allows(link, code[link], code[link + 1]) for link in range(cuts * edges - 1))
    ]
    return links, rng.gamma(1.0, size=points), factors, codes


@pytest.mark.parametrize("case", CASES)
@pytest.mark.parametrize("zero", [False, True])
def test_sums_agree_with_enumeration(case, zero):
    """Totals and every cut's marginals, to 1e-12."""
    links, _, factors, codes = _made(*case, seed=1, zero=zero)
    masses = np.array([np.prod([f[:, d] for f, d in zip(factors, code, strict=True)], axis=0) for code in codes])
    ahead, behind = forward(factors, links), backward(factors, links)

    assert totals(factors, links) == pytest.approx(masses.sum(axis=0), rel=1e-12)
    for cut, (a, b) in enumerate(zip(ahead, behind, strict=True)):
        for depth in range(links.depths):
            chosen = [row for row, code in enumerate(codes) if code[cut] == depth]
            assert (a * b)[:, depth] == pytest.approx(masses[chosen].sum(axis=0), rel=1e-12, abs=1e-300)


@pytest.mark.parametrize("case", CASES)
def test_best_completions_agree_with_enumeration(case):
    """The greatest product over the cuts that follow."""
    links, _, factors, codes = _made(*case, seed=2)
    best = best_completions(factors, links)
    for cut, depth in itertools.product(range(len(factors)), range(links.depths)):
        ends = {code[cut + 1 :] for code in codes if code[cut] == depth}
        products = [
            np.prod([np.ones(7), *(f[:, d] for f, d in zip(factors[cut + 1 :], end, strict=True))], axis=0)
            for end in ends
        ]
        assert best[cut][:, depth] == pytest.approx(np.max(products, axis=0), rel=1e-12)


@pytest.mark.parametrize("case", CASES)
@pytest.mark.parametrize("pictures", [1, 2])
def test_ranked_codes_are_in_the_exact_order_of_their_mass(case, pictures):
    """All codes, from the likeliest to the last, for one mixture and for a product of two."""
    made = [_made(*case, seed=3 + p) for p in range(pictures)]
    links, codes = made[0][0], made[0][3]
    masses = np.prod([code_masses(codes, weights, factors) for _, weights, factors, _ in made], axis=0)
    order = np.argsort(-masses)
    ranked = Ranking([m[1] for m in made], [m[2] for m in made], links, most=100_000).first(len(codes))

    assert ranked.proven
    assert ranked.codes == tuple(codes[index] for index in order)
    assert ranked.masses == pytest.approx(masses[order], rel=1e-12)


def test_what_is_left_is_never_less_than_the_truth():
    """The bound on codes that were not taken holds the mass that they have; with one picture it is exact."""
    made = [_made(4, 1, 4, 2, seed=11 + p) for p in range(2)]
    codes = made[0][3]
    one = code_masses(codes, made[0][1], made[0][2])
    two = one * code_masses(codes, made[1][1], made[1][2])
    single = Ranking([made[0][1]], [made[0][2]], made[0][0])
    both = Ranking([m[1] for m in made], [m[2] for m in made], made[0][0])
    taken = [sum(r.take()[1] for _ in range(5)) for r in (single, both)]

    assert single.left() == pytest.approx(one.sum() - taken[0], rel=1e-9)
    assert both.left() >= two.sum() - taken[1]


def test_a_capped_search_says_that_its_order_is_not_proven():
    """Readings that say nothing: a full list, exact masses, and an honest flag."""
    links = links_of(7, 1, 10, 9)
    factors = [1 + 1e-3 * np.random.default_rng(5).random((3, 10)) for _ in range(7)]
    ranked = Ranking([np.ones(3)], [factors], links, most=50).first(10)

    assert not ranked.proven and len(ranked.codes) == 10
    assert ranked.masses == pytest.approx(code_masses(ranked.codes, np.ones(3), factors), rel=1e-12)


def test_codes_are_counted_exactly():
    """Against enumeration, with depths ruled out and a free link between edges."""
    for case in CASES:
        links, _, _, codes = _made(*case, seed=1)
        mask = np.ones((case[0] * case[1], case[2]), dtype=bool)
        mask[0, 0] = False

        assert links.count() == len(codes)
        assert links.count(mask) == sum(code[0] != 0 for code in codes)
