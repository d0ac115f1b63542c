"""A table from measured depth keys: honest uncertainty, outliers found, equal steps tested."""

from __future__ import annotations

from datetime import date

import numpy as np
import pytest

from keycore.depthkeys import DepthKeyStudy, parse_readings, study_depth_keys
from keycore.refusal import Refusal
from keycore.spec import load_spec, spec_to_json

FRAME = spec_to_json(load_spec("Harbourside 5"))


def simulated(
    rng: np.random.Generator,
    *,
    step: float = 0.381,
    depths: int = 10,
    readings: int = 4,
    repeat: float = 0.008,
    key_limit: float = 0.02,
) -> dict[str, list[float]]:
    """Depth keys made within a limit, read with calipers that share one error of 0.01 mm and show 0.01 mm."""
    common = rng.normal(0, 0.01)
    return {
        str(i): list(
            np.round(8.5 - step * i + rng.uniform(-key_limit, key_limit) + common + rng.normal(0, repeat, readings), 2)
        )
        for i in range(depths)
    }


def test_claimed_uncertainty_of_roots_and_steps_covers_the_truth() -> None:
    """One standard uncertainty holds the true root and the true step about 68 times in 100."""
    rng = np.random.default_rng(1)
    roots, steps = [], []
    for _ in range(250):
        study = study_depth_keys(simulated(rng))
        roots += [abs(d.root_mm.value - (8.5 - 0.381 * i)) / d.root_mm.sigma for i, d in enumerate(study.depths)]
        steps += [abs(m.value - 0.381) / m.sigma for m in study.increments()]

    # the making error is uniform, not Gaussian, so a little more or less than 68 % is right
    assert 0.60 < np.mean(np.array(roots) < 1) < 0.74
    assert 0.60 < np.mean(np.array(steps) < 1) < 0.74
    assert np.mean(np.array(roots) < 2) > 0.94


def test_equal_steps_are_denied_as_seldom_as_the_level_says() -> None:
    """Perfect depth keys, Gaussian reading errors: about one set in twenty of truly equal steps is called unequal."""
    rng = np.random.default_rng(2)
    studies = [study_depth_keys(simulated(rng, repeat=0.02, key_limit=0.0), key_limit_mm=0.0) for _ in range(400)]

    assert 0.02 < np.mean([not s.equal_steps().equal for s in studies]) < 0.09
    assert 0.02 < np.mean([not s.equal_steps(0.381).equal for s in studies]) < 0.09


def test_depth_keys_within_their_limits_do_not_spoil_equal_steps() -> None:
    """Keys anywhere within 0.02 mm of truly equal steps are called unequal at most one time in twenty."""
    rng = np.random.default_rng(12)
    assert np.mean([not study_depth_keys(simulated(rng)).equal_steps(0.381).equal for _ in range(300)]) < 0.05


def test_fitted_step_and_its_uncertainty() -> None:
    """The step of ten depths is known much better than one increment, and its uncertainty is honest."""
    rng = np.random.default_rng(3)
    tests = [study_depth_keys(simulated(rng)).equal_steps() for _ in range(300)]
    pulls = np.array([(t.step_mm.value - 0.381) / t.step_mm.sigma for t in tests])

    assert tests[0].step_mm.sigma < 0.002
    assert 0.62 < np.mean(np.abs(pulls) < 1) < 0.74
    assert abs(pulls.mean()) < 0.2


def test_other_step_is_told_from_the_given_one() -> None:
    """Steps of 0.356 mm are not steps of 0.381 mm, though they are equal."""
    study = study_depth_keys(simulated(np.random.default_rng(4), step=0.356))

    assert study.equal_steps().equal
    assert not study.equal_steps(0.381).equal
    assert study.equal_steps(0.381).words.startswith("Not equal steps of 0.381 mm within error (chi-square")


def test_words_say_equal_steps_of_a_size_within_error() -> None:
    """The sentence that the locksmith is looking for."""
    study = study_depth_keys(simulated(np.random.default_rng(5)))

    assert study.equal_steps(0.381).words.startswith("Equal steps of 0.381 mm within error (chi-square ")
    assert "Equal steps of 0.381 mm within error" in study.text(0.381)
    assert study.warnings == ()


def test_one_bad_reading_is_left_out_and_named() -> None:
    """A slip of 0.4 mm in one reading of depth 3 moves nothing."""
    readings = simulated(np.random.default_rng(6))
    clean = study_depth_keys(readings)
    readings["3"][1] += 0.4

    study = study_depth_keys(readings)

    assert study.depths[3].left_out_mm == (readings["3"][1],)
    assert study.roots_mm == pytest.approx(clean.roots_mm, abs=0.01)
    assert study.warnings == (
        f"Depth 3: reading {readings['3'][1]:.3f} mm was left out, the others of this depth contradict it.",
    )


def test_good_readings_are_seldom_left_out() -> None:
    """At most about one set in a hundred loses a reading that was good."""
    rng = np.random.default_rng(7)
    lost = [any(d.left_out_mm for d in study_depth_keys(simulated(rng)).depths) for _ in range(300)]

    assert np.mean(lost) <= 0.03


def test_two_readings_that_disagree_are_both_kept_and_said() -> None:
    """Nobody can tell which of two is wrong."""
    readings = simulated(np.random.default_rng(8))
    readings["5"] = [readings["5"][0], readings["5"][0] + 0.3]

    study = study_depth_keys(readings)

    assert study.depths[5].readings_mm == tuple(readings["5"])
    assert "Depth 5: its two readings disagree; measure it again." in study.warnings


def test_worn_depth_key_is_named() -> None:
    """One depth key 0.09 mm low spoils otherwise equal steps."""
    readings = simulated(np.random.default_rng(9))
    readings["6"] = [value - 0.09 for value in readings["6"]]

    study = study_depth_keys(readings)

    assert not study.equal_steps().equal
    assert len(study.warnings) == 1
    assert study.warnings[0].startswith("Without depth 6 the steps are equal within error; it stands 0.0")
    assert "too low" in study.warnings[0]


def test_good_depth_key_of_depth_nine() -> None:
    """Common practice, no published source: depth 9 measured 5.14 against 5.12; a good key is within about 0.02 mm."""
    readings = {str(i): [8.54 - 0.38 * i] * 3 for i in range(9)} | {"9": [5.14, 5.14, 5.14]}

    study = study_depth_keys(readings)

    nine = study.depths[-1]
    assert abs(nine.root_mm.value - 5.12) <= 2 * nine.root_mm.sigma
    assert study.equal_steps(0.38).equal


def test_measured_table_is_a_keyspec_with_provenance_measured() -> None:
    """It loads, says who measured what, and is not unconfirmed."""
    readings = simulated(np.random.default_rng(10), step=0.5, depths=7)
    study = study_depth_keys({label: [value - 0.3 for value in values] for label, values in readings.items()})

    spec = study.to_spec(FRAME, "Harbourside measured", measured_by="T. Quill", measured_on=date(2026, 3, 4))

    assert spec.provenance.kind == "measured"
    assert spec.provenance.source.startswith("measured on depth keys by T. Quill on 2026-03-04, 4 readings or more")
    assert spec.roots_mm == pytest.approx(study.roots_mm, abs=1e-4)
    assert spec.cut_positions_mm == load_spec("Harbourside 5").cut_positions_mm
    with pytest.raises(Refusal, match="who measured it"):
        study.to_spec(FRAME, "x", measured_by=" ", measured_on=date(2026, 3, 4))


def test_mixed_up_labels_are_noticed() -> None:
    """Depths listed 0, 1, 2 whose roots come 0, 2, 1."""
    study: DepthKeyStudy = study_depth_keys({"0": [8.2, 8.2], "1": [7.2, 7.2], "2": [7.7, 7.7]})

    assert [depth.label for depth in study.depths] == ["0", "2", "1"]
    assert any("are in the order 0, 2, 1" in words for words in study.warnings)


@pytest.mark.parametrize(
    "text",
    [
        "0 8.54 8.53\n1 8.16 8.15\n",
        "# depth, readings\n0,8.54,8.53\n\n1, 8.16, 8.15",
        "0; 8,54; 8,53\n1\t8,16 8,15",
        "0: 8.54 8.53\n1: 8.16 8.15",
    ],
)
def test_readings_are_read_as_people_write_them(text: str) -> None:
    """Blanks, commas, semicolons, decimal comma or point."""
    assert parse_readings(text) == {"0": (8.54, 8.53), "1": (8.16, 8.15)}


def test_readings_in_inches_become_millimetres() -> None:
    """25.4 mm to the inch."""
    assert parse_readings("a 0.335 0.336", "in")["a"] == pytest.approx((8.509, 8.5344))


@pytest.mark.parametrize(
    ("readings", "words"),
    [
        ({"0": [8.0, 8.0]}, "at least two depth keys"),
        ({"0": [8.0], "1": [7.5]}, "read one depth twice"),
        ({"0": [8.0, 8.0], "1": []}, "Depth 1 has no reading"),
        ({"0": [8.0, 8.0], "1": [float("nan")]}, "Depth 1: a reading must be more than 0 mm; got nan"),
        ({"0": [8.0, 8.0], "1": [-7.0]}, "Depth 1: a reading"),
    ],
)
def test_readings_that_make_no_table_are_refused(readings: dict[str, list[float]], words: str) -> None:
    """One sentence that says which depth and what to do."""
    with pytest.raises(Refusal, match=words):
        study_depth_keys(readings)


def test_lines_that_cannot_be_read_are_named() -> None:
    """With their number."""
    with pytest.raises(Refusal, match="Line 2: a line is a depth label"):
        parse_readings("0 8.54\n1 eight")
    with pytest.raises(Refusal, match="Line 2: depth 0 stands twice"):
        parse_readings("0 8.54\n0 8.55")
