"""``cutlist``, ``trials`` and ``check``: from the code to the cut key."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from app.commands_common import cautions, number, numbers, print_json, say
from keycore.refusal import Refusal

if TYPE_CHECKING:
    from keycore.cutting import CutList
    from keycore.spec import KeySpec

CALIPER_SIGMA_MM = 0.012
"""Digital calipers good to 0.02 mm either way, taken as evenly spread: 0.02 / sqrt(3)."""
MM_PER = {"mm": 1.0, "in": 25.4}


def cutlist(
    job: Annotated[Path | None, typer.Argument(metavar="JOB", help="A job folder; or give --spec and --code.")] = None,
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
            from app.paper.cutfiles import cut_csv, cut_json

            kinds = {".csv": cut_csv, ".json": cut_json}
            if out.suffix.lower() not in kinds:
                raise Refusal(f"A cut file ends in .csv or .json; got {out.name}.", code="call.suffix")
            text = kinds[out.suffix.lower()](cuts, bench.state.entitlement, bench.state.number)
            from app.bench_export import write_private

            write_private(out, text.encode())
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
    job: Annotated[Path, typer.Argument(metavar="JOB", help="A job folder.")],
    most: Annotated[int, typer.Option("--most", metavar="N", help="Plan for so many of the likeliest codes.")] = 10,
    as_json: Annotated[bool, typer.Option("--json", help="One trialplan/1 object.")] = False,
) -> None:
    """Plan which codes to cut and try, to spend the fewest blanks.

    \b
    Example:
      valleygauge trials valleygauge-demo/demo-photocopy
    """
    from app.commands_job import decoded_job
    from keycore.trials import plan_trials

    bench, decoding = decoded_job(job, most=most)
    plan = plan_trials([(ranked.code, ranked.probability) for ranked in decoding.codes], decoding.spec, most=most)
    if as_json:
        print_json(plan.to_json())
        return
    typer.echo(f"Job {bench.state.number}, {decoding.spec.name}\n{plan.text()}")
    for caution in cautions(decoding.spec):
        say(caution)


def check(
    spec: Annotated[str, typer.Option("--spec", metavar="FILE_OR_NAME", help="The depth table.")],
    code: Annotated[str, typer.Option("--code", metavar="CODE", help="The code that the key should have.")],
    roots: Annotated[
        list[str], typer.Option("--roots", metavar="R1 R2 ...", help="Measured root heights, bow to tip.")
    ],
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
    as_json: Annotated[bool, typer.Option("--json", help="One keycheck/1 object.")] = False,
) -> None:
    """Check a cut key against its code by caliper figures.

    Each cut passes, fails, or cannot be told with this instrument.

    \b
    Example:
      valleygauge check --spec harbourside-5 --code 3-1-2-5-4 --roots 6.71 7.69 7.22 5.70 6.18 --sigma 0.01
    """
    from keycore.conformity import check_cut_key
    from keycore.spec import load_spec

    table = load_spec(spec)
    if unit not in MM_PER:
        raise Refusal(f"--unit is mm or in; got {unit!r}.", code="call.unit")
    mm = MM_PER[unit]
    given = number(sigma, "sigma")
    sigma_mm = CALIPER_SIGMA_MM if given is None else given * mm
    placed = tuple(value * mm for value in numbers(positions, "a position")) or None
    measured = tuple(value * mm for value in numbers(roots, "a root height"))
    found = check_cut_key(code, table, measured, sigma_mm, positions_mm=placed, position_sigma_mm=sigma_mm)
    if as_json:
        print_json(found.to_json())
        return
    typer.echo(found.text())
