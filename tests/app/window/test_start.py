"""Starting: the right Qt plug-ins with opencv-python beside, and the real window on a real X display."""

from __future__ import annotations

import os
import shutil
import subprocess
import sys
from pathlib import Path

import pytest

from app.window.start import clean_environment

SHOW = """
import os, sys, time
os.environ["QT_QPA_PLATFORM_PLUGIN_PATH"] = "{plugins}"
os.environ["QT_QPA_FONTDIR"] = "{plugins}"
from app.picture.opencv import cv2
from app.window.start import make_application, make_window
app = make_application()
window = make_window()
window.show()
from PySide6.QtCore import QTimer, QCoreApplication
from PySide6.QtTest import QTest
assert QTest.qWaitForWindowExposed(window, 20000)
pixels = window.grab().toImage()
seen = {{pixels.pixel(x, y) for x in range(0, pixels.width(), 7) for y in range(0, pixels.height(), 7)}}
print(app.platformName(), window.width(), len(seen) > 5, "cv2" in os.environ.get("QT_QPA_PLATFORM_PLUGIN_PATH", ""))
window.door.open_demo()
session, end = window.session, time.monotonic() + 150
while not (session.bench.is_current and session.strip and session.layers() is not None) and time.monotonic() < end:
    app.processEvents()
    time.sleep(0.01)  # QTest.qWait would keep the interpreter to itself, and no thread could read
window.door.export_to(__import__("pathlib").Path(sys.argv[1]))
print(len(window.side.code.code.text().split("-")), window.status.text().startswith("Exported"))
window.close()
QTimer.singleShot(0, app.quit)
app.exec()
"""


def test_what_opencv_left_is_taken_out_and_nothing_else() -> None:
    """Only variables that point into cv2 go; a person's own setting stays."""
    environment = {"QT_QPA_PLATFORM_PLUGIN_PATH": "x/cv2/qt/plugins", "QT_QPA_FONTDIR": "my/fonts", "HOME": "h"}
    clean_environment(environment)

    assert environment == {"QT_QPA_FONTDIR": "my/fonts", "HOME": "h"}


@pytest.mark.timeout(240)
@pytest.mark.skipif(sys.platform != "linux", reason="an X display is a thing of Linux and its like")
def test_the_real_window_on_a_real_x_display(checkout: Path, tmp_path: Path) -> None:
    """With opencv-python's Qt beside and its variables set, our window starts on X, draws itself, does the demo."""
    assert shutil.which("Xvfb"), "this test needs Xvfb; `sh app/start.sh test` installs it"
    reading, writing = os.pipe()
    server = subprocess.Popen(
        ["Xvfb", "-displayfd", str(writing), "-screen", "0", "1400x900x24", "-nolisten", "tcp"],
        pass_fds=[writing],
        stdout=subprocess.DEVNULL,
        stderr=subprocess.DEVNULL,
    )
    os.close(writing)
    try:
        with os.fdopen(reading) as answer:
            display = f":{answer.readline().strip()}"
        assert display != ":", "Xvfb did not start"
        environment = {**os.environ, "DISPLAY": display, "QT_QPA_PLATFORM": "xcb", "VALLEYGAUGE_HOME": str(tmp_path)}
        import cv2

        plugins = Path(cv2.__file__).parent / "qt" / "plugins"
        done = subprocess.run(
            [sys.executable, "-W", "ignore", "-c", SHOW.format(plugins=plugins), str(tmp_path / "out")],
            cwd=checkout,
            env=environment,
            capture_output=True,
            text=True,
            timeout=200,
        )
    finally:
        server.terminate()
        server.wait(10)

    assert done.returncode == 0, done.stderr
    platform, width, drawn, foreign, cuts, exported = done.stdout.split()
    assert (platform, drawn, foreign) == ("xcb", "True", "False") and int(width) >= 1000
    assert (cuts, exported) == ("5", "True")
    assert {"job.json", "annotated.png"} <= {path.name for path in (tmp_path / "out").iterdir()}
