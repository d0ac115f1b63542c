"""Codes as people write them: parse, format and put into JSON.

A code is a flat tuple of depth labels, bow to tip; for independent edges the first edge's cuts and then the second's.
"""

from __future__ import annotations

import re
from collections.abc import Iterable
from typing import TYPE_CHECKING

from keycore.refusal import Refusal

if TYPE_CHECKING:
    from keycore.spec import KeySpec

Code = tuple[str, ...]


def parse_code(text: str | Iterable[str], spec: KeySpec, *, keep_macs: bool = True) -> Code:
    """A code of this table from what a person wrote: "3-1-2", "3 1 2", "312" where labels are single characters.

    Independent edges are parted by a stroke ("1-2-3 / 3-2-1"); without one the cuts are shared out half and half.
    Refused: a label that the table does not have, a count of cuts that its keys do not have, and, while ``keep_macs``,
    a step between neighbours that is larger than the table allows.
    """
    if isinstance(text, str):
        parts = [_labels_of(part, spec) for part in text.split("/")]
    else:
        parts = [[str(label) for label in text]]
    if len(parts) == 1 and spec.edge_count == 2 and len(parts[0]) % 2 == 0:
        half = len(parts[0]) // 2
        parts = [parts[0][:half], parts[0][half:]]
    if len(parts) != spec.edge_count:
        raise Refusal(
            f"A code of {spec.name} is written as {_many(spec.edge_count, 'list')} of depths"
            f"{' parted by a stroke' if spec.edge_count == 2 else ''}; got {_many(len(parts), 'list')} in "
            f"{_quoted(text)}.",
            code="code.edges",
        )
    for labels in parts:
        for number, label in enumerate(labels, 1):
            if label not in spec.labels:
                raise Refusal(
                    f"Cut {number}: depth {label!r} is not in table {spec.name} ({', '.join(spec.labels)}); "
                    f"check the code or the table.",
                    code="code.unknown-depth",
                )
        if len(labels) not in spec.allowed_counts or len(labels) != len(parts[0]):
            raise Refusal(
                f"A key of {spec.name} has {' or '.join(map(str, spec.allowed_counts))} cuts"
                f"{' an edge' if spec.edge_count == 2 else ''}; the code {_quoted(text)} has "
                f"{' and '.join(str(len(part)) for part in parts)}.",
                code="code.count",
            )
    code = tuple(label for labels in parts for label in labels)
    if keep_macs:
        broken = macs_break(code, spec)
        if broken is not None:
            first, second, step = broken
            raise Refusal(
                f"Cuts {first} and {second} of {_quoted(text)} are {step} steps apart, and {spec.name} allows "
                "neighbours at "
                f"most {spec.max_adjacent_step}; check the code.",
                code="code.macs",
            )
    return code


def macs_break(code: Code, spec: KeySpec) -> tuple[int, int, int] | None:
    """(cut, next cut, step) of the first pair of neighbours further apart than the table allows, or None.

    Cuts count from 1 on their own edge.
    """
    per_edge = len(code) // spec.edge_count
    steps = [spec.labels.index(label) for label in code]
    for index in range(1, len(code)):
        step = abs(steps[index] - steps[index - 1])
        if index % per_edge and step > spec.max_adjacent_step:
            return index % per_edge, index % per_edge + 1, step
    return None


def format_code(code: Code, spec: KeySpec) -> str:
    """A code as it is shown: "3-1-2", "1-2-3 / 3-2-1"."""
    return " / ".join("-".join(labels) for labels in edge_lists(code, spec))


def code_to_json(code: Code, spec: KeySpec) -> list[str] | list[list[str]]:
    """One list of labels, or two for independent edges."""
    lists = edge_lists(code, spec)
    return lists[0] if len(lists) == 1 else lists


def edge_lists(code: Code, spec: KeySpec) -> list[list[str]]:
    """The labels of each edge."""
    per_edge = len(code) // spec.edge_count
    return [list(code[start : start + per_edge]) for start in range(0, len(code), max(per_edge, 1))]


def _labels_of(part: str, spec: KeySpec) -> list[str]:
    labels = [label for label in re.split(r"[\s,;\-\u2013]+", part.strip()) if label]
    if len(labels) == 1 and all(len(label) == 1 for label in spec.labels) and labels[0] not in spec.labels:
        return list(labels[0])
    return labels


def _many(count: int, noun: str) -> str:
    return f"{('no', 'one', 'two', 'three')[count] if count < 4 else count} {noun}{'' if count == 1 else 's'}"


def _quoted(text: str | Iterable[str]) -> str:
    words = text if isinstance(text, str) else "-".join(text)
    return f'"{words if len(words) <= 60 else words[:57] + "..."}"'
