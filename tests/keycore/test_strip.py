"""The code strip: exactly what each growth would give."""

from __future__ import annotations

import numpy as np
import pytest

from keycore.decode import Decoder
from keycore.lattice import STEP
from keycore.prior import GROWTH_HIGH_MM, GROWTH_LOW_MM
from keycore.refusal import Refusal
from tests.bench.madeup import KINDS, made_up_set
from tests.keycore.tables import INDEPENDENT, MIRRORED, readings_of, spec_of


def _decoder(changes, code, seed=3):
    spec = spec_of(**changes)
    return Decoder(readings_of(spec, code, sigma_px=1.0, noise=np.random.default_rng(seed)), spec)


@pytest.mark.parametrize(("changes", "code"), [({}, "1324"), (MIRRORED, "2031"), (INDEPENDENT, "0231")])
def test_every_growth_gives_the_code_of_its_segment(changes, code):
    """Random growths, and both sides of every border at two millionths of a millimetre."""
    decoder = _decoder(changes, code)
    segments = decoder.strip()

    assert segments[0].growth_from_mm == GROWTH_LOW_MM and segments[-1].growth_to_mm == GROWTH_HIGH_MM
    for one, two in zip(segments, segments[1:], strict=False):
        assert one.growth_to_mm == two.growth_from_mm and one.code != two.code
        assert decoder.at_growth(one.growth_to_mm - 2e-6, k=1).code == one.code
        assert decoder.at_growth(one.growth_to_mm + 2e-6, k=1).code == two.code
    for growth_mm in np.random.default_rng(1).uniform(GROWTH_LOW_MM, GROWTH_HIGH_MM, 60):
        segment = next(s for s in segments if s.growth_from_mm <= growth_mm <= s.growth_to_mm)
        assert decoder.at_growth(float(growth_mm), k=1).code == segment.code


def test_two_codes_are_alike_at_a_border():
    """At a border the winner and its successor have the same probability."""
    decoder = _decoder({}, "1324")
    for segment in decoder.strip()[:-1]:
        first, second = decoder.at_growth(segment.growth_to_mm, k=2).codes

        assert first.probability == pytest.approx(second.probability, rel=1e-2)


def test_the_growths_that_flip_the_code_are_the_borders_round_the_estimate():
    """Below and above the growth that the evidence gives."""
    decoder = _decoder({}, "1324")
    below, above = decoder.flip_growths_mm()
    segments = decoder.strip()
    growth_mm = decoder.decoding().growth_mm
    here = next(s for s in segments if s.growth_from_mm <= growth_mm <= s.growth_to_mm)

    assert below == (here.growth_from_mm if here is not segments[0] else None)
    assert above == (here.growth_to_mm if here is not segments[-1] else None)


def test_a_held_growth_is_reported_as_held():
    """The slider's value comes back without uncertainty; one that nobody could mean is refused."""
    decoder = _decoder({}, "1324")
    decoding = decoder.at_growth(0.25)

    assert (decoding.growth_mm, decoding.growth_sigma_mm) == (0.25, 0.0)
    with pytest.raises(Refusal, match="Growth must lie between"):
        decoder.at_growth(9.0)


def test_all_growths_together_are_the_decoding():
    """The decoding's probability lies between the least and the greatest over growths, and nearest those likely."""
    decoder = _decoder({}, "1324")
    code = decoder.decoding().code
    growths = np.linspace(0.0, 0.4, 9)
    shares = [{r.code: r.probability for r in decoder.at_growth(g).codes}.get(code, 0.0) for g in growths]

    assert min(shares) <= decoder.decoding().probability <= max(shares)


@pytest.mark.parametrize(("changes", "code"), [({}, "0213"), (INDEPENDENT, "0231")])
def test_many_growths_looked_at_together_are_each_as_if_alone(changes, code):
    """Two of them alike, the farthest among them: every point's weight and every factor, up to the weights' unit."""
    posterior = _decoder(changes, code).posteriors[0]
    growths = np.array([0.1, GROWTH_LOW_MM, 0.7, 0.1, GROWTH_HIGH_MM])
    held = posterior.at_growths(growths)

    for growth, here in zip(growths, np.split(np.arange(len(held.weights)), held.starts[1:]), strict=True):
        alone = posterior.at_growth(float(growth))
        unit = held.weights[here].max() / alone.weights.max()
        assert held.weights[here] == pytest.approx(unit * alone.weights, rel=1e-9)
        for together, own in zip(held.factors, alone.factors, strict=True):
            assert together[here] == pytest.approx(own, rel=1e-12)


@pytest.mark.parametrize("kind", KINDS)
def test_halving_every_step_changes_no_probability_where_growth_is_held(kind):
    """Growths round the estimate: the slider's codes to one in a thousand."""
    made = made_up_set(kind, np.random.default_rng(8))
    usual, finer = Decoder(made.readings, made.spec), Decoder(made.readings, made.spec, step=STEP / 2)
    growth = usual.decoding().growth
    for sigmas in (-2.0, -0.7, 0.5, 1.8):
        growth_mm = growth.value + sigmas * growth.sigma
        fine = {r.code: r.probability for r in finer.at_growth(growth_mm, k=30).codes}
        for ranked in usual.at_growth(growth_mm).codes:
            assert ranked.probability == pytest.approx(fine[ranked.code], abs=1e-3)


def test_a_border_far_from_the_evidence_is_where_a_finer_lattice_has_it():
    """Far from the growth that the readings give, the scale has to pay for it, and nothing of that may be lost."""
    made = made_up_set("single from shoulder", np.random.default_rng(8))
    usual = Decoder(made.readings, made.spec).strip()
    finer = Decoder(made.readings, made.spec, step=STEP / 2).strip()

    assert [segment.code for segment in usual] == [segment.code for segment in finer]
    for one, two in zip(usual[:-1], finer, strict=False):
        assert one.growth_to_mm == pytest.approx(two.growth_to_mm, abs=5e-4)
