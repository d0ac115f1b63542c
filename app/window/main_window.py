"""The window: one sheet with the job's path, the picture over its ladder and growth, and the code.

Its frame (header, path, what to do first) needs Qt alone and is painted at once; :meth:`MainWindow.fill` brings the
bench, its decoder's types and the panels.  :func:`app.window.start.run` imports those beside the painted frame.
"""

from __future__ import annotations

from collections.abc import Callable
from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING, Final

from PySide6.QtCore import QLocale, QSettings, QSize, Qt, Signal
from PySide6.QtGui import QCloseEvent, QDragEnterEvent, QDropEvent, QGuiApplication, QPaintEvent
from PySide6.QtWidgets import QApplication, QHBoxLayout, QMainWindow, QStackedWidget, QVBoxLayout, QWidget

from app.window import theme
from app.window.actions import action_titles, make_actions
from app.window.empty_state import EmptyState
from app.window.header import Header
from app.window.job_path import JobPath
from app.window.language import said
from app.window.overlay import LeaveNotice
from app.window.parts import Panel, words
from app.window.shortcut_sheet import ShortcutSheet
from app.window.units import UNITS, LengthFormat, Unit

if TYPE_CHECKING:
    from app.bench import Bench
    from app.bench_steps import StepName
    from app.window.doorway import Doorway
    from app.window.keeper import Keeper
    from app.window.paper_dialog import Paper, PaperDialog
    from app.window.reduction_dialog import ReductionDialog
    from app.window.session import Session
    from app.window.sheet import Sheet
    from app.window.side import Side
    from app.window.table_editor import TableEditor

_PATH_WIDTH: Final = 186
SIDE_WIDTH: Final = 316


class MainWindow(QMainWindow):
    """The bench.  ``at_once=False`` makes the frame alone, to be shown before :meth:`fill` is called."""

    painted = Signal()
    """The frame has been painted, for the first time."""
    session: Session
    door: Doorway
    keeper: Keeper
    sheet: Sheet
    side: Side
    editor: TableEditor

    def __init__(self, bench: Bench | None = None, *, at_once: bool = True) -> None:
        super().__init__()
        self.setWindowTitle("Valleygauge")
        self.setMinimumSize(1000, 640)
        self.resize(QSize(1280, 780).boundedTo(self.screen().availableSize()))
        self.setAcceptDrops(True)
        self.colours = theme.system_colours()
        self.format = LengthFormat(decimal=QLocale().decimalPoint())
        self.filled = self.closed = self._was_painted = False
        self._asked_early: Callable[[], object] | None = None
        self._went_on = False
        self._done = ""
        self._saved_at = datetime.now()
        self._build_frame()
        self._restore()
        self.path.set_colours(self.colours)
        if at_once:
            self.fill(bench)

    def fill(self, bench: Bench | None = None, what: Path | str | None = None) -> None:
        """Put the bench into the frame, with a job, or with a picture or job folder on its way in."""
        if self.filled or self.closed:
            return
        from app.window.doorway import Doorway
        from app.window.keeper import Keeper
        from app.window.session import Session

        self.session = Session(bench, self)
        self.door = Doorway(self.session, self)
        self.keeper = Keeper(self.session, self)
        self._build_bench()
        self._connect()
        self.filled = True
        self.sheet.view.wheel_zooms = self.actions_by_name["wheel"].isChecked()
        if not self.empty.isHidden():
            self.empty.open.setFocus()
        self._show_format()
        self.set_colours(self.colours)
        self.show_step("picture")
        if what is not None:
            self.session.open(what)
        self.session.after_change()
        if self._asked_early is not None:
            self._asked_early()

    # ---- building ------------------------------------------------------------------------------------------------

    def _build_frame(self) -> None:
        self.actions_by_name = make_actions(
            self,
            {
                "open": lambda: self.door.ask_picture(),
                "open_job": lambda: self.door.ask_job(),
                "paste": lambda: self.door.paste(),
                "demo": lambda: self.door.open_demo(),
                "new": self.new_job,
                "save": lambda: self.session.save(),
                "export": self.export,
                "open_sealed": lambda: self.keeper.ask_sealed(),
                "jobs": lambda: self.keeper.show_jobs(),
                "seal": lambda: self.keeper.ask_seal(),
                "keep": lambda: self.keeper.ask_keep_until(),
                "forget": lambda: self.keeper.ask_forget(),
                "sheet": lambda: self.show_paper("sheet"),
                "template": lambda: self.show_paper("template"),
                "label": lambda: self.show_paper("label"),
                "reduction": self.show_reduction,
                "undo": lambda: self.session.undo(),
                "redo": lambda: self.session.redo(),
                "unit": self.next_unit,
                "keys": lambda: self.keys.toggle(),
                "read": lambda: self.session.read_again(),
                "menu": lambda: self.header.job.showMenu(),
                "lock": lambda: self.side.toggle_lock(),
                "to_picture": lambda: self.sheet.view.setFocus(Qt.FocusReason.ShortcutFocusReason),
                "to_ladder": lambda: self.sheet.ladder.setFocus(Qt.FocusReason.ShortcutFocusReason),
                "to_growth": lambda: self.sheet.strip.setFocus(Qt.FocusReason.ShortcutFocusReason),
                "next_picture": lambda: self.show_other_picture(1),
                "last_picture": lambda: self.show_other_picture(-1),
                "wheel": self._wheel_chosen,
                "quit": self.close,
                "aside": self._put_aside,
            },
        )
        for name, action in self.actions_by_name.items():
            action.setEnabled(name in ("quit", "keys", "unit", "menu"))  # the rest once there is a bench
        self._desk = desk = QWidget()
        desk.setObjectName("desk")
        self.setCentralWidget(desk)
        whole = QVBoxLayout(desk)
        whole.setContentsMargins(theme.GAP, 8, theme.GAP, 6)
        whole.setSpacing(8)
        self.header = Header(self.actions_by_name)
        whole.addWidget(self.header)
        body = QHBoxLayout()
        body.setSpacing(theme.GAP)
        whole.addLayout(body, 1)
        self.path = JobPath()
        self.path.setFixedWidth(_PATH_WIDTH)
        body.addWidget(self.path)
        self.centre = QStackedWidget()
        self.empty = EmptyState()
        self.empty.open_asked.connect(lambda: self._as_soon_as_filled(lambda: self.door.ask_picture()))
        self.empty.paste_asked.connect(lambda: self._as_soon_as_filled(lambda: self.door.paste()))
        self.empty.demo_asked.connect(lambda: self._as_soon_as_filled(lambda: self.door.open_demo()))
        self.empty.job_asked.connect(lambda folder: self._as_soon_as_filled(lambda: self.session.open(folder)))
        self._front = Panel()
        QVBoxLayout(self._front).addWidget(self.empty)
        self.centre.addWidget(self._front)
        body.addWidget(self.centre, 1)
        self._beside = Panel()
        self._beside.setFixedWidth(SIDE_WIDTH)
        body.addWidget(self._beside)
        self._body = body
        self.status = words("", "quiet", wrap=False)
        self.status.setAccessibleName(self.tr("Keys for what is under the pointer"))
        whole.addWidget(self.status)
        self.keys = ShortcutSheet(desk)
        self.leaving = LeaveNotice(self)
        QGuiApplication.styleHints().colorSchemeChanged.connect(self._scheme_changed)
        self.empty.open.setFocus()

    def _build_bench(self) -> None:
        from app.window.sheet import Sheet
        from app.window.side import Side
        from app.window.table_editor import TableEditor

        self.sheet, self.side = Sheet(self.session, self.empty), Side(self.session)
        self.side.setFixedWidth(SIDE_WIDTH)
        self.editor = TableEditor(self.session)
        self.centre.addWidget(self.sheet)
        self.centre.addWidget(self.editor)
        self.centre.setCurrentWidget(self.sheet)
        self.centre.removeWidget(self._front)
        self._body.replaceWidget(self._beside, self.side)
        for part in (self._front, self._beside):
            part.hide()
            part.deleteLater()
        for action in self.actions_by_name.values():
            action.setEnabled(True)

    def _connect(self) -> None:
        session, sheet, side, door = self.session, self.sheet, self.side, self.door
        session.changed.connect(self.refresh)
        session.changed.connect(self._show_ending)
        session.picture_ready.connect(self.refresh)
        session.job_replaced.connect(self._job_replaced)
        session.saved.connect(self._note_saved)
        session.jobs_made.connect(self._say_jobs)
        session.saver.changed.connect(self._show_saved)
        session.ended.connect(self._close_at_last, Qt.ConnectionType.QueuedConnection)
        door.said.connect(sheet.notice.say)
        door.done.connect(self._say_done)
        self.keeper.said.connect(lambda sentence: sheet.notice.say(said(sentence)))
        self.keeper.done.connect(self._say_done)
        door.entitlement_wanted.connect(lambda: self.show_step("entitlement", take_focus=True))
        sheet.hint_changed.connect(self._show_hint)
        sheet.view.mark_chosen.connect(side.marks.show_chosen)
        side.compare_asked.connect(sheet.compare)
        side.open_asked.connect(door.ask_picture)
        side.paste_asked.connect(door.paste)
        side.place_asked.connect(sheet.place_by_hand)
        side.mark_chosen.connect(sheet.view.choose)
        side.marks.lock_asked.connect(sheet.toggle_lock)
        side.marks.snap_asked.connect(sheet.toggle_snap)
        side.marks.shift_asked.connect(sheet.shift_cuts)
        side.table.edit_asked.connect(self._edit_table)
        self.editor.done.connect(lambda: self.centre.setCurrentWidget(sheet))
        side.reference_asked.connect(sheet.mark_reference)
        self.path.step_chosen.connect(self.show_step)
        self.header.job_asked.connect(session.open)
        self.header.unit_chosen.connect(self.set_unit)
        self.header.export_asked.connect(self.export)
        for index, name in enumerate(side.pages, 1):
            action = self.addAction(name)
            action.setShortcut(f"Ctrl+{index}")
            action.triggered.connect(lambda checked=False, name=name: self.show_step(name, take_focus=True))

    # ---- showing -------------------------------------------------------------------------------------------------

    def refresh(self) -> None:
        """Show the job as it stands."""
        bench = self.session.bench
        self._done = ""
        self.header.show_job(bench.state.number)
        self.header.show_picture(bench.state.current, len(bench.state.pictures))
        for name in ("next_picture", "last_picture"):
            self.actions_by_name[name].setEnabled(len(bench.state.pictures) > 1)
        self.path.show_steps(bench.steps())
        self.sheet.refresh()
        self._go_on()
        self._show_code()
        self.side.refresh()
        self._show_undo()
        self._show_saved()
        self._show_hint()

    def show_step(self, name: StepName, *, take_focus: bool = False) -> None:
        """Open a step's panel."""
        self.path.choose(name)
        self.side.show_step(name, take_focus=take_focus)
        self._show_code()

    def set_unit(self, unit: Unit) -> None:
        """Show lengths in this unit."""
        self._set_format(LengthFormat(unit, self.format.decimal))

    def next_unit(self) -> None:
        """mm, inch, thou."""
        self._set_format(self.format.next())

    def set_colours(self, colours: theme.Colours) -> None:
        """Light or dark."""
        self.colours = colours
        self.path.set_colours(colours)
        if self.filled:
            for part in (self.sheet, self.side, self.editor):
                part.set_colours(colours)

    def show_other_picture(self, by: int) -> None:
        """Work on the next picture of the job, or the one before."""
        state = self.session.bench.state
        if state.pictures:
            self.session.act(lambda: self.session.bench.show_picture((state.current + by) % len(state.pictures)))

    def new_job(self) -> None:
        """Lay an empty job on the bench."""
        from app.bench import Bench

        self.session.replace_bench(Bench())

    def show_paper(self, paper: Paper) -> PaperDialog:
        """Show one of the job's papers before it is kept or printed."""
        from app.window.paper_dialog import show_paper

        return show_paper(self.session, paper, self, self._say_done)

    def show_reduction(self) -> ReductionDialog:
        """Show what to set on a copier to bring an enlarged copy to the key's size."""
        from app.window.reduction_dialog import ReductionDialog

        dialog = ReductionDialog(self.session, self.format, self)
        dialog.setAttribute(Qt.WidgetAttribute.WA_DeleteOnClose)
        dialog.show()
        return dialog

    def export(self) -> None:
        """Write picture and job to a folder, or say why not."""
        self.door.export(said(self.session.bench.problem) or self._waits_for())

    # ---- events --------------------------------------------------------------------------------------------------

    def dragEnterEvent(self, event: QDragEnterEvent) -> None:
        if self.filled and self.door.accepts(event.mimeData()):
            event.acceptProposedAction()

    def dropEvent(self, event: QDropEvent) -> None:
        self.door.take(event.mimeData(), self.tr("dropped picture.png"))
        event.acceptProposedAction()

    def paintEvent(self, event: QPaintEvent) -> None:
        super().paintEvent(event)
        if not self._was_painted:
            self._was_painted = True
            self.painted.emit()

    def closeEvent(self, event: QCloseEvent) -> None:
        QSettings("valleygauge", "window").setValue("geometry", self.saveGeometry())
        if self.filled and not self.closed and not self._ended():
            event.ignore()
            return
        if not self.closed:
            QGuiApplication.styleHints().colorSchemeChanged.disconnect(self._scheme_changed)
        self.closed = True
        event.accept()

    # ---- within --------------------------------------------------------------------------------------------------

    def _ended(self) -> bool:
        """End the session; where that takes a while (a job is sealed whole), say so and close once it is done."""
        from app.window.session import PATIENCE_S

        ended = self.session.end(PATIENCE_S)
        self._show_ending()
        return ended

    def _show_ending(self) -> None:
        going = self.session.ending
        self._desk.setEnabled(not going)
        if going:
            sealed = self.session.bench.sealed is not None
            self.leaving.show_work(
                self.tr("Sealing the job. The window closes as soon as that is done.")
                if sealed
                else self.tr("Saving the job. The window closes as soon as that is done.")
            )
        else:
            self.leaving.hide()

    def _close_at_last(self) -> None:
        if not self.closed:
            self.close()

    def _as_soon_as_filled(self, does: Callable[[], object]) -> None:
        """Do it; where the bench is still on its way, once it is there: a click on the frame is not lost."""
        if self.filled:
            does()
        else:
            self._asked_early = does

    def _go_on(self) -> None:
        """Open the next step's panel where the one that is open has just been done."""
        bench, step = self.session.bench, self.side.step
        had_keys = self.side.isAncestorOf(QApplication.focusWidget() or self)
        if step == "picture" and bench.state.picture is not None and bench.state.spec is None:
            self.show_step("table", take_focus=had_keys)
        elif step in ("picture", "table") and bench.decoding is not None and not self._went_on:
            self._went_on = True
            self.show_step("code")
            if had_keys:  # not on a button: a key that was meant for the list before would press it
                self.sheet.view.setFocus(Qt.FocusReason.OtherFocusReason)

    def _waits_for(self) -> str:
        state = self.session.bench.state
        if self.session.reading_now:
            return self.tr("Reading the picture.")
        if state.picture is None:
            return self.tr("Open a picture.")
        if state.spec is None:
            return self.tr("Choose the depth table.")
        if self.session.given_up:
            return self.tr("The reading was stopped; F5 reads again.")
        return self.tr("No code yet.")

    def _show_code(self) -> None:
        bench = self.session.bench
        self.side.code.show_decoding(
            bench.decoding,
            stale=self.session.reading_pictures,
            waits_for=said(bench.problem) or self._waits_for(),
            offer_marking=bool(bench.problem) and not self.sheet.view.placing,
        )

    def _show_undo(self) -> None:
        bench = self.session.bench
        for name, does in (("undo", bench.undo_words), ("redo", bench.redo_words)):
            action = self.actions_by_name[name]
            action.setEnabled(bool(does))
            title = action_titles()[name]
            action.setToolTip(f"{title}: {said(does)}" if does else title)
        self.header.show_undo(said(bench.undo_words), said(bench.redo_words))

    def _note_saved(self) -> None:
        self._saved_at = datetime.now()
        self._show_saved()

    def _show_saved(self) -> None:
        bench = self.session.bench
        if bench.save_error:
            self.header.show_saved(self.tr("not saved"), trouble=True)
        elif bench.dirty and bench.state.pictures:
            self.header.show_saved(self.tr("saving…"), trouble=False)
        elif bench.sealed is not None:
            self.header.show_saved(self.tr("saved {0}, sealed").format(f"{self._saved_at:%H:%M}"), trouble=False)
        elif bench.folder is not None:
            self.header.show_saved(self.tr("saved {0}").format(f"{self._saved_at:%H:%M}"), trouble=False)
        else:
            self.header.show_saved(self.tr("nothing to save yet"), trouble=False)
        self.header.saved.setToolTip(said(bench.save_error) or str(bench.home or ""))

    def _show_hint(self) -> None:
        self.status.setText(self._done or self.sheet.hint() or self.tr("F1 shows all keys"))

    def _say_jobs(self, numbers: tuple[str, ...]) -> None:
        self._say_done(self.tr("Made for the other keys: {0}. They are in the job menu.").format(", ".join(numbers)))

    def _say_done(self, sentence: str) -> None:
        self._done = sentence
        self._show_hint()

    def _set_format(self, form: LengthFormat) -> None:
        self.format = form
        QSettings("valleygauge", "window").setValue("unit", form.unit)
        self._show_format()
        if self.filled:
            self.refresh()

    def _show_format(self) -> None:
        self.header.show_unit(self.format.unit)
        if self.filled:
            self.sheet.set_format(self.format)
            self.side.set_format(self.format)

    def _restore(self) -> None:
        settings = QSettings("valleygauge", "window")
        geometry = settings.value("geometry")
        if geometry is not None:
            self.restoreGeometry(geometry)
        unit = settings.value("unit")
        self.format = LengthFormat(unit if unit in UNITS else "mm", self.format.decimal)
        wheel = self.actions_by_name["wheel"]
        wheel.setCheckable(True)
        wheel.setChecked(settings.value("wheel", "zooms") != "moves")
        self._show_format()

    def _wheel_chosen(self) -> None:
        zooms = self.actions_by_name["wheel"].isChecked()
        QSettings("valleygauge", "window").setValue("wheel", "zooms" if zooms else "moves")
        self.sheet.view.wheel_zooms = zooms
        self._show_hint()

    def _scheme_changed(self) -> None:
        application = QApplication.instance()
        colours = theme.system_colours()
        if isinstance(application, QApplication) and colours != self.colours:
            theme.apply(application, colours)
            self.set_colours(colours)

    def _edit_table(self, chosen: bool) -> None:
        spec = self.session.bench.state.spec if chosen else None
        self.centre.setCurrentWidget(self.editor)
        self.editor.edit(spec, self.format)

    def _put_aside(self) -> None:
        if not self.filled or self.keys.isVisible():
            self.keys.put_aside()
        else:
            self.sheet.put_aside()

    def _job_replaced(self) -> None:
        self._went_on = False
        self.show_step("picture")
