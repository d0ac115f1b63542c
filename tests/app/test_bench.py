"""The bench: undo, merging, stale results, errors that keep what was known."""

from __future__ import annotations

import threading
from datetime import UTC, datetime
from pathlib import Path

import pytest

from app.bench import Bench
from keycore.marks import Marks, ReferenceMark
from keycore.refusal import Refusal
from keycore.spec import load_spec
from tests.app.made import CODE, PX_PER_MM, Reader, made_marks, png

SPEC = load_spec("harbourside-5")


@pytest.fixture
def reader(monkeypatch: pytest.MonkeyPatch) -> Reader:
    """The made-up reader in the place of the real one."""
    made = Reader(blank=frozenset({9}))
    monkeypatch.setattr("app.picture.read.read_picture", made)
    return made


@pytest.fixture
def bench(reader: Reader) -> Bench:
    """A job with a table and one picture, read."""
    bench = Bench("T-1", now=datetime(2026, 3, 4, 9, 0, tzinfo=UTC))
    bench.set_spec(SPEC)
    bench.open_picture(png(), name="copy.png")
    do_work(bench)
    return bench


def do_work(bench: Bench) -> None:
    """Do the work that waits, here and now."""
    work = bench.work()
    assert work is not None

    assert bench.take(work.run())


def at(bench: Bench, name: str) -> tuple[float, float]:
    """Where a mark stands."""
    return {point.name: point.xy for point in bench.marks()}[name]


def test_a_picture_and_a_table_give_a_code(bench: Bench) -> None:
    """After its work a job has a reading, a decoding with the key's code on top, and nothing left to do."""
    assert bench.decoding is not None and bench.decoding.codes[0].code == CODE
    assert bench.is_current and bench.work() is None and bench.problem == ""


def test_every_change_can_be_undone_and_brought_again(bench: Bench) -> None:
    """Undo walks back through every state exactly, redo forward again, and both say what they would do."""
    bench.move_mark("shoulder", (61.0, 150.0))
    bench.hold(0, "3")
    bench.rule_out(1, "0")
    bench.set_growth(0.2)
    bench.set_reference("dpi")
    bench.turn_reference("dpi", False)
    bench.set_entitlement(asked_by="Orla Fenwright")
    bench.set_notes("by the door")
    bench.accept_marks()
    words, states = [], [bench.state]
    while bench.undo_words:
        words.append(bench.undo_words)
        assert bench.undo()
        states.append(bench.state)

    assert words == [
        "accept the marks", "write notes", "record the entitlement", "leave out the dpi as a size",
        "choose the size reference", "slide the growth", "rule out 0 for cut 2", "hold cut 1 at 3", "move the shoulder",
        "open copy.png", "choose table Harbourside 5",
    ]  # fmt: skip
    assert not bench.undo()
    assert bench.redo_words == "choose table Harbourside 5"
    for state in reversed(states[:-1]):
        assert bench.redo()
        assert bench.state == state
    assert not bench.redo()


def test_a_change_after_an_undo_cuts_the_redo_branch(bench: Bench) -> None:
    """What was undone is gone once something else was done, also where the new change could have merged."""
    bench.nudge_mark("tip", 1, 0)
    bench.nudge_mark("tip", 1, 0)
    assert bench.undo()
    bench.nudge_mark("tip", 0, 1)

    assert bench.redo_words == ""
    assert at(bench, "tip") == (400.0, 151.0)


def test_nudges_of_one_mark_are_one_step(bench: Bench) -> None:
    """Arrow presses on one mark merge; another mark, or another kind of change, begins a new step."""
    for _ in range(5):
        bench.nudge_mark("root.2", 0.1, 0)
    bench.nudge_mark("root.3", 1, 0)
    bench.nudge_mark("root.2", 0.1, 0)
    before = made_marks(SPEC).roots
    assert before is not None

    assert bench.undo() and bench.undo_words == "move the root of cut 4"
    assert bench.undo() and bench.undo_words == "move the root of cut 3"
    assert bench.undo() and bench.undo_words == "open copy.png"
    assert at(bench, "root.2") == before[2]


def test_a_drag_is_one_step_and_the_next_drag_another(bench: Bench) -> None:
    """Moves of one gesture merge, those of two do not."""
    for x in (61.0, 62.0, 63.0):
        bench.move_mark("shoulder", (x, 150.0), gesture="drag 1")
    for x in (64.0, 65.0):
        bench.move_mark("shoulder", (x, 150.0), gesture="drag 2")
    bench.undo()

    assert at(bench, "shoulder") == (63.0, 150.0)
    bench.undo()
    assert at(bench, "shoulder") == (60.0, 150.0)


def test_a_moved_mark_is_known_from_the_programs_own(bench: Bench) -> None:
    """Only the mark that was moved is the hand's, though the reader is given the whole row."""
    bench.move_mark("root.1", (150.0, 110.0))

    assert [point.name for point in bench.marks() if point.by_hand] == ["root.1"]
    marks = bench.state.pictures[0].hand_marks(SPEC)
    assert marks is not None and marks.roots is not None and len(marks.roots) == 5 and marks.roots[1] == (150.0, 110.0)
    assert marks.shoulder is None
    bench.clear_mark("root.1")
    assert bench.state.pictures[0].hand_marks(SPEC) is None


def test_a_locked_mark_does_not_move(bench: Bench) -> None:
    """A lock refuses in words, and comes off again."""
    bench.lock_mark("tip")
    with pytest.raises(Refusal) as refused:
        bench.nudge_mark("tip", 1, 0)

    assert refused.value.sentence == "The tip is locked; unlock it before it is moved."
    bench.lock_mark("tip", False)
    bench.nudge_mark("tip", 1, 0)
    assert at(bench, "tip") == (401.0, 150.0)


def test_a_stale_result_is_dropped(bench: Bench) -> None:
    """A result of work that a later change has overtaken is not taken; the new work is."""
    bench.move_mark("shoulder", (62.0, 150.0))
    old = bench.work()
    bench.move_mark("shoulder", (64.0, 150.0))
    assert old is not None

    assert not bench.take(old.run())
    assert not bench.is_current and bench.reading is not None
    do_work(bench)
    assert bench.is_current and at(bench, "shoulder") == (64.0, 150.0)


def test_work_runs_on_another_thread_and_can_be_given_up(bench: Bench) -> None:
    """Work tells its progress, and one that was given up gives nothing."""
    bench.move_mark("shoulder", (62.0, 150.0))
    work = bench.work()
    assert work is not None
    said: list[float] = []
    results = []
    thread = threading.Thread(target=lambda: results.append(work.run(lambda done, words: said.append(done))))
    thread.start()
    thread.join()

    assert said == sorted(said) and said[-1] == 1.0
    assert not bench.take(work.run(cancelled=lambda: True))
    assert bench.take(results[0])


def test_an_undo_needs_no_second_reading(bench: Bench, reader: Reader) -> None:
    """What was read once is not read again when a change is taken back."""
    bench.move_mark("shoulder", (62.0, 150.0))
    do_work(bench)
    assert reader.calls == 2
    bench.undo()

    assert bench.work() is None and bench.is_current and reader.calls == 2


def test_slider_and_holds_do_not_read_the_picture_again(bench: Bench, reader: Reader) -> None:
    """The slider and a hold change the decoding at once."""
    evidence = bench.decoding
    bench.set_growth(0.6)
    slid = bench.decoding
    assert evidence is not None and slid is not None and slid.codes[0].code != CODE
    bench.set_growth(None)
    assert bench.decoding == evidence
    bench.hold(0, "4")
    held = bench.decoding
    assert held is not None and held.codes[0].code[0] == "4"

    assert reader.calls == 1 and bench.work() is None


def test_a_refused_reading_keeps_what_was_known(bench: Bench) -> None:
    """A picture without a key says so; the other picture's reading is still there to look at, and undo mends it."""
    bench.open_picture(png(9), name="blank.png")
    do_work(bench)

    assert bench.problem == "blank.png: no key was found; mark its shoulder, back and roots."
    assert bench.work() is None and not bench.is_current
    bench.show_picture(0)
    assert bench.reading is not None
    bench.undo()
    assert bench.is_current and bench.problem == ""


def test_a_picture_that_cannot_be_opened_changes_nothing(bench: Bench) -> None:
    """A refusal to load leaves the state and the history as they were."""
    before = bench.state
    with pytest.raises(Refusal):
        bench.open_picture(b"no picture", name="letter.txt")

    assert bench.state is before and bench.undo_words == "open copy.png"


@pytest.mark.parametrize(
    ("change", "sentence"),
    [
        (lambda b: b.move_mark("shoulder", (900.0, 20.0)),
         "The shoulder is marked at (900.0, 20.0), outside the picture of 600 x 300 pixels; mark it inside."),
        (lambda b: b.set_marks(Marks(shoulder=(-30.0, 5.0))),
         "The shoulder is marked at (-30.0, 5.0), outside the picture of 600 x 300 pixels; mark it inside."),
        (lambda b: b.set_marks(Marks(roots=((10.0, 10.0), (20.0, 10.0)))),
         "A key of Harbourside 5 has 5 cuts; the marks have 2. Mark every root, bow to tip, or choose another table."),
        (lambda b: b.move_mark("keyhole", (1.0, 1.0)),
         "There is no mark called 'keyhole'; marks are shoulder, tip, back.0, root.0 and so on."),
        (lambda b: b.hold(5, "1"), "A key of Harbourside 5 has 5 cuts; there is no cut 6."),
        (lambda b: b.hold(0, "9"), "Depth '9' is not in table Harbourside 5 (0, 1, 2, 3, 4, 5, 6)."),
        (lambda b: b.set_reference("coin"), "A size reference is one of auto, card, a4, dpi, none; got 'coin'."),
        (lambda b: b.show_picture(3), "The job has 1 pictures; there is no picture 4."),
        (lambda b: b.set_spec("harborside-5"),
         'There is no depth table called harborside-5; did you mean "harbourside-5"?'),
    ],
)  # fmt: skip
def test_bad_changes_are_refused_in_one_sentence(bench: Bench, change: object, sentence: str) -> None:
    """Each says which thing, which rule, which value; and the state stays."""
    before = bench.state
    with pytest.raises(Refusal) as refused:
        change(bench)  # type: ignore[operator]

    assert refused.value.sentence == sentence
    assert bench.state is before


def test_the_last_depth_of_a_cut_cannot_be_ruled_out(bench: Bench) -> None:
    """Some depth must be left."""
    for label in SPEC.labels[:-1]:
        bench.rule_out(2, label)
    with pytest.raises(Refusal) as refused:
        bench.rule_out(2, SPEC.labels[-1])

    assert refused.value.sentence == "Cut 3 must keep one depth; 6 is the last one that is not ruled out."


def test_another_table_forgets_the_first_ones_holds(bench: Bench) -> None:
    """Holds speak of a table's depths; an undo brings table and holds back together."""
    bench.hold(0, "3")
    bench.set_spec("slipway-7")
    assert bench.state.held == () and bench.decoding is None
    bench.undo()

    assert bench.state.held == ((0, "3"),) and bench.decoding is not None


def test_several_pictures_give_one_code(bench: Bench, reader: Reader) -> None:
    """A second picture of the key is read alone and decoded with the first."""
    one = bench.decoding
    bench.open_picture(png(180), name="copy.png")
    do_work(bench)

    assert reader.calls == 2
    assert [picture.file for picture in bench.state.pictures] == ["copy.png", "copy-2.png"]
    assert one is not None and bench.decoding is not None
    assert bench.decoding.codes[0].code == CODE
    bench.remove_picture(0)
    assert bench.is_current and bench.state.current == 0


def test_a_marked_reference_can_be_dragged_by_its_corners(bench: Bench) -> None:
    """A corner moves alone, and taking the reference away is one step."""
    bench.set_reference_mark(ReferenceMark(kind="length", corners=((10.0, 10.0), (110.0, 10.0)), length_mm=25.0))
    bench.move_mark("reference.1", (120.0, 10.0))
    mark = bench.state.pictures[0].reference_mark
    assert mark is not None and mark.corners == ((10.0, 10.0), (120.0, 10.0)) and mark.length_mm == 25.0
    bench.clear_mark("reference.0")

    assert bench.state.pictures[0].reference_mark is None


def test_steps_say_what_is_done_assumed_and_waits() -> None:
    """An empty job waits in every step, in the order of the work."""
    steps = Bench("T-2").steps()

    assert [step.name for step in steps] == [
        "entitlement", "table", "picture", "scale", "marks", "code", "cutting", "check",
    ]  # fmt: skip
    assert {step.standing for step in steps} == {"waits"}


def test_steps_follow_the_work(bench: Bench) -> None:
    """Marks of the program are assumed until a person accepts them; an entitlement is done when it is whole."""
    standing = {step.name: step.standing for step in bench.steps()}
    assert standing["table"] == standing["picture"] == "done"
    assert standing["marks"] == "assumed" and standing["entitlement"] == "waits"
    bench.accept_marks()
    bench.set_entitlement(
        asked_by="Orla Fenwright", proof_seen="passport", seen_by="T. Quill", seen_on=datetime(2026, 3, 4, tzinfo=UTC)
    )
    standing = {step.name: step.standing for step in bench.steps()}

    assert standing["marks"] == "done" and standing["entitlement"] == "done"


def test_the_picture_file_is_never_written(bench: Bench, tmp_path: Path) -> None:
    """Opening, marking and saving leave the customer's file as it was."""
    path = tmp_path / "photo.png"
    path.write_bytes(png(150))
    path.chmod(0o400)
    bench.open_picture(path)
    bench.move_mark("shoulder", (62.0, 150.0))
    bench.save(tmp_path / "job")

    assert path.read_bytes() == png(150)


def test_a_refused_snap_is_read_as_placed(bench: Bench) -> None:
    """Refusing the snap makes the reader take the mark where the hand put it; it can be allowed again, and undone."""
    bench.move_mark("root.2", (220.0, 120.0))
    bench.refuse_snap("root.2")
    work = bench.work()
    assert work is not None and work.key.reads[0].fixed == {"root.2"}
    assert bench.undo_words == "read the root of cut 3 as placed"

    bench.refuse_snap("root.2", False)
    work = bench.work()
    assert work is not None and not work.key.reads[0].fixed
    bench.undo()
    bench.clear_mark("root.2")
    picture = bench.state.picture
    assert picture is not None and not picture.as_placed


def test_a_line_is_read_as_placed_with_both_its_ends(bench: Bench) -> None:
    """Back, centreline and blade height can be kept too; their two ends go together, both ways."""
    bench.move_mark("back.0", (70.0, 200.0))
    bench.refuse_snap("back.0")
    work = bench.work()
    assert work is not None and work.key.reads[0].fixed == {"back.0", "back.1"}
    assert bench.undo_words == "read the back as placed"

    bench.refuse_snap("back.1", False)
    work = bench.work()
    assert work is not None and not work.key.reads[0].fixed


def test_only_what_a_hand_placed_can_be_read_as_placed(bench: Bench) -> None:
    """The program's own mark has no snap to refuse, and neither has a size reference."""
    with pytest.raises(Refusal) as own:
        bench.refuse_snap("tip")
    with pytest.raises(Refusal) as reference:
        bench.refuse_snap("reference.0")

    assert (own.value.code, reference.value.code) == ("mark.not-by-hand", "mark.not-snapped")


def test_all_cuts_move_by_one_spacing_in_one_step(bench: Bench) -> None:
    """Each cut goes where its neighbour was marked; the last goes on by the table's own gap; undo brings all back."""
    before = [at(bench, f"root.{index}") for index in range(5)]
    bench.shift_cuts(1)
    after = [at(bench, f"root.{index}") for index in range(5)]
    gap_px = PX_PER_MM * (SPEC.cut_positions_mm[4] - SPEC.cut_positions_mm[3])

    assert after[:4] == before[1:]
    assert after[4][0] == pytest.approx(before[4][0] + gap_px, abs=1e-6)
    assert bench.undo_words == "move all cuts 1 towards the tip"
    bench.undo()
    assert [at(bench, f"root.{index}") for index in range(5)] == before


def test_several_keys_of_a_page_become_several_jobs(bench: Bench, tmp_path: Path) -> None:
    """Each further key gets a job with the picture and the table, and none of them this job's entitlement."""
    bench.set_entitlement(asked_by="Orla Fenwright")
    others = bench.jobs_for_keys(3)

    assert [job.state.picture.key for job in others if job.state.picture is not None] == [1, 2]
    assert len({bench.state.number, *(job.state.number for job in others)}) == 3
    for job in others:
        assert job.state.spec == bench.state.spec and job.state.entitlement.asked_by == ""
        folder = job.save(tmp_path / job.state.number)
        again = Bench.open_job(folder).state.picture
        assert again is not None and again.key == (job.state.picture.key if job.state.picture else -1)
        job.close()


def test_what_the_picture_is_can_be_said(bench: Bench, tmp_path: Path) -> None:
    """It is another reading, one step to undo, kept with the job; what no picture is, is refused."""
    before = bench.work()
    bench.set_medium("photo-copy")
    work = bench.work()
    assert work is not None and work.key.reads[0].medium == "photo-copy" and (before is None or before.key != work.key)
    assert bench.undo_words == "say what the picture is"
    with pytest.raises(Refusal, match="A picture is one of scan, photocopy, photo-card, photo-copy; got 'film'"):
        bench.set_medium("film")  # type: ignore[arg-type]
    bench.save(tmp_path / "job")
    bench.close()
    again = Bench.open_job(tmp_path / "job")
    assert again.state.picture is not None and again.state.picture.medium == "photo-copy"
    again.close()
