"""What is known of this bench's printers: by how much each one strays, measured on the two rules of a template.

A printer is known by a name that a person gives it.  Its correction grows by chaining: the rules of a print that was
made with the correction so far give the next one.  Typing the same two lengths again changes nothing, so a command can
be repeated without correcting twice.
"""

from __future__ import annotations

import json
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

from app.bench_export import write_private
from app.folders import made, settings_folder
from app.paper.template import PrinterCorrection
from keycore.refusal import Refusal

FILE = "printers.json"
FORMAT = "printers/1"
LONGEST_NAME = 60


@dataclass(frozen=True)
class Printer:
    """One printer.

    Attributes
    ----------
    correction
        By how much the next print must be drawn longer.
    rules_mm
        (along, across) of every print that was measured, in order.
    """

    name: str
    correction: PrinterCorrection = field(default_factory=PrinterCorrection)
    rules_mm: tuple[tuple[float, float], ...] = ()


def printer(name: str) -> Printer:
    """What is known of a printer; one that was never measured has no correction."""
    rules = _stored().get(_name(name), ())
    return _printer(_name(name), rules)


def printers() -> tuple[Printer, ...]:
    """All printers that were measured, by name."""
    return tuple(_printer(name, rules) for name, rules in sorted(_stored().items()))


def correct_printer(name: str, along_mm: float, across_mm: float) -> Printer:
    """Take in what the rules of the latest print measure; the corrected printer."""
    known = printer(name)
    rules = (float(along_mm), float(across_mm))
    if known.rules_mm and known.rules_mm[-1] == rules:
        return known
    corrected = _printer(known.name, (*known.rules_mm, rules))  # refuses what no rule can measure
    _store({**_stored(), known.name: corrected.rules_mm})
    return corrected


def forget_printer(name: str) -> bool:
    """Begin again with a printer; False where nothing was known of it."""
    stored = _stored()
    known = stored.pop(_name(name), None)
    if known is not None:
        _store(stored)
    return known is not None


def chained(rules_mm: tuple[tuple[float, float], ...]) -> PrinterCorrection:
    """The correction after several prints, each made with what the ones before it gave."""
    correction = PrinterCorrection()
    for along_mm, across_mm in rules_mm:
        correction = PrinterCorrection.from_rules(along_mm, across_mm, correction)
    return correction


def _printer(name: str, rules: tuple[tuple[float, float], ...]) -> Printer:
    return Printer(name, chained(rules), rules)


def _name(name: str) -> str:
    cleaned = " ".join(name.split())
    if not 1 <= len(cleaned) <= LONGEST_NAME:
        raise Refusal(f"A printer's name has 1 to {LONGEST_NAME} characters; got {name!r}.", code="printer.name")
    return cleaned


def _file() -> Path:
    return settings_folder() / FILE


def _stored() -> dict[str, tuple[tuple[float, float], ...]]:
    try:
        record: Any = json.loads(_file().read_text(encoding="utf-8"))
        if record["format"] != FORMAT:
            raise ValueError
        stored = {
            str(name): tuple((float(along), float(across)) for along, across in rules)
            for name, rules in record["printers"].items()
        }
        for rules in stored.values():
            chained(rules)
    except FileNotFoundError:
        return {}
    except (OSError, ValueError, TypeError, KeyError, AttributeError, Refusal) as error:
        raise Refusal(
            f"What was known of the printers cannot be read from {_file()}; take that file away and measure the "
            f"printers again.",
            code="printer.damaged",
        ) from error
    return stored


def _store(stored: dict[str, tuple[tuple[float, float], ...]]) -> None:
    record = {"format": FORMAT, "printers": {name: [list(pair) for pair in rules] for name, rules in stored.items()}}
    write_private(made(settings_folder()) / FILE, (json.dumps(record, ensure_ascii=False, indent=1) + "\n").encode())
