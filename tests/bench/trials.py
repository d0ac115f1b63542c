"""How good and how quick trial plans are: python -m tests.bench.trials [SECONDS_A_PLAN].

Candidates are the likeliest codes of a doubtful reading: each cut off by a Gaussian error of a third to half a step,
all cuts at times off by one depth together (growth).  Printed for each size: plans proved best, the largest gap
between plan and bound, seconds.
"""

from __future__ import annotations

import itertools
import sys
import time

import numpy as np

from keycore.blanks import order_of
from keycore.chaincover import best_cover

SIZES = ((5, 10, 12), (5, 20, 10), (6, 50, 6), (5, 100, 4), (5, 200, 3))
DEPTHS = 10


def doubtful_reading(rng: np.random.Generator, cuts: int, count: int) -> tuple[list[tuple[int, ...]], np.ndarray]:
    """The ``count`` likeliest codes with their probabilities."""
    true, off = rng.integers(2, 8, cuts), rng.normal(0, 0.35, cuts)
    sigma, doubt = rng.uniform(0.25, 0.5), rng.choice([0.02, 0.3, 0.5])
    found: dict[tuple[int, ...], float] = {}
    for shift, weight in ((-1, doubt / 2), (0, 1 - doubt), (1, doubt / 2)):
        columns = []
        for depth, error in zip(true, off, strict=True):
            near = np.arange(max(0, depth - 3), min(DEPTHS, depth + 4))
            likelihood = np.exp(-0.5 * ((near - depth - error - shift) / sigma) ** 2)
            share = likelihood / likelihood.sum()
            columns.append([(int(near[i]), float(share[i])) for i in np.argsort(-share)[:5]])
        for choice in itertools.product(*columns):
            code = tuple(depth for depth, _ in choice)
            found[code] = found.get(code, 0.0) + weight * float(np.prod([share for _, share in choice]))
    likeliest = sorted(found.items(), key=lambda item: -item[1])[:count]
    return [code for code, _ in likeliest], np.array([probability for _, probability in likeliest])


def main(seconds: float) -> None:
    """Print the table."""
    print("cuts  codes  plans  proved  largest gap  seconds: median  largest")
    for cuts, count, plans in SIZES:
        rng = np.random.default_rng(count)
        rows = []
        for _ in range(plans):
            codes, probabilities = doubtful_reading(rng, cuts, count)
            none = max(0.0, 1.0 - float(probabilities.sum()))
            began = time.perf_counter()
            cover = best_cover(order_of(codes), probabilities, none_probability=none, seconds=seconds)
            rows.append((cover.proved, cover.expected_blanks / cover.bound_blanks - 1, time.perf_counter() - began))
        proved, gaps, times = zip(*rows, strict=True)
        print(
            f"{cuts:>4}  {count:>5}  {plans:>5}  {sum(proved):>6}  {100 * max(gaps):>9.2f} %"
            f"  {np.median(times):>15.2f}  {max(times):>7.2f}"
        )


if __name__ == "__main__":
    main(float(sys.argv[1]) if len(sys.argv) > 1 else 10.0)
