"""A metal's hue, and what its lack speaks against an edge."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from app.picture.cuts import cut_curve
from app.picture.edgemaps import edge_maps
from app.picture.frame import Frame
from app.picture.hue import NO_METAL, Hue, metal_hue
from app.picture.sample import Patch, to_grey
from app.picture.shape import edge_shape
from keycore.measured import Floats
from keycore.spec import KeySpec

PX = 16.0
ORIGIN = np.array([160.0, 260.0])
FRAME = Frame.from_axes(ORIGIN, np.array([1.0, 0.0]), np.array([0.0, -1.0]), PX)
BRASS, NICKEL = (180.0, 150.0, 90.0), (152.0, 151.0, 150.0)
PAPER = (215.0, 208.0, 190.0)
"""In the warm light of a lamp, which the shadow has as well."""
SHADE = 0.84
"""The shadow's border is then a stronger edge than the brass's in the shadow."""
SHADOW_MM = 0.6
CODE = [0, 3, 1, 4, 2]


def _key_in_shadow(spec: KeySpec, metal: tuple[float, float, float]) -> Patch:
    """A blade with a shadow of one breadth above its cut edge."""
    shape = edge_shape(spec)
    columns, rows = np.meshgrid(np.arange(700.0), np.arange(330.0))
    x, y = (columns - ORIGIN[0]) / PX, (ORIGIN[1] - rows) / PX
    edge = shape.profile(x[0], shape.positions_mm, shape.roots_mm[CODE], shape.top_mm)[None, :]
    paper = np.where(((y > 0) & (y < edge + SHADOW_MM))[..., None], SHADE, 1.0) * np.array(PAPER)
    rgb = np.where(((y > 0) & (y < edge))[..., None], np.array(metal), paper)
    rgb += np.random.default_rng(7).normal(0.0, 3.0, rgb.shape)
    stored = np.clip(np.rint(rgb), 0, 255).astype(np.uint8)
    return Patch(to_grey(stored), 0, 0, stored)


def _floors_mm(patch: Patch, spec: KeySpec, hue: Hue | None) -> Floats:
    shape = edge_shape(spec)
    maps = edge_maps(
        patch, FRAME, shape, side=1, step_mm=0.05, beyond_mm=3.0, above_mm=1.5, below_mm=1.0, signed=False, hue=hue
    )
    return np.array([cut_curve(maps, float(at))[0].most_mm for at in shape.positions_mm])


def test_a_shadows_border_is_no_floor_where_the_metal_has_a_hue(spec: KeySpec) -> None:
    """Grey alone takes the border, the stronger edge, in most cuts; with the hue every floor is the metal's."""
    patch = _key_in_shadow(spec, BRASS)
    shape = edge_shape(spec)
    hue = metal_hue(patch, FRAME, shape, double=False)

    roots = shape.roots_mm[CODE]
    assert np.count_nonzero(_floors_mm(patch, spec, None) - roots > SHADOW_MM - 0.1) >= 4
    assert np.abs(_floors_mm(patch, spec, hue) - roots).max() < 0.1


def test_paper_in_any_light_has_no_share_of_the_hue_and_metal_all_of_it(spec: KeySpec) -> None:
    """Light paper and shadow 0, brass 1."""
    hue = metal_hue(_key_in_shadow(spec, BRASS), FRAME, edge_shape(spec), double=False)

    assert hue is not None
    middle = edge_shape(spec).positions_mm[3]
    root = float(edge_shape(spec).roots_mm[CODE[3]])
    at_mm = [[middle, root - 1.0], [middle, root + SHADOW_MM / 2], [middle, root + 2.0]]
    shares = hue.patch.at(FRAME.picture_xy(np.array(at_mm)))
    assert shares == pytest.approx([1.0, 0.0, 0.0], abs=0.2)


def test_a_key_as_grey_as_its_paper_and_a_grey_picture_have_no_hue(spec: KeySpec) -> None:
    """Then grey alone is read, as ever."""
    shape = edge_shape(spec)
    grey_paper = _key_in_shadow(spec, tuple(0.7 * np.array(PAPER)))
    no_colours = replace(_key_in_shadow(spec, BRASS), rgb=None)

    assert metal_hue(grey_paper, FRAME, shape, double=False) is None
    assert metal_hue(no_colours, FRAME, shape, double=False) is None


def test_a_grey_key_on_coloured_paper_has_the_hue_that_the_paper_has_not(spec: KeySpec) -> None:
    """Nickel silver on a brown table: its grey is a hue there."""
    patch = _key_in_shadow(spec, NICKEL)
    assert patch.rgb is not None
    brown = patch.rgb.astype(float)
    outside = np.abs(brown - np.array(NICKEL)).max(axis=-1) > 20.0
    brown[outside] *= np.array([0.8, 0.6, 0.4])
    stored = brown.astype(np.uint8)

    assert metal_hue(Patch(to_grey(stored), 0, 0, stored), FRAME, edge_shape(spec), double=False) is not None


def test_a_dark_side_wall_has_its_metals_hue_and_a_shadow_that_is_tinted_a_little_has_not() -> None:
    """A wall at a third of the face's light loses nothing; a shadow with a fifth of the hue loses all there is."""
    hue = Hue(Patch(np.zeros((1, 1), np.float32), 0, 0), 150.0)
    rows = np.ones((20, 1))

    assert hue.no_metal_inside(0.33 * rows, 50.0 * rows, 0.05).min() == 0.0
    assert hue.no_metal_inside(0.2 * rows, 150.0 * rows, 0.05).max() == -NO_METAL


def test_it_is_looked_for_inside_of_the_edge() -> None:
    """An edge with metal right up to it loses nothing, one that stands clear of the metal does."""
    hue = Hue(Patch(np.zeros((1, 1), np.float32), 0, 0), 150.0)
    share = np.where(np.arange(40) * 0.05 < 1.0, 1.0, 0.0)[:, None]

    against = hue.no_metal_inside(share, np.full((40, 1), 150.0), 0.05)[:, 0]

    assert against[20] == 0.0
    assert against[26] == -NO_METAL


def test_a_ground_that_is_nearly_black_has_no_ratios_to_tell_metal_from(spec: KeySpec) -> None:
    """Black velvet, and a ground of no light at all."""
    patch = _key_in_shadow(spec, BRASS)
    assert patch.rgb is not None
    metal = np.abs(patch.rgb.astype(float) - np.array(BRASS)).max(axis=-1) < 20.0

    for black in (0, 12):
        stored = np.where(metal[..., None], patch.rgb, np.uint8(black))
        assert metal_hue(Patch(to_grey(stored), 0, 0, stored), FRAME, edge_shape(spec), double=False) is None


def test_a_blade_that_lies_out_of_the_picture_has_no_hue(spec: KeySpec) -> None:
    """A wrong first frame may lie anywhere."""
    away = FRAME.moved(x_mm=500.0)

    assert metal_hue(_key_in_shadow(spec, BRASS), away, edge_shape(spec), double=False) is None
