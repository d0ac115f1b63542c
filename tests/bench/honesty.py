"""Are the decoder's probabilities honest?  Run ``python -m tests.bench.honesty [SETS] [--kind KIND] [--pictures N]``.

For every kind of key, made-up sets of readings (see :mod:`tests.bench.madeup`) are decoded and compared with the truth:
reliability in ten bins, expected calibration error beside what a perfectly calibrated reader would show on as many
sets (a simulated null), codes given 0.99 or more, Brier and log score, and how often one claimed sigma holds the
truth.
"""

from __future__ import annotations

import argparse
import time
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from keycore.chain import code_masses
from keycore.decode import Decoder
from keycore.measured import Floats
from keycore.posterior import sums_of
from tests.bench.madeup import KINDS, MadeUp, made_up_pictures

BINS = 10


@dataclass(frozen=True)
class Outcome:
    """One set: the probability of the code that was given, whether it was right, and what one sigma held."""

    probability: float
    right: bool
    truth_probability: float
    cut_probabilities: Floats
    cuts_right: Floats
    roots_within: Floats
    scale_within: bool
    growth_within: bool
    verdict: str


def outcome_of(*pictures: MadeUp) -> Outcome:
    """Decode one key's readings, of one picture or several, and compare them with the truth (the first picture's)."""
    made = pictures[0]
    decoder = Decoder([picture.readings for picture in pictures], made.spec)
    decoding = decoder.decoding()
    roots = np.array([cut.root_mm for cut in decoding.cuts])
    sigmas = np.array([cut.sigma_mm for cut in decoding.cuts])
    scale = decoding.scale.px_per_mm_across
    return Outcome(
        probability=decoding.probability,
        right=decoding.code == made.code,
        truth_probability=_probability_of(decoder, made.code),
        cut_probabilities=np.array([cut.probability for cut in decoding.cuts]),
        cuts_right=np.array([cut.depth == label for cut, label in zip(decoding.cuts, made.code, strict=True)]),
        roots_within=np.abs(roots - made.roots_mm) <= sigmas,
        scale_within=abs(scale.value - made.px_per_mm_across) <= scale.sigma,
        growth_within=abs(decoding.growth_mm - made.growth_mm) <= decoding.growth_sigma_mm,
        verdict=decoding.verdict,
    )


def _probability_of(decoder: Decoder, labels: Sequence[str]) -> float:
    """Probability of any code, listed or not; of several pictures only a listed one's."""
    if len(decoder.posteriors) > 1:
        return next((r.probability for r in decoder.decoding().codes if list(r.code) == list(labels)), 0.0)
    posterior = decoder.posteriors[0]
    code = tuple(decoder.spec.labels.index(label) for label in labels)
    mass = float(code_masses([code], posterior.lattice.weights, posterior.lattice.factors)[0])
    return mass / sums_of(posterior.lattice, posterior.links).mass


def reliability(probabilities: Floats, right: Floats, bins: int = BINS) -> list[tuple[int, float, float]]:
    """(count, mean predicted, share right) of each equal-width bin that is not empty."""
    place = np.minimum((np.asarray(probabilities) * bins).astype(int), bins - 1)
    rows = []
    for index in range(bins):
        inside = place == index
        if inside.any():
            rows.append((int(inside.sum()), float(np.mean(probabilities[inside])), float(np.mean(right[inside]))))
    return rows


def calibration_error(probabilities: Floats, right: Floats, bins: int = BINS) -> float:
    """Expected calibration error: mean over sets of |predicted - observed| of their bin (Naeini and others, AAAI
    2015)."""
    rows = reliability(probabilities, right, bins)
    total = sum(count for count, _, _ in rows)
    return sum(count * abs(predicted - observed) for count, predicted, observed in rows) / total


def null_error(probabilities: Floats, rng: np.random.Generator, rounds: int = 400) -> tuple[float, float]:
    """(mean, 95 % point) of the calibration error that honest probabilities would show by chance alone."""
    draws = [calibration_error(probabilities, rng.random(len(probabilities)) < probabilities) for _ in range(rounds)]
    return float(np.mean(draws)), float(np.quantile(draws, 0.95))


def brier(probabilities: Floats, right: Floats) -> float:
    """Mean squared difference of probability and outcome (Brier 1950), of the given code's being right."""
    return float(np.mean((np.asarray(probabilities) - np.asarray(right, dtype=float)) ** 2))


def log_score(probabilities: Floats, right: Floats) -> float:
    """Mean of -ln of the probability given to what happened."""
    p = np.clip(np.asarray(probabilities, dtype=float), 1e-15, 1 - 1e-15)
    return float(-np.mean(np.where(right, np.log(p), np.log1p(-p))))


def report(kind: str, outcomes: Sequence[Outcome], rng: np.random.Generator) -> str:
    """The table of one kind."""
    p = np.array([o.probability for o in outcomes])
    right = np.array([o.right for o in outcomes])
    sure = p >= 0.99
    null_mean, null_high = null_error(p, rng)
    error = calibration_error(p, right)
    lines = [f"{kind}: {len(outcomes)} sets, code right {right.mean():.3f}, mean probability {p.mean():.3f}"]
    lines += [f"  predicted {a:.3f}  observed {b:.3f}  n {n}" for n, a, b in reliability(p, right)]
    lines.append(
        f"  calibration error {error:.4f} (honest by chance {null_mean:.4f}, 95 % {null_high:.4f}; excess "
        f"{error - null_mean:+.4f})"
    )
    wrong = int((~right[sure]).sum())
    lines.append(
        f"  given 0.99 or more: {int(sure.sum())} ({sure.mean():.2f}), wrong {wrong}; Brier {brier(p, right):.4f}, "
        f"log score {log_score(p, right):.4f}, -ln p(true code) "
        f"{-np.mean(np.log([max(o.truth_probability, 1e-12) for o in outcomes])):.3f}"
    )
    cut_p = np.concatenate([o.cut_probabilities for o in outcomes])
    cut_right = np.concatenate([o.cuts_right for o in outcomes])
    lines.append(
        f"  cuts: right {cut_right.mean():.4f}, mean probability {cut_p.mean():.4f}, calibration error "
        f"{calibration_error(cut_p, cut_right):.4f}"
    )
    lines.append(
        f"  one sigma holds: roots {np.concatenate([o.roots_within for o in outcomes]).mean():.3f}, scale "
        f"{np.mean([o.scale_within for o in outcomes]):.3f}, growth {np.mean([o.growth_within for o in outcomes]):.3f}"
    )
    verdicts = [o.verdict for o in outcomes]
    lines.append("  verdicts: " + ", ".join(f"{word} {verdicts.count(word)}" for word in ("sure", "check", "unsure")))
    return "\n".join(lines)


def main() -> None:
    """Print the tables."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("sets", nargs="?", type=int, default=2000)
    parser.add_argument("--kind", choices=KINDS, action="append")
    parser.add_argument("--pictures", type=int, default=1, help="how many pictures of each key are taken together")
    parser.add_argument("--seed", type=int, default=1)
    given = parser.parse_args()
    for kind in given.kind or KINDS:
        rng = np.random.default_rng([given.seed, KINDS.index(kind)])
        started = time.perf_counter()
        outcomes = [outcome_of(*made_up_pictures(kind, rng, given.pictures)) for _ in range(given.sets)]
        seconds = time.perf_counter() - started
        print(report(kind, outcomes, rng))
        print(f"  {1000 * seconds / given.sets:.1f} ms a set")


if __name__ == "__main__":
    main()
