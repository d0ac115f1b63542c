"""``open``: the window, with a job or a picture."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from keycore.refusal import Refusal


def open_window(
    what: Annotated[
        Path | None, typer.Argument(metavar="JOB_OR_PICTURE", help="A job folder, a sealed job, or a picture.")
    ] = None,
) -> None:
    """Open the window, with a job (sealed or not) or a picture.

    \b
    Example:
      valleygauge open copy.png
    """
    if what is not None and not what.exists():
        raise Refusal(f'There is no file or job folder "{what}"; check the name and the folder.', code="call.no-file")
    from app.window.start import run

    raise typer.Exit(run(what))
