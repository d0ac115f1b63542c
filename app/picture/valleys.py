"""What the black of a copy shows of a valley: its floor where it is drawn, and where shadow hides it, its flanks.

On a copy shadow and metal are one black.  In a narrow valley the walls take the light from the ground, and the black
closes over the floor; what then looks like a floor is the black's own border, up to two millimetres farther out.  The
flanks above it stay where they are.  Measured at true floors of 400 drawn copies: where the floor shows no edge, the
strongest level line stands 0.7 mm (median) farther out than the metal, the strongest pair of flanks 0.2 mm; in copies
whose floors are all hidden the flanks alone tell each cut to 0.1 mm as often as not.

So every edge of a copy is looked at in two ways, and the likelier one is taken, with what each was believed before:

* *Floors shown.*  Flanks stand apart from the floors by one distance for the whole edge, since toner, light and rounded
  peaks move them differently: normal about ``APART_MM``.
* *Floors hidden,* on ``HIDDEN`` of the edges.  There each floor shows no line of its own with probability
  ``HIDDEN_FLOORS``, and the black's border lies anywhere in ``FILLED_MM`` beyond it:

      floor(y) = ln( (1 - HIDDEN_FLOORS) exp(shown(y)) + HIDDEN_FLOORS * mean over f of exp(shown(y + f)) )

A shadow falls to one side, so the two edges of a double key need not be alike.
"""

from __future__ import annotations

from dataclasses import replace
from itertools import product

import numpy as np

from app.picture.alignment import CENTRE_SD_MM
from app.picture.edgemaps import EdgeMaps
from app.picture.logsum import logsumexp
from keycore.measured import Floats

HIDDEN, HIDDEN_FLOORS = 0.3, 0.8
"""Measured on 400 drawn copies: a quarter of all floors show no edge, nearly all of them on edges where most do not."""
FILLED_MM = (0.12, 1.8)
APART_MM, APART_SD_MM = -0.04, 0.08
"""Of flanks above floors; measured -0.05 mm with a standard deviation of 0.06."""
MOST_APART_MM, APART_STEP_MM = 0.24, 0.04


def sights(maps: tuple[EdgeMaps, ...]) -> tuple[tuple[EdgeMaps, ...], ...]:
    """Every way that a copy's edges may be seen together: the floors of each shown, or hidden."""
    return tuple(product(*((edge, _hidden(edge)) for edge in maps)))


def as_seen(sight: tuple[EdgeMaps, ...], centres_mm: Floats) -> tuple[tuple[EdgeMaps, ...], float]:
    """Return the edges with flanks where they stand beside their floors, and what was believed of that before (log).

    Parameters
    ----------
    sight
        One of the :func:`sights`.
    centres_mm
        (k,) places of the cuts along the frame.
    """
    edges, believed = zip(*(_flanks_apart(edge, centres_mm) for edge in sight), strict=True)
    return edges, sum(believed)


def _flanks_apart(maps: EdgeMaps, centres_mm: Floats) -> tuple[EdgeMaps, float]:
    """One edge of them."""
    if maps.hidden:
        return maps, float(np.log(HIDDEN))
    row_mm, column_mm = float(maps.y_mm[1] - maps.y_mm[0]), float(maps.x_mm[1] - maps.x_mm[0])
    reach = max(1, round(2 * CENTRE_SD_MM / column_mm))
    moves = np.arange(-reach, reach + 1)
    columns = np.rint((centres_mm[:, None] - maps.x_mm[0]) / column_mm).astype(int) + moves
    columns = np.clip(columns, 0, len(maps.x_mm) - 1)
    floor = maps.floor[:, columns]
    flanks = maps.cut[:, columns] - floor - 0.5 * (moves * column_mm / CENTRE_SD_MM) ** 2
    most = round(MOST_APART_MM / row_mm)
    rows = np.arange(-most, most + 1, max(1, round(APART_STEP_MM / row_mm)))
    before = np.asarray(-0.5 * ((rows * row_mm - APART_MM) / APART_SD_MM) ** 2, dtype=float)
    before += np.log(1 - HIDDEN) - logsumexp(before)
    told = np.array([_told(floor + _lowered(flanks, int(apart))) for apart in rows])
    best = int(np.argmax(told + before))
    apart = int(rows[best])
    cut = maps.floor + _lowered(maps.cut - maps.floor, apart)
    return replace(maps, cut=cut, flanks_mm=apart * row_mm), float(before[best])


def _told(cuts: Floats) -> float:
    """Log evidence of (rows, k, moves) cuts, each summed over its height and move."""
    return float(logsumexp(np.moveaxis(cuts, 1, 0).reshape(cuts.shape[1], -1), axis=1).sum())


def _lowered(ratio: Floats, rows: int) -> Floats:
    """What speaks for a flank, given to the floor that lies so many rows below it; the ends hold."""
    return np.asarray(ratio[np.clip(np.arange(len(ratio)) + rows, 0, len(ratio) - 1)])


def _hidden(maps: EdgeMaps) -> EdgeMaps:
    """The edge with floors that mostly do not show."""
    row_mm = float(maps.y_mm[1] - maps.y_mm[0])
    floor = hidden_floors(maps.floor, row_mm)
    return replace(maps, floor=floor, cut=maps.cut + (floor - maps.floor), hidden=True)


def hidden_floors(shown: Floats, row_mm: float) -> Floats:
    """(rows, ...) log-likelihood ratio of floors that may be hidden, from that of the lines that are seen.

    The first axis runs outward; beyond its end the last row holds.
    """
    near, far = (round(filled / row_mm) for filled in FILLED_MM)
    seen = np.exp(np.concatenate([shown, np.repeat(shown[-1:], far, axis=0)]))
    total = np.concatenate([np.zeros_like(seen[:1]), np.cumsum(seen, axis=0)])
    rows = len(shown)
    border = (total[far : far + rows] - total[near : near + rows]) / (far - near)
    return np.asarray(np.log((1 - HIDDEN_FLOORS) * seen[:rows] + HIDDEN_FLOORS * border))
