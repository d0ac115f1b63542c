"""The growth slider and its code strip."""

from __future__ import annotations

import pytest
from PySide6.QtCore import QPoint, Qt
from PySide6.QtGui import QAccessible
from PySide6.QtTest import QTest
from pytestqt.qtbot import QtBot

from app.window.growth_strip import GrowthStrip
from keycore.decode import Decoder
from keycore.spec import KeySpec, format_code
from tests.app.made import made_reading


@pytest.fixture(scope="module")
def decoder() -> Decoder:
    """The decoder of the made-up reading."""
    from keycore.spec import load_spec

    table = load_spec("harbourside-5")
    return Decoder(made_reading(table).readings, table)


@pytest.fixture
def strip(qtbot: QtBot, spec: KeySpec, decoder: Decoder) -> GrowthStrip:
    """A strip of a real decoder."""
    made = GrowthStrip()
    qtbot.addWidget(made)
    made.resize(700, 100)
    made.show_strip(decoder.strip(), decoder.growth_density, spec, 0.1, by_hand=False)
    with qtbot.waitExposed(made):
        made.show()
    return made


def test_the_code_under_the_slider_is_the_decoders(strip: GrowthStrip, spec: KeySpec, decoder: Decoder) -> None:
    """At any growth within a stretch the strip shows the code that the decoder gives at that growth."""
    for segment in decoder.strip():
        middle = (segment.growth_from_mm + segment.growth_to_mm) / 2

        assert strip.code_at(middle) == format_code(decoder.at_growth(middle).code, spec)
    assert strip.code_at(99.0) == ""


def test_a_drag_asks_for_the_growth_under_the_pointer(strip: GrowthStrip, qtbot: QtBot) -> None:
    """Pressing and dragging asks for what the scale says, as often as the pointer moves."""
    asked: list[float] = []
    strip.slid.connect(asked.append)
    QTest.mousePress(strip, Qt.MouseButton.LeftButton, pos=QPoint(300, 70))
    QTest.mouseMove(strip, QPoint(350, 70))
    QTest.mouseRelease(strip, Qt.MouseButton.LeftButton, pos=QPoint(350, 70))

    assert asked == pytest.approx([strip.scale_now().growth_mm(300), strip.scale_now().growth_mm(350)])


@pytest.mark.parametrize(
    ("key", "keys", "step"),
    [
        (Qt.Key.Key_Right, Qt.KeyboardModifier.NoModifier, 0.01),
        (Qt.Key.Key_Left, Qt.KeyboardModifier.NoModifier, -0.01),
        (Qt.Key.Key_Right, Qt.KeyboardModifier.ShiftModifier, 0.1),
    ],
)
def test_arrows_step_a_hundredth_or_a_tenth(
    strip: GrowthStrip, qtbot: QtBot, key: Qt.Key, keys: Qt.KeyboardModifier, step: float
) -> None:
    """0.01 mm, with Shift 0.1 mm."""
    strip.setFocus()
    with qtbot.waitSignal(strip.slid) as slid:
        QTest.keyClick(strip, key, keys)

    assert slid.args == [pytest.approx(0.1 + step)]


def test_a_leaves_growth_to_the_evidence(strip: GrowthStrip, qtbot: QtBot) -> None:
    """One key gives the growth back."""
    with qtbot.waitSignal(strip.released_to_evidence):
        QTest.keyClick(strip, Qt.Key.Key_A)


def test_a_screen_reader_hears_a_slider_with_its_code(strip: GrowthStrip) -> None:
    """Role, value in micrometres, and the code in words."""
    spoken = QAccessible.queryAccessibleInterface(strip)

    assert spoken.role() == QAccessible.Role.Slider
    assert spoken.valueInterface().currentValue() == 100
    assert spoken.text(QAccessible.Text.Description) == f"0.10 mm, code {strip.code_at(0.1)}"


def test_nothing_can_be_slid_before_a_reading(qtbot: QtBot) -> None:
    """An empty strip is not to be moved, and has no code anywhere."""
    empty = GrowthStrip()
    qtbot.addWidget(empty)
    empty.show_strip((), None, None, None, by_hand=False)

    assert not empty.isEnabled() and empty.code_at(0.1) == ""


def test_a_key_shows_all_growths_and_arrows_reach_beyond_what_is_shown(strip: GrowthStrip) -> None:
    """The strip begins near the evidence; one key shows everything, and the slider is never caught in the near part."""
    near = strip.scale_now()
    QTest.keyClick(strip, Qt.Key.Key_W)
    whole = strip.scale_now()
    QTest.keyClick(strip, Qt.Key.Key_W)
    for _ in range(12):
        QTest.keyClick(strip, Qt.Key.Key_Right, Qt.KeyboardModifier.ShiftModifier)

    assert whole.from_mm <= near.from_mm and near.to_mm < whole.to_mm
    assert strip.scale_now().from_mm <= 1.3 <= strip.scale_now().to_mm
