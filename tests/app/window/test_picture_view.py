"""The picture under real mouse and key events."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from PySide6.QtCore import QPoint, QPointF, Qt
from PySide6.QtGui import QAccessible, QImage, QNativeGestureEvent, QPointingDevice, QWheelEvent
from PySide6.QtTest import QTest
from PySide6.QtWidgets import QApplication
from pytestqt.qtbot import QtBot

from app.bench_marks import MarkPoint, points_of
from app.window.picture_layers import make_layers
from app.window.picture_view import PictureView
from app.window.words import mark_title
from keycore.spec import KeySpec
from tests.app.made import SIZE, made_reading

SHIFT, ALT = Qt.KeyboardModifier.ShiftModifier, Qt.KeyboardModifier.AltModifier


@pytest.fixture
def view(qtbot: QtBot, spec: KeySpec) -> PictureView:
    """A view with a picture, its reading and all marks."""
    made = PictureView()
    qtbot.addWidget(made)
    made.resize(700, 320)
    noise = np.random.default_rng(5).integers(60, 220, (SIZE[1], SIZE[0])).astype(np.uint8)
    made.show_picture(make_layers(noise), SIZE)
    reading = made_reading(spec)
    made.show_marks([MarkPoint(name, xy) for name, xy in points_of(reading.marks).items()])
    made.show_reading(reading)
    with qtbot.waitExposed(made):
        made.show()
    made.setFocus()
    return made


def place_of(view: PictureView, xy: tuple[float, float]) -> QPoint:
    """Where a picture position lies in the widget, to the nearest whole pixel."""
    x, y = view.view.view_of_picture(np.array(xy))
    return QPoint(round(float(x)), round(float(y)))


def wheel(view: PictureView, at: QPointF, angle: QPoint, pixels: QPoint, keys: Qt.KeyboardModifier) -> None:
    """A wheel event as the system sends it."""
    event = QWheelEvent(
        at, view.mapToGlobal(at), pixels, angle, Qt.MouseButton.NoButton, keys, Qt.ScrollPhase.NoScrollPhase, False
    )
    QApplication.sendEvent(view, event)


def test_a_hundred_wheel_notches_keep_the_point_under_the_pointer(view: PictureView) -> None:
    """Within a tenth of a picture pixel, at a place between pixels."""
    at = QPointF(411.3, 97.8)
    before = view.view.picture_of_view(np.array([at.x(), at.y()]))
    for step in range(100):
        notch = 120 if step % 9 < 5 else -120
        wheel(view, at, QPoint(0, notch), QPoint(), Qt.KeyboardModifier.NoModifier)

    assert np.abs(view.view.picture_of_view(np.array([at.x(), at.y()])) - before).max() < 0.1


def test_two_fingers_pan_and_with_control_zoom(view: PictureView) -> None:
    """Touchpad pixels move the picture by as many; with Ctrl they zoom in proportion."""
    before = view.view
    wheel(view, QPointF(100, 100), QPoint(0, 40), QPoint(-12, 7), Qt.KeyboardModifier.NoModifier)

    assert view.view.zoom == before.zoom
    assert np.allclose(np.subtract(view.view.offset_xy, before.offset_xy), (-12, 7))
    wheel(view, QPointF(100, 100), QPoint(0, 12), QPoint(0, 3), Qt.KeyboardModifier.ControlModifier)
    assert view.view.zoom / before.zoom == pytest.approx(1.2 ** (12 / 120))


def test_a_dragged_mark_lands_where_it_is_let_go(view: PictureView, qtbot: QtBot) -> None:
    """The mark moves by the pointer's way in picture pixels, and is announced once."""
    start = place_of(view, (110.4, 110.0))
    name = "root.0"
    mark = view._marks[name].xy
    start = place_of(view, mark)
    with qtbot.waitSignal(view.mark_moved) as moved:
        QTest.mousePress(view, Qt.MouseButton.LeftButton, pos=start)
        for step in range(1, 11):
            QTest.mouseMove(view, start + QPoint(3 * step, -2 * step))
        QTest.mouseRelease(view, Qt.MouseButton.LeftButton, pos=start + QPoint(30, -20))
    wanted = view.view.picture_of_view(view.view.view_of_picture(np.array(mark)) + np.array([30.0, -20.0]))

    assert moved.args is not None and moved.args[0] == name and moved.args[3] is False
    assert moved.args[1:3] == pytest.approx(list(wanted), abs=1e-6)


def test_a_click_chooses_and_moves_nothing(view: PictureView, qtbot: QtBot) -> None:
    """A press and release without a way leaves the mark alone."""
    with qtbot.assertNotEmitted(view.mark_moved):
        QTest.mouseClick(view, Qt.MouseButton.LeftButton, pos=place_of(view, view._marks["root.3"].xy) + QPoint(3, 2))

    assert view.selected == "root.3"


def test_a_locked_mark_does_not_move(view: PictureView, qtbot: QtBot) -> None:
    """A lock holds against the hand."""
    marks = [MarkPoint(m.name, m.xy, locked=m.name == "tip") for m in view._marks.values()]
    view.show_marks(marks)
    start = place_of(view, view._marks["tip"].xy)
    with qtbot.assertNotEmitted(view.mark_moved):
        QTest.mousePress(view, Qt.MouseButton.LeftButton, pos=start)
        QTest.mouseMove(view, start + QPoint(30, 30))
        QTest.mouseRelease(view, Qt.MouseButton.LeftButton, pos=start + QPoint(30, 30))


@pytest.mark.parametrize(
    ("keys", "step"),
    [(Qt.KeyboardModifier.NoModifier, 1.0), (SHIFT, 10.0), (ALT, 0.1)],
    ids=["alone", "shift", "alt"],
)
@pytest.mark.parametrize("percent", [30.0, 100.0, 3000.0])
def test_arrows_nudge_in_picture_pixels_at_any_zoom(
    view: PictureView, qtbot: QtBot, keys: Qt.KeyboardModifier, step: float, percent: float
) -> None:
    """1 px, 10 px or 0.1 px of the stored picture."""
    view.choose("root.1")
    view._set_view(view.view.at_percent(percent, (350.0, 160.0)))
    x, y = view._marks["root.1"].xy
    with qtbot.waitSignal(view.mark_moved) as moved:
        QTest.keyClick(view, Qt.Key.Key_Right, keys)

    assert moved.args is not None
    assert moved.args[1:3] == pytest.approx([x + step, y], abs=1e-6) and moved.args[3] is True


def test_tab_walks_all_marks_and_then_leaves(view: PictureView) -> None:
    """Tab goes through every mark once, bow to tip, and then on to the next thing."""
    walked = []
    for _ in range(len(view._marks)):
        QTest.keyClick(view, Qt.Key.Key_Tab)
        walked.append(view.selected)

    assert walked[:3] == ["shoulder", "root.0", "root.1"] and len(set(walked)) == len(view._marks)
    QTest.keyClick(view, Qt.Key.Key_Tab)
    assert view.selected is None
    QTest.keyClick(view, Qt.Key.Key_Backtab)
    assert view.selected == walked[-1]


@pytest.mark.parametrize("how", ["middle", "space"])
def test_the_view_is_dragged_in_any_mode(view: PictureView, how: str) -> None:
    """Middle button, or Space with the left one: the picture follows the pointer, marks are left alone."""
    before = view.view
    button = Qt.MouseButton.MiddleButton if how == "middle" else Qt.MouseButton.LeftButton
    if how == "space":
        QTest.keyPress(view, Qt.Key.Key_Space)
    start = place_of(view, view._marks["root.0"].xy)
    QTest.mousePress(view, button, pos=start)
    QTest.mouseMove(view, start + QPoint(25, -10))
    QTest.mouseRelease(view, button, pos=start + QPoint(25, -10))
    if how == "space":
        QTest.keyRelease(view, Qt.Key.Key_Space)

    assert np.allclose(np.subtract(view.view.offset_xy, before.offset_xy), (25, -10))
    assert view.view.zoom == before.zoom


def test_keys_show_blade_whole_one_to_one_and_a_cut(view: PictureView) -> None:
    """F, W, 1 and C do what the sheet says."""
    QTest.keyClick(view, Qt.Key.Key_W)
    corners = view.view.view_xy(np.array([[-0.5, -0.5], [SIZE[0] - 0.5, SIZE[1] - 0.5]]))
    assert corners.min() >= 0 and corners[1, 0] <= view.width() and corners[1, 1] <= view.height()
    QTest.keyClick(view, Qt.Key.Key_1)
    assert view.view.percent == pytest.approx(100.0)
    view.choose("root.2")
    QTest.keyClick(view, Qt.Key.Key_C)
    middle = view.view.view_of_picture(np.array(view._marks["root.2"].xy))
    assert np.allclose(middle, [view.width() / 2, view.height() / 2])
    assert view.view.percent > 300
    QTest.keyClick(view, Qt.Key.Key_F)
    places = view.view.view_of_picture(np.array([mark.xy for mark in view._marks.values()]))
    assert places.min() >= 0 and places[:, 0].max() <= view.width() and places[:, 1].max() <= view.height()


def test_a_new_reading_keeps_the_place(view: PictureView, spec: KeySpec) -> None:
    """Somebody who looks closely still sees the same spot after the picture was read again."""
    view.choose("root.4")
    view.to_cut()
    before = view.view.picture_of_view(np.array([350.0, 160.0]))
    percent = view.view.percent
    view.show_reading(made_reading(spec))

    assert np.abs(view.view.picture_of_view(np.array([350.0, 160.0])) - before).max() < 1e-6
    assert view.view.percent == pytest.approx(percent)


def test_a_marker_leaves_its_middle_open(view: PictureView) -> None:
    """Nothing is drawn within two pixels of what a marker marks, at any zoom."""
    for percent in (60.0, 200.0, 1200.0):
        view.choose(None)
        view._marks = {"root.0": view._marks["root.0"]}
        view._reading = None
        view._set_view(view.view.at_percent(percent, (350.0, 160.0)).centred_on(view._straight_of("root.0")))
        with_marks = view.grab().toImage()
        view._hidden = True
        without = view.grab().toImage()
        view._hidden = False
        ratio = view.devicePixelRatioF()
        middle = QPoint(int(view.width() * ratio) // 2, int(view.height() * ratio) // 2)
        open_within, far = int(2 * ratio), int(30 * ratio)
        changed = sum(
            with_marks.pixel(middle + QPoint(dx, dy)) != without.pixel(middle + QPoint(dx, dy))
            for dx in range(-open_within, open_within + 1)
            for dy in range(-open_within, open_within + 1)
        )
        reach = sum(
            with_marks.pixel(middle + QPoint(dx, 0)) != without.pixel(middle + QPoint(dx, 0))
            for dx in range(-far, far + 1)
        )

        assert changed == 0 and 14 <= reach / ratio <= 26, "open in the middle, and of constant size"


def test_holding_h_hides_the_marks(view: PictureView) -> None:
    """While H is held only the picture is seen."""
    shown = view.grab().toImage()
    QTest.keyPress(view, Qt.Key.Key_H)
    hidden = view.grab().toImage()
    QTest.keyRelease(view, Qt.Key.Key_H)

    assert hidden != shown
    assert view.grab().toImage() == shown


def test_the_loupe_follows_the_keys(view: PictureView) -> None:
    """A nudge shows the loupe, with pixels much larger than on the picture."""
    view.choose("root.2")
    before = view.grab().toImage()
    QTest.keyClick(view, Qt.Key.Key_Left)
    after = view.grab().toImage()

    assert changed_pixels(before, after) > 8_000


def changed_pixels(one: QImage, two: QImage) -> int:
    """How many pixels of two pictures differ."""
    first, second = (
        np.frombuffer(image.convertToFormat(QImage.Format.Format_RGB32).constBits(), dtype=np.uint32)
        for image in (one, two)
    )
    return int(np.count_nonzero(first != second))


def test_marks_by_hand_are_asked_for_one_by_one(view: PictureView, qtbot: QtBot) -> None:
    """Each click places the mark that the status line names; Esc stops."""
    view.place_marks(["shoulder", "back.0", "back.1"])
    assert "shoulder" in view.hint()
    with qtbot.waitSignal(view.mark_placed) as placed:
        QTest.mouseClick(view, Qt.MouseButton.LeftButton, pos=QPoint(200, 150))
    wanted = view.view.picture_of_view(np.array([200.0, 150.0]))

    assert placed.args is not None and placed.args[0] == "shoulder"
    assert placed.args[1:] == pytest.approx(list(wanted))
    assert view.placing == ("back.0", "back.1")
    QTest.keyClick(view, Qt.Key.Key_Escape)
    assert view.placing == ()


def test_marks_are_placed_by_keys_alone(view: PictureView, qtbot: QtBot) -> None:
    """Arrows move a cross by a pixel, ten, a tenth; Return places; Backspace asks for the one before again."""
    view.one_to_one()
    view.setFocus()
    placed: list[tuple[str, float, float]] = []
    taken_back: list[str] = []
    view.mark_placed.connect(lambda *given: placed.append(given))
    view.mark_unplaced.connect(taken_back.append)
    view.place_marks(["shoulder", "back.0", "back.1"])
    start = view.view.picture_of_view(np.array([view.width() / 2, view.height() / 2]))
    QTest.keyClick(view, Qt.Key.Key_Return)
    for key, modifier in (
        (Qt.Key.Key_Right, Qt.KeyboardModifier.ShiftModifier),
        (Qt.Key.Key_Right, Qt.KeyboardModifier.NoModifier),
        (Qt.Key.Key_Up, Qt.KeyboardModifier.AltModifier),
    ):
        QTest.keyClick(view, key, modifier)
    QTest.keyClick(view, Qt.Key.Key_Return)
    assert [name for name, *_ in placed] == ["shoulder", "back.0"]
    assert placed[0][1:] == pytest.approx(list(start))
    first = view.straight.straight_xy(np.array(placed[0][1:]))
    assert view.straight.straight_xy(np.array(placed[1][1:])) - first == pytest.approx([11.0, -0.1], abs=1e-6)
    QTest.keyClick(view, Qt.Key.Key_Backspace)
    assert taken_back == ["back.0"] and view.placing == ("back.0", "back.1")
    for _ in range(200):  # past the rim the picture comes along
        QTest.keyClick(view, Qt.Key.Key_Left, Qt.KeyboardModifier.ShiftModifier)
    QTest.keyClick(view, Qt.Key.Key_Return)
    inside = view.view.view_of_picture(np.array(placed[-1][1:]))
    assert placed[-1][1] < placed[0][1] and 0 < inside[0] < view.width()
    QTest.keyClick(view, Qt.Key.Key_Escape)
    assert view.placing == ()


def test_a_screen_reader_hears_the_chosen_mark(view: PictureView) -> None:
    """Name and description of the picture say which mark is chosen and where it lies."""
    view.choose("root.2")
    spoken = QAccessible.queryAccessibleInterface(view)

    assert spoken.text(QAccessible.Text.Name) == "Picture with its marks"
    assert spoken.text(QAccessible.Text.Description).startswith("root of cut 3 at ")


def test_the_status_line_names_the_keys(view: PictureView) -> None:
    """What is under the pointer decides what the hint says."""
    assert "wheel zooms" in view.hint()
    view.choose("back.0")
    assert view.hint().startswith("back, end 1 · arrows 1 px, Shift 10, Alt 0.1")


def test_a_pinch_zooms_at_the_fingers(view: PictureView) -> None:
    """What lies under the fingers stays there while the picture grows by what the pinch says."""
    at = QPointF(222.4, 131.7)
    before, percent = view.view.picture_of_view(np.array([at.x(), at.y()])), view.view.percent
    pad = QPointingDevice.primaryPointingDevice()
    for value in (0.1, 0.05):
        event = QNativeGestureEvent(
            Qt.NativeGestureType.ZoomNativeGesture, pad, 2, at, at, QPointF(view.mapToGlobal(at)), value, QPointF()
        )
        QApplication.sendEvent(view, event)

    assert view.view.percent == pytest.approx(percent * 1.1 * 1.05)
    assert view.view.picture_of_view(np.array([at.x(), at.y()])) == pytest.approx(before, abs=0.1)


def test_the_wheel_can_be_set_to_move_the_picture(view: PictureView) -> None:
    """With that preference a plain wheel moves, and Ctrl with the wheel still zooms."""
    view.wheel_zooms = False
    percent, offset = view.view.percent, view.view.offset_xy
    at = QPointF(300, 100)
    wheel(view, at, QPoint(0, -120), QPoint(), Qt.KeyboardModifier.NoModifier)
    assert view.view.percent == percent and view.view.offset_xy[1] < offset[1]
    wheel(view, at, QPoint(0, 120), QPoint(), Qt.KeyboardModifier.ControlModifier)
    assert view.view.percent > percent


def test_keys_ask_for_the_snap_and_for_all_cuts(view: PictureView, qtbot: QtBot) -> None:
    """S speaks of the chosen mark's snap; Ctrl with an arrow of all cuts, towards where the arrow points."""
    view.choose("root.1")
    with qtbot.waitSignal(view.mark_snap_asked) as snap:
        QTest.keyClick(view, Qt.Key.Key_S)
    with qtbot.waitSignal(view.cuts_shift_asked) as shift:
        QTest.keyClick(view, Qt.Key.Key_Left, Qt.KeyboardModifier.ControlModifier)

    assert snap.args == ["root.1"] and shift.args == [-1]


def test_the_snap_is_drawn_until_it_is_refused(view: PictureView) -> None:
    """A line leads from the hand's mark to the edge where it is read; a refused snap draws a pin in its place."""
    mark = view._marks["root.2"]
    beside = (mark.xy[0], mark.xy[1] + 12)
    pictures = []
    for placed in (replace(mark, by_hand=True), replace(mark, by_hand=True, snapped_xy=beside),
                   replace(mark, by_hand=True, snapped_xy=beside, as_placed=True)):  # fmt: skip
        view.show_marks([placed if name == "root.2" else other for name, other in view._marks.items()])
        pictures.append(view.grab().toImage())

    plain, snapped, refused = pictures
    assert changed_pixels(plain, snapped) > 20 and changed_pixels(plain, refused) > 20
    assert changed_pixels(snapped, refused) > 20


def test_a_key_draws_the_marks_fainter(view: PictureView) -> None:
    """O goes strong, pale, faint, and back to the start."""
    grabs = []
    for _ in range(4):
        grabs.append(view.grab().toImage())
        QTest.keyClick(view, Qt.Key.Key_O)

    assert changed_pixels(grabs[0], grabs[1]) > 50 and changed_pixels(grabs[1], grabs[2]) > 50
    assert changed_pixels(grabs[0], grabs[3]) == 0


def test_a_screen_reader_finds_each_mark_where_it_is_drawn(view: PictureView) -> None:
    """Each mark is a part with its name and an extent round its place on the screen, also after a zoom."""
    view.zoom(1.7)
    view.spoken.settle()
    for name, part in view.spoken.parts.items():
        spoken = QAccessible.queryAccessibleInterface(part)
        at = view.mapToGlobal(place_of(view, view._marks[name].xy))

        assert spoken.text(QAccessible.Text.Name) == mark_title(name)
        assert spoken.rect().contains(at) and spoken.rect().width() <= 28
    assert set(view.spoken.parts) == set(view._marks)


def test_the_whole_picture_is_whole_also_after_a_reading(view: PictureView, spec: KeySpec) -> None:
    """W shows all four corners, and keeps to that when another reading turns the picture; F goes back to the blade."""
    corners = np.array([[0.0, 0.0], [SIZE[0] - 1, 0], [SIZE[0] - 1, SIZE[1] - 1], [0, SIZE[1] - 1]])
    turned = np.array([[0.9, -0.3, 80.0], [0.3, 0.9, -60.0], [0.0, 0.0, 1.0]])

    def seen() -> bool:
        places = view.view.view_of_picture(corners)
        return bool(np.all((places > -1) & (places < np.array([view.width(), view.height()]) + 1)))

    reading = made_reading(spec)
    view.show_reading(replace(reading, straight=replace(reading.straight, to_picture=turned, size=(200, 100))))
    QTest.keyClick(view, Qt.Key.Key_F)
    assert not seen()
    QTest.keyClick(view, Qt.Key.Key_W)
    assert seen()
    view.show_reading(made_reading(spec))
    view.resize(640, 400)
    assert seen()


def test_a_chosen_mark_stays_in_sight_when_a_reading_comes(view: PictureView, spec: KeySpec) -> None:
    """Somebody who looks at a corner far off is not taken back to the blade."""
    far = MarkPoint("reference.0", (SIZE[0] - 3.0, SIZE[1] - 3.0))
    view.show_marks([*(mark for mark in view._marks.values()), far])
    view.one_to_one()
    view.zoom(6.0)
    view.fit_blade()
    view.choose("reference.0")
    if view._fits:  # it was in sight as it is
        view.zoom(4.0)
    view.show_reading(replace(made_reading(spec), warnings=("another",)))
    x, y = view.view.view_of_picture(np.array(far.xy))

    assert 0 <= x <= view.width() and 0 <= y <= view.height()
