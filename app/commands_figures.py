"""``decode``, ``identify`` and ``check``: caliper figures typed in."""

from __future__ import annotations

from typing import Annotated

import typer

from app.commands_common import cautions, holds_from, number, numbers, print_json, say

PICTURE_NAME = "caliper figures"


def decode(
    spec: Annotated[str, typer.Option("--spec", metavar="FILE_OR_NAME", help="The depth table (see: spec list).")],
    height: Annotated[str, typer.Option("--height", metavar="H", help="Blade height as measured on the picture.")],
    roots: Annotated[
        list[str], typer.Option("--roots", metavar="R1 R2 ...", help="Root heights, bow to tip, in the same unit.")
    ],
    positions: Annotated[
        list[str] | None,
        typer.Option("--positions", metavar="P1 P2 ...", help="Cut centres from the gauge point, same unit."),
    ] = None,
    sigma: Annotated[
        str | None, typer.Option("--sigma", metavar="E", help="Standard uncertainty of one reading, same unit.")
    ] = None,
    hold: Annotated[
        list[str] | None, typer.Option("--hold", metavar="CUT=DEPTH", help="You know that this cut is this depth.")
    ] = None,
    ruled_out: Annotated[
        list[str] | None, typer.Option("--not", metavar="CUT=DEPTH", help="You know that it is not.")
    ] = None,
    as_json: Annotated[bool, typer.Option("--json", help="One keyreading/1 object.")] = False,
) -> None:
    """Decode caliper figures taken off an enlarged picture.

    Any one unit will do, since the blade height gives the scale. Decimal comma or point. For independent edges give
    the first edge's roots and then the second's.

    \b
    Example:
      valleygauge decode --spec harbourside-5 --height 19.91 --roots 19.51 18.28 16.13 12.36 12.36
      valleygauge decode --spec harbourside-5 --height 19,91 --roots 19,51 18,28 16,13 12,36 12,36 --not 1=0
    """
    from app.commands_words import decoding_lines, flip_line
    from keycore.decode import Decoder
    from keycore.figures import readings_of_figures
    from keycore.keyreading import from_decoding
    from keycore.spec import load_spec

    table = load_spec(spec)
    height_value = number(height, "the blade height")
    assert height_value is not None
    placed = numbers(positions, "a position") if positions else None
    root_values = numbers(roots, "a root height")
    readings = readings_of_figures(height_value, root_values, placed, number(sigma, "sigma"), table)
    decoder = Decoder(readings, table, holds=holds_from(hold, ruled_out, table))
    decoding = decoder.decoding()
    if as_json:
        print_json(from_decoding(PICTURE_NAME, decoding, None).model_dump(mode="json", exclude_none=True))
        return
    lines = decoding_lines(PICTURE_NAME.capitalize(), decoding, unit="figure")
    typer.echo("\n".join([*lines, flip_line(*decoder.flip_growths_mm())]))
    for caution in cautions(table):
        say(caution)
