"""A mark that moves a little is read from the kept fit at once, and settled by a whole reading when the hand rests."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest

from app.bench import Bench
from app.bench_work import same_readings
from keycore.spec import load_spec

DEMO = Path(__file__).parents[2] / "assets" / "demo-photocopy.jpg"
FAR_PX = 60.0
"""More than a hand's error on the demo picture, and less than its key."""


@pytest.fixture(scope="module")
def read_once() -> Bench:
    bench = Bench("T-1")
    bench.set_spec(load_spec("harbourside-5"))
    bench.open_picture(DEMO)
    work = bench.work()
    assert work is not None and not work.quick
    assert bench.take(work.run())
    return bench


@pytest.fixture
def bench(read_once: Bench) -> Bench:
    """The job as it was first read."""
    while read_once.undo_words.startswith(("move", "take", "refuse")):
        read_once.undo()
    return read_once


def _move(bench: Bench, name: str, by: float) -> None:
    x, y = {point.name: point.xy for point in bench.marks()}[name]
    bench.move_mark(name, (x + by, y + by))


def _take(bench: Bench) -> bool:
    work = bench.work()
    assert work is not None and work.quick
    return bench.take(work.run())


def test_a_mark_moved_a_little_is_read_at_once_and_settled_later(bench: Bench) -> None:
    """The quick answer stands until the whole one takes its place; then nothing is left to do."""
    before = bench.decoding
    _move(bench, "root.1", 2.0)
    assert _take(bench) and bench.is_current and bench.work() is None
    quick = bench.decoding
    assert before is not None and quick is not None and quick.code == before.code

    settling = bench.settling()
    assert settling is not None and settling.to_read and not settling.kept
    assert bench.take(settling.run())
    whole = bench.decoding
    assert whole is not None and whole.code == quick.code and whole is not quick
    assert bench.is_current and bench.work() is None and bench.settling() is None


def test_the_reader_is_told_which_marks_of_a_row_a_hand_set(bench: Bench) -> None:
    """The row is whole, since a hand touched it; the marks that the program filled in are not taken for clicks."""
    _move(bench, "root.1", 2.5)
    work = bench.work()
    assert work is not None
    (read,) = work.key.reads

    assert read.marks is not None and len(read.marks.roots_by_edge()[0]) == 5
    assert read.by_hand == {"root.1"}


def test_a_mark_that_is_refined_needs_no_new_decoder(bench: Bench) -> None:
    """The readings are the same to the last bit, so the last decoder serves."""
    _move(bench, "root.2", 1.5)
    assert _take(bench)
    first = bench.decoding_of(10)
    _move(bench, "root.2", 0.5)
    assert _take(bench)
    assert bench.decoding_of(10) is first


def test_a_kept_root_is_decoded_anew(bench: Bench) -> None:
    """Taken as it stands it is another reading, and the code's probability follows."""
    _move(bench, "root.2", 3.0)
    assert _take(bench)
    refined = bench.decoding
    bench.refuse_snap("root.2")
    assert _take(bench)
    assert refined is not None and bench.decoding is not None and bench.decoding.cuts[2] != refined.cuts[2]


def test_settling_that_the_hand_has_overtaken_is_dropped(bench: Bench) -> None:
    """A whole reading of where the mark was is not taken for where it is now."""
    _move(bench, "tip", 2.0)
    assert _take(bench)
    late = bench.settling()
    _move(bench, "tip", 2.0)
    assert late is not None and not bench.take(late.run())
    assert _take(bench) and bench.settling() is not None


def test_a_mark_moved_far_is_read_whole(bench: Bench) -> None:
    """It may say that the fit is wrong."""
    _move(bench, "shoulder", FAR_PX)
    work = bench.work()
    assert work is not None and not work.quick


def test_readings_are_told_apart_by_their_curves(bench: Bench) -> None:
    """Same numbers with another curve are another reading."""
    reading = bench.reading
    assert reading is not None
    assert same_readings(reading.readings, reading.readings)
    cuts = list(reading.readings.cuts)
    cuts[0], cuts[1] = cuts[1], cuts[0]
    assert not same_readings(reading.readings, replace(reading.readings, cuts=tuple(cuts)))
