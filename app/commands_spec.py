"""``spec``: look at depth tables, check them, make one from measured depth keys."""

from __future__ import annotations

import json
from datetime import datetime
from pathlib import Path
from typing import Annotated, Any

import typer

from app.commands_common import Cli, Command, aligned, moment, number, print_json, say
from keycore.refusal import Refusal

spec_app = typer.Typer(
    name="spec", cls=Cli, help="Depth tables: list, check, or make one from measured depth keys.", rich_markup_mode=None
)


@spec_app.command("list", cls=Command)
def list_tables(
    as_json: Annotated[bool, typer.Option("--json", help="One object a line, in millimetres.")] = False,
) -> None:
    """List the depth tables that come with the program.

    \b
    Example:
      valleygauge spec list
    """
    from keycore.spec import list_specs, spec_to_json

    entries = list_specs()
    if as_json:
        for entry in entries:
            known: dict[str, Any] = {"name": entry.name, "file": entry.file.name}
            if entry.spec is None:
                print_json({**known, "fault": entry.fault})
            else:
                print_json({**known, "unconfirmed": entry.spec.is_unconfirmed, "table": spec_to_json(entry.spec)})
        return
    rows = [("name", "file", "edges", "cuts", "depths", "from", "source", "")]
    for entry in entries:
        spec = entry.spec
        if spec is None:
            rows.append((entry.name, entry.file.stem, "", "", "", "", "", f"cannot be used: {entry.fault}"))
            continue
        remarks = ["UNCONFIRMED"] if spec.is_unconfirmed else []
        remarks += ["RESTRICTED"] if spec.restricted else []
        rows.append(
            (
                spec.name,
                entry.file.stem,
                spec.edges,
                " or ".join(map(str, spec.allowed_counts)),
                f"{spec.labels[0]}..{spec.labels[-1]}",
                spec.gauge_from,
                spec.provenance.kind,
                " ".join(remarks),
            )
        )
    typer.echo("\n".join(aligned(rows, indent="")))
    typer.echo("\nGive --spec the name, the file's name, or the path of a table of your own.")


@spec_app.command("check", cls=Command)
def check_table(
    table: Annotated[str, typer.Argument(metavar="FILE", help="A keyspec/1 file, or the name of a table.")],
    as_json: Annotated[bool, typer.Option("--json", help="One object.")] = False,
) -> None:
    """Check a depth table: the rules that it must keep, and what a careful person would look at again.

    Exit status 1 where the table breaks a rule.

    \b
    Example:
      valleygauge spec check mytable.json
    """
    from keycore.spec import check_list, load_spec, spec_to_json

    try:
        spec = load_spec(table)
    except Refusal as refusal:
        if as_json:
            print_json({"table": table, "good": False, "error": refusal.sentence})
        say(refusal.sentence)
        raise typer.Exit(
            2 if refusal.code in {"spec.no-file", "spec.unknown-name", "spec.ambiguous"} else 1
        ) from refusal
    findings = check_list(spec)
    if as_json:
        print_json(
            {
                "table": spec.name,
                "good": True,
                "unconfirmed": spec.is_unconfirmed,
                "findings": [{"rule": f.rule, "holds": f.holds, "sentence": f.sentence} for f in findings],
                "spec": spec_to_json(spec),
            }
        )
        return
    typer.echo(spec.describe())
    for finding in findings:
        typer.echo(f"  {'ok ' if finding.holds else 'look'}  {finding.sentence}")


@spec_app.command("from-depth-keys", cls=Command)
def from_depth_keys(
    readings: Annotated[Path, typer.Argument(metavar="FILE", help="A depth a line: its label, then its readings.")],
    name: Annotated[str, typer.Option("--name", metavar="NAME", help="Name of the new table.")],
    like: Annotated[
        str, typer.Option("--like", metavar="FILE_OR_NAME", help="The table that gives everything but the depths.")
    ],
    by: Annotated[str, typer.Option("--by", metavar="WHO", help="Who measured.")],
    on: Annotated[str | None, typer.Option("--on", metavar="DATE", help="When (else today).")] = None,
    units: Annotated[str, typer.Option("--units", metavar="mm|in", help="Unit of the readings.")] = "mm",
    sigma: Annotated[
        str, typer.Option("--sigma", metavar="MM", help="What all readings share: the instrument.")
    ] = "0.01",
    step: Annotated[str | None, typer.Option("--step", metavar="MM", help="Test whether the steps are this.")] = None,
    out: Annotated[Path | None, typer.Option("--out", metavar="FILE", help="Write the keyspec/1 file here.")] = None,
    as_json: Annotated[bool, typer.Option("--json", help="The table as one keyspec/1 object.")] = False,
) -> None:
    """Make a depth table from measured depth keys, several readings of each.

    The file has a line for each depth key, such as "1  8.16 8.17 8.16"; decimal comma or point.

    \b
    Example:
      valleygauge spec from-depth-keys readings.txt --name "Shop 5" --like harbourside-5 --by "T. Quill"
    """
    from keycore.depthkeys import parse_readings, study_depth_keys
    from keycore.spec import load_spec, spec_to_json

    frame = spec_to_json(load_spec(like))
    try:
        text = readings.read_text(encoding="utf-8-sig")
    except (OSError, UnicodeDecodeError) as error:
        why = error.strerror if isinstance(error, OSError) and error.strerror else "it is not text"
        raise Refusal(
            f"{readings}: the readings cannot be read ({why}); check the path.", code="depthkeys.unreadable"
        ) from error
    shared = number(sigma, "sigma")
    study = study_depth_keys(parse_readings(text, units), instrument_sigma_mm=0.01 if shared is None else shared)
    # fewer depths than the other table has: a limit that they cannot reach is none
    frame["max_adjacent_step"] = min(frame["max_adjacent_step"], len(study.depths) - 1)
    when = moment(on) or datetime.now()
    spec = study.to_spec(frame, name, measured_by=by, measured_on=when.date())
    table = spec_to_json(spec)
    if out is not None:
        if out.exists():
            raise Refusal(f"{out} is there already; choose another name for the table.", code="call.exists")
        try:
            out.write_text(json.dumps(table, ensure_ascii=False, indent=1) + "\n", encoding="utf-8")
        except OSError as error:
            raise Refusal(
                f"{out} cannot be written ({error.strerror or error}).", code="export.cannot-write"
            ) from error
    if as_json:
        print_json(table)
        return
    typer.echo(study.text(number(step, "the step")))
    if out is not None:
        typer.echo(f"The table was written to {out}.")
