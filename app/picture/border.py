"""A second outline beside the metal's of a single edge: a contact shadow, a shadow's border, a thick key's lower rim.

What stands beside a key is mostly the key's own outline once more, moved by one vector: the lamp's shadow by the way
that the light falls, the lower rim by the way that the camera looks.  Where the moved outline lies outside the metal
it is an edge too, often the stronger one; where it lies inside, the metal hides it.  So with the vector ``(x, y)`` in
the blade's frame and a flank's run over rise ``t`` the second line lies

    above a floor and the uncut edge by                y
    inward of a flank that rises to the right by      -x + t y
    inward of a flank that rises to the left by        x + t y
    outside the back by                               -y

and where that is not at least ``LEAST_MM``, there is no second line.  Of the two lines the eye may see the metal's, the
other, or both:

    likelihood = 0.45 M + 0.45 M B + 0.1 B      M, B: ratio against no edge at the metal's place, at the border's

All cuts share the vector, and the metal is always the inner one: a floor whose border is stronger than itself is still
read at the metal, where anything at all is seen of it or where the other cuts show how far the border lies.

The vector is found by summing, for every vector of a grid, over a move along and a height that all cuts share and over
each cut's depths; flanks are there taken for lines without ends. Two lines count as both seen only where each is the
largest near its place and more than a trace of the other (:func:`ratio_beside`), and a second outline is taken to be
there only where it explains as much more as a blade's own outline must.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from scipy.ndimage import gaussian_filter1d

from app.picture.edgemaps import BLUR_MM, NOTHING, STRONGEST, EdgeMaps, peak_height, ratio_of_peak
from app.picture.logsum import logsumexp
from app.picture.shape import EdgeShape
from app.picture.smooth import largest_near
from keycore.measured import Floats

LEAST_MM = 0.4
"""Two lines nearer than this are one edge: each may stand a little beside its place, and an edge is 0.3 mm broad at its
foot (``PEAK_MM`` to either side)."""
FARTHEST_MM, STEP_MM = 1.2, 0.1
"""Vectors that are tried, in each direction."""
ALONG_MM, LOW_MM, HIGH_MM, HEIGHT_STEP_MM = 0.6, -0.7, 0.9, 0.08
"""Moves and heights, common to all cuts, that are summed over."""
RASTER_MM, WIDE_MM = 0.05, 0.9
"""Rows of the maps in which a second outline is looked for, and what is taken off them as wide: less would leave traces
of the first outline."""
OWN_BLUR_MM = 0.1
"""Blur that an edge may have of its own: a scanner's, a chamfer's."""
PLACED_MM = 0.08
"""How far a line may stand from its place where two are told apart."""
SOFT_MM = 0.05
"""How far an edge may stand from its place on the grids above."""
METAL, BOTH = 0.45, 0.45
"""How often only the metal's line is seen, and both; only the other is rare where the two outlines are seen at all."""
OUTLINE = 8.0
"""Less log evidence than this for each cut is no outline, as it is no blade (:mod:`app.picture.read`); with less, false
second outlines were taken up on rendered pictures."""


@dataclass(frozen=True)
class Border:
    """The second outline's place: the metal's, moved by this vector of the blade's frame, millimetres."""

    x_mm: float = 0.0
    y_mm: float = 0.0

    @property
    def above(self) -> float:
        """How far above a floor its second line stands; 0 for none."""
        return _or_none(self.y_mm)

    def inward(self, direction: int, tangent: float) -> float:
        """How far inward of a flank that rises to the right (1) or left (-1) its second line stands; 0 for none."""
        return _or_none(-direction * self.x_mm + tangent * self.y_mm)

    @property
    def below_back(self) -> float:
        """How far outside the back its second line stands; 0 for none."""
        return _or_none(-self.y_mm)


NO_BORDER = Border()


def _or_none(away_mm: float) -> float:
    return away_mm if away_mm >= LEAST_MM - 1e-9 else 0.0


def with_second(metal: Floats, border: Floats) -> Floats:
    """Log-likelihood ratio of an edge that is seen at the metal's place, the border's, or both."""
    one_or_both = np.logaddexp(metal + np.log(METAL), metal + border + np.log(BOTH))
    return np.asarray(np.logaddexp(one_or_both, border + np.log(1.0 - METAL - BOTH)))


def moved(table: Floats, count: int, axis: int) -> Floats:
    """The values ``count`` places farther on; the ends hold."""
    index = np.clip(np.arange(table.shape[axis]) + count, 0, table.shape[axis] - 1)
    return np.asarray(table.take(index, axis=axis))


def bordered(maps: EdgeMaps, border: Border, tangent: float) -> EdgeMaps:
    """The maps of an edge whose lines may have a second one beside them."""
    row_mm, column_mm = float(maps.y_mm[1] - maps.y_mm[0]), float(maps.x_mm[1] - maps.x_mm[0])
    rows, columns = round(border.y_mm / row_mm), round(border.x_mm / column_mm)

    def seen(line: Floats, outside_mm: float) -> Floats:
        return with_second(line, moved(moved(line, rows, 0), columns, 1)) if outside_mm else line

    return replace(
        maps,
        floor=seen(maps.floor, border.above),
        rising=seen(maps.rising, border.inward(1, tangent)),
        falling=seen(maps.falling, border.inward(-1, tangent)),
    )


def ratio_beside(z: Floats, *, signed: bool, step_mm: float) -> Floats:
    """Log-likelihood ratio of an edge that may stand beside a stronger one, of sums with ``WIDE_MM`` taken off.

    An edge is one place, however broad it is: only the largest sum within ``PEAK_MM`` counts, and as far as
    ``PLACED_MM`` from it.  Taking off what is wide leaves a lobe of an edge beside it; as much counts as noise.  Of a
    step with a blur of its own ``blur / hypot(blur, own)`` is seen, and of its wide part ``blur / wide``.
    """
    height = peak_height(z, step_mm)
    near = largest_near(np.abs(z), 2 * round(2 * WIDE_MM / step_mm) + 1)
    lobe = float(np.hypot(BLUR_MM, OWN_BLUR_MM)) / WIDE_MM
    noise = np.where(near > height, STRONGEST * lobe * near, 0.0)
    ratio = ratio_of_peak(z, np.hypot(height, noise), signed=signed)
    peaks = np.where(np.abs(z) >= height, ratio, np.log(NOTHING))
    return np.asarray(largest_near(peaks, 2 * round(PLACED_MM / step_mm) + 1))


def likeliest_border(maps: EdgeMaps, shape: EdgeShape) -> Border:
    """The vector that most speaks for; :data:`NO_BORDER` where too little speaks for any.

    Parameters
    ----------
    maps
        Maps of the cut edge, in a frame of about the blade's place and scale, with rows ``RASTER_MM`` apart and what is
        wider than ``WIDE_MM`` taken off.
    """
    count = round(FARTHEST_MM / STEP_MM)
    offsets = STEP_MM * np.arange(-count, count + 1)
    vectors = [Border(float(x), float(y)) for x in offsets for y in offsets]
    vectors = [one for one in vectors if LEAST_MM <= np.hypot(one.x_mm, one.y_mm) < FARTHEST_MM + STEP_MM / 2]
    tables = _Tables(maps, shape)
    scores = [tables.score(one, shape.tangent) for one in vectors]
    best = int(np.argmax(scores))
    enough = OUTLINE * len(shape.positions_mm)
    return vectors[best] if scores[best] > tables.score(NO_BORDER, shape.tangent) + enough else NO_BORDER


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
        beside = [np.exp(ratio_beside(z, signed=maps.signed, step_mm=self.row_mm)) for z in maps.sums]
        self.lines = [np.moveaxis(table[:, columns], 0, 1) for table in (*soft, *beside)]
        heights = np.arange(LOW_MM, HIGH_MM, HEIGHT_STEP_MM)
        self.rows = np.rint((shape.roots_mm[:, None] + heights - maps.y_mm[0]) / self.row_mm).astype(int)
        moves = round(ALONG_MM / STEP_MM)
        self.columns = reach + np.arange(-moves, moves + 1)
        self.seen: dict[tuple[int, int], Floats] = {}
        self.scores: dict[tuple[int, int, int], float] = {}

    def score(self, border: Border, tangent: float) -> float:
        """Log evidence of the edge, its move and height summed over, up to what no border changes."""
        above = round(border.above / self.row_mm)
        right, left = (round(border.inward(way, tangent) / STEP_MM) for way in (1, -1))
        if (key := (above, right, left)) not in self.scores:  # many vectors show the same lines
            cuts = self._line(0, above, 0) * self._line(1, 0, -right) * self._line(2, 0, left)
            self.scores[key] = float(logsumexp(np.log(cuts.mean(axis=1)).sum(axis=0)))
        return self.scores[key]

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
