"""The code strip: which code each growth would give, as an exact piecewise constant function.

At a growth g the code is the one with the most mass summed over scale and the back's error.  Along g the logarithm of a
code's mass is smooth, and how much it bends is set by the readings' own uncertainties (:func:`_greatest_bend`).  So
between two growths at which the same code wins by more than that can bend, no other rival is taken to win; any other
interval is halved until the border is known to a millionth of a millimetre. Rivals come from exact searches
(:class:`keycore.chain.Ranking`) on a coarse row of growths and, once borders are found, at both sides of each border
and within each segment: a code found there that was not among the rivals joins them, and the borders are found again.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from keycore.chain import Ranking
from keycore.codes import Code
from keycore.measured import Floats
from keycore.prior import GROWTH_HIGH_MM, GROWTH_LOW_MM
from keycore.ways import PictureWays

RESOLUTION_MM = 1e-6
TIE_MM = 1e-3
"""Where the same code wins at both ends of so short a piece, no rival can lead within it by more than about one part in
a thousand.  Far from the evidence codes tie for long stretches (a cut that fits none of them says nothing), and halving
those down to the resolution would take minutes."""
COARSE_STEPS = 70
RIVALS = 4
ROUNDS = 6
AT_ONCE = 24
"""Growths that are looked at together: enough to spare time, too few to leave the processor's own memory."""


@dataclass(frozen=True)
class StripSegment:
    """Growths from and to which one code is the likeliest."""

    growth_from_mm: float
    growth_to_mm: float
    code: Code


def strip_of(posterior: PictureWays) -> tuple[StripSegment, ...]:
    """The segments from the least to the greatest growth considered, without gaps."""
    rivals: list[tuple[int, ...]] = []
    coarse = np.linspace(GROWTH_LOW_MM, GROWTH_HIGH_MM, COARSE_STEPS + 1)
    for growth_mm in coarse:
        _join(rivals, _likeliest(posterior, float(growth_mm), RIVALS))
    looked_at: set[float] = set()
    for _ in range(ROUNDS):
        borders, winners = _pieces(posterior, rivals, coarse)
        checks = [border + side for border in borders[1:-1] for side in (-2 * RESOLUTION_MM, 2 * RESOLUTION_MM)]
        checks += [(a + b) / 2 for a, b in zip(borders, borders[1:], strict=False)]
        before = len(rivals)
        for growth_mm in sorted(set(checks) - looked_at):  # a border that stayed gives the same again
            _join(rivals, _likeliest(posterior, growth_mm, 1))
        looked_at |= set(checks)
        if len(rivals) == before:
            break
    labels = posterior.spec.labels
    return tuple(
        StripSegment(a, b, tuple(labels[depth] for depth in rivals[winner]))
        for a, b, winner in zip(borders, borders[1:], winners, strict=False)
    )


def _likeliest(posterior: PictureWays, growth_mm: float, count: int) -> tuple[tuple[int, ...], ...]:
    lattice = posterior.at_growth(growth_mm)
    return Ranking([lattice.weights], [lattice.factors], posterior.links).first(count).codes


def _join(rivals: list[tuple[int, ...]], codes: tuple[tuple[int, ...], ...]) -> None:
    rivals += [code for code in codes if code not in rivals]


def _pieces(posterior: PictureWays, rivals: list[tuple[int, ...]], coarse: Floats) -> tuple[list[float], list[int]]:
    """Borders (both ends included) and the winner of each piece among the rivals."""
    bend = _greatest_bend(posterior)
    table = np.array(rivals)
    at = _scores(posterior, table, coarse)
    pending = list(zip(coarse[:-1], coarse[1:], at[:-1], at[1:], strict=True))
    turns: list[tuple[float, int]] = [(float(coarse[0]), int(np.argmax(at[0])))]
    # All intervals of one width are halved together: one look at the lattice for all of their middles.
    while pending:
        open_ = []
        for low, high, at_low, at_high in pending:
            first, last = int(np.argmax(at_low)), int(np.argmax(at_high))
            same = first == last
            if same and (high - low <= TIE_MM or _safe(at_low, at_high, first, bend * (high - low) ** 2 / 8)):
                turns.append((float(low), first))
            elif high - low <= RESOLUTION_MM:
                turns.append((float(low + high) / 2, last))
            else:
                open_.append((low, high, at_low, at_high))
        middles = np.array([(low + high) / 2 for low, high, _, _ in open_])
        pending = []
        for (low, high, at_low, at_high), middle, at_middle in zip(
            open_, middles, _scores(posterior, table, middles), strict=True
        ):
            pending += [(low, middle, at_low, at_middle), (middle, high, at_middle, at_high)]
    turns.sort(key=lambda turn: turn[0])
    changes = [turn for before, turn in zip(turns, turns[1:], strict=False) if turn[1] != before[1]]
    borders = [float(coarse[0]), *(place for place, _ in changes), float(coarse[-1])]
    return borders, [turns[0][1], *(winner for _, winner in changes)]


def _safe(at_low: Floats, at_high: Floats, winner: int, bend: float) -> bool:
    """True where no rival can win between two growths at which the same code wins."""
    ahead = np.minimum(at_low[winner] - at_low, at_high[winner] - at_high)
    ahead[winner] = np.inf
    return bool(ahead.min() > bend)


def _scores(posterior: PictureWays, rivals: Floats, growths_mm: Floats) -> Floats:
    """(growths, rivals) logarithm of each code's mass at each growth, each growth up to a constant of its own."""
    found = [np.empty((0, len(rivals)))]
    for some in np.array_split(growths_mm, max(1, -(-len(growths_mm) // AT_ONCE))):
        if not len(some):
            continue
        held = posterior.at_growths(np.asarray(some))
        product = np.repeat(held.weights[:, None], len(rivals), axis=1)
        for factor, depths in zip(held.factors, rivals.T, strict=True):
            product *= factor[:, depths]
        found.append(np.log(np.maximum(np.add.reduceat(product, held.starts, axis=0), 1e-300)))
    return np.concatenate(found)


def _greatest_bend(posterior: PictureWays) -> float:
    """How strongly, nats/mm^2, the difference of two codes' log masses is taken to bend at most.

    Each cut adds the bend of a normal of its narrowest part, times four where the density changes from its core to its
    tail, for either of the two codes. For one peak in scale that is ample: summing over the scale only flattens. Where
    a code's mass passes from one peak, or one way of fitting, to another it is no proof; the searches on the coarse row
    and within each segment stand guard there.
    """
    return max(float(sum(8 / cut.narrow_mm**2 for cut in way.cuts)) for way in posterior.ways)
