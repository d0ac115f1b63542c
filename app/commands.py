"""The command ``valleygauge``: the window, and everything that needs no display.

Only light modules are imported here, so that ``--help`` is quick; each command imports what it needs when it runs.
"""

from __future__ import annotations

from typing import Annotated

import typer

from app import (
    commands_cut,
    commands_demo,
    commands_figures,
    commands_identify,
    commands_keep,
    commands_paper,
    commands_read,
    commands_spec,
    commands_window,
)
from app.commands_common import Cli, Command

app = typer.Typer(
    name="valleygauge",
    cls=Cli,
    help="Reads a key's code from a photocopy, scan or photo, and says how far to trust it.\n\n"
    "Without a command the window opens. Use it only for keys that the customer is entitled to.",
    no_args_is_help=False,
    invoke_without_command=True,
    add_completion=False,
    rich_markup_mode=None,
    pretty_exceptions_enable=False,
    context_settings={"help_option_names": ["-h", "--help"], "max_content_width": 110},
)


@app.callback()
def _start(
    context: typer.Context,
    version: Annotated[bool, typer.Option("--version", help="Print the version and stop.", is_eager=True)] = False,
) -> None:
    if version:
        from app.bench_version import program_version

        typer.echo(f"valleygauge {program_version()}")
        raise typer.Exit
    if context.invoked_subcommand is None:
        commands_window.open_window(None)


for _name, _command in (
    ("open", commands_window.open_window),
    ("read", commands_read.read),
    ("decode", commands_figures.decode),
    ("identify", commands_identify.identify),
    ("cutlist", commands_cut.cutlist),
    ("trials", commands_cut.trials),
    ("check", commands_cut.check),
    ("sheet", commands_paper.sheet),
    ("template", commands_paper.template),
    ("label", commands_paper.label),
    ("reduction", commands_paper.reduction),
    ("demo", commands_demo.demo),
):
    app.command(_name, cls=Command)(_command)
app.add_typer(commands_spec.spec_app, name="spec")
app.add_typer(commands_keep.job_app, name="job")


def main() -> None:
    """Run the command line."""
    from app.bench_log import log_faults, start_log

    start_log()
    log_faults()
    app(prog_name="valleygauge")
