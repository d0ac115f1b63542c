"""Fewest blanks against Dilworth's theorem and published antichain widths."""

from __future__ import annotations

import itertools

import pytest

from keycore.blanks import fewest_chains, heaviest_by_count, order_of


def all_codes(cuts: int, depths: int, macs: int | None = None) -> list[tuple[int, ...]]:
    """Every code, under a largest step where one is given."""
    codes = itertools.product(range(depths), repeat=cuts)
    return [c for c in codes if macs is None or all(abs(a - b) <= macs for a, b in itertools.pairwise(c))]


@pytest.mark.parametrize(
    ("depths", "cuts", "width"),
    # OEIS A077042, rows by base; width of all codes = largest coefficient of (1 + x + ... + x^(D-1))^n
    [(3, 1, 1), (3, 2, 3), (3, 3, 7), (3, 4, 19), (3, 5, 51), (4, 2, 4), (4, 3, 12), (4, 4, 44), (5, 2, 5), (5, 3, 19)],
)
def test_width_of_all_codes_is_the_published_one(depths: int, cuts: int, width: int) -> None:
    """Two ways, a matching and a flow, both give OEIS A077042."""
    order = order_of(all_codes(cuts, depths))

    assert len(fewest_chains(order)) == width
    assert len(heaviest_by_count(order, [1.0] * len(order))) - 1 == width


@pytest.mark.parametrize(
    ("cuts", "depths", "macs", "codes", "width"),
    # recomputed for this project with networkx, not published
    [(3, 4, 2, 50, 8), (4, 4, 2, 178, 26), (3, 6, 4, 194, 23)],
)
def test_width_under_a_largest_step(cuts: int, depths: int, macs: int, codes: int, width: int) -> None:
    """Codes that break the table's largest step are not among those to be tried."""
    order = order_of(all_codes(cuts, depths, macs))

    assert (len(order), len(fewest_chains(order))) == (codes, width)
