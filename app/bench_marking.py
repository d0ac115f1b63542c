"""The changes that a person can make to a picture's marks and size references; part of :class:`app.bench.Bench`."""

from __future__ import annotations

from abc import ABC, abstractmethod
from collections.abc import Iterable, Sequence
from typing import Final

from app.bench_changes import Changes
from app.bench_marks import (
    MarkPoint,
    group_of,
    mark_words,
    points_of,
    require_inside,
    require_mark_name,
    shifted_row,
    with_group,
)
from app.bench_state import REFERENCE_CHOICES, BenchPicture, ReferenceChoice
from app.bench_work import FIXABLE
from app.picture.values import PictureReading
from keycore.marks import Marks, PointXY, ReferenceMark
from keycore.measured import Medium
from keycore.refusal import Refusal
from keycore.spec import KeySpec

MEDIA: Final[tuple[Medium, ...]] = ("scan", "photocopy", "photo-card", "photo-copy")


class Marking(Changes, ABC):
    """A state whose marks can be moved."""

    @property
    @abstractmethod
    def reading(self) -> PictureReading | None:
        """The reading of the picture that is shown."""

    @abstractmethod
    def marks(self) -> tuple[MarkPoint, ...]:
        """All marks of the picture that is shown."""

    def move_mark(self, name: str, xy: PointXY, *, gesture: str | None = None) -> None:
        """Put a mark at a picture position.  Moves with the same ``gesture`` (one drag, say) merge into one step."""
        require_mark_name(name)
        picture = self._require_picture()
        self.require_unlocked("scale" if group_of(name) == "reference" else "marks")
        if name in picture.locked:
            raise Refusal(
                f"{mark_words(name).capitalize()} is locked; unlock it before it is moved.", code="mark.locked"
            )
        place = (float(xy[0]), float(xy[1]))
        require_inside([place], picture.picture.size, name)
        shown = {point.name: point.xy for point in self.marks()}
        merge = None if gesture is None else f"move {name} {gesture}"
        words = f"move {mark_words(name)}"
        if group_of(name) == "reference":
            self._change_picture(
                words, merge, reference_mark=self._reference_with(picture, int(name.split(".")[1]), place)
            )
            return
        points = with_group({**dict(picture.points), name: place}, shown, name) | {name: place}
        begins = not picture.by_hand and any(group_of(other) == "reference" for other in shown)
        self._change_picture(
            words,
            merge,
            points=tuple(sorted(points.items())),
            by_hand=picture.by_hand | {name},
            locked_steps=picture.locked_steps | ({"scale"} if begins else set()),
            accepted=False,
        )

    def nudge_mark(self, name: str, dx_px: float, dy_px: float) -> None:
        """Move a mark by so many picture pixels; nudges of the same mark, one after another, merge into one step."""
        at = {point.name: point.xy for point in self.marks()}.get(name)
        if at is None:
            raise Refusal(f"{mark_words(name).capitalize()} is not marked yet; mark it first.", code="mark.missing")
        self.move_mark(name, (at[0] + dx_px, at[1] + dy_px), gesture="nudge")

    def clear_mark(self, name: str) -> None:
        """Give a mark back to the program."""
        require_mark_name(name)
        picture = self._require_picture()
        self.require_unlocked("scale" if group_of(name) == "reference" else "marks")
        if group_of(name) == "reference":
            self._change_picture("take away the size reference", reference_mark=None)
            return
        by_hand, as_placed = picture.by_hand - {name}, picture.as_placed - {name}
        kept = {other for other in by_hand if group_of(other) == group_of(name)}
        points = {
            other: xy
            for other, xy in picture.points
            if other != name and (group_of(other) != group_of(name) or kept)
        }  # fmt: skip
        self._change_picture(
            f"find {mark_words(name)} again", points=tuple(sorted(points.items())), by_hand=by_hand, as_placed=as_placed
        )

    def clear_marks(self) -> None:
        """Give all marks back to the program; a size reference only where the scale is not locked."""
        self.require_unlocked("marks")
        picture = self._require_picture()
        self._change_picture(
            "find all marks again",
            points=(),
            by_hand=frozenset(),
            as_placed=frozenset(),
            reference_mark=picture.reference_mark if "scale" in picture.locked_steps else None,
            accepted=False,
        )

    def set_marks(self, marks: Marks) -> None:
        """Take a whole set of marks (a marks/1 file) as the hand's own."""
        picture = self._require_picture()
        self.require_unlocked("marks", *(() if marks.reference == picture.reference_mark else ("scale",)))
        points = points_of(marks)
        for name, xy in points.items():
            require_inside([xy], picture.picture.size, name)
        self._require_root_count(marks)
        points = {name: xy for name, xy in points.items() if group_of(name) != "reference"}
        self._change_picture(
            "set the marks",
            points=tuple(sorted(points.items())),
            by_hand=frozenset(points),
            as_placed=frozenset(),
            reference_mark=marks.reference,
            accepted=False,
        )

    def lock_mark(self, name: str, locked: bool = True) -> None:
        """Keep a mark from moving, or let it move again."""
        require_mark_name(name)
        picture = self._require_picture()
        new = picture.locked | {name} if locked else picture.locked - {name}
        self._change_picture(f"{'lock' if locked else 'unlock'} {mark_words(name)}", locked=new)

    def refuse_snap(self, name: str, refused: bool = True) -> None:
        """Have a hand's mark read where it stands, or (``refused=False``) at the nearest edge again.

        The two ends of a line or of the blade's height go together: one end alone says nothing of where they lie.
        """
        require_mark_name(name)
        picture = self._require_picture()
        self.require_unlocked("marks")
        group = group_of(name)
        if group not in FIXABLE:
            raise Refusal(
                "A size reference is not snapped to an edge; it is always read as placed.", code="mark.not-snapped"
            )
        if name not in picture.by_hand:
            raise Refusal(
                f"{mark_words(name).capitalize()} was found by the program; move it first, then its snap to the edge "
                f"can be refused.",
                code="mark.not-by-hand",
            )
        together = {name} if group in ("root", "shoulder", "tip") else {f"{group}.0", f"{group}.1"}
        as_placed = picture.as_placed | together if refused else picture.as_placed - together
        words = f"{'read' if refused else 'snap'} {mark_words(name)} {'as placed' if refused else 'to the edge'}"
        self._change_picture(words, as_placed=as_placed, by_hand=picture.by_hand | together, accepted=False)

    def shift_cuts(self, by: int) -> None:
        """Move the marks of all cuts along the blade by so many spacings: towards the tip where ``by`` is above 0."""
        picture, spec = self._require_picture(), self._state.spec
        self.require_unlocked("marks")
        shown = {point.name: point.xy for point in self.marks()}
        roots = [xy for name, xy in shown.items() if group_of(name) == "root"]
        rows = 1 if spec is None or spec.edges == "single" else 2
        each = len(roots) // rows
        if spec is None or each not in spec.allowed_counts or len(roots) != each * rows or each < 2:
            raise Refusal("Mark the roots of all cuts first; then they can be moved together.", code="mark.missing")
        if picture.locked & {f"root.{index}" for index in range(len(roots))}:
            raise Refusal("A root is locked; unlock it before all cuts are moved.", code="mark.locked")
        all_mm = spec.cut_positions_mm
        along_mm = all_mm[:each] if spec.gauge_from == "shoulder" else all_mm[-each:]
        moved = [xy for row in range(rows) for xy in shifted_row(roots[row * each : (row + 1) * each], along_mm, by)]
        for index, xy in enumerate(moved):
            require_inside([xy], picture.picture.size, f"root.{index}")
        points = dict(picture.points) | {f"root.{index}": xy for index, xy in enumerate(moved)}
        self._change_picture(
            f"move all cuts {abs(by)} {'towards the tip' if by > 0 else 'towards the bow'}",
            points=tuple(sorted(points.items())),
            by_hand=picture.by_hand | {f"root.{index}" for index in range(len(moved))},
            accepted=False,
        )

    def accept_marks(self) -> None:
        """Say that the marks of the picture were looked at and are right."""
        self._change_picture("accept the marks", accepted=True)

    def set_reference(self, choice: ReferenceChoice) -> None:
        """Choose what of known size lies in the picture: auto, card, a4, dpi or none."""
        if choice not in REFERENCE_CHOICES:
            raise Refusal(
                f"A size reference is one of {', '.join(REFERENCE_CHOICES)}; got {choice!r}.", code="reference.unknown"
            )
        self.require_unlocked("scale")
        self._change_picture("choose the size reference", reference=choice)

    def set_medium(self, medium: Medium | None) -> None:
        """Say what the picture is: a scan, a photocopy, a photo of the key or of a copy; None: as the program finds."""
        self._require_picture()
        self.require_unlocked("scale")
        if medium is not None and medium not in MEDIA:
            raise Refusal(f"A picture is one of {', '.join(MEDIA)}; got {medium!r}.", code="medium.unknown")
        self._change_picture("say what the picture is", medium=medium, accepted=False)

    def set_reference_mark(self, mark: ReferenceMark | None) -> None:
        """Mark a card, a page, a rectangle or a plain length in the picture, or take the mark away."""
        picture = self._require_picture()
        self.require_unlocked("scale")
        if mark is not None:
            require_inside(mark.corners, picture.picture.size, "reference.0")
        self._change_picture("mark the size reference" if mark else "take away the size reference", reference_mark=mark)

    def turn_reference(self, kind: str, on: bool) -> None:
        """Use a kind of size reference ("dpi", "blade-height", "cut-spacing", ...) or leave it out."""
        picture = self._require_picture()
        self.require_unlocked("scale")
        new = picture.turned_off - {kind} if on else picture.turned_off | {kind}
        self._change_picture(f"{'use' if on else 'leave out'} the {kind.replace('-', ' ')} as a size", turned_off=new)

    def _require_root_count(self, marks: Marks) -> None:
        spec = self._state.spec
        rows = marks.roots_by_edge()
        if spec is not None and rows:
            require_root_rows([len(row) for row in rows], spec)

    def _reference_with(self, picture: BenchPicture, index: int, xy: PointXY) -> ReferenceMark:
        mark = picture.reference_mark
        if mark is None:
            reading = self.reading
            mark = reading.marks.reference if reading is not None else None
        if mark is None or index >= len(mark.corners):
            raise Refusal(
                "No size reference is marked there; choose what lies in the picture first.", code="mark.missing"
            )
        corners: Sequence[PointXY] = [*mark.corners[:index], xy, *mark.corners[index + 1 :]]
        return mark.model_copy(update={"corners": tuple(corners)})


def require_root_rows(counts: Iterable[int], spec: KeySpec) -> None:
    """Refuse marks of roots that are not as many as the table's keys have cuts, or not one row for each edge."""
    rows = list(counts)
    wanted = 1 if spec.edges == "single" else 2
    allowed = " or ".join(map(str, spec.allowed_counts))
    if len(rows) != wanted or any(count not in spec.allowed_counts for count in rows):
        raise Refusal(
            f"A key of {spec.name} has {allowed} cuts{' on each of its two edges' if wanted == 2 else ''}; "
            f"the marks have {' and '.join(map(str, rows))}. Mark every root, bow to tip, or choose another table.",
            code="marks.count",
        )
