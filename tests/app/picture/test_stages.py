"""The pictures of each stage show what was read, where it was read."""

from __future__ import annotations

from dataclasses import replace
from functools import cache

import numpy as np
import pytest

from app.picture.plate import BLUE, PAPER, Plate
from app.picture.read import read_picture
from app.picture.stages import blade_stages, page_stages
from app.picture.stages_blade import BladeView, blade_of, evidence_of
from app.picture.values import Picture
from keycore.decode import decode
from keycore.spec import KeySpec, parse_spec
from tests.generator.make import draw_picture
from tests.generator.tables import invented_table
from tests.generator.truth import picture_marks


@cache
def _drawn(kind: str, medium: str, seed: int = 1) -> tuple[Picture, KeySpec, list[list[tuple[float, float]]]]:
    """A drawn picture with its table and the true places of its roots, one list for each edge."""
    table = invented_table(kind, 5)
    shape, drawn = draw_picture(table, medium, [5, seed])
    dpi = None if drawn["stored_dpi"] is None else (float(drawn["stored_dpi"]),) * 2
    roots = picture_marks(shape, drawn["to_picture"], None)["roots"]
    edges = roots if isinstance(roots[0][0], list) else [roots]
    return Picture("a.png", drawn["image"], dpi, "0" * 64), parse_spec(table.to_json()), edges


@cache
def _view(kind: str, medium: str, seed: int = 1) -> BladeView:
    picture, spec, _ = _drawn(kind, medium, seed)
    reading = read_picture(picture, spec)
    return blade_of(picture, reading, decode(reading.readings, spec))


@pytest.mark.parametrize(
    ("kind", "medium", "seed"), [("A", "scan", 1), ("C", "scan", 0), ("E", "scan", 1), ("A", "photo-card", 1)]
)
def test_the_drawn_edge_passes_through_the_roots_of_the_key(kind: str, medium: str, seed: int) -> None:
    """Single edges gauged from shoulder and tip, independent edges, and a tilted photo: within 0.2 mm of the truth."""
    view, true_roots = _view(kind, medium, seed), _drawn(kind, medium, seed)[2]
    for edge, side in enumerate(view.sides):
        true_mm = view.frame.blade_mm(np.array(true_roots[edge]))
        drawn = side * view.profile(true_mm[:, 0], edge, 0.0)
        assert np.abs(drawn - true_mm[:, 1]).max() < 0.2


def test_where_black_hides_floors_the_evidence_of_their_flanks_is_drawn() -> None:
    """The black's border, no floor, is not drawn as one; floors that show are."""
    hidden, shown = _view("A", "photocopy", 0), _view("A", "photocopy", 1)

    assert hidden.hidden == (True,) and shown.hidden == (False,)
    for view in (hidden, shown):
        drawn = evidence_of(view, 0)
        whole = evidence_of(replace(view, reading=replace(view.reading, kept=None)), 0)
        assert np.allclose(drawn.cut, whole.cut - (whole.floor if view is hidden else 0.0))


def test_each_stage_is_a_picture_of_its_own() -> None:
    """Two of the page and four of the blade, named in the order of the work, each titled, none like another."""
    picture, spec, _ = _drawn("E", "scan")
    view = _view("E", "scan")
    stages = (
        *page_stages(picture, spec, view.reading, key=0),
        *blade_stages(picture, view.reading, view.decoding),
    )
    assert [stage.name for stage in stages] == ["1-keys", "2-ground", "3-blade", "4-edges", "5-cuts", "6-ladder"]
    for stage in stages:
        assert stage.rgb.ndim == 3 and 300 < stage.rgb.shape[0] < 2500 and not stage.rgb.flags.writeable
        assert stage.rgb[20:60, 20:300].min() < 80, "no title stands at the top"
    assert len({stage.rgb.tobytes() for stage in stages}) == 6


def test_where_no_key_is_seen_the_page_is_still_shown() -> None:
    """A blank page gives the two pictures of the page, which say so."""
    blank = Picture("blank.png", np.full((400, 600), 240, np.uint8), None, "0" * 64)
    keys, ground = page_stages(blank, _drawn("A", "scan")[1], None, key=0)
    assert (keys.name, ground.name) == ("1-keys", "2-ground")
    assert not np.array_equal(keys.rgb, ground.rgb)


def test_a_dashed_line_has_gaps_however_finely_it_is_given() -> None:
    """Half of a curve of a thousand points stays paper."""
    plate = Plate((400, 40), "Dashes")
    x = np.linspace(30, 390, 1000)
    plate.line(np.stack([x, np.full(1000, plate.top + 20.0)], axis=1), BLUE, 3, dashed=True)
    row = plate.pixels()[plate.top + 20, 30:390]
    assert 0.35 < (row == PAPER).all(axis=1).mean() < 0.6
