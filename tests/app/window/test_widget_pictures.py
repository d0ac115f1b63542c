"""The drawn widgets beside stored pictures of them.

Fixed size, colours and style; words are drawn too small to see, so that the pictures do not depend on a system's fonts.
A picture may differ in one pixel of a hundred by more than a shade: another version of Qt rounds a corner otherwise.
Run with ``VALLEYGAUGE_RENEW_PICTURES=1`` to store them anew, and look at them.
"""

from __future__ import annotations

import os
import sys
from pathlib import Path

import numpy as np
import pytest
from PIL import Image
from PySide6.QtGui import QFont, QImage
from PySide6.QtWidgets import QWidget
from pytestqt.qtbot import QtBot

from app.bench_marks import MarkPoint, points_of
from app.bench_steps import Step
from app.window.beside import Other, PictureBeside
from app.window.depth_ladder import DepthLadder
from app.window.growth_strip import GrowthStrip
from app.window.job_path import JobPath
from app.window.picture_layers import make_layers
from app.window.picture_view import PictureView
from app.window.theme import DARK, LIGHT, Colours
from keycore.decode import Decoder, Decoding
from keycore.spec import KeySpec
from tests.app.made import SIZE, made_reading

STORED = Path(__file__).parent / "pictures"
SHADE = 24
"""Grey levels (of 255) by which a pixel may differ without counting."""
SHARE = 0.01
pytestmark = pytest.mark.skipif(
    sys.platform != "linux" or "QT_SCALE_FACTOR" in os.environ, reason="pictures are compared where they were made"
)


def compare(widget: QWidget, name: str) -> None:
    """The widget looks as it is stored."""
    image = widget.grab().toImage().convertToFormat(QImage.Format.Format_RGB888)
    rows = np.frombuffer(image.constBits(), np.uint8).reshape(image.height(), image.bytesPerLine())
    pixels = rows[:, : 3 * image.width()].reshape(image.height(), image.width(), 3)
    file = STORED / f"{name}.png"
    if os.environ.get("VALLEYGAUGE_RENEW_PICTURES"):
        STORED.mkdir(exist_ok=True)
        Image.fromarray(pixels).save(file, optimize=True)
    stored = np.asarray(Image.open(file).convert("RGB"))
    assert stored.shape == pixels.shape
    differing = np.abs(stored.astype(int) - pixels.astype(int)).max(axis=2) > SHADE
    assert differing.mean() <= SHARE, f"{differing.mean():.1%} of {file.name} differ"


def plain(widget: QWidget, qtbot: QtBot, size: tuple[int, int]) -> None:
    """Fixed size, words too small to see."""
    qtbot.addWidget(widget)
    font = QFont()
    font.setPointSizeF(0.6)
    widget.setFont(font)
    for part in widget.findChildren(QWidget):
        part.setFont(font)
    widget.resize(*size)


@pytest.mark.parametrize(("name", "colours"), [("ladder-light", LIGHT), ("ladder-dark", DARK)])
def test_the_ladder(qtbot: QtBot, spec: KeySpec, decoding: Decoding, name: str, colours: Colours) -> None:
    """Bars by probability, the measured root across them, a held and a ruled-out rung."""
    ladder = DepthLadder()
    plain(ladder, qtbot, (360, 220))
    ladder.colours = colours
    ladder.show_table(spec, decoding)
    ladder.show_holds({1: "1"}, frozenset({(3, "0"), (3, "1")}))
    ladder.set_centres((50.0, 115.0, 180.0, 245.0, 310.0))
    compare(ladder, name)


def test_the_growth_strip(qtbot: QtBot, spec: KeySpec) -> None:
    """Density over the codes, the slider set by hand."""
    decoder = Decoder(made_reading(spec).readings, spec)
    strip = GrowthStrip()
    plain(strip, qtbot, (360, 100))
    strip.show_strip(decoder.strip(), decoder.growth_density, spec, 0.2, by_hand=True)
    compare(strip, "strip")


def test_the_marks_on_a_picture(qtbot: QtBot, spec: KeySpec) -> None:
    """Open crosses, a mark by hand with its snap, one read as placed, one locked, one chosen."""
    view = PictureView()
    plain(view, qtbot, (360, 180))
    step = np.full((SIZE[1], SIZE[0]), 235, np.uint8)
    step[100:200, 60:400] = 70
    view.show_picture(make_layers(step), SIZE)
    reading = made_reading(spec)
    marks = {name: MarkPoint(name, xy) for name, xy in points_of(reading.marks).items()}
    x, y = marks["root.1"].xy
    marks["root.1"] = MarkPoint("root.1", (x, y - 20), by_hand=True, snapped_xy=(x, y))
    marks["root.3"] = MarkPoint("root.3", marks["root.3"].xy, by_hand=True, as_placed=True)
    marks["tip"] = MarkPoint("tip", marks["tip"].xy, by_hand=True, locked=True)
    view.show_marks(list(marks.values()))
    view.show_reading(reading)
    view.choose("root.2")
    compare(view, "marks")


def test_the_path(qtbot: QtBot) -> None:
    """A tick for what is done, a half disc for what is assumed, a ring for what waits."""
    path = JobPath()
    plain(path, qtbot, (120, 320))
    path.show_steps((Step("entitlement", "done", ""), Step("table", "assumed", ""), Step("picture", "waits", "")))
    path.choose("table")
    compare(path, "path")


def test_a_picture_beside(qtbot: QtBot, spec: KeySpec) -> None:
    """The other picture with its strip for the name."""
    beside = PictureBeside()
    plain(beside, qtbot, (180, 100))
    step = np.full((SIZE[1], SIZE[0]), 235, np.uint8)
    step[100:200, 60:400] = 70
    beside.show_other(Other(0, "copy", SIZE, make_layers(step), made_reading(spec)))
    compare(beside, "beside")


def test_another_picture_is_told_apart(qtbot: QtBot, spec: KeySpec, decoding: Decoding) -> None:
    """Columns ten pixels off are more than the tolerance lets pass."""
    ladder = DepthLadder()
    plain(ladder, qtbot, (360, 220))
    ladder.show_table(spec, decoding)
    ladder.set_centres((60.0, 125.0, 190.0, 255.0, 320.0))
    with pytest.raises(AssertionError, match="differ"):
        compare(ladder, "ladder-light")
