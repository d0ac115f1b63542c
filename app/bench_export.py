"""What leaves the program: the job folder with the code, the annotated picture, and the reading.

A code leaves only with its entitlement; without it nothing at all is written.
"""

from __future__ import annotations

import io
import json
import os
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

from app.bench_folders import hold, let_go, require_same_job
from app.bench_record import save
from app.picture.values import Blade, Bytes, Picture, PictureReading, Straight
from keycore.job import Entitlement
from keycore.measured import CutReading, Floats
from keycore.refusal import Refusal

if TYPE_CHECKING:
    from app.bench import Bench
    from app.paper.annotated import Annotated
    from app.paper.drawing import Drawing
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
    save(folder, bench.job(), bench.state)
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
    """The annotated picture of the picture that is shown; refused without the entitlement, or before a reading."""
    from app.paper.annotated import draw_annotated

    shown = _drawn(bench)
    return draw_annotated(*shown.arguments, picture_name=shown.name, made_on=_today(), roots_xy=shown.roots_xy)


def annotated_drawing_of(bench: Bench) -> tuple[str, Drawing]:
    """(title, drawing) of the same for other papers, without heading and foot."""
    from app.paper.annotated import annotated_drawing

    shown = _drawn(bench)
    return shown.name, annotated_drawing(*shown.arguments, roots_xy=shown.roots_xy, heading=False)


@dataclass(frozen=True)
class _Drawn:
    name: str
    arguments: tuple[Bytes, Blade, tuple[CutReading, ...], Decoding, Entitlement, str]
    roots_xy: Floats | None


def _drawn(bench: Bench) -> _Drawn:
    state, reading, decoding = bench.state, bench.reading, bench.decoding
    if reading is None or decoding is None or state.picture is None:
        raise Refusal("There is no code to draw yet. Read the picture first.", code="bench.no-code")
    pixels = straightened(state.picture.picture, reading.straight)
    return _Drawn(
        state.picture.picture.name,
        (pixels, reading.blade, reading.readings.cuts, decoding, state.entitlement, state.number),
        _roots(reading, len(decoding.cuts)),
    )


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


def write_private(path: Path, content: bytes) -> None:
    """Write a whole file that only its owner can read; one of that name is replaced in one step."""
    part = path.with_name(f".{path.name}.part")
    descriptor = os.open(part, os.O_WRONLY | os.O_CREAT | os.O_TRUNC, 0o600)
    try:
        with os.fdopen(descriptor, "wb") as file:
            file.write(content)
        os.replace(part, path)
    except OSError as error:
        part.unlink(missing_ok=True)
        raise Refusal(
            f"{path.name} could not be written in {path.parent.name}: {error.strerror or error}. Choose another "
            f"folder or make room.",
            code="export.cannot-write",
        ) from error
