"""The annotated picture: the straightened blade with its back, cut lines, roots and code, ready for a job's papers."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from PIL import Image as PilImage

from app.paper.drawing import XY, Drawing
from app.paper.fonts import text_width_mm
from app.paper.words import code_rows, is_doubtful, percent, plain, require_entitlement, root_meaning, table_line
from app.picture.values import Blade
from keycore.codes import format_code
from keycore.decode import CutDecoding, Decoding
from keycore.job import Entitlement
from keycore.measured import CutReading, Floats

WIDTH_MM = 180.0
PAD_MM = 3.0
SIDE_MM = 15.0
TALLEST_MM = 105.0
LABEL_MM = 2.9
LABELS_MM = 3 * 1.35 * LABEL_MM
DPI = 300


@dataclass(frozen=True)
class Annotated:
    """One annotated picture in both forms."""

    image: PilImage.Image
    svg: str
    dpi: int = DPI


def draw_annotated(
    rgb_straight: NDArray[np.uint8],
    blade: Blade,
    cuts: tuple[CutReading, ...],
    decoding: Decoding,
    entitlement: Entitlement | None,
    job_number: str,
    *,
    picture_name: str = "",
    made_on: str = "",
    roots_xy: Floats | None = None,
    dpi: int = DPI,
) -> Annotated:
    """Draw the annotated picture as a picture and as SVG.

    Parameters
    ----------
    rgb_straight
        (rows, columns, 3) or (rows, columns) straightened picture: bow at the left, cuts uppermost.
    blade, cuts
        The blade and the readings of its cuts, in straightened pixels.
    roots_xy
        (cuts, 2) straightened positions of the roots, where they are known better than by position from the gauge
        point; for a mirrored pair those of the upper edge.
    """
    drawing = annotated_drawing(
        rgb_straight, blade, cuts, decoding, entitlement, job_number,
        picture_name=picture_name, made_on=made_on, roots_xy=roots_xy,
    )  # fmt: skip
    drawing = drawing.padded(PAD_MM)
    title = f"Job {job_number}: annotated blade"
    return Annotated(drawing.to_image(dpi), drawing.to_svg(title), dpi)


def annotated_drawing(
    rgb_straight: NDArray[np.uint8],
    blade: Blade,
    cuts: tuple[CutReading, ...],
    decoding: Decoding,
    entitlement: Entitlement | None,
    job_number: str,
    *,
    picture_name: str = "",
    made_on: str = "",
    roots_xy: Floats | None = None,
    heading: bool = True,
) -> Drawing:
    """The same as a drawing in millimetres, for setting into other papers (then without heading and foot)."""
    spec = decoding.spec
    entitlement = require_entitlement(entitlement, spec, "The annotated picture")
    drawing = Drawing(WIDTH_MM, 10.0)
    y = _heading(drawing, decoding, job_number, picture_name, made_on) if heading else 1.0
    roots = _root_places(blade, cuts, decoding, roots_xy)
    two_rows = spec.edges == "double-independent"
    rows_px, columns_px = rgb_straight.shape[:2]
    k = min((WIDTH_MM - 2 * SIDE_MM) / columns_px, TALLEST_MM / rows_px)
    left = (WIDTH_MM - k * columns_px) / 2
    top = y + LABELS_MM + 5.0

    def place(xy: XY) -> XY:
        return left + k * (xy[0] + 0.5), top + k * (xy[1] + 0.5)

    drawing.picture((left, top), (k * columns_px, k * rows_px), rgb_straight)
    bottom = top + k * rows_px
    _edges(drawing, blade, spec.edges != "single", place, (left, left + k * columns_px))
    per_edge = len(decoding.cuts) // spec.edge_count
    flat_mm = spec.cut_form.flat_mm or 0.8
    half_px = 0.5 * flat_mm * decoding.scale.px_per_mm_along.value
    for edge in range(spec.edge_count):
        part = slice(edge * per_edge, (edge + 1) * per_edge)
        below = edge == 1
        _cuts(
            drawing, roots[part], decoding.cuts[part], place, half_px,
            label_y=bottom + 7.0 if below else y, edge_y=bottom if below else top, below=below,
        )  # fmt: skip
    if spec.edges == "double-mirrored":
        for (x, high), cut in zip(roots, cuts, strict=True):
            low = high + cut.root_px
            _haloed(drawing, [place((x - half_px, low)), place((x + half_px, low))], 0.3)
    foot = bottom + (7.0 + LABELS_MM if two_rows else 0.0) + 4.0
    foot = _bars(drawing, decoding, k, left, foot)
    if heading:
        foot = _foot(drawing, decoding, entitlement, foot)
    drawing.height_mm = foot + 1.0
    return drawing


def _root_places(blade: Blade, cuts: tuple[CutReading, ...], decoding: Decoding, roots_xy: Floats | None) -> Floats:
    """(cuts, 2) straightened position of every root's middle, as measured."""
    if roots_xy is not None:
        return np.asarray(roots_xy, float)
    spec = decoding.spec
    from_tip = spec.gauge_from == "tip"
    gauge = blade.tip_x if from_tip else blade.shoulder_x
    along = decoding.scale.px_per_mm_along.value
    if gauge is None:
        gauge = 0.0 if not from_tip else float(max(spec.cut_positions_mm)) * along
    per_edge = len(cuts) // spec.edge_count
    places = []
    for index, cut in enumerate(cuts):
        away = cut.position_px
        if away is None:
            away = spec.cut_positions_mm[index % per_edge] * along
        x = gauge - away if from_tip else gauge + away
        back = blade.back_y0 + blade.back_slope * x
        rise = cut.root_px / 2 if spec.edges == "double-mirrored" else cut.root_px
        places.append((x, back + rise if cut.edge == 2 else back - rise))
    return np.array(places)


def _heading(drawing: Drawing, decoding: Decoding, job_number: str, picture_name: str, made_on: str) -> float:
    spec = decoding.spec
    best = decoding.codes[0]
    drawing.text((0, 4.0), f"Job {job_number}", size_mm=3.6, weight="bold")
    right = "  ".join(part for part in (picture_name, made_on) if part)
    drawing.text((WIDTH_MM, 4.0), right, size_mm=2.6, anchor="end")
    y = drawing.wrapped((0, 8.6), table_line(spec), WIDTH_MM, 2.8)
    code = format_code(best.code, spec)
    size = min(7.5, 7.5 * (WIDTH_MM - 8) / text_width_mm(code, 7.5, "bold"))
    drawing.text((0, y + size), code, size_mm=size, weight="bold")
    width = text_width_mm(code, size, "bold")
    verdict = f"{decoding.verdict_words}; this code {percent(best.probability)}"
    if width + 6 + text_width_mm(verdict, 3.4) < WIDTH_MM:
        drawing.text((width + 6, y + size), verdict, size_mm=3.4)
        y += size + 2.0
    else:
        y = drawing.wrapped((0, y + size + 5.0), verdict, WIDTH_MM, 3.4) - 2.0
    drawing.line([(0, y + 1.0), (WIDTH_MM, y + 1.0)], width_mm=0.25)
    return y + 5.0


def _edges(drawing: Drawing, blade: Blade, double: bool, place: object, ends: tuple[float, float]) -> None:
    """Back or centreline and blade height, named beside the picture."""
    assert callable(place)
    drawn: list[tuple[float, str]] = []

    def level(y0: float, words: str, dash: tuple[float, ...]) -> None:
        (ax, ay), (bx, by) = place((0.0, y0)), place((1000.0, y0 + 1000.0 * blade.back_slope))
        slope = (by - ay) / (bx - ax)
        y_left, y_right = ay + (ends[0] - ax) * slope, ay + (ends[1] - ax) * slope
        _haloed(drawing, [(ends[0], y_left), (ends[1], y_right)], 0.18, dash)
        drawing.line([(ends[0] - 1.5, y_left), (ends[0], y_left)], width_mm=0.18)
        label_y = y_left + 0.9
        while any(abs(label_y - other) < 3.2 for other, _ in drawn):
            label_y += 0.5
        drawn.append((label_y, words))
        drawing.text((ends[0] - 2.0, label_y), words, size_mm=2.5, anchor="end")

    level(blade.back_y0, "centreline" if double else "back", (2.2, 1.0))
    if blade.top_y is not None:
        level(blade.top_y, "full height", (0.7, 0.9))


def _cuts(
    drawing: Drawing,
    roots: Floats,
    cuts: tuple[CutDecoding, ...],
    place: object,
    half_px: float,
    *,
    label_y: float,
    edge_y: float,
    below: bool,
) -> None:
    """Cut lines and root marks on the picture; numbers, depths and heights outside it, joined by bent leaders."""
    assert callable(place)
    centres = [place((float(x), float(y))) for x, y in roots]
    widest = max(text_width_mm("8.88 mm", LABEL_MM), 12.5)
    label_x = spread([x for x, _ in centres], widest, 0.5 * widest, WIDTH_MM - 0.5 * widest)
    step = 1.35 * LABEL_MM
    for (x, y), at, cut in zip(centres, label_x, cuts, strict=True):
        _haloed(drawing, [(x, edge_y), (x, y)], 0.15, (0.9, 0.7))
        flat = half_px * (place((1.0, 0.0))[0] - place((0.0, 0.0))[0])
        _haloed(drawing, [(x - flat, y), (x + flat, y)], 0.3)
        near = label_y - 1.5 if below else label_y + LABELS_MM
        drawing.line([(at, near), (x, edge_y)], width_mm=0.15)
        rows = [f"cut {cut.number}", cut.depth + (" ?" if is_doubtful(cut) else ""), f"{cut.root_mm:.2f} mm"]
        for row, words in enumerate(rows):
            bold = row == 1
            y_text = label_y + (row + 0.72) * step
            size = LABEL_MM * (1.25 if bold else 0.92)
            drawing.text((at, y_text), words, size_mm=size, anchor="middle", weight="bold" if bold else "plain")


def spread(wanted: list[float], apart: float, low: float, high: float) -> list[float]:
    """Places in the same order, at least so far apart and within the ends, near where they are wanted.

    Examples
    --------
    >>> spread([10.0, 11.0], 4.0, 0.0, 100.0)
    [8.5, 12.5]
    """
    if not wanted:
        return []
    order = sorted(range(len(wanted)), key=lambda i: wanted[i])
    apart = min(apart, (high - low) / max(1, len(wanted) - 1)) if len(wanted) > 1 else apart
    blocks: list[list[float]] = []  # [sum of (wanted - index * apart), count]
    for i in order:
        before = sum(block[1] for block in blocks)
        blocks.append([wanted[i] - before * apart, 1.0])
        while len(blocks) > 1 and blocks[-2][0] / blocks[-2][1] > blocks[-1][0] / blocks[-1][1]:
            last = blocks.pop()
            blocks[-1] = [blocks[-1][0] + last[0], blocks[-1][1] + last[1]]
    placed = [0.0] * len(wanted)
    position = 0
    for total, count in blocks:
        start = min(max(total / count, low), high - (len(wanted) - 1) * apart)
        for _ in range(int(count)):
            placed[order[position]] = start + position * apart
            position += 1
    return placed


def _bars(drawing: Drawing, decoding: Decoding, k: float, left: float, y: float) -> float:
    """Scale bars along and across the blade, in mm on the key."""
    along = k * decoding.scale.px_per_mm_along.value
    across = k * decoding.scale.px_per_mm_across.value
    y += 3.0
    for i in range(10):
        fill = "#000000" if i % 2 == 0 else "#ffffff"
        box = [
            (left + i * along, y),
            (left + (i + 1) * along, y),
            (left + (i + 1) * along, y + 1.2),
            (left + i * along, y + 1.2),
        ]
        drawing.line(box, width_mm=0.12, fill=fill, closed=True)
    drawing.text((left + 10 * along + 2, y + 1.6), "10 mm along the key", size_mm=2.5)
    x = min(left + 10 * along + 46, WIDTH_MM - 62)
    drawing.line([(x, y - 2.0), (x, y - 2.0 + across)], width_mm=0.3)
    for end in (y - 2.0, y - 2.0 + across):
        drawing.line([(x - 0.9, end), (x + 0.9, end)], width_mm=0.3)
    drawing.text((x + 2, y + 1.6), "1 mm across the key", size_mm=2.5)
    return y + max(4.0, across)


def _foot(drawing: Drawing, decoding: Decoding, entitlement: Entitlement, y: float) -> float:
    spec = decoding.spec
    scale = decoding.scale
    along, across = scale.px_per_mm_along.value, scale.px_per_mm_across.value
    facts = [
        f"Root heights are measured {root_meaning(spec)}. Scale {along:.3f} px/mm along, {across:.3f} across "
        f"(uncertainty {100 * scale.sigma_rel:.2f} %); growth {plain(decoding.growth_mm)} ± "
        f"{decoding.growth_sigma_mm:.2f} mm."
    ]
    rivals = [f"{format_code(r.code, spec)} ({percent(r.probability)})" for r in decoding.codes[1:3]]
    if rivals:
        facts.append(f"Next likeliest: {', '.join(rivals)}.")
    if len(code_rows(decoding)) == 2:
        facts.append("Edge 1 is the upper one here.")
    facts += list(decoding.warnings)
    for fact in facts:
        y = drawing.wrapped((0, y + 3.0), fact, WIDTH_MM, 2.6) - 3.0 + 0.8
    drawing.line([(0, y + 1.2), (WIDTH_MM, y + 1.2)], width_mm=0.25)
    return drawing.wrapped((0, y + 5.0), entitlement.line(), WIDTH_MM, 2.9, weight="bold") - 2.0


def _haloed(drawing: Drawing, points: list[XY], width_mm: float, dash: tuple[float, ...] = ()) -> None:
    """A dark line on a light band, to be seen on any ground and in grey."""
    drawing.line(points, width_mm=width_mm + 0.3, colour="#ffffff")
    drawing.line(points, width_mm=width_mm, colour="#000000", dash_mm=dash)
