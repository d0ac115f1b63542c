"""A job folder as the commands take it: opened, decoded, with the code that counts."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

from app.commands_common import say
from keycore.refusal import Refusal

if TYPE_CHECKING:
    from app.bench import Bench
    from keycore.codes import Code
    from keycore.decode import Decoding


def decoded_job(folder: Path, *, most: int = 10) -> tuple[Bench, Decoding]:
    """A job and its decoding with so many codes; the pictures are read where the job holds no readings."""
    from app.bench import Bench

    bench = Bench.open_job(folder, reading_only=True)
    for problem in bench.problems:
        say(problem)
    work = bench.work()
    if work is not None:
        bench.take(work.run())
    decoding = bench.decoding_of(most)
    if decoding is None:
        why = bench.problem or "It has no picture or no depth table."
        raise Refusal(f"Job {bench.state.number} has no code yet. {why}", code="job.no-code")
    return bench, decoding


def code_of_job(folder: Path) -> tuple[Bench, Decoding, Code]:
    """A job, its decoding, and the code that was settled on; where none was, the likeliest, which is said."""
    bench, decoding = decoded_job(folder)
    decided = bench.state.decided_code
    if decided is None and decoding.verdict != "sure":
        say(f"No code was settled on; the likeliest is taken, and the reading says: {decoding.verdict_words}.")
    return bench, decoding, decided or decoding.codes[0].code
