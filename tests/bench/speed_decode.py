"""How long decoding takes, and how it grows.  Run ``python -m tests.bench.speed_decode``.

Medians of processor time in one process with one thread, so that a busy machine does not count (set
OMP_NUM_THREADS=1).  Brute force is the same posterior with every code enumerated on the same lattice, where there are
few enough codes.
"""

from __future__ import annotations

import itertools
import time
from collections.abc import Callable

import numpy as np

from keycore.decode import Decoder
from keycore.spec import KeySpec
from tests.bench.madeup import MadeUp, made_roots_mm, made_up_code, made_up_picture, made_up_set, made_up_table


def median_ms(work: Callable[[int], object], times: int) -> float:
    """Median of so many runs, in milliseconds, a first run to warm up left out."""
    work(0)
    took = []
    for index in range(times):
        started = time.process_time()
        work(index)
        took.append(time.process_time() - started)
    return 1000 * float(np.median(took))


def sets_of(kind: str, spec: KeySpec, count: int, seed: int = 1) -> list[MadeUp]:
    """Sets of readings under one table."""
    rng = np.random.default_rng(seed)
    return [made_up_set(kind, rng, spec) for _ in range(count)]


def brute_force(made: MadeUp) -> float:
    """Probability of the likeliest code by enumerating every code on the decoder's own lattice."""
    lattice = Decoder(made.readings, made.spec).posteriors[0].lattice
    reach, per_edge = made.spec.max_adjacent_step, made.spec.cuts_per_edge
    best, total = 0.0, 0.0
    for code in itertools.product(range(len(made.spec.depths)), repeat=len(made.code)):
        if any(abs(a - b) > reach for i, (a, b) in enumerate(itertools.pairwise(code), 1) if i % per_edge):
            continue
        product = lattice.weights
        for factor, depth in zip(lattice.factors, code, strict=True):
            product = product * factor[:, depth]
        mass = float(product.sum())
        best, total = max(best, mass), total + mass
    return best / total


def main() -> None:
    """Print the table."""
    rng = np.random.default_rng(5)
    single = "single from shoulder"
    times = {}
    for cuts, depths in ((5, 10), (7, 10), (14, 10), (7, 5), (7, 20)):
        spec = made_up_table(single, rng, cuts, depths)
        if cuts == 14:
            spec = spec.model_copy(update={"cut_positions_mm": tuple(4.0 + 1.9 * index for index in range(14))})
        sets = sets_of(single, spec, 21)
        times[cuts, depths] = median_ms(lambda i, s=sets: Decoder(s[i].readings, s[i].spec).decoding(), 21)
        print(f"{cuts} cuts x {depths} depths, ten ranked codes: {times[cuts, depths]:.1f} ms")
    print(f"14 cuts against 7: {times[14, 10] / times[7, 10]:.2f} times")
    print(f"20 depths against 10: {times[7, 20] / times[7, 10]:.2f} times")
    for kind in ("mirrored", "independent", "single, curves"):
        spec = made_up_table(kind, rng, 5 if kind == "independent" else 7, 10)
        sets = sets_of(kind, spec, 21)
        took = median_ms(lambda i, s=sets: Decoder(s[i].readings, s[i].spec).decoding(), 21)
        print(f"{kind}, {len(sets[0].code)} cuts x {len(spec.depths)} depths: {took:.1f} ms")
    spec = made_up_table(single, rng, 7, 10)
    code = made_up_code(spec, rng)
    roots_mm = made_roots_mm(spec, code, rng)
    pictures = [made_up_picture(single, rng, spec, code, roots_mm).readings for _ in range(10)]
    print(f"ten pictures fused: {median_ms(lambda i: Decoder(pictures, spec).decoding(), 9):.1f} ms")
    decoder = Decoder(sets_of(single, spec, 1)[0].readings, spec)
    decoder.decoding()
    growths = np.linspace(0, 1, 40)
    print(f"slider, one growth, warm: {median_ms(lambda i: decoder.at_growth(float(growths[i])), 40):.1f} ms")
    print(f"code strip: {median_ms(lambda i: Decoder(decoder.readings, spec).strip(), 3):.0f} ms")
    small = made_up_set("mirrored", rng, made_up_table("mirrored", rng, 5, 5))
    print(
        f"brute force, 5 cuts x {len(small.spec.depths)} depths: "
        f"{median_ms(lambda i: brute_force(small), 3):.0f} ms; the "
        f"same by chain and best-first search: "
        f"{median_ms(lambda i: Decoder(small.readings, small.spec).decoding(), 9):.1f} ms"
    )


if __name__ == "__main__":
    main()
