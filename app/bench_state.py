"""What one job at the bench is, as a frozen value: a change makes a new one, an undo goes back to the old one."""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import date, datetime
from typing import Any, Literal, get_args

from app.bench_marks import marks_of
from app.picture.values import Picture
from keycore.codes import Code
from keycore.job import Entitlement, Removed, TrialDone
from keycore.marks import Marks, PointXY, ReferenceMark
from keycore.measured import Medium
from keycore.spec import KeySpec

ReferenceChoice = Literal["auto", "card", "a4", "dpi", "none"]
NOT_RECORDED = Entitlement()
REFERENCE_CHOICES: tuple[ReferenceChoice, ...] = get_args(ReferenceChoice)


@dataclass(frozen=True)
class BenchPicture:
    """One picture of the job with everything that a person said about it.

    Attributes
    ----------
    file
        Its name in the job folder, unique in the job.
    content
        The file's own bytes, untouched.
    points
        Marks by name that the reader is given: those set by hand, and the rest of a pair or row that the hand touched.
    by_hand
        Names of the marks that a hand set.
    locked
        Names of the marks that do not move.
    as_placed
        Names of the marks whose snap to the edge was refused: the reader takes them where the hand put them.
    reference_mark
        A thing of known size that the person marked.
    turned_off
        Kinds of size reference that the person turned off ("dpi", "cut-spacing", ...).
    growth_mm
        Where the growth slider stands; None while the evidence decides.
    medium
        What the person says that the picture is; None: as the program finds.
    key
        Which key of the picture, counted from 0, where it shows several.
    accepted
        True where the person looked at the marks and took them as they are.
    locked_steps
        "scale", "marks": what of this picture is not to be changed by accident.
    """

    file: str
    picture: Picture = field(compare=False, repr=False)
    content: bytes = field(compare=False, repr=False)
    sha256: str
    page: int = 1
    points: tuple[tuple[str, PointXY], ...] = ()
    by_hand: frozenset[str] = frozenset()
    locked: frozenset[str] = frozenset()
    as_placed: frozenset[str] = frozenset()
    reference: ReferenceChoice = "auto"
    reference_mark: ReferenceMark | None = None
    turned_off: frozenset[str] = frozenset()
    growth_mm: float | None = None
    medium: Medium | None = None
    key: int = 0
    accepted: bool = False
    locked_steps: frozenset[str] = frozenset()
    shows: Literal["key", "cut key"] = "key"

    def hand_marks(self, spec: KeySpec | None) -> Marks | None:
        """The marks for the reader; None where the person set none."""
        return marks_of(dict(self.points), spec, self.reference_mark)


@dataclass(frozen=True)
class BenchState:
    """One job, whole.  Cuts count from 0 over the flat code here, as in the decoder; people count from 1."""

    number: str
    created: datetime
    entitlement: Entitlement = NOT_RECORDED
    spec: KeySpec | None = None
    pictures: tuple[BenchPicture, ...] = ()
    current: int = 0
    held: tuple[tuple[int, str], ...] = ()
    ruled_out: frozenset[tuple[int, str]] = frozenset()
    decided_code: Code | None = None
    trials: tuple[TrialDone, ...] = ()
    cut_key_check: dict[str, Any] | None = None
    notes: str = ""
    keep_until: date | None = None
    """When the record is to be looked at again, to be kept or forgotten."""
    removed: tuple[Removed, ...] = ()
    """What was taken out of this copy for teaching."""
    locked_steps: frozenset[str] = frozenset()
    """Steps of the job that are not to be changed by accident; those of a picture are kept with it."""

    @property
    def picture(self) -> BenchPicture | None:
        """The picture that is being looked at."""
        return self.pictures[self.current] if self.pictures else None

    @property
    def restricted(self) -> bool:
        """True where somebody limits who may cut this table."""
        return self.spec is not None and self.spec.restricted

    @property
    def missing_for_export(self) -> tuple[str, ...]:
        """Plain names of what must still be recorded before a code may leave the program."""
        return self.entitlement.missing_for_export(self.restricted)


@dataclass(frozen=True)
class UndoStep:
    """One change: what it was, in words that follow "undo", and the states before and after."""

    words: str
    before: BenchState
    after: BenchState
    merge_key: str | None = None
