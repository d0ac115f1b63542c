"""The check of a cut key by a picture: what it may claim, and what it may not."""

from __future__ import annotations

import numpy as np
import pytest

from keycore.conformity import check_cut_key
from keycore.cutpicture import any_root_table, check_by_picture
from keycore.decode import decode
from keycore.measured import CutReading, Measured, Readings, SizeReference
from keycore.spec import KeySpec, load_spec

SPEC = load_spec("Harbourside 5")
CODE = ("3", "1", "4", "2", "5")
PX = 20.0


def readings(roots_mm, spec: KeySpec = SPEC, growth_mm: float = 0.10, sigma_mm: float = 0.02) -> Readings:
    """A scan of a key with these roots, a card of known length beside it, and its own estimate of growth."""
    positions = spec.cut_positions_mm * spec.edge_count
    cuts = tuple(
        CutReading(PX * (root + growth_mm), PX * sigma_mm, PX * at, PX * 0.03, edge=1 if i < spec.cuts_per_edge else 2)
        for i, (root, at) in enumerate(zip(roots_mm, positions, strict=True))
    )
    return Readings(
        cuts,
        (SizeReference("length", "both", PX * 80, 0.5, 80.0, 0.05),),
        growth_mm=Measured(growth_mm, 0.03),
        anisotropy_sigma=0.001,
        medium="scan",
    )


def roots_of(code, spec: KeySpec = SPEC):
    """Nominal roots."""
    return [spec.root_of(label) for label in code]


def test_good_key_is_never_failed_by_a_picture():
    """Keys cut within the tolerance: over ten of them no cut is called wrong, and the picture reads as the code."""
    rng = np.random.default_rng(5)
    for _ in range(10):
        made = np.array(roots_of(CODE)) + rng.normal(0, 0.02, 5)
        seen = made + rng.normal(0, 0.02, 5)
        found = check_by_picture(CODE, SPEC, readings(seen))

        assert found.check.outcome != "fail"
        assert found.decoding.code == CODE
        assert "calipers" in " ".join(found.check.words) or found.check.outcome == "pass"


def test_cut_of_a_wrong_depth_is_failed_alone_and_named():
    """Cut 3 made a depth too deep: it fails, the others do not, and what to do names it."""
    made = roots_of(("3", "1", "5", "2", "5"))
    found = check_by_picture(CODE, SPEC, readings(made))

    assert [check.outcome for check in found.check.checks] == ["cannot be told"] * 2 + ["fail"] + ["cannot be told"] * 2
    assert found.check.outcome == "fail"
    assert "reads as depth 5, not 4" in found.check.checks[2].words
    assert found.check.words[0].startswith("Cut 3: metal is missing; measure with calipers")


def test_all_cuts_too_low_alike_are_not_taken_for_less_growth():
    """Every root 0.15 mm low: with a good estimate of growth the check shows it, where a decoding would hide it."""
    made = [root - 0.15 for root in roots_of(CODE)]
    seen = readings(made)
    seen = Readings(seen.cuts, seen.references, Measured(0.10, 0.02), seen.anisotropy_sigma, seen.medium)
    found = check_by_picture(CODE, SPEC, seen)
    hidden = decode(seen, SPEC)

    shown = np.array([check.deviation_mm for check in found.check.checks])
    sigma = np.array([check.sigma_mm for check in found.check.checks])
    assert np.all(np.abs(shown + 0.15) < 2 * sigma)
    by_table = np.array([cut.root_mm for cut in hidden.cuts]) - roots_of(CODE)
    assert np.all(np.abs(shown + 0.15) < np.abs(by_table + 0.15))


def test_measured_roots_keep_their_own_uncertainty():
    """Over 24 keys of any heights, two thirds of the roots lie within one sigma and nineteen in twenty within two."""
    rng = np.random.default_rng(11)
    off = []
    for _ in range(24):
        made = rng.uniform(5.2, 8.2, 5)
        growth = rng.normal(0.10, 0.03)
        seen = readings(made + rng.normal(0, 0.02, 5), growth_mm=growth)
        seen = Readings(seen.cuts, seen.references, Measured(0.10, 0.03), seen.anisotropy_sigma, seen.medium)
        measured = decode(seen, any_root_table(SPEC), k=1).cuts
        off += [(cut.root_mm - root) / cut.sigma_mm for cut, root in zip(measured, made, strict=True)]

    assert np.mean(np.abs(off) < 1) > 0.55 and np.mean(np.abs(off) < 2) > 0.9


def test_nothing_is_claimed_from_a_picture_that_is_not_read_surely():
    """Two references that contradict each other make the reading unsure, so no cut passes and none fails."""
    seen = readings(roots_of(("3", "1", "6", "2", "5")))
    quarrel = (*seen.references, SizeReference("card", "both", PX * 85.6 * 1.2, 0.5, 85.6, 0.05))
    found = check_by_picture(CODE, SPEC, Readings(seen.cuts, quarrel, None, seen.anisotropy_sigma, seen.medium))

    assert found.decoding.verdict == "unsure"
    assert {check.outcome for check in found.check.checks} == {"cannot be told"}
    assert "nothing is claimed from it" in found.check.words[0]


def test_key_with_its_other_face_up_is_told():
    """Independent edges photographed from the other side: the edges are swapped back, and it is said."""
    spec = next(s for s in map(load_spec, ("Lantern 5", "Lighthouse 6")) if s.edges == "double-independent")
    half = spec.cuts_per_edge
    labels = spec.labels
    code = tuple(labels[i % 2] for i in range(half)) + tuple(labels[(i + 1) % 2] for i in range(half))
    turned = code[half:] + code[:half]
    found = check_by_picture(code, spec, readings(roots_of(turned, spec), spec))

    assert found.other_face and found.check.outcome != "fail"
    assert "other face up" in found.text()
    assert not check_by_picture(code, spec, readings(roots_of(code, spec), spec)).other_face


def test_record_says_what_it_was_measured_with():
    """keycheck/1 tells a picture's check from that of calipers."""
    by_picture = check_by_picture(CODE, SPEC, readings(roots_of(CODE))).to_json()
    by_calipers = check_cut_key(CODE, SPEC, roots_of(CODE), 0.01).to_json()

    assert (by_picture["measured_by"], by_calipers["measured_by"]) == ("picture", "calipers")
    assert by_picture["picture"]["reads_as"] == list(CODE) and "picture" not in by_calipers


@pytest.mark.parametrize("name", ["Harbourside 5", "Slipway 7", "Lantern 5", "Lighthouse 6"])
def test_table_that_says_nothing_reaches_beyond_the_depths(name):
    """Heights from 0.3 mm over the shallowest depth to 0.3 mm under the deepest, in steps finer than any table's."""
    spec = load_spec(name)
    free = any_root_table(spec)

    assert free.roots_mm[0] == pytest.approx(spec.roots_mm.max() + 0.3)
    assert free.roots_mm[-1] <= spec.roots_mm.min() - 0.3
    assert free.max_adjacent_step == len(free.depths) - 1
