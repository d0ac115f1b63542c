"""What changes across flanks of one direction, summed along every diagonal of a map.

A map's columns lie as far apart as a flank rises in one row, so that a flank is a diagonal.  With running sums down
the diagonals a flank of any length is one difference.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from app.picture.median import Values, spread
from keycore.measured import Floats

Rows = NDArray[np.int_]


@dataclass(frozen=True)
class Diagonals:
    """Running sums along the diagonals.

    Attributes
    ----------
    sums
        (rows + 1, diagonals) sums of all rows below; a diagonal is named by its column in row 0.
    lowest
        Name of the first diagonal.
    usual
        Rows of a usual flank.
    noise
        Spread of a mean over a usual flank.
    """

    sums: Floats
    lowest: int
    usual: int
    noise: float

    def z(self, first: Rows, end: Rows, diagonal: Rows, beside: Rows) -> Floats:
        """(n, ...) sums from row ``first`` to before ``end``, of diagonals that lie ``beside`` (n,) columns from one.

        In units of their spread; 0 where there are no rows.
        """
        first, end, diagonal = np.broadcast_arrays(first, end, diagonal)
        count = end - first
        unit = np.where(count > 0, 1.0 / (np.sqrt(np.maximum(count, 1) * self.usual) * self.noise), 0.0)
        width = self.sums.shape[1]
        low, high = (np.clip(row, 0, len(self.sums) - 1) * width for row in (first, end))
        columns = np.clip(diagonal - self.lowest + beside.reshape(-1, *(1 for _ in count.shape)), 0, width - 1)
        sums = self.sums.ravel()
        return np.asarray((sums.take(columns + high) - sums.take(columns + low)) * unit)


def diagonals(change: Values, direction: int, usual: int) -> Diagonals:
    """Sum (rows, columns) changes along the diagonals that rise to the right (``direction`` 1) or to the left (-1)."""
    rows, columns = change.shape
    lowest = 1 - rows if direction > 0 else 0
    row = np.arange(rows)[:, None]
    at = np.arange(lowest, lowest + columns + rows - 1) + direction * row
    inside = (at >= 0) & (at < columns)
    values = np.where(inside, change[row, np.clip(at, 0, columns - 1)], 0.0)
    sums = np.zeros((rows + 1, values.shape[1]))
    np.cumsum(values, axis=0, out=sums[1:], dtype=float)
    whole = (sums[usual:] - sums[:-usual])[inside[usual - 1 :] & inside[: rows - usual + 1]] / usual
    return Diagonals(sums, lowest, usual, spread(whole))
