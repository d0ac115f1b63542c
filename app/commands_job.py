"""Commands that start from a job: the window, the cut list, the order of trials, papers."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from app.commands_common import cautions, print_json, say
from keycore.refusal import Refusal

if TYPE_CHECKING:
    from app.bench import Bench
    from keycore.decode import Decoding


def open_window(
    what: Annotated[Path | None, typer.Argument(metavar="JOB_OR_PICTURE", help="A job folder or a picture.")] = None,
) -> None:
    """Open the window, with a job or a picture.

    \b
    Example:
      valleygauge open copy.png
    """
    if what is not None and not what.exists():
        raise Refusal(f'There is no file or job folder "{what}"; check the name and the folder.', code="call.no-file")
    from app.window.start import run

    raise typer.Exit(run(what))


def trials(
    job: Annotated[Path, typer.Argument(metavar="JOB", help="A job folder.")],
    most: Annotated[int, typer.Option("--most", metavar="N", help="Plan for so many of the likeliest codes.")] = 10,
    as_json: Annotated[bool, typer.Option("--json", help="One trialplan/1 object.")] = False,
) -> None:
    """Say in which order to cut and try the likeliest codes, so that the fewest blanks are spent.

    \b
    Example:
      valleygauge trials valleygauge-demo/demo-photocopy
    """
    from keycore.trials import plan_trials

    bench, decoding = decoded_job(job, most=most)
    plan = plan_trials([(ranked.code, ranked.probability) for ranked in decoding.codes], decoding.spec, most=most)
    if as_json:
        print_json(plan.to_json())
        return
    typer.echo(f"Job {bench.state.number}, {decoding.spec.name}\n{plan.text()}")
    for caution in cautions(decoding.spec):
        say(caution)


def decoded_job(folder: Path, *, most: int = 10) -> tuple[Bench, Decoding]:
    """A job and its decoding with so many codes; the pictures are read where the job holds no readings."""
    from app.bench import Bench

    bench = Bench.open_job(folder)
    for problem in bench.problems:
        say(problem)
    work = bench.work()
    if work is not None:
        bench.take(work.run())
    decoding = bench.decoding_of(most)
    if decoding is None:
        why = bench.problem or "It has no picture or no depth table."
        raise Refusal(f"Job {bench.state.number} has no code yet. {why}", code="job.no-code")
    return bench, decoding
