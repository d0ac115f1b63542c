"""A caliper reading of an enlarged copy, as a practitioner decoded it.  Common practice, no published source.

A five-cut single-edge key, ten depths falling by 0.38 mm from 0 = 8.54 to 9 = 5.12, blade height 8.65 mm.  On the
copy the height reads 19.91 and the cuts 19.51, 18.28, 16.13, 12.36, 12.36 mm; reading error some hundredths, edges
marked with a pen.  The practitioner's answer is 1-2-5-9-9, the copy's shadow being worth about 0.30 mm.
"""

from __future__ import annotations

import numpy as np
import pytest

from keycore.decode import Holds, decode_figures
from keycore.spec import parse_code, parse_spec

HEIGHT = 19.91
ROOTS = (19.51, 18.28, 16.13, 12.36, 12.36)
NOT_ZERO = Holds(ruled_out=frozenset({(0, "0")}))


def _spec(**changes):
    members = {
        "format": "keyspec/1",
        "name": "Practice five",
        "provenance": {"kind": "invented", "source": "depths as in common practice, spacing made up"},
        "units": "mm",
        "edges": "single",
        "gauge_from": "shoulder",
        "root_from": "back",
        "cut_positions": [5.0, 9.0, 13.0, 17.0, 21.0],
        "depths": [{"label": str(index), "root": round(8.54 - 0.38 * index, 2)} for index in range(10)],
        "tolerance": {"root": 0.04, "position": 0.06},
        "blade": {"height": 8.65},
    }
    return parse_spec(members | changes)


def test_nearest_depths_on_the_blade_height_scale_are_wrong_in_all_cuts_but_one():
    """0-2-4-8-8: what growth does to a decoder that looks at each cut by itself."""
    spec = _spec()
    px_per_mm = HEIGHT / 8.65
    nearest = [spec.labels[int(np.argmin(abs(spec.roots_mm - root / px_per_mm)))] for root in ROOTS]

    assert nearest == ["0", "2", "4", "8", "8"]
    assert sum(a == b for a, b in zip(nearest, "12599", strict=True)) == 1


def test_the_practitioners_code_is_ranked_first_and_not_called_sure():
    """1-2-5-9-9 first, 0-1-4-8-8 a depth shallower everywhere is the rival."""
    decoding = decode_figures(HEIGHT, ROOTS, None, None, _spec())

    assert [r.code for r in decoding.codes[:2]] == [tuple("12599"), tuple("01488")]
    assert decoding.codes[1].probability > 0.1
    assert decoding.verdict == "unsure" and "a whole depth more or less" in decoding.verdict_words


def test_knowing_that_cut_1_is_not_0_settles_it():
    """The locksmith's knowledge of one cut is evidence for all; growth then comes out at about 0.3 mm."""
    decoding = decode_figures(HEIGHT, ROOTS, None, None, _spec(), NOT_ZERO)

    assert decoding.code == parse_code("1-2-5-9-9", _spec()) and decoding.probability >= 0.9
    assert decoding.growth_mm == pytest.approx(0.30, abs=0.08)


@pytest.mark.parametrize("sigma", [0.02, 0.05, 0.1, 0.15, 0.2])
@pytest.mark.parametrize("tolerance", [0.02, 0.06])
def test_the_order_does_not_hang_on_a_lucky_uncertainty(sigma, tolerance):
    """Whatever a person says of the calipers, and whatever the maker allows, the two codes lead in this order."""
    spec = _spec(tolerance={"root": tolerance, "position": 0.06}, max_adjacent_step=7)
    decoding = decode_figures(HEIGHT, ROOTS, None, sigma, spec)

    assert [r.code for r in decoding.codes[:2]] == [tuple("12599"), tuple("01488")]
    assert decoding.verdict == "unsure"


def test_the_order_does_not_hang_on_the_last_digit_read():
    """Forty sets of the same figures, each read again with 0.03 of error."""
    rng = np.random.default_rng(6)
    for _ in range(40):
        again = [float(root + rng.normal(0, 0.03)) for root in ROOTS]
        height = float(HEIGHT + rng.normal(0, 0.03))
        free = decode_figures(height, again, None, None, _spec(), k=3)

        assert [r.code for r in free.codes[:2]] == [tuple("12599"), tuple("01488")]
        assert decode_figures(height, again, None, None, _spec(), NOT_ZERO, k=3).probability > 0.75


def test_inches_and_other_units_read_alike():
    """The same figures in inches, and times 40 as of a screen, lead to the same codes."""
    for factor in (1 / 25.4, 40.0):
        decoding = decode_figures(HEIGHT * factor, [root * factor for root in ROOTS], None, None, _spec())

        assert [r.code for r in decoding.codes[:2]] == [tuple("12599"), tuple("01488")]
