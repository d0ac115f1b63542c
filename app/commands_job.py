"""A job as the commands take it: a folder or a sealed file, opened, decoded, with the code that counts."""

from __future__ import annotations

import os
from pathlib import Path
from typing import TYPE_CHECKING, Any

import typer

from app.commands_common import print_json, say
from keycore.refusal import Refusal

if TYPE_CHECKING:
    from app.bench import Bench
    from keycore.codes import Code
    from keycore.decode import Decoding

PASSPHRASE_VARIABLE = "VALLEYGAUGE_PASSPHRASE"
JOB_HELP = "A job folder, or a sealed job (its passphrase is asked for)."


def passphrase(*, twice: bool = False) -> str:
    """The passphrase of a sealed job: from the environment, else asked for without showing it."""
    given = os.environ.get(PASSPHRASE_VARIABLE)
    if given:
        return given
    asked: Any = typer.prompt("Passphrase", hide_input=True, confirmation_prompt=twice, err=True)
    return str(asked)


def is_sealed_job(path: Path) -> bool:
    """True where the path is a sealed job."""
    from app.bench_sealed import is_sealed

    return path.is_file() and is_sealed(path)


def opened_job(path: Path, *, reading_only: bool = True) -> Bench:
    """The job of a folder or a sealed file; what is damaged, and that it is due, is said."""
    from app.bench import Bench

    if is_sealed_job(path):
        bench = Bench.open_sealed(path, passphrase(), reading_only=reading_only)
    else:
        bench = Bench.open_job(path, reading_only=reading_only)
    for sentence in (*bench.problems, bench.reminder):
        if sentence:
            say(sentence)
    return bench


def read_job(path: Path, *, reading_only: bool = True) -> Bench:
    """The same with its code; the pictures are read where the job holds no readings."""
    bench = opened_job(path, reading_only=reading_only)
    work = bench.work()
    if work is not None:
        bench.take(work.run())
    return bench


def decoded_job(path: Path, *, most: int = 10) -> tuple[Bench, Decoding]:
    """A job and its decoding by the evidence, with so many codes."""
    bench = read_job(path)
    decoding = bench.decoding_of(most)
    if decoding is None:
        why = bench.problem or "It has no picture or no depth table."
        raise Refusal(f"Job {bench.state.number} has no code yet. {why}", code="job.no-code")
    return bench, decoding


def code_of_job(path: Path, *, reading_only: bool = True) -> tuple[Bench, Decoding, Code]:
    """A job, its decoding, and the code that was settled on; where none was, the likeliest, which is said."""
    from app.bench_paper import decided

    bench = read_job(path, reading_only=reading_only)
    decoding, code = decided(bench)
    if bench.state.decided_code is None and decoding.verdict != "sure":
        say(f"No code was settled on; the likeliest is taken, and the reading says: {decoding.verdict_words}.")
    return bench, decoding, code


def place_for(job: Path, out: Path | None, name: str) -> Path:
    """Where a paper of a job goes: as asked, else into the job's folder; beside a sealed job nothing goes unasked."""
    if out is not None:
        return out
    if is_sealed_job(job):
        raise Refusal(
            f"A paper of a sealed job lies in the clear, so say where it goes: --out {name}.", code="call.sealed-out"
        )
    return job / name


def write_paper(bench: Bench, target: Path, content: bytes, what: str, as_json: bool, remark: str = "") -> None:
    """Write a paper for its owner's eyes and say so."""
    from app.bench_export import write_private

    write_private(target, content)
    if as_json:
        print_json(
            {
                "format": "written/1",
                "what": what,
                "job": bench.state.number,
                "file": str(target),
                "bytes": len(content),
            }
        )
        return
    typer.echo(f"The {what} was written to {target}.{f' {remark}' if remark else ''}")
