"""One picture fitted in several ways: the decoder weighs them all, exactly."""

from __future__ import annotations

import math
from dataclasses import replace

import numpy as np
import pytest

from keycore.decode import Decoder, decode
from keycore.lattice import STEP
from keycore.measured import Readings
from keycore.refusal import Refusal
from keycore.spec import KeySpec
from keycore.verdict import OTHER_WAY
from keycore.ways import LEAST
from tests.keycore.tables import INDEPENDENT, readings_of, spec_of

TWO_WAYS = [({}, "0213", "1323"), (INDEPENDENT, "0213", "1201")]


def _two(spec: KeySpec, first: str, second: str, log_weight: float = -0.5) -> tuple[Readings, Readings]:
    """A picture's readings fitted one way, and another way that shows another code a little less well."""
    own = [
        readings_of(spec, code, sigma_px=2.0, growth_mm=growth_mm, noise=np.random.default_rng(seed))
        for seed, (code, growth_mm) in enumerate(((first, 0.2), (second, 0.3)))
    ]
    return own[0], replace(own[1], log_weight=log_weight)


def _together(first: Readings, *others: Readings) -> Readings:
    return replace(first, others=others)


@pytest.mark.parametrize(("changes", "first", "second"), TWO_WAYS)
def test_a_codes_probability_is_the_sum_over_ways(changes: dict, first: str, second: str) -> None:
    """Each way's own probabilities, weighed by the picture's word for it and by how well the table explains it."""
    spec = spec_of(**changes)
    one, other = _two(spec, first, second)
    alone = [Decoder(way, spec) for way in (one, replace(other, log_weight=0.0))]
    log_weights = np.array([0.0, -0.5]) + [decoder.log_evidence() for decoder in alone]
    shares = np.exp(log_weights - np.logaddexp.reduce(log_weights))
    assert shares.min() > 1.5 / LEAST
    own = [{ranked.code: ranked.probability for ranked in decoder.decoding(400).codes} for decoder in alone]

    together = decode(_together(one, other), spec)

    for ranked in together.codes:
        wanted = sum(share * codes.get(ranked.code, 0.0) for share, codes in zip(shares, own, strict=True))
        assert ranked.probability == pytest.approx(wanted, abs=1e-6)
    for cut, of_cut in enumerate(together.cuts):
        for label, probability in of_cut.depths.items():
            depths = [decoder.decoding(400).cuts[cut].depths[label] for decoder in alone]
            assert probability == pytest.approx(float(shares @ depths), abs=1e-6)


def test_the_likelihood_of_the_table_is_summed_over_ways() -> None:
    """What tables are compared by: the ways' own likelihoods, by their shares before."""
    spec = spec_of()
    one, other = _two(spec, "0213", "1323")
    shares = np.array([1.0, math.exp(-0.5)]) / (1 + math.exp(-0.5))
    own = [Decoder(way, spec).log_evidence() for way in (one, replace(other, log_weight=0.0))]

    assert Decoder(_together(one, other), spec).log_evidence() == pytest.approx(
        float(np.logaddexp.reduce(np.log(shares) + own)), abs=1e-9
    )


def test_a_way_that_hardly_counts_is_let_go() -> None:
    """Less than one in twenty of the best: the code is as sure as without it."""
    spec = spec_of()
    one, other = _two(spec, "0213", "1323", log_weight=-30.0)

    assert decode(_together(one, other), spec).codes == decode(one, spec).codes


@pytest.mark.parametrize(("log_weight", "growth_mm"), [(-0.5, 0.2), (8.0, 0.3)])
def test_growth_and_roots_are_of_the_way_that_gives_the_code(log_weight: float, growth_mm: float) -> None:
    """No mean of two ways, which would lie where neither does."""
    spec = spec_of()
    one, other = _two(spec, "0213", "1323", log_weight=log_weight)
    together = decode(_together(one, other), spec)
    leading = decode(one if log_weight < 0 else replace(other, log_weight=0.0), spec)

    assert together.code == leading.code
    assert together.growth_mm == pytest.approx(leading.growth_mm, abs=1e-9)
    assert together.growth_mm == pytest.approx(growth_mm, abs=0.15)
    across = (found.scale.px_per_mm_across for found in (together, leading))
    assert next(across).value == pytest.approx(next(across).value, rel=1e-9)
    assert [cut.root_mm for cut in together.cuts] == pytest.approx([cut.root_mm for cut in leading.cuts], abs=0.02)


def test_another_way_that_gives_another_code_is_told_with_its_code() -> None:
    """The sentence names its probability and its code; a way of the same code goes without a word."""
    spec = spec_of()
    one, other = _two(spec, "0213", "1323")
    same = replace(readings_of(spec, "0213", sigma_px=2.0, growth_mm=0.3), log_weight=-0.5)

    together = decode(_together(one, other), spec)
    (told,) = [words for words in together.warnings if "another way" in words]

    assert 1 - together.codes[0].probability > OTHER_WAY
    assert "-".join(decode(replace(other, log_weight=0.0), spec).code) in told
    assert not [words for words in decode(_together(one, same), spec).warnings if "another way" in words]


@pytest.mark.parametrize(("changes", "first", "second"), TWO_WAYS)
def test_held_growths_looked_at_together_are_each_as_if_alone(changes: dict, first: str, second: str) -> None:
    """The points of all ways, growth by growth, to the last factor; the whole mass of each growth too."""
    spec = spec_of(**changes)
    (ways,) = Decoder(_together(*_two(spec, first, second)), spec).posteriors
    growths = np.array([0.1, 0.7, 0.1, -0.2])
    held = ways.at_growths(growths)

    for growth, unit, here in zip(
        growths, held.log_unit, np.split(np.arange(len(held.weights)), held.starts[1:]), strict=True
    ):
        alone = ways.at_growth(float(growth))
        assert held.weights[here] * math.exp(unit - alone.log_unit) == pytest.approx(alone.weights, rel=1e-9)
        for together, own in zip(held.factors, alone.factors, strict=True):
            assert together[here] == pytest.approx(own, rel=1e-12)


def test_halving_every_step_changes_no_probability_with_several_ways() -> None:
    """As for one way: one part in a thousand."""
    spec = spec_of()
    readings = _together(*_two(spec, "0213", "1323"))
    usual, fine = (Decoder(readings, spec, step=step).decoding() for step in (STEP, STEP / 2))

    finer = {ranked.code: ranked.probability for ranked in fine.codes}
    for ranked in usual.codes[:5]:
        assert ranked.probability == pytest.approx(finer[ranked.code], abs=1e-3)


def test_the_strip_agrees_with_a_held_growth_in_every_segment() -> None:
    """Both sum over the ways."""
    decoder = Decoder(_together(*_two(spec_of(), "0213", "1323")), spec_of())

    strip = decoder.strip()

    assert len(strip) > 2
    for segment in strip:
        middle_mm = (segment.growth_from_mm + segment.growth_to_mm) / 2
        assert decoder.at_growth(middle_mm).code == segment.code


def test_a_picture_of_several_ways_multiplies_with_others() -> None:
    """A second picture of the key settles which of the ways it was."""
    spec = spec_of()
    one, other = _two(spec, "0213", "1323", log_weight=0.3)
    second = readings_of(spec, "1323", sigma_px=2.0, growth_mm=0.1, noise=np.random.default_rng(9))

    both = decode([_together(one, other), second], spec)

    assert both.code == tuple("1323")
    assert both.codes[0].probability > decode(second, spec).codes[0].probability


def test_what_is_changed_is_changed_in_every_way() -> None:
    """Places taken out, and anything else."""
    one, other = _two(spec_of(), "0213", "1323")
    readings = _together(one, other).without_places()
    quieter = readings.in_every_way(lambda way: replace(way, references=()))

    assert len(readings.ways) == 2
    assert all(cut.position_px is None for way in readings.ways for cut in way.cuts)
    assert [way.references for way in quieter.ways] == [(), ()]
    assert quieter.others[0].log_weight == -0.5


@pytest.mark.parametrize("bad", ["count", "nested", "weight"])
def test_other_ways_that_cannot_be_of_the_same_key_are_refused(bad: str) -> None:
    """Another number of cuts, ways of ways, a weight that is no number."""
    one, other = _two(spec_of(), "0213", "1323")
    if bad == "count":
        other = replace(other, cuts=other.cuts[:-1])
    if bad == "nested":
        other = replace(other, others=(one,))

    with pytest.raises(Refusal, match="Other ways"):
        replace(one, others=(other,)) if bad != "weight" else replace(other, log_weight=math.nan)
