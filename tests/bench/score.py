"""From outcomes to figures: how many codes are right, how far roots are off, how honest the probabilities are."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np

SURE = 0.99


@dataclass(frozen=True)
class Outcome:
    """One picture read, against its truth.

    Attributes
    ----------
    right
        Whole code right (for independent edges in either order).
    probability
        Of the code given; 0 where none was.
    cuts_right, cuts
        Cuts whose depth is right, of all.
    errors_mm
        Measured less as-made root heights, as far as measured.
    refused
        The refusal, "" for none.
    """

    image: str
    medium: str
    spec: str
    clear: bool
    right: bool
    probability: float
    cuts_right: int
    cuts: int
    errors_mm: tuple[float, ...]
    seconds: float
    verdict: str = ""
    said: str = ""
    true: str = ""
    refused: str = ""


def compare(truth: dict[str, Any], code: tuple[str, ...], roots_mm: list[float]) -> tuple[bool, int, list[float]]:
    """Is the code right, how many cuts are, and the root errors; the better order of two independent edges counts."""
    lists = truth["code"] if isinstance(truth["code"][0], list) else [truth["code"]]
    made = truth["as_made_roots_mm"] if isinstance(truth["as_made_roots_mm"][0], list) else [truth["as_made_roots_mm"]]
    best: tuple[bool, int, list[float]] = (False, -1, [])
    for order in (range(len(lists)), range(len(lists) - 1, -1, -1)):
        wanted = tuple(label for i in order for label in lists[i])
        true_mm = [r for i in order for r in made[i]]
        right = sum(a == b for a, b in zip(code, wanted, strict=False))
        errors = [a - b for a, b in zip(roots_mm, true_mm, strict=False)]
        if right > best[1]:
            best = (code == wanted, right, errors)
    return best


def figures(outcomes: list[Outcome]) -> dict[str, float | int]:
    """All figures of one group of pictures."""
    n = len(outcomes)
    errors = np.array([e for o in outcomes for e in o.errors_mm] or [np.nan])
    sure = [o for o in outcomes if o.probability >= SURE]
    return {
        "n": n,
        "code": sum(o.right for o in outcomes) / n,
        "cuts": sum(o.cuts_right for o in outcomes) / sum(o.cuts for o in outcomes),
        "root_rms_mm": float(np.sqrt(np.mean(errors**2))),
        "root_median_mm": float(np.median(np.abs(errors))),
        "sure": len(sure) / n,
        "sure_wrong": sum(not o.right for o in sure),
        "brier": sum((o.probability - o.right) ** 2 for o in outcomes) / n,
        "seconds": float(np.median([o.seconds for o in outcomes])),
        "refused": sum(bool(o.refused) for o in outcomes),
    }


def table(outcomes: list[Outcome]) -> str:
    """Lines for people, one for each medium and for clear and hard pictures of it."""
    head = (
        f"{'':24}{'n':>5}{'code':>7}{'cuts':>7}{'rms mm':>8}{'med mm':>8}{'p>=.99':>8}{'wrong':>6}{'Brier':>7}{'s':>6}"
        f"{'refused':>9}"
    )
    lines = [head]
    media = list(dict.fromkeys(o.medium for o in outcomes))
    groups = [(m, o) for m in media for o in [[x for x in outcomes if x.medium == m]]]
    for medium, of_medium in [*groups, ("all", outcomes)]:
        parts = [
            (medium, of_medium),
            ("  clear", [o for o in of_medium if o.clear]),
            ("  hard", [o for o in of_medium if not o.clear]),
        ]
        for name, group in parts:
            if not group:
                continue
            f = figures(group)
            lines.append(
                f"{name:24}{f['n']:5d}{f['code']:7.2f}{f['cuts']:7.2f}{f['root_rms_mm']:8.3f}{f['root_median_mm']:8.3f}"
                f"{f['sure']:8.2f}{f['sure_wrong']:6d}{f['brier']:7.3f}{f['seconds']:6.2f}{f['refused']:9d}"
            )
    return "\n".join(lines)


def reliability(outcomes: list[Outcome], bins: int = 10) -> str:
    """Stated probability against how often it was right, in equal bins."""
    lines = [f"{'stated':>12}{'n':>5}{'mean':>7}{'right':>7}"]
    for i in range(bins):
        low, high = i / bins, (i + 1) / bins
        group = [o for o in outcomes if low <= o.probability < high or (i == bins - 1 and o.probability >= high)]
        if group:
            mean = sum(o.probability for o in group) / len(group)
            right = sum(o.right for o in group) / len(group)
            lines.append(f"{low:6.1f} - {high:.1f}{len(group):5d}{mean:7.2f}{right:7.2f}")
    return "\n".join(lines)
