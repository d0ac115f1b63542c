"""The depth ladder on paper: under each cut the table's depths at true height, filled by probability, and the root."""

from __future__ import annotations

from app.paper.drawing import Drawing
from app.paper.words import is_doubtful
from keycore.decode import Decoding

WIDTH_MM = 180.0
TALL_MM = 52.0
LEFT_MM = 14.0


def ladder_drawing(decoding: Decoding, width_mm: float = WIDTH_MM, tall_mm: float = TALL_MM) -> Drawing:
    """Draw the ladder: a column for each cut, bow to tip; independent edges one after the other."""
    spec = decoding.spec
    roots = spec.roots_mm
    margin = 0.06 * float(roots.max() - roots.min()) + 0.05
    measured = [cut.root_mm for cut in decoding.cuts]
    high = max(float(roots.max()), *measured) + margin
    low = min(float(roots.min()), *measured) - margin
    top = 10.0 if spec.edge_count == 2 else 6.5
    bottom = top + tall_mm
    per_edge = len(decoding.cuts) // spec.edge_count
    gap = 6.0 if spec.edge_count == 2 else 0.0
    column = min(30.0, (width_mm - LEFT_MM - gap) / len(decoding.cuts))
    drawing = Drawing(width_mm, bottom + 7.0)

    def y_of(root_mm: float) -> float:
        return top + (high - root_mm) / (high - low) * (bottom - top)

    size = min(2.6, 0.8 * (bottom - top) / len(roots))
    for root in roots:
        drawing.text((LEFT_MM - 2.0, y_of(float(root)) + 0.36 * size), f"{root:.2f}", size_mm=size, anchor="end")
    drawing.text((LEFT_MM - 2.0, top - 2.0), "mm", size_mm=size, anchor="end")
    for index, cut in enumerate(decoding.cuts):
        left = LEFT_MM + index * column + (gap if index >= per_edge else 0.0)
        middle = left + column / 2
        name = f"cut {cut.number}" if spec.edge_count == 1 or column > 15 else str(cut.number)
        if spec.edge_count == 2 and index % per_edge == 0:
            drawing.text((left, 2.6), f"edge {cut.edge}", size_mm=2.6, weight="bold")
        drawing.text((middle, top - 3.0), name, size_mm=2.6, anchor="middle")
        inner, rung = column - 4.0, min(1.7, 0.55 * (bottom - top) / len(roots))
        for label, root in zip(spec.labels, roots, strict=True):
            y = y_of(float(root))
            share = cut.depths.get(label, 0.0)
            drawing.line([(left + 4.0, y), (left + 4.0 + inner - 2.0, y)], width_mm=0.12, colour="#909090")
            if share > 0.004:
                box = [(left + 4.0, y - rung / 2), (left + 4.0 + share * (inner - 2.0), y - rung / 2),
                       (left + 4.0 + share * (inner - 2.0), y + rung / 2), (left + 4.0, y + rung / 2)]  # fmt: skip
                drawing.line(box, width_mm=0.12, fill="#b4b4b4", closed=True)
            bold = label == cut.depth
            drawing.text(
                (left + 3.0, y + 0.36 * size), label, size_mm=size, anchor="end", weight="bold" if bold else "plain"
            )
        y, half = y_of(cut.root_mm), abs(y_of(cut.root_mm + cut.sigma_mm) - y_of(cut.root_mm))
        drawing.line([(left + 3.6, y), (left + column - 1.2, y)], width_mm=0.35)
        x = left + column - 1.8
        drawing.line([(x, y - half), (x, y + half)], width_mm=0.35)
        for end in (y - half, y + half):
            drawing.line([(x - 0.6, end), (x + 0.6, end)], width_mm=0.25)
        words = f"{cut.depth}{' ?' if is_doubtful(cut) else ''}"
        drawing.text((middle, bottom + 5.0), words, size_mm=4.0, anchor="middle", weight="bold")
    return drawing
