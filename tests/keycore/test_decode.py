"""Decoding: exact against enumeration, fine enough, honest about bad readings, and right about holds and counts."""

from __future__ import annotations

import itertools
import math
from dataclasses import replace

import numpy as np
import pytest

from keycore.chain import code_masses
from keycore.decode import Decoder, Holds, decode
from keycore.emission import _of_evidence
from keycore.measured import CutReading, Measured, Readings
from keycore.posterior import sums_of
from keycore.refusal import Refusal
from tests.keycore.tables import INDEPENDENT, MIRRORED, curve, readings_of, spec_of


def _all_codes(spec, cuts):
    per_edge = cuts // spec.edge_count
    for code in itertools.product(range(len(spec.depths)), repeat=cuts):
        steps = [abs(a - b) for i, (a, b) in enumerate(zip(code, code[1:], strict=False), 1) if i % per_edge]
        if all(step <= spec.max_adjacent_step for step in steps):
            yield code


@pytest.mark.parametrize(
    ("changes", "code"), [({}, "0213"), (MIRRORED, "0213"), (INDEPENDENT, "1320"), ({"cut_counts": [3, 4]}, "021")]
)
def test_codes_and_depths_agree_with_enumeration_of_every_code(changes, code):
    """Probabilities of codes and of every depth of every cut, to 1e-9 on the same lattice."""
    spec = spec_of(**changes)
    readings = readings_of(spec, code, sigma_px=1.5, noise=np.random.default_rng(7))
    decoder = Decoder(readings, spec)
    decoding = decoder.decoding(40)
    lattice = decoder.posteriors[0].lattice
    codes = list(_all_codes(spec, len(code)))
    masses = np.array([(lattice.weights * _product(lattice.factors, c)).sum() for c in codes])
    masses /= masses.sum()
    order = np.argsort(-masses)[:40]

    assert [r.code for r in decoding.codes] == [tuple(spec.labels[d] for d in codes[row]) for row in order]
    assert [r.probability for r in decoding.codes] == pytest.approx(masses[order], abs=1e-9)
    for cut, own in enumerate(decoding.cuts):
        for depth, label in enumerate(spec.labels):
            truth = sum(m for m, c in zip(masses, codes, strict=True) if c[cut] == depth)
            assert own.depths[label] == pytest.approx(truth, abs=1e-9)


def _product(factors, code):
    return np.prod([factor[:, depth] for factor, depth in zip(factors, code, strict=True)], axis=0)


@pytest.mark.parametrize(
    ("changes", "code", "growth", "curves"),
    [
        ({}, "0213", None, False),
        ({}, "0213", None, True),
        ({"gauge_from": "tip", "cut_positions": [17.0, 13.0, 9.0, 5.0]}, "1402", Measured(0.25, 0.05), False),
        (MIRRORED, "0213", None, False),
        (INDEPENDENT, "1320", Measured(0.1, 0.08), False),
    ],
)
def test_halving_every_step_changes_no_probability_by_more_than_a_thousandth(changes, code, growth, curves):
    """The lattice is fine enough: codes, depths, growth."""
    spec = spec_of(**changes)
    if spec.gauge_from == "tip":
        code = code.replace("4", "3")
    readings = readings_of(spec, code, sigma_px=1.2, noise=np.random.default_rng(3), growth=growth, medium="photocopy")
    if curves:
        cuts = [replace(c, evidence=curve([(0.6, c.root_px), (0.4, c.root_px + 5)], 1.2)) for c in readings.cuts]
        readings = replace(readings, cuts=tuple(cuts))
    usual, finer = Decoder(readings, spec), Decoder(readings, spec, step=0.6)
    one, two = usual.decoding(20), finer.decoding(20)
    fine = {r.code: r.probability for r in two.codes}

    assert [r.probability for r in one.codes[:10]] == pytest.approx([fine[r.code] for r in one.codes[:10]], abs=1e-3)
    for a, b in zip(one.cuts, two.cuts, strict=True):
        assert list(a.depths.values()) == pytest.approx(list(b.depths.values()), abs=1e-3)
    assert one.growth_mm == pytest.approx(two.growth_mm, abs=0.05 * two.growth_sigma_mm)


def test_the_lattice_agrees_with_a_plain_sum_over_a_dense_grid():
    """The same model written out plainly, cut by cut, on 260 by 420 points: the code's probability to 1e-3."""
    spec = spec_of()
    readings = readings_of(spec, "0213", sigma_px=2.0, places=False, noise=np.random.default_rng(2), medium="calipers")
    decoder = Decoder(readings, spec)
    posterior = decoder.posteriors[0].ways[0]
    log_scale, growth = np.meshgrid(np.linspace(math.log(9), math.log(16), 260), np.linspace(-0.45, 1.55, 420))
    log_scale, growth = log_scale.ravel(), growth.ravel()
    weights = posterior._shift_density(growth) * np.exp(posterior.evidence.heights[0].log_likelihood(log_scale, growth))
    factors = [c.at(np.exp(log_scale), growth, np.zeros_like(growth), spec.roots_mm) for c in posterior.cuts]
    codes = list(_all_codes(spec, 4))
    masses = np.array([(weights * _product(factors, c)).sum() for c in codes])
    masses /= masses.sum()

    for row in np.argsort(-masses)[:6]:
        label = tuple(spec.labels[d] for d in codes[row])
        found = {r.code: r.probability for r in decoder.decoding(30).codes}
        assert found[label] == pytest.approx(masses[row], abs=1e-3)


def test_clean_readings_of_every_kind_are_read_right():
    """All five kinds of key, and a growth of nearly a depth that nearest-depth would misread."""
    tip = {"gauge_from": "tip", "cut_positions": [17.0, 13.0, 9.0, 5.0]}
    uneven = {"cut_positions": [5.0, 8.0, 12.5, 17.0], "max_adjacent_step": 3, "cut_form": ...}
    kinds = [
        ({}, "0213"),
        (tip, "3102"),
        (MIRRORED, "2013"),
        (INDEPENDENT, "0231"),
        ({"cut_counts": [3, 4]}, "201"),
        (uneven, "2031"),
    ]
    for changes, code in kinds:
        spec = spec_of(**changes)
        growth_mm = 0.15 if spec.edge_count == 2 else 0.33
        decoding = decode(readings_of(spec, code, growth_mm=growth_mm, growth=Measured(growth_mm, 0.06)), spec)

        assert "".join(decoding.code) == code and decoding.probability > 0.9
        assert decoding.growth_mm == pytest.approx(growth_mm, abs=0.08)
        assert sum(decoding.cuts[0].depths.values()) == pytest.approx(1)
        assert [cut.edge for cut in decoding.cuts] == [c.edge for c in readings_of(spec, code).cuts]


def test_one_bad_reading_does_not_drag_the_others():
    """A cut measured 0.6 mm off: the other cuts keep their depths, and the bad one is not called certain."""
    spec = spec_of(cut_positions=[5, 8, 11, 14, 17, 20], blade={"height": 8.3, "length": 25}, cut_form=...)
    readings = readings_of(spec, "021322", growth=Measured(0.2, 0.05))
    cuts = list(readings.cuts)
    cuts[2] = replace(cuts[2], root_px=cuts[2].root_px + 12 * 0.6)
    decoding = decode(replace(readings, cuts=tuple(cuts)), spec)

    assert "".join(c.depth for i, c in enumerate(decoding.cuts) if i != 2) == "02322"
    assert all(c.probability > 0.97 for i, c in enumerate(decoding.cuts) if i != 2)
    assert decoding.cuts[2].probability < 0.9 and decoding.verdict != "sure"


def test_a_held_depth_is_evidence_for_all_cuts():
    """Two codes a depth apart: holding one cut settles the others."""
    spec = spec_of()
    readings = readings_of(spec, "1324", growth_mm=0.1, places=False, medium="calipers")
    free = decode(readings, spec)
    held = decode(readings, spec, Holds({0: "1"}))
    ruled_out = decode(readings, spec, Holds(ruled_out=frozenset({(0, "0")})))

    assert held.cuts[0].depths["1"] == pytest.approx(1) and held.probability > free.probability
    assert ruled_out.cuts[0].depths["0"] == 0
    assert "".join(held.code) == "1324"


def test_a_hold_is_conditioning():
    """Probabilities under a hold are those without it, taken together with the hold, on the whole model."""
    spec = spec_of()
    readings = readings_of(spec, "1324", sigma_px=3.0, growth_mm=0.1, medium="calipers", noise=np.random.default_rng(1))
    free = {r.code: r.probability for r in decode(readings, spec, k=400).codes}
    held = decode(readings, spec, Holds(ruled_out=frozenset({(1, "3")})), k=10)
    left = sum(p for code, p in free.items() if code[1] != "3")

    for ranked in held.codes[:5]:
        assert ranked.probability == pytest.approx(free[ranked.code] / left, abs=2e-3)


@pytest.mark.parametrize(
    ("holds", "words"),
    [
        (Holds({7: "1"}), "Cut 8 is held, and the key has 4 cuts"),
        (Holds({0: "9"}), "depth '9' is not in table"),
        (Holds({0: "0", 1: "4"}), "leaves no code that Test 4 allows"),
        (Holds(ruled_out=frozenset((1, str(d)) for d in range(5))), "Cut 2: every depth is ruled out"),
        (Holds({1: "2"}, frozenset({(1, "2")})), "Cut 2: every depth is ruled out"),
    ],
)
def test_holds_that_leave_nothing_are_refused(holds, words):
    """One sentence that names the cut."""
    with pytest.raises(Refusal, match=words):
        Decoder(readings_of(spec_of(), "0213"), spec_of(), holds=holds)


def test_a_hold_against_the_readings_is_said():
    """A person may hold anything; the program says when the picture is of another opinion."""
    spec = spec_of()
    decoding = decode(readings_of(spec, "0213", growth=Measured(0.2, 0.05)), spec, Holds({1: "4", 0: "1"}))

    assert decoding.code[:2] == ("1", "4") and decoding.verdict == "unsure"
    assert any("What is held or ruled out has a probability" in w for w in decoding.warnings)


def test_holds_are_values():
    """Equal holds are equal and hash alike; what went in cannot be changed from outside."""
    held = {0: "1"}
    holds = Holds(held)
    held[1] = "2"

    assert holds == Holds({0: "1"}) and hash(holds) == hash(Holds({0: "1"})) and not Holds()


@pytest.mark.parametrize("count", [3, 5])
def test_a_wrong_number_of_cuts_is_refused(count):
    """The sentence says how many the table has."""
    spec = spec_of()
    readings = readings_of(spec, "0213")
    cuts = (readings.cuts * 2)[:count]

    with pytest.raises(Refusal, match=f"4 cuts and {count} were measured"):
        decode(replace(readings, cuts=cuts), spec)


def test_the_number_of_readings_chooses_the_count():
    """A table of 3 or 4 cuts: three readings are a key of three cuts."""
    spec = spec_of(cut_counts=[3, 4])

    assert decode(readings_of(spec, "021"), spec).spec.cuts_per_edge == 3
    assert decode(readings_of(spec, "0213"), spec).spec.cuts_per_edge == 4


@pytest.mark.parametrize("bad", [float("nan"), -1.0, 0.0])
def test_impossible_readings_are_refused(bad):
    """A root that is no length, and an uncertainty that is none."""
    readings = readings_of(spec_of(), "0213")
    for name in ("root_px", "sigma_px"):
        cuts = (replace(readings.cuts[0], **{name: bad}), *readings.cuts[1:])
        with pytest.raises(Refusal, match="Cut 1: a root height must be a positive number"):
            decode(replace(readings, cuts=cuts), spec_of())


def test_a_curve_of_one_normal_peak_is_the_value_with_its_sigma():
    """Evidence and value agree but for how often each may be plainly wrong."""
    spec = spec_of()
    plain = readings_of(spec, "0213", sigma_px=1.5, noise=np.random.default_rng(5))
    curves = replace(plain, cuts=tuple(replace(c, evidence=curve([(1.0, c.root_px)], 1.5, 0.0)) for c in plain.cuts))
    for growths in (1, 6):
        grown = tuple(replace(c, evidence=curve([(1.0, c.root_px)], 1.5, 0.0, growths)) for c in plain.cuts)
        assert decode(replace(plain, cuts=grown), spec).probability == pytest.approx(
            decode(curves, spec).probability, abs=1e-6
        )
    one, two = decode(plain, spec), decode(curves, spec)

    assert one.code == two.code
    assert two.growth_mm == pytest.approx(one.growth_mm, abs=0.01)
    assert [c.root_mm for c in two.cuts] == pytest.approx([c.root_mm for c in one.cuts], abs=0.01)
    assert [c.sigma_mm for c in two.cuts] == pytest.approx([c.sigma_mm for c in one.cuts], rel=0.15)


def test_two_peaks_in_one_cut_leave_two_depths_or_are_settled_by_the_others():
    """Peaks a depth apart are both kept with their shares; a peak between depths is given up."""
    spec = spec_of()
    readings = readings_of(spec, "0213", growth=Measured(0.2, 0.03))
    good, depth_px = readings.cuts[1].root_px, 0.4 * 12
    for off, doubt in ((depth_px, True), (0.5 * depth_px, False)):
        cuts = list(readings.cuts)
        cuts[1] = replace(cuts[1], evidence=curve([(0.5, good), (0.5, good + off)], 0.4))
        decoding = decode(replace(readings, cuts=tuple(cuts)), spec)
        probability = decoding.cuts[1].depths["2"]

        assert (0.4 < probability < 0.6) if doubt else probability > 0.95
    assert decoding.cuts[1].root_mm == pytest.approx(7.2, abs=0.05)


def test_a_picture_whose_cuts_fit_no_code_together_is_said_to_be_misread():
    """Cuts on other edges: never sure, and the words say what to do; a picture that fits says nothing.  On a copy,
    whose shadows may be uneven, such cuts are not sure either.
    """
    spec = spec_of(cut_positions=[5.0, 8.0, 11.0, 14.0, 17.0, 20.0], blade={"height": 8.3, "length": 26.0})
    plain = readings_of(spec, "021342", growth=Measured(0.2, 0.02))

    def read(*off_mm, medium="scan"):
        cuts = []
        for cut, off in zip(plain.cuts, off_mm, strict=True):
            seen_px = cut.root_px + off * 12
            cuts.append(replace(cut, root_px=seen_px, evidence=curve([(1.0, seen_px)], 0.35, 0.0)))
        return decode(replace(plain, cuts=tuple(cuts), medium=medium), spec)

    good, bad = read(0, 0, 0, 0, 0, 0), read(0, 0.2, 0.12, -0.12, 0.06, 0.22)

    assert good.code == tuple("021342") and not good.doubts
    assert bad.verdict == "unsure" and "another edge" in " ".join(bad.warnings)
    assert bad.probability < 0.9
    assert bad.cuts[0].sigma_mm > 1.5 * good.cuts[0].sigma_mm
    for off_mm in ((0, 0.2, 0.12, -0.12, 0.06, 0.22), (0, 0.2, -0.2, 0.2, -0.2, 0.2), (0, 0.3, 0.17, -0.3, 0.1, 0.35)):
        assert read(*off_mm, medium="photocopy").verdict != "sure"


def test_what_is_kept_of_curves_for_the_next_decoding_changes_none():
    """A cut moved among others that stay: the same to the last bit as when nothing was decoded before."""
    spec = spec_of()
    readings = readings_of(spec, "0213", growth=Measured(0.2, 0.03))
    curved = tuple(replace(cut, evidence=curve([(1.0, cut.root_px)], 0.4)) for cut in readings.cuts)
    before = replace(readings, cuts=curved)
    by_hand = replace(curved[2], evidence=None, root_px=curved[2].root_px + 2.0)
    after = replace(readings, cuts=(*curved[:2], by_hand, *curved[3:]))

    _of_evidence.cache_clear()
    fresh = decode(after, spec)
    _of_evidence.cache_clear()
    first = decode(before, spec)
    kept = decode(after, spec)

    assert _of_evidence.cache_info().hits >= 3
    assert kept.codes == fresh.codes and kept.cuts == fresh.cuts and kept.cuts != first.cuts
    shifted = replace(curved[1], evidence=curve([(1.0, curved[1].root_px + 1.0)], 0.4))
    assert decode(replace(readings, cuts=(curved[0], shifted, *curved[2:])), spec).cuts != first.cuts


def test_heights_counted_from_another_line_find_their_curves_again():
    """All curves and the blade's height a little higher, as when a hand lays the back anew: nothing is made anew."""
    spec = spec_of()
    readings = readings_of(spec, "0213")
    curved = tuple(replace(cut, evidence=curve([(1.0, cut.root_px)], 0.4)) for cut in readings.cuts)
    higher = tuple(
        replace(cut, evidence=replace(cut.evidence, heights_px=cut.evidence.heights_px + 0.7)) for cut in curved
    )
    moved = replace(
        readings,
        cuts=higher,
        references=tuple(replace(one, seen_px=one.seen_px + 0.05) for one in readings.references),
    )
    _of_evidence.cache_clear()
    fresh = decode(moved, spec)
    _of_evidence.cache_clear()
    first = decode(replace(readings, cuts=curved), spec)
    made = _of_evidence.cache_info().misses

    assert decode(moved, spec).codes == fresh.codes
    assert fresh.growth_mm > first.growth_mm
    assert _of_evidence.cache_info().misses == made


def test_evidence_that_depends_on_growth_is_used_at_each_growth():
    """A cut whose curve only allows a growth of about 0.6 mm moves growth there."""
    spec = spec_of()
    readings = readings_of(spec, "1324", growth_mm=0.2, places=False)
    whole = curve([(1.0, readings.cuts[0].root_px)], 0.6, 1e-9, growths=15)
    pull = -0.5 * ((whole.growths_mm - 0.6) / 0.05) ** 2
    tied = replace(whole, log_likelihood=whole.log_likelihood + pull[:, None])
    cuts = (replace(readings.cuts[0], evidence=tied), *readings.cuts[1:])
    decoding = decode(replace(readings, cuts=cuts, references=()), spec)

    assert decoding.growth_mm == pytest.approx(0.6, abs=0.06)


def test_damaged_evidence_is_refused():
    """Uneven heights and a likelihood that is not a number."""
    readings = readings_of(spec_of(), "0213")
    whole = curve([(1.0, readings.cuts[0].root_px)], 1.0)
    uneven = replace(whole, heights_px=whole.heights_px**1.01)
    spoiled = replace(
        whole, log_likelihood=np.where(whole.heights_px > whole.heights_px[300], np.nan, whole.log_likelihood)
    )
    for bad in (uneven, spoiled):
        with pytest.raises(Refusal, match="Cut 1: its evidence"):
            decode(replace(readings, cuts=(replace(readings.cuts[0], evidence=bad), *readings.cuts[1:])), spec_of())


def test_the_measured_root_knows_nothing_of_its_own_depth():
    """A cut 0.15 mm off its depth is shown 0.15 mm off, not drawn towards the table."""
    spec = spec_of(cut_positions=[5, 8, 11, 14, 17, 20], blade={"height": 8.3, "length": 25}, cut_form=...)
    readings = readings_of(spec, "021322", growth=Measured(0.2, 0.02))
    cuts = list(readings.cuts)
    cuts[2] = replace(cuts[2], root_px=cuts[2].root_px - 12 * 0.15)
    cut = decode(replace(readings, cuts=tuple(cuts)), spec).cuts[2]

    assert cut.root_mm - spec.root_of("1") == pytest.approx(-0.15, abs=0.03)
    assert cut.next_depth == "2" and cut.next_mm == pytest.approx(0.25, abs=0.03)
    assert cut.margin_mm == pytest.approx((0.25 - 0.15) / 2, abs=0.03)
    assert cut.next_sigmas == pytest.approx(cut.next_mm / math.hypot(cut.sigma_mm, 0.0224, 3**-0.5 * 0.03), rel=1e-3)


def test_readings_without_any_reference_are_never_sure():
    """The cuts' own pattern is all there is, and the verdict says so."""
    spec = spec_of()
    decoding = decode(readings_of(spec, "0213", places=False, height=False, growth=Measured(0.2, 0.02)), spec)

    assert decoding.verdict_words == "unsure: no size reference"


def test_a_cut_counted_from_the_wrong_place_is_said():
    """All centres a whole spacing off: a cut is missing or the shoulder is wrong."""
    spec = spec_of()
    readings = readings_of(spec, "0213")
    cuts = tuple(replace(c, position_px=c.position_px + 12 * 4.0) for c in readings.cuts)
    decoding = decode(replace(readings, cuts=cuts), spec)

    assert decoding.verdict == "unsure" and "4.0 mm from where" in decoding.verdict_words


def test_check_names_the_doubtful_cut_with_both_depths():
    """One cut half way between two depths."""
    spec = spec_of(cut_positions=[5, 8, 11, 14, 17, 20], blade={"height": 8.3, "length": 25}, cut_form=...)
    readings = readings_of(spec, "021322", growth=Measured(0.2, 0.02), sigma_px=0.2)
    cuts = [replace(c, evidence=curve([(1.0, c.root_px)], 0.2)) for c in readings.cuts]
    cuts[2] = replace(cuts[2], evidence=curve([(0.5, cuts[2].root_px), (0.5, cuts[2].root_px - 4.8)], 0.2))
    decoding = decode(replace(readings, cuts=tuple(cuts)), spec)

    assert decoding.verdict == "check"
    assert decoding.verdict_words in {"check cut 3: 1 or 2", "check cut 3: 2 or 1"}


def test_sure_asks_for_clear_curves_and_agreeing_references():
    """Sharp single-peak curves, places, height and a growth estimate that all fit."""
    spec = spec_of(cut_positions=[5, 8, 11, 14, 17, 20], blade={"height": 8.3, "length": 25}, cut_form=...)
    readings = readings_of(spec, "021322", growth=Measured(0.2, 0.02), sigma_px=0.2)
    cuts = tuple(replace(c, evidence=curve([(1.0, c.root_px)], 0.2)) for c in readings.cuts)
    decoding = decode(replace(readings, cuts=cuts), spec)

    assert decoding.verdict_words == "sure" and decoding.probability >= 0.99 and decoding.warnings == ()


def test_growth_density_is_a_density_where_the_growth_is():
    """It integrates to 1 and peaks at the growth."""
    spec = spec_of()
    decoder = Decoder(readings_of(spec, "0213", growth=Measured(0.2, 0.03)), spec)
    growths_mm, density = decoder.growth_density

    assert density.sum() * (growths_mm[1] - growths_mm[0]) == pytest.approx(1, abs=1e-3)
    assert growths_mm[np.argmax(density)] == pytest.approx(decoder.decoding().growth_mm, abs=0.05)


def test_log_evidence_is_the_plain_mean_over_codes():
    """All codes alike: the lattice's mass by the number of codes."""
    spec = spec_of()
    decoder = Decoder(readings_of(spec, "0213"), spec)
    posterior = decoder.posteriors[0]
    codes = list(_all_codes(spec, 4))
    mass = code_masses(codes, posterior.lattice.weights, posterior.lattice.factors).sum()

    assert sums_of(posterior.lattice, posterior.links).mass == pytest.approx(mass)
    assert decoder.log_evidence() == pytest.approx(math.log(mass / len(codes)) + posterior.lattice.log_unit)


def test_independent_edges_say_that_faces_may_change_places():
    """From a picture; by calipers a person knows which face is up."""
    spec = spec_of(**INDEPENDENT)

    assert any("other face up" in w for w in decode(readings_of(spec, "1320"), spec).warnings)
    assert not any("other face" in w for w in decode(readings_of(spec, "1320", medium="calipers"), spec).warnings)


def test_edges_out_of_order_are_refused():
    """Independent edges are given edge by edge."""
    spec = spec_of(**INDEPENDENT)
    readings = readings_of(spec, "1320")
    with pytest.raises(Refusal, match="edge by edge"):
        decode(replace(readings, cuts=readings.cuts[::-1]), spec)


def test_no_readings_are_refused():
    """An empty list of pictures."""
    with pytest.raises(Refusal, match="no readings"):
        Decoder([], spec_of())
    with pytest.raises(Refusal, match="0 were measured"):
        decode(Readings(()), spec_of())


def test_readings_of_pixels_and_of_inches_give_the_same_code():
    """The unit of a picture has no part in it."""
    spec = spec_of()
    big = readings_of(spec, "0213", px_per_mm=40.0, sigma_px=1.0, growth=Measured(0.2, 0.05))
    shrink = 1 / 400

    def small(cut: CutReading) -> CutReading:
        return replace(
            cut,
            root_px=cut.root_px * shrink,
            sigma_px=cut.sigma_px * shrink,
            position_px=cut.position_px * shrink,
            position_sigma_px=cut.position_sigma_px * shrink,
        )

    height = replace(big.references[0], seen_px=big.references[0].seen_px * shrink, seen_sigma_px=0.4 * shrink)
    inches = replace(big, cuts=tuple(map(small, big.cuts)), references=(height,))

    assert decode(inches, spec).probability == pytest.approx(decode(big, spec).probability, abs=1e-6)


@pytest.mark.parametrize(("changes", "member"), [({}, "tilt_sigma"), (INDEPENDENT, "centre_sigma_mm")])
def test_the_readers_own_word_on_the_back_takes_the_place_of_the_usual(changes, member):
    """A reader that knows its line better is believed: outer cuts, or both edges, are told better."""
    spec = spec_of(**changes)
    code = "0213" if not changes else "1320"
    readings = readings_of(spec, code, sigma_px=1.0, growth=Measured(0.2, 0.03))
    usual = {"tilt_sigma": 0.002, "centre_sigma_mm": 0.03}[member]

    def sigma_mm(**own):
        return decode(replace(readings, **own), spec).cuts[0].sigma_mm

    assert sigma_mm(**{member: usual}) == pytest.approx(sigma_mm(), rel=1e-9)
    assert sigma_mm(**{member: 0.0}) < sigma_mm() < sigma_mm(**{member: 5 * usual})


@pytest.mark.parametrize("sigma", [-0.001, math.nan])
def test_an_impossible_uncertainty_of_the_back_is_refused(sigma):
    """In a sentence."""
    with pytest.raises(Refusal, match="at least 0"):
        Readings((), tilt_sigma=sigma)
