"""The ladder under mouse and keys."""

from __future__ import annotations

import pytest
from PySide6.QtCore import QPoint, Qt
from PySide6.QtGui import QAccessible
from PySide6.QtTest import QTest
from pytestqt.qtbot import QtBot

from app.window.depth_ladder import DepthLadder
from app.window.units import LengthFormat
from keycore.decode import Decoding
from keycore.spec import KeySpec


@pytest.fixture
def drawn(qtbot: QtBot, spec: KeySpec, decoding: Decoding) -> DepthLadder:
    """A ladder with a decoding."""
    made = DepthLadder()
    qtbot.addWidget(made)
    made.resize(600, 300)
    made.set_centres((100.0, 200.0, 300.0, 400.0, 500.0))
    made.show_table(spec, decoding)
    with qtbot.waitExposed(made):
        made.show()
    return made


def place_of(ladder: DepthLadder, cut: int, label: str) -> QPoint:
    """The middle of a rung."""
    geometry = ladder.geometry_now()
    assert geometry is not None
    rung = geometry.rung(cut, label)
    assert rung is not None
    return QPoint(round((rung.left + rung.right) / 2), round(rung.middle))


def test_a_rung_says_its_root_the_measured_one_and_its_probability(drawn: DepthLadder, decoding: Decoding) -> None:
    """In one line, in the person's unit."""
    cut = decoding.cuts[2]
    drawn.format = LengthFormat("mm", ".")
    share = drawn.format.probability(cut.depths["2"])
    wanted = f"cut 3 at 2: 7.20 mm, measured {cut.root_mm:.2f} \u00b1 {cut.sigma_mm:.2f}, {share}"

    assert drawn.words_for(2, "2") == wanted
    drawn.format = LengthFormat("thou", ",")
    assert drawn.words_for(2, "2").startswith("cut 3 at 2: 283,5 thou, measured ")


def test_clicks_hold_rule_out_and_clear(drawn: DepthLadder, qtbot: QtBot) -> None:
    """The next click on a rung asks for the next of its three states."""
    place = place_of(drawn, 1, "2")
    for held, out, wanted in (
        ({}, frozenset(), "held"),
        ({1: "2"}, frozenset(), "ruled out"),
        ({}, frozenset({(1, "2")}), "free"),
    ):
        drawn.show_holds(held, out)
        with qtbot.waitSignal(drawn.asked) as asked:
            QTest.mouseClick(drawn, Qt.MouseButton.LeftButton, pos=place)

        assert asked.args == [1, "2", wanted]


def test_the_keyboard_does_the_same(drawn: DepthLadder, qtbot: QtBot, decoding: Decoding) -> None:
    """Focus begins on the first cut's likeliest depth; arrows walk; Return asks; a label jumps."""
    drawn.setFocus()
    drawn.focusInEvent(None)
    start = decoding.cuts[0].depth
    assert QAccessible.queryAccessibleInterface(drawn).text(QAccessible.Text.Description) == drawn.words_for(0, start)
    QTest.keyClick(drawn, Qt.Key.Key_Right)
    QTest.keyClick(drawn, Qt.Key.Key_Right)
    QTest.keyClick(drawn, Qt.Key.Key_5)
    QTest.keyClick(drawn, Qt.Key.Key_Up)
    with qtbot.waitSignal(drawn.asked) as asked:
        QTest.keyClick(drawn, Qt.Key.Key_Return)

    assert asked.args == [2, "4", "held"]


def test_hovering_says_the_rung_in_the_status_line(drawn: DepthLadder) -> None:
    """The hint begins with what the rung under the pointer says."""
    QTest.mouseMove(drawn, QPoint(5, 5))
    QTest.mouseMove(drawn, place_of(drawn, 1, "1"))

    assert drawn.hint().startswith(drawn.words_for(1, "1"))


def test_what_is_held_and_ruled_out_is_drawn_and_said(drawn: DepthLadder) -> None:
    """By shape and words, not by colour alone."""
    before = drawn.grab().toImage()
    drawn.show_holds({0: "3"}, frozenset({(1, "1")}))

    assert drawn.grab().toImage() != before
    assert drawn.words_for(0, "3").endswith("; held") and drawn.words_for(1, "1").endswith("; ruled out")


def test_without_a_table_it_says_what_will_stand_here(qtbot: QtBot) -> None:
    """An empty ladder explains itself and takes no clicks."""
    ladder = DepthLadder()
    qtbot.addWidget(ladder)
    ladder.show_table(None, None)
    with qtbot.assertNotEmitted(ladder.asked):
        QTest.mouseClick(ladder, Qt.MouseButton.LeftButton, pos=QPoint(50, 50))
        QTest.keyClick(ladder, Qt.Key.Key_Return)
    assert ladder.geometry_now() is None


def test_a_screen_reader_finds_each_rung_where_it_is_drawn(drawn: DepthLadder) -> None:
    """Each rung is a part with its own words and the extent that is drawn."""
    drawn.spoken.settle()
    shown = drawn.geometry_now()
    assert shown is not None
    for column in shown.columns:
        for rung in column.rungs:
            spoken = QAccessible.queryAccessibleInterface(drawn.spoken.parts[f"{rung.cut} {rung.label}"])
            at = drawn.mapToGlobal(QPoint(round((rung.left + rung.right) / 2), round(rung.middle)))

            assert spoken.text(QAccessible.Text.Name) == drawn.words_for(rung.cut, rung.label)
            assert spoken.rect().contains(at)
