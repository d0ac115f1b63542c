"""Work off the window's thread."""

from __future__ import annotations

import threading
from collections.abc import Iterator
from typing import Any

import pytest
from pytestqt.qtbot import QtBot

from app.window.worker import Worker


@pytest.fixture
def worker(qtbot: QtBot) -> Iterator[Worker]:
    """A worker that is closed."""
    made = Worker()
    yield made
    made.close()


def test_work_runs_elsewhere_and_answers_here(worker: Worker, qtbot: QtBot) -> None:
    """The function runs on another thread, its answer comes back on this one."""
    got: list[tuple[Any, threading.Thread]] = []
    worker.start(
        "read",
        lambda progress, cancelled: threading.current_thread(),
        lambda value: got.append((value, threading.current_thread())),
        pytest.fail,
    )
    qtbot.waitUntil(lambda: bool(got))

    assert got[0][0] is not threading.main_thread() and got[0][1] is threading.main_thread()
    assert not worker.busy()


def test_a_stale_answer_is_dropped(worker: Worker, qtbot: QtBot) -> None:
    """Newer work of the same kind makes the older one's answer stay away, and tells it to stop."""
    gate, stopped, got = threading.Event(), threading.Event(), []

    def slow(progress: Any, cancelled: Any) -> str:
        gate.wait(5)
        if cancelled():
            stopped.set()
        return "old"

    worker.start("read", slow, got.append, pytest.fail)
    worker.start("read", lambda progress, cancelled: "new", got.append, pytest.fail)
    qtbot.waitUntil(lambda: got == ["new"])
    gate.set()
    qtbot.waitUntil(stopped.is_set)
    qtbot.wait(30)

    assert got == ["new"]


def test_progress_is_heard_until_it_is_stopped(worker: Worker, qtbot: QtBot) -> None:
    """Progress arrives; after a cancel nothing more does."""
    heard: list[tuple[str, float, str]] = []
    worker.progressed.connect(lambda *what: heard.append(what))
    gate, got = threading.Event(), []

    def job(progress: Any, cancelled: Any) -> None:
        progress(0.4, "looking")
        gate.wait(5)
        progress(0.9, "decoding")

    worker.start("read", job, got.append, pytest.fail)
    qtbot.waitUntil(lambda: heard == [("read", 0.4, "looking")])
    worker.cancel("read")
    gate.set()
    qtbot.wait(50)

    assert len(heard) == 1 and got == [] and not worker.busy("read")


def test_a_fault_is_delivered(worker: Worker, qtbot: QtBot) -> None:
    """What goes wrong on the thread reaches the window."""
    errors: list[BaseException] = []

    def job(progress: Any, cancelled: Any) -> None:
        raise ValueError("no")

    worker.start("read", job, pytest.fail, errors.append)
    qtbot.waitUntil(lambda: bool(errors))

    assert str(errors[0]) == "no"


def test_nothing_comes_after_closing(qtbot: QtBot) -> None:
    """Closing waits for the threads and lets nothing through, not even what had already been sent."""
    worker = Worker()
    got: list[int] = []
    worker.start("read", lambda progress, cancelled: 1, got.append, pytest.fail)
    worker.close()
    qtbot.wait(30)
    worker.start("read", lambda progress, cancelled: 2, got.append, pytest.fail)

    assert got == [] and not worker.busy()
