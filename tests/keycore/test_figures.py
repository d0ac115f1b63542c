"""Caliper figures as readings."""

from __future__ import annotations

import pytest

from keycore.decode import decode_figures
from keycore.figures import readings_of_figures
from keycore.refusal import Refusal
from tests.keycore.tables import INDEPENDENT, spec_of


def test_what_is_usual_follows_the_size_of_the_figures():
    """The key itself by calipers, an enlarged copy in mm, the same in inches, pixels."""
    spec = spec_of()
    sigmas = [
        readings_of_figures(8.3 * ratio, [7 * ratio] * 4, None, None, spec).cuts[0].sigma_px
        for ratio in (1.0, 2.0, 2.0 / 25.4, 1 / 25.4, 20.0)
    ]

    assert sigmas == pytest.approx([0.03, 0.113, 0.113 / 25.4, 0.03 / 25.4, 20 * 0.0495], rel=0.01)


def test_a_given_uncertainty_is_the_readings_own_and_marking_comes_on_top():
    """0.05 of reading and 0.08 of marking on an enlarged copy; on the key itself there is no marking."""
    spec = spec_of()

    assert readings_of_figures(16.6, [14] * 4, None, 0.05, spec).cuts[0].sigma_px == pytest.approx(0.0943, abs=1e-4)
    assert readings_of_figures(8.3, [7] * 4, None, 0.02, spec).cuts[0].sigma_px == pytest.approx(0.02)


def test_positions_pin_the_scale():
    """With centres read as well the scale is better known than by the blade height alone."""
    spec = spec_of()
    roots = [2 * (spec.root_of(d) + 0.2) for d in "0213"]
    without = decode_figures(16.6, roots, None, None, spec)
    with_places = decode_figures(16.6, roots, [10.0, 18.0, 26.0, 34.0], None, spec)

    assert with_places.scale.sigma_rel < without.scale.sigma_rel
    assert {r.kind for r in with_places.scale.references} == {"blade-height", "cut-spacing"}


def test_independent_edges_come_one_after_the_other():
    """First edge, then second."""
    readings = readings_of_figures(16.6, [7.8, 7.0, 6.1, 7.0], None, None, spec_of(**INDEPENDENT))

    assert [cut.edge for cut in readings.cuts] == [1, 1, 2, 2]


@pytest.mark.parametrize(
    ("arguments", "words"),
    [
        ((0.0, [7, 7, 7, 7], None, None), "positive lengths; got 0"),
        ((8.3, [7, float("nan"), 7, 7], None, None), "positive lengths; got nan"),
        ((8.3, [7, 7, 7, 7], [5, 9], None), "4 roots and 2 positions"),
        ((8.3, [7, 7, 7, 7], None, -0.1), "uncertainty of a figure must be more than 0"),
        ((8.3, [7, 7, 7], None, None), "4 cuts and 3 were measured"),
    ],
)
def test_wrong_figures_are_refused_in_one_sentence(arguments, words):
    """What is wrong and what to do."""
    with pytest.raises(Refusal, match=words):
        decode_figures(*arguments, spec_of())


def test_a_table_without_a_blade_height_cannot_scale_figures():
    """It says which member is missing."""
    with pytest.raises(Refusal, match="gives no blade height"):
        decode_figures(16.6, [14] * 4, None, None, spec_of(blade=...))
