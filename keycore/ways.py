"""The posterior of one picture over every way that its blade may lie there.

A fit often has a rival that is nearly as good: the back's line and a bevel's a few tenths of a millimetre beside it, a
copy's floors as shown and hidden in its black.  To go on with the better one alone would hide the other's code.  Each
way has readings, size references and so a posterior of its own (:mod:`keycore.posterior`); together they are a mixture,

    P(code) ~ sum over ways of weight * P(readings of that way | code)

``weight`` is what the picture says of the way before any table decides (:attr:`keycore.measured.Readings.log_weight`).
How well the depths of the table explain its readings, at one scale and growth, comes in by itself: it is how large the
posterior's mass is.  On the lattice a mixture is simply more points, so everything exact stays exact.

A way worth less than one in ``LEAST`` of the best is let go: weights are not known so well that what is left of it
should keep a code from being sure.  What is reported beside the code (scale, growth, roots) is of the way that gives
the likeliest code most of its mass.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from keycore.chain import Links, Ranking
from keycore.lattice import Points
from keycore.measured import Floats
from keycore.posterior import HeldGrowths, Lattice, PicturePosterior
from keycore.spec import KeySpec

LEAST = 20.0


class PictureWays:
    """One picture's posterior over the ways that it was fitted.

    Parameters
    ----------
    posteriors
        Of each way by itself, the first as the picture shows it best.
    log_weights
        What the picture says of each way.
    """

    def __init__(self, posteriors: Sequence[PicturePosterior], log_weights: Sequence[float]) -> None:
        weights = np.asarray(log_weights, dtype=float)
        kept = [0]
        if len(posteriors) > 1:
            evidence = weights + [posterior.log_evidence() for posterior in posteriors]
            kept = [int(way) for way in np.flatnonzero(evidence >= evidence.max() - math.log(LEAST))]
        self.ways = tuple(posteriors[way] for way in kept)
        """Those that are not let go."""
        self.log_shares = weights[kept] - float(np.logaddexp.reduce(weights[kept]))
        self.lattice = self._joined([way.lattice for way in self.ways])

    @property
    def links(self) -> Links:
        """Which depths may stand beside which."""
        return self.ways[0].links

    @property
    def spec(self) -> KeySpec:
        """The table."""
        return self.ways[0].spec

    def at_growth(self, growth_mm: float) -> Lattice:
        """The lattice with growth held."""
        return self._joined([way.at_growth(growth_mm) for way in self.ways])

    def at_growths(self, growths_mm: Floats) -> HeldGrowths:
        """The lattice at several held growths."""
        parts = [way.at_growths(growths_mm) for way in self.ways]
        if len(parts) == 1:
            return parts[0]
        units = np.array([part.log_unit + share for part, share in zip(parts, self.log_shares, strict=True)])
        log_unit = units.max(axis=0)
        numbers = [np.repeat(np.arange(len(growths_mm)), _lengths(part)) for part in parts]
        weights = [
            part.weights * np.exp(unit - log_unit)[number]
            for part, unit, number in zip(parts, units, numbers, strict=True)
        ]
        number = np.concatenate(numbers)
        order = np.argsort(number, kind="stable")
        factors = tuple(np.concatenate(cut)[order] for cut in zip(*(part.factors for part in parts), strict=True))
        starts = np.searchsorted(number[order], np.arange(len(growths_mm)))
        return HeldGrowths(np.concatenate(weights)[order], factors, starts, log_unit)

    def log_evidence(self) -> float:
        """Logarithm of the readings' likelihood under the table, codes and ways summed out."""
        return float(np.logaddexp.reduce(self.log_shares + [way.log_evidence() for way in self.ways]))

    def leading(self, code: Sequence[int], lattice: Lattice) -> Leading:
        """The way that gives this code most of its mass on one of the picture's lattices."""
        if len(self.ways) == 1:
            return Leading(self.ways[0], 0, slice(None), lattice.points)
        mass = lattice.weights.copy()
        for factor, depth in zip(lattice.factors, code, strict=True):
            mass *= factor[:, depth]
        way = int(np.argmax(np.bincount(lattice.points.way, mass, minlength=len(self.ways))))
        own = lattice.points.way == way
        return Leading(self.ways[way], way, own, lattice.points.take(own))

    def rival(self, leading: Leading, lattice: Lattice, cells: Floats) -> tuple[tuple[int, ...], float] | None:
        """(its likeliest code, probability) of the likeliest way besides the leading one; None where there is none.

        ``cells`` are the (points,) posterior weights of the lattice.
        """
        shares = np.bincount(lattice.points.way, cells, minlength=len(self.ways))
        shares[leading.way] = 0.0
        way = int(np.argmax(shares))
        own = lattice.points.way == way
        if shares[way] <= 0.0 or not own.any():
            return None
        ranking = Ranking([lattice.weights[own]], [tuple(factor[own] for factor in lattice.factors)], self.links)
        return ranking.first(1).codes[0], float(shares[way])

    def _joined(self, lattices: Sequence[Lattice]) -> Lattice:
        """The ways' own lattices as one."""
        if len(lattices) == 1:
            return lattices[0]
        units = [lattice.log_unit + float(share) for lattice, share in zip(lattices, self.log_shares, strict=True)]
        log_unit = max(units)
        return Lattice(
            Points.joined([lattice.points.in_way(way) for way, lattice in enumerate(lattices)]),
            np.concatenate(
                [lattice.weights * math.exp(unit - log_unit) for lattice, unit in zip(lattices, units, strict=True)]
            ),
            log_unit,
            tuple(np.concatenate(cut) for cut in zip(*(lattice.factors for lattice in lattices), strict=True)),
        )


@dataclass(frozen=True)
class Leading:
    """The way that scale, growth and roots are reported of.

    Attributes
    ----------
    posterior
        Its posterior.
    way
        Its number among the picture's.
    own
        Which of the joint lattice's points are its own: a mask, or all of them.
    points
        These points.
    """

    posterior: PicturePosterior
    way: int
    own: NDArray[np.bool_] | slice
    points: Points

    def cells(self, cells: Floats) -> Floats:
        """(own points,) posterior weights that sum to 1, of those of the joint lattice."""
        if isinstance(self.own, slice):
            return cells
        own = cells[self.own]
        return np.asarray(own / own.sum())


def _lengths(held: HeldGrowths) -> NDArray[Any]:
    """How many points each growth has."""
    return np.diff(np.append(held.starts, len(held.weights)))
