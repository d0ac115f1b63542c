"""How long the window takes for one frame: pans, zooms, drags and slides on a 600-dpi A4 page.

``python -m tests.bench.window_frames`` prints, for each, the median and the 95th percentile of event plus repaint in
milliseconds (60 frames a second leave 16.7), and how long the window takes to its first paint beside a bare window that
imports OpenCV.  Drawn off screen.  The page is a real PNG file of 35 million pixels, opened as any other and saved with
every change; only its reading is made up, for there is no key on it.
"""

from __future__ import annotations

import os
import statistics
import subprocess
import sys
import tempfile
import time
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import numpy as np

ROOT = Path(__file__).resolve().parents[2]
A4_600_DPI = (4960, 7016)
FRAMES = 120
RUNS = 8
BARE = """
import time; start = time.perf_counter(), time.process_time()
import cv2
from PySide6.QtWidgets import QApplication, QMainWindow
app = QApplication([])
window = QMainWindow()
window.resize(1280, 780)
"""
OURS = """
import time; start = time.perf_counter(), time.process_time()
from app.window.start import make_application
app = make_application()
from app.window.arrival import Arrival
from app.window.main_window import MainWindow
window = MainWindow(at_once=False)
arrival = Arrival(window)
"""
TO_WORK = """
while not window.filled:
    app.processEvents()
    time.sleep(0.001)
app.processEvents()
window.repaint()
print(time.perf_counter() - start[0], time.process_time() - start[1])
arrival.end()
window.close()
"""
TO_FIRST_PAINT = """
window.show()
app.processEvents()
window.repaint()
print(time.perf_counter() - start[0], time.process_time() - start[1])
"""
CLOSE = "window.close()"


def main() -> int:
    """Measure and print."""
    os.environ.setdefault("QT_QPA_PLATFORM", "offscreen")
    with tempfile.TemporaryDirectory() as home:
        os.environ["VALLEYGAUGE_HOME"] = os.environ["XDG_CONFIG_HOME"] = home
        bare = [times_of(BARE + TO_FIRST_PAINT + CLOSE)[0] for _ in range(RUNS)]
        ours = [times_of(OURS + TO_FIRST_PAINT + TO_WORK) for _ in range(RUNS)]
        for name, at in (("by the clock", 0), ("of the processor", 1)):
            there = min(times[at] for times in bare)
            paint, work = (min(times[stage][at] for times in ours) for stage in (0, 1))
            print(
                f"first paint, {name}: bare window with OpenCV {there:.2f} s, ours {paint:.2f} s "
                f"({paint / there:.2f}); ready for work after {work:.2f} s"
            )
        measure()
    return 0


def times_of(code: str) -> list[tuple[float, float]]:
    """Seconds, by the clock and of the processor, from the first import to each stage, in a process of its own."""
    done = subprocess.run([sys.executable, "-c", code], cwd=ROOT, capture_output=True, text=True, check=True)
    return [(float(line.split()[0]), float(line.split()[1])) for line in done.stdout.splitlines()]


def measure() -> None:
    """Frames of the real window on a page as large as scanners make them."""
    from PySide6.QtCore import QPoint, Qt
    from PySide6.QtTest import QTest

    from app.bench import Bench
    from app.picture import read
    from app.picture.opencv import cv2
    from app.picture.values import Picture, PictureReading, Straight
    from app.window.start import make_application, make_window
    from keycore.spec import load_spec
    from tests.app.made import made_reading

    width, height = A4_600_DPI
    grey = np.random.default_rng(1).integers(0, 255, (height, width), dtype=np.uint8)
    page = bytes(cv2.imencode(".png", grey)[1])
    table = load_spec("harbourside-5")
    turned = np.array([[0.98, -0.17, 1500.0], [0.17, 0.98, 2500.0], [0.0, 0.0, 1.0]])

    def stand_in(shown: Picture, spec: object, marks: object = None, **_other: object) -> PictureReading:
        made = made_reading(table)
        at = {name: value for name, value in made.marks if value is not None}
        straight = Straight(turned, (600, 300))
        for name in ("shoulder", "tip"):
            at[name] = tuple(straight.picture_xy(np.array(at[name])))
        for name in ("back", "roots"):
            at[name] = tuple(tuple(straight.picture_xy(np.array(xy))) for xy in at[name])
        return replace(made, straight=straight, marks=type(made.marks)(**at))

    read.read_picture = stand_in  # type: ignore[assignment]
    application = make_application()
    bench = Bench("frames")
    bench.set_spec(table)
    bench.open_picture(page, name="page.png")
    window = make_window()
    window.session.replace_bench(bench)
    window.resize(1280, 780)
    window.show()
    session = window.session
    end = time.monotonic() + 120
    while not (session.bench.is_current and session.strip and session.layers()) and time.monotonic() < end:
        application.processEvents()
        time.sleep(0.01)
    session.save_now()
    saved = 0

    def count() -> None:
        nonlocal saved
        saved += 1

    session.saved.connect(count)
    view, strip, ladder = window.sheet.view, window.sheet.strip, window.sheet.ladder

    def frames(name: str, step: Callable[[int], object]) -> None:
        wall, work = [], []
        for index in range(FRAMES):
            begun, worked = time.perf_counter(), time.thread_time()
            step(index)
            application.processEvents()
            wall.append(1000 * (time.perf_counter() - begun))
            work.append(1000 * (time.thread_time() - worked))
        late, busy = sorted(wall)[int(0.95 * FRAMES)], sorted(work)[int(0.95 * FRAMES)]
        print(
            f"{name:32} median {statistics.median(wall):6.1f} ms, 95th percentile {late:6.1f} ms "
            f"(of the processor {statistics.median(work):5.1f} and {busy:5.1f})"
        )

    def panned(index: int) -> None:
        view._move_quickly()
        view.pan(3 if index % 40 < 20 else -3, 1)

    def zoomed(index: int) -> None:
        view._move_quickly()
        view.zoom(1.1 if index % 20 < 10 else 1 / 1.1, (400.0, 150.0))

    view.fit()
    frames("pan, whole page", panned)
    view.fit_blade()
    frames("pan, blade", panned)
    frames("zoom, blade", zoomed)
    view.one_to_one()
    frames("pan, one to one", panned)
    view.fit_blade()
    x, y = view.view.view_of_picture(np.array(view._marks["root.2"].xy))
    start = QPoint(round(float(x)), round(float(y)))
    QTest.mousePress(view, Qt.MouseButton.LeftButton, pos=start)
    frames("drag a mark, with the loupe", lambda index: QTest.mouseMove(view, start + QPoint(index % 30, index % 17)))
    QTest.keyClick(view, Qt.Key.Key_Escape)
    scale = strip.scale_now()
    frames("slide the growth", lambda index: strip.slid.emit(scale.growth_mm(200 + 3 * index)))
    window.sheet.set_growth(None)
    frames("hover the ladder", lambda index: QTest.mouseMove(ladder, QPoint(100 + 5 * index, 60 + index)))
    answers = ("held", "free", "ruled out", "free")

    def answered(index: int) -> None:
        window.sheet._rung_asked(index % 5, str(index % 7), answers[index // 5 % 4])

    frames("hold or rule out a depth", answered)
    marks = ("root.1", "root.2")

    def nudged(index: int) -> None:
        view.choose(marks[index // 10 % 2])
        QTest.keyClick(view, Qt.Key.Key_Right if index % 2 else Qt.Key.Key_Left)

    frames("nudge a mark", nudged)
    begun = time.perf_counter()
    session.save_now()
    if session.bench.save_error:
        raise SystemExit(session.bench.save_error)
    print(f"saved {saved} times beside these; the last save took {1000 * (time.perf_counter() - begun):.0f} ms")
    window.close()


if __name__ == "__main__":
    sys.exit(main())
