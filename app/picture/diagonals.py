"""What changes across flanks of one direction, summed along every diagonal of a map.

A map's columns lie as far apart as a flank rises in one row, so that a flank is a diagonal.  With running sums down
the diagonals a flank of any length is one difference.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from app.picture.lobes import without_lobes
from app.picture.median import Values, spread
from keycore.measured import Floats

Rows = NDArray[np.int_]


@dataclass(frozen=True)
class DiagonalSums:
    """Running sums along the diagonals.

    Attributes
    ----------
    sums
        (rows + 1, diagonals) sums of all rows below; a diagonal is named by its column in row 0.
    lowest
        Name of the first diagonal.
    """

    sums: Floats
    lowest: int

    def total(self, first: Rows, end: Rows, diagonal: Rows, beside: Rows) -> Floats:
        """(n, ...) sums from row ``first`` to before ``end`` of diagonals that lie ``beside`` (n,) columns from one."""
        first, end, diagonal = np.broadcast_arrays(first, end, diagonal)
        width = self.sums.shape[1]
        low, high = (np.clip(row, 0, len(self.sums) - 1) * width for row in (first, end))
        columns = np.clip(diagonal - self.lowest + beside.reshape(-1, *(1 for _ in diagonal.shape)), 0, width - 1)
        sums = self.sums.ravel()
        return np.asarray(sums.take(columns + high) - sums.take(columns + low))


@dataclass(frozen=True)
class Diagonals(DiagonalSums):
    """Running sums of changes, and how large they usually are.

    Attributes
    ----------
    usual
        Rows of a usual flank.
    noise
        Spread of a mean over a usual flank.
    wide
        Running sums of what is wide and has been taken off, where its lobes are to be told (:mod:`app.picture.lobes`).
    """

    usual: int
    noise: float
    wide: DiagonalSums | None = None

    def z(self, first: Rows, end: Rows, diagonal: Rows, beside: Rows) -> tuple[Floats, Floats]:
        """:meth:`total` in units of its spread, without lobes and with them; 0 where there are no rows."""
        count = np.asarray(end - first)
        unit = np.where(count > 0, 1.0 / (np.sqrt(np.maximum(count, 1) * self.usual) * self.noise), 0.0)
        change = self.total(first, end, diagonal, beside)
        with_lobes = np.asarray(change * unit)
        if self.wide is None:
            return with_lobes, with_lobes
        return np.asarray(without_lobes(change, self.wide.total(first, end, diagonal, beside)) * unit), with_lobes


def diagonal_sums(values: Values, direction: int) -> DiagonalSums:
    """Sum (rows, columns) values along the diagonals that rise to the right (``direction`` 1) or to the left (-1).

    With as many empty columns on either side as there are rows, cut anew into rows one place longer (or shorter): each
    row then begins one place farther right (left), and a diagonal is a column.
    """
    rows, columns = values.shape
    wide = columns + 2 * rows
    memory = np.zeros(rows * (wide + 1), dtype=values.dtype)
    memory[: rows * wide].reshape(rows, wide)[:, rows : rows + columns] = values
    begin = 1 if direction > 0 else rows
    anew = memory[: rows * (wide + direction)].reshape(rows, wide + direction)
    sheared = anew[:, begin : begin + columns + rows - 1]
    sums = np.zeros((rows + 1, columns + rows - 1))
    np.cumsum(sheared, axis=0, out=sums[1:], dtype=float)
    return DiagonalSums(sums, 1 - rows if direction > 0 else 0)


def diagonals(change: Values, direction: int, usual: int, wide: Values | None = None) -> Diagonals:
    """:func:`diagonal_sums` of a change of grey, with its spread over a usual flank of so many rows."""
    rows, columns = change.shape
    found = diagonal_sums(change, direction)
    at = np.arange(found.lowest, found.lowest + columns + rows - 1) + direction * np.arange(rows)[:, None]
    inside = (at >= 0) & (at < columns)
    whole = (found.sums[usual:] - found.sums[:-usual])[inside[usual - 1 :] & inside[: rows - usual + 1]] / usual
    taken_off = None if wide is None else diagonal_sums(wide, direction)
    return Diagonals(found.sums, found.lowest, usual, spread(whole), taken_off)
