"""The changes that a person can make to a job, each of which can be undone without limit."""

from __future__ import annotations

from abc import ABC, abstractmethod
from collections.abc import Iterable, Sequence
from dataclasses import replace
from datetime import date, datetime
from pathlib import Path
from typing import Any, Literal

from app import bench_record
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
from app.bench_state import REFERENCE_CHOICES, BenchPicture, BenchState, ReferenceChoice, UndoStep
from app.bench_work import FIXABLE, LoadedPicture, load_picture
from app.picture.values import PictureReading
from keycore.codes import Code, format_code, parse_code
from keycore.job import Entitlement, TrialDone
from keycore.marks import Marks, PointXY, ReferenceMark
from keycore.refusal import Refusal
from keycore.spec import KeySpec, load_spec


class Changes(ABC):
    """A state and its history.  Every change puts a new state in the place of the old one."""

    def __init__(self, number: str | None = None, *, now: datetime | None = None) -> None:
        created = now or datetime.now().astimezone()
        self._state = BenchState(number=number or f"{created:%Y%m%d-%H%M%S}", created=created)
        self._saved_state: BenchState = self._state
        self._undo: list[UndoStep] = []
        self._redo: list[UndoStep] = []
        self._revision = 0

    @property
    def state(self) -> BenchState:
        """The job as it stands."""
        return self._state

    @property
    def saved_state(self) -> BenchState:
        """The job as it was last saved, or opened."""
        return self._saved_state

    @property
    def revision(self) -> int:
        """A number that grows with every change of the state."""
        return self._revision

    @property
    @abstractmethod
    def reading(self) -> PictureReading | None:
        """The reading of the picture that is shown."""

    @abstractmethod
    def marks(self) -> tuple[MarkPoint, ...]:
        """All marks of the picture that is shown."""

    @property
    def undo_words(self) -> str:
        """What an undo would take back; "" where there is nothing."""
        return self._undo[-1].words if self._undo else ""

    @property
    def redo_words(self) -> str:
        """What a redo would bring again; "" where there is nothing."""
        return self._redo[-1].words if self._redo else ""

    def undo(self) -> bool:
        """Take the last change back."""
        return self._step(self._undo, self._redo, back=True)

    def redo(self) -> bool:
        """Bring the change that was taken back again."""
        return self._step(self._redo, self._undo, back=False)

    def set_number(self, number: str) -> None:
        """Give the job another number."""
        cleaned = number.strip()
        if not 1 <= len(cleaned) <= 64:
            raise Refusal(f"A job's number has 1 to 64 characters; got {len(cleaned)}.", code="job.number")
        self._change("change the job's number", replace(self._state, number=cleaned), "number")

    def set_entitlement(self, entitlement: Entitlement | None = None, /, **fields: Any) -> None:
        """Record who asked, what proof was seen, by whom and when: a whole record, or single fields of it."""
        new = entitlement or self._state.entitlement
        if fields:
            new = Entitlement.model_validate({**new.model_dump(), **fields})
        merge = f"entitlement {' '.join(sorted(fields))}" if fields else None
        self._change("record the entitlement", replace(self._state, entitlement=new), merge)

    def set_notes(self, notes: str) -> None:
        """Notes of the job."""
        self._change("write notes", replace(self._state, notes=notes), "notes")

    def set_keep_until(self, day: date | None) -> None:
        """Say when the record is to be looked at again, to be kept or forgotten; None takes the reminder away."""
        self._change("set the reminder", replace(self._state, keep_until=day), "keep until")

    def set_spec(self, spec: KeySpec | str | Path | None) -> None:
        """Choose the depth table, by itself, its name or its file.  What was held of the other table's depths goes."""
        table = load_spec(spec) if isinstance(spec, (str, Path)) else spec
        if table == self._state.spec:
            return
        new = replace(self._state, spec=table, held=(), ruled_out=frozenset(), decided_code=None, cut_key_check=None)
        self._change(f"choose table {table.name}" if table else "choose no table", new)

    def open_picture(self, source: str | Path | bytes, *, name: str | None = None, page: int = 1) -> None:
        """Load a picture and put it into the job.  A large one is better loaded elsewhere: see :meth:`add_picture`."""
        self.add_picture(load_picture(source, name=name, page=page))

    def add_picture(self, loaded: LoadedPicture, *, shows: Literal["key", "cut key"] = "key") -> None:
        """Put in a picture that ``app.bench_work.load_picture`` loaded, on any thread.  It becomes the one shown.

        A picture of the key that was cut is for its check only (:mod:`app.bench_check`); no code is read from it.
        """
        picture = loaded.picture
        file = bench_record.file_name(picture.name, self._file_names())
        added = BenchPicture(
            file=file,
            picture=picture,
            content=loaded.content,
            sha256=picture.sha256,
            page=picture.page,
            shows=shows,
        )
        pictures = (*self._state.pictures, added)
        self._change(f"open {picture.name}", replace(self._state, pictures=pictures, current=len(pictures) - 1))

    def remove_picture(self, index: int) -> None:
        """Take a picture out of the job; its file is not touched."""
        picture = self._picture_at(index)
        pictures = tuple(other for at, other in enumerate(self._state.pictures) if at != index)
        current = min(self._state.current, max(len(pictures) - 1, 0))
        self._change(f"take out {picture.picture.name}", replace(self._state, pictures=pictures, current=current))

    def show_picture(self, index: int) -> None:
        """Look at another picture of the job.  That changes nothing in the job, so it is not a step to undo."""
        self._picture_at(index)
        saved = self._saved_state is self._state
        self._state = replace(self._state, current=index)
        if saved:
            self._saved_state = self._state

    def set_key(self, key: int) -> None:
        """Read another key of a picture that shows several (counted from 0)."""
        if key < 0:
            raise Refusal(f"Keys of a picture are counted from 0; got {key}.", code="bench.key")
        self._change_picture(
            f"read key {key + 1} of the picture",
            points=(),
            by_hand=frozenset(),
            as_placed=frozenset(),
            key=key,
            accepted=False,
        )

    def move_mark(self, name: str, xy: PointXY, *, gesture: str | None = None) -> None:
        """Put a mark at a picture position.  Moves with the same ``gesture`` (one drag, say) merge into one step."""
        require_mark_name(name)
        picture = self._require_picture()
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
        self._change_picture(
            words, merge, points=tuple(sorted(points.items())), by_hand=picture.by_hand | {name}, accepted=False
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
        """Give all marks back to the program."""
        self._change_picture(
            "find all marks again",
            points=(),
            by_hand=frozenset(),
            as_placed=frozenset(),
            reference_mark=None,
            accepted=False,
        )

    def set_marks(self, marks: Marks) -> None:
        """Take a whole set of marks (a marks/1 file) as the hand's own."""
        picture = self._require_picture()
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
        self._change_picture("choose the size reference", reference=choice)

    def set_reference_mark(self, mark: ReferenceMark | None) -> None:
        """Mark a card, a page, a rectangle or a plain length in the picture, or take the mark away."""
        picture = self._require_picture()
        if mark is not None:
            require_inside(mark.corners, picture.picture.size, "reference.0")
        self._change_picture("mark the size reference" if mark else "take away the size reference", reference_mark=mark)

    def turn_reference(self, kind: str, on: bool) -> None:
        """Use a kind of size reference ("dpi", "blade-height", "cut-spacing", ...) or leave it out."""
        picture = self._require_picture()
        new = picture.turned_off - {kind} if on else picture.turned_off | {kind}
        self._change_picture(f"{'use' if on else 'leave out'} the {kind.replace('-', ' ')} as a size", turned_off=new)

    def set_growth(self, growth_mm: float | None, *, gesture: str = "slide") -> None:
        """Put the growth slider somewhere, or (None) leave growth to the evidence.  One slide is one step."""
        from keycore.prior import GROWTH_HIGH_MM, GROWTH_LOW_MM  # here: it brings half of scipy

        words = "let the evidence decide the growth" if growth_mm is None else "slide the growth"
        value = None if growth_mm is None else float(growth_mm)
        if value is not None and not GROWTH_LOW_MM <= value <= GROWTH_HIGH_MM:
            raise Refusal(
                f"Growth must lie between {GROWTH_LOW_MM} and {GROWTH_HIGH_MM} mm; got {value:g}.", code="decode.growth"
            )
        self._change_picture(words, None if value is None else f"growth {gesture}", growth_mm=value)

    def hold(self, cut: int, label: str) -> None:
        """Hold a cut (counted from 0 over the flat code) at a depth, as the locksmith's knowledge."""
        self._require_cut(cut, label)
        held = tuple(sorted({**dict(self._state.held), cut: label}.items()))
        ruled_out = frozenset(pair for pair in self._state.ruled_out if pair != (cut, label))
        self._change(f"hold cut {cut + 1} at {label}", replace(self._state, held=held, ruled_out=ruled_out))

    def rule_out(self, cut: int, label: str) -> None:
        """Rule a depth out for a cut."""
        spec = self._require_cut(cut, label)
        ruled_out = self._state.ruled_out | {(cut, label)}
        if sum(at == cut for at, _label in ruled_out) >= len(spec.labels):
            raise Refusal(
                f"Cut {cut + 1} must keep one depth; {label} is the last one that is not ruled out.",
                code="hold.none-left",
            )
        held = tuple(pair for pair in self._state.held if pair != (cut, label))
        self._change(f"rule out {label} for cut {cut + 1}", replace(self._state, held=held, ruled_out=ruled_out))

    def free_depth(self, cut: int, label: str) -> None:
        """Forget what was held or ruled out for one depth of a cut; the cut's other depths stay as they are."""
        self._require_cut(cut, label)
        held = tuple(pair for pair in self._state.held if pair != (cut, label))
        ruled_out = self._state.ruled_out - {(cut, label)}
        self._change(f"free {label} for cut {cut + 1}", replace(self._state, held=held, ruled_out=ruled_out))

    def clear_hold(self, cut: int) -> None:
        """Forget what was held and ruled out for a cut."""
        held = tuple(pair for pair in self._state.held if pair[0] != cut)
        ruled_out = frozenset(pair for pair in self._state.ruled_out if pair[0] != cut)
        self._change(f"free cut {cut + 1}", replace(self._state, held=held, ruled_out=ruled_out))

    def decide_code(self, code: Code | str | None) -> None:
        """Settle on a code, or take that back."""
        spec = self._state.spec
        if code is None or spec is None:
            if code is not None:
                raise Refusal("Choose the depth table before a code is settled on.", code="bench.no-table")
            self._change("settle on no code", replace(self._state, decided_code=None))
            return
        decided = parse_code(format_code(code, spec) if isinstance(code, tuple) else code, spec)
        self._change("settle on the code", replace(self._state, decided_code=decided))

    def set_cut_key_check(self, check: dict[str, Any] | None) -> None:
        """Record how the cut key measured against its code."""
        self._change("record the check of the cut key", replace(self._state, cut_key_check=check))

    def add_trial(self, trial: TrialDone) -> None:
        """Record one cutting and trying in the lock."""
        self._change("record a trial", replace(self._state, trials=(*self._state.trials, trial)))

    def _file_names(self) -> set[str]:
        """Names that a picture of the job has or had; one that was taken out may come back by an undo."""
        steps = [*self._undo, *self._redo]
        states = [self._state, *(step.before for step in steps), *(step.after for step in steps)]
        return {picture.file for state in states for picture in state.pictures}

    def _change(self, words: str, new: BenchState, merge: str | None = None) -> None:
        if new == self._state:
            return
        last = self._undo[-1] if self._undo else None
        if merge is not None and last is not None and last.merge_key == merge and not self._redo:
            self._undo[-1] = replace(last, after=new)
        else:
            self._undo.append(UndoStep(words, self._state, new, merge))
        self._redo.clear()
        self._state = new
        self._revision += 1

    def _change_picture(self, words: str, merge: str | None = None, /, **fields: Any) -> None:
        picture = self._require_picture()
        changed = replace(picture, **fields)
        at = self._state.current
        pictures = (*self._state.pictures[:at], changed, *self._state.pictures[at + 1 :])
        self._change(
            words, replace(self._state, pictures=pictures), None if merge is None else f"{picture.file} {merge}"
        )

    def _step(self, source: list[UndoStep], target: list[UndoStep], *, back: bool) -> bool:
        if not source:
            return False
        step = source.pop()
        target.append(step)
        self._state = step.before if back else step.after
        self._revision += 1
        return True

    def _picture_at(self, index: int) -> BenchPicture:
        if not 0 <= index < len(self._state.pictures):
            raise Refusal(
                f"The job has {len(self._state.pictures)} pictures; there is no picture {index + 1}.",
                code="bench.no-picture",
            )
        return self._state.pictures[index]

    def _require_picture(self) -> BenchPicture:
        if self._state.picture is None:
            raise Refusal("Open a picture first.", code="bench.no-picture")
        return self._state.picture

    def _require_cut(self, cut: int, label: str) -> KeySpec:
        spec = self._state.spec
        if spec is None:
            raise Refusal("Choose the depth table before a depth is held or ruled out.", code="bench.no-table")
        if not 0 <= cut < spec.cuts_per_edge * spec.edge_count:
            raise Refusal(
                f"A key of {spec.name} has {spec.cuts_per_edge * spec.edge_count} cuts; there is no cut {cut + 1}.",
                code="hold.no-cut",
            )
        if label not in spec.labels:
            raise Refusal(
                f"Depth {label!r} is not in table {spec.name} ({', '.join(spec.labels)}).", code="hold.no-depth"
            )
        return spec

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
