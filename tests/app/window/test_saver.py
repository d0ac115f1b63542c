"""Saving beside the window: nothing waits for a disk or a passphrase, nothing is lost, closing says what it does."""

from __future__ import annotations

import threading
import time
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest
from PySide6.QtCore import Qt
from pytestqt.qtbot import QtBot

from app import bench_record
from app.bench import Bench
from app.bench_sealed import SealedPlace
from app.folders import jobs_folder
from app.window.main_window import MainWindow
from app.window.saver import Saver
from app.window.session import SAVE_WITHIN_S
from keycore.refusal import Refusal
from tests.app.made import quick_age
from tests.app.test_bench_keep import SEEN

WORDS = "heron lantern gravel spoon"


@pytest.fixture
def saver(qtbot: QtBot) -> Iterator[Saver]:
    """A saver whose thread ends with the test."""
    made = Saver()
    yield made
    made.close()


class Slow:
    """A save that waits until it is let through; knows on which threads it ran."""

    def __init__(self, real: Callable[..., object]) -> None:
        self.real, self.through, self.threads = real, threading.Event(), list[str]()

    def __call__(self, *given: object, **named: object) -> object:
        self.threads.append(threading.current_thread().name)
        assert self.through.wait(20)
        return self.real(*given, **named)


@pytest.fixture
def slow(monkeypatch: pytest.MonkeyPatch) -> Iterator[Slow]:
    """A disk that hangs."""
    made = Slow(bench_record.save)
    monkeypatch.setattr("app.bench_record.save", made)
    yield made
    made.through.set()


def test_everything_is_done_in_its_order_and_told_on_the_windows_thread(saver: Saver, qtbot: QtBot) -> None:
    """Three pieces of unequal length, one of which fails."""
    told: list[object] = []

    def fails() -> None:
        raise ValueError("x")

    saver.do(lambda: time.sleep(0.02) or 1, told.append, told.append)
    saver.do(fails, told.append, lambda error: told.append(type(error)))
    saver.do(lambda: threading.current_thread().name, told.append, told.append)
    qtbot.waitUntil(lambda: not saver.busy)

    assert told[:2] == [1, ValueError] and str(told[2]).startswith("saver")


def test_finishing_waits_no_longer_than_it_is_told(saver: Saver) -> None:
    """A piece that hangs is left for later; what was finished is told at once, without the event loop."""
    gate, told = threading.Event(), []
    saver.do(lambda: 1, told.append, told.append)
    saver.do(gate.wait, told.append, told.append)

    assert not saver.finish(0.05) and told == [1]
    gate.set()
    assert saver.finish() and told == [1, True]


def test_the_window_lives_while_a_save_hangs(window: MainWindow, qtbot: QtBot, slow: Slow) -> None:
    """Changes go on, the header says that it is saving, and what came meanwhile is saved after it."""
    session = window.session
    session.act(lambda: session.bench.set_notes("one"))
    session.save()
    session.act(lambda: session.bench.set_notes("two"))
    session.save()

    assert session.bench.state.notes == "two" and window.header.saved.text() == "saving…"
    assert session.saver.busy and session.bench.dirty
    slow.through.set()
    qtbot.waitUntil(lambda: not session.saver.busy and not session.bench.dirty)
    assert all(name.startswith("saver") for name in slow.threads)
    assert window.header.saved.text().startswith("saved ")
    assert Bench.open_job(jobs_folder() / "T-1", reading_only=True).state.notes == "two"


def test_a_hand_that_never_rests_is_saved_all_the_same(window: MainWindow, qtbot: QtBot) -> None:
    """Changes that follow each other put the save off, but not for ever."""
    session, saves = window.session, list[int]()
    session.save_now()
    session.saved.connect(lambda: saves.append(1))
    end, count = time.monotonic() + SAVE_WITHIN_S + 1.0, 0
    while time.monotonic() < end and not saves:
        count += 1
        session.act(lambda: session.bench.set_notes(str(count)))  # noqa: B023
        qtbot.wait(50)

    assert saves and count > 1000 * SAVE_WITHIN_S / 50 / 3


def test_one_change_is_saved_once(window: MainWindow, qtbot: QtBot, slow: Slow) -> None:
    """Asking again while the same state is being saved adds nothing."""
    session = window.session
    slow.through.set()
    session.save_now()
    before = len(slow.threads)
    slow.through.clear()
    session.act(lambda: session.bench.set_notes("one"))
    for _ in range(3):
        session.save()
    slow.through.set()
    session.saver.finish()

    assert len(slow.threads) == before + 1


def test_a_window_whose_save_hangs_closes_once_it_is_through(window: MainWindow, qtbot: QtBot, slow: Slow) -> None:
    """It stays, says what it waits for, takes no more changes, and then closes by itself."""
    session = window.session
    session.act(lambda: session.bench.set_notes("last words"))
    window.close()
    assert window.isVisible() and window.leaving.isVisible() and not window.centralWidget().isEnabled()
    assert window.leaving.label.text() == "Saving the job. The window closes as soon as that is done."
    assert not session.act(lambda: session.bench.set_notes("too late"))
    slow.through.set()
    qtbot.waitUntil(lambda: window.closed and not window.isVisible())

    assert Bench.open_job(jobs_folder() / "T-1", reading_only=True).state.notes == "last words"


def test_a_job_is_sealed_whole_beside_the_window(
    window: MainWindow, qtbot: QtBot, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Closing a sealed job shows that it is being sealed, and the event loop goes on meanwhile."""
    library = quick_age()
    monkeypatch.setattr("app.sealing._pyrage", lambda: library)
    file = jobs_folder() / "7.job.age"
    session = window.session
    window.keeper.seal_into(file, WORDS)
    qtbot.waitUntil(lambda: session.bench.sealed is not None)
    session.act(lambda: session.bench.set_notes("by the blue door"))
    session.save_now()
    seal = Slow(SealedPlace._seal)
    monkeypatch.setattr(SealedPlace, "_seal", lambda place, *given: seal(place, *given))
    qtbot.keyClick(window, Qt.Key.Key_Q, Qt.KeyboardModifier.ControlModifier)
    qtbot.waitUntil(lambda: window.leaving.isVisible())
    assert window.leaving.label.text().startswith("Sealing the job.")
    seal.through.set()
    qtbot.waitUntil(lambda: window.closed)

    assert [path.name for path in jobs_folder().iterdir()] == [file.name]


def test_sealing_shows_that_it_is_under_way(window: MainWindow, qtbot: QtBot, monkeypatch: pytest.MonkeyPatch) -> None:
    """A second or two of a passphrase are seen, and cannot be stopped half-way."""
    library = quick_age()
    monkeypatch.setattr("app.sealing._pyrage", lambda: library)
    seal = Slow(SealedPlace._seal)
    monkeypatch.setattr(SealedPlace, "_seal", lambda place, *given: seal(place, *given))
    window.keeper.seal_into(jobs_folder() / "7.job.age", WORDS)
    qtbot.waitUntil(lambda: window.sheet.working.isVisible())
    assert window.sheet.working.label.text() == "Sealing the job" and not window.sheet.working.cancel.isVisible()
    seal.through.set()
    qtbot.waitUntil(lambda: window.session.bench.sealed is not None and not window.sheet.working.isVisible())


def test_an_export_waits_for_the_save_before_it_and_the_window_for_neither(
    window: MainWindow, qtbot: QtBot, slow: Slow, tmp_path: Path
) -> None:
    """What is exported is the job as it was when it was asked for; the window goes on meanwhile."""
    session = window.session
    session.act(lambda: session.bench.set_entitlement(SEEN))
    session.act(lambda: session.bench.set_notes("as exported"))
    session.save()
    window.door.export_to(tmp_path / "out")
    assert window.status.text().startswith("Exporting to ") and not (tmp_path / "out").exists()
    session.act(lambda: session.bench.set_notes("later"))
    slow.through.set()
    qtbot.waitUntil(lambda: window.status.text().startswith("Exported to "))

    assert Bench.open_job(tmp_path / "out", reading_only=True).state.notes == "as exported"
    assert session.bench.state.notes == "later" and session.bench.folder == jobs_folder() / "T-1"


def test_a_job_that_cannot_be_saved_stays_once(
    window: MainWindow, qtbot: QtBot, monkeypatch: pytest.MonkeyPatch, allow_log: Callable[[str], None]
) -> None:
    """Closing says why it is not saved and what to do; another job does not take its place; the second time it goes."""
    allow_log("could not be saved")

    def full(*_given: object) -> None:
        raise Refusal("The disk is full.", code="job.cannot-save")

    monkeypatch.setattr("app.bench_record.save", full)
    session = window.session
    session.act(lambda: session.bench.set_notes("not yet safe"))
    window.close()
    assert window.isVisible() and window.centralWidget().isEnabled()
    assert window.sheet.notice.text.text() == (
        "The disk is full. Do the same once more to leave the job without saving it."
    )
    session.act(lambda: session.bench.set_notes("changed again"))
    window.new_job()
    assert session.bench.state.notes == "changed again"
    window.new_job()
    qtbot.waitUntil(lambda: session.bench.state.notes == "")

    window.close()
    assert window.closed


def test_the_job_on_the_bench_opens_again_as_it_was_last(window: MainWindow, qtbot: QtBot, slow: Slow) -> None:
    """Opening its own folder waits for the save under way, and shows what was in it."""
    session = window.session
    slow.through.set()
    session.save_now()
    folder = session.bench.folder
    assert folder == Path(jobs_folder() / "T-1")
    slow.through.clear()
    session.act(lambda: session.bench.set_notes("the latest"))
    old = session.bench
    session.open(folder)
    slow.through.set()
    qtbot.waitUntil(lambda: session.bench is not old)

    assert session.bench.state.notes == "the latest" and session.bench.problems == ()
