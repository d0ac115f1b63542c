"""The whole edge at once: floors, the flanks between neighbouring cuts up to where they meet, the uncut edge there.

How long a flank is depends on both of its neighbours: a deep cut's flank runs on until it meets the next one, and two
shallow cuts leave a piece of the uncut edge between them.  So an edge is a chain.  With the height ``y`` and the small
move ``e`` along the blade of each cut,

    evidence = sum of floor_i(y_i, e_i) + prior(e_i)
             + sum of right_i(y_i, e_i; y_i+1) + left_i+1(y_i+1, e_i+1; y_i) + uncut_i(y_i, y_i+1)

where ``right`` and ``left`` are the flanks that face each other, each one line with its exact length, and ``uncut`` is
what is left between them at the uncut edge's height; all in the log-likelihood ratios of :mod:`app.picture.edgemaps`.
(That the other cut's move changes where two flanks meet by a few hundredths is left out.)  Every hypothesis so
explains the same stretch of edge, and parting it into more lines makes it worth little more (``MOST_LINES``): a shallow
cut is told by its short flanks and by the uncut edge beside it, not by its floor alone, and a deep one has to account
for the edge that it would cut away.

What a cut's height is worth is then summed exactly over everything that the other cuts may be: forward and backward
along the chain, as in a hidden Markov model (L. R. Rabiner, Proc. IEEE 77 (1989) 257; from memory).  The depths of the
table play no part yet; a mirrored pair is one chain, since opposite floors stand at one height.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np

from app.picture.alignment import centre_moves
from app.picture.diagonals import Rows
from app.picture.edgemaps import ALIKE_MM, FLANK_CORNER_MM, PEAK_MM, EdgeMaps, ratio_of_peak
from app.picture.lie import HeightCurve, Lie
from app.picture.lobes import without_lobes
from app.picture.logsum import logsumexp
from app.picture.shape import EdgeShape
from keycore.measured import Floats

HEIGHT_MM = 0.08
"""Step of the heights that neighbours are summed over; each cut's own floor keeps the map's finer one."""
FLANK_SD_MM = 0.02
"""How far a flank or the uncut edge may stand from where its cut and the table put it."""
WHOLE_MM = 0.6
"""A shorter line counts by its share of this: else a flank that just begins to be seen would be worth a whole one."""
MOST_LINES = 2.5
"""The edge between two floors is worth no more whole lines than this, into however many a hypothesis parts it."""
FROM_SHOULDER_MM = 0.4
"""What is left out of the uncut edge at the shoulder's fillet."""


@dataclass(frozen=True)
class _Lines:
    """The lines of one edge and what speaks for each, in rows and columns of its map.

    Attributes
    ----------
    along, along_wide
        (rows, columns + 1) running sums of the change across a level edge, and of what is wide (as in the map).
    shifts
        (n,) rows by which a line may be off, and beside which its peak is sought.
    moves, move_prior
        (m,) columns by which a cut may stand beside its place, and their log-probability.
    """

    maps: EdgeMaps
    row_mm: float
    column_mm: float
    along: Floats
    along_wide: Floats | None
    shifts: Rows
    moves: Rows
    move_prior: Floats

    def column(self, x_mm: Floats | float) -> Rows:
        """Nearest column."""
        return np.asarray(np.rint((x_mm - self.maps.x_mm[0]) / self.column_mm), dtype=int)

    def row(self, height_mm: Floats | float) -> Rows:
        """Nearest row."""
        return np.asarray(np.rint((height_mm - self.maps.y_mm[0]) / self.row_mm), dtype=int)

    def flank(self, first: Rows, last: Rows, diagonal: Rows, direction: int) -> Floats:
        """(m, ...) log-likelihood ratio of a flank from row ``first`` to ``last``, for every move of its cut."""
        sums = self.maps.right if direction > 0 else self.maps.left
        z, _ = sums.z(first, last + 1, diagonal, -direction * self.shifts)
        # A cut that stands farther to the right has its right flank lower, and its left one higher.
        value = self._near(z, -direction * self.moves)
        return np.asarray(value * self.whole((last - first + 1) * self.row_mm))

    def uncut(self, row: int, first: Rows, last: Rows) -> Floats:
        """Log-likelihood ratio of the uncut edge at a row, from column ``first`` to before ``last``."""
        rows = np.clip(row + self.shifts, 0, len(self.along) - 1)
        begin, end = (np.clip(at, 0, self.along.shape[1] - 1) for at in (first, last))
        count = np.maximum(last - first, 1)
        change = self.along[rows][:, end] - self.along[rows][:, begin]
        if self.along_wide is not None:
            change = without_lobes(change, self.along_wide[rows][:, end] - self.along_wide[rows][:, begin])
        mean = change / count
        z = mean / self.maps.noise * np.sqrt(np.maximum(1.0, count * self.column_mm / ALIKE_MM))
        value = self._near(z, np.zeros(1, dtype=int))[0]
        return np.asarray(value * self.whole((last - first) * self.column_mm))

    @staticmethod
    def whole(length_mm: Any) -> Floats:
        """Share of a whole line that one of this length counts."""
        return np.asarray(np.clip(length_mm / WHOLE_MM, 0.0, 1.0), dtype=float)

    def floor(self, centre_mm: float) -> Floats:
        """(m, rows) log-likelihood ratio of a floor, for every move of its cut, with the move's prior."""
        at = np.clip(self.column(centre_mm) + self.moves, 0, len(self.maps.x_mm) - 1)
        return np.asarray(self.maps.floor[:, at].T + self.move_prior[:, None])

    def _near(self, z: Floats, middles: Rows) -> Floats:
        """(middles, ...) ratio of a line that stands near each of the middles, of (n, ...) sums at all shifts."""
        ratio = ratio_of_peak(z, np.abs(z).max(axis=0), signed=self.maps.signed)
        weights = np.exp(-0.5 * ((self.shifts - middles[:, None]) * self.row_mm / FLANK_SD_MM) ** 2)
        weights /= weights.sum(axis=1, keepdims=True)
        return np.asarray(np.log(np.tensordot(weights, np.exp(ratio), axes=1)))


def _lines(maps: EdgeMaps) -> _Lines:
    row_mm, column_mm = float(maps.y_mm[1] - maps.y_mm[0]), float(maps.x_mm[1] - maps.x_mm[0])
    beside = round(PEAK_MM / row_mm)
    moves, move_prior = centre_moves(column_mm)
    return _Lines(
        maps=maps,
        row_mm=row_mm,
        column_mm=column_mm,
        along=_running_sums(maps.rise),
        along_wide=None if maps.wide is None else _running_sums(maps.wide),
        shifts=np.arange(-beside, beside + 1),
        moves=moves,
        move_prior=move_prior,
    )


def _running_sums(values: Floats) -> Floats:
    """(rows, columns + 1) sums of each row up to every column."""
    sums = np.zeros((values.shape[0], values.shape[1] + 1))
    np.cumsum(values, axis=1, out=sums[:, 1:])
    return sums


@dataclass(frozen=True)
class _Chain:
    """What speaks for the cuts of an edge; k cuts, m moves, h heights above the line.

    Attributes
    ----------
    ends
        (k) arrays (m, h): the outer flanks and uncut edge of the first and the last cut, else zero.
    floors
        (k) arrays (m, h).
    right, left
        (k - 1) arrays (m, h, h): the right flank of a cut, by its own height and its neighbour's; the next one's left
        flank, by the heights in the same order.
    uncut
        (k - 1) arrays (h, h).
    """

    ends: list[Floats]
    floors: list[Floats]
    right: list[Floats]
    left: list[Floats]
    uncut: list[Floats]

    def with_other(self, other: _Chain) -> _Chain:
        """Both edges of a mirrored pair as one chain."""
        names = ("ends", "floors", "right", "left", "uncut")
        return _Chain(*([a + b for a, b in zip(getattr(self, n), getattr(other, n), strict=True)] for n in names))

    def told_by_others(self) -> list[Floats]:
        """(k) arrays (m, h): what all other cuts say of each, summed over all that they may be."""
        own = [floor + end for floor, end in zip(self.floors, self.ends, strict=True)]
        forward, backward = [np.zeros_like(own[0])], [np.zeros_like(own[0])]
        for one, right, left, uncut in zip(own, self.right, self.left, self.uncut, strict=False):
            by_heights = logsumexp((forward[-1] + one)[:, :, None] + right, axis=0) + uncut
            forward.append(logsumexp(by_heights + left, axis=1))
        for one, right, left, uncut in zip(
            own[:0:-1], self.right[::-1], self.left[::-1], self.uncut[::-1], strict=True
        ):
            by_heights = logsumexp((backward[-1] + one)[:, None, :] + left, axis=0) + uncut
            backward.append(logsumexp(by_heights + right, axis=2))
        return [before + after for before, after in zip(forward, backward[::-1], strict=True)]


def with_neighbours(
    edges: tuple[EdgeMaps, ...],
    shape: EdgeShape,
    centres_mm: Floats,
    lie: Lie,
    shoulder_mm: float,
    *,
    mirrored: bool,
    besides: tuple[tuple[Floats, ...], ...] = (),
) -> tuple[tuple[HeightCurve, ...], ...]:
    """Evidence of every cut's height with its neighbours summed over: one tuple for each edge.

    Parameters
    ----------
    edges
        The maps of one edge, or of the one at positive y and the other; all with the same rows and columns.
    centres_mm
        (k,) places of the cuts along the frame.
    lie
        The line that heights are counted from, the scale across and the growth.
    shoulder_mm
        Where the uncut edge begins.
    mirrored
        True where opposite floors stand at one height.
    besides
        For each edge and cut (rows,) what else speaks for its floor; none where nothing does.
    """
    row_mm = float(edges[0].y_mm[1] - edges[0].y_mm[0])
    margin = float(np.abs(lie.at(centres_mm)).max())
    low, high = float(edges[0].y_mm[0]) + margin, float(edges[0].y_mm[-1]) - margin
    heights = np.arange(low, high, max(1, round(HEIGHT_MM / row_mm)) * row_mm)
    on_line = [side * lie.at(centres_mm) for side in (1, -1)[: len(edges)]]
    lines = [_lines(maps) for maps in edges]
    floors = [[one.floor(float(x)) for x in centres_mm] for one in lines]
    if besides:
        floors = [[a + b for a, b in zip(own, more, strict=True)] for own, more in zip(floors, besides, strict=True)]
    top_mm = lie.scale * shape.top_mm + lie.growth_mm
    chains = [
        _chain(one, shape, centres_mm, at, heights, top_mm, shoulder_mm, own)
        for one, at, own in zip(lines, on_line, floors, strict=True)
    ]
    told = [chain.told_by_others() for chain in ([chains[0].with_other(chains[1])] if mirrored else chains)]
    if mirrored:
        told *= 2
    return tuple(
        tuple(
            _curve(maps.y_mm, float(x), floor, heights + float(line), others + end)
            for x, floor, line, others, end in zip(centres_mm, own, at, by_cut, chain.ends, strict=True)
        )
        for maps, own, at, by_cut, chain in zip(edges, floors, on_line, told, chains, strict=True)
    )


def _curve(y_mm: Floats, centre_mm: float, floor: Floats, heights_mm: Floats, told: Floats) -> HeightCurve:
    """A cut's own floor together with the rest of the edge, its move summed over."""
    told = told - float(told.max())
    both = floor + np.stack([np.interp(y_mm, heights_mm, one) for one in told])
    return HeightCurve(centre_mm, y_mm, np.asarray(logsumexp(both, axis=0)))


def _chain(
    lines: _Lines,
    shape: EdgeShape,
    centres_mm: Floats,
    line_mm: Floats,
    heights_mm: Floats,
    top_mm: float,
    shoulder_mm: float,
    own: list[Floats],
) -> _Chain:
    """Evidence of one edge's lines at all heights above the line, which stands at ``line_mm`` (k,) in the map.

    ``own`` is what speaks for each cut's floor: (k) arrays (m, rows).
    """
    right_corner, left_corner = (lines.column(centres_mm + end * shape.flat_mm / 2) for end in (1, -1))
    rows = [lines.row(heights_mm + at + lines.maps.flanks_mm) for at in line_mm]
    tops = lines.row(top_mm + line_mm)
    skip = max(1, round(FLANK_CORNER_MM / lines.column_mm))
    right, left, uncut = [], [], []
    for k in range(len(rows) - 1):
        a, b = rows[k][:, None], rows[k + 1][None, :]
        top = int(tops[k] + tops[k + 1]) // 2
        rising, falling = right_corner[k] - a, left_corner[k + 1] + b
        meet = (falling - rising) // 2
        # A flank ends where it meets the other, at the other's floor if that is higher, or at the uncut edge.
        right_end, left_end = (np.minimum(top, np.maximum(meet, other)) for other in (b, a))
        between = falling - rising - 2 * top
        flanks = (right_end - a - skip + 1, left_end - b - skip + 1)
        count = sum(lines.whole(rows_of * lines.row_mm) for rows_of in flanks) + lines.whole(between * lines.column_mm)
        share = np.minimum(1.0, MOST_LINES / np.maximum(count, 1e-9))
        right.append(share * lines.flank(a + skip, right_end, rising, 1))
        left.append(share * lines.flank(b + skip, left_end, falling, -1))
        uncut.append(share * lines.uncut(top, rising + top, falling - top))
    floors = [
        np.stack([np.interp(heights_mm + at, lines.maps.y_mm, one) for one in floor])
        for floor, at in zip(own, line_mm, strict=True)
    ]
    first, last, usual = rows[0], rows[-1], lines.maps.right.usual - 1
    ends = [np.zeros_like(floor) for floor in floors]
    outward = left_corner[0] + first
    ends[0] += lines.flank(first + skip, np.minimum(int(tops[0]), first + skip + usual), outward, -1)
    begin = np.maximum(0, lines.column(shoulder_mm + FROM_SHOULDER_MM))
    ends[0] += lines.uncut(int(tops[0]), np.broadcast_to(begin, first.shape), outward - tops[0])
    ends[-1] += lines.flank(last + skip, np.minimum(int(tops[-1]), last + skip + usual), right_corner[-1] - last, 1)
    return _Chain(ends, floors, right, left, uncut)
