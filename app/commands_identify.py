"""``identify``: which tables could have made this key."""

from __future__ import annotations

import os
from collections.abc import Sequence
from concurrent.futures import ProcessPoolExecutor
from multiprocessing import get_context
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from app.commands_common import aligned, fault_words, load_marks, number, numbers, print_json, say
from keycore.refusal import Refusal

if TYPE_CHECKING:
    from keycore.identify import Identification
    from keycore.marks import Marks
    from keycore.measured import Readings
    from keycore.spec import KeySpec

SHOWN = 8


OWN_PLACES = (
    "Each table looked for the cuts in its own places, so these were not compared, only heights; look at the blank and "
    "the lock's make too, or measure and give --roots with --positions."
)


def identify(
    picture: Annotated[
        Path | None, typer.Argument(metavar="PICTURE", help="A picture; or give --height and --roots.")
    ] = None,
    height: Annotated[str | None, typer.Option("--height", metavar="H", help="Blade height as measured.")] = None,
    roots: Annotated[
        list[str] | None, typer.Option("--roots", metavar="R1 R2 ...", help="Root heights, bow to tip.")
    ] = None,
    positions: Annotated[
        list[str] | None, typer.Option("--positions", metavar="P1 P2 ...", help="Cut centres from the gauge point.")
    ] = None,
    sigma: Annotated[
        str | None, typer.Option("--sigma", metavar="E", help="Standard uncertainty of one reading.")
    ] = None,
    marks: Annotated[
        Path | None, typer.Option("--marks", metavar="FILE", help="Rough marks of the picture, marks/1.")
    ] = None,
    spec: Annotated[
        list[str] | None, typer.Option("--spec", metavar="FILE_OR_NAME", help="Compare only these (may be said again).")
    ] = None,
    as_json: Annotated[bool, typer.Option("--json", help="One object.")] = False,
) -> None:
    """Say which depth tables fit a key, or that none does.

    All tables of the library are compared, or those given with --spec. A picture is read once with each table, so
    it takes a while.

    \b
    Example:
      valleygauge identify copy.png
      valleygauge identify --height 19.91 --roots 19.51 18.28 16.13 12.36 12.36
    """
    from keycore.spec import list_specs, load_spec

    tables = (
        [load_spec(one) for one in spec] if spec else [entry.spec for entry in list_specs() if entry.spec is not None]
    )
    if (picture is None) == (roots is None):
        raise Refusal("Give a picture, or --height with --roots.", code="call.identify")
    if picture is not None:
        _show(_by_picture(picture, tables, None if marks is None else load_marks(marks)), as_json, OWN_PLACES)
        return
    if height is None:
        raise Refusal("Figures need the blade height too; give --height.", code="call.identify")
    _show(_by_figures(height, roots, positions, sigma, tables), as_json)


def _by_figures(
    height: str, roots: list[str] | None, positions: list[str] | None, sigma: str | None, tables: Sequence[KeySpec]
) -> Identification:
    from keycore.figures import readings_of_figures
    from keycore.identify import identify as compare

    figures = numbers(roots, "a root height")
    placed = numbers(positions, "a position") or None
    fitting = [table for table in tables if table.blade.height_mm is not None]
    if not fitting:
        raise Refusal(
            "No table gives a blade height, which figures need for their scale.", code="figures.no-blade-height"
        )
    tall = number(height, "the blade height")
    assert tall is not None
    return compare(readings_of_figures(tall, figures, placed, number(sigma, "sigma"), fitting[0]), fitting)


def _by_picture(picture: Path, tables: Sequence[KeySpec], marks: Marks | None) -> Identification:
    """Each table reads the picture in its own way, on all cores."""
    from app.picture.load import open_picture

    open_picture(picture)  # a picture that cannot be opened is told once
    calls = [(picture, table, marks) for table in tables]
    processes = min(len(calls), os.cpu_count() or 1)
    if processes <= 1:
        return ranked([_evidence(*call) for call in calls])
    from app.commands_read import one_thread_each

    with ProcessPoolExecutor(processes, mp_context=get_context("spawn"), initializer=one_thread_each) as pool:
        return ranked(list(pool.map(_evidence, *zip(*calls, strict=True))))


def _evidence(picture: Path, table: KeySpec, marks: Marks | None) -> tuple[KeySpec, Readings | str]:
    """The readings of the picture under one table, or why there are none."""
    from app.picture.load import open_picture
    from app.picture.read import read_picture

    try:
        return table, read_picture(open_picture(picture), table, marks).readings
    except Refusal as refusal:
        return table, refusal.sentence
    except Exception as error:
        return table, fault_words(error)


def ranked(outcomes: Sequence[tuple[KeySpec, Readings | str]]) -> Identification:
    """Tables by the readings that each of them made of the picture, or why it made none."""
    from keycore.identify import identify_by_own_readings

    read = [(table, readings) for table, readings in outcomes if not isinstance(readings, str)]
    unread = [(table.name, why) for table, why in outcomes if isinstance(why, str)]
    return identify_by_own_readings(read, unread)


def _say_left_out(left_out: Sequence[tuple[str, str]]) -> None:
    if left_out:
        say(f"Not compared: {', '.join(name for name, _why in left_out)}.")


def _show(found: Identification, as_json: bool, note: str = "") -> None:
    from keycore.codes import code_to_json, format_code

    if as_json:
        members: dict[str, Any] = {
            "format": "identification/1",
            "none_probability": found.none_probability,
            "words": found.words,
            "tables": [
                {
                    "spec": candidate.spec.name,
                    "probability": candidate.probability,
                    "log_evidence": candidate.log_evidence,
                    "unconfirmed": candidate.spec.is_unconfirmed,
                    "code": code_to_json(candidate.decoding.code, candidate.spec),
                    "code_probability": candidate.decoding.probability,
                    "doubt": candidate.doubt,
                }
                for candidate in found.candidates
            ],
            "left_out": [{"spec": name, "why": why} for name, why in found.left_out],
        }
        print_json(members)
        return
    typer.echo(found.words)
    rows = [("table", "probability", "its code", "", "")]
    for candidate in found.candidates[:SHOWN]:
        code = format_code(candidate.decoding.code, candidate.spec)
        flag = "UNCONFIRMED" if candidate.spec.is_unconfirmed else ""
        rows.append((candidate.spec.name, f"{candidate.probability:.4f}", code, flag, candidate.doubt))
    rows.append(("none of these", f"{found.none_probability:.4f}", "", "", ""))
    typer.echo("\n".join(aligned(rows)))
    if len(found.candidates) > SHOWN:
        typer.echo(f"  and {len(found.candidates) - SHOWN} more that fit less.")
    if note:
        typer.echo(note)
    _say_left_out(found.left_out)
