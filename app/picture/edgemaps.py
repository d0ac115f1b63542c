"""How much speaks for an edge of the table's shape at every place of the picture.

A floor, a flank and an uncut edge are straight lines of known direction and length.  The picture's change across such
a line, averaged *with its sign* along the whole line before anything else is done to it, is the sum that a matched
filter forms: noise, toner dots and texture cancel, and a step of one grey level over a floor's width still stands out
where no single run across it shows anything.  (That the matched filter is the best linear detector in white noise:
S. M. Kay, Fundamentals of Statistical Signal Processing II, 1998, ch. 4; from memory.)

Model of one line's sum, in units of its own spread over the whole neighbourhood:

    z ~ N(0, 1)             where no edge of the key lies there
    z ~ N(0, 1 + STEP^2)    where one does: its step may have either sign and any size up to a few STEP

so that the log-likelihood ratio is z^2/2 * STEP^2 / (1 + STEP^2) - ln(1 + STEP^2) / 2.  On a copied page paper is
lighter than toner, so there only the rising sign counts.  Two things keep one line from deciding too much: an edge's
height saturates at ``STRONGEST`` (a black border is no better than a clear edge; its *shape* within ``PEAK_MM`` is
kept, so that a clear edge stays sharp), and the ratio is mixed with a share ``NOTHING`` of floors that show no edge
at all.

A line to the light that has a dark band inside it is mostly not the metal's edge, nor, on a copy, a floor beyond which
it is dark again (:mod:`app.picture.darkband`).

Before that: what is wider than ``WIDE_MM`` is taken off (the soft ramp of a shadow; what that leaves beside flanks and
long lines: :mod:`app.picture.lobes`), and for floors and flanks the median along each row (grooves, brushing and a back
run along the whole blade and are no floors): well inside the blade as far as it is there (:func:`take_off_rows`).

Maps are sampled with ``sx = tangent * sy``, so that a flank is a diagonal of the raster.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cache

import numpy as np
from scipy.ndimage import uniform_filter1d
from scipy.special import log_ndtr

from app.picture.darkband import black_beyond, dark_inside
from app.picture.diagonals import Diagonals, Rows, diagonal_sums, diagonals
from app.picture.frame import Frame
from app.picture.hue import Hue
from app.picture.median import Values, row_medians, spread
from app.picture.sample import GreyPixels, Patch
from app.picture.shape import EdgeShape
from app.picture.smooth import filtered, kernel, largest_near, smooth
from keycore.measured import Floats

BLUR_MM = 0.06
"""Least blur of the derivative: an edge's own rounding, and about the making of its flanks."""
BLUR_PX = 0.5
WIDE_MM = 0.3
ALIKE_MM = 0.25
"""Over this length along an edge the changes across it are one value, not many."""
STEP = 5.0
STRONGEST = 7.0
PEAK_MM = 0.15
NOTHING = 0.02
ALONG_MM, ALL_OF_IT = 0.8, 0.5
"""What runs along a row is there or not over about this length, a floor's, and wholly there from this share on."""
BELOW_TOP_MM = 0.5
"""Nearer to the uncut edge the line that runs along a row is that edge's or its wall's, and a shallow cut's own lines
lie in it: there all of it is taken off everywhere."""
CORNER_MM = 0.06
"""Half of what is left out at a floor's end: its corners are rounded and may stand a little elsewhere."""
FLANK_CORNER_MM = 0.1
"""What is left out of a flank at its floor's end."""
SHORTEST_ROWS = 4
"""A flank of fewer rows tells nothing by itself."""
ABOVE_TOP_MM = 0.3
"""How far above the table's uncut edge a flank still counts: growth lifts both."""
GREATEST_RATIO = 0.5 * STRONGEST**2 * STEP**2 / (1 + STEP**2) - 0.5 * float(np.log(1 + STEP**2)) + float(np.log(2.0))
"""No line's log-likelihood ratio is larger."""
_PLACES = 2048
"""How finely the ratio is tabled, places for a step of 1 in z."""


@dataclass(frozen=True)
class EdgeMaps:
    """One cut edge's neighbourhood: the evidence of cuts, and the change across it.

    Attributes
    ----------
    x_mm, y_mm
        (n,) places along the frame, (m,) heights outward from the back or centreline.
    cut
        (m, n) log-likelihood ratio of a cut centred at x with its floor at y: floor and both flanks.
    floor
        (m, n) the floor's part of it, with all that the dark beside the cut says (:mod:`app.picture.darkband`).
    floor_z
        (m, n) mean change of grey along a floor, in units of its spread.
    right, left
        The change of grey across flanks that rise to the right and to the left, without what runs along rows.
    rise
        (m, n) signed change of grey across a level edge, in grey levels of its step.
    noise
        Spread of ``rise``.
    signed
        True where only a rise towards the outside counts.
    no_metal
        (m, n) what speaks against an edge because no metal's hue is inside (:mod:`app.picture.hue`), if it has one.
    wide
        (m, n) what is wide and was taken off ``rise``, unless only a rise counts (:mod:`app.picture.lobes`).
    flanks_mm
        How far the flanks stand above where the table has them beside their floors.
    hidden
        True where most floors may be hidden in black (:mod:`app.picture.valleys`).
    """

    x_mm: Floats
    y_mm: Floats
    cut: Floats
    floor: Floats
    floor_z: Floats
    right: Diagonals
    left: Diagonals
    rise: Floats
    noise: float
    signed: bool
    no_metal: Floats | None = None
    wide: Floats | None = None
    flanks_mm: float = 0.0
    hidden: bool = False


def edge_maps(
    patch: Patch,
    frame: Frame,
    shape: EdgeShape,
    *,
    side: int,
    step_mm: float,
    beyond_mm: float,
    above_mm: float,
    below_mm: float,
    signed: bool,
    hue: Hue | None = None,
) -> EdgeMaps:
    """Map the evidence along one edge of the blade.

    Parameters
    ----------
    side
        1 for the edge at positive y, -1 for the other.
    step_mm
        Distance of the raster's rows.
    beyond_mm
        How far to look beyond the first and last cut.
    above_mm, below_mm
        How far to look above the uncut edge and below the deepest floor.
    signed
        True where the outside is known to be the lighter one (a copy).
    hue
        The metal's own hue, where it has one.
    """
    sx = step_mm * shape.tangent
    first, last = float(shape.positions_mm.min()), float(shape.positions_mm.max())
    x = np.arange(first - beyond_mm, last + beyond_mm, sx)
    y = np.arange(max(float(shape.roots_mm.min()) - below_mm, 0.3), shape.top_mm + above_mm, step_mm)
    grey = patch.grid(frame, x, side * y)
    (along, along_wide), (across, across_wide) = _changes(grey, frame, sx, step_mm)
    right, left = _across_flanks(along, across, shape.tangent)
    level = across.copy()
    well_inside = 0 if signed else int(np.searchsorted(y, shape.top_mm - BELOW_TOP_MM))
    for change in (level, right, left):
        take_off_rows(change, well_inside, round(ALONG_MM / sx))
    width = max(1, round((shape.flat_mm - 2 * CORNER_MM) / sx))
    floor = uniform_filter1d(level, width, axis=1, mode="nearest")
    half = round(shape.flat_mm / 2 / sx)
    rows = int(np.count_nonzero(y <= shape.top_mm + ABOVE_TOP_MM))
    start = max(1, round(FLANK_CORNER_MM / sx))
    usual = max(SHORTEST_ROWS, round(0.95 * (shape.spacing_mm - shape.flat_mm) / 2 / sx)) - start + 1
    wides: tuple[GreyPixels | None, GreyPixels | None] = (None, None)
    if not signed:
        wides = _across_flanks(along_wide, across_wide, shape.tangent)
    flanks = diagonals(right, 1, usual, wides[0]), diagonals(left, -1, usual, wides[1])
    floor_noise = spread(floor[4:-4])
    floor_z = floor / floor_noise
    floors = log_ratio(floor_z, signed=signed, step_mm=step_mm)
    cut, dark = floors.copy(), np.zeros_like(floors)
    shade = _shade(grey, frame, sx, step_mm)
    along_floor = uniform_filter1d(shade, width, axis=1, mode="nearest")
    if signed:
        dark += black_beyond(along_floor, floor_noise, step_mm)
    else:
        dark += dark_inside(along_floor, floor_noise, floor_z, step_mm)
    no_metal = None
    if hue is not None:
        share = _shade(hue.patch.grid(frame, x, side * y), frame, sx, step_mm)
        no_metal = hue.no_metal_inside(share, shade, step_mm)
        dark += uniform_filter1d(no_metal, width, axis=1, mode="nearest")
    for flank, direction in zip(flanks, (1, -1), strict=True):
        z, with_lobes = _flanks(flank, len(y), len(x), rows, start, direction)
        told = log_ratio(z, signed=signed, step_mm=step_mm)
        cut += np.roll(told, -direction * half, axis=1)
        if not signed:
            along_flank = _flank_means(shade, usual, rows, start, direction)
            told = dark_inside(along_flank, flank.noise, with_lobes, step_mm)
            if no_metal is not None:
                told += _flank_means(no_metal, usual, rows, start, direction)
            told[rows - start - min(SHORTEST_ROWS, usual) + 1 :] = 0.0  # no flanks there
            dark += np.roll(told, -direction * half, axis=1)
    rise, noise = across.astype(float), spread(across)
    wide = None if signed else across_wide.astype(float)
    return EdgeMaps(x, y, cut + dark, floors + dark, floor_z, *flanks, rise, noise, signed, no_metal, wide)


def take_off_rows(change: GreyPixels, well_inside: int, width: int) -> None:
    """Take off what runs along rows, in place: of the first ``well_inside`` rows only as far as it is there.

    The median along a row is what runs there.  Beside the blade, and in a cut that goes deeper than a groove, nothing
    of it is seen; taken off there as well it would leave an edge that is none, as long as the floor and just at the
    groove's place.  How much of it is there is told by the mean change near each place: all of it from half on.

    Parameters
    ----------
    change
        (rows, n) change of grey.
    well_inside
        How many rows, from the blade's inside on, hold nothing but grooves; none on a copy, which shows hardly any.
    width
        Columns over which the mean is taken.
    """
    medians = row_medians(change)
    partly = np.zeros(len(change), dtype=bool)
    if well_inside:
        noise = spread(change[:well_inside, ::4])
        partly[:well_inside] = np.abs(medians[:well_inside, 0]) > noise
    change[~partly] -= medians[~partly]
    near = uniform_filter1d(change[partly], width, axis=1, mode="nearest")
    change[partly] -= medians[partly] * np.clip(near / medians[partly] / ALL_OF_IT, 0.0, 1.0)


def log_ratio(z: Floats, *, signed: bool, step_mm: float) -> Floats:
    """Log-likelihood ratio of an edge against none (see the head of this module).

    Parameters
    ----------
    z
        Sums in units of their spread; the first axis runs across the edge.
    step_mm
        Distance of neighbouring places along the first axis.
    """
    return ratio_of_peak(z, peak_height(z, step_mm), signed=signed)


def peak_height(z: Floats, step_mm: float) -> Floats:
    """Largest size of any sum within ``PEAK_MM`` across the edge (the first axis)."""
    width = max(1, 2 * round(PEAK_MM / step_mm) + 1)
    return np.asarray(largest_near(np.abs(z), width))


def ratio_of_peak(z: Floats, height: Floats, *, signed: bool) -> Floats:
    """Log-likelihood ratio of sums whose edges are ``height`` high at their peaks (and nowhere higher)."""
    z = np.asarray(z / np.sqrt(1.0 + (height / STRONGEST) ** 2), dtype=float)
    table, rise = _ratios(signed)
    place = np.clip((z + STRONGEST) * _PLACES, 0.0, len(rise) - 1e-9)
    index = place.astype(np.intp)
    return np.asarray(table.take(index) + (place - index) * rise.take(index))


@cache
def _ratios(signed: bool) -> tuple[Floats, Floats]:
    """The ratio of sums from -STRONGEST to STRONGEST, and its rise to the next place: read off, it is 1e-7 near."""
    z = np.arange(-STRONGEST * _PLACES, STRONGEST * _PLACES + 1) / _PLACES
    ratio = 0.5 * z**2 * STEP**2 / (1 + STEP**2) - 0.5 * np.log(1 + STEP**2)
    if signed:
        ratio += np.log(2.0) + log_ndtr(z * STEP / np.sqrt(1 + STEP**2))
    table = np.logaddexp(np.log(NOTHING), np.log(1 - NOTHING) + ratio)
    return table, np.diff(table)


def step_filter(grey: GreyPixels, frame: Frame, *, axis: int, step_mm: float) -> GreyPixels:
    """Change of grey along one axis, sampled every ``step_mm``, in grey levels of its step, without what is wide."""
    fine, wide = kernel(blur_mm(frame) / step_mm, 1), kernel(WIDE_MM / step_mm, 1)
    radius = max(len(fine), len(wide)) // 2
    weights = np.pad(fine, radius - len(fine) // 2) - np.pad(wide, radius - len(wide) // 2)
    return _stepped(grey, frame, weights, axis=axis, step_mm=step_mm)


def wide_filter(grey: GreyPixels, frame: Frame, *, axis: int, step_mm: float) -> GreyPixels:
    """What is wide and :func:`step_filter` leaves out, in the same units."""
    return _stepped(grey, frame, kernel(WIDE_MM / step_mm, 1), axis=axis, step_mm=step_mm)


def _stepped(grey: GreyPixels, frame: Frame, weights: Floats, *, axis: int, step_mm: float) -> GreyPixels:
    """A derivative along one axis in grey levels of a step."""
    weights = weights * (blur_mm(frame) / step_mm * np.sqrt(2 * np.pi))
    return filtered(grey, down=weights) if axis == 0 else filtered(grey, across=weights)


def blur_mm(frame: Frame) -> float:
    """Blur of the derivative for a picture of this resolution."""
    return max(BLUR_MM, BLUR_PX / frame.px_per_mm)


def noise_of_mean(noise: float, length_mm: float) -> float:
    """Noise of a mean along an edge: neighbours share their blur and texture over ``ALIKE_MM``."""
    return float(noise / np.sqrt(max(1.0, length_mm / ALIKE_MM)))


def _changes(grey: GreyPixels, frame: Frame, sx: float, sy: float) -> list[tuple[GreyPixels, GreyPixels]]:
    """Change along x and along y, in grey levels of a step, without what is wide, and that."""
    blur = blur_mm(frame)
    changes = []
    for order, step in (((0, 1), sx), ((1, 0), sy)):
        fine = smooth(grey, (blur / sy, blur / sx), order)
        wide = smooth(grey, (WIDE_MM / sy, WIDE_MM / sx), order)
        unit = np.float32(blur / step * np.sqrt(2 * np.pi))
        changes.append(((fine - wide) * unit, wide * unit))
    return changes


def _across_flanks(along: GreyPixels, across: GreyPixels, tangent: float) -> tuple[GreyPixels, GreyPixels]:
    """Change across flanks that rise to the right and to the left, from that along x and along y."""
    tilted = np.hypot(1.0, tangent)
    return (tangent * across - along) / tilted, (tangent * across + along) / tilted


def _shade(grey: GreyPixels, frame: Frame, sx: float, sy: float) -> GreyPixels:
    """Grey with the blur of its changes."""
    blur = blur_mm(frame)
    return smooth(grey, (blur / sy, blur / sx), (0, 0))


def _reach(height: int, rows: int, start: int, usual: int) -> tuple[Rows, Rows]:
    """(height, 1) first row of the flank that rises from every row, and the one after its last.

    Its first ``start`` samples are its corner and left out; it has the usual length, or ends at the uncut edge, which
    is the last of ``rows``.
    """
    row = np.arange(height)[:, None]
    return np.minimum(row + start, rows), np.minimum(row + start + usual, rows)


def _flanks(sums: Diagonals, height: int, width: int, rows: int, start: int, direction: int) -> tuple[Floats, Floats]:
    """(height, width) mean change along the flank that rises from every place, in units of its spread.

    Without the lobes of other edges, and with them.
    What a shorter flank than the usual one shows counts as less, and less than ``SHORTEST_ROWS`` of it as nothing.
    """
    first, end = _reach(height, rows, start, sums.usual)
    diagonal = np.arange(width) - direction * np.arange(height)[:, None]
    too_short = end - first < min(SHORTEST_ROWS, sums.usual)
    z, with_lobes = (np.where(too_short, 0.0, one[0]) for one in sums.z(first, end, diagonal, np.zeros(1, dtype=int)))
    return z, with_lobes


def _flank_means(values: Values, usual: int, rows: int, start: int, direction: int) -> Floats:
    """(height, width) mean of the values along the same flanks; 0 where there is none."""
    height, width = values.shape
    first, end = _reach(height, rows, start, usual)
    diagonal = np.arange(width) - direction * np.arange(height)[:, None]
    (total,) = diagonal_sums(values, direction).total(first, end, diagonal, np.zeros(1, dtype=int))
    return np.asarray(total / np.maximum(end - first, 1))
