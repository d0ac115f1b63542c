"""The light-test template: the blade of a code at true size, to lay the cut key on over a light.

Beside it stand the picture's own outline at true size and two rules that must measure 100.0 mm.  No printer is true by
itself: print once, measure both rules, give the two lengths (:class:`PrinterCorrection`) and print again.
"""

from __future__ import annotations

import io
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

import numpy as np
from reportlab.pdfgen.canvas import Canvas

from app.paper.drawing import PT_PER_MM, Drawing
from app.paper.profile import BladeProfile, blade_profile
from app.paper.words import require_entitlement, root_meaning, table_line
from keycore.codes import Code, format_code
from keycore.job import Entitlement
from keycore.measured import Floats
from keycore.refusal import Refusal
from keycore.spec import KeySpec

PageSize = Literal["A4", "Letter"]
PAGES_MM: dict[PageSize, tuple[float, float]] = {"A4": (210.0, 297.0), "Letter": (215.9, 279.4)}
RULE_MM = 100.0
HAIR_MM = 0.1
RULE_ALONG_MM = (20.0, 190.0)
"""Left end of the rule along, from the page's top left corner."""
RULE_ACROSS_MM = (190.0, 60.0)
"""Upper end of the rule across."""
BLADES_MM = (40.0, 72.0, 104.0)
"""Lower edge of the blades as drawn: the code, its mirror image, the picture's outline."""
BLADE_LEFT_MM = 40.0
WORST_PRINTER = 0.1
OUTLINE_TITLE = "The picture's own outline, on the scale that was found"
MEASURED_TITLE = "The roots as the picture measures them, growth taken off"


@dataclass(frozen=True)
class PrinterCorrection:
    """How much longer the next print must be drawn, along (page's width) and across (page's height)."""

    along: float = 1.0
    across: float = 1.0

    @classmethod
    def from_rules(
        cls, along_mm: float, across_mm: float, before: PrinterCorrection | None = None
    ) -> PrinterCorrection:
        """From what the two printed rules measure; ``before`` is the correction that this print already had."""
        before = before or cls()
        for name, value in (("along", along_mm), ("across", across_mm)):
            if not abs(value / RULE_MM - 1) <= WORST_PRINTER:
                raise Refusal(
                    f"The rule {name} cannot measure {value:g} mm: printers stray by a few per cent. Measure it from "
                    f"end mark to end mark in millimetres; it was drawn to be 100.0 mm.",
                    code="template.rule",
                )
        return cls(before.along * RULE_MM / along_mm, before.across * RULE_MM / across_mm)

    def words(self) -> str:
        """What this page's lengths were changed by, to be printed on it; "" where they were not."""
        if (self.along, self.across) == (1.0, 1.0):
            return ""
        return (
            f"Corrected for one printer: drawn {100 * (self.along - 1):+.3f} % along and "
            f"{100 * (self.across - 1):+.3f} % across. Its rules, too, must measure 100.0 mm once printed there."
        )


def template_pdf(
    code: Code,
    spec: KeySpec,
    entitlement: Entitlement | None,
    job_number: str,
    *,
    outline_mm: Sequence[Floats] = (),
    outline_title: str = OUTLINE_TITLE,
    page: PageSize = "A4",
    correction: PrinterCorrection | None = None,
) -> bytes:
    """The template as a PDF page at true size.

    Parameters
    ----------
    outline_mm
        Lines of the picture's own outline in key millimetres: x from the shoulder, y up from the back (the lower
        edge of a double key), as :func:`outline_of` gives them.
    correction
        From the rules of an earlier print; text stays, lengths change.
    """
    correction = correction or PrinterCorrection()
    drawing = template_drawing(
        code,
        spec,
        entitlement,
        job_number,
        outline_mm=outline_mm,
        outline_title=outline_title,
        page=page,
        note=correction.words(),
    )
    width, height = PAGES_MM[page]
    out = io.BytesIO()
    canvas = Canvas(out, pagesize=(width * PT_PER_MM, height * PT_PER_MM), pageCompression=1, invariant=1)
    canvas.setTitle(f"Light test, job {job_number}")
    canvas.setCreator("Valleygauge")
    canvas.setViewerPreference("PrintScaling", "None")
    canvas.translate(width / 2 * PT_PER_MM, height / 2 * PT_PER_MM)
    canvas.scale(correction.along, correction.across)  # about the middle of the page, so that nothing runs off one side
    drawing.on_canvas(canvas, -width / 2 * PT_PER_MM, height / 2 * PT_PER_MM)
    canvas.showPage()
    canvas.save()
    return out.getvalue()


def template_svg(
    code: Code, spec: KeySpec, entitlement: Entitlement | None, job_number: str, *,
    outline_mm: Sequence[Floats] = (), outline_title: str = OUTLINE_TITLE, page: PageSize = "A4",
) -> str:  # fmt: skip
    """The same page as SVG whose user unit is the millimetre."""
    drawing = template_drawing(
        code, spec, entitlement, job_number, outline_mm=outline_mm, outline_title=outline_title, page=page
    )
    return drawing.to_svg(f"Light test, job {job_number}")


def template_dxf(
    code: Code, spec: KeySpec, entitlement: Entitlement | None, job_number: str, *, outline_mm: Sequence[Floats] = ()
) -> str:
    """The blade, the picture's outline and the rules as DXF in millimetres, y up, the shoulder's foot at the origin."""
    from ezdxf import units
    from ezdxf.filemanagement import new

    entitlement = require_entitlement(entitlement, spec, "The light-test template")
    document = new("R2010", units=units.MM)
    for name, colour in (("BLADE", 7), ("PICTURE", 1), ("RULES", 5), ("TEXT", 8)):
        document.layers.add(name, color=colour)
    space = document.modelspace()
    profile = blade_profile(code, spec)
    for edge in profile.edges:
        space.add_lwpolyline([(float(x), float(y)) for x, y in edge], dxfattribs={"layer": "BLADE"})
    if profile.back is not None:
        space.add_lwpolyline([(float(x), float(y)) for x, y in profile.back], dxfattribs={"layer": "BLADE"})
    for line in outline_mm:
        space.add_lwpolyline([(float(x), float(y)) for x, y in line], dxfattribs={"layer": "PICTURE"})
    space.add_line((0, -20), (RULE_MM, -20), dxfattribs={"layer": "RULES"})
    space.add_line((-10, -20), (-10, RULE_MM - 20), dxfattribs={"layer": "RULES"})
    words = [
        f"Job {job_number}, {spec.name}, code {format_code(code, spec)}",
        entitlement.line(),
        "Rules are 100.0 mm.",
    ]
    for row, text in enumerate(words):
        space.add_text(text, height=2.5, dxfattribs={"layer": "TEXT", "insert": (0, -28 - 5 * row)})
    out = io.StringIO()
    document.write(out)
    return out.getvalue()


def outline_of(outline_xy: Floats, gauge_x: float, back_y0: float, back_slope: float, px_per_mm: tuple[float, float],
               gauge_mm: float = 0.0, lower_edge_mm: float = 0.0) -> Floats:  # fmt: skip
    """A blade's outline in straightened pixels as key millimetres.

    Parameters
    ----------
    outline_xy
        (n, 2) straightened positions, y down.
    gauge_x, gauge_mm
        Where a known place along the blade lies in pixels, and its x in key millimetres (0 for the shoulder, the
        blade's length for the tip).
    back_y0, back_slope
        The back (or centreline) in straightened pixels.
    px_per_mm
        Scale along and across.
    lower_edge_mm
        Key y of that line: 0 for a back, half the blade height for a centreline.
    """
    xy = np.asarray(outline_xy, float)
    x = (xy[:, 0] - gauge_x) / px_per_mm[0] + gauge_mm
    y = (back_y0 + back_slope * xy[:, 0] - xy[:, 1]) / px_per_mm[1] + lower_edge_mm
    return np.column_stack([x, y])


def template_drawing(
    code: Code, spec: KeySpec, entitlement: Entitlement | None, job_number: str, *,
    outline_mm: Sequence[Floats] = (), outline_title: str = OUTLINE_TITLE, page: PageSize = "A4", note: str = "",
) -> Drawing:  # fmt: skip
    """The page as a drawing in millimetres; every length of the blade and the rules is true."""
    entitlement = require_entitlement(entitlement, spec, "The light-test template")
    profile = blade_profile(code, spec)
    width, height = PAGES_MM[page]
    drawing = Drawing(width, height)
    drawing.text((20, 16), "Light test", size_mm=5.0, weight="bold")
    drawing.text((width - 20, 16), f"Job {job_number}", size_mm=4.0, weight="bold", anchor="end")
    drawing.text((20, 22), table_line(spec), size_mm=2.8)
    drawing.text((width - 20, 22), format_code(code, spec), size_mm=4.0, weight="bold", anchor="end")
    titles = (
        "The code, this face up",
        "The code, the other face up",
        outline_title,
    )
    for y, title, kind in zip(BLADES_MM, titles, ("code", "turned", "picture"), strict=True):
        if kind == "picture" and not outline_mm:
            drawing.text((BLADE_LEFT_MM, y + 4.5), "No outline of a picture was given.", size_mm=2.5)
            continue
        _blade(drawing, profile, y, turned=kind == "turned", faint=kind == "picture")
        if kind == "picture":
            for line in outline_mm:
                drawing.line([(BLADE_LEFT_MM + x, y - v) for x, v in line], width_mm=HAIR_MM)
        drawing.text((BLADE_LEFT_MM, y + 4.5), title, size_mm=2.5)
    _roots(drawing, profile, code, spec)
    _rules(drawing)
    _words(drawing, profile, spec, entitlement, height, note)
    return drawing


def _blade(drawing: Drawing, profile: BladeProfile, y: float, *, turned: bool, faint: bool) -> None:
    """One blade with the shoulder at the left; ``turned`` shows it upside down, as the key's other face would."""

    def place(point: Floats) -> tuple[float, float]:
        v = profile.height_mm - float(point[1]) if turned else float(point[1])
        return BLADE_LEFT_MM + float(point[0]), y - v

    lines = [*profile.edges, *([] if profile.back is None else [profile.back])]
    dash = (0.6, 0.6) if faint else ()
    for line in lines:
        drawing.line([place(p) for p in line], width_mm=HAIR_MM, dash_mm=dash)
    end = np.array([[profile.length_mm, lines[0][-1, 1]], [profile.length_mm, lines[1][-1, 1]]])
    start = np.array([[0.0, -1.5], [0.0, profile.height_mm + 1.5]])
    drawing.line([place(p) for p in start], width_mm=HAIR_MM, dash_mm=dash)
    drawing.line([place(p) for p in end], width_mm=HAIR_MM, dash_mm=(0.6, 0.6))


def _roots(drawing: Drawing, profile: BladeProfile, code: Code, spec: KeySpec) -> None:
    """Position and root height of every cut, as a small table beside the blades."""
    per_edge = len(code) // spec.edge_count
    left, y = BLADE_LEFT_MM + max(50.0, profile.length_mm + 18.0), BLADES_MM[0] - 10.0
    heads = ("cut", "depth", "position mm", "root mm")
    stops = (8.0, 21.0, 43.0, 60.0)
    for stop, head in zip(stops, heads, strict=True):
        drawing.text((left + stop, y), head, size_mm=2.5, anchor="end", weight="bold")
    step = min(3.8, 62.0 / max(1, len(code)))
    for i, label in enumerate(code):
        y += step
        number = str(i % per_edge + 1) if spec.edge_count == 1 else f"{i // per_edge + 1}: {i % per_edge + 1}"
        at = spec.for_count(per_edge).cut_positions_mm[i % per_edge]
        row = (number, label, f"{at:.2f}", f"{spec.root_of(label):.3f}")
        for stop, words in zip(stops, row, strict=True):
            drawing.text((left + stop, y), words, size_mm=min(2.5, 0.7 * step), anchor="end")


def _rules(drawing: Drawing) -> None:
    """The two rules, end marks at 0 and 100 mm, shorter marks between."""
    for (x, y), across in ((RULE_ALONG_MM, False), (RULE_ACROSS_MM, True)):
        for k in range(101):
            long = 5.0 if k in (0, 100) else 3.0 if k % 10 == 0 else 2.0 if k % 5 == 0 else 1.2
            ends = [(x, y + k), (x - long, y + k)] if across else [(x + k, y), (x + k, y - long)]
            drawing.line(ends, width_mm=HAIR_MM)
            if k % 10 == 0:
                at = (x - 5.6, y + k + 0.8) if across else (x + k, y - 5.8)
                drawing.text(at, str(k), size_mm=2.2, anchor="end" if across else "middle")
        end = (x, y + RULE_MM) if across else (x + RULE_MM, y)
        drawing.line([(x, y), end], width_mm=HAIR_MM)


def _words(
    drawing: Drawing, profile: BladeProfile, spec: KeySpec, entitlement: Entitlement, height: float, note: str
) -> None:
    y = 122.0
    texts = [
        'Print at true size: in the print window choose "actual size" or 100 %, never "fit to page". Then measure both '
        "rules from end mark to end mark: each must be 100.0 mm. If one is not, type both lengths into the program and "
        "print again; only then lay a key on this page.",
        "Lay the cut key on the drawn blade over a light: shoulder against the line at the left, back along the back. "
        "The middle of each line is the nominal edge. Light between key and line is metal missing; a line hidden is "
        "metal too much.",
        f"Root heights are measured {root_meaning(spec)}; allowed: root ±{spec.tolerance.root_mm:.3f} mm, position "
        f"±{spec.tolerance.position_mm:.3f} mm. This page shows a tenth of a millimetre; calipers show the rest.",
    ]
    if profile.assumed:
        texts.append(f"The table does not say all: drawn with {', '.join(profile.assumed)}.")
    if spec.is_unconfirmed:
        texts.append("The table is UNCONFIRMED: compare it with a chart before a key is cut.")
    texts.append("The end of the blade is drawn square where the table gives no tip; the blank has its own.")
    if note:
        texts.append(note)
    for text in texts:
        y = drawing.wrapped((20, y), text, 155.0, 2.8) + 2.0
    drawing.text((RULE_ALONG_MM[0], RULE_ALONG_MM[1] + 4.0), "Rule along: 100.0 mm between its end marks", size_mm=2.5)
    drawing.text((RULE_ACROSS_MM[0], RULE_ACROSS_MM[1] - 3.0), "Rule across: 100.0 mm", size_mm=2.5, anchor="end")
    drawing.wrapped((20, height - 18.0), entitlement.line(), 170.0, 2.6, weight="bold")
