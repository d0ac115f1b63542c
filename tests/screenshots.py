"""Pictures of the real window for the README and the guide: ``python -m tests.screenshots`` remakes them.

The window is the real one, on the shipped demo job, in a folder of its own.  Without a display it is drawn off screen.
"""

from __future__ import annotations

import argparse
import os
import sys
import tempfile
import time
from collections.abc import Callable
from pathlib import Path

ROOT = Path(__file__).resolve().parent.parent
SIZE = (1280, 800)
LONGEST_S = 120.0


def main() -> int:
    """Draw the window and store it."""
    parser = argparse.ArgumentParser(prog="python -m tests.screenshots", description=__doc__)
    parser.add_argument("--out", type=Path, default=ROOT / "assets", help="folder to write to")
    call = parser.parse_args()
    if not os.environ.get("DISPLAY"):
        os.environ.setdefault("QT_QPA_PLATFORM", "offscreen")
    with tempfile.TemporaryDirectory() as home:
        os.environ["VALLEYGAUGE_HOME"] = home
        os.environ["XDG_CONFIG_HOME"] = home
        draw(call.out)
    return 0


def draw(folder: Path) -> None:
    """Open the demo job, wait for its code, and store what the window shows: whole, and close to a cut in the dark."""
    from app.window import theme
    from app.window.start import make_application, make_window

    folder.mkdir(parents=True, exist_ok=True)
    application = make_application()
    application.setStyle("Fusion")
    theme.apply(application, theme.LIGHT)
    window = make_window()
    window.set_colours(theme.LIGHT)
    window.resize(*SIZE)
    window.show()
    session = window.session

    def settle(until: Callable[[], bool]) -> None:
        end = time.monotonic() + LONGEST_S
        while not until():
            if time.monotonic() > end:
                raise SystemExit("the demo job was not read in time")
            application.processEvents()
            time.sleep(0.01)

    window.door.open_demo()
    settle(lambda: session.bench.is_current and bool(session.strip) and session.layers() is not None)
    session.save_now()
    window.sheet.view.setFocus()
    window.sheet.view.choose("root.2")
    for _ in range(5):
        application.processEvents()
    window.grab().save(str(folder / "window.png"))
    theme.apply(application, theme.DARK)
    window.set_colours(theme.DARK)
    x, y = next(mark.xy for mark in session.bench.marks() if mark.name == "root.0")
    session.act(lambda: session.bench.move_mark("root.0", (x + 9, y - 9)))
    settle(lambda: session.bench.is_current and not session.worker.busy() and session.bench.settling() is None)
    window.sheet.view.choose("root.0")
    window.sheet.view.to_cut()
    window.side.code.rivals[0][0].click()
    window.show_step("cutting")
    settle(lambda: session.trial_plan is not None)
    for _ in range(5):
        application.processEvents()
    window.grab().save(str(folder / "window-close.png"))
    window.close()


if __name__ == "__main__":
    sys.exit(main())
