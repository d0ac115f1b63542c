"""A line inside the back: roots and blade height read too low together."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from keycore.decode import Decoder, decode
from keycore.decoding import Decoding
from keycore.measured import Measured, SizeReference
from keycore.prior import BACK_INSIDE_SHARE, ROUNDING_MM, back_inside, usual_growth
from tests.keycore.tables import MIRRORED, curve, readings_of, spec_of

CODE, ONE_DEEPER = "0131", "1242"
PX_PER_MM = 12.0


def read(roots_low_mm: float, height_low_mm: float) -> Decoding:
    """A photo beside a card, of a key whose roots and whose height read too low by so much."""
    spec = spec_of()
    plain = readings_of(spec, CODE, growth_mm=0.0, height=False, growth=Measured(0.0, 0.06))
    cuts = []
    for cut in plain.cuts:
        seen_px = cut.root_px - PX_PER_MM * roots_low_mm
        cuts.append(replace(cut, root_px=seen_px, evidence=curve([(1.0, seen_px)], 0.6, 0.0)))
    card = SizeReference("card", "both", 85.6 * PX_PER_MM, 1.5, 85.6)
    height = SizeReference("blade-height", "across", (8.3 - height_low_mm) * PX_PER_MM, 0.5, 8.3, 0.03, grows=True)
    return decode(replace(plain, cuts=tuple(cuts), references=(card, height), medium="photo-card"), spec)


def test_where_the_height_is_as_much_too_low_as_the_roots_the_back_was_a_line_inside_it() -> None:
    """All a depth deeper would need another blade; the code that the key has is the likelier one, and never sure."""
    decoding = read(0.4, 0.4)
    probability = {ranked.code: ranked.probability for ranked in decoding.codes}

    assert decoding.code == tuple(CODE)
    assert probability[tuple(CODE)] + probability[tuple(ONE_DEEPER)] > 0.99 > probability[tuple(CODE)]
    assert decoding.growth_mm < -0.2


def test_where_the_height_is_right_low_roots_are_deep_cuts() -> None:
    """Nothing is inside the back then: the code one depth deeper is as sure as the same one read as it is."""
    deep, plain = read(0.4, 0.0), read(0.0, 0.0)

    assert deep.code == tuple(ONE_DEEPER) and plain.code == tuple(CODE)
    assert min(deep.probability, plain.probability) > 0.99


def test_it_is_held_open_for_single_edges_that_a_program_read() -> None:
    """Not for a hand's figures, nor for pairs that are measured from floor to floor."""
    by_hand, pairs = spec_of(), spec_of(**MIRRORED)
    mirrored = readings_of(pairs, "0131")
    curves = tuple(replace(cut, evidence=curve([(1.0, cut.root_px)], 0.6, 0.0)) for cut in mirrored.cuts)

    for readings, spec in ((readings_of(by_hand, CODE), by_hand), (replace(mirrored, cuts=curves), pairs)):
        assert Decoder(readings, spec).posteriors[0].ways[0].growth_prior is usual_growth()


def test_its_amounts_are_alike_likely_and_the_whole_stays_a_density() -> None:
    """As often as is said, between the lowest growth and none, the corner rounded as the others are."""
    before = usual_growth()
    after = back_inside(before)
    step_mm = float(after.growths_mm[1] - after.growths_mm[0])
    added = after.density - (1 - BACK_INSIDE_SHARE) * before.density

    assert after.density.sum() * step_mm == pytest.approx(1.0)
    assert added.sum() * step_mm == pytest.approx(BACK_INSIDE_SHARE)
    assert np.ptp(added[after.growths_mm <= -6 * ROUNDING_MM]) < 1e-9
    assert np.abs(added[after.growths_mm >= 6 * ROUNDING_MM]).max() < 1e-9
    assert np.abs(np.diff(added)).max() < 0.03 * added.max()
