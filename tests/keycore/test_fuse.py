"""Several pictures of one key."""

from __future__ import annotations

import itertools
from dataclasses import replace

import numpy as np
import pytest
from scipy.special import ndtr

from keycore.chain import code_masses
from keycore.decode import Decoder, decode
from keycore.fuse import SeenHeight, fuse
from keycore.measured import Measured, SizeReference
from keycore.posterior import sums_of
from keycore.refusal import Refusal
from keycore.spread import ONE_SIGMA
from tests.keycore.tables import readings_of, spec_of


def _picture(code, seed, px_per_mm=12.0, growth_mm=0.2, sigma_px=1.0, growth=None):
    return readings_of(
        spec_of(),
        code,
        px_per_mm=px_per_mm,
        growth_mm=growth_mm,
        sigma_px=sigma_px,
        noise=np.random.default_rng(seed),
        growth=growth,
    )


def test_pictures_multiply():
    """Probabilities are those of the product of each picture's own, by enumeration."""
    spec = spec_of()
    decoder = Decoder([_picture("1323", 1, growth_mm=0.1), _picture("1323", 2, px_per_mm=20.0, growth_mm=0.4)], spec)
    codes = [
        code
        for code in itertools.product(range(5), repeat=4)
        if max(abs(a - b) for a, b in itertools.pairwise(code)) <= spec.max_adjacent_step
    ]
    product = np.ones(len(codes))
    for posterior in decoder.posteriors:
        masses = code_masses(codes, posterior.lattice.weights, posterior.lattice.factors)
        product *= masses / masses.sum()
    product /= product.sum()
    lattices = [posterior.lattice for posterior in decoder.posteriors]
    fused = fuse(lattices, [sums_of(lattice, decoder._links) for lattice in lattices], decoder._links)
    found = dict(zip(fused.codes, fused.masses, strict=True))

    assert fused.codes[:5] == tuple(codes[row] for row in np.argsort(-product)[:5])
    for row in np.argsort(-product)[:5]:
        assert found[codes[row]] / fused.mass == pytest.approx(product[row], abs=1e-5)
    for cut, depths in enumerate(fused.depths):
        shares = [product[[code[cut] == depth for code in codes]].sum() for depth in range(5)]
        assert depths == pytest.approx(shares, abs=1e-5)


def test_a_cut_may_be_spoilt_alike_in_all_pictures():
    """However many pictures agree, a cut keeps a share for being spoilt on the key itself: a small one where it
    fits."""
    spec = spec_of()
    readings = readings_of(spec, "1323", growth=Measured(0.2, 0.02))
    decoding = decode([readings] * 10, spec)

    assert decoding.code == ("1", "3", "2", "3") and 0.99 < decoding.probability < 0.9999
    assert sum(decoding.cuts[0].depths.values()) == pytest.approx(1)


def test_a_bad_reading_in_one_picture_does_not_make_the_cut_look_spoilt():
    """Two pictures agree on a cut and one read another edge: the code stays likely.

    A plain mean of the three would be 0.1 mm too high.
    """
    spec = spec_of()
    good = [_picture("1323", seed, sigma_px=0.4, growth=Measured(0.2, 0.03)) for seed in (1, 2)]
    third = _picture("1323", 3, sigma_px=0.4, growth=Measured(0.2, 0.03))
    moved = replace(third.cuts[1], root_px=third.cuts[1].root_px + 0.3 * 12.0)
    bad = replace(third, cuts=(third.cuts[0], moved, *third.cuts[2:]))
    decoding = decode([*good, bad], spec)

    assert decoding.code == ("1", "3", "2", "3") and decoding.probability > 0.97
    assert decoding.cuts[1].root_mm == pytest.approx(decode(good, spec).cuts[1].root_mm, abs=0.06)


def test_more_pictures_are_surer_and_each_keeps_its_own_scale_and_growth():
    """Two pictures of different enlargement and growth."""
    growth = Measured(0.1, 0.08), Measured(0.4, 0.08)
    one = _picture("1323", 1, growth_mm=0.1, growth=growth[0])
    two = _picture("1323", 2, px_per_mm=20.0, growth_mm=0.4, growth=growth[1], sigma_px=1.5)
    alone, both = decode(one, spec_of()), decode([one, two], spec_of())

    assert both.code == ("1", "3", "2", "3") and both.probability > alone.probability
    assert [p.scale.px_per_mm_across.value for p in both.pictures] == pytest.approx([12, 20], rel=0.02)
    assert [p.growth_mm for p in both.pictures] == pytest.approx([0.1, 0.4], abs=0.12)


def test_the_same_picture_again_does_not_multiply_its_making_errors():
    """Ten pictures of a cut made badly say the same wrong thing; the making error is not averaged away."""
    spec = spec_of()
    readings = readings_of(spec, "1323", growth=Measured(0.2, 0.02))
    cuts = list(readings.cuts)
    cuts[1] = replace(cuts[1], root_px=cuts[1].root_px - 12 * 0.17)
    readings = replace(readings, cuts=tuple(cuts))
    one, many = decode(readings, spec), decode([readings] * 10, spec)

    assert many.cuts[1].depth == one.cuts[1].depth == "3"
    assert many.probability < 0.99 and many.verdict != "sure"


def test_contradicting_pictures_say_so_and_show_each_ones_code():
    """Two sure pictures of different keys: nothing is averaged, the verdict is unsure."""
    growth = Measured(0.2, 0.03)
    one = readings_of(spec_of(), "1323", growth=growth)
    two = readings_of(spec_of(), "0321", growth=growth, px_per_mm=20.0)
    decoding = decode([one, two], spec_of())

    assert decoding.verdict_words == "unsure: the pictures contradict each other"
    assert {r.code for r in decoding.codes[:2]} == {("1", "3", "2", "3"), ("0", "3", "2", "1")}
    assert decoding.codes[0].probability < 0.6
    assert "1-3-2-3" in decoding.warnings[0] and "0-3-2-1" in decoding.warnings[0]


def test_pictures_with_different_numbers_of_cuts_are_refused():
    """They cannot be of one key."""
    spec = spec_of(cut_counts=[3, 4])
    with pytest.raises(Refusal, match=r"different numbers of cuts \(3, 4\)"):
        decode([readings_of(spec, "132"), readings_of(spec, "1323")], spec)


def test_the_slider_of_one_picture_leaves_the_others_free():
    """Growth of the second picture is held; the first keeps its own."""
    decoder = Decoder([_picture("1323", 1), _picture("1323", 2)], spec_of())
    held = decoder.at_growth(0.3, picture=1)

    assert held.pictures[1].growth_sigma_mm == 0 and held.pictures[0].growth_sigma_mm > 0
    assert decoder.strip(picture=1)[0].code


def test_one_picture_with_a_false_reference_does_not_unsettle_the_others():
    """Its disagreement is said, and the verdict is not held back by it as long as another picture's references
    agree."""
    spec = spec_of()
    good = readings_of(spec, "1323", growth=Measured(0.2, 0.02), sigma_px=0.2)
    card = SizeReference("card", "both", 12.6 * 85.6, 1.0, 85.6, 0.05)
    odd = replace(good, references=(*good.references, card))

    assert decode(odd, spec).verdict_words == "unsure: scales disagree by 5 %"
    both = decode([good, odd], spec)
    assert both.verdict == "sure" and any(w.startswith("Picture 2: ") and "disagree" in w for w in both.warnings)


def test_one_sigma_of_a_root_holds_as_much_as_it_says_where_a_few_keys_are_much_worn():
    """A normal height less a wear that is none in two keys of three and 0.06 mm in the third: the exact interval."""
    seen = SeenHeight.of([Measured(6.0, 0.015), Measured(6.0, 0.015)], [0.0, 0.0])
    found = seen.spread(np.array([0.0, 0.06]), np.array([2 / 3, 1 / 3]))
    sigma_mm = 0.015 / np.sqrt(2)

    def below(place_mm):
        return np.array([2 / 3, 1 / 3]) @ ndtr((place_mm - np.array([6.0, 5.94])) / sigma_mm)

    assert below(found.value) == pytest.approx(0.5, abs=0.01)
    assert below(found.value + found.sigma) - below(found.value - found.sigma) == pytest.approx(ONE_SIGMA, abs=0.01)
