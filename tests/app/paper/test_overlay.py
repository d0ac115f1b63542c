"""The overlay of a cut key: nominal and measured profile at their places, words clear of each other."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from app.paper.drawing import Line, Text
from app.paper.overlay import PAD_MM, overlay_drawing
from app.paper.profile import blade_profile
from keycore.conformity import check_cut_key
from keycore.job import Entitlement
from keycore.refusal import Refusal
from keycore.spec import load_spec
from tests.app.paper.made import CODE, SEEN, SPEC

ROOTS = [6.70, 7.70, 6.00, 7.21, 5.70]
CHECK = check_cut_key(CODE, SPEC, ROOTS, 0.012)


def test_measured_bars_stand_where_they_were_measured():
    """Each bar lies its deviation off the nominal floor, in the drawing's own enlargement."""
    drawing = overlay_drawing(CHECK, SEEN, "T-1")
    lines = [item for item in drawing.items if isinstance(item, Line)]
    nominal = max((line for line in lines if line.width_mm == 0.35), key=lambda line: len(line.points)).points
    bars = [line.points for line in lines if line.width_mm == 0.45]
    profile = blade_profile(CODE, SPEC)
    times = (nominal[-1][0] - nominal[0][0]) / profile.length_mm

    assert len(bars) == 5 and times == pytest.approx(6.0)
    heights = {round((x - nominal[0][0]) / times, 3): y for x, y in nominal}
    for (start, end), root, (x, v) in zip(bars, ROOTS, profile.floors[0], strict=True):
        floor_y = heights[round(x - 0.4, 3)]
        assert (floor_y - start[1]) / times == pytest.approx(root - v, abs=1e-6)
        assert (end[0] - start[0]) / times == pytest.approx(0.8)


def test_words_say_each_cut_and_cover_nothing():
    """Pass, FAIL or ? for each cut; no word lies on another; job, code, what to do and entitlement are there."""
    drawing = overlay_drawing(CHECK, SEEN, "T-1")
    texts = [item for item in drawing.items if isinstance(item, Text)]
    said = [item.text for item in texts]

    assert said.count("pass") == 4 and said.count("FAIL") == 1
    whole = " ".join(said)
    assert "Job T-1: the cut key" in whole and "3-1-4-2-5: fail" in whole and SEEN.asked_by in whole
    assert "A new blank is needed: cut 3" in whole
    boxes = [item.box for item in texts]
    for i, a in enumerate(boxes):
        assert a[0] >= PAD_MM - 0.1 and a[2] <= drawing.width_mm - PAD_MM + 0.1 and a[3] <= drawing.height_mm
        for b in boxes[i + 1 :]:
            assert a[2] <= b[0] + 0.05 or b[2] <= a[0] + 0.05 or a[3] <= b[1] + 0.05 or b[3] <= a[1] + 0.05


def test_pictures_edge_is_drawn_at_the_same_enlargement():
    """An outline that is the nominal edge falls onto it."""
    edge = blade_profile(CODE, SPEC).edges[0]
    drawing = overlay_drawing(replace(CHECK, measured_by="picture"), SEEN, "T-1", outline_mm=[edge])
    lines = [item for item in drawing.items if isinstance(item, Line)]
    nominal = max((line for line in lines if line.width_mm == 0.35), key=lambda line: len(line.points)).points
    seen = next(line for line in lines if line.dash_mm == (0.9, 0.5)).points

    assert np.abs(np.array(seen) - np.array(nominal)).max() < 1e-9


@pytest.mark.parametrize("name", ["Slipway 7", "Breakwater 8", "Lantern 5", "Chandlery 6"])
def test_overlay_can_be_drawn_for_every_kind_of_key(name):
    """Tip-gauged, mirrored and independent edges: as many bars as roots (two a cut for a mirrored pair)."""
    spec = load_spec(name)
    spec = spec.for_count(max(spec.allowed_counts))
    code = tuple(spec.labels[1] for _ in range(spec.cuts_per_edge * spec.edge_count))
    check = check_cut_key(code, spec, [spec.root_of(label) + 0.02 for label in code], 0.01)
    drawing = overlay_drawing(check, SEEN, "T-1")
    bars = [item for item in drawing.items if isinstance(item, Line) and item.width_mm == 0.45]

    assert len(bars) == len(code) * (2 if spec.edges == "double-mirrored" else 1)
    assert drawing.to_svg("x").startswith("<?xml") and drawing.to_image(60).size[0] > 100


def test_no_overlay_without_entitlement():
    """It shows a code."""
    with pytest.raises(Refusal, match="still to be recorded"):
        overlay_drawing(CHECK, Entitlement(), "T-1")
