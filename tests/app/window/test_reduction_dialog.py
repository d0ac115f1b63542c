"""The reduction route in the window: figures in, settings out, refusals in place."""

from __future__ import annotations

from collections.abc import Callable

import pytest
from PySide6.QtWidgets import QLabel
from pytestqt.qtbot import QtBot

from app.bench import Bench
from app.bench_paper import reduction_of
from app.window.main_window import MainWindow
from app.window.reduction_dialog import ReductionDialog


@pytest.fixture
def dialog(window: MainWindow, qtbot: QtBot) -> ReductionDialog:
    """Opened from the job menu."""
    window.actions_by_name["reduction"].trigger()
    return next(one for one in window.findChildren(ReductionDialog) if one.isVisible())


def texts(dialog: ReductionDialog) -> list[str]:
    """What stands in the rows."""
    return [label.text() for label in dialog.table.findChildren(QLabel)]


def test_the_settings_are_those_of_the_core(dialog: ReductionDialog, window: MainWindow, qtbot: QtBot) -> None:
    """Typing the dots per inch gives the copier's settings along and across, as the command line gives them."""
    qtbot.keyClicks(dialog.dpi, "600")
    found = reduction_of(window.session.bench, paper_dpi=600.0)

    assert dialog.found == found and dialog.standing.text() == ""
    shown = texts(dialog)
    assert f"{found.along.passes[0]:g} %" in shown and f"{found.across.passes[0]:g} %" in shown
    assert f"{found.along.exact_percent.value:.2f} ± {found.along.exact_percent.sigma:.2f} %" in shown


def test_a_finer_copier_leaves_less(dialog: ReductionDialog, qtbot: QtBot) -> None:
    """The step is taken with a comma too."""
    qtbot.keyClicks(dialog.dpi, "610")
    coarse = dialog.found
    dialog.step.setFocus()
    dialog.step.selectAll()
    qtbot.keyClicks(dialog.step, "0,1")

    assert coarse is not None and dialog.found is not None
    assert abs(dialog.found.along.left.value) < abs(coarse.along.left.value)


@pytest.mark.parametrize(
    ("dpi", "step", "says"),
    [
        ("", "1", "give that figure"),
        ("3", "1", "between 10 and 20000 dots per inch"),
        ("600", "0", "copier's step must be over 0"),
        ("six", "1", "the dots per inch must be a number"),
    ],
)
def test_what_cannot_be_worked_out_says_so_in_place(dialog: ReductionDialog, dpi: str, step: str, says: str) -> None:
    """No row stands then."""
    dialog.dpi.setText(dpi)
    dialog.step.setText(step)

    assert says.lower() in dialog.standing.text().lower() and dialog.found is None and dialog.table.isHidden()


def test_without_a_code_it_says_what_is_missing(make_window: Callable[[Bench | None], MainWindow]) -> None:
    """An empty bench has no scale."""
    dialog = make_window(None).show_reduction()

    assert dialog.standing.text() != "" and dialog.found is None
    dialog.close()
