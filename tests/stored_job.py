"""The stored job that all later versions must open: ``python -m tests.stored_job`` makes the one of this version.

It is made once, by the version that brings a new job/N or a new decoder, and committed; a released one is never made
again.  Everything in it is invented.  ``--check`` only compares what would be made with what is stored.
"""

from __future__ import annotations

import argparse
import json
import shutil
import sys
import tempfile
from datetime import UTC, date, datetime
from pathlib import Path
from typing import Any

from keycore.job import JOB_VERSION

ROOT = Path(__file__).resolve().parent.parent
STORED = ROOT / "tests" / "keycore" / "jobs" / f"job-{JOB_VERSION}"


def make(folder: Path) -> None:
    """Do the whole job on the demo scan, with something in every member, and save it."""
    from app.bench import Bench
    from app.bench_check import check_by_calipers, check_work, take_check
    from app.bench_work import load_picture
    from keycore.job import Entitlement, TrialDone

    scan = ROOT / "assets" / "demo-scan.jpg"
    seen = datetime(2026, 1, 15, 10, 30, tzinfo=UTC)
    bench = Bench("STORED-2", now=datetime(2026, 1, 15, 9, 12, 33, 250000, tzinfo=UTC))
    bench.set_spec("harbourside-5")
    bench.open_picture(scan)
    bench.take(_work(bench).run())
    marks = {point.name: point.xy for point in bench.marks()}
    bench.move_mark("root.1", (marks["root.1"][0] + 0.75, marks["root.1"][1] - 0.5))
    bench.rule_out(0, "0")
    bench.take(_work(bench).run())
    bench.set_entitlement(
        Entitlement(
            asked_by="Keeper of the chart room (invented)",
            proof_seen="register entry (invented)",
            seen_by="the demo's locksmith (invented)",
            seen_on=seen,
            address="1 Slipway, Invented Quay",
        )
    )
    decoding = bench.decoding
    if decoding is None:
        raise SystemExit(f"The demo scan was not read: {bench.problem}")
    bench.decide_code(decoding.code)
    bench.add_trial(TrialDone(blank=1, code=decoding.code, opened=True, tried_on=seen, note="turns freely"))
    check_by_calipers(bench, [decoding.spec.root_of(label) + 0.01 for label in decoding.code])
    bench.add_picture(load_picture(scan), shows="cut key")
    work = check_work(bench)
    if work is None or not take_check(bench, work.run()):
        raise SystemExit("The picture of the cut key was not read.")
    bench.set_notes("Blank from the drawer; everything here is invented.")
    bench.set_keep_until(date(2036, 1, 15))
    bench.save(folder)
    bench.close()


def _work(bench: Any) -> Any:
    work = bench.work()
    if work is None:
        raise SystemExit(f"There is nothing to read: {bench.problem}")
    return work


def main() -> int:
    """Make the stored job, or compare."""
    parser = argparse.ArgumentParser(prog="python -m tests.stored_job", description=__doc__)
    parser.add_argument("--check", action="store_true", help="write nothing; say whether it would be the same")
    call = parser.parse_args()
    with tempfile.TemporaryDirectory() as home:
        fresh = Path(home) / "job"
        make(fresh)
        if not call.check:
            shutil.rmtree(STORED, ignore_errors=True)
            shutil.copytree(fresh, STORED)
            print(f"stored in {STORED.relative_to(ROOT)}")
            return 0
        new, old = (json.loads((at / "job.json").read_text(encoding="utf-8")) for at in (fresh, STORED))
    differing = [name for name in new if name not in ("checksum", "program_version") and new[name] != old.get(name)]
    print(f"differs in {', '.join(differing)}" if differing else "the same")
    return 1 if differing else 0


if __name__ == "__main__":
    sys.exit(main())
