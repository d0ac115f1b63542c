"""A second outline beside the metal's: a shadow's border, a contact shadow, the lower rim of a thick key.

What stands beside a key is mostly the key's own outline once more, moved by one vector: the lamp's shadow by the way
that the light falls, the lower rim by the way that the camera looks.  Where the moved outline lies outside the metal
it is an edge too, often the stronger one; where it lies inside, the metal hides it.  So with the vector ``(x, y)`` in
the blade's frame, a flank's run over rise ``t`` and the edge's side ``s`` (1 or -1) the second line lies

    above a floor and the uncut edge by                s y
    inward of a flank that rises to the right by      -x + t s y
    inward of a flank that rises to the left by        x + t s y

and outside a single edge's back by ``-y``; where that is not at least ``LEAST_MM``, there is no second line.  Of the
two lines the eye may see the metal's, the other, or both:

    likelihood = 0.45 M + 0.45 M B + 0.1 B      M, B: ratio against no edge at the metal's place, at the border's

All cuts share the vector, and the metal is always the inner one: a floor whose border is stronger than itself is still
read at the metal, where anything at all is seen of it or where the other cuts show how far the border lies.

The vector is found by summing, for every vector of a grid, over a move along and a height that all cuts share and over
each cut's depths.  There two lines count as both seen only where each is the largest near its place and more than a
trace of the other (:func:`app.picture.edgemaps.ratio_beside`), and a second outline is taken to be there only where it
explains as much more as a blade's own outline must.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from scipy.ndimage import gaussian_filter1d

from app.picture.edgemaps import EdgeMaps, ratio_beside
from app.picture.logsum import logsumexp
from app.picture.shape import EdgeShape
from keycore.measured import Floats

LEAST_MM = 0.4
"""Two lines nearer than this are one edge: each may stand a little beside its place, and an edge is 0.3 mm broad at its
foot (``PEAK_MM`` to either side)."""
FARTHEST_MM, STEP_MM = 1.2, 0.1
"""Vectors that are tried, in each direction."""
ALONG_MM, LOW_MM, HIGH_MM, HEIGHT_STEP_MM = 0.6, -0.7, 0.9, 0.08
"""Moves and heights, common to all cuts, that are summed over."""
WIDE_MM = 0.9
"""What is taken off as wide where a second outline is looked for: less would leave traces of the first one."""
SOFT_MM = 0.05
"""How far an edge may stand from its place on the grids above."""
METAL, BOTH = 0.45, 0.45
"""How often only the metal's line is seen, and both; only the other is rare where the two outlines are seen at all."""
OUTLINE = 8.0
"""Less log evidence than this for each cut is no outline, as it is no blade (:mod:`app.picture.read`)."""


@dataclass(frozen=True)
class Border:
    """The second outline's place: the metal's, moved by this vector of the blade's frame, millimetres."""

    x_mm: float = 0.0
    y_mm: float = 0.0

    def above(self, side: int) -> float:
        """How far above a floor its second line stands; 0 for none."""
        return _or_none(side * self.y_mm)

    def inward(self, side: int, direction: int, tangent: float) -> float:
        """How far inward of a flank that rises to the right (1) or left (-1) its second line stands; 0 for none."""
        return _or_none(-direction * self.x_mm + tangent * side * self.y_mm)

    @property
    def below_back(self) -> float:
        """How far outside a single edge's back its second line stands; 0 for none."""
        return _or_none(-self.y_mm)


NO_BORDER = Border()


def _or_none(away_mm: float) -> float:
    return away_mm if away_mm >= LEAST_MM - 1e-9 else 0.0


def with_second(metal: Floats, border: Floats) -> Floats:
    """Log-likelihood ratio of an edge that is seen at the metal's place, the border's, or both."""
    one_or_both = np.logaddexp(metal + np.log(METAL), metal + border + np.log(BOTH))
    return np.asarray(np.logaddexp(one_or_both, border + np.log(1.0 - METAL - BOTH)))


def bordered(maps: EdgeMaps, border: Border, side: int, tangent: float) -> EdgeMaps:
    """The maps of an edge whose lines may have a second one beside them."""
    row_mm, column_mm = float(maps.y_mm[1] - maps.y_mm[0]), float(maps.x_mm[1] - maps.x_mm[0])
    above = round(border.above(side) / row_mm)
    right, left = (round(border.inward(side, way, tangent) / column_mm) for way in (1, -1))
    lines = []
    for line, count, axis in zip(
        (maps.floor, maps.rising, maps.falling), (above, -right, left), (0, 1, 1), strict=True
    ):
        if count:
            second = _moved(line, count, axis)
            line = with_second(line, second)
        lines.append(line)
    return replace(maps, floor=lines[0], rising=lines[1], falling=lines[2])


def _moved(table: Floats, count: int, axis: int) -> Floats:
    """Values ``count`` places farther on; the ends hold."""
    index = np.clip(np.arange(table.shape[axis]) + count, 0, table.shape[axis] - 1)
    return np.asarray(table.take(index, axis=axis))


def likeliest_border(edges: tuple[EdgeMaps, ...], sides: tuple[int, ...], shape: EdgeShape) -> Border:
    """The vector that most speaks for; :data:`NO_BORDER` where too little speaks for any.

    Parameters
    ----------
    edges, sides
        Maps of each cut edge, in a frame of about the blade's place and scale, and its side; with what is wider than
        ``WIDE_MM`` taken off.
    """
    count = round(FARTHEST_MM / STEP_MM)
    offsets = STEP_MM * np.arange(-count, count + 1)
    vectors = [Border(float(x), float(y)) for x in offsets for y in offsets]
    vectors = [one for one in vectors if LEAST_MM <= np.hypot(one.x_mm, one.y_mm) < FARTHEST_MM + STEP_MM / 2]
    tables = [_Tables(maps, shape) for maps in edges]

    def score(border: Border) -> float:
        by_move = [table.score(border, side, shape.tangent) for table, side in zip(tables, sides, strict=True)]
        return float(logsumexp(np.sum(by_move, axis=0)))

    scores = [score(one) for one in vectors]
    best = int(np.argmax(scores))
    enough = OUTLINE * len(shape.positions_mm) * len(edges)
    return vectors[best] if scores[best] > score(NO_BORDER) + enough else NO_BORDER


class _Tables:
    """Ratios (not logarithms) of each cut's lines, softened, round the cuts of a blade that its frame fits."""

    def __init__(self, maps: EdgeMaps, shape: EdgeShape) -> None:
        self.row_mm = float(maps.y_mm[1] - maps.y_mm[0])
        column_mm = float(maps.x_mm[1] - maps.x_mm[0])
        reach = int(np.ceil((ALONG_MM + (1 + shape.tangent) * FARTHEST_MM) / STEP_MM)) + 1
        away = np.rint(STEP_MM / column_mm * np.arange(-reach, reach + 1)).astype(int)
        centre = np.rint((shape.positions_mm - maps.x_mm[0]) / column_mm).astype(int)
        columns = np.clip(centre[:, None] + away, 0, len(maps.x_mm) - 1)
        lines = maps.floor, maps.rising, maps.falling
        soft = [gaussian_filter1d(np.exp(line), SOFT_MM / self.row_mm, axis=0) for line in lines]
        # One of two lines has its place within little already: softened more, one edge would stand for both.
        beside = [np.exp(ratio_beside(z, signed=maps.signed, step_mm=self.row_mm, wide_mm=WIDE_MM)) for z in maps.sums]
        self.lines = [np.moveaxis(table[:, columns], 0, 1) for table in (*soft, *beside)]
        heights = np.arange(LOW_MM, HIGH_MM, HEIGHT_STEP_MM)
        self.rows = np.rint((shape.roots_mm[:, None] + heights - maps.y_mm[0]) / self.row_mm).astype(int)
        moves = round(ALONG_MM / STEP_MM)
        self.columns = reach + np.arange(-moves, moves + 1)
        self.seen: dict[tuple[int, int], Floats] = {}

    def score(self, border: Border, side: int, tangent: float) -> Floats:
        """(moves,) log evidence of an edge, its height summed over, up to what no border changes."""
        above = round(border.above(side) / self.row_mm)
        right, left = (round(border.inward(side, way, tangent) / STEP_MM) for way in (1, -1))
        cuts = self._line(0, above, 0) * self._line(1, 0, -right) * self._line(2, 0, left)
        by_height = np.log(cuts.mean(axis=1)).sum(axis=0)
        return np.asarray(logsumexp(by_height, axis=0))

    def _line(self, line: int, rows: int, columns: int) -> Floats:
        """(cuts, depths, heights, moves) ratio of one line, seen at the metal, the border or both."""
        key = line, rows or columns
        if key not in self.seen:
            metal = self._at(line, 0, 0)
            if rows or columns:
                border = self._at(line, rows, columns)
                both = self._at(line + 3, 0, 0) * self._at(line + 3, rows, columns)
                metal = METAL * metal + BOTH * both + (1.0 - METAL - BOTH) * border
            self.seen[key] = metal
        return self.seen[key]

    def _at(self, line: int, rows: int, columns: int) -> Floats:
        table = self.lines[line]
        at = np.clip(self.rows + rows, 0, table.shape[1] - 1)
        return np.asarray(table[:, at[..., None], self.columns + columns])
