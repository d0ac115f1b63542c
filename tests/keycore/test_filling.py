"""Filled valleys of copies: the deeper a cut the more it reads too high, on copies alone."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from keycore.decode import Decoder, decode
from keycore.decoding import Decoding
from keycore.filling import AMOUNTS_MM, FILLED_SHARE, fillings_of
from keycore.measured import COPIES, Medium, Readings
from keycore.spec import KeySpec
from tests.keycore.tables import INDEPENDENT, MIRRORED, curve, readings_of, spec_of

CODE = "031324"
WIDE = {"cut_positions": [5.0, 8.0, 11.0, 14.0, 17.0, 20.0], "blade": {"height": 8.3, "length": 26.0}}


def filled_readings(spec: KeySpec, amount_mm: float, medium: Medium, per_mm: float = 1.0) -> Readings:
    """A copy whose uncut edge grew by nothing and whose valleys are filled by ``amount_mm`` at most, curves narrow."""
    plain = replace(readings_of(spec, CODE, growth_mm=0.0), medium=medium)
    cuts = []
    for cut, label in zip(plain.cuts, CODE, strict=True):
        below_mm = 8.3 - spec.root_of(label)
        seen_px = cut.root_px + 12 * amount_mm * (1 - np.exp(-per_mm * below_mm))
        cuts.append(replace(cut, root_px=seen_px, evidence=curve([(1.0, seen_px)], 0.6, 0.0)))
    return replace(plain, cuts=tuple(cuts))


def read(amount_mm: float, medium: Medium, per_mm: float = 1.0) -> Decoding:
    """Decoded."""
    spec = spec_of(**WIDE)
    return decode(filled_readings(spec, amount_mm, medium, per_mm), spec)


@pytest.mark.parametrize("amount_mm", [0.4, 0.5, 0.55])
def test_a_copys_filled_valleys_are_read_through(amount_mm: float) -> None:
    """Up to more than a depth: the code comes out, the root of the deepest cut too, and a word says so."""
    decoding = read(amount_mm, "photocopy")

    assert decoding.code == tuple(CODE)
    assert decoding.cuts[5].root_mm == pytest.approx(6.4, abs=2 * decoding.cuts[5].sigma_mm)
    assert any("fill the deep cuts" in warning for warning in decoding.warnings)


def test_how_fast_filling_grows_with_depth_need_not_be_known_well() -> None:
    """Twice as fast, with the filling of a depth, and two thirds as fast, with more."""
    assert read(0.4, "photocopy", 2.0).code == read(0.55, "photocopy", 0.67).code == tuple(CODE)


def test_the_same_heights_in_a_scan_are_another_code() -> None:
    """There the metal itself is seen, so nothing is filled: what is read must not depend on the filling alone."""
    assert read(0.55, "scan").code != tuple(CODE)


def test_a_clear_copy_loses_little_by_it() -> None:
    """Nothing filled: the code stays sure, no word of shadow, and the roots are as in a scan."""
    copy, scan = read(0.0, "photocopy"), read(0.0, "scan")

    assert copy.code == scan.code == tuple(CODE)
    assert copy.probability > 0.98 and not any("fill" in warning for warning in copy.warnings)
    assert [cut.root_mm for cut in copy.cuts] == pytest.approx([cut.root_mm for cut in scan.cuts], abs=0.02)


@pytest.mark.parametrize("medium", COPIES)
@pytest.mark.parametrize(("changes", "below_mm"), [({}, 1.9), (MIRRORED, 0.95), (INDEPENDENT, 1.51)])
def test_a_filling_counts_from_the_uncut_edge_of_each_kind_of_key(
    changes: dict[str, object], below_mm: float, medium: Medium
) -> None:
    """More for each deeper depth; of a mirrored pair both valleys' together; shares as believed."""
    spec = spec_of(**changes)
    fillings = fillings_of(spec, medium)
    floors = 2 if spec.edges == "double-mirrored" else 1

    assert sum(filling.share for filling in fillings) == pytest.approx(FILLED_SHARE)
    for filling, amount_mm in zip(fillings, AMOUNTS_MM, strict=True):
        assert np.all(np.diff(filling.by_depth_mm) > 0) and filling.by_depth_mm[0] >= 0
        assert filling.by_depth_mm[-1] == pytest.approx(floors * amount_mm * (1 - np.exp(-below_mm)))


def test_nothing_is_filled_where_shadow_cannot_pass_for_metal() -> None:
    """Scans, photos of keys and a hand's figures; a copy's values that a hand set keep the one state too."""
    spec = spec_of(**WIDE)
    media: tuple[Medium, ...] = ("scan", "photo-card", "calipers")
    assert not any(fillings_of(spec, medium) for medium in media)

    by_hand = replace(readings_of(spec, CODE), medium="photocopy")
    assert len(np.unique(Decoder(by_hand, spec).posteriors[0].lattice.points.state)) == 1


def test_halving_the_steps_changes_no_probability_of_a_filled_copy() -> None:
    """Filled states take every other level of the lattice: fine enough all the same, to a thousandth."""
    spec = spec_of(**WIDE)
    readings = filled_readings(spec, 0.5, "photocopy")
    usual, finer = decode(readings, spec), Decoder(readings, spec, step=0.7).decoding()
    fine = {ranked.code: ranked.probability for ranked in finer.codes}

    assert [r.probability for r in usual.codes[:4]] == pytest.approx([fine[r.code] for r in usual.codes[:4]], abs=1e-3)
