"""What leaves the program: the job folder with the code, the annotated picture, and the reading.

A code leaves only with its entitlement; without it nothing at all is written.
"""

from __future__ import annotations

import contextlib
import io
import json
import os
from dataclasses import dataclass, replace
from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

from app.bench_folders import hold, let_go, note_seen, require_same_job, require_unchanged
from app.bench_record import save
from app.picture.values import Blade, Bytes, Picture, PictureReading, Straight
from keycore.job import Entitlement
from keycore.measured import CutReading, Floats
from keycore.refusal import Refusal

if TYPE_CHECKING:
    from app.bench import Bench
    from app.paper.annotated import Annotated
    from app.paper.drawing import Drawing as Drawing  # the window shows what it may not make
    from keycore.decode import Decoding

READING_FILE = "reading.json"
ANNOTATED_PICTURE = "annotated.png"
ANNOTATED_DRAWING = "annotated.svg"


def export_job(bench: Bench, folder: Path) -> tuple[Path, ...]:
    """Write everything; see :meth:`app.bench.Bench.export`."""
    state = bench.state
    if state.missing_for_export:
        raise Refusal(
            f"A code leaves the program only with its entitlement; still to be recorded: "
            f"{', '.join(state.missing_for_export)}.",
            code="job.no-entitlement",
        )
    if bench.decoding is None or not bench.is_current:
        why = bench.problem or "Read the picture first."
        raise Refusal(f"There is no code to export yet. {why}", code="bench.no-code")
    picture = annotated_picture(bench)
    reading = bench.job().reading
    own = bench.folder is not None and bench.folder.resolve() == folder.resolve()
    require_same_job(folder, state)
    hold(folder)
    try:
        return _written(bench, folder, picture, reading)
    finally:
        if not own:
            let_go(folder)


def _written(bench: Bench, folder: Path, picture: Annotated, reading: Any) -> tuple[Path, ...]:
    require_unchanged(folder)
    save(folder, bench.job(), bench.state)
    note_seen(folder)
    stream = io.BytesIO()
    picture.image.save(stream, "PNG", dpi=(picture.dpi, picture.dpi))
    contents = {
        READING_FILE: (json.dumps(reading, ensure_ascii=False, indent=1) + "\n").encode(),
        ANNOTATED_PICTURE: stream.getvalue(),
        ANNOTATED_DRAWING: picture.svg.encode(),
    }
    written = [folder / "job.json"]
    for name, content in contents.items():
        write_private(folder / name, content)
        written.append(folder / name)
    return tuple(written)


def annotated_picture(bench: Bench) -> Annotated:
    """The annotated picture of the shown picture of the wanted key (else of its first one).

    Refused without the entitlement, or before a reading.
    """
    from app.paper.annotated import draw_annotated

    shown = _drawn(bench, shown_key(bench))
    return draw_annotated(*shown.arguments, picture_name=shown.name, made_on=_today(), roots_xy=shown.roots_xy)


def annotated_drawings_of(bench: Bench) -> list[tuple[str, Drawing]]:
    """(title, drawing) of every picture of the wanted key for other papers, without heading and foot."""
    from app.paper.annotated import annotated_drawing

    drawings = []
    for index in range(len(bench.key_pictures)):
        shown = _drawn(bench, index)
        drawings.append((shown.name, annotated_drawing(*shown.arguments, roots_xy=shown.roots_xy, heading=False)))
    return drawings


def shown_key(bench: Bench) -> int:
    """Which of the pictures of the wanted key is looked at; the first where another kind is shown."""
    shown = bench.state.picture
    return next((index for index, picture in enumerate(bench.key_pictures) if picture is shown), 0)


@dataclass(frozen=True)
class _Drawn:
    name: str
    arguments: tuple[Bytes, Blade, tuple[CutReading, ...], Decoding, Entitlement, str]
    roots_xy: Floats | None


def _drawn(bench: Bench, index: int) -> _Drawn:
    state, decoding = bench.state, bench.decoding
    picture = bench.key_pictures[index] if index < len(bench.key_pictures) else None
    reading = None if picture is None else bench.reading_of(picture)
    if picture is None or reading is None or decoding is None:
        raise Refusal("There is no code to draw yet. Read the picture first.", code="bench.no-code")
    pixels = straightened(picture.picture, reading.straight)
    return _Drawn(
        picture.picture.name,
        (pixels, reading.blade, reading.readings.cuts, on_picture(decoding, index), state.entitlement, state.number),
        _roots(reading, len(decoding.cuts)),
    )


def on_picture(decoding: Decoding, index: int) -> Decoding:
    """The decoding of several pictures as one of them shows it: with that one's own scale and growth."""
    if index >= len(decoding.pictures):
        return decoding
    own = decoding.pictures[index]
    return replace(decoding, scale=own.scale, growth_mm=own.growth_mm, growth_sigma_mm=own.growth_sigma_mm)


def _today() -> str:
    return f"{datetime.now():%Y-%m-%d}"


def straightened(picture: Picture, straight: Straight) -> Bytes:
    """The picture resampled into its straightened frame: for looking at, never for measuring."""
    from app.picture.opencv import cv2

    flags = cv2.INTER_LINEAR | cv2.WARP_INVERSE_MAP
    pixels: Any = cv2.warpPerspective(
        picture.rgb, straight.to_picture, straight.size, flags=flags, borderMode=cv2.BORDER_REPLICATE
    )
    return np.asarray(pixels, dtype=np.uint8)


def _roots(reading: PictureReading, cuts: int) -> Floats | None:
    """(cuts, 2) straightened positions of the roots as marked; for a mirrored pair those of the upper edge."""
    points = [xy for edge in reading.marks.roots_by_edge() for xy in edge][:cuts]
    return reading.straight.straight_xy(np.array(points)) if len(points) == cuts else None


def write_drawing(path: Path, drawing: Drawing, title: str, dpi: int = 300) -> None:
    """Write a drawing as SVG or, by any other suffix, as PNG with its dpi; for its owner's eyes."""
    if path.suffix.lower() == ".svg":
        write_private(path, drawing.to_svg(title).encode())
        return
    stream = io.BytesIO()
    drawing.to_image(dpi).save(stream, "PNG", dpi=(dpi, dpi))
    write_private(path, stream.getvalue())


def write_private(path: Path, content: bytes) -> None:
    """Write a whole file that only its owner can read; one of that name is replaced in one step."""
    part = path.with_name(f".{path.name}.part")
    try:
        descriptor = os.open(part, os.O_WRONLY | os.O_CREAT | os.O_TRUNC, 0o600)
        with os.fdopen(descriptor, "wb") as file:
            file.write(content)
        os.replace(part, path)
    except OSError as error:
        with contextlib.suppress(OSError):
            part.unlink(missing_ok=True)
        raise Refusal(
            f"{path.name} could not be written in {path.parent.name}: {error.strerror or error}. Choose another "
            f"folder or make room.",
            code="export.cannot-write",
        ) from error
