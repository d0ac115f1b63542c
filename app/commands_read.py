"""``read``: codes from pictures, several at once."""

from __future__ import annotations

import os
from collections.abc import Iterator
from concurrent.futures import ProcessPoolExecutor
from contextlib import contextmanager
from dataclasses import dataclass, field, replace
from datetime import date, datetime
from itertools import chain
from multiprocessing import get_context
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from app.commands_common import (
    cautions,
    entitlement_from,
    fault_words,
    load_marks,
    moment,
    print_json,
    say,
)  # fmt: skip
from keycore.refusal import Refusal

if TYPE_CHECKING:
    from app.bench import Bench
    from app.bench_work import LoadedPicture
    from keycore.job import Entitlement
    from keycore.marks import Marks
    from keycore.spec import KeySpec

_CHOICES = ("auto", "card", "a4", "dpi", "none")


@dataclass(frozen=True)
class ReadOrder:
    """What to do with one picture; frozen and plain, so that it can go to another process."""

    path: Path
    spec: KeySpec
    marks: Marks | None = None
    reference: str = "auto"
    page: int = 1
    key: int = 0
    all_keys: bool = False
    """Read every key that the picture shows, each for itself; ``key`` then has no meaning."""
    held: tuple[tuple[int, str], ...] = ()
    ruled_out: frozenset[tuple[int, str]] = frozenset()
    job: Path | None = None
    number: str | None = None
    entitlement: Entitlement | None = None
    keep_until: date | None = None
    passphrase: str = field(default="", repr=False)
    """For a job that is to be sealed at once."""
    show: Path | None = None
    """Folder for a picture of each stage of reading."""


@dataclass(frozen=True)
class ReadOutcome:
    """What came of it: a keyreading/1 object and plain lines, or an error in a sentence."""

    name: str
    reading: dict[str, Any]
    lines: tuple[str, ...] = ()
    error: str = ""
    note: str = ""
    job_error: str = ""
    """Why a job, or a picture of a stage, could not be written."""


def read(
    pictures: Annotated[
        list[Path], typer.Argument(metavar="PICTURE...", help="Scans, photocopies, photos, PDF pages.")
    ],
    spec: Annotated[str, typer.Option("--spec", metavar="FILE_OR_NAME", help="The depth table (see: spec list).")],
    marks: Annotated[
        Path | None, typer.Option("--marks", metavar="FILE", help="Rough marks, a marks/1 file; for one picture.")
    ] = None,
    reference: Annotated[
        str, typer.Option("--reference", metavar="|".join(_CHOICES), help="What of known size lies in the picture.")
    ] = "auto",
    page: Annotated[int, typer.Option("--page", metavar="N", help="Page of a PDF or TIFF.")] = 1,
    key: Annotated[int, typer.Option("--key", metavar="N", min=1, help="Which key, where it shows several.")] = 1,
    all_keys: Annotated[
        bool,
        typer.Option(
            "--all-keys", help="Read every key that a picture shows, each for itself; with --job in a folder for each."
        ),
    ] = False,
    hold: Annotated[
        list[str] | None, typer.Option("--hold", metavar="CUT=DEPTH", help="You know that this cut is this depth.")
    ] = None,
    ruled_out: Annotated[
        list[str] | None, typer.Option("--not", metavar="CUT=DEPTH", help="You know that it is not.")
    ] = None,
    json_lines: Annotated[bool, typer.Option("--json", help="One keyreading/1 object a line.")] = False,
    job: Annotated[
        Path | None,
        typer.Option(
            "--job",
            metavar="DIR",
            help="Write a job folder (several pictures: one folder for each in DIR), or a sealed job, NAME.job.age.",
        ),
    ] = None,
    show: Annotated[
        Path | None,
        typer.Option(
            "--show",
            metavar="DIR",
            help="Write a picture of each stage of reading: keys found, ground, blade, edges, cuts, ladder.",
        ),
    ] = None,
    asked_by: Annotated[
        str | None, typer.Option("--asked-by", metavar="WHO", help="For the job: who asked for the key.")
    ] = None,
    proof: Annotated[
        str | None, typer.Option("--proof", metavar="WHAT", help="For the job: what proof was seen.")
    ] = None,
    seen_by: Annotated[str | None, typer.Option("--seen-by", metavar="WHO", help="For the job: who saw it.")] = None,
    seen_on: Annotated[
        str | None, typer.Option("--seen-on", metavar="WHEN", help='For the job: when, "2026-03-14 10:30" or now.')
    ] = None,
    authority: Annotated[
        str | None,
        typer.Option("--authority-reference", metavar="REF", help="For a restricted table: the authority's reference."),
    ] = None,
    keep_until: Annotated[
        str | None,
        typer.Option("--keep-until", metavar="DATE", help="For the job: the day to look at its record again."),
    ] = None,
) -> None:
    """Read the code of a key from pictures.

    Each picture is read for itself. A picture that cannot be read is told in a sentence (with --json as an object
    with "error"), the others are still read, and the exit status is 1 at the end.

    A job whose name ends in .job.age is sealed with a passphrase at once, and nothing of it is written in the clear.
    A job folder holds the code only with the entitlement (--asked-by, --proof, --seen-by, --seen-on); without it the
    picture and the marks are kept, and it is said that the code is not.

    \b
    Example:
      valleygauge read copy.png --spec harbourside-5
      valleygauge read *.jpg --spec mytable.json --json > readings.jsonl
      valleygauge read page.pdf --page 2 --spec harbourside-5 --all-keys
    """
    from keycore.spec import load_spec

    if reference not in _CHOICES:
        raise Refusal(f"--reference is one of {', '.join(_CHOICES)}; got {reference!r}.", code="reference.unknown")
    table = load_spec(spec)
    given = None
    if all_keys:
        _refuse_with_all_keys(key, marks, hold, ruled_out, job)
    if marks is not None:
        if len(pictures) > 1:
            raise Refusal(
                f"--marks belongs to one picture; got {len(pictures)}. Read them one by one.", code="call.marks-many"
            )
        given = load_marks(marks)
    from app.commands_common import holds_from

    holds = holds_from(hold, ruled_out, table)
    begun, until = datetime.now(), moment(keep_until)
    words = _passphrase_for(job, pictures)
    orders = [
        ReadOrder(
            path=path,
            spec=table,
            marks=given,
            reference=reference,
            page=page,
            key=key - 1,
            all_keys=all_keys,
            held=tuple(sorted(holds.held.items())),
            ruled_out=frozenset(holds.ruled_out),
            job=_folder_of(job, path, pictures),
            number=f"{begun:%Y%m%d-%H%M%S}-{index}" if len(pictures) > 1 else None,
            entitlement=entitlement_from(asked_by, proof, seen_by, seen_on, authority) if job is not None else None,
            keep_until=None if until is None else until.date(),
            passphrase=words,
            show=_folder_of(show, path, pictures),
        )
        for index, path in enumerate(pictures, 1)
    ]
    failed = False
    shown = False
    with outcomes_of(orders) as outcomes:
        for outcome in outcomes:
            if outcome.error:
                failed = True
                say(outcome.error)
            if json_lines:
                print_json(outcome.reading)
            elif outcome.lines:
                typer.echo(("\n" if shown else "") + "\n".join(outcome.lines))
                shown = True
            for sentence in (outcome.note, outcome.job_error):
                if sentence:
                    say(sentence)
            failed = failed or bool(outcome.job_error)
    if shown:
        for caution in cautions(table):
            say(caution)
    if show is not None:
        say(f"What is in {show} shows the code; take it away when you have looked at it.")
    if failed:
        raise typer.Exit(1)


@contextmanager
def outcomes_of(orders: list[ReadOrder], processes: int | None = None) -> Iterator[Iterator[ReadOutcome]]:
    """The outcomes in the order of the pictures and their keys; several pictures are read by several processes."""
    count = min(len(orders), processes or os.cpu_count() or 1)
    if count <= 1:
        yield chain.from_iterable(map(read_order, orders))
        return
    with ProcessPoolExecutor(count, mp_context=get_context("spawn"), initializer=one_thread_each) as pool:
        try:
            yield chain.from_iterable(pool.map(read_order, orders))
        except BaseException:
            pool.shutdown(wait=False, cancel_futures=True)
            raise


def read_order(order: ReadOrder) -> tuple[ReadOutcome, ...]:
    """Read one picture: one outcome, or one for each of its keys.

    Never raises: a refusal, and a fault of the program, become an outcome.
    """
    try:
        from app.bench_work import load_picture

        loaded = load_picture(order.path, page=order.page)
        if not order.all_keys:
            return (_outcome(order, loaded),)
        orders = _orders_of_keys(order, loaded)
    except Refusal as refusal:
        return (_failed(order.path.name, refusal.sentence),)
    except Exception as error:
        return (_failed(order.path.name, fault_words(error)),)
    return tuple(_outcome(one, loaded, of=len(orders)) for one in orders)


def _orders_of_keys(order: ReadOrder, loaded: LoadedPicture) -> list[ReadOrder]:
    """An order for each key that the picture shows; one even where none is seen, so that it is said."""
    from app.bench_work import count_keys

    count = max(1, count_keys(loaded.picture, order.spec, order.reference))  # type: ignore[arg-type]  # checked
    number = order.number or f"{datetime.now():%Y%m%d-%H%M%S}"
    return [
        replace(
            order,
            key=key,
            job=None if order.job is None else order.job / f"key-{key + 1}",
            show=None if order.show is None else order.show / f"key-{key + 1}",
            number=f"{number}-key{key + 1}",
        )
        for key in range(count)
    ]


def _outcome(order: ReadOrder, loaded: LoadedPicture, of: int | None = None) -> ReadOutcome:
    """Read one key; ``of`` so many of its picture, where each is read."""
    name = order.path.name
    key = None if of is None else order.key + 1
    try:
        return _read(order, loaded, key, name if of is None else f"{name}, key {key} of {of}")
    except Refusal as refusal:
        return _failed(name, refusal.sentence, key=key)
    except Exception as error:
        return _failed(name, fault_words(error), key=key)


def _read(order: ReadOrder, loaded: LoadedPicture, key: int | None, title: str) -> ReadOutcome:
    from app.bench import Bench
    from app.commands_words import decoding_lines
    from keycore.keyreading import from_decoding

    number, created = _going_on(order)
    bench = Bench(number, now=created)
    bench.set_spec(order.spec)
    bench.add_picture(loaded)
    if order.key:
        bench.set_key(order.key)
    if order.marks is not None:
        bench.set_marks(order.marks)
    bench.set_reference(order.reference)  # type: ignore[arg-type]  # read() has checked it
    for cut, label in order.held:
        bench.hold(cut, label)
    for cut, label in sorted(order.ruled_out):
        bench.rule_out(cut, label)
    if order.entitlement is not None:
        bench.set_entitlement(order.entitlement)
    if order.keep_until is not None:
        bench.set_keep_until(order.keep_until)
    work = bench.work()
    if work is not None:
        bench.take(work.run())
    name = order.path.name
    decoding = bench.decoding if bench.is_current else None
    note, unsaved = ("", "") if order.job is None else _write_job(bench, order.job, order.passphrase)
    if order.show is not None:
        unsaved = unsaved or _write_stages(bench, order.show)
    if decoding is None or bench.reading is None:
        return _failed(name, bench.problem or "no key was read", note or unsaved, key=key)
    reading = from_decoding(name, decoding, bench.reading.marks).model_copy(update={"key": key})
    return ReadOutcome(
        name=name,
        reading=reading.to_json(),
        lines=tuple(decoding_lines(title, decoding)),
        note=note,
        job_error=unsaved,
    )


def _write_stages(bench: Bench, folder: Path) -> str:
    """Write a picture of each stage as far as the reading came; why it could not be done, or ""."""
    from PIL import Image

    from app.picture.stages import blade_stages, page_stages

    shown, spec = bench.state.picture, bench.state.spec
    if shown is None or spec is None:
        return ""
    decoding, reading = (bench.decoding, bench.reading) if bench.is_current else (None, None)
    stages = page_stages(shown.picture, spec, reading, key=shown.key, reference=shown.reference)
    if decoding is not None and reading is not None:
        stages += blade_stages(shown.picture, reading, decoding)
    try:
        folder.mkdir(parents=True, exist_ok=True)
        for stage in stages:
            Image.fromarray(stage.rgb).save(folder / f"{stage.name}.png")
    except OSError as error:
        return f"The pictures of the stages cannot be written in {folder}: {error.strerror or error}."
    return ""


def _going_on(order: ReadOrder) -> tuple[str | None, datetime | None]:
    """(number, created) of the job in the folder where it is of this very picture: reading again goes on with it."""
    from keycore.jobfolder import RECORD, load_job, sha256_of

    if order.job is None or order.passphrase or not (order.job / RECORD).exists() or not order.path.is_file():
        return order.number, None
    job, problems = load_job(order.job)
    sha256 = sha256_of(order.path.read_bytes())
    if problems or [picture.sha256 for picture in job.pictures] != [sha256]:
        return order.number, None
    return job.number, job.created


def _passphrase_for(job: Path | None, pictures: list[Path]) -> str:
    """The passphrase of a job that is to be sealed at once; "" for one that is not."""
    from app.bench_sealed import SUFFIX, require_passphrase
    from app.commands_job import passphrase

    if job is None or not job.name.endswith(SUFFIX):
        return ""
    if len(pictures) > 1:
        raise Refusal(
            f"A sealed job is of one picture here; got {len(pictures)}. Read them one by one, or into a folder.",
            code="call.sealed-many",
        )
    if job.exists():
        raise Refusal(f"{job} is there already; choose another name for the sealed job.", code="call.exists")
    words = passphrase(twice=True)
    require_passphrase(words)
    return words


def _write_job(bench: Any, folder: Path, passphrase: str) -> tuple[str, str]:
    """Write the job, with the code where there is one and its entitlement: (what was done, or why not)."""
    missing = bench.state.missing_for_export
    try:
        if passphrase:
            bench.seal(folder, passphrase)
            bench.close()
        elif missing or not bench.is_current:
            bench.save(folder)
            bench.close()
        else:
            bench.export(folder)
    except Refusal as refusal:
        return "", refusal.sentence
    if not missing:
        return f"The job was written in {folder}.", ""
    options = f"--asked-by, --proof, --seen-by, --seen-on{', --authority-reference' if bench.state.restricted else ''}"
    return (
        f"The job in {folder} was written without the code: still to be recorded are {', '.join(missing)} ({options}).",
        "",
    )


def _failed(name: str, why: str, note: str = "", *, key: int | None = None) -> ReadOutcome:
    from keycore.keyreading import KeyReading

    sentence = why if name in why else f"{name}: {why}"
    if key is not None:
        sentence = f"Key {key}: {sentence}"
    reading = KeyReading.from_error(name, sentence).model_copy(update={"key": key})
    return ReadOutcome(name, reading.to_json(), error=sentence, note=note)


def _folder_of(folder: Path | None, path: Path, pictures: list[Path]) -> Path | None:
    """What is written of one picture goes into the folder; of several, into one folder for each in it."""
    if folder is None or len(pictures) == 1:
        return folder
    stems = [other.stem for other in pictures]
    return folder / (path.stem if stems.count(path.stem) == 1 else path.name)


def _refuse_with_all_keys(
    key: int, marks: Path | None, hold: list[str] | None, ruled_out: list[str] | None, job: Path | None
) -> None:
    """What belongs to one key cannot be said of all."""
    from app.bench_sealed import SUFFIX

    sealed = job is not None and job.name.endswith(SUFFIX)
    for option, given in (
        ("--key", key != 1),
        ("--marks", marks is not None),
        ("--hold", bool(hold)),
        ("--not", bool(ruled_out)),
        ("A sealed --job", sealed),
    ):
        if given:
            raise Refusal(
                f"{option} belongs to one key, so it cannot go with --all-keys; read that key by itself with --key.",
                code="call.all-keys",
            )


def one_thread_each() -> None:
    """In a process of the pool: one thread for each library, since the processes already fill the cores."""
    for variable in ("OMP_NUM_THREADS", "OPENBLAS_NUM_THREADS", "MKL_NUM_THREADS"):
        os.environ[variable] = "1"
    from app.picture.opencv import cv2

    cv2.setNumThreads(1)
