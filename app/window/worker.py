"""Work off the window's thread: one pool, one signal back, stale answers dropped.

A piece of work is a plain function that takes ``progress(share, words)`` and ``cancelled()``.  A new piece of the same
kind makes the older one stale: it is told to stop, and whatever it still answers is not delivered.
"""

from __future__ import annotations

import threading
from collections.abc import Callable
from concurrent.futures import Future, ThreadPoolExecutor, wait
from dataclasses import dataclass
from typing import Any

from PySide6.QtCore import QObject, Qt, Signal

Progress = Callable[[float, str], None]
Cancelled = Callable[[], bool]
Job = Callable[[Progress, Cancelled], Any]


@dataclass(frozen=True)
class _Message:
    kind: str
    ticket: int
    what: str
    value: Any


@dataclass
class _Running:
    ticket: int
    stop: threading.Event
    done: Callable[[Any], None]
    failed: Callable[[BaseException], None]


class Worker(QObject):
    """Runs pieces of work, at most one of a kind that still counts."""

    progressed = Signal(str, float, str)
    """(kind, share 0 to 1, words) of work that still counts."""
    changed = Signal()
    """Something began or ended."""
    _back = Signal(object)

    def __init__(self, parent: QObject | None = None) -> None:
        super().__init__(parent)
        self._pool = ThreadPoolExecutor(max_workers=2, thread_name_prefix="bench")
        self._running: dict[str, _Running] = {}
        self._futures: list[Future[None]] = []
        self._tickets = 0
        self._closed = False
        self._back.connect(self._take, Qt.ConnectionType.QueuedConnection)

    def start(self, kind: str, job: Job, done: Callable[[Any], None], failed: Callable[[BaseException], None]) -> None:
        """Do this work; ``done`` or ``failed`` is called on the window's thread unless newer work of its kind came."""
        if self._closed:
            return
        self.cancel(kind)
        self._tickets += 1
        running = _Running(self._tickets, threading.Event(), done, failed)
        self._running[kind] = running
        self._futures = [future for future in self._futures if not future.done()]
        self._futures.append(self._pool.submit(self._run, kind, running.ticket, running.stop, job))
        self.changed.emit()

    def busy(self, kind: str | None = None) -> bool:
        """Whether work (of a kind) is under way that still counts."""
        return bool(self._running) if kind is None else kind in self._running

    def cancel(self, kind: str) -> None:
        """Tell this work to stop; its answer no longer counts."""
        running = self._running.pop(kind, None)
        if running is not None:
            running.stop.set()
            self.changed.emit()

    def stop(self) -> Callable[[], None]:
        """Stop everything; gives a function that waits, on any thread, until the last piece has ended."""
        self._closed = True
        for kind in list(self._running):
            self._running.pop(kind).stop.set()
        futures = tuple(self._futures)
        for future in futures:
            future.cancel()

        def until_ended() -> None:
            wait(futures)

        return until_ended

    def close(self) -> None:
        """Stop everything and wait for the threads to end."""
        self.stop()
        self._pool.shutdown(wait=True, cancel_futures=True)

    def _run(self, kind: str, ticket: int, stop: threading.Event, job: Job) -> None:
        if stop.is_set():
            return

        def progress(share: float, words: str) -> None:
            if not stop.is_set():
                self._back.emit(_Message(kind, ticket, "progress", (share, words)))

        try:
            value = job(progress, stop.is_set)
        except BaseException as error:
            self._back.emit(_Message(kind, ticket, "failed", error))
        else:
            self._back.emit(_Message(kind, ticket, "done", value))

    def _take(self, message: _Message) -> None:
        running = self._running.get(message.kind)
        if self._closed or running is None or running.ticket != message.ticket:
            return
        if message.what == "progress":
            self.progressed.emit(message.kind, *message.value)
            return
        del self._running[message.kind]
        if message.what == "done":
            running.done(message.value)
        else:
            running.failed(message.value)
        self.changed.emit()
