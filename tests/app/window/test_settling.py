"""In the window a mark that moves is read at once, and read whole when the hand rests."""

from __future__ import annotations

from pathlib import Path

from pytestqt.qtbot import QtBot

from app.bench import Bench
from app.window.session import Session
from keycore.spec import load_spec

DEMO = Path(__file__).parents[3] / "assets" / "demo-photocopy.jpg"


def test_a_moved_mark_is_read_at_once_and_settled_when_the_hand_rests(qtbot: QtBot) -> None:
    """The picture is never shown as being read again; in the end nothing is left to settle."""
    bench = Bench("T-1")
    bench.set_spec(load_spec("harbourside-5"))
    bench.open_picture(DEMO)
    work = bench.work()
    assert work is not None and bench.take(work.run())
    session = Session(bench)
    told: list[bool] = []
    session.changed.connect(lambda: told.append(session.reading_pictures))
    try:
        x, y = {point.name: point.xy for point in bench.marks()}["root.1"]
        assert session.act(lambda: bench.move_mark("root.1", (x + 2.0, y)))
        qtbot.waitUntil(lambda: bench.is_current, timeout=10_000)
        assert bench.settling() is not None and not session.reading_now
        qtbot.waitUntil(lambda: bench.settling() is None and not session.worker.busy(), timeout=20_000)
        assert bench.is_current and not any(told)
    finally:
        session.close()
