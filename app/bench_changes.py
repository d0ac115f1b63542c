"""The changes that a person can make to a job, each of which can be undone without limit."""

from __future__ import annotations

from dataclasses import replace
from datetime import date, datetime
from pathlib import Path
from typing import Any, Literal

from app import bench_record
from app.bench_locks import STEP_WORDS, STEPS_OF_A_PICTURE, locked_steps, require_step, require_unlocked
from app.bench_state import BenchPicture, BenchState, UndoStep
from app.bench_work import LoadedPicture, load_picture
from keycore.codes import Code, format_code, parse_code
from keycore.job import Entitlement, TrialDone
from keycore.refusal import Refusal
from keycore.spec import KeySpec, load_spec


class Changes:
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
        self.require_unlocked("entitlement")
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
        self.require_unlocked("table", "code")
        new = replace(self._state, spec=table, held=(), ruled_out=frozenset(), decided_code=None, cut_key_check=None)
        self._change(f"choose table {table.name}" if table else "choose no table", new)

    def open_picture(self, source: str | Path | bytes, *, name: str | None = None, page: int = 1) -> None:
        """Load a picture and put it into the job.  A large one is better loaded elsewhere: see :meth:`add_picture`."""
        self.add_picture(load_picture(source, name=name, page=page))

    def add_picture(self, loaded: LoadedPicture, *, shows: Literal["key", "cut key"] = "key") -> None:
        """Put in a picture that ``app.bench_work.load_picture`` loaded, on any thread.  It becomes the one shown.

        A picture of the key that was cut is for its check only (:mod:`app.bench_check`); no code is read from it.
        """
        self.require_unlocked("picture" if shows == "key" else "check")
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
        self.require_unlocked("picture" if picture.shows == "key" else "check")
        pictures = tuple(other for at, other in enumerate(self._state.pictures) if at != index)
        current = min(self._state.current, max(len(pictures) - 1, 0))
        self._change(f"take out {picture.picture.name}", replace(self._state, pictures=pictures, current=current))

    def turn_page(self, loaded: LoadedPicture) -> None:
        """Show another page of the same file in the place of the one that is shown; its marks are found anew."""
        picture, page = self._require_picture(), loaded.picture.page
        self.require_unlocked("picture", "marks")
        if loaded.content != picture.content:
            raise Refusal("That is a page of another file; add it as a picture of its own.", code="bench.other-file")
        fresh = replace(
            BenchPicture(picture.file, loaded.picture, picture.content, picture.sha256, page),
            shows=picture.shows,
            locked_steps=picture.locked_steps,
        )
        at = self._state.current
        pictures = (*self._state.pictures[:at], fresh, *self._state.pictures[at + 1 :])
        self._change(f"turn to page {page}", replace(self._state, pictures=pictures))

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
        self.require_unlocked("marks")
        self._change_picture(
            f"read key {key + 1} of the picture",
            points=(),
            by_hand=frozenset(),
            as_placed=frozenset(),
            key=key,
            accepted=False,
        )

    def set_growth(self, growth_mm: float | None, *, gesture: str = "slide") -> None:
        """Put the growth slider somewhere, or (None) leave growth to the evidence.  One slide is one step."""
        from keycore.prior import GROWTH_HIGH_MM, GROWTH_LOW_MM  # here: it brings half of scipy

        words = "let the evidence decide the growth" if growth_mm is None else "slide the growth"
        value = None if growth_mm is None else float(growth_mm)
        if value is not None and not GROWTH_LOW_MM <= value <= GROWTH_HIGH_MM:
            raise Refusal(
                f"Growth must lie between {GROWTH_LOW_MM} and {GROWTH_HIGH_MM} mm; got {value:g}.", code="decode.growth"
            )
        self.require_unlocked("code")
        self._change_picture(words, None if value is None else f"growth {gesture}", growth_mm=value)

    def hold(self, cut: int, label: str) -> None:
        """Hold a cut (counted from 0 over the flat code) at a depth, as the locksmith's knowledge."""
        self._require_cut(cut, label)
        self.require_unlocked("code")
        held = tuple(sorted({**dict(self._state.held), cut: label}.items()))
        ruled_out = frozenset(pair for pair in self._state.ruled_out if pair != (cut, label))
        self._change(f"hold cut {cut + 1} at {label}", replace(self._state, held=held, ruled_out=ruled_out))

    def rule_out(self, cut: int, label: str) -> None:
        """Rule a depth out for a cut."""
        spec = self._require_cut(cut, label)
        self.require_unlocked("code")
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
        self.require_unlocked("code")
        held = tuple(pair for pair in self._state.held if pair != (cut, label))
        ruled_out = self._state.ruled_out - {(cut, label)}
        self._change(f"free {label} for cut {cut + 1}", replace(self._state, held=held, ruled_out=ruled_out))

    def clear_hold(self, cut: int) -> None:
        """Forget what was held and ruled out for a cut."""
        self.require_unlocked("code")
        held = tuple(pair for pair in self._state.held if pair[0] != cut)
        ruled_out = frozenset(pair for pair in self._state.ruled_out if pair[0] != cut)
        self._change(f"free cut {cut + 1}", replace(self._state, held=held, ruled_out=ruled_out))

    def decide_code(self, code: Code | str | None) -> None:
        """Settle on a code, or take that back."""
        spec = self._state.spec
        self.require_unlocked("code")
        if code is None or spec is None:
            if code is not None:
                raise Refusal("Choose the depth table before a code is settled on.", code="bench.no-table")
            self._change("settle on no code", replace(self._state, decided_code=None))
            return
        decided = parse_code(format_code(code, spec) if isinstance(code, tuple) else code, spec)
        self._change("settle on the code", replace(self._state, decided_code=decided))

    def set_cut_key_check(self, check: dict[str, Any] | None) -> None:
        """Record how the cut key measured against its code."""
        self.require_unlocked("check")
        self._change("record the check of the cut key", replace(self._state, cut_key_check=check))

    def add_trial(self, trial: TrialDone) -> None:
        """Record one cutting and trying in the lock."""
        self.require_unlocked("cutting")
        self._change("record a trial", replace(self._state, trials=(*self._state.trials, trial)))

    @property
    def locked_steps(self) -> frozenset[str]:
        """The steps that are locked, those of the picture that is shown included."""
        return locked_steps(self._state, self._state.picture)

    def lock_step(self, step: str, locked: bool = True) -> None:
        """Keep a step from being changed, or let it be changed again; scale and marks: of the picture that is shown."""
        require_step(step)
        words = f"{'lock' if locked else 'unlock'} {STEP_WORDS[step]}"

        def changed(before: frozenset[str]) -> frozenset[str]:
            return before | {step} if locked else before - {step}

        if step in STEPS_OF_A_PICTURE:
            self._change_picture(words, locked_steps=changed(self._require_picture().locked_steps))
        else:
            self._change(words, replace(self._state, locked_steps=changed(self._state.locked_steps)))

    def require_unlocked(self, *steps: str) -> None:
        """Refuse, in words, where one of these steps is locked."""
        require_unlocked(self._state, self._state.picture, *steps)

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
