"""Cuts' densities looked up together are each cut's own."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from keycore.decode import Decoder
from keycore.emission import TogetherLikelihoods, cut_likelihood
from keycore.lattice import SOUND
from keycore.measured import Floats
from keycore.prior import Making
from tests.keycore.tables import curve, readings_of, spec_of

PX_PER_MM = 12.0


def _places() -> tuple[Floats, Floats, Floats]:
    rng = np.random.default_rng(3)
    return rng.uniform(10.0, 14.0, 40), rng.uniform(-0.5, 1.5, 40), rng.normal(0.0, 0.01, 40)


def test_curves_looked_up_together_are_each_cuts_own() -> None:
    """Curves of different lengths, steps and reaches, and roots far outside of some of them."""
    spec = spec_of()
    cuts = [
        cut_likelihood(
            replace(cut, evidence=curve([(1.0, cut.root_px), (0.3, cut.root_px + 4.0)], 0.3 + 0.2 * number)),
            Making(0.02, 0.3, 0.02),
            PX_PER_MM,
            reach_mm=number - 1.5,
            bad_share=0.001,
        )
        for number, cut in enumerate(readings_of(spec, "0213").cuts)
    ]
    together = TogetherLikelihoods.of(cuts)

    found = together.at(*_places(), spec.roots_mm)

    for own, cut in zip(found, cuts, strict=True):
        assert own == pytest.approx(cut.at(*_places(), spec.roots_mm), rel=1e-9)


def test_values_and_curves_that_depend_on_growth_are_not_plain() -> None:
    """There is no table over heights alone for these: they are looked up one by one."""
    readings = readings_of(spec_of(), "0213").cuts
    value = cut_likelihood(readings[0], Making(0.02, 0.3, 0.02), PX_PER_MM, bad_share=0.001)
    grown = replace(readings[1], evidence=curve([(1.0, readings[1].root_px)], 0.4, growths=5))
    of_growth = cut_likelihood(grown, Making(0.02, 0.3, 0.02), PX_PER_MM, bad_share=0.001)

    curved = replace(readings[1], evidence=curve([(1.0, readings[1].root_px)], 0.4))
    assert not value.is_plain and not of_growth.is_plain
    assert cut_likelihood(curved, Making(0.02, 0.3, 0.02), PX_PER_MM, bad_share=0.001).is_plain


@pytest.mark.parametrize("by_hand", [{0}, {1, 3}, {0, 1, 2, 3}])
def test_roots_set_by_hand_stand_among_curves_as_if_each_were_looked_up_alone(by_hand: set[int]) -> None:
    """Every cut's factors at every point of the lattice."""
    spec = spec_of()
    readings = readings_of(spec, "0213")
    cuts = tuple(
        cut if number in by_hand else replace(cut, evidence=curve([(1.0, cut.root_px)], 0.4))
        for number, cut in enumerate(readings.cuts)
    )
    posterior = Decoder(replace(readings, cuts=cuts), spec).posteriors[0].ways[0]
    points = posterior.lattice.points.take(posterior.lattice.points.state == SOUND)

    for own, cut in zip(posterior.factors_at(points), posterior.cuts, strict=True):
        alone = cut.at(np.exp(points.log_scale), points.growth_mm, points.third, spec.roots_mm)
        assert own == pytest.approx(alone, rel=1e-9)
