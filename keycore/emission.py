"""How likely each cut's reading is, for every depth, at every point of the lattice.

A cut of depth d is seen at ``s * (root_d + growth + c * third)`` pixels, plus making error, wear and reading noise,
where s is the scale across, and ``third`` is the one further unknown of the back (its tilt, or the centreline's
offset) that reaches this cut by ``c``.

Each cut's density, making, wear and bad readings included, is made once as a table over one variable and then looked up
by straight interpolation.  For a value with its sigma the variable is the residual in its own standard uncertainty,
which holds at every scale (the shape's slight change with the scale, through the wear, is taken at the middle of the
lattice). For evidence that is a whole curve the variable is the height in pixels, and the making is convolved into it
at the middle of the lattice; a second lookup interpolates between growths where the curve depends on growth.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from keycore.measured import CutReading, Floats, HeightEvidence
from keycore.prior import Making, bad_density
from keycore.refusal import Refusal

_REACH_MM = 3.0
_STEP_SIGMAS = 0.04
_BAD_RANGE_MM = 4.0


@dataclass(frozen=True)
class CutLikelihood:
    """One cut's density of its reading, ready to be looked up.

    Attributes
    ----------
    table
        (m, n) densities; for a value in units of 1/sigma over residuals, for evidence in 1/px over heights.
    start, step
        The variable's value at the first column and from column to column.
    growths_mm
        (m,) growths of the rows, evenly spaced.
    value_px, sigma_px, making_mm
        The reading and its errors; ``value_px`` is None for evidence.
    narrow_mm
        Standard deviation, mm, of the narrowest part of the density: what the lattice must resolve.
    reach_mm
        How far ``third`` moves this root, mm per unit.
    bad_share, bad_level
        How often such a reading is taken on a wrong edge, and the level density, 1/px, of evidence that is.
    """

    table: Floats
    start: float
    step: float
    growths_mm: Floats
    value_px: float | None
    sigma_px: float
    making_mm: float
    narrow_mm: float
    reach_mm: float
    bad_share: float
    bad_level: float = 0.0

    @property
    def is_plain(self) -> bool:
        """Whether this is a curve of heights alone: no value, and no curve that depends on growth by itself."""
        return self.value_px is None and len(self.growths_mm) == 1

    def with_bad_share(self, share: float) -> CutLikelihood:
        """The same evidence if it is taken on a wrong edge as often as this; a value stays as it is."""
        if self.value_px is not None:
            return self
        sound = np.maximum(self.table - self.bad_share * self.bad_level, 0.0) / (1 - self.bad_share)
        return replace(self, table=(1 - share) * sound + share * self.bad_level, bad_share=share)

    def at(self, px_per_mm: Floats, growth_mm: Floats, third: Floats, roots_mm: Floats) -> Floats:
        """(cells, depths) density of the reading in 1/px; the first three arguments are (cells,)."""
        shift_mm = growth_mm + self.reach_mm * third
        if self.value_px is not None:
            sigma_px = np.hypot(self.sigma_px, px_per_mm * self.making_mm)
            per_column = 1 / (sigma_px * self.step)
            first = (self.value_px - px_per_mm * shift_mm) * per_column - self.start / self.step
            found = _look_up(self.table[0], first[:, None] - (px_per_mm * per_column)[:, None] * roots_mm)
            found /= sigma_px[:, None]
            return found
        first = (px_per_mm * shift_mm - self.start) / self.step
        columns = first[:, None] + (px_per_mm / self.step)[:, None] * roots_mm
        if len(self.growths_mm) == 1:
            return _look_up(self.table[0], columns)
        rows = (growth_mm - self.growths_mm[0]) / (self.growths_mm[1] - self.growths_mm[0])
        rows = np.clip(rows, 0, len(self.growths_mm) - 1.000001)
        lower = rows.astype(np.intp)
        share = (rows - lower)[:, None]
        width = self.table.shape[1]
        flat = self.table.ravel()
        columns = np.clip(columns, 0, width - 1.000001)
        left = columns.astype(np.intp)
        within = columns - left
        left += lower[:, None] * width
        below = flat[left] * (1 - within) + flat[left + 1] * within
        left += width
        above = flat[left] * (1 - within) + flat[left + 1] * within
        return np.asarray(below * (1 - share) + above * share)


@dataclass(frozen=True)
class TogetherLikelihoods:
    """Several cuts' curves, looked up in one go.

    Attributes
    ----------
    table
        All densities, one cut's after the other's.
    first, count
        (k, 1, 1) where each cut's begin in it, and how many they are.
    start, step, reach_mm
        (k, 1, 1) as of :class:`CutLikelihood`.
    """

    table: Floats
    first: NDArray[np.intp]
    count: NDArray[np.intp]
    start: Floats
    step: Floats
    reach_mm: Floats

    @classmethod
    def of(cls, cuts: Sequence[CutLikelihood]) -> TogetherLikelihoods:
        """The cuts together, all of which :attr:`CutLikelihood.is_plain`."""
        counts = np.array([cut.table.shape[1] for cut in cuts])[:, None, None]

        def each(values: list[float]) -> Floats:
            return np.asarray(values, dtype=float)[:, None, None]

        return cls(
            table=np.concatenate([cut.table[0] for cut in cuts]),
            first=np.cumsum(counts, axis=0) - counts,
            count=counts,
            start=each([cut.start for cut in cuts]),
            step=each([cut.step for cut in cuts]),
            reach_mm=each([cut.reach_mm for cut in cuts]),
        )

    def at(self, px_per_mm: Floats, growth_mm: Floats, third: Floats, roots_mm: Floats) -> Floats:
        """(k, cells, depths) densities; arguments as of :meth:`CutLikelihood.at`."""
        level = px_per_mm[:, None] * (roots_mm + growth_mm[:, None])
        columns = (level + self.reach_mm * (px_per_mm * third)[:, None] - self.start) / self.step
        return _look_up(self.table, columns, self.first, self.count)


def cut_likelihood(
    cut: CutReading,
    making: Making,
    px_per_mm: float,
    *,
    reach_mm: float = 0.0,
    extra_mm: float = 0.0,
    bad_share: float,
    number: int = 0,
    curve: Curve | None = None,
) -> CutLikelihood:
    """The density of one cut's reading round the scale ``px_per_mm``.

    ``extra_mm`` is a further independent error of this root (what the lattice does not carry); ``bad_share`` is how
    often a value was taken on a wrong edge; ``number`` counts the cut from 1 for the words of a refusal; ``curve`` is
    its evidence made ready, where that was done before.
    """
    if extra_mm:
        making = Making(math.hypot(making.sigma_mm, extra_mm), making.worn_share, making.wear_mean_mm)
    if cut.evidence is not None:
        curve = curve or Curve(cut.evidence, number)
        return replace(_of_evidence(curve, making, px_per_mm, reach_mm, bad_share), start=curve.start_px)
    if not (math.isfinite(cut.root_px) and cut.root_px > 0 and math.isfinite(cut.sigma_px) and cut.sigma_px > 0):
        raise Refusal(
            f"Cut {number}: a root height must be a positive number with an uncertainty; got {cut.root_px:g} +- "
            f"{cut.sigma_px:g}. Measure it again.",
            code="decode.bad-root",
        )
    sigma_mm = math.hypot(making.sigma_mm, cut.sigma_px / px_per_mm)
    half = math.ceil(_REACH_MM / sigma_mm / _STEP_SIGMAS)
    residual = _STEP_SIGMAS * np.arange(-half, half + 1)
    off_mm = residual * sigma_mm
    density = bad_share * bad_density(np.asarray(off_mm, dtype=float), sigma_mm)
    near = np.abs(off_mm) < 9 * sigma_mm + 12 * making.wear_mean_mm
    density[near] += (1 - bad_share) * making.density(off_mm[near], cut.sigma_px / px_per_mm)
    return CutLikelihood(
        table=(density * sigma_mm)[None, :],
        start=float(residual[0]),
        step=_STEP_SIGMAS,
        growths_mm=np.zeros(1),
        value_px=cut.root_px,
        sigma_px=cut.sigma_px,
        making_mm=making.sigma_mm,
        narrow_mm=sigma_mm,
        reach_mm=reach_mm,
        bad_share=bad_share,
    )


class Curve:
    """A curve of evidence that equals another one with the same numbers, wherever its heights begin.

    Attributes
    ----------
    step_px
        Distance of its heights, to ten digits: heights counted from another line differ in the last ones.
    growths_mm, log_likelihood
        As of :class:`keycore.measured.HeightEvidence`.
    """

    def __init__(self, evidence: HeightEvidence, number: int) -> None:
        heights_px, self.log_likelihood = _checked(evidence, number)
        self.growths_mm = np.asarray(evidence.growths_mm, dtype=float)
        self.start_px = float(heights_px[0])
        self.step_px = float(f"{(heights_px[-1] - self.start_px) / (len(heights_px) - 1):.10g}")
        parts = (self.growths_mm, self.log_likelihood)
        self._numbers = (self.step_px, *((part.shape, part.tobytes()) for part in parts))

    def __eq__(self, other: object) -> bool:
        return isinstance(other, Curve) and self._numbers == other._numbers

    def __hash__(self) -> int:
        return hash(self._numbers)


@lru_cache(maxsize=512)
def _of_evidence(curve: Curve, making: Making, px_per_mm: float, reach_mm: float, bad_share: float) -> CutLikelihood:
    """The density of a whole curve whose heights begin at 0, kept for the next decoding: where a hand moves one root
    the others stay, and where it moves the line they are counted from another height.

    A copy asks for each curve five times, as sharp as it is and as uneven as each filling leaves it; so many are kept
    that ten pictures of a key find theirs again.
    """
    step_px, log_likelihood = curve.step_px, curve.log_likelihood
    finer = max(1, math.ceil(step_px / (0.25 * making.sigma_mm * px_per_mm)))
    if finer > 1:
        count = log_likelihood.shape[1]
        old = np.arange(count, dtype=float)
        new = np.arange((count - 1) * finer + 1) / finer
        log_likelihood = np.array([np.interp(new, old, row) for row in log_likelihood])
        step_px /= finer
    likelihood = np.exp(log_likelihood - log_likelihood.max())
    likelihood /= likelihood.sum(axis=1).mean() * step_px
    # The root that is seen lies above the table's by the making error and below it by the wear.
    half = math.ceil((5 * making.sigma_mm + 8 * making.wear_mean_mm) * px_per_mm / step_px)
    off_mm = step_px / px_per_mm * np.arange(-half, half + 1.0)
    kernel = making.density(off_mm, 0.0)
    kernel /= kernel.sum()
    padded = np.pad(likelihood, ((0, 0), (half, half)), mode="edge")
    widened = np.maximum(_convolved(padded, kernel[::-1]), 0.0)
    bad_level = 1 / (_BAD_RANGE_MM * px_per_mm)
    table = (1 - bad_share) * widened + bad_share * bad_level
    log_table = np.log(table)
    bend = np.diff(log_table, 2, axis=1) / (step_px / px_per_mm) ** 2
    # Only near the top does the curve decide anything, so only there must the lattice follow its bends.
    high = log_table[:, 1:-1] > log_table.max() - 8.0
    sharpest = float(max(-bend[high].min(initial=0.0), 1.0))
    return CutLikelihood(
        table=table,
        start=0.0,
        step=step_px,
        growths_mm=curve.growths_mm,
        value_px=None,
        sigma_px=0.0,
        making_mm=making.sigma_mm,
        narrow_mm=max(1 / math.sqrt(sharpest), making.sigma_mm),
        reach_mm=reach_mm,
        bad_share=bad_share,
        bad_level=bad_level,
    )


def _checked(evidence: HeightEvidence, number: int) -> tuple[Floats, Floats]:
    heights_px = np.asarray(evidence.heights_px, dtype=float)
    growths_mm = np.asarray(evidence.growths_mm, dtype=float)
    log_likelihood = np.asarray(evidence.log_likelihood, dtype=float)
    steps = np.diff(heights_px)
    growth_steps = np.diff(growths_mm)
    sound = (
        log_likelihood.shape == (len(growths_mm), len(heights_px))
        and len(heights_px) >= 3
        and bool(np.all(steps > 0))
        and bool(np.ptp(steps) <= 1e-6 * steps.mean())
        and bool(np.all(growth_steps > 0))
        and (len(growth_steps) < 2 or bool(np.ptp(growth_steps) <= 1e-6 * growth_steps.mean()))
        and bool(np.isfinite(log_likelihood.max()))
        and not bool(np.isnan(log_likelihood).any())
    )
    if not sound:
        raise Refusal(
            f"Cut {number}: its evidence must be a finite log-likelihood over rising, evenly spaced heights and "
            f"growths; "
            f"read the picture again.",
            code="decode.bad-evidence",
        )
    return heights_px, np.maximum(log_likelihood, log_likelihood.max() - 700.0)


def _convolved(rows: Floats, kernel: Floats) -> Floats:
    """Each row convolved with the kernel, where the kernel lies wholly inside."""
    whole = rows.shape[1] + len(kernel) - 1
    size = 1 << (whole - 1).bit_length()
    found = np.fft.irfft(np.fft.rfft(rows, size) * np.fft.rfft(kernel, size), size)
    return np.asarray(found[:, len(kernel) - 1 : rows.shape[1]], dtype=float)


def _look_up(
    table: Floats, columns: Floats, first: NDArray[np.intp] | int = 0, count: NDArray[np.intp] | int | None = None
) -> Floats:
    """Straight interpolation in evenly spaced tables; their ends hold outside.

    ``table`` may hold several one after the other: each begins at ``first`` and has ``count`` values.
    """
    np.clip(columns, 0, np.subtract(len(table) if count is None else count, 1.000001), out=columns)
    left = columns.astype(np.intp)
    columns -= left
    left += first
    found = table.take(left)
    left += 1
    columns *= table.take(left) - found
    columns += found
    return columns
