"""What the commands share: lists of numbers as people type them, refusals as sentences, entitlement, plain tables."""

from __future__ import annotations

import json
import logging
import os
import re
import sys
from collections.abc import Iterable, Sequence
from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING, Any

import typer
from typer.core import TyperCommand, TyperGroup

from keycore.refusal import Refusal

if TYPE_CHECKING:
    from keycore.job import Entitlement
    from keycore.spec import KeySpec

_log = logging.getLogger(__name__)  # names of commands and codes of refusals; never what a person typed
LISTS = frozenset({"--roots", "--positions", "--hold", "--not", "--rules", "--begun"})
"""Options that take several values after one another: ``--roots 19.51 18.28 16.13``."""
CAUTION = (
    "Caution: only for a key that its holder is entitled to; local law and licence rules come first. "
    "A code opens a door: keep it as you keep the key."
)
TRACE_VARIABLE = "VALLEYGAUGE_TRACE"

_CALL_CODES = (
    "spec.",
    "code.",
    "call.",
    "number.",
    "hold.",
    "holds.",
    "marks-file.",
    "reference.",
    "conformity.",
    "template.rule",
    "template.correction",
)
_VALUE = re.compile(r"[+-]?[.,]?\d\S*|[\d.,;\s+-]+|\S+=[\d.,;+-]+")


class Command(TyperCommand):
    """A command whose refusals are one sentence on the error output, with the exit status that they deserve."""

    def parse_args(self, ctx: Any, args: list[str]) -> list[str]:
        try:
            return super().parse_args(ctx, spread(args))
        except Exception as error:
            raise _one_sentence(error, ctx.command_path) from error

    def invoke(self, ctx: Any) -> Any:
        _log.info("command %s", ctx.command.name)
        try:
            return super().invoke(ctx)
        except Refusal as refusal:
            _log.info("refused: %s", refusal.code)
            say(refusal.sentence)
            raise typer.Exit(status_of(refusal)) from refusal
        except BrokenPipeError:
            sys.stderr = open(os.devnull, "w")  # noqa: SIM115  # the reader of our output went away; nothing to say
            raise typer.Exit(1) from None
        except Exception as error:
            if (
                hasattr(error, "exit_code")
                or isinstance(error, (typer.Abort, typer.Exit))
                or os.environ.get(TRACE_VARIABLE)
            ):
                raise
            _log.error("fault in command %s", ctx.command.name, exc_info=error)
            say(fault_words(error))
            raise typer.Exit(1) from error


class Cli(TyperGroup):
    """The commands together; a wrong call is one sentence too."""

    def make_context(self, *args: Any, **kwargs: Any) -> Any:
        try:
            return super().make_context(*args, **kwargs)
        except Exception as error:
            raise _one_sentence(error, "valleygauge") from error

    def invoke(self, ctx: Any) -> Any:
        try:
            return super().invoke(ctx)
        except Exception as error:
            raise _one_sentence(error, "valleygauge") from error


def _one_sentence(error: Exception, program: str) -> Exception:
    """A wrong call (click's usage error) as one sentence and exit status 2; anything else as it is."""
    if getattr(error, "exit_code", None) != 2 or not hasattr(error, "format_message"):
        return error
    context = getattr(error, "ctx", None)
    path = context.command_path if context is not None else program
    words = str(error.format_message()).strip().rstrip(".")
    say(f"{path}: {words[:1].lower()}{words[1:]}; see {path} --help.")
    return typer.Exit(2)


def spread(args: Sequence[str]) -> list[str]:
    """``--roots 1 2 3`` as ``--roots 1 --roots 2 --roots 3``; "1 2 3" in one word and "1; 2; 3" are taken apart too."""
    out: list[str] = []
    current = ""
    for position, word in enumerate(args):
        if word == "--":
            return [*out, *args[position:]]
        name, equals, value = word.partition("=")
        if word in LISTS:
            current = word
            if position + 1 == len(args) or not _VALUE.fullmatch(args[position + 1]):
                out.append(word)  # with the next word as its value, whatever it is: the command will say what is wrong
                current = ""
        elif equals and name in LISTS:
            for part in _parts(value):
                out += [name, part]
            current = name
        elif current and _VALUE.fullmatch(word):
            for part in _parts(word):
                out += [current, part]
        else:
            current = ""
            out.append(word)
    return out


def _parts(word: str) -> list[str]:
    return [part for part in re.split(r"[\s;]+", word) if part] or [word]


def status_of(refusal: Refusal) -> int:
    """2 where the call was wrong, 1 where a picture, a figure or a job could not be read."""
    return 2 if refusal.code.startswith(_CALL_CODES) else 1


def fault_words(error: BaseException) -> str:
    """A fault of the program itself, in a sentence."""
    return (
        f"The program made a mistake ({type(error).__name__}: {' '.join(str(error).split())[:200]}); please report it, "
        f"with what {TRACE_VARIABLE}=1 shows."
    )


def say(sentence: str) -> None:
    """One sentence on the error output."""
    typer.echo(sentence, err=True)


def cautions(spec: KeySpec | None = None) -> tuple[str, ...]:
    """What must be said whenever a code is shown."""
    said = [CAUTION]
    if spec is not None and spec.restricted:
        said.append(f"{spec.name} is RESTRICTED: cut it only with the authority's reference.")
    if spec is not None and spec.is_unconfirmed:
        said.append(f"{spec.name} is UNCONFIRMED (from memory): compare it with a chart before a key is cut.")
    return tuple(said)


def print_json(value: Any, *, indent: int | None = None) -> None:
    """One JSON object on one line (or indented)."""
    typer.echo(json.dumps(value, ensure_ascii=False, allow_nan=False, indent=indent))


def numbers(words: Iterable[str] | None, what: str) -> tuple[float, ...]:
    """Numbers from the words of an option."""
    from app.bench_numbers import parse_number

    return tuple(parse_number(part, what) for word in words or () for part in _parts(word))


def number(word: str | None, what: str) -> float | None:
    """One number, or None where the option was not given."""
    from app.bench_numbers import parse_number

    return None if word is None else parse_number(word, what)


def holds_from(held: Iterable[str] | None, ruled_out: Iterable[str] | None, spec: KeySpec) -> Any:
    """The decoder's holds from ``--hold 1=3`` and ``--not 1=0``; cuts count from 1."""
    from keycore.decode import Holds

    return Holds(held=dict(_pairs(held, "--hold", spec)), ruled_out=frozenset(_pairs(ruled_out, "--not", spec)))


def _pairs(words: Iterable[str] | None, option: str, spec: KeySpec) -> list[tuple[int, str]]:
    pairs: list[tuple[int, str]] = []
    cuts = spec.cuts_per_edge * spec.edge_count
    for word in words or ():
        cut, equals, label = word.partition("=")
        if not equals or not cut.strip().isdigit():
            raise Refusal(f"{option} wants a cut and a depth such as {option} 1=3; got {word!r}.", code="hold.form")
        number = int(cut)
        if not 1 <= number <= cuts:
            raise Refusal(
                f"{option} {word}: a key of {spec.name} has cuts 1 to {cuts}; got cut {number}.", code="hold.no-cut"
            )
        if label not in spec.labels:
            raise Refusal(
                f"{option} {word}: depth {label!r} is not in table {spec.name} ({', '.join(spec.labels)}).",
                code="hold.no-depth",
            )
        pairs.append((number - 1, label))
    return pairs


def entitlement_from(
    asked_by: str | None, proof: str | None, seen_by: str | None, seen_on: str | None, authority: str | None
) -> Entitlement:
    """The entitlement from the options; what was not given stays empty."""
    from keycore.job import Entitlement

    return Entitlement(
        asked_by=asked_by or "",
        proof_seen=proof or "",
        seen_by=seen_by or "",
        seen_on=moment(seen_on),
        authority_reference=authority,
    )


def moment(text: str | None) -> datetime | None:
    """A date, a date with time, or "now"."""
    if text is None:
        return None
    if text.strip().lower() == "now":
        return datetime.now().astimezone().replace(microsecond=0)
    try:
        return datetime.fromisoformat(text.strip())
    except ValueError as error:
        raise Refusal(
            f'A date is wanted, such as 2026-03-14 or "2026-03-14 10:30", or now; got {text!r}.', code="call.date"
        ) from error


def load_marks(file: Path) -> Any:
    """Marks from a marks/1 file."""
    from pydantic import ValidationError

    from keycore.marks import Marks

    try:
        text = file.read_text(encoding="utf-8-sig")
    except (OSError, UnicodeDecodeError) as error:
        why = error.strerror if isinstance(error, OSError) and error.strerror else "it is not text"
        raise Refusal(
            f"{file}: the marks cannot be read ({why}); check the path.", code="marks-file.unreadable"
        ) from error
    try:
        members = json.loads(text)
    except (ValueError, RecursionError) as error:
        raise Refusal(f"{file} is not whole JSON; a marks/1 file is expected.", code="marks-file.not-json") from error
    if not isinstance(members, dict) or members.get("format") != "marks/1":
        raise Refusal(f'{file} holds no marks: its "format" should be "marks/1".', code="marks-file.format")
    try:
        return Marks.model_validate(members)
    except ValidationError as error:
        fault = error.errors(include_url=False)[0]
        where = ".".join(str(part) for part in fault["loc"])
        raise Refusal(f"{file}: {where}: {fault['msg'].lower()}; correct it.", code="marks-file.member") from error


def aligned(rows: Sequence[Sequence[str]], *, indent: str = "  ") -> list[str]:
    """Rows as lines whose columns stand under one another; columns of numbers are set to the right."""
    widths = [max(len(row[column]) for row in rows) for column in range(len(rows[0]))]
    right = [
        all(re.fullmatch(r"[-+<>]?[\d.]*(?: ?%)?|-", row[column]) for row in rows[1:]) for column in range(len(rows[0]))
    ]
    lines = []
    for row in rows:
        cells = [cell.rjust(w) if r else cell.ljust(w) for cell, w, r in zip(row, widths, right, strict=True)]
        lines.append((indent + "  ".join(cells)).rstrip())
    return lines
