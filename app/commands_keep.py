"""``job``: jobs as they are kept: list, show, seal, unseal, remind, copy for teaching, forget."""

from __future__ import annotations

from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from app.commands_common import CAUTION, Cli, Command, aligned, moment, print_json, say
from app.commands_job import JOB_HELP, is_sealed_job, opened_job, passphrase
from keycore.refusal import Refusal

if TYPE_CHECKING:
    from keycore.job import Job

STATES = ("open", "read", "cut", "done", "sealed")
SHOWN_CODES = 5

job_app = typer.Typer(
    name="job",
    cls=Cli,
    help="Kept jobs: list, show, seal, unseal, remind, copy for teaching, forget.",
    rich_markup_mode=None,
)
_Job = Annotated[Path, typer.Argument(metavar="JOB", help=JOB_HELP)]
_JobFolder = Annotated[Path, typer.Argument(metavar="JOB", help="A job folder.")]
_Json = Annotated[bool, typer.Option("--json", help="What was done, as one object.")]


@job_app.command("list", cls=Command)
def list_jobs(
    folder: Annotated[
        Path | None, typer.Argument(metavar="FOLDER", help="A folder of job folders (else the program's own).")
    ] = None,
    find: Annotated[
        str | None,
        typer.Option("--find", metavar="WORDS", help="Only jobs whose number, customer, table, day or place has it."),
    ] = None,
    number: Annotated[str, typer.Option("--number", metavar="WORDS", help="Only jobs with this in the number.")] = "",
    customer: Annotated[
        str, typer.Option("--customer", metavar="WORDS", help="Only jobs with this in who asked.")
    ] = "",
    table: Annotated[str, typer.Option("--table", metavar="WORDS", help="Only jobs of this depth table.")] = "",
    state: Annotated[str, typer.Option("--state", metavar="STATE", help=f"{', '.join(STATES[:-1])} or sealed.")] = "",
    since: Annotated[str | None, typer.Option("--since", metavar="DATE", help="Begun on this day or later.")] = None,
    until: Annotated[str | None, typer.Option("--until", metavar="DATE", help="Begun on this day or before.")] = None,
    due: Annotated[bool, typer.Option("--due", help="Only records whose day has come to be looked at again.")] = False,
    csv: Annotated[bool, typer.Option("--csv", help="Comma-separated, for a spreadsheet.")] = False,
    as_json: Annotated[bool, typer.Option("--json", help="One jobrow/1 object a line.")] = False,
) -> None:
    """List the jobs of a folder. Codes are not shown; a sealed job shows its file's name only.

    \b
    Example:
      valleygauge job list --find Fenwright
      valleygauge job list --table harbourside --state read --since 2026-01-01
      valleygauge job list --due
      valleygauge job list /srv/jobs --csv > jobs.csv
    """
    from app.bench_jobs import JobSearch, jobs_csv, jobs_in
    from app.folders import jobs_folder

    where = folder or jobs_folder()
    if folder is not None and not folder.is_dir():
        raise Refusal(f"There is no folder {folder}; check the path.", code="call.no-folder")
    if state and state not in STATES:
        raise Refusal(f"--state is one of {', '.join(STATES)}; got {state!r}.", code="call.state")
    search = JobSearch(find or "", number, customer, table, state, _day(since), _day(until), due)
    rows = jobs_in(where, search)
    if as_json:
        for row in rows:
            print_json(row.to_json())
    elif csv:
        typer.echo(jobs_csv(rows), nl=False)
    elif not rows:
        say(f"There are no such jobs in {where}.")
    else:
        texts = [row.texts() for row in rows]
        names = ["number", "created", "state", "table", "asked_by", "place"]
        names += [name for name in ("open_at", "due", "remark") if any(text[name] for text in texts)]
        typer.echo("\n".join(aligned([names, *([text[name] for name in names] for text in texts)], indent="")))
    count = sum(row.is_due() for row in rows)
    if count and not due:
        say(
            f"{count} of these records {'is' if count == 1 else 'are'} due to be looked at again; see them with: job "
            f"list --due."
        )


@job_app.command("show", cls=Command)
def show(
    job: _Job,
    as_json: Annotated[bool, typer.Option("--json", help="The whole record as one job object.")] = False,
) -> None:
    """Show what a job's record says, as it was stored; nothing is read or decoded again.

    It needs no picture, so it also shows what is left of a damaged job.

    \b
    Example:
      valleygauge job show valleygauge-demo/demo-photocopy
    """
    from app.bench_jobs import reminder
    from keycore.job import job_text

    record, problems = _record(job)
    for sentence in (*problems, reminder(record.keep_until)):
        if sentence:
            say(sentence)
    if as_json:
        typer.echo(" ".join(line.strip() for line in job_text(record).splitlines()))
    else:
        typer.echo("\n".join(_record_lines(record)))
    if record.holds_code:
        say(CAUTION)


@job_app.command("seal", cls=Command)
def seal(
    job: _JobFolder,
    out: Annotated[Path, typer.Option("--out", metavar="FILE", help="The sealed file, such as 0007.job.age.")],
    forget: Annotated[
        bool, typer.Option("--forget", help="Take the job folder away afterwards, so that nothing lies in the clear.")
    ] = False,
    as_json: _Json = False,
) -> None:
    """Seal a job into one file that opens only with its passphrase (age format).

    The passphrase is asked for, or taken from the environment variable VALLEYGAUGE_PASSPHRASE. A forgotten one cannot
    be recovered. Every command that takes a job takes the sealed file too, and it can be opened in the window; what is
    changed there is saved sealed. Without --forget the job folder stays as it is.

    \b
    Example:
      valleygauge job seal jobs/0007 --out 0007.job.age --forget
    """
    from app.bench import Bench

    record = _whole(job)
    if out.exists():
        raise Refusal(f"{out} is there already; choose another name for the sealed job.", code="call.exists")
    words = passphrase(twice=True)
    bench = Bench.open_job(job)
    try:
        if bench.problems:
            raise Refusal(bench.problems[0], code="job.locked")
        left = bench.seal(out, words, keep_folder=not forget)
    finally:
        bench.close()
    if as_json:
        print_json({"format": "sealed/1", "job": record.number, "file": str(out), "left": list(left)})
        return
    typer.echo(f"Job {record.number} was sealed into {out}.")
    if forget:
        typer.echo(f"Left in {job}: {', '.join(left)}." if left else f"{job} was taken away.")
    else:
        say(f"{job} still lies in the clear; take it away with: job forget.")


@job_app.command("unseal", cls=Command)
def unseal(
    file: Annotated[Path, typer.Argument(metavar="FILE", help="A sealed job.")],
    out: Annotated[Path, typer.Option("--out", metavar="DIR", help="The job folder to write, in the clear.")],
    as_json: _Json = False,
) -> None:
    """Open a sealed job into a job folder, in the clear. The sealed file stays.

    \b
    Example:
      valleygauge job unseal 0007.job.age --out jobs/0007
    """
    from app.sealing import load_sealed
    from keycore.jobfolder import save_job

    if out.exists():
        raise Refusal(f"{out} is there already; choose another folder.", code="call.exists")
    opened = load_sealed(file, passphrase())
    if opened.problems:
        raise Refusal(f"{opened.problems[0]} Nothing was written.", code="job.damaged")
    save_job(out, opened.job, opened.pictures)
    if as_json:
        print_json({"format": "unsealed/1", "job": opened.job.number, "folder": str(out)})
    else:
        typer.echo(f"Job {opened.job.number} was written to {out}, in the clear.")
    say(CAUTION)


@job_app.command("keep", cls=Command)
def keep(
    job: _Job,
    until: Annotated[
        str, typer.Option("--until", metavar="DATE|never", help="The day to look at the record again; never: no day.")
    ],
    as_json: _Json = False,
) -> None:
    """Say until when a record is kept; from that day on, opening and listing jobs remind of it.

    Nothing is ever removed by itself. How long a record may or must be kept is the law's to say.

    \b
    Example:
      valleygauge job keep jobs/0007 --until 2027-03-31
    """
    day = None if until.strip().lower() == "never" else _day(until)
    bench = opened_job(job, reading_only=False)
    try:
        if bench.home is None:
            raise Refusal("The record was not changed; the job is open for reading only.", code="job.locked")
        bench.set_keep_until(day)
        bench.save()
    finally:
        bench.close()
    number = bench.state.number
    if as_json:
        print_json({"format": "kept/1", "job": number, "keep_until": None if day is None else day.isoformat()})
    elif day is None:
        typer.echo(f"Job {number} has no day to be looked at again.")
    else:
        typer.echo(f"Job {number} is kept until {day:%Y-%m-%d}; from then on it is shown as due.")


@job_app.command("redact", cls=Command)
def redact(
    job: _Job,
    without: Annotated[
        list[str], typer.Option("--without", metavar="customer|code", help="What to take out; may be said twice.")
    ],
    out: Annotated[Path, typer.Option("--out", metavar="DIR", help="Where the copy goes.")],
    keep_pictures: Annotated[
        bool,
        typer.Option(
            "--keep-pictures",
            help="Without the customer only: keep the pictures, which somebody has looked at for names.",
        ),
    ] = False,
    as_json: _Json = False,
) -> None:
    """Make a copy for teaching, without the customer or without the code.

    Without the customer: no entitlement, address, notes or names of files. Without the code: no reading, holds,
    trials, check or pictures, since a picture of a key is its code.

    \b
    Example:
      valleygauge job redact jobs/0007 --without customer --out teaching/0007
    """
    from keycore.job import redacted
    from keycore.jobfolder import save_job

    if out.exists():
        raise Refusal(f"{out} is there already; choose another folder for the copy.", code="call.exists")
    record, contents = _whole_with_pictures(job)
    copy = redacted(record, without, keep_pictures=keep_pictures)  # type: ignore[arg-type]  # it refuses other words
    by_digest = {picture.sha256: contents[picture.file] for picture in record.pictures}
    save_job(out, copy, {picture.file: by_digest[picture.sha256] for picture in copy.pictures})
    parts = sorted(set(without))
    if as_json:
        print_json({"format": "redacted/1", "job": record.number, "without": parts, "folder": str(out)})
    else:
        typer.echo(f"A copy of job {record.number} without {' and '.join(parts)} was written to {out}.")
    if copy.holds_code:
        say(CAUTION)


@job_app.command("forget", cls=Command)
def forget(
    job: Annotated[Path, typer.Argument(metavar="JOB", help="A job folder, or a sealed job.")],
    yes: Annotated[bool, typer.Option("--yes", help="Do not ask.")] = False,
    everything: Annotated[
        bool, typer.Option("--exports", help="Remove the papers and exports in its folder, too.")
    ] = False,
    as_json: _Json = False,
) -> None:
    """Remove what the program keeps of a job: record, pictures, autosave, lock, its lines in the log.

    Papers and other files in its folder are left and named, unless --exports is given. What was printed, sent or backed
    up is not reached, and a removed file can often be brought back from a disk by who has the means.

    \b
    Example:
      valleygauge job forget jobs/0007
      valleygauge job forget jobs/0007 --exports --yes
    """
    from app.bench_forget import forget_place, what_is_kept

    kept = what_is_kept(job)
    if not yes and not typer.confirm(f"Remove {kept.words} for good?", err=True):
        say("Nothing was removed.")
        return
    left = forget_place(job, exports=everything)
    if as_json:
        print_json({"format": "forgotten/1", "job": kept.number, "place": str(job), "left": list(left)})
        return
    typer.echo(f"{kept.name[:1].upper()}{kept.name[1:]} was removed.")
    if left:
        typer.echo(f"Left in {job}: {', '.join(left)}.")


def _day(text: str | None) -> date | None:
    when = moment(text)
    return None if when is None else when.date()


def _record(job: Path) -> tuple[Job, tuple[str, ...]]:
    """The record of a job, and what is damaged."""
    if is_sealed_job(job):
        from app.sealing import load_sealed

        opened = load_sealed(job, passphrase())
        return opened.job, opened.problems
    from keycore.jobfolder import load_job

    return load_job(job)


def _whole(folder: Path) -> Job:
    """The job of a folder, refused where anything in it is damaged."""
    from keycore.jobfolder import load_job

    job, problems = load_job(folder)
    if problems:
        raise Refusal(problems[0], code="job.damaged")
    return job


def _whole_with_pictures(job: Path) -> tuple[Job, dict[str, bytes]]:
    """The record and the pictures' own bytes, refused where anything is damaged."""
    if is_sealed_job(job):
        from app.sealing import load_sealed

        opened = load_sealed(job, passphrase())
        if opened.problems:
            raise Refusal(opened.problems[0], code="job.damaged")
        return opened.job, dict(opened.pictures)
    from keycore.jobfolder import read_picture

    record = _whole(job)
    return record, {picture.file: read_picture(job, picture) for picture in record.pictures}


def _record_lines(record: Job) -> list[str]:
    """A record in plain lines."""
    rows = [
        ("Job", record.number),
        ("Begun", f"{record.created:%Y-%m-%d %H:%M}"),
        ("State", record.state),
        ("Program", record.program_version),
        ("Table", str((record.spec or {}).get("name", "none"))),
    ]
    if record.entitlement is not None:
        rows.append(("Entitlement", record.entitlement.line()))
    missing = record.missing_for_export()
    if missing:
        rows.append(("Missing", ", ".join(missing)))
    if record.removed:
        rows.append(("Taken out", ", ".join(record.removed)))
    if record.keep_until is not None:
        rows.append(("Kept until", record.keep_until.isoformat()))
    for picture in record.pictures:
        rows.append(("Picture", f"{picture.file} ({picture.shows}), SHA-256 {picture.sha256}"))
    for held in record.holds.held:
        rows.append(("Held", f"cut {held.cut} is {held.depth}"))
    for held in record.holds.ruled_out:
        rows.append(("Ruled out", f"cut {held.cut} is not {held.depth}"))
    if record.decided_code is not None:
        rows.append(("Settled code", "-".join(record.decided_code)))
    reading: dict[str, Any] = dict(record.reading or {})
    for row in list(reading.get("codes") or ())[:SHOWN_CODES]:
        flat = row["code"]
        words = " / ".join("-".join(edge) for edge in flat) if flat and isinstance(flat[0], list) else "-".join(flat)
        rows.append(("Code", f"{words}   probability {row['probability']!r}"))
    if reading.get("verdict_words"):
        rows.append(("Verdict", str(reading["verdict_words"])))
    for trial in record.trials:
        opened = {True: "opened", False: "did not open", None: "not tried"}[trial.opened]
        rows.append(("Trial", f"blank {trial.blank}, {'-'.join(trial.code)}: {opened}"))
    check = record.cut_key_check or {}
    if check:
        rows.append(("Cut key", str(check.get("outcome", "checked"))))
    if record.notes.strip():
        rows.append(("Notes", record.notes.strip()))
    return [f"{name + ':':<13}{value}" for name, value in rows]
