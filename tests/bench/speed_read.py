"""How long reading takes, and how much memory.  ``python -m tests.bench.speed_read [FOLDER] [--rounds N]``.

Side by side in one run, in turns, warm, one process:

* a 600-dpi A4 page with one key on it: ``read`` (opening, reading, decoding) against loading the same file and one
  5 x 5 Gaussian blur of it, both with OpenCV; as a scan (JPEG, grey and colour) and as a copy (PNG);
* seconds for each picture of FOLDER (pictures, truth.jsonl, specs/, as the generator writes them);
* reading again after one mark has moved (a root, the shoulder, the tip, the back or centreline, the blade's height; to
  be refined, or taken as it stands) with its decoding, and at another growth, through the job itself, as the window
  does it; medians over pictures and marks: of one drawn picture of each medium, or of FOLDER's;
* peak memory of a fresh process that opens (and that reads) a 1200-dpi A4 page, in grey and in colour.

Wall-clock times; on a busy machine look at the ratios, which are taken round by round.
"""

from __future__ import annotations

import argparse
import json
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable
from functools import partial
from pathlib import Path
from typing import Any

import cv2
import numpy as np
from PIL import Image

from app.bench import Bench
from app.bench_marks import MarkPoint
from app.picture.load import open_picture
from app.picture.read import read_picture
from keycore.decode import decode
from keycore.refusal import Refusal
from keycore.spec import KeySpec, load_spec, parse_spec
from tests.generator.make import draw_picture
from tests.generator.page import on_one_page
from tests.generator.tables import invented_table

A4_MM = (210.0, 297.0)
DRAGS = 5
"""How often each mark of each picture is moved."""
HAND_MM = 0.2
PICTURES_AGAIN = 12
"""So many pictures of a folder are read again."""
MARKS = ("root.1", "shoulder", "tip", "back.0", "centreline.0", "blade_height.1")
PEAK = """
import sys
from pathlib import Path
from app.picture.load import open_picture
picture = open_picture(Path(sys.argv[1]))
if len(sys.argv) > 2:
    from app.picture.read import read_picture
    from keycore.decode import decode
    from keycore.spec import load_spec
    spec = load_spec(Path(sys.argv[2]))
    decode(read_picture(picture, spec).readings, spec)
# The high-water mark of this process alone: what getrusage says would hold the parent's, from before the start.
(peak,) = [line for line in Path("/proc/self/status").read_text().splitlines() if line.startswith("VmHWM")]
print(peak.split()[1])
"""


def a4_page(folder: Path, medium: str, dpi: float, suffix: str, *, colour: bool = False) -> tuple[Path, Path]:
    """(picture, table) of an A4 page with one drawn key on it, and some print."""
    table = invented_table("A", 5)
    _shape, drawn = draw_picture(table, medium, [5, 1])
    size = round(A4_MM[0] / 25.4 * dpi), round(A4_MM[1] / 25.4 * dpi)
    drawn = {**drawn, "dpi": drawn["dpi"] or dpi}
    page = on_one_page([drawn], size, [(size[0] // 4, size[1] // 3)], dpi)
    for line in range(12):
        at = size[0] // 8, size[1] // 40 * (line + 2)
        cv2.putText(page, "Of this page nothing is true", at, cv2.FONT_HERSHEY_COMPLEX, dpi / 200, 60, 3)
    # The grain of any scanner, which a page drawn flat would lack (and be loaded the quicker).
    grain = np.random.default_rng(1).normal(0, 1.5, (512, 512))
    tiles = -(-np.array(page.shape) // 512)
    page = np.clip(page + np.tile(grain, tiles)[: size[1], : size[0]], 0, 255).astype(np.uint8)
    pixels = np.stack([page, page, np.maximum(page, 4) - 4], axis=2) if colour else page
    path = folder / f"{medium}-{dpi:.0f}{'-colour' if colour else ''}{suffix}"
    Image.fromarray(pixels).save(path, dpi=(dpi, dpi), **({"quality": 92} if suffix == ".jpg" else {}))
    (folder / "table.json").write_text(json.dumps(table.to_json()))
    return path, folder / "table.json"


def read(path: Path, spec: KeySpec) -> None:
    """All that the command does for one picture; a refusal takes its time too."""
    try:
        decode(read_picture(open_picture(path), spec).readings, spec)
    except Refusal as refusal:
        print(f"  ({refusal.sentence})")


def load_and_blur(path: Path) -> None:
    """What the ratio is taken of."""
    cv2.GaussianBlur(cv2.imread(str(path), cv2.IMREAD_UNCHANGED), (5, 5), 0)


def seconds(work: Callable[[], Any]) -> float:
    """Wall-clock time of one run."""
    started = time.perf_counter()
    work()
    return time.perf_counter() - started


def ratio(path: Path, spec: KeySpec, rounds: int) -> str:
    """Both in turns, after one of each to warm up."""
    load_and_blur(path), read(path, spec)
    pairs = np.array([(seconds(lambda: load_and_blur(path)), seconds(lambda: read(path, spec))) for _ in range(rounds)])
    blur_s, read_s = np.median(pairs, axis=0)
    return f"{np.median(pairs[:, 1] / pairs[:, 0]):.2f} times ({blur_s:.2f} s and {read_s:.2f} s)"


def pictures_to_read_again(made: Path, folder: Path | None) -> list[tuple[Path, KeySpec]]:
    """Some of a folder's pictures, evenly; without one, a drawn picture of each medium."""
    if folder is not None:
        lines = [json.loads(line) for line in (folder / "truth.jsonl").read_text().splitlines() if line.strip()]
        lines = lines[:: max(1, len(lines) // PICTURES_AGAIN)]
        return [(folder / truth["image"], load_spec(folder / "specs" / f"{truth['spec']}.json")) for truth in lines]
    table = invented_table("A", 5)
    pictures = []
    for medium in ("scan", "photocopy", "photo-card", "photo-copy"):
        _shape, drawn = draw_picture(table, medium, [5, 1])
        dpi = drawn["dpi"] and (drawn["dpi"], drawn["dpi"])
        Image.fromarray(drawn["image"]).save(made / f"{medium}.png", **({"dpi": dpi} if dpi else {}))
        pictures.append((made / f"{medium}.png", parse_spec(table.to_json())))
    return pictures


def folder_seconds(folder: Path) -> dict[str, list[float]]:
    """Seconds of each picture by medium, one process, warm."""
    lines = [json.loads(line) for line in (folder / "truth.jsonl").read_text().splitlines() if line.strip()]
    specs = {truth["spec"]: load_spec(folder / "specs" / f"{truth['spec']}.json") for truth in lines}
    read(folder / lines[0]["image"], specs[lines[0]["spec"]])
    took: dict[str, list[float]] = {}
    for truth in lines:
        one = seconds(lambda t=truth: read(folder / t["image"], specs[t["spec"]]))  # type: ignore[misc]
        took.setdefault(truth["medium"], []).append(one)
    return took


def again_ms(pictures: list[tuple[Path, KeySpec]]) -> dict[str, list[float]]:
    """Milliseconds of each thing that a person waits for: a mark moved, the growth slid; over pictures and marks.

    A whole reading, which a mark that went too far would ask for, counts with the time that it takes.
    """
    took: dict[str, list[float]] = {}
    rng = np.random.default_rng(1)
    for path, spec in pictures:
        bench = Bench()
        bench.set_spec(spec)
        bench.open_picture(path)
        _work(bench)
        if bench.decoding is None:
            continue
        for mark in [mark for mark in bench.marks() if mark.name in MARKS]:
            _drag(bench, mark, rng, took)
        for growth in np.linspace(0.0, 0.6, DRAGS):
            took.setdefault("growth slid", []).append(1000 * seconds(partial(_slide, bench, float(growth))))
    return took


def _drag(bench: Bench, mark: MarkPoint, rng: np.random.Generator, took: dict[str, list[float]]) -> None:
    """Move one mark to and fro, first to be refined, then as it stands; and take it all back."""
    assert bench.decoding is not None
    hand_px = HAND_MM * bench.decoding.scale.px_per_mm_along.value
    before = bench.state
    for words in ("refined", "taken as it stands"):
        for _ in range(DRAGS):
            x, y = mark.xy + rng.normal(0, hand_px, 2)
            bench.move_mark(mark.name, (float(x), float(y)))
            if words != "refined":
                bench.refuse_snap(mark.name)
            took.setdefault(f"{mark.name} moved, {words}", []).append(1000 * seconds(partial(_work, bench)))
    while bench.state is not before:
        bench.undo()


def _slide(bench: Bench, growth_mm: float) -> None:
    bench.set_growth(growth_mm)
    assert bench.decoding is not None


def _work(bench: Bench) -> None:
    work = bench.work()
    if work is not None:
        bench.take(work.run())


def peak_gb(*arguments: Path) -> float:
    """Peak memory of a fresh process that opens a picture, and reads it where a table is given too (Linux)."""
    done = subprocess.run(
        [sys.executable, "-c", PEAK, *map(str, arguments)], capture_output=True, text=True, check=True
    )
    return int(done.stdout) / 1024**2


def main() -> None:
    """Print the tables."""
    call = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    call.add_argument("folder", type=Path, nargs="?")
    call.add_argument("--rounds", type=int, default=7)
    call.add_argument("--memory", action="store_true", help="measure peak memory too (140 million pixels)")
    asked = call.parse_args()
    with tempfile.TemporaryDirectory() as made:
        folder = Path(made)
        for medium, suffix, colour in (("scan", ".jpg", False), ("scan", ".jpg", True), ("photocopy", ".png", False)):
            path, table = a4_page(folder, medium, 600.0, suffix, colour=colour)
            said = ratio(path, load_spec(table), asked.rounds)
            print(f"A4 at 600 dpi, {path.stem}{suffix}: read takes {said} as loading and one blur")
        pictures = pictures_to_read_again(folder, asked.folder)
        again = again_ms(pictures)
        marks = [time for name, times in again.items() if "moved" in name for time in times]
        for name, times in [("one mark moved, of all", marks), *again.items()]:
            print(f"{name}: {np.median(times):.1f} ms, nine in ten within {np.percentile(times, 90):.1f} ms")
        if asked.folder is not None:
            for medium, times in folder_seconds(asked.folder).items():
                print(
                    f"{medium}: {np.median(times):.2f} s a picture, slowest {max(times):.2f} s ({len(times)} pictures)"
                )
        if asked.memory:
            for colour in (False, True):
                for suffix in (".jpg", ".png", ".tif"):
                    path, table = a4_page(folder, "scan", 1200.0, suffix, colour=colour)
                    opened, whole = peak_gb(path), peak_gb(path, table)
                    print(f"A4 at 1200 dpi, {path.name}: {opened:.2f} GB to open, {whole:.2f} GB to read")
                    path.unlink()


if __name__ == "__main__":
    main()
