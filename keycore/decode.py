"""Readings and a table -> the probability of every code and depth, with scale and growth.

The model
---------
Unknown, for each picture:

====================  =============================================  ==============================================
what                  prior                                          reason
====================  =============================================  ==============================================
scale across, s       level in ln s                                  enlargement is unknown; references say the rest
scale along           ln along - ln across normal, sd                office copiers differ by up to about 1.5 %
                      ``Readings.anisotropy_sigma``                  between the axes, scanners hardly
growth, g             :mod:`keycore.prior`, and the picture's own    adds, seldom takes away; moves all roots
                      estimate where it has one; a small share       together; a line inside the back may have
                      level below nothing (single edges)             passed for it
growth of the height  any share from 0 to 1.2 of the roots'          another edge under another light, but the same
                      growth, about all of it below nothing; by      back; a hand follows the sharp part of the
                      hand: its own, mostly none                     uncut edge
back's own error, t   tilt, sd 0.002 (single edges in a picture);    the back line's fit; nothing for roots that
                      centreline, sd 0.03 to 0.05 mm (independent    were measured one by one with calipers, or
                      edges); none for mirrored pairs                from root to root
gauge point           level                                          a rough mark; the cuts' own line finds it
misread               a small share, where cuts are whole curves:    a program that follows a shadow does so along the
                      every cut as likely bad as sound               blade: bad readings come together
filled valleys        on copies read as whole curves: none in seven  the deeper a valley, the more light its walls take;
                      of ten, else exponential                       shadow and metal are one black
                      (:mod:`keycore.filling`)
====================  =============================================  ==============================================

and for the key:

====================  =============================================  ==============================================
code                  every code that the table allows, alike        MACS and the locksmith's holds included
making error          normal, sd half the table's tolerance          what nearly all keys keep
wear                  only lowers; a third of the keys               roots wear low, never high; what all cuts share
                      (:mod:`keycore.prior`)                         is one shift together with growth, parted after
====================  =============================================  ==============================================

Likelihood: a cut of depth d is seen at ``s * (root_d + g + reach * t + making - wear)`` with the reading's noise, or
with a small share as a plainly wrong reading (:mod:`keycore.prior`); where the picture gives a whole likelihood of the
height, that takes the place of the noise.  References: :mod:`keycore.scale`.

Everything but the code is integrated over a lattice (:mod:`keycore.lattice`) whose steps are 1.4 standard deviations
of the narrowest thing along each coordinate, which makes the plain sum exact to about one part in a thousand; halving
the steps changes no probability by more than 0.001 (there is a test; over 100 made-up sets of each kind of key at most
by 0.0006).  At each point a code is a chain, so sums
over all codes are exact (:mod:`keycore.chain`).  Codes are ranked by their mass summed over the lattice, not at its
best point.

One picture may be fitted in several ways that are nearly as likely (the back's line here or there, a copy's floors
shown or hidden): then all of this is summed over them too (:mod:`keycore.ways`).

Several pictures of one key share the code, and nothing else but its making errors
(:meth:`keycore.prior.Making.of_tolerance`): the mass of a code is the product of its masses.  That product is no
chain, so codes are listed from the likeliest on until the next one no longer matters, and an upper bound on the mass
of all that are left counts against every listed code.  A cut may be spoilt on the key itself, alike in all pictures
(:func:`keycore.fuse.with_spoilt_cuts`).  Pictures that contradict each other are not multiplied: each
one's codes are shown and the verdict is unsure.

The caliper's case (a hand's figures, no picture)
    Figures of an enlarged copy show why growth and scale must be taken together: the blade height by itself gives a
    scale, on it every cut lies a good half depth too high, and nearest depths come out a whole depth shallow.  With
    growth free two codes remain, a depth apart in every cut; that growth adds and seldom takes away prefers one of
    them by about three to one, which is no certainty, and a person's knowledge of one cut settles it.

Sources (from memory): E. T. Jaynes, Probability Theory (2003), on marginal posteriors; L. N. Trefethen and
J. A. C. Weideman, SIAM Review 56 (2014) 385, on why equal-step sums of smooth functions are so nearly exact.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import Literal

import numpy as np

from keycore.chain import links_of
from keycore.codes import Code
from keycore.decoding import CutDecoding, Decoding, PictureShare, RankedCode
from keycore.figures import readings_of_figures
from keycore.fuse import (
    CONFLICTS,
    Fused,
    SeenHeight,
    allows,
    alone_of,
    cells_given,
    cells_without,
    conflict_cautions,
    conflicts_of,
    contradiction,
    count_of,
    fuse,
    side_by_side,
    with_spoilt_cuts,
)
from keycore.holds import Holds
from keycore.lattice import STEP
from keycore.measured import Floats, Measured, Readings
from keycore.posterior import Lattice, PicturePosterior, Sums, sums_of
from keycore.prior import GROWTH_HIGH_MM, GROWTH_LOW_MM, GrowthPrior, Making
from keycore.refusal import Refusal
from keycore.roots import measured_root
from keycore.scale import report_scale
from keycore.spec import KeySpec
from keycore.strip import StripSegment, strip_of
from keycore.verdict import (
    Caution,
    cautions_of,
    cautions_of_cuts,
    of_all_pictures,
    own_warnings,
    rival_way,
    verdict_of,
)
from keycore.ways import PictureWays

__all__ = [
    "CutDecoding",
    "Decoder",
    "Decoding",
    "Holds",
    "PictureShare",
    "RankedCode",
    "StripSegment",
    "decode",
    "decode_figures",
]

UNLIKELY_HOLD, SERIOUS_HOLD = 0.01, 0.001
FEW_PICTURES = 4
"""Of so many pictures each one's scale and growth are taken anew with the key's making error as it is: for the code it
is widened in every picture (:meth:`keycore.prior.Making.of_tolerance`), and one sigma would hold too much.  With more
pictures that would take too long, and one sigma stays on the wide side."""


def decode(readings: Readings | Sequence[Readings], spec: KeySpec, holds: Holds = Holds(), k: int = 10) -> Decoding:
    """Decode readings of one key; see :class:`Decoder`."""
    return Decoder(readings, spec, holds=holds).decoding(k)


def decode_figures(
    height: float,
    roots: Sequence[float],
    positions: Sequence[float] | None,
    sigma: float | None,
    spec: KeySpec,
    holds: Holds = Holds(),
    k: int = 10,
) -> Decoding:
    """Decode caliper figures in any one unit; see :func:`keycore.figures.readings_of_figures`."""
    return Decoder(readings_of_figures(height, roots, positions, sigma, spec), spec, holds=holds).decoding(k)


class Decoder:
    """Readings of one key under one table, ready for every question.

    Parameters
    ----------
    readings
        One picture's readings, or several pictures' of the same key.
    spec
        The table; where it allows several counts of cuts, the number of readings decides.
    holds
        What the locksmith knows.
    growth_prior
        In place of the usual prior of growth.
    step
        Lattice step in standard deviations; smaller is finer.
    """

    def __init__(
        self,
        readings: Readings | Sequence[Readings],
        spec: KeySpec,
        *,
        holds: Holds = Holds(),
        growth_prior: GrowthPrior | None = None,
        step: float = STEP,
    ) -> None:
        self.readings = (readings,) if isinstance(readings, Readings) else tuple(readings)
        if not self.readings:
            raise Refusal("There are no readings to decode; measure at least one picture.", code="decode.nothing")
        self.spec = spec.for_count(count_of(self.readings, spec))
        self.holds = holds
        self._growth_prior = growth_prior
        self._step = step
        self._links = links_of(
            self.spec.cuts_per_edge, self.spec.edge_count, len(spec.depths), self.spec.max_adjacent_step
        )
        self._allowed = holds.allowed(self.spec, self._links)
        self._making = Making.of_tolerance(self.spec.tolerance.root_mm)
        self._decodings: dict[int, Decoding] = {}

    @cached_property
    def posteriors(self) -> tuple[PictureWays, ...]:
        """Each picture's posterior."""
        return tuple(self._posterior(readings) for readings in self.readings)

    def decoding(self, k: int = 10) -> Decoding:
        """The codes, at least the ``k`` likeliest, and everything else that is known."""
        if k not in self._decodings:
            self._decodings[k] = self._decoding([p.lattice for p in self.posteriors], k, None)
        return self._decodings[k]

    def at_growth(self, growth_mm: float, k: int = 10, picture: int = 0) -> Decoding:
        """The decoding if growth in this picture were this: what the slider shows."""
        if not (math.isfinite(growth_mm) and GROWTH_LOW_MM <= growth_mm <= GROWTH_HIGH_MM):
            raise Refusal(
                f"Growth must lie between {GROWTH_LOW_MM} and {GROWTH_HIGH_MM} mm; got {growth_mm:g}.",
                code="decode.growth",
            )
        lattices = [p.lattice for p in self.posteriors]
        lattices[picture] = self.posteriors[picture].at_growth(growth_mm)
        return self._decoding(lattices, k, (picture, growth_mm))

    def strip(self, picture: int = 0) -> tuple[StripSegment, ...]:
        """The likeliest code as a piecewise constant function of this picture's growth."""
        if picture not in self._strips:
            self._strips[picture] = strip_of(self.posteriors[picture])
        return self._strips[picture]

    @cached_property
    def _strips(self) -> dict[int, tuple[StripSegment, ...]]:
        return {}

    def flip_growths_mm(self, picture: int = 0) -> tuple[float | None, float | None]:
        """The growths, below and above the posterior's own, at which the code changes; None where it does not."""
        growth_mm = self.decoding().pictures[picture].growth_mm
        segments = self.strip(picture)
        for index, segment in enumerate(segments):
            if segment.growth_from_mm <= growth_mm <= segment.growth_to_mm:
                below = segment.growth_from_mm if index > 0 else None
                above = segment.growth_to_mm if index < len(segments) - 1 else None
                return below, above
        return None, None

    @property
    def growth_density(self) -> tuple[Floats, Floats]:
        """(growths in mm, posterior density in 1/mm) of the first picture, over all codes."""
        return self.growth_density_of(0)

    def growth_density_of(self, picture: int) -> tuple[Floats, Floats]:
        """(growths in mm, posterior density in 1/mm) of a picture by its own readings, over all codes."""
        points, cells = self.posteriors[picture].lattice.points, self._sums[picture].cells
        edges = np.linspace(GROWTH_LOW_MM, GROWTH_HIGH_MM, 211)
        width = float(edges[1] - edges[0])
        density, _ = np.histogram(points.growth_mm, bins=edges, weights=cells)
        kernel = np.exp(-0.5 * (np.arange(-4, 5) / 1.5) ** 2)
        smooth = np.convolve(density / width, kernel / kernel.sum(), mode="same")
        return (edges[:-1] + edges[1:]) / 2, smooth

    def log_evidence(self) -> float:
        """Logarithm of the likelihood of all readings under this table, codes and unknowns summed out."""
        if len(self.posteriors) == 1:
            return self.posteriors[0].log_evidence()
        fused = fuse([p.lattice for p in self.posteriors], self._sums, self._links)
        units = sum(p.lattice.log_unit for p in self.posteriors)
        return fused.log_mass + units - math.log(self._links.count(self._allowed))

    @cached_property
    def _by_themselves(self) -> tuple[PictureWays, ...]:
        """Each picture's posterior as if there were no other."""
        return tuple(self._posterior(readings, pictures=1) for readings in self.readings)

    @cached_property
    def _sums(self) -> list[Sums]:
        return [sums_of(p.lattice, self._links) for p in self.posteriors]

    def _posterior(self, readings: Readings, *, free: bool = False, pictures: int | None = None) -> PictureWays:
        ways = [
            PicturePosterior(
                way,
                self.spec,
                self._links,
                np.ones_like(self._allowed) if free else self._allowed,
                growth_prior=self._growth_prior,
                pictures=pictures or len(self.readings),
                step=self._step,
            )
            for way in readings.ways
        ]
        return PictureWays(ways, [way.log_weight for way in readings.ways])

    def _decoding(self, lattices: Sequence[Lattice], k: int, held: tuple[int, float] | None) -> Decoding:
        spec, labels = self.spec, self.spec.labels
        usual = held is None
        sums = self._sums if usual else [sums_of(lattice, self._links) for lattice in lattices]
        alone = len(lattices) == 1
        fused = alone_of(lattices[0], sums[0], self._links, k) if alone else fuse(lattices, sums, self._links)
        cautions = own_warnings(spec, self.readings)
        shares: list[PictureShare] = []
        of_pictures: list[list[Caution]] = []
        misread: list[float] = []
        anew = usual and 1 < len(lattices) <= FEW_PICTURES
        for index, (posterior, lattice, own) in enumerate(zip(self.posteriors, lattices, sums, strict=True)):
            cells = own.cells if alone else cells_given(fused, lattice)
            misread.append(float(cells @ lattice.points.misread))
            lead = posterior.leading(fused.codes[0], lattice)
            filled_mm = lead.posterior.likely_filling_mm(lead.points, lead.cells(cells), max(fused.codes[0]))
            rival = posterior.rival(lead, lattice, cells) if alone else None
            if anew and allows(fused.codes[0], self._by_themselves[index].lattice):
                posterior = self._by_themselves[index]
                lattice = posterior.lattice
                cells = cells_given(fused, lattice)
                lead = posterior.leading(fused.codes[0], lattice)
            cells = lead.cells(cells)
            if held is not None and held[0] == index:
                growth, log_steps = Measured(held[1], 0.0), lead.posterior.frame.held_log_steps
            else:
                growth, log_steps = lead.posterior.growth(lead.points, cells), lead.posterior.frame.log_steps
            scale = report_scale(lead.posterior.evidence, lead.points.log_scale, cells, float(log_steps.min()), growth)
            shares.append(PictureShare(scale, growth.value, growth.sigma))
            name = "" if alone else f"Picture {index + 1}: "
            of_pictures.append(cautions_of(lead.posterior, scale, misread[-1], filled_mm, name))
            if rival is not None:
                of_pictures[-1] += rival_way(fused.codes[0], *rival, spec)
        cautions += of_all_pictures(of_pictures)
        log_mass = fused.log_mass
        roots, seen = self._roots(fused, lattices, sums, misread, worn=usual)
        if not alone:
            conflicts = conflicts_of(fused, lattices)
            if max(map(len, conflicts)) >= CONFLICTS:
                singles = [self._single(posterior, k) for posterior in self._by_themselves]
                cautions.insert(0, contradiction([single.fused for single in singles], conflicts, spec))
                fused = side_by_side([single.fused for single in singles])
                roots = next(single.roots for single in singles if single.fused.codes[0] == fused.codes[0])
            else:
                cautions += conflict_cautions(conflicts)
                fused = with_spoilt_cuts(fused, seen, self._making, spec, self._links, self._allowed)
        cuts = self._cuts(fused, roots)
        codes = tuple(
            RankedCode(_labels(code, labels), mass / fused.mass)
            for code, mass in zip(fused.codes[:k], fused.masses, strict=False)
        )
        cautions += cautions_of_cuts(cuts)
        if usual and self.holds:
            cautions += self._holds_caution(log_mass)
        verdict, words = verdict_of(codes, cuts, spec, cautions)
        return Decoding(
            spec=spec,
            codes=codes,
            cuts=cuts,
            scale=shares[0].scale,
            growth_mm=shares[0].growth_mm,
            growth_sigma_mm=shares[0].growth_sigma_mm,
            verdict=verdict,
            verdict_words=words,
            warnings=tuple(dict.fromkeys(caution.sentence for caution in cautions)),
            pictures=tuple(shares),
            order_proven=fused.proven,
            doubts=tuple(dict.fromkeys(caution.short for caution in cautions if caution.serious)),
        )

    def _single(self, posterior: PictureWays, k: int) -> _Single:
        """One of several pictures by itself."""
        own = sums_of(posterior.lattice, self._links)
        fused = alone_of(posterior.lattice, own, self._links, k)
        lead = posterior.leading(fused.codes[0], posterior.lattice)
        roots = [
            measured_root(lead.posterior, j, lead.points, lead.cells(own.without[j]), depth)
            for j, depth in enumerate(fused.codes[0])
        ]
        return _Single(fused, roots)

    def _roots(
        self,
        fused: Fused,
        lattices: Sequence[Lattice],
        sums: Sequence[Sums],
        misread: Sequence[float],
        *,
        worn: bool,
    ) -> tuple[list[Measured], list[SeenHeight]]:
        """Each cut's measured root; of several pictures also its height as all of them see it.

        The key's common wear is the same in all its pictures, so it is told from growth once, for all together.
        """
        leads = [p.leading(fused.codes[0], lattice) for p, lattice in zip(self.posteriors, lattices, strict=True)]
        if len(lattices) == 1:
            (lead,), without = leads, sums[0].without
            best = [int(np.argmax(depths)) for depths in fused.depths]
            return [
                measured_root(lead.posterior, j, lead.points, lead.cells(without[j]), depth, worn=worn)
                for j, depth in enumerate(best)
            ], []
        wear_mm, wear_shares = np.zeros(1), np.ones(1)
        if worn:
            cells = leads[0].cells(cells_given(fused, lattices[0]))
            wear_mm, wear_shares = leads[0].posterior.wear(leads[0].points, cells)
        found, seen = [], []
        for j, depths in enumerate(fused.depths):
            roots = [
                measured_root(
                    lead.posterior,
                    j,
                    lead.points,
                    lead.cells(cells_without(fused.codes[0], lattice, j)),
                    int(np.argmax(depths)),
                    worn=False,
                    quick=True,
                )
                for lead, lattice in zip(leads, lattices, strict=True)
            ]
            shares = [lead.posterior.bad_share(j, own) for lead, own in zip(leads, misread, strict=True)]
            height = SeenHeight.of(roots, shares)
            seen.append(height)
            found.append(height.spread(wear_mm, wear_shares))
        return found, seen

    def _cuts(self, fused: Fused, roots: Sequence[Measured]) -> tuple[CutDecoding, ...]:
        """Each cut's own result."""
        spec = self.spec
        found = []
        for j, (depths, root) in enumerate(zip(fused.depths, roots, strict=True)):
            best = int(np.argmax(depths))
            root_mm, sigma_mm = root.value, root.sigma
            total_mm = math.hypot(sigma_mm, self._making.spread_mm)
            off_mm = np.abs(spec.roots_mm - root_mm)
            others = np.where(np.arange(len(off_mm)) == best, np.inf, off_mm)
            near = int(np.argmin(others))
            edge: Literal[1, 2] = 1 if j < spec.cuts_per_edge else 2
            found.append(
                CutDecoding(
                    edge=edge,
                    number=j % spec.cuts_per_edge + 1,
                    root_mm=root_mm,
                    sigma_mm=sigma_mm,
                    depth=spec.labels[best],
                    probability=float(depths[best]),
                    margin_mm=float(off_mm[near] - off_mm[best]) / 2,
                    depths={label: float(p) for label, p in zip(spec.labels, depths, strict=True)},
                    next_depth=spec.labels[near],
                    next_mm=float(off_mm[near]),
                    next_sigmas=float(off_mm[near]) / total_mm,
                    off_sigmas=float(off_mm[best]) / total_mm,
                )
            )
        return tuple(found)

    def _holds_caution(self, log_mass: float) -> list[Caution]:
        """A word where what is held has little probability by the readings alone."""
        free = [self._posterior(readings, free=True) for readings in self.readings]
        lattices = [p.lattice for p in free]
        sums = [sums_of(lattice, self._links) for lattice in lattices]
        free_log = math.log(sums[0].mass) if len(free) == 1 else fuse(lattices, sums, self._links).log_mass
        units = sum(p.lattice.log_unit for p in self.posteriors) - sum(lattice.log_unit for lattice in lattices)
        share = math.exp(min(log_mass + units - free_log, 0.0))
        if share >= UNLIKELY_HOLD:
            return []
        return [
            Caution(
                f"What is held or ruled out has a probability of only {share:.1g} by the readings; check it, or "
                f"the marks.",
                share < SERIOUS_HOLD,
                "what is held goes against the readings",
            )
        ]


@dataclass(frozen=True)
class _Single:
    """One of several pictures by itself."""

    fused: Fused
    roots: list[Measured]


def _labels(code: Sequence[int], labels: Sequence[str]) -> Code:
    return tuple(labels[depth] for depth in code)
