"""``python tests/bench/accuracy.py FOLDER [--marks] [--limit N] [--jobs 2]``: read a folder of pictures with truth.

FOLDER holds pictures, ``truth.jsonl`` and ``specs/`` as the generator writes them.  Without ``--marks`` nothing but the
picture and its table is given; with it, rough marks (0.4 mm of scatter in each coordinate).
"""

from __future__ import annotations

import argparse
import json
import multiprocessing
import os
import sys
import time
from dataclasses import asdict, replace
from pathlib import Path
from typing import Any

sys.path.insert(0, str(Path(__file__).resolve().parents[2]))  # run by its path, Python looks for imports beside it

from tests.bench.roughmarks import rough_marks
from tests.bench.score import Outcome, compare, reliability, table

THREADS = ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS")


def read_one(call: tuple[str, dict[str, Any], bool]) -> Outcome:
    """Read one picture and hold it against its truth."""
    from app.picture.load import open_picture
    from app.picture.read import read_picture
    from keycore.decode import decode
    from keycore.refusal import Refusal
    from keycore.spec import format_code, load_spec

    folder, truth, with_marks = Path(call[0]), call[1], call[2]
    spec = load_spec(folder / "specs" / f"{truth['spec']}.json")
    lists = truth["code"] if isinstance(truth["code"][0], list) else [truth["code"]]
    true = tuple(label for edge in lists for label in edge)
    outcome = Outcome(
        image=truth["image"], medium=truth["medium"], spec=truth["spec"],
        clear=truth["nuisance"]["floors_without_edge"] == 0, right=False, probability=0.0, cuts_right=0,
        cuts=len(true), errors_mm=(), seconds=0.0, true=format_code(true, spec),
    )  # fmt: skip
    marks = None
    if with_marks:
        if spec.blade.height_mm is None:
            raise SystemExit(f"{spec.name}: rough marks need the table's blade height.")
        marks = rough_marks(truth["marks"], truth["image"], spec.blade.height_mm)
    start = time.perf_counter()
    try:
        reading = read_picture(open_picture(folder / truth["image"]), spec, marks)
        decoding = decode(reading.readings, spec)
    except Refusal as refusal:
        return replace(outcome, refused=refusal.sentence, verdict="refused", seconds=time.perf_counter() - start)
    seconds = time.perf_counter() - start
    best = decoding.codes[0]
    right, cuts_right, errors = compare(truth, best.code, [cut.root_mm for cut in decoding.cuts])
    return replace(
        outcome, right=right, probability=best.probability, cuts_right=cuts_right, errors_mm=tuple(errors),
        seconds=seconds, verdict=decoding.verdict, said=format_code(best.code, spec),
    )  # fmt: skip


def read_folder(
    folder: Path, with_marks: bool, jobs: int, limit: int | None = None, media: list[str] | None = None,
    specs: list[str] | None = None,
) -> list[Outcome]:  # fmt: skip
    """Read every picture of a folder (or those of some media and tables), several at a time."""
    lines = [json.loads(line) for line in (folder / "truth.jsonl").read_text().splitlines() if line.strip()]
    lines = [t for t in lines if (not media or t["medium"] in media) and (not specs or t["spec"] in specs)]
    calls = [(str(folder), truth, with_marks) for truth in lines[:limit]]
    if jobs <= 1:
        return [read_one(call) for call in calls]
    for name in THREADS:
        os.environ.setdefault(name, "1")
    with multiprocessing.get_context("spawn").Pool(jobs) as pool:
        return list(pool.imap(read_one, calls, chunksize=1))


def main() -> None:
    """Read, and print the tables."""
    parser = argparse.ArgumentParser(prog="python -m tests.bench.accuracy", description=__doc__)
    parser.add_argument("folder", type=Path)
    parser.add_argument("--marks", action="store_true", help="give rough marks")
    parser.add_argument("--limit", type=int, help="only the first so many pictures")
    parser.add_argument("--jobs", type=int, default=2)
    parser.add_argument("--medium", action="append", help="only this medium (may be repeated)")
    parser.add_argument("--spec", action="append", help="only this table (may be repeated)")
    parser.add_argument("--each", action="store_true", help="one line for every picture")
    parser.add_argument("--json", type=Path, help="also write every outcome to this file, one object a line")
    call = parser.parse_args()
    outcomes = read_folder(call.folder, call.marks, call.jobs, call.limit, call.medium, call.spec)
    if not outcomes:
        parser.error("no picture of the folder was chosen")
    if call.each:
        for o in outcomes:
            mark = "right" if o.right else "WRONG"
            kind = "clear" if o.clear else "hard"
            said = f"{o.verdict:8}{o.said} | {o.true} {o.refused}"
            print(f"{o.image:24}{o.spec:8}{kind:6}{mark:6}{o.probability:7.3f} {said}")
        print()
    print(table(outcomes))
    print()
    print(reliability(outcomes))
    if call.json:
        call.json.write_text("".join(json.dumps(asdict(o)) + "\n" for o in outcomes))


if __name__ == "__main__":
    main()
