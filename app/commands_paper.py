"""``sheet`` and ``template``: a job on paper."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Literal

import typer

from app.commands_common import cautions, numbers, say
from keycore.refusal import Refusal

if TYPE_CHECKING:
    from app.bench import Bench
    from keycore.decode import Decoding
    from keycore.measured import Floats

PAGES: dict[str, Literal["A4", "Letter"]] = {"a4": "A4", "letter": "Letter"}


def sheet(
    job: Annotated[Path, typer.Argument(metavar="JOB", help="A job folder with its entitlement.")],
    out: Annotated[
        Path | None, typer.Option("--out", metavar="FILE", help="A .pdf file (else sheet.pdf in the job folder).")
    ] = None,
    page: Annotated[str, typer.Option("--page", metavar="A4|Letter", help="The paper in the printer.")] = "A4",
) -> None:
    """Make the job sheet, a PDF to sign and to file.

    It holds customer and entitlement, the picture, how the scale was found, the depth ladder, code and rivals, the cut
    list, the trial plan, tolerances, cautions and space for signatures.

    \b
    Example:
      valleygauge sheet valleygauge-demo/demo-photocopy
    """
    from app.bench_export import annotated_drawing_of, write_private
    from app.commands_job import code_of_job
    from app.paper.sheet import job_sheet
    from keycore.trials import plan_trials

    chosen = _page(page)
    target = out or job / "sheet.pdf"
    if target.suffix.lower() != ".pdf":
        raise Refusal(f"A job sheet ends in .pdf; got {target.name}.", code="call.suffix")
    bench, decoding, _code = code_of_job(job)
    plan = plan_trials([(ranked.code, ranked.probability) for ranked in decoding.codes], decoding.spec)
    content = job_sheet(bench.job(), decoding, annotated=[annotated_drawing_of(bench)], plan=plan, page=chosen)
    write_private(target, content)
    typer.echo(f"The job sheet was written to {target}.")
    for caution in cautions(decoding.spec):
        say(caution)


def template(
    job: Annotated[Path, typer.Argument(metavar="JOB", help="A job folder with its entitlement.")],
    out: Annotated[
        Path | None,
        typer.Option("--out", metavar="FILE", help="A .pdf, .svg or .dxf file (else template.pdf in the job folder)."),
    ] = None,
    page: Annotated[str, typer.Option("--page", metavar="A4|Letter", help="The paper in the printer.")] = "A4",
    rules: Annotated[
        list[str] | None,
        typer.Option(
            "--rules",
            metavar="ALONG ACROSS",
            help="What the two rules of a first print measure, mm; corrects the printer.",
        ),
    ] = None,
) -> None:
    """Make the light-test template at true size.

    It shows the blade of the code, to lay the cut key on over a light. Print it at 100 %, measure the two rules,
    and where they are not 100.0 mm give the two lengths with --rules.

    \b
    Example:
      valleygauge template valleygauge-demo/demo-photocopy
      valleygauge template valleygauge-demo/demo-photocopy --rules 99.6 100,2
    """
    from app.bench_export import write_private
    from app.commands_job import code_of_job
    from app.paper.profile import measured_edges
    from app.paper.template import (
        MEASURED_TITLE,
        OUTLINE_TITLE,
        PrinterCorrection,
        template_dxf,
        template_pdf,
        template_svg,
    )

    chosen = _page(page)
    lengths = numbers(rules, "a rule")
    if lengths and len(lengths) != 2:
        raise Refusal(f"--rules wants two lengths, along and across; got {len(lengths)}.", code="call.rules")
    target = out or job / "template.pdf"
    bench, decoding, code = code_of_job(job)
    state, outline, title = bench.state, _outline(bench, decoding), OUTLINE_TITLE
    if not outline:  # a job that was opened again holds the measured roots, not the whole edge
        outline, title = measured_edges(decoding), MEASURED_TITLE
    spec, kind = decoding.spec, target.suffix.lower()
    if kind == ".pdf":
        correction = PrinterCorrection.from_rules(lengths[0], lengths[1]) if lengths else None
        content = template_pdf(
            code,
            spec,
            state.entitlement,
            state.number,
            outline_mm=outline,
            outline_title=title,
            page=chosen,
            correction=correction,
        )
    elif kind == ".svg":
        content = template_svg(
            code, spec, state.entitlement, state.number, outline_mm=outline, outline_title=title, page=chosen
        ).encode()
    elif kind == ".dxf":
        content = template_dxf(code, spec, state.entitlement, state.number, outline_mm=outline).encode()
    else:
        raise Refusal(f"A template ends in .pdf, .svg or .dxf; got {target.name}.", code="call.suffix")
    write_private(target, content)
    typer.echo(f"The template was written to {target}. Print at 100 %; both rules must measure 100.0 mm.")
    for caution in cautions(spec):
        say(caution)


def _page(name: str) -> Literal["A4", "Letter"]:
    if name.lower() not in PAGES:
        raise Refusal(f"--page is A4 or Letter; got {name!r}.", code="call.page")
    return PAGES[name.lower()]


def _outline(bench: Bench, decoding: Decoding) -> tuple[Floats, ...]:
    """The picture's own outline in key millimetres; empty where the reading has none."""
    from app.paper.template import outline_of

    reading, spec = bench.reading, decoding.spec
    if reading is None or len(reading.blade.outline) < 2:
        return ()
    blade, scale = reading.blade, decoding.scale
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
    return (line,)
