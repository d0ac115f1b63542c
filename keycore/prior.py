"""What is believed before a key is read, each with its reason.  All lengths are millimetres on the key.

Growth (by how much visible edges stand outside the metal)
    Shadow and toner add to a key; only toner that did not take, or too much light, takes away.  Three parts:

    ======  ==========================  ===========================================================================
    share   shape                       reason
    ======  ==========================  ===========================================================================
    0.50    gamma, shape 2, mean 0.32   the usual copy or scan: a few tenths of a millimetre (common practice)
    0.35    level from 0 to 1.2         a poor copy can carry anything up to about 1.2 mm
    0.15    normal(0, 0.10)             a clean edge, or toner that did not take
    ======  ==========================  ===========================================================================

    The level part is there so that no two growths between 0 and 1.2 mm differ by more than a factor of five before the
    picture is looked at: by the prior alone no code is ever sure.  Corners are rounded by 0.04 mm, so that a lattice
    can integrate it.  From cut to cut growth differs by about 0.01 mm, an independent error of each.

A line inside the back
    Growth has the back's part in it.  On one picture in a hundred of a single edge, read by a program, a groove's edge
    or the near rim of a thick key has passed for the back: then every root, and the blade's height with them, reads
    too low by up to half a millimetre, all amounts alike likely, its corner rounded too (:func:`back_inside`).

Making
    The table's tolerance is what the maker allows; nearly all keys keep it, so it is taken as two standard deviations.
    A floor of 0.01 mm stands for what no maker's table says: plating, burrs and the cutter's own wear.

Wear
    Only lowers a root.  Two keys of three are taken as not worn; the others are worn by up to 0.08 mm all along the
    blade, every amount alike likely.  What all cuts have in common cannot be told from less growth, so decoding takes
    the two together as one shift and parts them afterwards, by their priors.  Besides, in such a share a cut is worn
    more than the others, by an exponential amount of mean 0.03 mm (counted from its own mean).

A bad reading
    A cut may have been measured on the wrong edge (a groove, a burr, a hair on the glass): its height is then normal
    round the truth with 0.7 mm, the middle left out: two edges nearer than about 0.1 mm (a pixel or two) are one
    blurred edge, whose error is noise and no bad reading (:func:`bad_density`).  How often depends on who measured:

    * values with their sigmas, taken by a program: one key in ten has a bad cut;
    * whole likelihoods of the heights: one in a thousand, because they already show the other edges that were seen;
    * calipers: one in forty, because a person looks at the edge that is measured.

    So one bad reading cannot drag the others, and the rarer bad readings are, the surer a code may be: with one bad
    key in ten and depths closer than about 0.5 mm no single picture's code can honestly be given 0.99.

A misread picture
    A program that follows a shadow, a groove or a burnt-out strip follows it along the blade: bad readings come
    together.  So one picture in two hundred that was read as whole likelihoods is taken as misread.  In such a one
    every cut is as likely bad as sound, its height then level over 4 mm.  That all cuts fit the table at one scale and
    growth speaks against it, the more so the more cuts there are, the sharper they were read and the wider the
    table's steps.
    What the shadow in a copied key's valleys does is no misreading (:mod:`keycore.filling`).
    Figures with sigmas are a hand's, or a program's that has looked at each; they are not taken to be misread together.

The back's own error
    Unless the reader says better (``Readings.tilt_sigma``, ``Readings.centre_sigma_mm``) the line that root heights are
    measured from has a slope error of 0.002 in a picture (0.02 mm over 10 mm of blade) and none with calipers, which
    measure every root by itself; the centreline of independent edges lies within 0.03 mm in a picture, 0.05 mm by hand.

A spoilt cut
    A burr or dirt is in every picture of a key.  Where several pictures are taken together one key in fifty has a
    spoilt cut, of which its height says no more than a bad reading does.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass, field
from functools import cache

import numpy as np
from scipy.special import erfcx, ndtr

from keycore.measured import Floats

GROWTH_LOW_MM, GROWTH_HIGH_MM = -0.5, 1.6
"""Growths outside are not considered."""
GAMMA_SHARE, GAMMA_SHAPE, GAMMA_MEAN_MM = 0.50, 2.0, 0.32
LEVEL_SHARE, LEVEL_TOP_MM = 0.35, 1.2
CLEAN_SHARE, CLEAN_SIGMA_MM = 0.15, 0.10
ROUNDING_MM = 0.04
GROWTH_UNEVEN_MM = 0.01

TOLERANCE_SIGMAS = 2.0
MAKING_FLOOR_MM = 0.01
WORN_SHARE, WEAR_MEAN_MM = 1 / 3, 0.03
BACK_INSIDE_SHARE = 0.01
COMMON_WEAR_MM = (0.0, 0.01, 0.03, 0.05, 0.07)
COMMON_WEAR_SHARES = (2 / 3, 1 / 12, 1 / 12, 1 / 12, 1 / 12)
BAD_SIGMA_MM, ONE_EDGE_MM = 0.7, 0.1
BAD_KEYS_VALUE, BAD_KEYS_HAND = 0.1, 0.025
BAD_KEYS_CURVE = 0.001
MISREAD_PICTURES = 0.005
MISREAD_CUTS = 0.5
SPOILT_KEYS = 0.02
TILT_SIGMA = 0.002
CENTRE_SIGMA_MM, CENTRE_SIGMA_HAND_MM = 0.03, 0.05

PICTURE_GROWTH_BAD_SHARE = 0.08
"""How often a picture's own estimate of growth is plainly wrong (it followed a groove, or the shadow's far side)."""
PICTURE_GROWTH_FLOOR_MM = GROWTH_UNEVEN_MM
"""Growth differs by this much from place to place, whatever the estimate claims."""


@dataclass(frozen=True)
class GrowthPrior:
    """Density of growth as a table; ``density`` integrates to 1 over ``growths_mm``."""

    growths_mm: Floats
    density: Floats

    def at(self, growth_mm: Floats) -> Floats:
        """Density, 1/mm; nothing outside the table."""
        found = np.interp(growth_mm, self.growths_mm, self.density, left=0.0, right=0.0)
        return np.asarray(found, dtype=float)

    def times(self, likelihood: Callable[[Floats], Floats]) -> GrowthPrior:
        """The prior with one more piece of evidence."""
        density = self.density * likelihood(self.growths_mm)
        return GrowthPrior(self.growths_mm, density / (density.sum() * (self.growths_mm[1] - self.growths_mm[0])))


@cache
def usual_growth() -> GrowthPrior:
    """The prior of the module's table."""
    step_mm = 0.002
    reach = round(6 * ROUNDING_MM / step_mm)
    first, last = round(GROWTH_LOW_MM / step_mm) - reach, round(GROWTH_HIGH_MM / step_mm) + reach
    wide_mm = np.linspace(first * step_mm, last * step_mm, last - first + 1)
    scale_mm = GAMMA_MEAN_MM / GAMMA_SHAPE
    positive = np.maximum(wide_mm, 0.0)
    gamma = (positive / scale_mm) ** (GAMMA_SHAPE - 1) * np.exp(-positive / scale_mm)
    gamma /= scale_mm * math.gamma(GAMMA_SHAPE)
    level = ((wide_mm >= 0) & (wide_mm <= LEVEL_TOP_MM)) / LEVEL_TOP_MM
    clean = _normal(wide_mm, CLEAN_SIGMA_MM)
    kernel = _normal(np.linspace(-reach * step_mm, reach * step_mm, 2 * reach + 1), ROUNDING_MM)
    sharp = GAMMA_SHARE * gamma + LEVEL_SHARE * level + CLEAN_SHARE * clean
    density = np.convolve(sharp, kernel / kernel.sum(), mode="valid")
    growths_mm = wide_mm[reach:-reach]
    return GrowthPrior(growths_mm, density / (density.sum() * step_mm))


def picture_growth_likelihood(value_mm: float, sigma_mm: float) -> Callable[[Floats], Floats]:
    """Likelihood of a picture's own growth estimate: normal, with a share that is plainly wrong."""
    core_mm = math.hypot(sigma_mm, PICTURE_GROWTH_FLOOR_MM)
    wide_mm = math.hypot(4 * core_mm, 0.3)

    def likelihood(growth_mm: Floats) -> Floats:
        off_mm = growth_mm - value_mm
        return (1 - PICTURE_GROWTH_BAD_SHARE) * _normal(off_mm, core_mm) + PICTURE_GROWTH_BAD_SHARE * _normal(
            off_mm, wide_mm
        )

    return likelihood


def back_inside(growth: GrowthPrior) -> GrowthPrior:
    """The growth of a picture whose back may be a line inside the metal."""
    growths_mm = growth.growths_mm
    inside = ndtr(-growths_mm / ROUNDING_MM)
    level = inside / (inside.sum() * (growths_mm[1] - growths_mm[0]))
    return GrowthPrior(growths_mm, (1 - BACK_INSIDE_SHARE) * growth.density + BACK_INSIDE_SHARE * level)


@dataclass(frozen=True)
class Making:
    """How a made root differs from its table: making error, and how unevenly wear has lowered it."""

    sigma_mm: float
    worn_share: float = field(default=WORN_SHARE)
    wear_mean_mm: float = field(default=WEAR_MEAN_MM)

    @classmethod
    def of_tolerance(cls, tolerance_mm: float, pictures: int = 1) -> Making:
        """From the table's tolerance.

        A key's making errors are the same in every picture of it.  With several pictures the variance is multiplied by
        their number: the product of their likelihoods then leaves the variance of one making error, not a fraction of
        it.
        """
        sigma_mm = math.hypot(tolerance_mm / TOLERANCE_SIGMAS, MAKING_FLOOR_MM)
        return cls(sigma_mm * math.sqrt(pictures))

    @property
    def spread_mm(self) -> float:
        """Standard deviation of a made root from its table, uneven wear included."""
        return math.hypot(self.sigma_mm, math.sqrt(self.worn_share) * self.wear_mean_mm)

    def density(self, off_mm: Floats, reading_sigma_mm: float) -> Floats:
        """Density, 1/mm, of (visible height - what the table says) for a sound reading.

        A normal of both errors; a share is convolved with uneven wear, an exponential amount downward, counted from its
        mean (what wear all cuts have in common is part of the shift).
        """
        sigma_mm = math.hypot(self.sigma_mm, reading_sigma_mm)
        sound = _normal(off_mm, sigma_mm)
        # The exponential is turned downward and counted from its mean: x is how far the reading lies below its start.
        x = self.wear_mean_mm - np.asarray(off_mm, dtype=float)
        z = (sigma_mm / self.wear_mean_mm - x / sigma_mm) / math.sqrt(2)
        with np.errstate(over="ignore", invalid="ignore"):
            tail = 0.5 / self.wear_mean_mm * np.exp(-0.5 * (x / sigma_mm) ** 2) * erfcx(z)
            far = np.exp(0.5 * (sigma_mm / self.wear_mean_mm) ** 2 - x / self.wear_mean_mm) / self.wear_mean_mm
        worn = np.where(z < -20, far, tail)
        return np.asarray((1 - self.worn_share) * sound + self.worn_share * worn, dtype=float)


def bad_density(off_mm: Floats, sigma_mm: float) -> Floats:
    """Density, 1/mm, of (height - truth) for a reading of another edge, itself uncertain by ``sigma_mm``.

    ``normal(x; 0, 0.7) * (1 - exp(-x^2 / (2 * 0.1^2)))``, normalised: a difference of two normals.
    """
    middle_mm = 1 / math.hypot(1 / BAD_SIGMA_MM, 1 / ONE_EDGE_MM)
    share = middle_mm / BAD_SIGMA_MM
    wide = _normal(off_mm, math.hypot(BAD_SIGMA_MM, sigma_mm))
    middle = _normal(off_mm, math.hypot(middle_mm, sigma_mm))
    return np.asarray((wide - share * middle) / (1 - share), dtype=float)


@cache
def bad_offsets(count: int) -> Floats:
    """(count,) offsets, mm, that stand for a bad reading's: as many lie between any two heights as belong there."""
    off_mm = np.linspace(-4 * BAD_SIGMA_MM, 4 * BAD_SIGMA_MM, 2001)
    passed = np.cumsum(bad_density(off_mm, 0.0))
    return np.asarray(np.interp((np.arange(count) + 0.5) / count, passed / passed[-1], off_mm), dtype=float)


def blade_height_density(off_mm: Floats, growth_mm: Floats, sigma_mm: Floats, edges: float, *, alike: bool) -> Floats:
    """Density, 1/mm, of what the blade's visible height has too much, when it carries a growth of its own.

    The uncut edge lies higher than a valley's floor and throws another shadow: its growth is anything between nothing
    and somewhat more (1.2 times) than that of the roots, all alike likely.  ``edges`` is how many times a root's growth
    fits into the height's (2 for independent edges, whose roots are measured from the centreline).

    ``alike`` is for copies: toner that stands out by little does so everywhere, and only where valleys are filled with
    shadow does the uncut edge stay behind.  So the growth is also, mostly while it is small, about that of the roots
    (:func:`alike_share`).  Everywhere that holds of less than nothing: what takes away from all roots is a line inside
    the back, or too much light, and takes as much from the height.
    """
    whole_mm = np.asarray(edges * growth_mm, dtype=float)
    reach_mm = HEIGHT_SHARE_TOP * whole_mm
    low_mm, high_mm = np.minimum(reach_mm, 0.0), np.maximum(reach_mm, 0.0)
    width_mm = np.maximum(high_mm - low_mm, 1e-3)
    middle_mm = (low_mm + high_mm) / 2
    inside = ndtr((off_mm - middle_mm + width_mm / 2) / sigma_mm) - ndtr((off_mm - middle_mm - width_mm / 2) / sigma_mm)
    any_share = inside / width_mm
    share = alike_share(whole_mm, alike=alike)
    same = _normal(off_mm - alike_height(whole_mm), np.hypot(sigma_mm, ALIKE_SIGMA_MM))
    return np.asarray((1 - share) * any_share + share * same, dtype=float)


def alike_share(whole_mm: Floats | float, *, alike: bool) -> Floats:
    """How often the uncut edge grows about as the roots do, by the growth that the roots' would give the height."""
    growths_mm, shares = (ALIKE_GROWTHS_MM, ALIKE_SHARES) if alike else (SHRUNK_GROWTHS_MM, SHRUNK_SHARES)
    return np.asarray(np.interp(whole_mm, growths_mm, shares), dtype=float)


def alike_height(whole_mm: Floats | float) -> Floats:
    """What the height then has too much: a little less, since valleys fill first."""
    return np.asarray(whole_mm - np.clip(0.5 * whole_mm, 0.0, ALIKE_LESS_MM), dtype=float)


HEIGHT_SHARE_TOP = 1.2
ALIKE_SHARES, ALIKE_GROWTHS_MM = (0.9, 0.15), (0.45, 0.9)
ALIKE_LESS_MM, ALIKE_SIGMA_MM = 0.05, 0.05
"""Measured on copies drawn with known truth: where roots grew by 0.15 to 0.5 mm the uncut edge grew by 0.02 to 0.1 mm
less in the middle half of them; where they grew by more, by 0.3 mm less and more."""
SHRUNK_SHARES, SHRUNK_GROWTHS_MM = (0.9, 0.0), (-0.1, 0.0)
"""The same of growth below nothing where the metal itself is seen: a few hundredths are unevenness and tell nothing of
the height, a tenth of a millimetre is a line inside the back."""
HEIGHT_UNEVEN_MM = 0.04
"""How evenly an uncut edge grows along the blade."""
HAND_HEIGHT_PARTS = ((0.7, 0.0, 0.08), (0.3, 0.15, 0.15))
"""(share, mean, sigma) of the growth in a blade height that a hand marked: mostly none, since the uncut edges are long,
straight and can be followed to where they are sharp; sometimes part of a shadow."""


def hand_height_moments() -> tuple[float, float]:
    """Mean and standard deviation, mm, of the growth in a blade height that a hand marked."""
    mean_mm = sum(share * mean for share, mean, _ in HAND_HEIGHT_PARTS)
    square = sum(share * (sigma**2 + mean**2) for share, mean, sigma in HAND_HEIGHT_PARTS)
    return mean_mm, math.sqrt(square - mean_mm**2)


def hand_height_density(off_mm: Floats, sigma_mm: Floats) -> Floats:
    """As :func:`blade_height_density`, for a blade height that a hand marked: its growth is independent of the
    roots'.
    """
    total = np.zeros(np.broadcast_shapes(np.shape(off_mm), np.shape(sigma_mm)))
    for share, mean_mm, spread_mm in HAND_HEIGHT_PARTS:
        total = total + share * _normal(off_mm - mean_mm, np.hypot(sigma_mm, spread_mm))
    return np.asarray(total, dtype=float)


def _normal(x: Floats, sigma: float | Floats) -> Floats:
    return np.asarray(np.exp(-0.5 * (x / sigma) ** 2) / (sigma * math.sqrt(2 * math.pi)), dtype=float)
