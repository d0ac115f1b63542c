"""``cutlist``, ``trials`` and ``check``: from the code to the cut key."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any, Literal

import typer

from app.commands_common import cautions, load_marks, number, numbers, print_json, say
from app.commands_job import JOB_HELP
from keycore.refusal import Refusal

if TYPE_CHECKING:
    from app.bench import Bench
    from app.bench_check import CheckResult
    from keycore.cutting import CutList
    from keycore.spec import KeySpec

CALIPER_SIGMA_MM = 0.012
"""As in :mod:`app.bench_check`, which is imported only when a check runs."""
MM_PER = {"mm": 1.0, "in": 25.4}
OVERLAYS = (".svg", ".png")
CUT_FILES: dict[str, Literal["csv", "json"]] = {".csv": "csv", ".json": "json"}


def cutlist(
    job: Annotated[Path | None, typer.Argument(metavar="JOB", help=f"{JOB_HELP} Or give --spec and --code.")] = None,
    spec: Annotated[str | None, typer.Option("--spec", metavar="FILE_OR_NAME", help="The depth table.")] = None,
    code: Annotated[
        str | None, typer.Option("--code", metavar="CODE", help='Such as 3-1-2-5-4, or "1-2-3 / 3-2-1".')
    ] = None,
    out: Annotated[
        Path | None,
        typer.Option(
            "--out", metavar="FILE", help="Write a cut file, .csv or .json; only of a job with its entitlement."
        ),
    ] = None,
    as_json: Annotated[bool, typer.Option("--json", help="One cutlist/1 object.")] = False,
) -> None:
    """List the cuts, for a code machine and for depth keys.

    \b
    Example:
      valleygauge cutlist valleygauge-demo/demo-photocopy
      valleygauge cutlist --spec harbourside-5 --code 3-1-2-5-4
    """
    from keycore.cutting import cut_list

    if job is not None:
        from app.commands_job import code_of_job

        bench, decoding, decided = code_of_job(job)
        cuts = cut_list(decided if code is None else code, decoding.spec)
        if out is not None:
            from app.bench_export import write_private
            from app.bench_paper import cut_file_of

            kind = CUT_FILES.get(out.suffix.lower())
            if kind is None:
                raise Refusal(f"A cut file ends in .csv or .json; got {out.name}.", code="call.suffix")
            write_private(out, cut_file_of(bench, kind, code))
            say(f"The cut file was written to {out}.")
    else:
        cuts = cut_list(*_code_and_table(code, spec))
        if out is not None:
            raise Refusal(
                "A cut file is written only of a job, with its entitlement; give the job folder.", code="call.no-job"
            )
    _show(cuts, as_json)


def _code_and_table(code: str | None, spec: str | None) -> tuple[str, KeySpec]:
    from keycore.spec import load_spec

    if code is None or spec is None:
        raise Refusal("Give a job folder, or both --spec and --code.", code="call.no-code")
    return code, load_spec(spec)


def _show(cuts: CutList, as_json: bool) -> None:
    if as_json:
        print_json(cuts.to_json())
        return
    typer.echo(cuts.text())
    for caution in cautions(cuts.spec):
        say(caution)


def trials(
    job: Annotated[Path, typer.Argument(metavar="JOB", help=JOB_HELP)],
    most: Annotated[int, typer.Option("--most", metavar="N", help="Plan for so many of the likeliest codes.")] = 10,
    begun: Annotated[
        list[str] | None,
        typer.Option(
            "--begun",
            metavar="R1 R2 ...|CODE",
            help="A key that is cut already and may be cut deeper: its root heights, bow to tip, or its code.",
        ),
    ] = None,
    tried: Annotated[
        list[str] | None,
        typer.Option(
            "--tried",
            metavar="CODE",
            help="A code that did not open, besides those that the job has on record (may be repeated).",
        ),
    ] = None,
    unit: Annotated[str, typer.Option("--unit", metavar="mm|in", help="Unit of the root heights.")] = "mm",
    seconds: Annotated[
        float | None,
        typer.Option("--seconds", metavar="S", min=0, help="Search no longer; else until the plan is proved best."),
    ] = None,
    as_json: Annotated[bool, typer.Option("--json", help="One trialplan/1 object.")] = False,
) -> None:
    """Plan which codes to cut and try, to spend the fewest blanks.

    A plan of 50 codes is there at once.  Of 200 the proof that no order spends less may take a minute or much longer;
    what is found so far is told, and Ctrl-C takes it.

    \b
    Example:
      valleygauge trials valleygauge-demo/demo-photocopy
      valleygauge trials valleygauge-demo/demo-photocopy --begun 3-1-2-5-4 --tried 3-1-2-5-4
      valleygauge trials valleygauge-demo/demo-photocopy --begun 6.7 7.7 7.2 5.7 6.2
    """
    from app.commands_job import decoded_job
    from app.commands_search import searched
    from keycore.codes import parse_code
    from keycore.trials import plan_trials

    bench, decoding = decoded_job(job, most=most + len(tried or ()))
    gone = {trial.code for trial in bench.state.trials if trial.opened is False}
    gone |= {parse_code(code, decoding.spec) for code in tried or ()}
    candidates = [(ranked.code, ranked.probability) for ranked in decoding.codes]
    begun_mm = _begun_heights(begun, unit, decoding.spec)
    plan = searched(
        lambda better: plan_trials(
            candidates, decoding.spec, seconds=seconds, most=most, begun_mm=begun_mm, tried=gone, better=better
        ),
        say,
    )
    if as_json:
        print_json(plan.to_json())
        return
    typer.echo(f"Job {bench.state.number}, {decoding.spec.name}\n{plan.text()}")
    for caution in cautions(decoding.spec):
        say(caution)


def _begun_heights(begun: list[str] | None, unit: str, spec: KeySpec) -> tuple[float, ...] | None:
    """Root heights, mm, of the key that was begun, given as heights or as a code."""
    from keycore.codes import parse_code

    if unit not in MM_PER:
        raise Refusal(f"--unit is mm or in; got {unit!r}.", code="call.unit")
    if not begun:
        return None
    if "-" in begun[0].strip()[1:]:
        return tuple(spec.root_of(label) for label in parse_code(" ".join(begun), spec))
    return tuple(height * MM_PER[unit] for height in numbers(begun, "a root height of the key already begun"))


def check(
    job: Annotated[Path | None, typer.Argument(metavar="JOB", help=f"{JOB_HELP} Or give --spec and --code.")] = None,
    spec: Annotated[str | None, typer.Option("--spec", metavar="FILE_OR_NAME", help="The depth table.")] = None,
    code: Annotated[
        str | None, typer.Option("--code", metavar="CODE", help="The code that the key should have.")
    ] = None,
    roots: Annotated[
        list[str] | None, typer.Option("--roots", metavar="R1 R2 ...", help="Measured root heights, bow to tip.")
    ] = None,
    picture: Annotated[
        Path | None, typer.Option("--picture", metavar="FILE", help="In place of --roots: a picture of the cut key.")
    ] = None,
    sigma: Annotated[
        str | None,
        typer.Option(
            "--sigma",
            metavar="E",
            help=f"Standard uncertainty of one reading (else {CALIPER_SIGMA_MM} mm: good calipers).",
        ),
    ] = None,
    positions: Annotated[
        list[str] | None,
        typer.Option("--positions", metavar="P1 P2 ...", help="Measured cut centres from the gauge point."),
    ] = None,
    unit: Annotated[str, typer.Option("--unit", metavar="mm|in", help="Unit of the figures.")] = "mm",
    marks: Annotated[
        Path | None, typer.Option("--marks", metavar="FILE", help="Rough marks on the picture, a marks/1 file.")
    ] = None,
    reference: Annotated[
        str,
        typer.Option("--reference", metavar="auto|card|a4|dpi|none", help="What of known size lies in it."),
    ] = "auto",
    page: Annotated[int, typer.Option("--page", metavar="N", help="Page of a PDF or TIFF.")] = 1,
    key: Annotated[int, typer.Option("--key", metavar="N", min=1, help="Which key, where it shows several.")] = 1,
    overlay: Annotated[
        Path | None,
        typer.Option(
            "--overlay", metavar="FILE", help="Draw nominal and measured profile, .svg or .png; of a job only."
        ),
    ] = None,
    record: Annotated[
        bool, typer.Option("--record/--no-record", help="Whether a job's check is kept in its record.")
    ] = True,
    as_json: Annotated[bool, typer.Option("--json", help="One keycheck/1 object.")] = False,
) -> None:
    """Check a cut key against its code, by caliper figures or by a picture of it.

    Each cut passes, fails, or cannot be told with this instrument. A picture proves a wrong depth, seldom a right
    one: its own uncertainty is larger than what a table allows. With a job the outcome is kept in its record.

    \b
    Example:
      valleygauge check --spec harbourside-5 --code 3-1-2-5-4 --roots 6.71 7.69 7.22 5.70 6.18 --sigma 0.01
      valleygauge check valleygauge-demo/demo-scan --roots 7.20 5.69 6.71 5.21 7.70
      valleygauge check valleygauge-demo/demo-scan --picture cutkey.png --overlay overlay.svg
    """
    if (roots is None) == (picture is None):
        raise Refusal("Give what was measured: either --roots, or --picture.", code="call.no-measure")
    if unit not in MM_PER:
        raise Refusal(f"--unit is mm or in; got {unit!r}.", code="call.unit")
    if overlay is not None and overlay.suffix.lower() not in OVERLAYS:
        raise Refusal(f"An overlay ends in .svg or .png; got {overlay.name}.", code="call.suffix")
    mm = MM_PER[unit]
    given = number(sigma, "sigma")
    measures = _Measures(
        roots_mm=tuple(value * mm for value in numbers(roots, "a root height")),
        sigma_mm=CALIPER_SIGMA_MM if given is None else given * mm,
        positions_mm=tuple(value * mm for value in numbers(positions, "a position")) or None,
        picture=picture,
        marks=marks,
        reference=reference,
        page=page,
        key=key - 1,
    )
    if job is not None:
        if spec is not None or code is not None:
            raise Refusal("A job has its own table and code; leave --spec and --code out.", code="call.two-codes")
        text, content = _check_job(job, measures, overlay, record)
    else:
        if overlay is not None:
            raise Refusal("An overlay shows a code, so it is made of a job only; give the job.", code="call.no-job")
        text, content = _check_plain(*_code_and_table(code, spec), measures)
    if as_json:
        print_json(content)
        return
    typer.echo(text)


@dataclass(frozen=True)
class _Measures:
    """What was measured on the cut key."""

    roots_mm: tuple[float, ...]
    sigma_mm: float
    positions_mm: tuple[float, ...] | None
    picture: Path | None
    marks: Path | None
    reference: str
    page: int
    key: int


def _check_plain(code: str, table: KeySpec, measures: _Measures) -> tuple[str, dict[str, Any]]:
    """A check of no job: the words and keycheck/1."""
    if measures.picture is None:
        from keycore.conformity import check_cut_key

        found = check_cut_key(
            code, table, measures.roots_mm, measures.sigma_mm,
            positions_mm=measures.positions_mm, position_sigma_mm=measures.sigma_mm,
        )  # fmt: skip
        return found.text(), found.to_json()
    from app.bench import Bench

    bench = Bench()
    bench.set_spec(table)
    bench.decide_code(code)
    result = _read_cut_key(bench, measures)
    if result.found is None:
        raise Refusal(result.problem, code="check.not-read")
    return result.found.text(), result.found.to_json()


def _check_job(job: Path, measures: _Measures, overlay: Path | None, record: bool) -> tuple[str, dict[str, Any]]:
    """A check of a job, recorded in it: the words and keycheck/1."""
    from app.bench_check import check_by_calipers, overlay_of_calipers, overlay_of_picture, take_check
    from app.commands_job import code_of_job

    bench, decoding, _code = code_of_job(job, reading_only=not record)
    try:
        for caution in cautions(decoding.spec):
            say(caution)
        if record and bench.home is None:
            raise Refusal(
                "The check cannot be recorded, so nothing was checked; give --no-record to check all the same.",
                code="check.not-recorded",
            )
        if measures.picture is None:
            figures = check_by_calipers(bench, measures.roots_mm, measures.sigma_mm, positions_mm=measures.positions_mm)
            text, content = figures.text(), figures.to_json()
            drawing = overlay_of_calipers(bench, figures) if overlay is not None else None
        else:
            result = _read_cut_key(bench, measures)
            take_check(bench, result)
            assert result.found is not None
            text, content = result.found.text(), result.found.to_json()
            drawing = overlay_of_picture(bench, result) if overlay is not None else None
        if overlay is not None and drawing is not None:
            from app.bench_export import write_drawing

            write_drawing(overlay, drawing, f"Job {bench.state.number}: the cut key")
            say(f"The overlay was written to {overlay}.")
        if record:
            bench.save()
            say(f"The check was recorded in job {bench.state.number}.")
        return text, content
    finally:
        bench.close()


def _read_cut_key(bench: Bench, measures: _Measures) -> CheckResult:
    """Put the picture of the cut key into the job and read it."""
    from app.bench_check import check_work
    from app.bench_work import load_picture

    assert measures.picture is not None
    loaded = load_picture(measures.picture, page=measures.page)
    known = [(picture.sha256, picture.page, picture.shows) for picture in bench.state.pictures]
    same = (loaded.picture.sha256, loaded.picture.page, "cut key")
    if same in known:  # the same picture again: it is looked at again, not kept twice
        bench.show_picture(known.index(same))
    else:
        bench.add_picture(loaded, shows="cut key")
    if measures.key:
        bench.set_key(measures.key)
    if measures.marks is not None:
        bench.set_marks(load_marks(measures.marks))
    bench.set_reference(measures.reference)  # type: ignore[arg-type]  # it refuses any other word
    work = check_work(bench)
    assert work is not None
    return work.run()
