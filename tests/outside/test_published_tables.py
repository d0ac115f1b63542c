"""The shipped published tables against figures seen quoted elsewhere, each with its source beside it."""

from __future__ import annotations

import itertools

import pytest

from keycore.spec import load_spec, remaining_flat_mm

IN = 25.4

# table, first cut, spacing, shallowest root, deepest root, step (all in), largest step; source of the row
QUOTED = [
    # locksmiths' forum, 2013 (depths, first cut); Allegion knowledge base (step, spacing); maker's manual (MACS)
    ("Schlage classic", 0.231, 0.1562, 0.335, 0.200, 0.015, 7),
    # locksmiths' forum, 2013; step also in the maker's rekeying text; MACS from memory
    ("Kwikset", 0.247, 0.150, 0.329, 0.214, 0.023, 4),
    # locksmiths' forum
    ("Kwikset six cuts", 0.097, 0.150, 0.329, 0.214, 0.023, 4),
    # locksmiths' forum, text cut off after depth 7
    ("Sargent, depths 1 to 7 as quoted", 0.216, 0.156, 0.328, 0.208, 0.020, 6),
    # two pages that agree and may share one origin
    ("Arrow", 0.265, 0.155, 0.312, 0.186, 0.014, 7),
    ("Dexter", 0.216, 0.155, 0.320, 0.185, 0.015, 7),
    ("Corbin, Z bow", 0.250, 0.156, 0.343, 0.217, 0.014, 8),
    ("Corbin, X bow", 0.197, 0.156, 0.333, 0.207, 0.014, 8),
    ("Emhart", 0.250, 0.156, 0.305, 0.193, 0.028, 4),
    # one page, which lists all seven positions
    ("Corbin Russwin System 70", 0.250, 0.156, 0.339, 0.199, 0.028, 4),
    # from memory, shipped as unconfirmed
    ("Yale (from memory)", 0.200, 0.165, 0.320, 0.149, 0.019, 7),
    ("Weiser (from memory)", 0.237, 0.156, 0.315, 0.153, 0.018, 7),
    ("Sargent (from memory)", 0.216, 0.156, 0.330, 0.150, 0.020, 7),
]


@pytest.mark.parametrize("row", QUOTED, ids=lambda row: row[0])
def test_shipped_table_has_the_figures_that_were_quoted(
    row: tuple[str, float, float, float, float, float, int],
) -> None:
    """First cut, spacing, first and last root, step and largest step, each to a millionth of an inch."""
    name, first, spacing, shallow, deep, step, macs = row
    spec = load_spec(name)
    positions, roots = spec.cut_positions_mm, spec.roots_mm

    assert positions[0] / IN == pytest.approx(first, abs=1e-6)
    assert [(b - a) / IN for a, b in itertools.pairwise(positions)] == pytest.approx(
        [spacing] * (len(positions) - 1), abs=1e-6
    )
    assert (roots[0] / IN, roots[-1] / IN) == pytest.approx((shallow, deep), abs=1e-6)
    assert [(a - b) / IN for a, b in itertools.pairwise(roots)] == pytest.approx([step] * (len(roots) - 1), abs=1e-6)
    assert spec.max_adjacent_step == macs


def test_system_70_positions_are_those_of_the_page() -> None:
    """The page lists .250 .406 .562 .718 .874 1.030 1.186 in (seen quoted on one page)."""
    positions_in = [position / IN for position in load_spec("Corbin Russwin System 70").cut_positions_mm]
    assert positions_in == pytest.approx([0.250, 0.406, 0.562, 0.718, 0.874, 1.030, 1.186], abs=1e-9)


@pytest.mark.parametrize(
    ("name", "pins_in", "total_in", "slack_in"),
    [
        # bottom pins .178 + .014 n; root + pin = .490 (two pages)
        ("Arrow", [0.178 + 0.014 * n for n in range(10)], 0.490, 0.0),
        # pins .165 + .015 n; sum .485 (two pages)
        ("Dexter", [0.165 + 0.015 * n for n in range(10)], 0.485, 0.0),
        # pins .242 + .028; sum .547 (two pages)
        ("Emhart", [0.242 + 0.028 * n for n in range(5)], 0.547, 0.0),
        # pins listed one by one, steps 13 to 15 thousandths, sums .503 to .505 (two pages)
        ("Corbin, Z bow", [0.160, 0.174, 0.189, 0.203, 0.218, 0.231, 0.246, 0.259, 0.273, 0.287], 0.504, 0.001),
        ("Corbin, X bow", [0.171, 0.185, 0.198, 0.212, 0.226, 0.241, 0.256, 0.269, 0.284, 0.297], 0.504, 0.001),
        # bottom pins from memory: .165 + .015 n, sum .500; .172 + .023 (n - 1), sum .501
        ("Schlage classic", [0.165 + 0.015 * n for n in range(10)], 0.500, 0.0),
        ("Kwikset", [0.172 + 0.023 * n for n in range(6)], 0.501, 0.0),
    ],
)
def test_root_and_bottom_pin_add_up(name: str, pins_in: list[float], total_in: float, slack_in: float) -> None:
    """Pin lengths come from another column of the same pages: a wrong root would break the sum."""
    sums = [root / IN + pin for root, pin in zip(load_spec(name).roots_mm, pins_in, strict=True)]
    assert sums == pytest.approx([total_in] * len(sums), abs=slack_in + 1e-9)


def test_remaining_flat_of_the_published_cutter_angle() -> None:
    """Schlage, 100 degree cutter (Allegion knowledge base): .0311 in is left by a step of 7 at .1562 in."""
    flat_mm = remaining_flat_mm(load_spec("Schlage classic"))
    assert flat_mm is not None
    assert flat_mm / IN == pytest.approx(0.0311, abs=5e-5)
