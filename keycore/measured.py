"""Values with their standard uncertainty, and the readings taken off one picture.

Everything here is frozen: a stage makes it whole and the next stage takes it whole.

Conventions
-----------
``*_px`` are picture units (pixels of the straightened picture, or the unit of the caliper figures when a person
typed them in); ``*_mm`` are millimetres on the key.  A root height is measured as the table's ``root_from`` says.
Growth is the amount by which every *root height* reads too high: ``visible_root = px_per_mm * (root + growth)``.
For a single edge it is the growth of the cut side plus that of the back; for a mirrored pair that of both edges;
for independent edges, measured from the centreline, that of one edge.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass, field, replace
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from keycore.refusal import Refusal

Floats = NDArray[np.float64]
Medium = Literal["scan", "photocopy", "photo-card", "photo-copy", "calipers"]
COPIES: tuple[Medium, ...] = ("photocopy", "photo-copy")
"""On these shadow and metal are one black, and the paper is lighter than either."""
Axis = Literal["along", "across", "both"]
ReferenceKind = Literal["cut-spacing", "blade-height", "blade-length", "dpi", "card", "page", "length"]


@dataclass(frozen=True)
class Measured:
    """One value with its standard uncertainty, in the unit that the holder's name says."""

    value: float
    sigma: float

    def __post_init__(self) -> None:
        if not (math.isfinite(self.value) and math.isfinite(self.sigma) and self.sigma >= 0):
            raise Refusal(
                f"A measured value must be finite with an uncertainty of at least 0; got {self.value} +- {self.sigma}.",
                code="measured.not-finite",
            )


@dataclass(frozen=True)
class HeightEvidence:
    """What the picture says of one root height, where a single value with one sigma would say too much or too little.

    The curve is of a *sound* reading: one of the edges that the picture shows here is the root's.  It holds every edge
    that was seen, each with its own noise, and falls off beyond them as the noise does.  It holds no floor for readings
    that have nothing to do with the root: the decoder adds that itself, once (:mod:`keycore.prior`), and a floor in the
    curve would count the same doubt twice.  What is common to all cuts (scale, growth, tilt) is no part of it either.

    The curve's *area* is set against the bad reading's level density, so the heights must reach over all that the
    picture may mean, and the ends must lie low unless the picture really says nothing there.

    Attributes
    ----------
    heights_px
        (n,) ascending, evenly spaced visible root heights.
    growths_mm
        (m,) ascending growths; m = 1 where the evidence does not depend on growth.
    log_likelihood
        (m, n) log-likelihood of the visible height, for each growth; any constant may be added to the whole.
        Outside the heights the nearest end holds.
    """

    heights_px: Floats
    growths_mm: Floats
    log_likelihood: Floats


@dataclass(frozen=True)
class CutReading:
    """One cut as measured.

    Attributes
    ----------
    edge
        1, or 2 for the second edge of independent edges.
    root_px, sigma_px
        Visible root height and its standard uncertainty (of this cut alone, without scale or growth).
    position_px, position_sigma_px
        Distance of the cut's centre from the gauge point along the blade; None where it was not measured.
    evidence
        A whole likelihood of the height; where it is given it replaces ``root_px`` and ``sigma_px`` in decoding.
    """

    root_px: float
    sigma_px: float
    position_px: float | None = None
    position_sigma_px: float | None = None
    edge: Literal[1, 2] = 1
    evidence: HeightEvidence | None = None


@dataclass(frozen=True)
class SizeReference:
    """One thing of known size seen in the picture.

    ``true_mm`` with ``true_sigma_mm`` is what it measures on the key's plane; ``seen_px`` with ``seen_sigma_px`` is
    what it measures in the picture.  A ``weak`` reference may be plainly wrong (a file's dpi claim, say) and is taken
    with a heavy tail.  ``used`` is False where a person turned it off or the program found it not to apply.  What
    ``grows`` carries growth itself (blade height, blade length); it grows ``alike`` where that is mostly about the
    roots' growth (the height on a copy), else by any share of it.
    """

    kind: ReferenceKind
    axis: Axis
    seen_px: float
    seen_sigma_px: float
    true_mm: float
    true_sigma_mm: float = 0.0
    weak: bool = False
    used: bool = True
    grows: bool = False
    alike: bool = False

    @property
    def px_per_mm(self) -> float:
        """Scale that this reference alone gives, taking no growth off."""
        return self.seen_px / self.true_mm

    @property
    def sigma_rel(self) -> float:
        """Relative standard uncertainty of ``px_per_mm`` (first order, independent parts)."""
        return math.hypot(self.seen_sigma_px / self.seen_px, self.true_sigma_mm / self.true_mm)


@dataclass(frozen=True)
class Readings:
    """All that one picture (or one set of caliper figures) says of a key, before any table decides.

    Attributes
    ----------
    cuts
        Bow to tip; for independent edges the first edge's cuts, then the second's.
    references
        Independent size references, the cut spacing excepted: that is made from the cuts' positions when a table is
        known.
    growth_mm
        The picture's own estimate of growth, or None.
    anisotropy_sigma
        Standard deviation of ln(scale across / scale along): 0.0075 for an office copier, 0.001 for a scanner.
    medium
        Where the figures come from.
    tilt_sigma
        Standard deviation of the slope error of the line that root heights were measured from (the back, or the
        centreline), mm per mm along the blade; None for what is usual (:mod:`keycore.prior`).  Roots that were
        measured one by one from root to root have none.
    centre_sigma_mm
        Standard deviation of where the centreline of independent edges was taken to lie, mm on the key; None for what
        is usual.
    others
        The same key in the same picture, fitted in other ways that are nearly as likely (another line for the back, a
        copy's floors hidden); the decoder weighs them all (:mod:`keycore.ways`).
    log_weight
        Of such another way: the logarithm of how much more the picture speaks for it than for the first.
    """

    cuts: tuple[CutReading, ...]
    references: tuple[SizeReference, ...] = ()
    growth_mm: Measured | None = None
    anisotropy_sigma: float = 0.0075
    medium: Medium = "photocopy"
    warnings: tuple[str, ...] = field(default=())
    tilt_sigma: float | None = None
    centre_sigma_mm: float | None = None
    others: tuple[Readings, ...] = ()
    log_weight: float = 0.0

    def __post_init__(self) -> None:
        edges = [cut.edge for cut in self.cuts]
        if not math.isfinite(self.log_weight) or any(
            way.others or [cut.edge for cut in way.cuts] != edges for way in self.others
        ):
            raise Refusal(
                "Other ways to read one picture must have its number of cuts, finite weights and no others of their "
                "own; read the picture again.",
                code="measured.others",
            )
        for sigma in (self.tilt_sigma, self.centre_sigma_mm):
            if sigma is not None and not (math.isfinite(sigma) and sigma >= 0):
                raise Refusal(
                    f"The uncertainty of the back's line or the centreline must be at least 0; got {sigma}.",
                    code="measured.back",
                )

    @property
    def ways(self) -> tuple[Readings, ...]:
        """The first way that the picture was fitted, and the others."""
        return (replace(self, others=()), *self.others)

    def in_every_way(self, change: Callable[[Readings], Readings]) -> Readings:
        """The readings with a change made in each way that the picture was fitted."""
        first, *others = map(change, self.ways)
        return replace(first, others=tuple(others))

    def without_places(self) -> Readings:
        """The readings with nothing of where the cuts lie along the blade."""

        def placeless(way: Readings) -> Readings:
            return replace(way, cuts=tuple(replace(cut, position_px=None, position_sigma_px=None) for cut in way.cuts))

        return self.in_every_way(placeless)
