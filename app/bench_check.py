"""The check of the cut key: by caliper figures, or by a new picture of it; its overlay.

By picture, in three steps, so that the heavy one may run on any thread::

    bench.add_picture(loaded, shows="cut key")      # its marks can be set by hand like any other's
    work = check_work(bench)                        # None where no picture of the cut key is there
    take_check(bench, work.run(progress, cancelled))

``take_check`` records the outcome in the job (one step to undo) and keeps the reading, so that the overlay can be drawn
again when the job is opened years later.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from app.bench_paper import decided, outline_of_reading
from app.bench_work import Cancelled, Progress, ReadKey, read_key, read_one
from app.picture.values import Picture, PictureReading
from keycore.refusal import Refusal

if TYPE_CHECKING:
    from app.bench import Bench
    from app.bench_state import BenchPicture
    from app.paper.drawing import Drawing
    from keycore.codes import Code
    from keycore.conformity import CutKeyCheck
    from keycore.cutpicture import PictureCheck
    from keycore.measured import Floats
    from keycore.spec import KeySpec

CALIPER_SIGMA_MM = 0.012
"""Digital calipers good to 0.02 mm either way, taken as evenly spread: 0.02 / sqrt(3)."""


@dataclass(frozen=True)
class CheckResult:
    """What came of reading the cut key: the check, or why there is none."""

    key: ReadKey
    code: Code
    reading: PictureReading | None = None
    found: PictureCheck | None = None
    problem: str = ""


@dataclass(frozen=True)
class CheckWork:
    """Reading and judging a picture of the cut key, whole and frozen; it may run on any thread."""

    key: ReadKey
    picture: Picture
    spec: KeySpec
    code: Code
    known: PictureReading | None = None

    def run(self, progress: Progress | None = None, cancelled: Cancelled | None = None) -> CheckResult:
        """Do it.  Only a fault of the program raises; what the picture refuses is in the result."""
        from keycore.cutpicture import check_by_picture

        reading = self.known or read_one(self.key, self.picture, progress, cancelled)
        if isinstance(reading, Refusal):
            return CheckResult(self.key, self.code, problem=reading.sentence)
        try:
            found = check_by_picture(self.code, self.spec, reading.readings)
        except Refusal as refusal:
            return CheckResult(self.key, self.code, reading, problem=refusal.sentence)
        return CheckResult(self.key, self.code, reading, found)


def check_by_calipers(
    bench: Bench,
    roots_mm: Sequence[float],
    sigma_mm: float = CALIPER_SIGMA_MM,
    *,
    positions_mm: Sequence[float] | None = None,
) -> CutKeyCheck:
    """Judge the cut key by caliper figures and record it in the job."""
    from keycore.conformity import check_cut_key

    spec, code = _wanted(bench)
    found = check_cut_key(
        code, spec, roots_mm, sigma_mm, positions_mm=positions_mm,
        position_sigma_mm=None if positions_mm is None else sigma_mm,
    )  # fmt: skip
    bench.set_cut_key_check(found.to_json())
    return found


def cut_key_picture(bench: Bench) -> BenchPicture | None:
    """The latest picture of the cut key in the job."""
    return next((picture for picture in reversed(bench.state.pictures) if picture.shows == "cut key"), None)


def check_work(bench: Bench) -> CheckWork | None:
    """What has to be read for the check by picture; None where the job has no picture of the cut key."""
    picture = cut_key_picture(bench)
    if picture is None:
        return None
    spec, code = _wanted(bench)
    key = read_key(picture, bench.state.spec or spec)
    return CheckWork(key, picture.picture, spec, code, bench.reading_of(picture))


def take_check(bench: Bench, result: CheckResult) -> bool:
    """Record what came of it.  False, taking nothing, where the job has moved on; a refusal where it failed."""
    picture = cut_key_picture(bench)
    spec = bench.state.spec
    if picture is None or spec is None or read_key(picture, spec) != result.key or _wanted(bench)[1] != result.code:
        return False
    if result.reading is not None:
        bench.keep_reading(result.key, result.reading)
    if result.found is None:
        raise Refusal(result.problem, code="check.not-read")
    bench.set_cut_key_check({**result.found.to_json(), "file": picture.file})
    return True


def overlay_of_picture(bench: Bench, result: CheckResult, *, heading: bool = True) -> Drawing:
    """The overlay of nominal and measured profile, from a check by picture."""
    from app.paper.overlay import overlay_drawing

    if result.found is None or result.reading is None:
        raise Refusal(result.problem or "The cut key was not read yet.", code="check.not-read")
    found, state = result.found, bench.state
    lines = _slimmer(found, outline_of_reading(result.reading, found.measured))
    growth = found.measured.growth_mm
    words = f"Broken line: the edge as the picture shows it, growth of {growth:.2f} mm taken off." if lines else ""
    return overlay_drawing(
        found.check, state.entitlement, state.number, outline_mm=lines, outline_words=words, heading=heading
    )


def overlay_of_calipers(bench: Bench, found: CutKeyCheck, *, heading: bool = True) -> Drawing:
    """The overlay of nominal profile and caliper figures."""
    from app.paper.overlay import overlay_drawing

    return overlay_drawing(found, bench.state.entitlement, bench.state.number, heading=heading)


def recorded_overlay(bench: Bench, *, heading: bool = True) -> Drawing | None:
    """The overlay of the check that stands in the record, made anew; None where there is none, or it is damaged."""
    from keycore.conformity import check_cut_key

    check, spec = bench.state.cut_key_check, bench.state.spec
    if check is None or spec is None:
        return None
    try:
        if check.get("measured_by") == "picture":
            work = check_work(bench)
            if work is None or work.known is None:
                return None
            return overlay_of_picture(bench, work.run(), heading=heading)
        roots = [row for row in check["checks"] if row["what"] == "root"]
        code = [label for part in check["code"] for label in ([part] if isinstance(part, str) else part)]
        figures = check_cut_key(
            tuple(code),
            spec.for_count(len(code) // spec.edge_count),
            [row["measured_mm"] for row in roots],
            [row["sigma_mm"] for row in roots],
        )
        return overlay_of_calipers(bench, figures, heading=heading)
    except (Refusal, KeyError, TypeError, ValueError):
        return None


def _slimmer(found: PictureCheck, lines: Sequence[Floats]) -> list[Floats]:
    """A picture's outline with its growth taken off, its first edge uppermost."""
    spec, growth = found.check.spec, found.measured.growth_mm
    if spec.edges == "single":
        return [np.column_stack([line[:, 0], line[:, 1] - growth]) for line in lines]
    middle = (spec.blade.height_mm or 0.0) / 2
    share = 0.5 if spec.edges == "double-mirrored" else 1.0  # a pair's growth is that of both edges
    slim = [
        np.column_stack([line[:, 0], line[:, 1] - np.where(line[:, 1] >= middle, growth, -growth) * share])
        for line in lines
    ]
    return [np.column_stack([line[:, 0], 2 * middle - line[:, 1]]) for line in slim] if found.other_face else slim


def _wanted(bench: Bench) -> tuple[KeySpec, Code]:
    """Table and code of the key that was to be cut."""
    spec, code = bench.state.spec, bench.state.decided_code
    if spec is not None and code is not None:
        return spec.for_count(len(code) // spec.edge_count), code
    decoding, code = decided(bench)
    return decoding.spec, code
