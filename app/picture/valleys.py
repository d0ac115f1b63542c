"""What the black of a copy shows of a valley: its floor, its floor too high by shadow, or nothing but its flanks.

On a copy shadow and metal are one black.  In a valley the walls take the light from the ground, so the black ends
farther out than the floor; in a narrow or deep one it closes over it, and what then looks like a floor is the black's
own border.  The flanks move less.  Measured on copies of known truth by two renderers, each copy's median: where all
floors show an edge, flanks stand within 0.1 mm of the metal in eight and nine copies of ten, floors in eight and six;
where some show none, flanks in five and seven of ten, floors in three and two.  Where a floor itself shows none, the
strongest level line stands 0.7 mm (median) too high, the strongest pair of flanks 0.2 mm.

So every edge of a copy is looked at in three ways, and the likeliest is taken, with what each was believed before:

* *Floors shown.*  Toner, light and rounded peaks move flanks and floors differently: flanks stand apart from the floors
  by one distance for the whole edge, normal about ``APART_MM``.  Heights are the floors'.
* *Floors shown too high* (:data:`FILLED_EVENLY` of those), by one amount in ``EVENLY_MM``.  Heights are the flanks':
  black grows outward only, so of floors and flanks that disagree the inner ones are the metal's.
* *Floors hidden,* on ``HIDDEN`` of the edges.  There each floor shows no line of its own with probability
  ``HIDDEN_FLOORS``, and the black's border lies anywhere in ``BORDER_MM`` beyond it:

      floor(y) = ln( (1 - HIDDEN_FLOORS) exp(shown(y)) + HIDDEN_FLOORS * mean over f of exp(shown(y + f)) )

A shadow falls to one side, so the two edges of a double key need not be alike.  What is left of filling that differs
from cut to cut is the decoder's (:mod:`keycore.filling`).
"""

from __future__ import annotations

from dataclasses import replace
from itertools import product

import numpy as np

from app.picture.alignment import centre_moves
from app.picture.edgemaps import EdgeMaps
from app.picture.logsum import logsumexp
from app.picture.smooth import shifted
from keycore.measured import Floats

HIDDEN, HIDDEN_FLOORS = 0.3, 0.8
"""Measured on 400 drawn copies: a quarter of all floors show no edge, nearly all of them on edges where most do not."""
BORDER_MM = (0.12, 1.8)
FILLED_EVENLY, EVENLY_MM = 0.3, (0.12, 0.9)
APART_MM, APART_SD_MM, APART_FROM_MM, APART_UP_TO_MM = -0.04, 0.08, -0.12, 0.24
"""Of flanks above floors; measured -0.05 mm with a standard deviation of 0.06.

Floors farther above the flanks are too high: held against the uncut edge at the true places of drawn copies, floors
0.16 to 0.4 mm above the flanks are within 0.1 mm of where they should be on 3 of 75 edges, and the flanks on 53; at up
to 0.1 mm floors are on 362 of 392, flanks on 378.  On 7 edges of another renderer no floor is, and 5 flanks are.
"""
STEP_MM = 0.04
"""Steps in which distances and amounts are tried."""


def sights(maps: tuple[EdgeMaps, ...]) -> tuple[tuple[EdgeMaps, ...], ...]:
    """Every way that a copy's edges may be seen together: the floors of each shown, or hidden."""
    return tuple(product(*((edge, _hidden(edge)) for edge in maps)))


def as_seen(sight: tuple[EdgeMaps, ...], centres_mm: Floats) -> tuple[tuple[EdgeMaps, ...], float]:
    """Return the edges with floors and flanks where they most likely stand, and what was believed of that before (log).

    Parameters
    ----------
    sight
        One of the :func:`sights`.
    centres_mm
        (k,) places of the cuts along the frame.
    """
    edges, believed = zip(*(_shown(edge, centres_mm) for edge in sight), strict=True)
    return edges, sum(believed)


def _shown(maps: EdgeMaps, centres_mm: Floats) -> tuple[EdgeMaps, float]:
    """One edge of them."""
    if maps.hidden:
        return maps, float(np.log(HIDDEN))
    row_mm, column_mm = float(maps.y_mm[1] - maps.y_mm[0]), float(maps.x_mm[1] - maps.x_mm[0])
    moves, move_prior = centre_moves(column_mm)
    columns = np.rint((centres_mm[:, None] - maps.x_mm[0]) / column_mm).astype(int) + moves
    columns = np.clip(columns, 0, len(maps.x_mm) - 1)
    floor = maps.floor[:, columns]
    flanks = maps.cut[:, columns] - floor + move_prior
    ways, before = _ways(row_mm)
    told = np.array([_told(shifted(floor, filled) + shifted(flanks, apart)) for filled, apart in ways])
    best = int(np.argmax(told + before))
    filled, apart = ways[best]
    shown = shifted(maps.floor, filled)
    cut = shown + shifted(maps.cut - maps.floor, apart)
    return replace(maps, floor=shown, cut=cut, flanks_mm=apart * row_mm), float(before[best])


def _ways(row_mm: float) -> tuple[list[tuple[int, int]], Floats]:
    """How many rows floors that show may stand too high, and flanks above them, and what was believed of each (log)."""
    step = max(1, round(STEP_MM / row_mm))
    apart = np.arange(round(APART_FROM_MM / row_mm), round(APART_UP_TO_MM / row_mm) + 1, step)
    filled = np.arange(round(EVENLY_MM[0] / row_mm), round(EVENLY_MM[1] / row_mm) + 1, step)
    by_apart = np.asarray(-0.5 * ((apart * row_mm - APART_MM) / APART_SD_MM) ** 2, dtype=float)
    by_apart += np.log(1 - FILLED_EVENLY) - logsumexp(by_apart)
    by_filled = np.full(len(filled), np.log(FILLED_EVENLY / len(filled)))
    usual = round(APART_MM / row_mm)
    ways = [(0, int(rows)) for rows in apart] + [(int(rows), usual) for rows in filled]
    return ways, np.concatenate([by_apart, by_filled]) + np.log(1 - HIDDEN)


def _told(cuts: Floats) -> float:
    """Log evidence of (rows, k, moves) cuts, each summed over its height and move."""
    return float(logsumexp(np.moveaxis(cuts, 1, 0).reshape(cuts.shape[1], -1), axis=1).sum())


def _hidden(maps: EdgeMaps) -> EdgeMaps:
    """The edge with floors that mostly do not show."""
    row_mm = float(maps.y_mm[1] - maps.y_mm[0])
    floor = hidden_floors(maps.floor, row_mm)
    return replace(maps, floor=floor, cut=maps.cut + (floor - maps.floor), hidden=True)


def hidden_floors(shown: Floats, row_mm: float) -> Floats:
    """(rows, ...) log-likelihood ratio of floors that may be hidden, from that of the lines that are seen.

    The first axis runs outward; beyond its end the last row holds.
    """
    near, far = (round(beyond / row_mm) for beyond in BORDER_MM)
    seen = np.exp(np.concatenate([shown, np.repeat(shown[-1:], far, axis=0)]))
    total = np.concatenate([np.zeros_like(seen[:1]), np.cumsum(seen, axis=0)])
    rows = len(shown)
    border = (total[far : far + rows] - total[near : near + rows]) / (far - near)
    return np.asarray(np.log((1 - HIDDEN_FLOORS) * seen[:rows] + HIDDEN_FLOORS * border))
