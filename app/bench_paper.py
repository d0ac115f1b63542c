"""A job's papers: each function takes a bench and gives the bytes of one paper; nothing is written.

The window previews and prints the same bytes that the command line writes.  Every paper that carries a code is refused
until the entitlement is whole (:mod:`app.paper.words`).
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import TYPE_CHECKING, Literal

from app.bench_export import annotated_drawings_of, on_picture, shown_key
from app.paper.profile import measured_edges
from app.paper.template import (
    MEASURED_TITLE,
    OUTLINE_TITLE,
    PageSize,
    PrinterCorrection,
    outline_of,
    template_dxf,
    template_pdf,
    template_svg,
)
from keycore.measured import Measured
from keycore.refusal import Refusal

if TYPE_CHECKING:
    from app.bench import Bench
    from app.picture.values import Bytes, PictureReading
    from keycore.codes import Code
    from keycore.decode import Decoding
    from keycore.measured import Floats
    from keycore.reduction import Reduction

TemplateKind = Literal["pdf", "svg", "dxf"]
CutFileKind = Literal["csv", "json"]
MM_PER_INCH = 25.4
DPI_SIGMA = 0.003
"""What a scanner's own claim of its dots per inch is good to."""


def decided(bench: Bench) -> tuple[Decoding, Code]:
    """What the job's pictures say, and the code that counts: the settled one, else the likeliest."""
    decoding = bench.decoding if bench.is_current else None
    if decoding is None:
        why = bench.problem or "It has no picture, no depth table, or was not read yet."
        raise Refusal(f"Job {bench.state.number} has no code yet. {why}", code="job.no-code")
    return decoding, bench.state.decided_code or decoding.codes[0].code


def job_sheet_of(bench: Bench, page: PageSize = "A4") -> bytes:
    """The job sheet as PDF, to sign and to file."""
    from app.bench_check import recorded_overlay
    from app.paper.sheet import job_sheet
    from keycore.trials import plan_trials

    decoding, _code = decided(bench)
    overlay = recorded_overlay(bench, heading=False)
    plan = plan_trials([(ranked.code, ranked.probability) for ranked in decoding.codes], decoding.spec)
    return job_sheet(
        bench.job(),
        decoding,
        annotated=annotated_drawings_of(bench),
        plan=plan,
        overlay=overlay,
        reduction=_reduction_words(bench),
        page=page,
    )


def _reduction_words(bench: Bench) -> tuple[str, ...]:
    """The reduction route of an enlarged copy, for the sheet; empty where the picture gives none, or is no copy."""
    index = shown_key(bench)
    picture = bench.key_pictures[index] if index < len(bench.key_pictures) else None
    reading = None if picture is None else bench.reading_of(picture)
    if reading is None or reading.readings.medium != "photocopy":
        return ()
    try:
        return reduction_of(bench).words
    except Refusal:
        return ()


def pages_of(pdf: bytes, dpi: float = 96.0) -> tuple[Bytes, ...]:
    """The pages of a paper as pictures, (rows, columns, 3) each, for a preview before it is printed or kept."""
    import numpy as np
    import pypdfium2 as pdfium

    document = pdfium.PdfDocument(pdf)
    try:
        pages = [np.ascontiguousarray(page.render(scale=dpi / 72, rev_byteorder=True).to_numpy()) for page in document]
    finally:
        document.close()
    return tuple(np.asarray(page[:, :, :3], dtype=np.uint8) for page in pages)


def template_of(
    bench: Bench, kind: TemplateKind = "pdf", page: PageSize = "A4", correction: PrinterCorrection | None = None
) -> bytes:
    """The light-test template at true size; a correction is for the printed PDF only."""
    decoding, code = decided(bench)
    state, spec = bench.state, decoding.spec
    outline, title = outline_mm(bench, decoding), OUTLINE_TITLE
    if not outline:  # caliper figures, or a job stored before outlines were kept
        outline, title = measured_edges(decoding), MEASURED_TITLE
    if kind == "pdf":
        return template_pdf(
            code,
            spec,
            state.entitlement,
            state.number,
            outline_mm=outline,
            outline_title=title,
            page=page,
            correction=correction,
        )
    if correction is not None:
        raise Refusal(
            f"A printer is corrected on the printed page, which is the .pdf; a .{kind} file keeps its true lengths.",
            code="template.correction",
        )
    if kind == "svg":
        return template_svg(
            code, spec, state.entitlement, state.number, outline_mm=outline, outline_title=title, page=page
        ).encode()
    return template_dxf(code, spec, state.entitlement, state.number, outline_mm=outline).encode()


def label_of(
    bench: Bench,
    *,
    with_code: bool = False,
    with_table: bool = False,
    size_mm: tuple[float, float] | None = None,
    copies: int = 1,
) -> bytes:
    """Labels for the key tag as PDF: the job's number and day; table and code only where they are asked for."""
    from app.paper.label import USUAL_SIZE_MM, label_drawing, label_pdf

    state = bench.state
    spec, code = state.spec, None
    if with_code:
        decoding, code = decided(bench)
        spec = decoding.spec
    table = spec.name if with_table and spec is not None else ""
    drawing = label_drawing(
        state.number,
        made_on=state.created.date(),
        table=table,
        code=code,
        spec=spec,
        entitlement=state.entitlement,
        size_mm=size_mm or USUAL_SIZE_MM,
    )
    return label_pdf(drawing, state.number, copies)


def cut_file_of(bench: Bench, kind: CutFileKind, code: Code | str | None = None) -> bytes:
    """The cut list as a file for a machine or a spreadsheet: see :mod:`app.paper.cutfiles` for its columns."""
    from app.paper.cutfiles import cut_csv, cut_json
    from keycore.cutting import cut_list

    decoding, own = decided(bench)
    cuts = cut_list(own if code is None else code, decoding.spec)
    make = cut_csv if kind == "csv" else cut_json
    return make(cuts, bench.state.entitlement, bench.state.number).encode()


def reduction_of(bench: Bench, *, paper_dpi: float | None = None, step_percent: float = 1.0) -> Reduction:
    """What to set on a copier to bring the paper in the shown picture to the key's true size.

    How large the paper itself is in the picture comes from ``paper_dpi`` (dots per inch of the scan), else from the
    scan's own claim; what a photo claims says nothing of the paper.
    """
    from keycore.reduction import reduction

    decoding, _code = decided(bench)
    index = shown_key(bench)
    picture = bench.key_pictures[index] if index < len(bench.key_pictures) else None
    reading = None if picture is None else bench.reading_of(picture)
    of_paper = reading is not None and reading.readings.medium in ("scan", "photocopy")
    claim = picture.picture.dpi if picture is not None and of_paper else None
    if paper_dpi is None and claim is None:
        raise Refusal(
            "The picture is no scan that says its dots per inch; give that figure, or measure the enlargement.",
            code="reduction.no-dpi",
        )
    dpi = (paper_dpi, paper_dpi) if paper_dpi is not None else claim
    assert dpi is not None
    if not all(10 <= value <= 20000 for value in dpi):
        raise Refusal(f"A scan has between 10 and 20000 dots per inch; got {dpi[0]:g}.", code="reduction.dpi")
    per_mm = (dpi[0] * dpi[1]) ** 0.5 / MM_PER_INCH
    scale = on_picture(decoding, index).scale
    on_key = (scale.px_per_mm_along, scale.px_per_mm_across)
    along, across = (
        Measured(scale.value / per_mm, ((scale.sigma / per_mm) ** 2 + (scale.value / per_mm * DPI_SIGMA) ** 2) ** 0.5)
        for scale in on_key
    )
    return reduction(along, across, decoding.spec, step_percent=step_percent)


def outline_mm(bench: Bench, decoding: Decoding) -> tuple[Floats, ...]:
    """The picture's own outline in key millimetres; empty where the reading has none."""
    index = shown_key(bench)
    reading = bench.reading_of(bench.key_pictures[index]) if index < len(bench.key_pictures) else None
    return () if reading is None else outline_of_reading(reading, on_picture(decoding, index))


def outline_of_reading(reading: PictureReading, decoding: Decoding) -> tuple[Floats, ...]:
    """A reading's outline in key millimetres, on the scale that a decoding found; empty where there is none."""
    spec, blade, scale = decoding.spec, reading.blade, decoding.scale
    if len(blade.outline) < 2:
        return ()
    from_tip = spec.gauge_from == "tip"
    gauge_x = blade.tip_x if from_tip else blade.shoulder_x
    height_mm, length_mm = spec.blade.height_mm, spec.blade.length_mm
    if gauge_x is None or (from_tip and length_mm is None) or (spec.edges != "single" and height_mm is None):
        return ()
    line = outline_of(
        blade.outline,
        gauge_x,
        blade.back_y0,
        blade.back_slope,
        (scale.px_per_mm_along.value, scale.px_per_mm_across.value),
        gauge_mm=length_mm or 0.0 if from_tip else 0.0,
        lower_edge_mm=0.0 if spec.edges == "single" else (height_mm or 0.0) / 2,
    )
    return parts_of(line)


def parts_of(line: Floats, gap_mm: float = 1.5) -> tuple[Floats, ...]:
    """An outline as pieces without jumps: where the edge was not seen, or another edge begins, nothing is drawn."""
    import numpy as np

    steps = np.hypot(*np.diff(line, axis=0).T)
    breaks = np.flatnonzero(steps > gap_mm) + 1
    return tuple(part for part in np.split(line, breaks) if len(part) > 1)


def rules_in_pairs(lengths_mm: Sequence[float]) -> tuple[tuple[float, float], ...]:
    """Lengths typed as along, across, along, across, ... as one pair for each print."""
    if len(lengths_mm) % 2:
        raise Refusal(
            f"Each print gives two lengths, along and across; got {len(lengths_mm)} lengths.", code="template.rules"
        )
    return tuple(zip(lengths_mm[::2], lengths_mm[1::2], strict=True))
