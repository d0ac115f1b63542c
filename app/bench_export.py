"""What leaves the program: the job folder with the code, the annotated picture, and the reading.

A code leaves only with its entitlement; without it nothing at all is written.
"""

from __future__ import annotations

import io
import json
import os
from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING, Any

import numpy as np

from app.picture.values import Bytes, Picture, PictureReading, Straight
from keycore.measured import Floats
from keycore.refusal import Refusal

if TYPE_CHECKING:
    from app.bench import Bench
    from app.paper.annotated import Annotated

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
    bench.save(folder)
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

    state, reading, decoding = bench.state, bench.reading, bench.decoding
    if reading is None or decoding is None or state.picture is None:
        raise Refusal("There is no code to draw yet. Read the picture first.", code="bench.no-code")
    return draw_annotated(
        straightened(state.picture.picture, reading.straight),
        reading.blade,
        reading.readings.cuts,
        decoding,
        state.entitlement,
        state.number,
        picture_name=state.picture.picture.name,
        made_on=f"{datetime.now():%Y-%m-%d}",
        roots_xy=_roots(reading, len(decoding.cuts)),
    )


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
