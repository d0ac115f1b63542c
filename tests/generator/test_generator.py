"""The generator's own promises: what it calls true is what it draws."""

from __future__ import annotations

import json
from itertools import pairwise

import cv2
import numpy as np
import pytest

from tests.generator.camera import aim
from tests.generator.make import draw_picture, write_set
from tests.generator.shape import CELL_MM, make_key
from tests.generator.tables import KINDS, invented_table, random_code, table_from_json


@pytest.fixture(scope="module", params=KINDS)
def key(request):
    """One key of every kind."""
    return make_key(invented_table(request.param, 31), np.random.default_rng(7))


def test_marks_lie_on_the_drawn_edge(key):
    """Every root mark has metal 0.05 mm inside it and none 0.05 mm outside."""
    roots = key.marks_mm()["roots"]
    edges = roots if isinstance(roots[0], list) else [roots]

    for edge, way in zip(edges, (1, -1), strict=False):
        for u, v in edge:
            inside, outside = (_cover_at(key, u, v + side * way * 0.05) for side in (-1, 1))
            assert (inside, outside) == pytest.approx((1.0, 0.0), abs=0.02)


def test_floor_heights_are_the_as_made_roots(key):
    """Root marks stand as high over the back (or apart, or from the centreline) as the truth says."""
    roots = key.marks_mm()["roots"]
    kind = key.table.edges
    if kind == "single":
        measured = [[v for _, v in roots]]
    elif kind == "double-mirrored":
        measured = [[a[1] - b[1] for a, b in zip(*roots, strict=True)]]
    else:
        half = key.table.height / 2
        measured = [[v - half for _, v in roots[0]], [half - v for _, v in roots[1]]]

    assert np.concatenate(measured) == pytest.approx(np.concatenate(key.roots_mm), abs=0.003)


def test_back_height_and_tip_are_where_the_marks_say(key):
    """The drawn solid ends at the tip mark and reaches from 0 to the blade height at the blade-height marks."""
    marks = key.marks_mm()
    (u, low), (_, high) = marks["blade_height"]

    column = key.cover[:, round((u - key.origin_mm[0]) / CELL_MM)].sum() * CELL_MM
    row = key.cover[round((marks["tip"][1] - key.origin_mm[1]) / CELL_MM)]
    end = key.origin_mm[0] + (np.flatnonzero(row > 0.5).max()) * CELL_MM

    assert column == pytest.approx(high - low, abs=0.03)
    assert end == pytest.approx(marks["tip"][0], abs=0.03)


def test_codes_respect_the_largest_step():
    """No drawn code steps further than its table allows."""
    rng = np.random.default_rng(3)
    for kind in KINDS:
        table = invented_table(kind, 4)
        for _ in range(50):
            for edge in random_code(table, rng):
                assert max(abs(a - b) for a, b in pairwise(edge)) <= table.macs


def test_table_survives_its_file_form():
    """A table written as keyspec/1 and read back is the same table."""
    for kind in KINDS:
        table = invented_table(kind, 9)

        assert table_from_json(json.loads(json.dumps(table.to_json()))) == table


def test_lit_edge_of_a_scan_lies_at_the_marks():
    """In a scan whose light leaves metal dark on white, the grey step lies within 0.05 mm of the true edge."""
    table = invented_table("A", 2)
    offsets = []
    for i in range(4):
        shape, drawn = draw_picture(table, "scan", [2, i])
        grey = drawn["image"].astype(np.float32)
        grey = grey if grey.ndim == 2 else grey.mean(axis=2)
        along = np.arange(-0.5, 0.5, 0.01)
        for u, v in shape.marks_mm()["roots"]:
            places = np.stack([u + np.zeros_like(along), v + along], axis=1)
            xy = drawn["to_picture"](places).astype(np.float32)
            line = cv2.remap(grey, xy[:, 0], xy[:, 1], cv2.INTER_LINEAR).ravel()
            if line[-20:].min() - line[:20].max() > 60:  # clearly metal below, lid above
                half = (line[-20:].mean() + line[:20].mean()) / 2
                offsets.append(along[np.flatnonzero(line > half)[0]])

    assert len(offsets) >= 3
    assert abs(np.median(offsets)) < 0.05


@pytest.mark.parametrize("medium", ["photo-copy"])
def test_same_seed_draws_the_same_picture(medium, tmp_path):
    """Two runs from one seed write equal files with equal truth (this medium goes through every model but the card)."""
    first = write_set(tmp_path / "a", 5, 1, (medium,), ("E",))
    second = write_set(tmp_path / "b", 5, 1, (medium,), ("E",))

    assert first == second
    name = first[0]["image"]
    assert (tmp_path / "a" / name).read_bytes() == (tmp_path / "b" / name).read_bytes()


def _cover_at(key, u, v):
    x, y = (u - key.origin_mm[0]) / CELL_MM, (v - key.origin_mm[1]) / CELL_MM
    return float(cv2.remap(key.cover, np.float32([[x]]), np.float32([[y]]), cv2.INTER_LINEAR)[0, 0])


def test_camera_rays_meet_the_plane_where_its_picture_says():
    """A pixel's ray to a plane and the picture of that place are each other's inverse, to a thousandth of a pixel."""
    rng = np.random.default_rng(5)
    camera = aim(rng, np.array([-60.0, -40.0]), np.array([60.0, 40.0]), (1200, 900), 25.0, 60.0, {})
    pixels = rng.uniform([0, 0], [1199, 899], (50, 2))

    x, y, slope_x, slope_y = camera.plane(pixels[:, 0], pixels[:, 1], 2.0)

    assert camera.picture(np.column_stack([x, y, np.full(50, 2.0)])) == pytest.approx(pixels, abs=1e-3)
    lower = np.column_stack([x + 2 * slope_x, y + 2 * slope_y, np.zeros(50)])  # the same rays, 2 mm further down
    assert camera.picture(lower) == pytest.approx(pixels, abs=1e-3)
