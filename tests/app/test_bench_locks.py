"""A lock for each step: what is locked does not change by accident, and says so in one sentence."""

from __future__ import annotations

from collections.abc import Callable
from datetime import UTC, datetime
from pathlib import Path

import pytest

from app.bench import Bench
from app.bench_locks import STEP_WORDS
from keycore.job import TrialDone
from keycore.marks import ReferenceMark
from keycore.refusal import Refusal
from tests.app.made import CODE, png
from tests.app.test_bench_keep import read_job

CARD = ReferenceMark(kind="id1-card", corners=((10.0, 10.0), (90.0, 10.0), (90.0, 60.0), (10.0, 60.0)))
Change = Callable[[Bench], object]
CHANGES: list[tuple[str, Change]] = [
    ("entitlement", lambda b: b.set_entitlement(asked_by="Nobody")),
    ("table", lambda b: b.set_spec(None)),
    ("picture", lambda b: b.open_picture(png(150), name="more.png")),
    ("picture", lambda b: b.remove_picture(0)),
    ("scale", lambda b: b.set_reference("card")),
    ("scale", lambda b: b.set_reference_mark(CARD)),
    ("scale", lambda b: b.turn_reference("dpi", False)),
    ("marks", lambda b: b.move_mark("root.1", (200.0, 120.0))),
    ("marks", lambda b: b.shift_cuts(1)),
    ("marks", lambda b: b.set_key(1)),
    ("marks", lambda b: b.clear_marks()),
    ("code", lambda b: b.hold(0, "1")),
    ("code", lambda b: b.rule_out(0, "1")),
    ("code", lambda b: b.set_growth(0.1)),
    ("code", lambda b: b.decide_code(CODE)),
    ("code", lambda b: b.set_spec(None)),
    ("cutting", lambda b: b.add_trial(TrialDone(blank=1, code=CODE))),
    ("check", lambda b: b.set_cut_key_check({"outcome": "pass"})),
]


@pytest.fixture
def bench(monkeypatch: pytest.MonkeyPatch) -> Bench:
    """A job that was read."""
    return read_job(monkeypatch)


@pytest.mark.parametrize(("step", "change"), CHANGES)
def test_a_locked_step_stays_as_it_is(bench: Bench, step: str, change: Change) -> None:
    """Refused in one sentence with the state untouched; unlocked it goes; each lock can be undone."""
    bench.lock_step(step)
    before = bench.state
    assert bench.undo_words == f"lock {STEP_WORDS[step]}"
    assert [one.name for one in bench.steps() if one.locked] == [step]
    with pytest.raises(Refusal, match="locked; unlock") as refused:
        change(bench)
    assert refused.value.code == "step.locked" and bench.state is before

    bench.lock_step(step, False)
    change(bench)
    assert bench.state != before


def test_locks_are_kept_with_the_job_and_its_picture(bench: Bench, tmp_path: Path) -> None:
    """Scale and marks are of one picture, the others of the job; both are there when it is opened again."""
    bench.open_picture(png(140), name="more.png")
    bench.lock_step("scale")
    bench.lock_step("entitlement")
    bench.show_picture(0)
    assert bench.locked_steps == {"entitlement"}
    bench.save(tmp_path / "job")
    bench.close()
    again = Bench.open_job(tmp_path / "job")
    again.show_picture(1)

    assert again.locked_steps == {"entitlement", "scale"}
    again.close()


def test_calibration_locks_when_measuring_begins(bench: Bench) -> None:
    """The first mark that a hand moves locks the scale of a picture with a reference, in the same step to undo; a
    reference is safe then, also from finding all marks again.  Unlocked once it stays so."""
    bench.set_reference_mark(CARD)
    bench.move_mark("root.1", (200.0, 120.0))
    assert bench.locked_steps == {"scale"}
    with pytest.raises(Refusal, match="The scale is locked"):
        bench.move_mark("reference.0", (12.0, 12.0))
    bench.clear_marks()
    assert bench.state.picture is not None and bench.state.picture.reference_mark == CARD
    bench.undo()
    bench.undo()
    assert bench.locked_steps == frozenset()
    bench.redo()
    bench.lock_step("scale", False)
    bench.move_mark("root.2", (220.0, 120.0))

    assert bench.locked_steps == frozenset()


def test_without_a_reference_nothing_locks_by_itself(bench: Bench) -> None:
    """There is no calibration to guard."""
    bench.move_mark("root.1", (200.0, 120.0))

    assert bench.locked_steps == frozenset()


def test_a_step_that_is_not_there_is_named(bench: Bench) -> None:
    """With those that are."""
    with pytest.raises(Refusal, match="There is no step called 'paint'; steps are entitlement, table"):
        bench.lock_step("paint")
    empty = Bench("E", now=datetime(2026, 3, 4, 9, 0, tzinfo=UTC))
    with pytest.raises(Refusal, match="Open a picture first"):
        empty.lock_step("marks")
