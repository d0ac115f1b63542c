"""``sheet``, ``template``, ``label`` and ``reduction``: a job on paper."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Literal

import typer

from app.commands_common import cautions, number, numbers, print_json, say
from app.commands_job import JOB_HELP
from keycore.refusal import Refusal

if TYPE_CHECKING:
    from app.paper.template import PrinterCorrection
    from keycore.reduction import Reduction

PAGES: dict[str, Literal["A4", "Letter"]] = {"a4": "A4", "letter": "Letter"}
KINDS: dict[str, Literal["pdf", "svg", "dxf"]] = {".pdf": "pdf", ".svg": "svg", ".dxf": "dxf"}
_Json = Annotated[bool, typer.Option("--json", help="What was written, as one written/1 object.")]


def sheet(
    job: Annotated[Path, typer.Argument(metavar="JOB", help=JOB_HELP)],
    out: Annotated[
        Path | None, typer.Option("--out", metavar="FILE", help="A .pdf file (else sheet.pdf in the job folder).")
    ] = None,
    page: Annotated[str, typer.Option("--page", metavar="A4|Letter", help="The paper in the printer.")] = "A4",
    as_json: _Json = False,
) -> None:
    """Make the job sheet, a PDF to sign and to file.

    It holds customer and entitlement, the pictures, how the scale was found, the depth ladder, code and rivals, the
    cut list, the trial plan, the check of the cut key, tolerances, cautions and space for signatures.

    \b
    Example:
      valleygauge sheet valleygauge-demo/demo-photocopy
    """
    from app.bench_paper import job_sheet_of
    from app.commands_job import code_of_job, place_for, write_paper

    chosen = _page(page)
    target = place_for(job, out, "sheet.pdf")
    if target.suffix.lower() != ".pdf":
        raise Refusal(f"A job sheet ends in .pdf; got {target.name}.", code="call.suffix")
    bench, decoding, _code = code_of_job(job)
    write_paper(bench, target, job_sheet_of(bench, chosen), "job sheet", as_json)
    for caution in cautions(decoding.spec):
        say(caution)


def template(
    job: Annotated[Path, typer.Argument(metavar="JOB", help=JOB_HELP)],
    out: Annotated[
        Path | None,
        typer.Option("--out", metavar="FILE", help="A .pdf, .svg or .dxf file (else template.pdf in the job folder)."),
    ] = None,
    page: Annotated[str, typer.Option("--page", metavar="A4|Letter", help="The paper in the printer.")] = "A4",
    rules: Annotated[
        list[str] | None,
        typer.Option(
            "--rules",
            metavar="ALONG ACROSS ...",
            help="What the two rules of a print measure, mm; two more for the print made with that correction, ...",
        ),
    ] = None,
    printer: Annotated[
        str | None,
        typer.Option(
            "--printer",
            metavar="NAME",
            help="Remember the correction under this name; --rules are then of the latest print on it.",
        ),
    ] = None,
    as_json: _Json = False,
) -> None:
    """Make the light-test template at true size.

    It shows the blade of the code, to lay the cut key on over a light. Print it at 100 %, measure the two rules,
    and where they are not 100.0 mm give the two lengths with --rules and print again. A corrected print can be
    measured again: give all pairs in order, or let --printer remember them.

    \b
    Example:
      valleygauge template valleygauge-demo/demo-photocopy
      valleygauge template valleygauge-demo/demo-photocopy --rules 99.6 100,2
      valleygauge template valleygauge-demo/demo-photocopy --rules 99.6 100,2 100.1 100.0
      valleygauge template valleygauge-demo/demo-photocopy --printer desk --rules 99.6 100.2
    """
    from app.bench_paper import template_of
    from app.commands_job import code_of_job, place_for, write_paper

    chosen = _page(page)
    lengths = numbers(rules, "a rule")
    if len(lengths) % 2:
        raise Refusal(
            f"--rules wants two lengths for each print, along and across; got {len(lengths)}.", code="call.rules"
        )
    target = place_for(job, out, "template.pdf")
    kind = KINDS.get(target.suffix.lower())
    if kind is None:
        raise Refusal(f"A template ends in .pdf, .svg or .dxf; got {target.name}.", code="call.suffix")
    correction = _correction(lengths, printer)
    bench, decoding, _code = code_of_job(job)
    content = template_of(bench, kind, chosen, correction)
    words = "" if correction is None else correction.words()
    write_paper(
        bench,
        target,
        content,
        "template",
        as_json,
        f"Print at 100 %; both rules must measure 100.0 mm. {words}".strip(),
    )
    for caution in cautions(decoding.spec):
        say(caution)


def label(
    job: Annotated[Path, typer.Argument(metavar="JOB", help=JOB_HELP)],
    out: Annotated[
        Path | None, typer.Option("--out", metavar="FILE", help="A .pdf file (else label.pdf in the job folder).")
    ] = None,
    with_code: Annotated[bool, typer.Option("--with-code", help="Put the code on it (else it is left out).")] = False,
    with_table: Annotated[bool, typer.Option("--with-table", help="Put the depth table's name on it.")] = False,
    size: Annotated[str, typer.Option("--size", metavar="WxH", help="Of one label, mm.")] = "50x20",
    copies: Annotated[int, typer.Option("--copies", metavar="N", help="So many, one a page.")] = 1,
    as_json: _Json = False,
) -> None:
    """Make a label for the key tag: the job's number and day, and nothing of the customer.

    The code is left out unless it is asked for; a tag with a code needs the entitlement, as every code does.

    \b
    Example:
      valleygauge label valleygauge-demo/demo-photocopy --size 40x15
      valleygauge label valleygauge-demo/demo-photocopy --with-code --copies 2
    """
    from app.bench_paper import label_of
    from app.commands_job import code_of_job, opened_job, place_for, write_paper

    target = place_for(job, out, "label.pdf")
    if target.suffix.lower() != ".pdf":
        raise Refusal(f"A label ends in .pdf; got {target.name}.", code="call.suffix")
    sides = numbers(size.lower().replace("x", " ").split(), "a side")
    if len(sides) != 2:
        raise Refusal(f"--size wants width x height in mm, such as 50x20; got {size!r}.", code="call.size")
    bench = code_of_job(job)[0] if with_code else opened_job(job)
    content = label_of(bench, with_code=with_code, with_table=with_table, size_mm=(sides[0], sides[1]), copies=copies)
    write_paper(bench, target, content, "label", as_json, "Print at 100 %.")
    if with_code:
        for caution in cautions(bench.state.spec):
            say(caution)


def reduction(
    job: Annotated[Path | None, typer.Argument(metavar="JOB", help=f"{JOB_HELP} Or give --spec and --along.")] = None,
    dpi: Annotated[
        str | None, typer.Option("--dpi", metavar="DPI", help="At how many dots per inch the copy was scanned.")
    ] = None,
    spec: Annotated[str | None, typer.Option("--spec", metavar="FILE_OR_NAME", help="The depth table.")] = None,
    along: Annotated[
        str | None, typer.Option("--along", metavar="RATIO", help="Enlargement along the blade, such as 1.553.")
    ] = None,
    across: Annotated[
        str | None, typer.Option("--across", metavar="RATIO", help="Enlargement across it (else the same).")
    ] = None,
    sigma: Annotated[
        str, typer.Option("--sigma", metavar="E", help="Standard uncertainty of the two ratios.")
    ] = "0.005",
    step: Annotated[str, typer.Option("--step", metavar="%", help="Finest step of the copier's setting.")] = "1",
    as_json: Annotated[bool, typer.Option("--json", help="One reduction/1 object.")] = False,
) -> None:
    """Say what to set on a copier to bring an enlarged copy to true size, and what error is left.

    The copy's enlargement comes from a job whose picture is a scan of the copy, or from a ratio that you measured.

    \b
    Example:
      valleygauge reduction valleygauge-demo/demo-photocopy
      valleygauge reduction --spec harbourside-5 --along 1.553 --across 1.541 --step 0.1
    """
    step_percent = number(step, "the step") or 0.0
    if job is not None:
        from app.bench_paper import reduction_of
        from app.commands_job import code_of_job

        bench, _decoding, _code = code_of_job(job)
        found = reduction_of(bench, paper_dpi=number(dpi, "the dots per inch"), step_percent=step_percent)
    else:
        from keycore.measured import Measured
        from keycore.reduction import reduction as settings
        from keycore.spec import load_spec

        ratio = number(along, "the enlargement along")
        if spec is None or ratio is None:
            raise Refusal("Give a job, or --spec and --along (and --across).", code="call.no-enlargement")
        other = number(across, "the enlargement across")
        off = number(sigma, "sigma") or 0.0
        found = settings(
            Measured(ratio, off),
            Measured(ratio if other is None else other, off),
            load_spec(spec),
            step_percent=step_percent,
        )
    _show(found, as_json)


def _show(found: Reduction, as_json: bool) -> None:
    if as_json:
        print_json(found.to_json())
        return
    typer.echo("\n".join(found.words))


def _correction(lengths: tuple[float, ...], printer: str | None) -> PrinterCorrection | None:
    """The correction of all prints that were measured; None where there is none."""
    from app.bench_paper import rules_in_pairs
    from app.bench_printers import chained, correct_printer
    from app.bench_printers import printer as known

    pairs = rules_in_pairs(lengths)
    if printer is None:
        return chained(pairs) if pairs else None
    if len(pairs) > 1:
        raise Refusal(
            "With --printer give the two rules of its latest print only; the earlier ones are remembered.",
            code="call.rules",
        )
    for along_mm, across_mm in pairs:
        correct_printer(printer, along_mm, across_mm)
    correction = known(printer).correction
    return correction if correction.words() else None


def _page(name: str) -> Literal["A4", "Letter"]:
    if name.lower() not in PAGES:
        raise Refusal(f"--page is A4 or Letter; got {name!r}.", code="call.page")
    return PAGES[name.lower()]
