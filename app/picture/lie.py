"""How the blade lies in its frame: the line of its back (or centreline), told by everything that must agree with it.

Unknown together, each with its prior: the line's offset b and slope t, the scale across s, and the growth g.  For cut
k, ``d`` of whose depths is not known, the table puts the floor at

    y = side * (b + t * (x_k - x_mid)) + s * root_d + g

and the evidence of the cut is summed over its depths.  The uncut edge stands where ``root_d`` is the blade's height;
the back of a single edge shows its own line at (b, t); on a mirrored pair both edges have one depth.  A rough back by
itself leaves some tenths of a millimetre and a little tilt, and every one of those moves all roots, so nothing less
than all of it together tells the line from a groove or a bevel beside it.

Everything is summed on one grid; for single and independent edges the cuts' part depends on b and g only through b +
g (or b - g), which makes it a small table.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.lib.stride_tricks import sliding_window_view
from numpy.typing import NDArray

from app.picture.clicks import Clicks
from app.picture.darkband import beyond_dark
from app.picture.edgemaps import noise_of_mean, peak_height, ratio_of_peak, step_filter, wide_filter
from app.picture.farrim import FarRim
from app.picture.frame import Frame
from app.picture.hue import Hue
from app.picture.lobes import without_lobes
from app.picture.logsum import logsumexp
from app.picture.median import Values, spread
from app.picture.sample import Patch
from app.picture.shape import EdgeShape
from app.picture.smooth import ends_held
from keycore.measured import Floats

GROWTH_SD_MM, GROWTH_LOW_MM, GROWTH_HIGH_MM = 0.25, -0.2, 0.8
TOP_SD_MM = 0.06
"""How differently the uncut edge and the floors may grow."""
APART_MM = 0.3
"""Two places of the line nearer than this are one.  Others are a shadow's border or the lower rim of a thick key."""
BACK_PIECES = 12
LEAST_SINGLE = np.float32(1e-37)
"""What single precision can still hold: less is taken as this, eighty-five nats below the best."""


@dataclass(frozen=True)
class LineGuess:
    """How far off the frame's axis may be: standard deviations of its offset and slope; 2.5 of them are searched."""

    offset_sd_mm: float
    slope_sd: float
    across_sd: float
    """Of the scale across against the scale along."""


@dataclass(frozen=True)
class Lie:
    """The line found: y = offset_mm + slope * (x - x_mid_mm), and what was found with it."""

    offset_mm: float
    slope: float
    sigma_mm: float
    x_mid_mm: float
    scale: float
    growth_mm: float
    score: float
    """Log evidence of the whole, priors included."""

    def at(self, x_mm: Floats | float) -> Floats:
        """Height of the line in its frame."""
        return np.asarray(self.offset_mm + self.slope * (np.asarray(x_mm) - self.x_mid_mm))

    def applied(self, frame: Frame) -> Frame:
        """Return the frame with its x axis laid on the line."""
        return frame.moved(y_mm=self.offset_mm - self.slope * self.x_mid_mm, slope=self.slope)


@dataclass(frozen=True)
class HeightCurve:
    """Log evidence of heights around ``x_mm`` on one edge."""

    x_mm: float
    height_mm: Floats
    log_p: Floats

    @property
    def most_mm(self) -> float:
        """Height that most speaks for."""
        return float(self.height_mm[int(np.argmax(self.log_p))])

    def at(self, height_mm: Floats) -> Floats:
        """Evidence at any heights; the ends hold outside."""
        return np.interp(height_mm.ravel(), self.height_mm, self.log_p).reshape(height_mm.shape)


@dataclass(frozen=True)
class Uncut:
    """The change across what is left of a cut edge's uncut height: (p,) pieces along it, (m,) heights, (p, m) means.

    Together the pieces reach along most of the blade, so they tell the line's tilt; each is short enough to be level.
    """

    x_mm: Floats
    length_mm: Floats
    height_mm: Floats
    rise: Floats
    """In grey levels of its step."""
    noise: float
    signed: bool
    no_metal: Floats | None = None
    """(p, m) what speaks against an edge because no metal's hue is inside, where the metal has one."""
    wide: Floats | None = None
    """(p, m) of what is wide and has been taken off, where its lobes are to be told (:mod:`app.picture.lobes`)."""
    far_rim: FarRim | None = None
    """Where a far rim may lie, once the cuts have told it."""

    @property
    def middle_mm(self) -> float:
        """Place along the frame that its heights are given at."""
        return float(self.length_mm @ self.x_mm / self.length_mm.sum())

    def log_p(self, slopes: Floats) -> Floats:
        """(slopes, m) log-likelihood ratio of an edge of each slope (dy/dx outward), by its height in the middle."""
        step = float(self.height_mm[1] - self.height_mm[0])
        share = self.length_mm / self.length_mm.sum()
        rows = slopes[:, None, None] * (self.x_mm - self.middle_mm)[:, None] / step + np.arange(len(self.height_mm))
        each = np.arange(len(self.rise))[:, None]

        def mean(values: Floats) -> Floats:
            return np.asarray(np.einsum("p,tpm->tm", share, _read_off(values, each, rows)))

        noise = noise_of_mean(self.noise, float(self.length_mm.sum()))
        change = mean(self.rise) / noise
        z = change if self.wide is None else without_lobes(change, mean(self.wide) / noise)
        # One edge has one height, whichever slope it is looked at with.
        height = peak_height(np.abs(z).max(axis=0), step)
        ratio = ratio_of_peak(z, height, signed=self.signed)
        if self.no_metal is not None:
            ratio += mean(self.no_metal)
        if self.far_rim is not None:
            ratio += self.far_rim.for_near(ratio_of_peak(z, height, signed=True))
        return ratio if self.signed else ratio + beyond_dark(change.T, step).T

    def curve(self, slope: float) -> HeightCurve:
        """The same for one slope."""
        return HeightCurve(self.middle_mm, self.height_mm, self.log_p(np.array([slope]))[0])


@dataclass(frozen=True)
class Back:
    """The change across a single edge's back: (p,) pieces along it, (n,) outward heights, (p, n) in units of noise."""

    x_mm: Floats
    outward_mm: Floats
    z: Floats
    signed: bool
    no_metal: Floats | None = None
    wide: Floats | None = None
    """(p, n) as of :class:`Uncut`, what is wide in units of noise too."""

    def log_p(self, offsets_mm: Floats, slopes: Floats, x_mid_mm: float) -> Floats:
        """(offsets, slopes) log-likelihood ratio of a straight back on each line."""
        line = offsets_mm[:, None] + slopes[None, :] * (self.x_mm[:, None, None] - x_mid_mm)
        change = self._summed(self.z, line) / np.sqrt(len(self.z))
        z = change
        if self.wide is not None:
            z = without_lobes(change, self._summed(self.wide, line) / np.sqrt(len(self.z)))
        # One edge has one height, whichever slope it is looked at with: else every slope would seem as good.
        step = float(offsets_mm[1] - offsets_mm[0])
        height = peak_height(np.abs(z).max(axis=1), step)
        ratio = ratio_of_peak(z, height[:, None], signed=self.signed)
        if self.no_metal is not None:
            ratio += self._summed(self.no_metal, line) / len(self.no_metal)
        return ratio if self.signed else ratio + beyond_dark(change[::-1], step)[::-1]

    def _summed(self, values: Floats, line_mm: Floats) -> Floats:
        """Sums over the pieces of (p, n) values where lines pass, (p, offsets, slopes)."""
        each = zip(line_mm, values, strict=True)
        return np.asarray(
            sum(np.interp(-at.ravel(), self.outward_mm, own).reshape(at.shape) for at, own in each), dtype=float
        )


def back_of(
    patch: Patch,
    frame: Frame,
    shape: EdgeShape,
    *,
    reach_mm: float,
    step_mm: float,
    signed: bool,
    hue: Hue | None = None,
) -> Back:
    """Look across the back of a single edge, within ``reach_mm`` of the frame's axis."""
    x = np.arange(float(shape.positions_mm.min()) - 2.0, float(shape.positions_mm.max()) + 1.0, 0.06)
    outward = np.arange(-reach_mm - 0.6, reach_mm + 0.6, step_mm)
    grey = patch.grid(frame, x, -outward)
    pieces = np.array_split(np.arange(len(x)), BACK_PIECES)
    means = means_of(step_filter(grey, frame, axis=0, step_mm=step_mm), pieces)
    noise = spread(means)
    wide = None
    if not signed:
        wide = means_of(wide_filter(grey, frame, axis=0, step_mm=step_mm), pieces) / noise
    no_metal = None
    if hue is not None:
        against = hue.no_metal_inside(hue.patch.grid(frame, x, -outward), grey, step_mm)
        no_metal = means_of(against, pieces)
    places = np.array([x[piece].mean() for piece in pieces])
    return Back(places, outward, means / noise, signed, no_metal, wide)


def means_of(values: Values, pieces: list[NDArray[np.intp]]) -> Floats:
    """(p, rows) means of (rows, n) values over the columns of each piece."""
    return np.array([values[:, piece].mean(axis=1) for piece in pieces])


@dataclass(frozen=True)
class _Grid:
    """Everything that is summed over: (b,) offsets, (t,) slopes, (s,) scales across, (g,) growths."""

    offsets: Floats
    slopes: Floats
    scales: Floats
    growths: Floats
    x_mid: float

    @property
    def lowest(self) -> float:
        """Lowest ``side * b + g``, on either side: the offsets lie even about 0."""
        return float(self.growths[0] + self.offsets[0])

    @property
    def count(self) -> int:
        """How many different ``side * b + g`` there are, one step apart."""
        return len(self.offsets) + len(self.growths) - 1

    def spread_out(self, table: Floats, side: int) -> Floats:
        """(b, t, s, g) view of a (t, s, k) table over all ``side * b + g``."""
        view = sliding_window_view(table, len(self.growths), axis=-1)
        return np.moveaxis(view if side > 0 else view[..., ::-1, :], -2, 0)

    @property
    def axes(self) -> tuple[Floats, Floats, Floats, Floats]:
        """The four axes in the order of a score's."""
        return self.offsets, self.slopes, self.scales, self.growths


def lies_of(
    cuts: tuple[tuple[HeightCurve, ...], ...],
    tops: tuple[Uncut | None, ...],
    back: Back | None,
    shape: EdgeShape,
    *,
    mirrored: bool,
    scale_along: float,
    guess: LineGuess,
    clicked: Clicks,
    step_mm: float,
    count: int,
    near_mm: float | None = None,
) -> tuple[Lie, ...]:
    """Find the line: the likeliest places of it, at least ``APART_MM`` apart, the best first.

    Parameters
    ----------
    cuts
        For each edge (the one at positive y first) the evidence of its cuts' floors.
    tops
        For each edge the evidence of its uncut edge, or None where none is seen.
    back
        A single edge's back; None for a double key.
    mirrored
        True where both edges have the same depths.
    scale_along
        Scale that the alignment found.
    clicked
        A hand's clicks, in frame millimetres.
    step_mm
        Step of the grid in offset and growth.
    count
        How many places to return at most.
    near_mm
        Where it was found before, if it is only to be found there anew.
    """
    grid = _grid(cuts[0], scale_along, guess, step_mm)
    score = (
        -0.5 * (grid.offsets[:, None, None, None] / guess.offset_sd_mm) ** 2
        - 0.5 * (grid.slopes[:, None, None] / guess.slope_sd) ** 2
        - 0.5 * ((grid.scales[:, None] / scale_along - 1.0) / guess.across_sd) ** 2
        - 0.5 * (grid.growths / GROWTH_SD_MM) ** 2
    )
    score += clicked.of_line(grid.offsets, grid.slopes, grid.x_mid)[:, :, None, None]
    if mirrored:
        score += _pairs(cuts, shape, grid)
    else:
        for edge, side in zip(cuts, (1, -1), strict=False):
            score += _edge(edge, shape, side, grid)
    for top, side in zip(tops, (1, -1), strict=False):
        if top is not None:
            score += grid.spread_out(_top(top, shape.top_mm, side, grid), side)
    if back is not None:
        score += back.log_p(grid.offsets, grid.slopes, grid.x_mid)[:, :, None, None]
    found: list[Lie] = []
    by_offset = score.max(axis=(1, 2, 3))
    if near_mm is not None:
        by_offset[np.abs(grid.offsets - near_mm) > APART_MM / 2] = -np.inf
    while len(found) < count and np.isfinite(by_offset.max()):
        row = int(np.argmax(by_offset))
        best = row, *(int(index) for index in np.unravel_index(int(np.argmax(score[row])), score.shape[1:]))
        found.append(_lie_at(score, best, grid))
        by_offset[np.abs(grid.offsets - grid.offsets[row]) < APART_MM] = -np.inf
    return tuple(found)


def _grid(cuts: tuple[HeightCurve, ...], scale_along: float, guess: LineGuess, step_mm: float) -> _Grid:
    """Lay the grid as wide as the guess leaves open."""
    x = [curve.x_mm for curve in cuts]
    reach = int(np.ceil(2.5 * guess.offset_sd_mm / step_mm))
    half_length = float(np.ptp(x)) / 2 + 1.0
    slope_count = int(np.clip(np.ceil(2.5 * guess.slope_sd * half_length / step_mm), 3, 16))
    low, high = round(GROWTH_LOW_MM / step_mm), round(GROWTH_HIGH_MM / step_mm)
    return _Grid(
        offsets=step_mm * np.arange(-reach, reach + 1.0),
        slopes=np.linspace(-2.5 * guess.slope_sd, 2.5 * guess.slope_sd, 2 * slope_count + 1),
        scales=scale_along * (1.0 + guess.across_sd * np.linspace(-2, 2, 7)),
        growths=np.asarray(step_mm * np.arange(low, high + 1.0)),
        x_mid=float(np.mean(x)),
    )


def _lie_at(score: Floats, best: tuple[int, ...], grid: _Grid) -> Lie:
    """Mean within two steps of one peak, and how far the offset may be from it."""
    near = score[tuple(slice(max(index - 2, 0), index + 3) for index in best)]
    near = np.exp(near - score[best])
    near = near / near.sum()
    means = [
        float((near.sum(axis=tuple(a for a in range(4) if a != axis)) * values[max(index - 2, 0) : index + 3]).sum())
        for axis, (index, values) in enumerate(zip(best, grid.axes, strict=True))
    ]
    offsets = grid.offsets
    beside = np.abs(offsets - offsets[best[0]]) < APART_MM
    by_offset = np.exp(score[beside] - score[best]).sum(axis=(1, 2, 3))
    by_offset = by_offset / by_offset.sum()
    variance = float((by_offset * (offsets[beside] - means[0]) ** 2).sum()) + float(offsets[1] - offsets[0]) ** 2 / 12
    return Lie(means[0], means[1], float(np.sqrt(variance)), grid.x_mid, means[2], means[3], float(score[best]))


def _top(uncut: Uncut, top_mm: float, side: int, grid: _Grid) -> Floats:
    """(t, s, k) evidence of the uncut edge at ``side * b + g`` of the grid, with a growth of its own allowed."""
    slopes = side * grid.slopes
    log_p = uncut.log_p(slopes)
    step = float(uncut.height_mm[1] - uncut.height_mm[0])
    each, columns = np.arange(len(slopes)), np.arange(log_p.shape[1])
    away = TOP_SD_MM * np.linspace(-2, 2, 5)
    prior = -0.5 * (away / TOP_SD_MM) ** 2
    beside = _read_off(log_p, each[:, None], columns + (away / step)[:, None, None])
    soft = np.asarray(logsumexp(beside + (prior - logsumexp(prior))[:, None, None], axis=0))
    line = slopes * (uncut.middle_mm - grid.x_mid)
    start = (grid.lowest + line[:, None] + grid.scales * top_mm - uncut.height_mm[0]) / step
    return _read_off(soft, each[:, None, None], start[..., None] + np.arange(grid.count))


def _read_off(table: Floats, row: NDArray[np.intp], at: Floats) -> Floats:
    """Values of (rows, columns) at the columns ``at`` of each ``row``, straight between two; the ends hold."""
    at = np.clip(at, 0.0, table.shape[1] - 1.000001)
    low = at.astype(np.intp)
    below = table[row, low]
    return np.asarray(below + (at - low) * (table[row, low + 1] - below))


def _edge(cuts: tuple[HeightCurve, ...], shape: EdgeShape, side: int, grid: _Grid) -> Floats:
    """(b, t, s, g) evidence of one edge whose depths are its own."""
    table = sum(logsumexp(_along(curve, shape.roots_mm, side, grid), axis=-2) for curve in cuts)
    return grid.spread_out(np.asarray(table), side)


def _pairs(cuts: tuple[tuple[HeightCurve, ...], ...], shape: EdgeShape, grid: _Grid) -> Floats:
    """(b, t, s, g) evidence of a mirrored pair: opposite floors have one depth.

    For every pair of heights the sum over depths is one product of matrices; of its (k, k) values those at ``b + g`` on
    one side and ``g - b`` on the other are taken.  Single precision leaves the evidence good to a ten-thousandth.
    """
    score = np.zeros(tuple(len(axis) for axis in grid.axes))
    offset, growth = np.arange(len(grid.offsets))[:, None], np.arange(len(grid.growths))
    upper_at, lower_at = offset + growth, offset[::-1] + growth
    for pair in zip(*cuts, strict=True):
        tables = [_along(curve, shape.roots_mm, side, grid) for curve, side in zip(pair, (1, -1), strict=True)]
        most = [float(table.max()) for table in tables]
        upper, lower = (np.exp((table - own).astype(np.float32)) for table, own in zip(tables, most, strict=True))
        by_heights = np.matmul(upper.swapaxes(-1, -2), lower).reshape(len(grid.slopes), len(grid.scales), -1)
        total = by_heights.take(upper_at * grid.count + lower_at, axis=-1)
        score += np.moveaxis(np.log(np.maximum(total, LEAST_SINGLE)), 2, 0) + sum(most)
    return score


def _along(curve: HeightCurve, above_mm: Floats, side: int, grid: _Grid) -> Floats:
    """(t, s, d, k) evidence of one place on an edge at ``side * b + g`` of the grid, ``above_mm`` (d,) above the line.

    The curve has the grid's own step, so that along k only whole steps are taken and the share between two of its
    values stays the same.
    """
    step = float(curve.height_mm[1] - curve.height_mm[0])
    count = grid.count
    line = side * grid.slopes * (curve.x_mm - grid.x_mid)
    start = grid.lowest + line[:, None, None] + grid.scales[:, None] * above_mm - curve.height_mm[0]
    first = np.floor(start / step)
    share = (start / step - first)[..., None]
    index = np.clip(first, -count - 1, len(curve.log_p)).astype(int) + count + 1
    values = sliding_window_view(ends_held(curve.log_p, count + 1), count + 1)[index]
    return np.asarray(values[..., :-1] + share * (values[..., 1:] - values[..., :-1]))
