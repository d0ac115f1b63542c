"""``spec``: look at depth tables, check them, make one from measured depth keys."""

from __future__ import annotations

from typing import Annotated, Any

import typer

from app.commands_common import Cli, Command, aligned, print_json, say
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
