"""Which tables could have made these readings."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from keycore.identify import identify, identify_by_own_readings, readings_under
from keycore.measured import Measured
from keycore.spec import KeySpec, list_specs
from tests.keycore.tables import readings_of, spec_of


def _library() -> list[KeySpec]:
    def named(name, **changes):
        return spec_of(name=name, cut_form=..., **changes)

    def falling(step, top=8.0):
        return [{"label": str(i), "root": top - step * i} for i in range(5)]

    return [
        named("Even 4", depths=falling(0.4)),
        named("Fine 4", depths=falling(0.3)),
        named("Close 4", depths=falling(0.4), cut_positions=[5.0, 8.0, 11.0, 14.0]),
        named("Low 4", depths=falling(0.4, 7.2), blade={"height": 7.5, "length": 24.0}),
        named("Five", cut_positions=[5.0, 9.0, 13.0, 17.0, 21.0]),
    ]


def _readings(spec, code, seed):
    return readings_of(spec, code, noise=np.random.default_rng(seed), growth=Measured(0.2, 0.06), sigma_px=0.3)


def test_the_table_that_made_the_key_comes_first():
    """Four tables of four cuts; the one of five is left out with the reason."""
    library = _library()
    for index, spec in enumerate(library[:4]):
        found = identify(_readings(spec, "0314", 3 + index), library)

        assert found.candidates[0].spec.name == spec.name
        assert found.candidates[0].probability > 0.9
        assert [name for name, _ in found.left_out] == ["Five"] and "5 cuts" in found.left_out[0][1]
        assert sum(c.probability for c in found.candidates) + found.none_probability == pytest.approx(1)
        assert "".join(found.candidates[0].decoding.code) == "0314"


def test_none_of_these_is_said_when_none_fits():
    """Cuts at places and heights that no table has."""
    spec = spec_of(cut_positions=[5.0, 8.5, 13.6, 17.3], cut_form=...)
    readings = _readings(spec, "0314", 1)
    heights = (5, -9, 12, -4)
    cuts = tuple(replace(c, root_px=c.root_px + off / 5) for c, off in zip(readings.cuts, heights, strict=True))
    found = identify(replace(readings, cuts=cuts), _library())

    assert found.none_probability > 0.9 and found.words.startswith("None of these tables fits")


def test_random_places_and_heights_are_not_called_a_shipped_key():
    """Nonsense against the whole library: none of these, at least six times of seven."""
    specs = [entry.spec for entry in list_specs() if entry.spec is not None and 5 in entry.spec.allowed_counts][:3]
    rng = np.random.default_rng(8)
    spec = spec_of(cut_positions=[5.0, 9.0, 13.0, 17.0, 21.0], cut_form=...)
    said = 0
    for _ in range(7):
        readings = readings_of(spec, "01234")
        places = np.sort(rng.uniform(40, 260, 5))
        cuts = tuple(
            replace(c, root_px=float(rng.uniform(60, 100)), position_px=float(p))
            for c, p in zip(readings.cuts, places, strict=True)
        )
        said += identify(replace(readings, cuts=cuts), specs).none_probability > 0.5

    assert said >= 6


def test_without_places_two_alike_tables_are_both_kept():
    """Same depths, other spacing: roots alone cannot tell them, and the words say so."""
    library = [_library()[0], _library()[2]]
    readings = readings_of(library[0], "0314", places=False, growth=Measured(0.2, 0.06))
    found = identify(readings, library)

    assert found.candidates[0].probability == pytest.approx(found.candidates[1].probability, rel=0.05)
    assert found.words.startswith("Likeliest is")


def test_blade_sizes_come_from_each_table():
    """Height and length are the same measurement for every table, with that table's true value."""
    spec = _library()[3]
    under = readings_under(readings_of(spec_of(), "0314"), spec)

    assert [r.true_mm for r in under.references] == [7.5]
    assert readings_under(readings_of(spec_of(), "0314"), spec_of(blade=...)).references == ()


def test_no_table_with_so_many_cuts():
    """An empty comparison is a plain answer."""
    found = identify(_readings(_library()[4], "03142", 1), _library()[:4])

    assert found.candidates == () and found.none_probability == 1
    assert found.words == "No table has keys with this number of cuts."


def test_tables_that_read_in_their_own_way_are_compared_without_places():
    """Each table's readings have its own places; the one whose depths fit wins, and the words give the reason."""
    library = _library()[:3]
    read = [(spec, replace_places(_readings(library[0], "0314", 5), spec)) for spec in library]
    found = identify_by_own_readings(read, [("Five", "No key was found.")])

    assert found.candidates[0].spec.name in ("Even 4", "Close 4")  # the same depths; places do not count
    assert found.left_out == (("Five", "No key was found."),)
    fine = next(candidate for candidate in found.candidates if candidate.spec.name == "Fine 4")
    assert fine.probability < 0.1


def replace_places(readings, spec):
    """The cuts as if they had been found where this table has them."""
    cuts = zip(readings.cuts, spec.cut_positions_mm, strict=True)
    return replace(readings, cuts=tuple(replace(cut, position_px=10.0 * at_mm) for cut, at_mm in cuts))
