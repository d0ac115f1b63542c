"""``demo``: the whole job on the shipped pictures, from the picture to a job folder."""

from __future__ import annotations

import json
import os
from pathlib import Path
from typing import Annotated, Any

import typer

from app.commands_common import cautions, print_json, say
from keycore.refusal import Refusal

DEMO_FOLDER = "valleygauge-demo"


def demo(
    out: Annotated[
        Path | None,
        typer.Option("--out", metavar="DIR", help=f"Write the job folders here (else {DEMO_FOLDER}, beside you)."),
    ] = None,
    as_json: Annotated[bool, typer.Option("--json", help="One keyreading/1 object a line.")] = False,
) -> None:
    """Do the whole job on the shipped demo pictures.

    Everything in the demo is invented: the keys, the table, the customer. For each picture a job folder is written
    with the picture, the record, the reading and the annotated picture.

    \b
    Example:
      valleygauge demo
      valleygauge demo --out my-demo
    """
    from app.bench_assets import assets_folder
    from app.commands_read import ReadOrder, outcomes_of
    from keycore.job import Entitlement
    from keycore.spec import format_code, load_spec

    assets = assets_folder()
    story = _story(assets / "demo.json")
    spec = load_spec(story["spec"])
    target = out if out is not None else _default_folder()
    orders = [
        ReadOrder(
            path=assets / picture["file"],
            spec=spec,
            job=target / Path(picture["file"]).stem,
            number=f"{story['job']}-{index}",
            entitlement=Entitlement.model_validate(story["entitlement"]),
        )
        for index, picture in enumerate(story["pictures"], 1)
    ]
    if not as_json:
        typer.echo(f"{story['story']}\n")
    failed = False
    with outcomes_of(orders, processes=1) as outcomes:
        for picture, outcome in zip(story["pictures"], outcomes, strict=True):
            failed = failed or bool(outcome.error or outcome.job_error)
            if as_json:
                print_json(outcome.reading)
            else:
                made = format_code(tuple(picture["code"]), spec)
                typer.echo(f"{picture['title']}. {picture['shows']}\nThe key was made to {made}.")
                typer.echo("\n".join((*outcome.lines, outcome.note, "")))
            for sentence in (outcome.error, outcome.job_error):
                if sentence:
                    say(sentence)
    if failed:
        raise typer.Exit(1)
    if not as_json:
        typer.echo(f"Job folders with the annotated pictures: {target.resolve()}")
    for caution in cautions(spec):
        say(caution)


def _story(file: Path) -> dict[str, Any]:
    try:
        story = json.loads(file.read_text(encoding="utf-8"))
    except (OSError, ValueError) as error:
        raise Refusal(
            "The demo pictures are not where they should be; install the program again.", code="demo.missing"
        ) from error
    return dict(story)


def _default_folder() -> Path:
    """Beside the person where that can be written, else among the program's own data."""
    from app.folders import data_folder

    here = Path.cwd()
    return (here if os.access(here, os.W_OK) else data_folder()) / DEMO_FOLDER
