"""Judging a cut key: honest about what a measurement can prove, and of use to the person at the machine."""

from __future__ import annotations

import json

import numpy as np
import pytest

from keycore.conformity import CutKeyCheck, check_cut_key, conformance_probability, guard_band, outcome_of
from keycore.refusal import Refusal
from keycore.spec import load_spec

SPEC = load_spec("Harbourside 5")  # roots 8.2, 7.7, ... 5.2 mm, tolerance 0.04 mm
NOMINAL = [7.7, 7.2, 6.7, 5.7, 5.7]


def checked(*off_mm: float, sigma: float = 0.01) -> CutKeyCheck:
    """The key 1-2-3-5-5 with these deviations of its five roots."""
    return check_cut_key("12355", SPEC, [n + d for n, d in zip(NOMINAL, off_mm, strict=True)], sigma)


def test_key_on_nominal_passes() -> None:
    """Nothing to do."""
    check = checked(0, 0.005, -0.005, 0.01, -0.01)

    assert check.outcome == "pass"
    assert check.words == ("The key meets its code.",)
    assert all(cut.deepen_mm is None for cut in check.checks)


def test_cut_left_too_high_can_still_be_deepened() -> None:
    """It says which cut, by how much, and that this blank will do."""
    check = checked(0, 0, 0.08, 0, 0)

    assert check.outcome == "fail"
    assert check.checks[2].deepen_mm == pytest.approx(0.08)
    assert check.checks[2].words == "fails, 0.080 mm too high; deepen it by 0.080 mm."
    assert check.words == ("This blank can still be used: deepen cut 3 by 0.080 mm, and measure again.",)


def test_cut_made_too_low_needs_a_new_blank() -> None:
    """Metal does not come back; and a cut a whole depth off is read as the depth that it is."""
    check = checked(0, 0.08, 0, -0.5, 0)

    assert check.checks[3].deepen_mm is None
    assert check.checks[3].words == (
        "fails, 0.500 mm too low; it reads as depth 6, not 5; metal is missing, so cut a new blank."
    )
    assert check.words == ("A new blank is needed: cut 4 cannot be mended.",)


def test_reading_near_the_limit_cannot_be_told_and_says_what_would_tell() -> None:
    """Half the guard band inside: more readings would settle it, and their number is enough."""
    check = checked(0, 0, -0.03, 0, 0)

    cut = check.checks[2]
    assert (check.outcome, cut.outcome) == ("cannot be told", "cannot be told")
    assert cut.words == (
        "cannot be told; a measurement with an uncertainty of 0.005 mm, or the mean of 4 independent readings would do."
    )
    assert conformance_probability(-0.03, 0.01 / np.sqrt(4), -0.04, 0.04) >= 0.95


def test_instrument_too_coarse_for_the_tolerance_is_said_so() -> None:
    """With 0.03 mm even a reading exactly on nominal proves nothing of a 0.04 mm tolerance."""
    check = checked(0, 0, 0, 0, 0, sigma=0.03)

    assert check.outcome == "cannot be told"
    assert "With an uncertainty of 0.030 mm no reading at all could prove this tolerance" in check.words[1]


def test_what_is_proved_is_true_as_often_as_claimed() -> None:
    """Roots anywhere within 0.15 mm, measured with 0.012 mm: of those passed at least 95 % conform, likewise failed."""
    rng = np.random.default_rng(4)
    true_off = rng.uniform(-0.15, 0.15, 20_000)
    seen = true_off + rng.normal(0, 0.012, true_off.size)
    outcomes = np.array([outcome_of(conformance_probability(y, 0.012, -0.04, 0.04)) for y in seen])
    conforms = np.abs(true_off) <= 0.04

    assert conforms[outcomes == "pass"].mean() >= 0.95
    assert (~conforms)[outcomes == "fail"].mean() >= 0.95
    assert 0.05 < (outcomes == "cannot be told").mean() < 0.4
    probabilities = np.array([conformance_probability(y, 0.012, -0.04, 0.04) for y in seen])
    middling = (probabilities > 0.4) & (probabilities < 0.6)
    assert conforms[middling].mean() == pytest.approx(probabilities[middling].mean(), abs=0.05)


def test_positions_are_judged_too_where_they_were_measured() -> None:
    """A cut in the wrong place cannot be mended."""
    positions = [4.2, 8.1, 12.0, 16.2, 19.8]
    check = check_cut_key("12355", SPEC, NOMINAL, 0.01, positions_mm=positions, position_sigma_mm=0.015)

    wrong = [cut for cut in check.checks if cut.outcome != "pass"]
    assert [(cut.what, cut.cut) for cut in wrong] == [("position", 4)]
    assert wrong[0].words == "fails, 0.300 mm too far from the gauge point; it cannot be mended on this blank."
    assert "cut 4 cannot be mended" in check.words[0]


def test_independent_edges_name_the_edge() -> None:
    """A failed cut is found by its edge and number."""
    spec = load_spec("Lantern 5")
    code = "12345/23432"
    roots = [spec.root_of(label) for label in "1234523432"]
    roots[7] += 0.3

    check = check_cut_key(code, spec, roots, 0.01)

    assert check.words == ("This blank can still be used: deepen cut 3 of edge 2 by 0.300 mm, and measure again.",)


def test_check_as_json_can_be_written() -> None:
    """keycheck/1 is plain JSON."""
    written = json.loads(json.dumps(checked(0, 0, 0.08, 0, 0).to_json(), allow_nan=False))

    assert (written["format"], written["outcome"]) == ("keycheck/1", "fail")
    assert written["checks"][2]["deepen_mm"] == pytest.approx(0.08)
    assert "Cut 3 root: nominal 6.700, measured 6.780" in checked(0, 0, 0.08, 0, 0).text()


def test_guard_band_is_where_one_sided_conformity_begins() -> None:
    """A reading that far inside one limit is proved at exactly the level."""
    w = guard_band(0.01, 0.95)
    assert conformance_probability(1.0 - w, 0.01, None, 1.0) == pytest.approx(0.95)


@pytest.mark.parametrize(
    ("call", "words"),
    [
        (lambda: check_cut_key("12355", SPEC, NOMINAL[:4], 0.01), "The code has 5 cuts; got 4 root figures"),
        (lambda: check_cut_key("12355", SPEC, NOMINAL, 0.0), "uncertainty of more than 0"),
        (lambda: check_cut_key("12355", SPEC, [*NOMINAL[:4], float("nan")], 0.01), "Cut 5: a measured root"),
        (lambda: check_cut_key("12359", SPEC, NOMINAL, 0.01), "depth '9' is not in table"),
        (lambda: check_cut_key("12355", SPEC, NOMINAL, 0.01, positions_mm=[1, 2, 3, 4, 5]), "need their uncertainty"),
        (lambda: check_cut_key("12355", SPEC, NOMINAL, 0.01, level=1.0), "between 0.5 and 1"),
    ],
)
def test_figures_that_cannot_be_judged_are_refused(call: object, words: str) -> None:
    """One sentence that says which."""
    with pytest.raises(Refusal, match=words):
        call()  # type: ignore[operator]
