"""Saving beside the window: one thread, one piece after the other, none dropped, none overtaken.

Unlike the :class:`~app.window.worker.Worker`, which drops what is stale, everything that is given here is done, in its
order.  Answers come back on the window's thread.
"""

from __future__ import annotations

import time
from collections import deque
from collections.abc import Callable
from concurrent.futures import Future, ThreadPoolExecutor, wait
from dataclasses import dataclass
from typing import Any

from PySide6.QtCore import QObject, Qt, Signal


@dataclass(frozen=True)
class _Piece:
    future: Future[Any]
    done: Callable[[Any], None]
    failed: Callable[[BaseException], None]


class Saver(QObject):
    """Does what it is given, in its order."""

    changed = Signal()
    """A piece began to wait, or was done."""
    _back = Signal()

    def __init__(self, parent: QObject | None = None) -> None:
        super().__init__(parent)
        self._pool = ThreadPoolExecutor(max_workers=1, thread_name_prefix="saver")
        self._pieces: deque[_Piece] = deque()
        self._back.connect(self._deliver, Qt.ConnectionType.QueuedConnection)

    def do(self, what: Callable[[], Any], done: Callable[[Any], None], failed: Callable[[BaseException], None]) -> None:
        """Do this after all that was given before; ``done`` or ``failed`` is called on the window's thread."""
        future = self._pool.submit(what)
        self._pieces.append(_Piece(future, done, failed))
        future.add_done_callback(lambda _future: self._back.emit())
        self.changed.emit()

    @property
    def busy(self) -> bool:
        """Whether something is still to be done or told."""
        return bool(self._pieces)

    @property
    def waits_for(self) -> tuple[Future[Any], ...]:
        """What is under way, for another thread to wait for."""
        return tuple(piece.future for piece in self._pieces)

    def finish(self, within_s: float | None = None) -> bool:
        """Wait until all is done and told, at most so long; whether it is."""
        end = None if within_s is None else time.monotonic() + within_s
        while self._pieces:
            left = None if end is None else max(0.0, end - time.monotonic())
            if not wait([self._pieces[0].future], left).done:
                return False
            self._deliver()
        return True

    def close(self) -> None:
        """Finish, and end the thread."""
        self.finish()
        self._pool.shutdown(wait=True)

    def _deliver(self) -> None:
        while self._pieces and self._pieces[0].future.done():
            piece = self._pieces.popleft()
            error = piece.future.exception()
            if error is None:
                piece.done(piece.future.result())
            else:
                piece.failed(error)
            self.changed.emit()
