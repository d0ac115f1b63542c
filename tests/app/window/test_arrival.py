"""The frame first, then the bench: what a person sees while the rest is on its way."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

import pytest
from pytestqt.qtbot import QtBot

from app.window.arrival import Arrival
from app.window.main_window import MainWindow
from tests.app.made import png

LIGHT_FRAME = """
import sys
from app.window.start import make_application
application = make_application()
import app.window.arrival
print(*(name for name in ("numpy", "pydantic", "scipy", "cv2", "app.bench") if name in sys.modules))
"""


def test_the_frame_needs_nothing_but_qt(checkout: Path) -> None:
    """Until the frame is painted no numpy, pydantic, scipy or OpenCV is loaded."""
    done = subprocess.run(
        [sys.executable, "-c", LIGHT_FRAME], cwd=checkout, capture_output=True, text=True, check=True, timeout=60
    )

    assert done.stdout.strip() == ""


def test_the_bench_comes_into_the_painted_frame(qtbot: QtBot, tmp_path: Path) -> None:
    """The frame says what to do and takes clicks; the bench follows, with the picture that was asked for."""
    file = tmp_path / "copy.png"
    file.write_bytes(png())
    window = MainWindow(at_once=False)
    qtbot.addWidget(window)
    arrival = Arrival(window, file)
    window.show()

    assert not window.filled and window.empty.open.isEnabled() and window.empty.isVisible()
    assert not window.actions_by_name["save"].isEnabled()
    qtbot.waitUntil(lambda: window.filled, timeout=20_000)
    qtbot.waitUntil(lambda: window.session.bench.state.picture is not None, timeout=20_000)
    assert window.actions_by_name["save"].isEnabled() and window.sheet.isVisible()
    window.close()
    arrival.end()


def test_a_window_closed_early_stays_empty(qtbot: QtBot) -> None:
    """Closing the frame before the bench is there leaves no bench and no thread behind."""
    window = MainWindow(at_once=False)
    qtbot.addWidget(window)
    arrival = Arrival(window)
    window.show()
    window.close()
    arrival.end()
    qtbot.wait(50)

    assert not window.filled


def test_a_click_on_the_frame_is_not_lost(qtbot: QtBot, monkeypatch: pytest.MonkeyPatch) -> None:
    """What is asked before the bench is there is done as soon as it is."""
    opened: list[bool] = []
    monkeypatch.setattr("app.window.doorway.Doorway.open_demo", lambda _door: opened.append(True))
    window = MainWindow(at_once=False)
    qtbot.addWidget(window)
    arrival = Arrival(window)
    window.show()
    window.empty.demo.click()
    assert opened == []
    qtbot.waitUntil(lambda: window.filled, timeout=20_000)
    window.close()
    arrival.end()

    assert opened == [True]
