"""Which tables could have made these readings: all of a library, ranked by evidence, with an honest "none of these".

Evidence of a table is the likelihood of the readings with everything else summed out: code (all codes alike), scale,
growth, and where the cuts stand.  Tables are compared on the same measurements, so the blade's height and length are
taken from each table itself, and the places of the cuts count as measurements too, not only as a scale.

The measure of "none of these" is a table that says nothing: every root height alike likely over 4 mm of blade, every
cut anywhere on 30 mm of it, blade heights and lengths alike likely over a factor of e^0.5.  A table that fits beats
it, because it says where roots and cuts must be; one that does not fit loses to it.  By itself "none" is believed as
much as all tables together, since most of the world's tables are in nobody's library.

A program that reads a picture with a table's help looks for cuts where that table has them, so each table has readings
of its own (:func:`identify_by_own_readings`).  The places it finds speak for it whatever the key is; they are left out,
and the root heights, the blade and the file's claims alone are compared, each table's with nothing on its own readings.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from scipy.special import logsumexp

from keycore.decode import Decoder
from keycore.decoding import Decoding
from keycore.measured import Readings, SizeReference
from keycore.refusal import Refusal
from keycore.scale import spacing_of
from keycore.spec import KeySpec

NONE_PRIOR = 0.5
ROOT_RANGE_MM = 4.0
PLACE_RANGE_MM = 30.0
OFFSET_RANGE_MM = 2.0
BLADE_LOG_RANGE = 0.5
SCALE_LOG_RANGE = 1.4
BAD_PLACE = 0.02
FITS = 0.99


@dataclass(frozen=True)
class Candidate:
    """One table that was compared."""

    spec: KeySpec
    """For the readings' count of cuts."""
    probability: float
    log_evidence: float
    """Natural logarithm of how many times likelier the readings are under this table than under none."""
    decoder: Decoder

    @property
    def decoding(self) -> Decoding:
        """What the readings say under this table."""
        return self.decoder.decoding()

    @property
    def doubt(self) -> str:
        """What speaks against this table, in a few words; empty where nothing does."""
        if self.log_evidence <= 0:
            return "its depths explain the roots no better than chance"
        return self.decoding.doubts[0] if self.decoding.doubts else ""


@dataclass(frozen=True)
class Identification:
    """All tables by probability, the probability of none, and a sentence."""

    candidates: tuple[Candidate, ...]
    none_probability: float
    words: str
    left_out: tuple[tuple[str, str], ...]
    """(table, why) for tables that were not compared: their keys have another number of cuts, say."""


def identify(readings: Readings | Sequence[Readings], specs: Sequence[KeySpec]) -> Identification:
    """Rank tables by how well they explain the readings of one key."""
    pictures = (readings,) if isinstance(readings, Readings) else tuple(readings)
    compared: list[tuple[KeySpec, float, Decoder]] = []
    left_out: list[tuple[str, str]] = []
    for spec in specs:
        try:
            found = _compare(pictures, spec)
        except Refusal as refusal:
            left_out.append((spec.name, refusal.sentence))
            continue
        compared.append(found)
    return _weighed(compared, left_out)


def identify_by_own_readings(
    read: Sequence[tuple[KeySpec, Readings]], unread: Sequence[tuple[str, str]] = ()
) -> Identification:
    """Rank tables of which each has read the picture in its own way.

    Parameters
    ----------
    read
        Each table with its own readings.
    unread
        (table, why) for tables that could not read it.
    """
    compared: list[tuple[KeySpec, float, Decoder]] = []
    left_out = list(unread)
    for spec, readings in read:
        try:
            own, log_evidence, _ = _compare([readings.without_places()], spec)
            compared.append((own, log_evidence, Decoder(readings, spec)))
        except Refusal as refusal:
            left_out.append((spec.name, refusal.sentence))
    if not compared:
        return Identification((), 1.0, "No table could read this picture.", tuple(left_out))
    return _weighed(compared, left_out)


def _weighed(compared: Sequence[tuple[KeySpec, float, Decoder]], left_out: Sequence[tuple[str, str]]) -> Identification:
    """The compared tables by probability, against none of them."""
    if not compared:
        return Identification((), 1.0, "No table has keys with this number of cuts.", tuple(left_out))
    log_odds = np.array([log for _, log, _ in compared]) + math.log((1 - NONE_PRIOR) / len(compared))
    everything = float(logsumexp(np.append(log_odds, math.log(NONE_PRIOR))))
    shares = np.exp(log_odds - everything)
    order = np.argsort(-log_odds)
    candidates = tuple(
        Candidate(compared[i][0], float(shares[i]), compared[i][1], compared[i][2]) for i in map(int, order)
    )
    none = math.exp(math.log(NONE_PRIOR) - everything)
    return Identification(candidates, none, _words(candidates, none), tuple(left_out))


def readings_under(readings: Readings, spec: KeySpec) -> Readings:
    """The same measurements with the blade's own height and length taken from this table."""
    own = {"blade-height": spec.blade.height_mm, "blade-length": spec.blade.length_mm}

    def of_table(way: Readings) -> Readings:
        references: list[SizeReference] = []
        for reference in way.references:
            if reference.kind not in own:
                references.append(reference)
            elif (true_mm := own[reference.kind]) is not None:
                references.append(replace(reference, true_mm=true_mm))
        return replace(way, references=tuple(references))

    return readings.in_every_way(of_table)


def _compare(pictures: Sequence[Readings], spec: KeySpec) -> tuple[KeySpec, float, Decoder]:
    under = [readings_under(readings, spec) for readings in pictures]
    decoder = Decoder(under, spec)
    log_evidence = decoder.log_evidence()
    for readings, posterior in zip(under, decoder.posteriors, strict=True):
        px_per_mm = math.exp(float(np.median(posterior.lattice.points.log_scale)))
        log_evidence += _log_places(readings, decoder.spec) - _log_nothing(readings, px_per_mm)
    return decoder.spec, log_evidence, decoder


def _log_places(readings: Readings, spec: KeySpec) -> float:
    """What the places of the cuts add to the scale that is taken from them: how well they lie on the table's line.

    The likelihood of all places, as a function of the slope, is that of the scale (a density in ln scale, which
    decoding has used already) times this factor: the residuals' density, and what was summed out over the gauge
    point.
    """
    spacing = spacing_of(readings, spec)
    if spacing is None:
        return 0.0
    slope = spacing.reference.px_per_mm
    table_mm = np.tile(np.array(spec.cut_positions_mm), spec.edge_count)
    wide_px = PLACE_RANGE_MM * slope
    log_density, weight = 0.0, 0.0
    for cut, at_mm in zip(readings.cuts, table_mm, strict=True):
        if cut.position_px is None:
            continue
        made_px = slope * math.hypot(spec.tolerance.position_mm / 2, 0.01)
        sigma_px = math.hypot(cut.position_sigma_px or 0.0, made_px)
        off = (cut.position_px - slope * (at_mm + spacing.offset_mm.value)) / sigma_px
        sound = math.exp(-0.5 * off**2) / (sigma_px * math.sqrt(2 * math.pi))
        log_density += math.log((1 - BAD_PLACE) * sound + BAD_PLACE / wide_px)
        weight += 1 / sigma_px**2
    start = math.sqrt(2 * math.pi / weight) / (OFFSET_RANGE_MM * slope)
    slope_part = math.sqrt(2 * math.pi) * spacing.reference.sigma_rel
    far = max(abs(spacing.offset_mm.value) - OFFSET_RANGE_MM / 2, 0.0)
    return log_density + math.log(start) + math.log(slope_part) - 0.5 * (far / 0.5) ** 2


def _log_nothing(readings: Readings, px_per_mm: float) -> float:
    """Logarithm of the readings' likelihood under a table that says nothing, at about this scale."""
    places = sum(cut.position_px is not None for cut in readings.cuts)
    used = [reference for reference in readings.references if reference.used]
    blade = sum(reference.kind in {"blade-height", "blade-length"} for reference in used)
    log_density = -len(readings.cuts) * math.log(ROOT_RANGE_MM * px_per_mm)
    log_density -= places * math.log(PLACE_RANGE_MM * px_per_mm)
    if len(used) > blade:
        return log_density - blade * math.log(BLADE_LOG_RANGE)
    # Without a reference of its own the first length of the blade is what fixes the scale, whatever the table.
    return log_density - (blade - 1) * math.log(BLADE_LOG_RANGE) if blade else log_density + math.log(SCALE_LOG_RANGE)


def _words(candidates: Sequence[Candidate], none: float) -> str:
    best = candidates[0]
    if none > 0.5:
        nearest = f"{best.spec.name} ({best.probability:.2f})"
        but = best.doubt or "that is not enough against all the tables that are not here"
        return f"None of these tables fits (probability {none:.2f}); the nearest is {nearest}, but {but}."
    if best.probability >= FITS:
        return f"{best.spec.name} fits (probability {best.probability:.3f})."
    rivals = [(c.spec.name, c.probability) for c in candidates[1:3] if c.probability > 0.01]
    others = ", ".join(f"{name} ({share:.2f})" for name, share in [*rivals, ("none of these", none)])
    return f"Likeliest is {best.spec.name} ({best.probability:.2f}); otherwise {others}."
