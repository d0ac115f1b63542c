"""Keeping a job in the window: lock, reminder, sealing, papers before they are printed, the cut key in a picture."""

from __future__ import annotations

import os
import time
from collections.abc import Callable
from datetime import date
from pathlib import Path

import pytest
from PySide6.QtCore import QDate
from pytestqt.qtbot import QtBot

from app.bench import Bench
from app.folders import jobs_folder
from app.sealing import autosave_of, load_sealed
from app.window.drawing_dialog import DrawingDialog
from app.window.empty_state import recent_jobs, shown_name
from app.window.jobs_dialog import JobsDialog
from app.window.main_window import MainWindow
from app.window.paper_dialog import PaperDialog
from app.window.passphrase import PassphraseDialog
from keycore.joblock import LOCK, REFRESH_EVERY_S, STALE_AFTER_S, take_lock
from tests.app.made import CODE, png, quick_age
from tests.app.test_bench_keep import SEEN
from tests.app.window.conftest import wait_read

WORDS = "heron lantern gravel spoon"


@pytest.fixture(autouse=True)
def _quick(monkeypatch: pytest.MonkeyPatch) -> None:
    """Passphrases without their second."""
    library = quick_age()
    monkeypatch.setattr("app.sealing._pyrage", lambda: library)


@pytest.fixture
def kept(window: MainWindow) -> MainWindow:
    """The window with a whole job, saved in its folder."""
    bench = window.session.bench
    window.session.act(lambda: bench.set_entitlement(SEEN))
    window.session.act(lambda: bench.decide_code("-".join(CODE)))
    window.session.save_now()
    assert bench.folder is not None
    return window


def seal(window: MainWindow, qtbot: QtBot, name: str = "0007.job.age") -> Path:
    """Seal the job on the bench."""
    file = jobs_folder() / name
    window.keeper.seal_into(file, WORDS)
    qtbot.waitUntil(lambda: window.session.bench.sealed is not None, timeout=10_000)
    return file


def test_the_lock_of_an_open_job_is_kept_young(kept: MainWindow) -> None:
    """The clock runs as often as the lock asks; a lock that another bench took over is told once, in a sentence."""
    folder = kept.session.bench.folder
    assert folder is not None and kept.keeper.clock.isActive()
    assert kept.keeper.clock.interval() == REFRESH_EVERY_S * 1000
    old = time.time() - STALE_AFTER_S + 5
    os.utime(folder / LOCK, (old, old))
    kept.keeper.clock.timeout.emit()
    assert (folder / LOCK).stat().st_mtime > old + 60
    os.utime(folder / LOCK, (0, 0))
    other = take_lock(folder, "Bench 2")
    told: list[str] = []
    kept.keeper.said.connect(told.append)
    kept.keeper.clock.timeout.emit()
    kept.keeper.clock.timeout.emit()

    assert len(told) == 1 and "held by Bench 2" in told[0] and "Bench 2" in kept.sheet.notice.text.text()
    other.release()


def test_a_record_that_is_due_says_so_when_it_is_opened(
    kept: MainWindow, qtbot: QtBot, make_window: Callable[[Bench | None], MainWindow]
) -> None:
    """The reminder stands in the notice."""
    bench = kept.session.bench
    kept.session.act(lambda: bench.set_keep_until(date(2026, 1, 31)))
    kept.session.save_now()
    folder = bench.folder
    assert folder is not None
    kept.close()
    again = make_window(None)
    again.session.open(folder)
    qtbot.waitUntil(lambda: again.session.bench.folder == folder, timeout=10_000)

    assert "was to be kept until 2026-01-31" in again.sheet.notice.text.text()


def test_a_job_sealed_in_the_window_stays_sealed(kept: MainWindow, qtbot: QtBot) -> None:
    """Its folder goes, autosaves are sealed, closing seals it whole, and the recent list names the file only."""
    folder = kept.session.bench.folder
    assert folder is not None
    file = seal(kept, qtbot)
    assert not folder.exists() and "sealed" in kept.header.saved.text()
    kept.session.act(lambda: kept.session.bench.set_notes("by the blue door"))
    kept.session.save_now()
    assert autosave_of(file).exists()
    kept.close()

    assert not autosave_of(file).exists() and load_sealed(file, WORDS).job.notes == "by the blue door"
    assert sorted(path.name for path in jobs_folder().iterdir()) == ["0007.job.age"]
    assert recent_jobs() == (file,) and shown_name(file) == "0007 (sealed)"


def test_a_job_sealed_before_its_picture_is_opened_never_lies_in_the_clear(
    empty_window: MainWindow, qtbot: QtBot, tmp_path: Path
) -> None:
    """An empty job is sealed, then a picture is opened: the jobs folder only ever holds the sealed file and its kin."""
    file = seal(empty_window, qtbot)
    picture = tmp_path / "copy.png"
    picture.write_bytes(png())
    empty_window.session.act(lambda: empty_window.session.bench.set_spec("harbourside-5"))
    empty_window.session.open(picture)
    wait_read(empty_window, qtbot)
    empty_window.session.save_now()

    assert {path.name for path in jobs_folder().iterdir()} == {file.name, f"{file.name}.auto", f"{file.name}.lock"}
    empty_window.close()
    assert [path.name for path in jobs_folder().iterdir()] == [file.name]
    assert [picture.file for picture in load_sealed(file, WORDS).job.pictures] == ["copy.png"]


def test_a_sealed_job_opens_with_its_passphrase(
    kept: MainWindow, qtbot: QtBot, make_window: Callable[[Bench | None], MainWindow]
) -> None:
    """Opening the file asks for it; a wrong one is told; the right one lays the job on the bench, read and whole."""
    file = seal(kept, qtbot)
    kept.close()
    again = make_window(None)

    def type_in(words: str) -> None:
        again.session.open(file)
        dialog = next(d for d in again.findChildren(PassphraseDialog) if d.isVisible())
        dialog.fields[0].setText(words)
        dialog.accept()

    type_in("another one entirely")
    qtbot.waitUntil(lambda: "did not open" in again.sheet.notice.text.text(), timeout=10_000)
    type_in(WORDS)
    qtbot.waitUntil(lambda: again.session.bench.sealed is not None, timeout=10_000)
    wait_read(again, qtbot)

    assert again.session.bench.state.decided_code == CODE
    assert again.session.bench.state.entitlement.asked_by == "Orla Fenwright"


def test_a_passphrase_typed_twice_must_be_the_same(qtbot: QtBot) -> None:
    """A slip is caught before anything is sealed, and nothing typed stays in the fields."""
    dialog = PassphraseDialog("Seal", "words", twice=True)
    qtbot.addWidget(dialog)
    given: list[str] = []
    dialog.given.connect(given.append)
    dialog.accept()
    assert given == [] and "Type the passphrase" in dialog.standing.text()
    dialog.fields[0].setText(WORDS)
    dialog.fields[1].setText(WORDS[:-1])
    dialog.accept()
    assert given == [] and "not the same" in dialog.standing.text()
    dialog.fields[1].setText(WORDS)
    dialog.accept()

    assert given == [WORDS] and [field.text() for field in dialog.fields] == ["", ""]


def test_a_short_passphrase_seals_nothing(kept: MainWindow) -> None:
    """The folder stays and the sentence says how long."""
    kept.keeper.seal_into(jobs_folder() / "x.job.age", "short")

    assert "at least 12 characters" in kept.sheet.notice.text.text()
    assert kept.session.bench.folder is not None and kept.session.bench.folder.exists()


def drawn(dialog: PaperDialog, qtbot: QtBot) -> None:
    """Wait until the pages are drawn, or refused."""
    qtbot.waitUntil(lambda: dialog.standing.text() != "Drawing the pages.", timeout=20_000)


@pytest.mark.parametrize("paper", ["sheet", "template", "label"])
def test_papers_are_seen_before_they_are_kept(
    kept: MainWindow, qtbot: QtBot, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, paper: str
) -> None:
    """Every page is shown; what is kept is the very paper that was shown, and the system's viewer gets it."""
    opened: list[Path] = []
    monkeypatch.setattr("app.window.paper_dialog.open_in_viewer", opened.append)
    dialog = kept.show_paper(paper)  # type: ignore[arg-type]
    drawn(dialog, qtbot)
    pages = [label for label in dialog.findChildren(type(dialog.standing)) if not label.pixmap().isNull()]
    assert dialog.pdf.startswith(b"%PDF") and len(pages) >= 1
    dialog.page.setCurrentText("Letter")
    dialog.with_code.setChecked(True)
    drawn(dialog, qtbot)
    dialog.keep_as(str(tmp_path / "paper"))

    assert (tmp_path / "paper.pdf").read_bytes() == dialog.pdf and opened == [tmp_path / "paper.pdf"]
    assert "paper.pdf" in dialog.standing.text()
    dialog.close()


def test_a_paper_with_a_code_waits_for_the_entitlement(window: MainWindow, qtbot: QtBot) -> None:
    """The sentence stands in the place of the pages; a label without the code needs none."""
    sheet = window.show_paper("sheet")
    label = window.show_paper("label")
    drawn(sheet, qtbot)
    drawn(label, qtbot)

    assert sheet.pdf == b"" and not sheet.keep.isEnabled() and "still to be recorded" in sheet.standing.text()
    assert label.pdf != b"" and label.keep.isEnabled()
    for dialog in (sheet, label):
        dialog.close()


def test_a_printer_is_corrected_in_the_preview_and_further_by_the_next_print(kept: MainWindow, qtbot: QtBot) -> None:
    """Two rule lengths change the page and are remembered under the printer's name; wrong ones are told."""
    dialog = kept.show_paper("template")
    drawn(dialog, qtbot)
    plain = dialog.pdf
    dialog.printer.setText("desk")
    pages = []
    for along, across in (("99,6", "100.2"), ("100.1", "100.0")):
        dialog.along.setText(along)
        dialog.across.setText(across)
        dialog.correct()
        drawn(dialog, qtbot)
        pages.append(dialog.pdf)
    assert len({plain, *pages}) == 3 and dialog.along.text() == ""
    dialog.along.setText("9.96")
    dialog.across.setText("100")
    dialog.correct()
    assert "rule along cannot measure" in dialog.standing.text()
    again = PaperDialog(kept.session, "template")
    qtbot.addWidget(again)
    drawn(again, qtbot)
    assert again.pdf == plain
    again.printer.setText("desk")
    again.show_paper()
    drawn(again, qtbot)

    assert again.pdf == pages[-1]
    dialog.close()


def test_a_picture_of_the_cut_key_is_compared_and_drawn(kept: MainWindow, qtbot: QtBot, tmp_path: Path) -> None:
    """The outcome stands in the panel and the record; the overlay opens, and is kept as SVG."""
    cut = tmp_path / "cut.png"
    cut.write_bytes(png(150))
    page = kept.side.check
    kept.show_step("check")
    assert page.by_picture.isEnabled() and not page.again.isVisible() and not page.overlay.isVisible()
    page.open_cut_key(cut)
    qtbot.waitUntil(lambda: kept.session.bench.state.cut_key_check is not None, timeout=20_000)
    check = kept.session.bench.state.cut_key_check
    assert check is not None and check["measured_by"] == "picture" and check["outcome"] != "fail"
    assert page.again.isVisible() and page.overlay.isVisible() and page.verdict.text() != ""
    page.show_overlay()
    qtbot.waitUntil(lambda: any(d.isVisible() for d in kept.findChildren(DrawingDialog)), timeout=10_000)
    dialog = next(d for d in kept.findChildren(DrawingDialog) if d.isVisible())
    dialog.keep_as(str(tmp_path / "overlay"))

    assert (tmp_path / "overlay.svg").read_text(encoding="utf-8").startswith("<?xml")
    dialog.close()


def test_kept_jobs_are_found_and_opened(
    kept: MainWindow, qtbot: QtBot, make_window: Callable[[Bench | None], MainWindow], tmp_path: Path
) -> None:
    """The list is read off the thread; words, state, day and what is due narrow it; a line opens its job."""
    bench = kept.session.bench
    kept.session.act(lambda: bench.set_keep_until(date(2026, 1, 31)))
    kept.session.save_now()
    kept.close()
    Bench("T-2").save()
    again = make_window(None)
    dialog = again.keeper.show_jobs()
    qtbot.waitUntil(lambda: len(dialog.rows) == 2, timeout=10_000)
    assert {row.number for row in dialog.shown} == {"T-1", "T-2"}
    assert "1 to be looked at again" in dialog.standing.text()
    assert "-".join(CODE) not in " ".join(cells(dialog))
    dialog.words_asked.setText("fenwright")
    assert [row.number for row in dialog.shown] == ["T-1"] and "2026-01-31, due" in cells(dialog)
    dialog.words_asked.clear()
    dialog.state.setCurrentIndex(dialog.state.findData("open"))
    assert [row.number for row in dialog.shown] == ["T-2"]
    dialog.state.setCurrentIndex(0)
    dialog.from_day.setChecked(True)
    assert [row.number for row in dialog.shown] == ["T-1", "T-2"]
    dialog.due.setChecked(True)
    dialog.write_csv(str(tmp_path / "list"))
    assert (tmp_path / "list.csv").read_text(encoding="utf-8").count("Orla Fenwright") == 1
    dialog.open_chosen()
    qtbot.waitUntil(lambda: again.session.bench.state.number == "T-1", timeout=10_000)

    assert again.session.bench.folder == jobs_folder() / "T-1"


def cells(dialog: JobsDialog) -> list[str]:
    """What stands in the list."""
    table = dialog.table
    items = [table.item(row, column) for row in range(table.rowCount()) for column in range(table.columnCount())]
    return [item.text() for item in items if item is not None]


def test_another_folder_of_jobs_is_remembered(kept: MainWindow, qtbot: QtBot, tmp_path: Path) -> None:
    """A shared folder is chosen once."""
    Bench("S-1").save(tmp_path / "shared" / "S-1")
    dialog = kept.keeper.show_jobs()
    dialog.look_in(str(tmp_path / "shared"))
    qtbot.waitUntil(lambda: [row.number for row in dialog.rows] == ["S-1"], timeout=10_000)
    dialog.close()
    again = kept.keeper.show_jobs()

    assert again.folder == tmp_path / "shared"
    again.close()


def test_the_day_of_a_record_is_set_and_taken_away(kept: MainWindow) -> None:
    """One step to undo each."""
    bench = kept.session.bench
    dialog = kept.keeper.ask_keep_until()
    dialog.day.setDate(QDate(2031, 5, 1))
    dialog.give()
    assert bench.state.keep_until == date(2031, 5, 1) and bench.undo_words == "set the reminder"
    kept.keeper.ask_keep_until().give_none()

    assert bench.state.keep_until is None


def test_a_forgotten_job_leaves_an_empty_bench(kept: MainWindow, qtbot: QtBot) -> None:
    """Nothing of it is kept, and nothing of it comes back with the next save; a cancel removes nothing."""
    folder = kept.session.bench.folder
    assert folder is not None
    kept.keeper.ask_forget().reject()
    assert (folder / "job.json").exists()
    box = kept.keeper.ask_forget()
    next(b for b in box.buttons() if b.text() == "Forget it").click()
    kept.session.save_now()

    assert not folder.exists() and kept.session.bench.state.pictures == ()
    assert list(jobs_folder().iterdir()) == [] and "is forgotten" in kept.status.text()
