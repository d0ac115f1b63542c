"""The overlay of a cut key: the nominal profile of the code, what is allowed, and the profile as measured.

Drawn larger than life, x and y alike, so that a tenth of a millimetre can be seen.
"""

from __future__ import annotations

from collections.abc import Sequence

from app.paper.annotated import spread
from app.paper.drawing import XY, Drawing
from app.paper.fonts import text_width_mm
from app.paper.profile import blade_profile
from app.paper.words import require_entitlement, table_line
from keycore.codes import format_code
from keycore.conformity import CutCheck, CutKeyCheck
from keycore.job import Entitlement
from keycore.measured import Floats

WIDTH_MM = 180.0
PAD_MM = 3.0
MOST_TIMES = 6.0
LABEL_MM = 2.7
ROW_MM = 3.7
MARKS = {"pass": "pass", "fail": "FAIL", "cannot be told": "?"}


def overlay_drawing(
    check: CutKeyCheck,
    entitlement: Entitlement | None,
    job_number: str,
    *,
    outline_mm: Sequence[Floats] = (),
    outline_words: str = "",
    heading: bool = True,
) -> Drawing:
    """Nominal blade (heavy line), the allowed band (grey), measured roots (bars with their uncertainty).

    Parameters
    ----------
    outline_mm
        The edge as the picture shows it, in key millimetres with its growth taken off; empty for caliper figures.
    outline_words
        What to say of it.
    heading
        False for setting into another paper, which has its own heading and entitlement.
    """
    spec, code = check.spec, check.code
    entitlement = require_entitlement(entitlement, spec, "The overlay of the cut key")
    profile = blade_profile(code, spec)
    times = min(MOST_TIMES, (WIDTH_MM - 2.0) / profile.length_mm)
    left = (WIDTH_MM - times * profile.length_mm) / 2
    two_rows = spec.edges == "double-independent"
    roots = [c for c in check.checks if c.what == "root"]
    drawing = Drawing(WIDTH_MM, 10.0)
    y = _heading(drawing, check, job_number) if heading else 1.0
    top = y + 3 * ROW_MM + 6.0
    bottom = top + times * profile.height_mm

    def place(x: float, v: float) -> XY:
        return left + times * x, bottom - times * v

    flat = spec.cut_form.flat_mm or 0.8
    for edge, floors in enumerate(profile.floors):
        for x, v in floors:
            t = spec.tolerance.root_mm if spec.edges != "double-mirrored" else spec.tolerance.root_mm / 2
            box = [place(x - flat, v - t), place(x + flat, v - t), place(x + flat, v + t), place(x - flat, v + t)]
            drawing.line(box, width_mm=0.0, fill="#c8c8c8", closed=True)
        drawing.line([place(float(x), float(v)) for x, v in profile.edges[edge]], width_mm=0.35)
    if profile.back is not None:
        drawing.line([place(float(x), float(v)) for x, v in profile.back], width_mm=0.35)
    for x in (0.0, profile.length_mm):
        drawing.line([place(x, 0.0), place(x, profile.height_mm)], width_mm=0.15, dash_mm=(0.8, 0.8))
    for line in outline_mm:
        shown = [(x, v) for x, v in line if 0 <= x <= profile.length_mm]
        if len(shown) > 1:
            drawing.line([place(float(x), float(v)) for x, v in shown], width_mm=0.15, dash_mm=(0.9, 0.5))
    per_edge = len(code) // spec.edge_count
    for edge in range(spec.edge_count):
        part = roots[edge * per_edge : (edge + 1) * per_edge]
        floors = profile.floors[edge]
        below = edge == 1
        _labels(drawing, part, [place(x, v) for x, v in floors], y if not below else bottom + 5.0,
                top - 1.0 if not below else bottom + 4.0, below)  # fmt: skip
        for cut, (x, v) in zip(part, floors, strict=True):
            off = cut.deviation_mm / (2 if spec.edges == "double-mirrored" else 1) * (-1 if below else 1)
            _bar(drawing, place, x, v + off, flat, cut.sigma_mm)
    if spec.edges == "double-mirrored":
        for cut, (x, v) in zip(roots, profile.floors[1], strict=True):
            _bar(drawing, place, x, v - cut.deviation_mm / 2, flat, cut.sigma_mm / 2)
    foot = bottom + (5.0 + 3 * ROW_MM if two_rows else 0.0) + 6.0
    drawing.line([(0, foot), (10 * times, foot)], width_mm=0.4)
    for end in (0.0, 10 * times):
        drawing.line([(end, foot - 0.9), (end, foot + 0.9)], width_mm=0.4)
    drawing.text((10 * times + 2, foot + 1.0), f"10 mm, drawn {times:.1f} times the size", size_mm=LABEL_MM)
    by = "in the picture" if check.measured_by == "picture" else "with calipers"
    said = [
        f"Heavy line: nominal. Grey: root ±{spec.tolerance.root_mm:g} mm. Bars: roots measured {by}, with their "
        f"standard uncertainty. {outline_words}",
        *check.words,
    ]
    y = foot + 6.0
    for words in said if heading else said[:1]:
        y = drawing.wrapped((0, y), words.strip(), WIDTH_MM, LABEL_MM) + 0.8
    if not heading:
        drawing.height_mm = y
        return drawing
    drawing.line([(0, y - 1.5), (WIDTH_MM, y - 1.5)], width_mm=0.25)
    drawing.height_mm = drawing.wrapped((0, y + 2.0), entitlement.line(), WIDTH_MM, 2.9, weight="bold")
    return drawing.padded(PAD_MM)


def _heading(drawing: Drawing, check: CutKeyCheck, job_number: str) -> float:
    drawing.text((0, 4.0), f"Job {job_number}: the cut key", size_mm=3.6, weight="bold")
    said = f"{format_code(check.code, check.spec)}: {check.outcome}"
    drawing.text((WIDTH_MM, 4.0), said, size_mm=3.6, weight="bold", anchor="end")
    return drawing.wrapped((0, 8.6), table_line(check.spec), WIDTH_MM, LABEL_MM)


def _labels(
    drawing: Drawing, cuts: Sequence[CutCheck], floors: Sequence[XY], y: float, to_y: float, below: bool
) -> None:
    wide = max(text_width_mm("+0.000 mm", LABEL_MM), 14.0)
    places = spread([x for x, _ in floors], wide, wide / 2, WIDTH_MM - wide / 2)
    for at, (x, floor_y), cut in zip(places, floors, cuts, strict=True):
        rows = (f"cut {cut.cut}: {cut.depth}", f"{cut.deviation_mm:+.3f} mm", MARKS[cut.outcome])
        for row, words in enumerate(rows):
            drawing.text(
                (at, y + (row + 0.8) * ROW_MM), words, size_mm=LABEL_MM, anchor="middle",
                weight="bold" if row == 2 else "plain",
            )  # fmt: skip
        near = y - 0.5 if below else y + 3 * ROW_MM + 0.5
        drawing.line([(at, near), (x, to_y)], width_mm=0.12)
        drawing.line([(x, to_y), (x, floor_y)], width_mm=0.12, dash_mm=(0.6, 0.9))


def _bar(drawing: Drawing, place: object, x: float, v: float, flat: float, sigma: float) -> None:
    assert callable(place)
    drawing.line([place(x - flat / 2, v), place(x + flat / 2, v)], width_mm=0.45)
    drawing.line([place(x, v - sigma), place(x, v + sigma)], width_mm=0.25)
    for end in (v - sigma, v + sigma):
        drawing.line([place(x - 0.12, end), place(x + 0.12, end)], width_mm=0.25)
