"""Starting: the right Qt plug-ins with opencv-python beside, and the real window on a real X display."""

from __future__ import annotations

import os
import shutil
import subprocess
import sys
from pathlib import Path

import pytest

from app.window.start import clean_environment


def test_what_opencv_left_is_taken_out_and_nothing_else() -> None:
    """Only variables that point into cv2 go; a person's own setting stays."""
    environment = {"QT_QPA_PLATFORM_PLUGIN_PATH": "x/cv2/qt/plugins", "QT_QPA_FONTDIR": "my/fonts", "HOME": "h"}
    clean_environment(environment)

    assert environment == {"QT_QPA_FONTDIR": "my/fonts", "HOME": "h"}


@pytest.mark.timeout(300)
@pytest.mark.skipif(sys.platform != "linux", reason="an X display is a thing of Linux and its like")
def test_the_whole_job_on_a_real_x_display_by_keyboard(checkout: Path, tmp_path: Path) -> None:
    """With opencv-python's Qt beside and its variables set, the program starts on X and does a whole job."""
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
        import cv2

        plugins = str(Path(cv2.__file__).parent / "qt" / "plugins")
        environment = {
            **os.environ,
            "DISPLAY": display,
            "QT_QPA_PLATFORM": "xcb",
            "QT_QPA_PLATFORM_PLUGIN_PATH": plugins,
            "QT_QPA_FONTDIR": plugins,
            "VALLEYGAUGE_HOME": str(tmp_path),
            "LC_ALL": "C.UTF-8",
        }
        picture, out = checkout / "assets" / "demo-photocopy.jpg", tmp_path / "out"
        done = subprocess.run(
            [sys.executable, "-W", "ignore", "-m", "tests.app.window.whole_job", str(picture), str(out)],
            cwd=checkout,
            env=environment,
            capture_output=True,
            text=True,
            timeout=280,
        )
    finally:
        server.terminate()
        server.wait(10)

    assert done.returncode == 0, done.stderr
    platform, read, settled, *rest = done.stdout.split()
    held = read.split("-")[0]
    assert platform == "xcb" and len(read.split("-")) == 5 and settled.split("-")[0] == held
    assert rest == f"held=((0, '{held}'),) tried=[True] check=pass undone=True".split()
    (exported,) = out.iterdir()
    assert {"job.json", "annotated.png"} <= {path.name for path in exported.iterdir()}
