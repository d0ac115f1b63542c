"""decoding/1: all that a decoding said, as JSON that reads back to the last bit.

A job keeps it, so that it shows years later what it showed when it was stored, whatever the program's decoding has
become since.  Only a change of the job (another mark, a hold) makes it decode anew.
"""

from __future__ import annotations

from functools import cache
from typing import Any

from pydantic import TypeAdapter, ValidationError

from keycore.decoding import Decoding
from keycore.refusal import Refusal
from keycore.spec import KeySpec

FORMAT = "decoding/1"


def decoding_to_json(decoding: Decoding) -> dict[str, Any]:
    """A decoding as plain JSON members, its table apart (the job keeps that whole)."""
    members = _adapter().dump_python(decoding, mode="json", exclude={"spec"})
    return {"format": FORMAT, "cuts_per_edge": decoding.spec.cuts_per_edge, **members}


def decoding_from_json(stored: dict[str, Any], spec: KeySpec) -> Decoding:
    """A decoding from what :func:`decoding_to_json` made; a refusal where it is damaged."""
    if stored.get("format") != FORMAT:
        raise Refusal(
            f'A stored decoding should have the format "{FORMAT}"; got {stored.get("format")!r}.',
            code="decoding.format",
        )
    members = {name: value for name, value in stored.items() if name not in ("format", "cuts_per_edge")}
    try:
        whole = {**members, "spec": spec.for_count(int(stored["cuts_per_edge"]))}
        return _adapter().validate_python(whole)
    except (ValidationError, KeyError, TypeError, ValueError) as error:
        raise Refusal(
            "The stored decoding is damaged; the job is decoded anew from its readings.", code="decoding.damaged"
        ) from error


@cache
def _adapter() -> TypeAdapter[Decoding]:
    return TypeAdapter(Decoding)
