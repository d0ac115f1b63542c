"""What the locksmith knows of a cut: a depth held, or depths ruled out."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from types import MappingProxyType

import numpy as np

from keycore.chain import Booleans, Links
from keycore.refusal import Refusal
from keycore.spec import KeySpec


@dataclass(frozen=True)
class Holds:
    """Depths held and ruled out.  Cuts are counted from 0 over the flat code; a value, so it can be kept and
    compared.
    """

    held: Mapping[int, str] = field(default_factory=dict)
    ruled_out: frozenset[tuple[int, str]] = frozenset()

    def __post_init__(self) -> None:
        object.__setattr__(self, "held", MappingProxyType(dict(self.held)))
        object.__setattr__(self, "ruled_out", frozenset(self.ruled_out))

    def __hash__(self) -> int:
        return hash((tuple(sorted(self.held.items())), self.ruled_out))

    def __eq__(self, other: object) -> bool:
        return isinstance(other, Holds) and dict(self.held) == dict(other.held) and self.ruled_out == other.ruled_out

    def __bool__(self) -> bool:
        return bool(self.held or self.ruled_out)

    def __reduce__(self) -> tuple[object, ...]:
        return Holds, (dict(self.held), self.ruled_out)

    def allowed(self, spec: KeySpec, links: Links) -> Booleans:
        """(cuts, depths) True where a depth is still possible; refused where no code of the table is left."""
        cuts = len(links.free) + 1
        mask = np.ones((cuts, len(spec.depths)), dtype=bool)
        for index, label in (*self.held.items(), *self.ruled_out):
            if not 0 <= index < cuts:
                raise Refusal(
                    f"Cut {index + 1} is held, and the key has {cuts} cuts; take that hold away.",
                    code="holds.no-such-cut",
                )
            if label not in spec.labels:
                raise Refusal(
                    f"Cut {index + 1}: depth {label!r} is not in table {spec.name} ({', '.join(spec.labels)}); "
                    f"hold or rule "
                    f"out one that is.",
                    code="holds.unknown-depth",
                )
        for index, label in self.held.items():
            mask[index] &= np.array([own == label for own in spec.labels])
        for index, label in self.ruled_out:
            mask[index, spec.labels.index(label)] = False
        for index in range(cuts):
            if not mask[index].any():
                raise Refusal(
                    f"Cut {index + 1}: every depth is ruled out; allow at least one.", code="holds.nothing-left"
                )
        if links.count(mask) == 0:
            raise Refusal(
                f"What is held and ruled out leaves no code that {spec.name} allows (neighbours differ by at most "
                f"{spec.max_adjacent_step}); take one of the holds away.",
                code="holds.macs",
            )
        return mask
