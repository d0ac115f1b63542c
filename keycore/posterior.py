"""The posterior of one picture, fitted one way: the lattice of its unknowns with every cut's factors on it.

See :mod:`keycore.decode` for the model.  What is made here is what every answer is read from: points, their weights,
and for each cut a (points, depths) array of factors.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from keycore.chain import Booleans, Links, backward, forward, totals
from keycore.emission import Curve, CutLikelihood, TogetherLikelihoods, cut_likelihood
from keycore.filling import fillings_of
from keycore.lattice import (
    MISREAD,
    SOUND,
    STEP,
    Frame,
    Points,
    frame_of,
    grown_points,
    log_prior_mass,
)
from keycore.measured import Floats, Measured, Readings
from keycore.prior import (
    BAD_KEYS_CURVE,
    BAD_KEYS_HAND,
    BAD_KEYS_VALUE,
    CENTRE_SIGMA_HAND_MM,
    CENTRE_SIGMA_MM,
    COMMON_WEAR_MM,
    COMMON_WEAR_SHARES,
    GROWTH_HIGH_MM,
    GROWTH_LOW_MM,
    GROWTH_UNEVEN_MM,
    MISREAD_CUTS,
    MISREAD_PICTURES,
    PICTURE_GROWTH_FLOOR_MM,
    ROUNDING_MM,
    TILT_SIGMA,
    GrowthPrior,
    Making,
    back_inside,
    picture_growth_likelihood,
    usual_growth,
)
from keycore.scale import ScaleEvidence, scale_evidence
from keycore.spec import KeySpec
from keycore.spread import lattice_spread_of

THIRD_UP_TO = 2
"""With more pictures than this the back's own error is an independent error of every cut of a picture: it differs from
picture to picture, so little is lost, and ten pictures stay quick."""
LET_GO = 1e-4
FAR_NATS = 15.0
"""Places this far below the best hold nothing that matters, even where the third coordinate would raise them."""
GUESS_STEP = 0.004
"""Of ln scale: making errors and unevenness convolved in at a scale so little off are a five-hundredth off."""
FILLED = 0.5
"""A likelier filling than this is worth a word."""
Indexes = NDArray[np.intp]


@dataclass(frozen=True)
class Lattice:
    """Points that matter, their prior masses, and every cut's factors there, holds taken in."""

    points: Points
    weights: Floats
    """(points,) prior masses, scaled by ``exp(-log_scale_of_weights)``."""
    log_unit: float
    factors: tuple[Floats, ...]
    """Per cut (points, depths)."""


@dataclass(frozen=True)
class HeldGrowths:
    """The points of several held growths, one growth after the other.

    Attributes
    ----------
    weights
        (points,) masses, each growth's in a unit of its own: ``exp(log_unit)`` of it (growths,).
    factors
        Per cut (points, depths).
    starts
        (growths,) first point of each.
    """

    weights: Floats
    factors: tuple[Floats, ...]
    starts: Indexes
    log_unit: Floats


@dataclass(frozen=True)
class _State:
    """One state that a picture may be in: how often, every cut's density then, and what fills each depth's valley.

    Of the lattice's levels every so many (``levels``) are looked at: what is uneven is wide, so every other one will
    do.
    """

    log_share: float
    cuts: list[CutLikelihood]
    filled_mm: Floats
    levels: int = 1

    @cached_property
    def plain(self) -> list[int]:
        """Cuts that are looked up together."""
        return [number for number, cut in enumerate(self.cuts) if cut.is_plain]

    @cached_property
    def together(self) -> TogetherLikelihoods:
        """What they are looked up in."""
        return TogetherLikelihoods.of([self.cuts[number] for number in self.plain])

    @property
    def log_share_of_levels(self) -> float:
        """``log_share``, with what the levels that are looked at stand for."""
        return self.log_share + math.log(self.levels)


class PicturePosterior:
    """The posterior of one picture, fitted one way, under one table (with a fixed count of cuts).

    Parameters
    ----------
    readings
        What the picture says; ``len(readings.cuts)`` is ``spec.cuts_per_edge * spec.edge_count``.
    allowed
        (cuts, depths) what the locksmith's holds leave.
    pictures
        How many pictures of the key are taken together (:meth:`keycore.prior.Making.of_tolerance`).
    step
        Lattice step in standard deviations.
    """

    def __init__(
        self,
        readings: Readings,
        spec: KeySpec,
        links: Links,
        allowed: Booleans,
        *,
        growth_prior: GrowthPrior | None = None,
        pictures: int = 1,
        step: float = STEP,
    ) -> None:
        self.readings = readings
        self.spec = spec
        self.links = links
        self.allowed = allowed
        self.roots_mm = spec.roots_mm
        steps_mm = -np.diff(self.roots_mm)
        self.half_step_mm = 0.6 * np.minimum(np.append(steps_mm, np.inf), np.insert(steps_mm, 0, np.inf))
        self.evidence: ScaleEvidence = scale_evidence(readings, spec)
        self.growth_prior = _growth_prior(readings, spec, growth_prior)
        self.third_sigma, reach, extra = _third(readings, spec)
        if pictures > THIRD_UP_TO:
            extra = [math.hypot(own, self.third_sigma * by) for own, by in zip(extra, reach, strict=True)]
            self.third_sigma, reach = 0.0, [0.0] * len(reach)
        extra = [math.hypot(own, GROWTH_UNEVEN_MM) for own in extra]
        self.extra_mm = extra
        bad_keys = BAD_KEYS_HAND if readings.medium == "calipers" else BAD_KEYS_VALUE
        bad_shares = [
            (bad_keys if cut.evidence is None else BAD_KEYS_CURVE) / len(readings.cuts) for cut in readings.cuts
        ]
        making = Making.of_tolerance(spec.tolerance.root_mm, pictures)
        visible_px = np.array([cut.root_px for cut in readings.cuts])
        growth_sigma = ROUNDING_MM
        if readings.growth_mm is not None:
            growth_sigma = min(growth_sigma, math.hypot(readings.growth_mm.sigma, PICTURE_GROWTH_FLOOR_MM))

        px_per_mm = self._first_guess(visible_px)
        curves = [
            None if cut.evidence is None else Curve(cut.evidence, number)
            for number, cut in enumerate(readings.cuts, start=1)
        ]

        def cuts_of(uneven_mm: float) -> list[CutLikelihood]:
            return [
                cut_likelihood(
                    cut,
                    making,
                    px_per_mm,
                    reach_mm=reach[j],
                    extra_mm=math.hypot(extra[j], uneven_mm),
                    bad_share=bad_shares[j],
                    number=j + 1,
                    curve=curves[j],
                )
                for j, cut in enumerate(readings.cuts)
            ]

        self.making = making
        self.cuts = cuts_of(0.0)
        self.frame = frame_of(
            self.cuts, self.evidence, visible_px, self.roots_mm, self.third_sigma, growth_sigma, step=step
        )
        nothing: Floats = np.zeros(len(self.roots_mm))
        self._states = [_State(0.0, self.cuts, nothing)]
        if any(cut.evidence is not None for cut in readings.cuts):
            fillings = fillings_of(spec, readings.medium)
            sound = 1 - MISREAD_PICTURES - sum(filling.share for filling in fillings)
            misread = [cut.with_bad_share(MISREAD_CUTS) for cut in self.cuts]
            self._states = [
                _State(math.log(sound), self.cuts, nothing),
                _State(math.log(MISREAD_PICTURES), misread, nothing),
                *(_State(math.log(one.share), cuts_of(one.uneven_mm), one.by_depth_mm, 2) for one in fillings),
            ]
        self.lattice = self._refined()

    def _first_guess(self, visible_px: Floats) -> float:
        """A scale to make the cuts' densities at, in steps of which a little moved reference does not leave its own."""
        return math.exp(round(math.log(self._rough_scale(visible_px)) / GUESS_STEP) * GUESS_STEP)

    def _rough_scale(self, visible_px: Floats) -> float:
        mixture = self.evidence.of_across
        if mixture is not None:
            return math.exp(float(mixture.means[np.argmax(mixture.log_weights)]))
        if self.evidence.heights:
            reference = self.evidence.heights[0].reference
            return reference.seen_px / (reference.true_mm + 0.15)
        return float(np.median(visible_px)) / (float(self.roots_mm.mean()) + 0.3)

    def factors_at(self, points: Points) -> tuple[Floats, ...]:
        """Per cut (points, depths) factors, zero where a depth is ruled out."""
        px_per_mm = np.exp(points.log_scale)
        found = np.zeros((len(self.cuts), len(px_per_mm), len(self.roots_mm)))
        for number, state in enumerate(self._states):
            here = slice(None) if len(self._states) == 1 else np.flatnonzero(points.state == number)
            place = (px_per_mm[here], points.growth_mm[here], points.third[here])
            roots_mm = self.roots_mm + state.filled_mm
            if state.plain:
                for cut, own in zip(state.plain, state.together.at(*place, roots_mm), strict=True):
                    found[cut][here] = own
            for factor, one in zip(found, state.cuts, strict=True):
                if not one.is_plain:
                    factor[here] = one.at(*place, roots_mm)
        if not self.allowed.all():
            found *= self.allowed[:, None, :]
        return tuple(found)

    def bad_share(self, cut: int, misread: float) -> float:
        """How often this cut's reading is of a wrong edge, the picture being misread with this probability."""
        if len(self._states) == 1:
            return self.cuts[cut].bad_share
        sound, others = (self._states[state].cuts[cut].bad_share for state in (SOUND, MISREAD))
        return sound + misread * (others - sound)

    def filled_mm(self, points: Points, depth: int) -> Floats:
        """(points,) by how much a floor of this depth reads too high because its valley is filled."""
        return np.array([state.filled_mm[depth] for state in self._states])[points.state]

    def likely_filling_mm(self, points: Points, weights: Floats, depth: int) -> float:
        """By how much a floor of this depth reads too high by filling; 0 where that there is any is unlikely."""
        filled = points.state > MISREAD
        share = float(weights @ filled)
        return float(weights @ self.filled_mm(points, depth)) / share if share > FILLED else 0.0

    def at_growth(self, growth_mm: float) -> Lattice:
        """The lattice with growth held."""
        return self._lattice(self._in_every_state(grown_points(self.frame, self.evidence, np.array([growth_mm]))))

    def at_growths(self, growths_mm: Floats) -> HeldGrowths:
        """The lattice at several held growths."""
        points = self._in_every_state(grown_points(self.frame, self.evidence, growths_mm))
        # Two growths may be one to the last bit and still are two: their own numbers keep them apart.
        each = len(self.frame.held_log_scale) * len(self.frame.third)
        number = np.tile(np.repeat(np.arange(len(growths_mm)), each), len(self._states))
        order = np.argsort(number, kind="stable")
        points, number = points.take(order), number[order]
        most = np.maximum.reduceat(points.log_mass, np.searchsorted(number, np.arange(len(growths_mm))))
        weights, factors = np.exp(points.log_mass - most[number]), self.factors_at(points)
        mass = weights * totals(factors, self.links)
        order = np.lexsort((mass, number))
        upto = np.cumsum(mass[order] / np.bincount(number, mass)[number[order]]) - number[order]
        kept = np.sort(order[upto > LET_GO])
        starts = np.searchsorted(number[kept], np.arange(len(growths_mm)))
        return HeldGrowths(weights[kept], tuple(factor[kept] for factor in factors), starts, most)

    def common_wear(self, points: Points) -> tuple[Floats, Floats]:
        """(wear in mm, (points, wear) probability) of the key's common wear, where the lattice's growth is the
        shift.
        """
        if points is self.lattice.points:
            return self._worn_lattice
        return self._common_wear(points)

    @cached_property
    def _worn_lattice(self) -> tuple[Floats, Floats]:
        return self._common_wear(self.lattice.points)

    def _common_wear(self, points: Points) -> tuple[Floats, Floats]:
        growths_mm = points.growth_mm[:, None] + np.array(COMMON_WEAR_MM)
        shares = self.growth_prior.at(growths_mm) * np.array(COMMON_WEAR_SHARES) + 1e-300
        return np.array(COMMON_WEAR_MM), np.asarray(shares / shares.sum(axis=1, keepdims=True))

    def wear(self, points: Points, weights: Floats) -> tuple[Floats, Floats]:
        """(wear in mm, probability of each) of the key's common wear."""
        wear_mm, shares = self.common_wear(points)
        return wear_mm, np.asarray(weights @ shares)

    def growth(self, points: Points, weights: Floats) -> Measured:
        """Growth by itself: the shift with the common wear added."""
        wear_mm, shares = self.common_wear(points)
        growths_mm = (points.growth_mm[:, None] + wear_mm).ravel()
        return lattice_spread_of(growths_mm, (weights[:, None] * shares).ravel(), self.frame.level_step)

    def log_evidence(self) -> float:
        """Logarithm of the readings' likelihood under the table, all codes alike likely."""
        lattice = self.lattice
        mass = float(lattice.weights @ totals(lattice.factors, self.links))
        return math.log(max(mass, 1e-300)) + lattice.log_unit - math.log(self.links.count(self.allowed))

    def _refined(self) -> Lattice:
        """Coarse lattice, fine lattice where that has mass, and the third coordinate where that has mass."""
        frame = self.frame
        middle = len(frame.third) // 2
        grids = {levels: _grid(frame, 2, 2 * levels) for levels in {state.levels for state in self._states}}
        coarse = {levels: self._points(*grid, np.full(len(grid[0]), middle)) for levels, grid in grids.items()}
        log_totals = [
            self._log_total(coarse[state.levels].in_state(number, state.log_share_of_levels))
            for number, state in enumerate(self._states)
        ]
        least = max(float(log_total.max()) for log_total in log_totals) - FAR_NATS
        parts = []
        for number, (state, log_total) in enumerate(zip(self._states, log_totals, strict=True)):
            near = log_total > least
            if not near.any():
                continue
            scale, level = grids[state.levels]
            places = _around(scale[near], level[near], len(frame.log_scale), state.levels)
            third = np.full(len(places[0]), middle)
            if len(frame.third) > 1:
                level_points = self._points(*places, third).in_state(number, state.log_share_of_levels)
                log_total = self._log_total(level_points)[:, None]
                place, third = np.nonzero(log_total + frame.log_third_mass - frame.log_third_mass[middle] > least)
                places = places[0][place], places[1][place]
            parts.append(self._points(*places, third).in_state(number, state.log_share_of_levels))
        return self._lattice(Points.joined(parts))

    def _in_every_state(self, points: Points) -> Points:
        """The places once for each state of the picture."""
        return Points.joined([points.in_state(n, state.log_share) for n, state in enumerate(self._states)])

    def _shift_density(self, shift_mm: Floats) -> Floats:
        """Prior density of growth less common wear."""
        return np.asarray(
            sum(
                share * self.growth_prior.at(shift_mm + wear_mm)
                for wear_mm, share in zip(COMMON_WEAR_MM, COMMON_WEAR_SHARES, strict=True)
            )
        )

    def _log_total(self, points: Points) -> Floats:
        mass = totals(self.factors_at(points), self.links)
        return np.asarray(points.log_mass + np.log(np.maximum(mass, 1e-300)))

    def _points(self, scale: Indexes, level: Indexes, third: Indexes) -> Points:
        frame = self.frame
        log_scale = frame.log_scale[scale]
        growth_mm = level * frame.level_step - frame.lean * (log_scale - frame.middle)
        log_mass = (
            np.log(np.maximum(self._shift_density(growth_mm), 1e-300))
            + log_prior_mass(self.evidence, log_scale, growth_mm)
            + np.log(frame.log_steps[scale] * frame.level_step)
            + frame.log_third_mass[third]
        )
        sound, first = np.full(len(log_scale), SOUND), np.zeros(len(log_scale), dtype=np.intp)
        return Points(log_scale, growth_mm, frame.third[third], log_mass, sound, first)

    def _lattice(self, points: Points) -> Lattice:
        factors = self.factors_at(points)
        log_unit = float(points.log_mass.max())
        weights = np.exp(points.log_mass - log_unit)
        mass = weights * totals(factors, self.links)
        order = np.argsort(mass)
        kept = np.sort(order[np.cumsum(mass[order]) > LET_GO * mass.sum()])
        return Lattice(points.take(kept), weights[kept], log_unit, tuple(factor[kept] for factor in factors))


@dataclass(frozen=True)
class Sums:
    """What forward and backward sums give on one lattice."""

    mass: float
    cells: Floats
    """(points,) posterior weights that sum to 1."""
    depths: Floats
    """(cuts, depths) marginal probabilities."""
    without: tuple[Floats, ...]
    """Per cut, (points,) posterior weights from all other cuts, that cut left out."""


def sums_of(lattice: Lattice, links: Links) -> Sums:
    """Marginals of depths and lattice points, exactly, over all codes."""
    ahead = forward(lattice.factors, links)
    behind = backward(lattice.factors, links)
    cells = lattice.weights * ahead[-1].sum(axis=1)
    mass = float(cells.sum())
    depths, without = [], []
    for j, (a, b) in enumerate(zip(ahead, behind, strict=True)):
        depths.append(lattice.weights @ (a * b) / mass)
        before = np.ones_like(b) if j == 0 else ahead[j - 1] @ links.matrix(j - 1)
        own = lattice.weights * (before * b).sum(axis=1)
        without.append(own / own.sum())
    return Sums(mass, cells / mass, np.array(depths), tuple(without))


def _growth_prior(readings: Readings, spec: KeySpec, growth_prior: GrowthPrior | None) -> GrowthPrior:
    prior = usual_growth() if growth_prior is None else growth_prior
    if readings.growth_mm is not None:
        prior = prior.times(picture_growth_likelihood(readings.growth_mm.value, readings.growth_mm.sigma))
    by_program = any(cut.evidence is not None for cut in readings.cuts)
    return back_inside(prior) if by_program and spec.edges == "single" else prior


def _third(readings: Readings, spec: KeySpec) -> tuple[float, list[float], list[float]]:
    """(prior sigma, reach of each cut, independent error of each cut in mm) of the back's own error."""
    positions_mm = np.tile(np.array(spec.cut_positions_mm), spec.edge_count)
    from_middle = positions_mm - positions_mm.mean()
    none = [0.0] * len(positions_mm)
    by_hand = readings.medium == "calipers"
    tilt = (0.0 if by_hand else TILT_SIGMA) if readings.tilt_sigma is None else readings.tilt_sigma
    if spec.edges == "single":
        return tilt, list(from_middle), none
    if spec.edges == "double-independent":
        side = [1.0 if j < spec.cuts_per_edge else -1.0 for j in range(len(positions_mm))]
        usual_mm = CENTRE_SIGMA_HAND_MM if by_hand else CENTRE_SIGMA_MM
        centre_mm = usual_mm if readings.centre_sigma_mm is None else readings.centre_sigma_mm
        return centre_mm, side, list(np.abs(from_middle) * tilt)
    return 0.0, none, none


def _grid(frame: Frame, every_scale: int, every_level: int) -> tuple[Indexes, Indexes]:
    """Scale and level indexes of every so many nodes whose growth is considered."""
    scales, levels = [], []
    for index in range(0, len(frame.log_scale), every_scale):
        shift = frame.lean * (frame.log_scale[index] - frame.middle)
        first = math.ceil((GROWTH_LOW_MM + shift) / frame.level_step / every_level) * every_level
        last = math.floor((GROWTH_HIGH_MM + shift) / frame.level_step / every_level) * every_level
        level = np.arange(first, last + 1, every_level)
        scales.append(np.full(len(level), index))
        levels.append(level)
    return np.concatenate(scales), np.concatenate(levels)


def _around(scale: Indexes, level: Indexes, scale_nodes: int, every_level: int) -> tuple[Indexes, Indexes]:
    """Every fine node (every so many levels) within one coarse step of the given nodes, once each."""
    offsets = np.arange(-2, 3)
    level = level // every_level
    low = int(level.min()) - 2
    high = int(level.max()) + 3
    mask = np.zeros((scale_nodes + 4, high - low), dtype=bool)
    for one in offsets:
        for two in offsets:
            mask[scale + one + 2, level + two - low] = True
    rows, columns = np.nonzero(mask[2:-2])
    return rows, (columns + low) * every_level
