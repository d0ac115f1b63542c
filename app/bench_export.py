"""What leaves the program: the job folder with the code, the annotated picture, and the reading.

A code leaves only with its entitlement; without it nothing at all is written.
"""

from __future__ import annotations

import json
from pathlib import Path
from typing import TYPE_CHECKING

from keycore.refusal import Refusal

if TYPE_CHECKING:
    from app.bench import Bench

READING_FILE = "reading.json"


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
    job = bench.job()
    bench.save(folder)
    written = [folder / "job.json"]
    if job.reading is not None:
        path = folder / READING_FILE
        write_private(path, (json.dumps(job.reading, ensure_ascii=False, indent=1) + "\n").encode())
        written.append(path)
    return tuple(written)


def write_private(path: Path, content: bytes) -> None:
    """Write a file that only its owner can read."""
    import os

    descriptor = os.open(path, os.O_WRONLY | os.O_CREAT | os.O_TRUNC, 0o600)
    with os.fdopen(descriptor, "wb") as file:
        file.write(content)
