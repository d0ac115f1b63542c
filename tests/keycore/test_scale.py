"""Size references: lines, spacing, growth of the height, agreement."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest

from keycore.decode import Decoder, decode
from keycore.measured import Readings, SizeReference
from keycore.mixture import Mixture
from keycore.prior import blade_height_density
from keycore.refusal import Refusal
from keycore.scale import fit_line, spacing_of
from tests.keycore.tables import readings_of, spec_of


def test_line_by_hand():
    """Three points on y = 1 + 2x: slope sd = 1/sqrt(2), start sd at x = 0 by sum of squares."""
    line = fit_line(np.array([0.0, 1.0, 2.0]), np.array([1.0, 3.0, 5.0]), np.zeros(3), np.ones(3))

    assert (line.start, line.slope, line.chi_square) == pytest.approx((1, 2, 0), abs=1e-12)
    assert line.slope_sigma == pytest.approx(1 / math.sqrt(2))
    assert line.at(3.0).value == pytest.approx(7) and line.at(3.0).sigma == pytest.approx(math.sqrt(1 / 3 + 4 / 2))


def test_claimed_line_uncertainty_covers_the_true_slope():
    """Two thirds of made-up lines with errors in both variables lie within one sigma."""
    rng = np.random.default_rng(4)
    x, inside = np.arange(6) * 4.0, 0
    for _ in range(600):
        line = fit_line(x + rng.normal(0, 0.05, 6), 12 * x + rng.normal(0, 0.5, 6), np.full(6, 0.05), np.full(6, 0.5))
        inside += abs(line.slope - 12) < line.slope_sigma

    assert 0.63 < inside / 600 < 0.73


def test_the_spacing_gives_scale_and_gauge_offset_whatever_the_growth():
    """Places do not move with growth; a gauge point marked 0.5 mm off shows as such."""
    spec = spec_of()
    for growth_mm in (0.0, 0.9):
        readings = readings_of(spec, "0213", growth_mm=growth_mm)
        cuts = tuple(replace(cut, position_px=cut.position_px + 6.0) for cut in readings.cuts)
        spacing = spacing_of(replace(readings, cuts=cuts), spec)

        assert spacing.reference.px_per_mm == pytest.approx(12.0)
        assert spacing.offset_mm.value == pytest.approx(0.5)
        assert spacing.left_out == ()


def test_one_misplaced_centre_is_left_out():
    """A cut's centre 1 mm off does not bend the scale, and is named."""
    spec = spec_of(cut_positions=[5, 8, 11, 14, 17])
    readings = readings_of(spec, "02131")
    cuts = list(readings.cuts)
    cuts[3] = replace(cuts[3], position_px=cuts[3].position_px + 12.0)
    spacing = spacing_of(replace(readings, cuts=tuple(cuts)), spec)

    assert spacing.left_out == (3,) and spacing.reference.px_per_mm == pytest.approx(12.0, rel=1e-3)
    assert any("Cut 4 lies off its place" in w for w in decode(replace(readings, cuts=tuple(cuts)), spec).warnings)


def test_places_the_wrong_way_round_are_refused():
    """Positions that fall where the table's rise."""
    spec = spec_of()
    readings = readings_of(spec, "0213")
    cuts = tuple(replace(cut, position_px=300 - cut.position_px) for cut in readings.cuts)

    with pytest.raises(Refusal, match="do not rise"):
        spacing_of(replace(readings, cuts=cuts), spec)


def test_mixtures_multiply_and_widen_like_their_densities():
    """The closed product against a numerical one."""
    a, b = Mixture.of((0.9, 0.0, 1.0), (0.1, 0.5, 3.0)), Mixture.of((0.7, 1.0, 0.5), (0.3, -1.0, 2.0))
    x = np.linspace(-16, 16, 8001)

    assert a.times(b).log_density(x) == pytest.approx(a.log_density(x) + b.log_density(x), abs=1e-9)
    kernel = np.exp(-0.5 * (x / 0.8) ** 2)
    widened = np.convolve(np.exp(a.log_density(x)), kernel / kernel.sum(), mode="same")
    middle = np.abs(x) < 3
    assert np.exp(a.widened(0.8).log_density(x))[middle] == pytest.approx(widened[middle], rel=1e-5)


def _with(readings: Readings, *references: SizeReference) -> Readings:
    return replace(readings, references=readings.references + references)


def test_references_that_disagree_say_so_in_per_cent_and_nothing_is_sure():
    """A card that says 4 % more than spacing and blade height."""
    spec = spec_of()
    card = SizeReference("card", "both", 12.48 * 85.6, 1.0, 85.6, 0.05)
    decoding = decode(_with(readings_of(spec, "0213"), card), spec)

    assert not decoding.scale.agree and "disagree about the scale by 4.0 %" in decoding.scale.disagreement
    assert decoding.verdict == "unsure" and decoding.verdict_words == "unsure: scales disagree by 4 %"
    assert decoding.scale.disagreement in decoding.warnings


def test_a_false_dpi_claim_of_a_copy_changes_next_to_nothing():
    """An enlarged copy's dpi is taken for what it is."""
    spec = spec_of()
    plain = readings_of(spec, "0213", medium="photocopy")
    dpi = SizeReference("dpi", "both", 200.0, 0.0, 25.4, weak=True)
    without, with_dpi = decode(plain, spec), decode(_with(plain, dpi), spec)

    assert with_dpi.scale.agree and with_dpi.code == without.code
    assert with_dpi.scale.px_per_mm_across.value == pytest.approx(without.scale.px_per_mm_across.value, rel=3e-4)
    assert next(r for r in with_dpi.scale.references if r.kind == "dpi").note


def test_a_reference_that_is_turned_off_is_shown_and_not_used():
    """It keeps its own value and pull."""
    spec = spec_of()
    readings = readings_of(spec, "0213")
    off = SizeReference("card", "both", 14 * 85.6, 1.0, 85.6, 0.05, used=False)

    assert decode(_with(readings, off), spec).scale.px_per_mm_across == decode(readings, spec).scale.px_per_mm_across
    shown = decode(_with(readings, off), spec).scale.references
    assert [r.used for r in shown if r.kind == "card"] == [False]


def test_blade_height_may_grow_by_less_than_the_roots():
    """The same picture with a height that carried none, half or all of 0.5 mm of growth: the code stays."""
    spec = spec_of()
    for share in (0.0, 0.5, 1.0):
        readings = readings_of(spec, "0213", growth_mm=0.5)
        height = replace(readings.references[0], seen_px=12 * (8.3 + 0.5 * share))
        decoding = Decoder(replace(readings, references=(height,)), spec).decoding()

        assert decoding.code == ("0", "2", "1", "3") and decoding.scale.agree
        assert decoding.growth_mm == pytest.approx(0.5, abs=2.5 * decoding.growth_sigma_mm)


@pytest.mark.parametrize("growth_mm", [-0.1, 0.0, 0.2, 0.7, 1.3])
@pytest.mark.parametrize("edges", [1.0, 2.0])
def test_a_height_s_growth_is_a_density_whether_alike_or_any(growth_mm, edges):
    """It sums to 1 over what the height may have too much; alike and small, most of it lies about the roots' growth."""
    off_mm = np.linspace(-3.0, 5.0, 16001)
    growth, sigma = np.full_like(off_mm, growth_mm), np.full_like(off_mm, 0.05)
    for alike in (False, True):
        density = blade_height_density(off_mm, growth, sigma, edges, alike=alike)
        assert density.sum() * (off_mm[1] - off_mm[0]) == pytest.approx(1.0, abs=1e-6)
    about = np.abs(off_mm - edges * growth_mm) < 0.2
    share = density[about].sum() / density.sum()
    assert share > 0.9 if edges * growth_mm < 0.45 else share < 0.8


def test_a_height_that_grows_alike_tells_a_growth_of_a_whole_step_from_none():
    """A copy without growth: one depth deeper everywhere would need a growth that the height does not show."""
    spec = spec_of()
    readings = readings_of(spec, "1202", growth_mm=0.0, sigma_px=0.8, medium="photocopy")
    height = replace(readings.references[0], alike=True)

    usual = Decoder(readings, spec).decoding()
    alike = Decoder(replace(readings, references=(height,)), spec).decoding()

    assert usual.code == alike.code == ("1", "2", "0", "2")
    deeper = [{code.code: code.probability for code in one.codes}[("2", "3", "1", "3")] for one in (usual, alike)]
    assert deeper[1] < 0.5 * deeper[0]
    shown = {one.kind: one.px_per_mm for one in alike.scale.references}["blade-height"]
    assert abs(shown.value - 12.0) < shown.sigma < 0.03 * 12.0


@pytest.mark.parametrize("seen_px", [0.0, -3.0, float("nan"), float("inf")])
def test_an_impossible_reference_is_refused(seen_px):
    """Lengths are positive and finite."""
    with pytest.raises(Refusal, match="blade length as a size reference"):
        decode(
            _with(readings_of(spec_of(), "0213"), SizeReference("blade-length", "along", seen_px, 1.0, 24.0)), spec_of()
        )
