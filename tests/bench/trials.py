"""How good and how quick trial plans are: python -m tests.bench.trials [SECONDS_A_PLAN|none].

Candidates are the likeliest codes of a doubtful reading (each cut off by a Gaussian error of a third to half a step,
all cuts at times off by one depth together: growth), or what the decoder lists of made-up readings.  Printed for each
size: plans proved best, the median and largest gap between plan and bound in blanks, seconds on the clock and of the
processor.
"""

from __future__ import annotations

import itertools
import sys
import time

import numpy as np

from keycore.blanks import order_of
from keycore.chaincover import best_cover
from keycore.decode import Decoder
from tests.bench.madeup import KINDS, made_up_set, made_up_table

DECODED = ((5, 50, 4), (6, 100, 4), (5, 200, 8), (6, 200, 8), (7, 200, 8))
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


def decoded_reading(rng: np.random.Generator, cuts: int, count: int) -> tuple[list[tuple[int, ...]], np.ndarray]:
    """The ``count`` likeliest codes of one made-up picture, as the decoder lists them."""
    kind = KINDS[int(rng.choice([0, 1, 2, 4]))]
    made = made_up_set(kind, rng, made_up_table(kind, rng, cuts=cuts))
    decoding = Decoder(made.readings, made.spec).decoding(count)
    codes = [tuple(made.spec.labels.index(label) for label in ranked.code) for ranked in decoding.codes]
    return codes, np.array([ranked.probability for ranked in decoding.codes])


def main(seconds: float | None) -> None:
    """Print the table."""
    print("                cuts  codes  plans  proved  gap: median   largest  seconds: median  largest  processor")
    kinds = [("doubtful", doubtful_reading, SIZES), ("as decoded", decoded_reading, DECODED)]
    for name, draw, sizes in kinds:
        for cuts, count, plans in sizes:
            rng = np.random.default_rng([count, cuts])
            rows = []
            for _ in range(plans):
                codes, probabilities = draw(rng, cuts, count)
                none = max(0.0, 1.0 - float(probabilities.sum()))
                began, used = time.perf_counter(), time.process_time()
                cover = best_cover(order_of(codes), probabilities, none_probability=none, seconds=seconds)
                gap = cover.expected_blanks - cover.bound_blanks
                rows.append((cover.proved, gap, time.perf_counter() - began, time.process_time() - used))
            proved, gaps, times, processor = zip(*rows, strict=True)
            print(
                f"{name:14}  {cuts:>4}  {count:>5}  {plans:>5}  {sum(proved):>6}  {np.median(gaps):>11.1e}"
                f"  {max(gaps):>8.1e}  {np.median(times):>15.2f}  {max(times):>7.2f}  {np.median(processor):>9.2f}",
                flush=True,
            )


if __name__ == "__main__":
    given = sys.argv[1] if len(sys.argv) > 1 else "10"
    main(None if given == "none" else float(given))
