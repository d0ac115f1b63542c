"""``job``: jobs as they are kept: list, seal, unseal, copy for teaching, forget."""

from __future__ import annotations

import os
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, Any

import typer

from app.commands_common import CAUTION, Cli, Command, aligned, print_json, say
from keycore.refusal import Refusal

if TYPE_CHECKING:
    from keycore.job import Job

PASSPHRASE_VARIABLE = "VALLEYGAUGE_PASSPHRASE"

job_app = typer.Typer(
    name="job", cls=Cli, help="Kept jobs: list, seal, unseal, copy for teaching, forget.", rich_markup_mode=None
)
_JobFolder = Annotated[Path, typer.Argument(metavar="JOB", help="A job folder.")]


@job_app.command("list", cls=Command)
def list_jobs(
    folder: Annotated[
        Path | None, typer.Argument(metavar="FOLDER", help="A folder of job folders (else the program's own).")
    ] = None,
    find: Annotated[
        str | None,
        typer.Option("--find", metavar="WORDS", help="Only jobs whose number, customer, table or date has it."),
    ] = None,
    state: Annotated[str | None, typer.Option("--state", metavar="STATE", help="open, read, cut or done.")] = None,
    csv: Annotated[bool, typer.Option("--csv", help="Comma-separated, for a spreadsheet.")] = False,
    as_json: Annotated[bool, typer.Option("--json", help="One object a line.")] = False,
) -> None:
    """List the jobs of a folder. Codes are not shown.

    \b
    Example:
      valleygauge job list --find Fenwright
      valleygauge job list /srv/jobs --csv > jobs.csv
    """
    from app.folders import jobs_folder

    where = folder or jobs_folder()
    if folder is not None and not folder.is_dir():
        raise Refusal(f"There is no folder {folder}; check the path.", code="call.no-folder")
    rows = [row for row in _rows(where) if _wanted(row, find, state)]
    if as_json:
        for row in rows:
            print_json(row)
    elif csv:
        typer.echo(_as_csv(rows), nl=False)
    elif not rows:
        say(f"There are no such jobs in {where}.")
    else:
        names = ("number", "created", "state", "table", "asked_by", "folder", "remark")
        typer.echo("\n".join(aligned([names, *([row[name] for name in names] for row in rows)], indent="")))


@job_app.command("seal", cls=Command)
def seal(
    job: _JobFolder,
    out: Annotated[Path, typer.Option("--out", metavar="FILE", help="The sealed file, such as 0007.job.age.")],
) -> None:
    """Seal a job into one file that opens only with its passphrase (age format).

    The passphrase is asked for, or taken from the environment variable VALLEYGAUGE_PASSPHRASE. A forgotten one cannot
    be recovered. The job folder stays; take it away with: job forget.

    \b
    Example:
      valleygauge job seal jobs/0007 --out 0007.job.age
    """
    from app.sealing import save_sealed
    from keycore.jobfolder import read_picture

    record = _whole(job)
    if out.exists():
        raise Refusal(f"{out} is there already; choose another name for the sealed job.", code="call.exists")
    pictures = {picture.file: read_picture(job, picture) for picture in record.pictures}
    save_sealed(out, record, pictures, _passphrase(twice=True))
    typer.echo(f"Job {record.number} was sealed into {out}.")


@job_app.command("unseal", cls=Command)
def unseal(
    file: Annotated[Path, typer.Argument(metavar="FILE", help="A sealed job.")],
    out: Annotated[Path, typer.Option("--out", metavar="DIR", help="The job folder to write, in the clear.")],
) -> None:
    """Open a sealed job into a job folder, in the clear.

    \b
    Example:
      valleygauge job unseal 0007.job.age --out jobs/0007
    """
    from app.sealing import load_sealed
    from keycore.jobfolder import save_job

    if out.exists():
        raise Refusal(f"{out} is there already; choose another folder.", code="call.exists")
    opened = load_sealed(file, _passphrase(twice=False))
    if opened.problems:
        raise Refusal(f"{opened.problems[0]} Nothing was written.", code="job.damaged")
    save_job(out, opened.job, opened.pictures)
    typer.echo(f"Job {opened.job.number} was written to {out}, in the clear.")
    say(CAUTION)


@job_app.command("redact", cls=Command)
def redact(
    job: _JobFolder,
    without: Annotated[
        list[str], typer.Option("--without", metavar="customer|code", help="What to take out; may be said twice.")
    ],
    out: Annotated[Path, typer.Option("--out", metavar="DIR", help="Where the copy goes.")],
) -> None:
    """Make a copy for teaching, without the customer or without the code.

    \b
    Example:
      valleygauge job redact jobs/0007 --without customer --out teaching/0007
    """
    from keycore.job import redacted
    from keycore.jobfolder import save_job

    if out.exists():
        raise Refusal(f"{out} is there already; choose another folder for the copy.", code="call.exists")
    record = _whole(job)
    copy = redacted(record, without)  # type: ignore[arg-type]  # it refuses any other word
    save_job(out, copy)
    typer.echo(f"A copy of job {record.number} without {' and '.join(sorted(set(without)))} was written to {out}.")


@job_app.command("forget", cls=Command)
def forget(
    job: _JobFolder,
    yes: Annotated[bool, typer.Option("--yes", help="Do not ask.")] = False,
) -> None:
    """Remove what the program keeps of a job: record and pictures. Exports are left, and named.

    \b
    Example:
      valleygauge job forget jobs/0007
    """
    from keycore.jobfolder import forget_job

    record, _problems = _loaded(job)
    if not yes and not typer.confirm(
        f"Remove job {record.number} with its {len(record.pictures)} picture(s) for good?"
    ):
        typer.echo("Nothing was removed.")
        return
    left = forget_job(job)
    typer.echo(f"Job {record.number} was removed.")
    if left:
        typer.echo(f"Left in {job}: {', '.join(left)}.")


def _loaded(folder: Path) -> tuple[Job, tuple[str, ...]]:
    from keycore.jobfolder import load_job

    return load_job(folder)


def _whole(folder: Path) -> Job:
    """The job of a folder, refused where anything in it is damaged."""
    job, problems = _loaded(folder)
    if problems:
        raise Refusal(problems[0], code="job.damaged")
    return job


def _rows(where: Path) -> list[dict[str, str]]:
    from keycore.jobfolder import RECORD

    rows = []
    for record in sorted(where.glob(f"*/{RECORD}")) if where.is_dir() else ():
        try:
            job, problems = _loaded(record.parent)
        except Refusal as refusal:
            rows.append(_row(record.parent, remark=refusal.sentence))
            continue
        customer = job.entitlement.asked_by if job.entitlement is not None else ""
        table = str(job.spec.get("name", "")) if job.spec is not None else ""
        rows.append(
            _row(
                record.parent,
                number=job.number,
                created=f"{job.created:%Y-%m-%d %H:%M}",
                state=job.state,
                table=table,
                asked_by=customer,
                remark=problems[0] if problems else "",
            )
        )
    return rows


def _row(folder: Path, **known: str) -> dict[str, str]:
    empty = {"number": "", "created": "", "state": "", "table": "", "asked_by": "", "remark": ""}
    return {**empty, **known, "folder": folder.name}


def _wanted(row: dict[str, str], find: str | None, state: str | None) -> bool:
    if state is not None and row["state"] != state:
        return False
    return find is None or any(find.casefold() in value.casefold() for value in row.values())


def _as_csv(rows: list[dict[str, str]]) -> str:
    import csv
    import io

    out = io.StringIO(newline="")
    writer = csv.DictWriter(out, ["number", "created", "state", "table", "asked_by", "folder", "remark"])
    writer.writeheader()
    for row in rows:
        writer.writerow(
            {name: f"'{value}" if value[:1] in ("=", "+", "-", "@") else value for name, value in row.items()}
        )
    return out.getvalue()


def _passphrase(*, twice: bool) -> str:
    given = os.environ.get(PASSPHRASE_VARIABLE)
    if given:
        return given
    asked: Any = typer.prompt("Passphrase", hide_input=True, confirmation_prompt=twice, err=True)
    return str(asked)
