"""``python -m tests.generator OUT --seed N --count N [--medium M] [--kind K]``."""

from __future__ import annotations

import argparse
from pathlib import Path

from tests.generator.make import MEDIA, write_set
from tests.generator.tables import KINDS


def main() -> None:
    """Write a set of pictures with truth."""
    parser = argparse.ArgumentParser(
        prog="python -m tests.generator", description="Draw invented keys with known truth."
    )
    parser.add_argument("out", type=Path, help="folder to write pictures, truth.jsonl and specs/ to")
    parser.add_argument("--seed", type=int, default=1)
    parser.add_argument("--count", type=int, default=20)
    parser.add_argument("--medium", choices=MEDIA, action="append", help="only this medium (may be repeated)")
    parser.add_argument("--kind", choices=KINDS, action="append", help="only this kind of key (may be repeated)")
    parser.add_argument("--jobs", type=int, default=1, help="pictures drawn at a time")
    call = parser.parse_args()
    lines = write_set(
        call.out, call.seed, call.count, tuple(call.medium or MEDIA), tuple(call.kind or KINDS), call.jobs
    )
    print(f"{len(lines)} pictures in {call.out}")


if __name__ == "__main__":
    main()
