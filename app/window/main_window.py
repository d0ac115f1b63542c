"""The window: one sheet with the job's path, the picture over its ladder and growth, and the code."""

from __future__ import annotations

import logging
from datetime import datetime
from pathlib import Path
from typing import Final

import numpy as np
from PySide6.QtCore import QBuffer, QIODevice, QLocale, QSettings, Qt
from PySide6.QtGui import QCloseEvent, QDragEnterEvent, QDropEvent, QGuiApplication, QImage
from PySide6.QtWidgets import (
    QApplication,
    QFileDialog,
    QHBoxLayout,
    QMainWindow,
    QScrollArea,
    QSplitter,
    QStackedWidget,
    QVBoxLayout,
    QWidget,
)

from app.bench import Bench
from app.bench_steps import StepName
from app.window import theme
from app.window.actions import action_titles, make_actions
from app.window.check_page import CheckPage
from app.window.code_page import CodePage
from app.window.code_panel import CodePanel
from app.window.compare_geometry import root_lines
from app.window.cutting_page import CuttingPage
from app.window.demo import demo_bench
from app.window.depth_ladder import DepthLadder
from app.window.empty_state import EmptyState
from app.window.entitlement_panel import EntitlementPanel
from app.window.growth_strip import GrowthStrip
from app.window.header import Header
from app.window.job_path import JobPath
from app.window.ladder_geometry import spread_centres
from app.window.marks_panel import MarksPanel
from app.window.overlay import Notice, WorkNotice
from app.window.parts import Panel, button, rule, words
from app.window.picture_panel import PicturePanel
from app.window.picture_view import PictureView
from app.window.scale_panel import ScalePanel
from app.window.session import Session
from app.window.shortcut_sheet import ShortcutSheet
from app.window.step_panel import StepPanel
from app.window.table_panel import TablePanel
from app.window.units import UNITS, LengthFormat, Unit
from app.window.words import mark_title
from keycore.codes import Code
from keycore.spec import KeySpec

_log = logging.getLogger(__name__)
_PATH_WIDTH: Final = 186
_CODE_WIDTH: Final = 316
_PICTURES: Final = "PNG, JPEG, TIFF, PDF, HEIC (*.png *.jpg *.jpeg *.tif *.tiff *.bmp *.webp *.gif *.pdf *.heic *.heif)"


class MainWindow(QMainWindow):
    """The bench."""

    def __init__(self, bench: Bench | None = None) -> None:
        super().__init__()
        self.setWindowTitle("Valleygauge")
        self.setMinimumSize(1000, 640)
        self.resize(1280, 780)
        self.setAcceptDrops(True)
        self.session = Session(bench, self)
        self.colours = theme.system_colours()
        self.format = LengthFormat(decimal=QLocale().decimalPoint())
        self._compared: Code | None = None
        self._shown_picture: object = None
        self._build()
        self._connect()
        self._restore()
        self.set_colours(self.colours)
        self.show_step("picture")
        self.session.after_change()

    # ---- building ------------------------------------------------------------------------------------------------

    def _build(self) -> None:
        self.actions_by_name = make_actions(
            self,
            {
                "open": self.ask_picture, "open_job": self.ask_job, "paste": self.paste, "demo": self.open_demo,
                "new": lambda: self.session.replace_bench(Bench()), "save": self.session.save_now, "export": self.export,
                "undo": self.session.undo, "redo": self.session.redo, "unit": self.next_unit,
                "keys": lambda: self.sheet.toggle(), "read": self.session.read_again,
                "to_picture": lambda: self.view.setFocus(Qt.FocusReason.ShortcutFocusReason),
                "to_ladder": lambda: self.ladder.setFocus(Qt.FocusReason.ShortcutFocusReason),
                "to_growth": lambda: self.strip.setFocus(Qt.FocusReason.ShortcutFocusReason),
                "quit": self.close, "aside": self._put_aside,
            },
        )  # fmt: skip
        desk = QWidget()
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
        body.addWidget(self._centre(), 1)
        body.addWidget(self._right())
        self.status = words("", "quiet", wrap=False)
        self.status.setAccessibleName(self.tr("Keys for what is under the pointer"))
        whole.addWidget(self.status)
        self.sheet = ShortcutSheet(desk)

    def _centre(self) -> QWidget:
        self.view, self.empty = PictureView(), EmptyState()
        self.stack = QStackedWidget()
        self.stack.addWidget(self.empty)
        self.stack.addWidget(self.view)
        self.notice, self.working = Notice(self.stack), WorkNotice(self.stack)
        self.ladder, self.strip = DepthLadder(), GrowthStrip()
        self.growth_words = words("", "")
        self.auto_growth = button(self.tr("Leave it to the evidence"), lambda: self._growth(None))
        growth_title = QHBoxLayout()
        growth_title.addWidget(self.growth_words, 1)
        growth_title.addWidget(self.auto_growth)
        splitter = QSplitter(Qt.Orientation.Vertical)
        splitter.setHandleWidth(theme.GAP - 2)
        splitter.setChildrenCollapsible(False)
        for content, stretch in (((self.stack,), 5), ((self.ladder,), 5), ((growth_title, self.strip), 2)):
            panel = Panel()
            box = QVBoxLayout(panel)
            box.setSpacing(2)
            box.setContentsMargins(1, 1, 1, 1)
            for part in content:
                if isinstance(part, QHBoxLayout):
                    part.setContentsMargins(14, 6, 8, 0)
                    box.addLayout(part)
                else:
                    box.addWidget(part, 1)
            splitter.addWidget(panel)
            splitter.setStretchFactor(splitter.count() - 1, stretch)
        self.splitter = splitter
        return splitter

    def _right(self) -> QWidget:
        panel = Panel()
        panel.setFixedWidth(_CODE_WIDTH)
        box = QVBoxLayout(panel)
        box.setContentsMargins(16, 12, 12, 12)
        self.code = CodePanel()
        box.addWidget(self.code)
        box.addWidget(rule())
        self.pages: dict[StepName, StepPanel] = {
            "entitlement": EntitlementPanel(self.session), "table": TablePanel(self.session), "picture": PicturePanel(self.session),
            "scale": ScalePanel(self.session), "marks": MarksPanel(self.session), "code": CodePage(self.session),
            "cutting": CuttingPage(self.session), "check": CheckPage(self.session),
        }  # fmt: skip
        self.page_stack = QStackedWidget()
        for page in self.pages.values():
            scroll = QScrollArea()
            scroll.setWidgetResizable(True)
            scroll.setHorizontalScrollBarPolicy(Qt.ScrollBarPolicy.ScrollBarAlwaysOff)
            scroll.setWidget(page)
            scroll.setFocusPolicy(Qt.FocusPolicy.NoFocus)
            scroll.viewport().setAutoFillBackground(False)
            self.page_stack.addWidget(scroll)
        box.addWidget(self.page_stack, 1)
        return panel

    def _connect(self) -> None:
        session, view = self.session, self.view
        session.changed.connect(self.refresh)
        session.picture_ready.connect(self.refresh)
        session.job_replaced.connect(self._forget_picture)
        session.refused.connect(self.notice.say)
        session.saved.connect(self._show_saved)
        session.worker.progressed.connect(lambda kind, share, what: self.working.progress(share, what))
        session.worker.changed.connect(self._show_work)
        self.working.cancel_asked.connect(session.give_up)
        view.view_changed.connect(self._align_ladder)
        view.mark_moved.connect(self._move_mark)
        view.mark_placed.connect(lambda name, x, y: self._move_mark(name, x, y, False))
        view.mark_given_back.connect(lambda name: session.act(lambda: session.bench.clear_mark(name)))
        view.mark_lock_asked.connect(self._toggle_lock)
        view.mark_chosen.connect(self._marks_page().show_chosen)
        self._marks_page().chosen.connect(view.choose)
        self._marks_page().place_asked.connect(self._place_by_hand)
        for widget in (view, self.ladder, self.strip):
            widget.hint_changed.connect(self._show_hint)
        self.ladder.asked.connect(self._rung_asked)
        self.ladder.cut_entered.connect(lambda cut: view.choose(f"root.{cut}"))
        self.strip.slid.connect(self._growth)
        self.strip.released_to_evidence.connect(lambda: self._growth(None))
        self.code.compare_asked.connect(self._compare)
        code_page, picture_page = self.pages["code"], self.pages["picture"]
        assert isinstance(code_page, CodePage) and isinstance(picture_page, PicturePanel)
        code_page.compare_asked.connect(self._compare)
        picture_page.open_asked.connect(self.ask_picture)
        picture_page.paste_asked.connect(self.paste)
        self.empty.open_asked.connect(self.ask_picture)
        self.empty.paste_asked.connect(self.paste)
        self.empty.demo_asked.connect(self.open_demo)
        self.empty.job_asked.connect(session.open)
        self.path.step_chosen.connect(self.show_step)
        self.header.unit_chosen.connect(self.set_unit)
        self.header.export_asked.connect(self.export)
        QGuiApplication.styleHints().colorSchemeChanged.connect(self._scheme_changed)
        for index, name in enumerate(self.pages, 1):
            action = self.addAction(name)
            action.setShortcut(f"Ctrl+{index}")
            action.triggered.connect(lambda checked=False, name=name: self.show_step(name, take_focus=True))

    # ---- showing -------------------------------------------------------------------------------------------------

    def refresh(self) -> None:
        """Show the job as it stands."""
        bench = self.session.bench
        state = bench.state
        self.header.show_job(state.number)
        self.path.show_steps(bench.steps())
        self._show_picture()
        decoding, stale = bench.decoding, self.session.reading_now
        spec = decoding.spec if decoding is not None else state.spec
        self.ladder.show_table(spec, decoding, stale=stale and decoding is not None)
        self.ladder.show_holds(dict(state.held), state.ruled_out)
        self._align_ladder()
        waits = bench.problem or self._waits_for()
        self.code.show_decoding(decoding, stale=stale, waits_for=waits)
        self._show_growth(spec)
        self.pages[self._step].refresh()
        self._show_undo()
        self._show_saved()
        self._show_hint()

    def show_step(self, name: StepName, *, take_focus: bool = False) -> None:
        """Open a step's panel."""
        self._step: StepName = name
        self.path.choose(name)
        self.page_stack.setCurrentIndex(list(self.pages).index(name))
        self.pages[name].refresh()
        if take_focus:
            self.pages[name].focusNextChild()

    def set_unit(self, unit: Unit) -> None:
        """Show lengths in this unit."""
        self._set_format(LengthFormat(unit, self.format.decimal))

    def next_unit(self) -> None:
        """mm, inch, thou."""
        self._set_format(self.format.next())

    def set_colours(self, colours: theme.Colours) -> None:
        """Light or dark."""
        self.colours = colours
        for part in (self.view, self.ladder, self.strip):
            part.colours = colours
            part.update()
        self.path.set_colours(colours)
        self.code.set_colours(colours)

    # ---- opening and leaving ---------------------------------------------------------------------------------------

    def ask_picture(self) -> None:
        """Let the person pick picture files."""
        dialog = QFileDialog(self, self.tr("Open a picture of a key"), "", _PICTURES)
        dialog.setAttribute(Qt.WidgetAttribute.WA_DeleteOnClose)
        dialog.fileSelected.connect(self.session.open)
        dialog.open()

    def ask_job(self) -> None:
        """Let the person pick a job folder."""
        dialog = QFileDialog(self, self.tr("Open a job folder"))
        dialog.setFileMode(QFileDialog.FileMode.Directory)
        dialog.setAttribute(Qt.WidgetAttribute.WA_DeleteOnClose)
        dialog.fileSelected.connect(self.session.open)
        dialog.open()

    def paste(self) -> None:
        """Take a picture, or a picture file, from the clipboard."""
        mime = QGuiApplication.clipboard().mimeData()
        if mime is not None and mime.hasImage():
            image = QGuiApplication.clipboard().image()
            self.session.open(png_of(image), name=self.tr("pasted picture.png"))
        elif mime is not None and mime.hasUrls() and mime.urls()[0].isLocalFile():
            self.session.open(mime.urls()[0].toLocalFile())
        else:
            self.notice.say(self.tr("There is no picture on the clipboard; copy one and paste again, or open a file."))

    def open_demo(self) -> None:
        """Lay the demo job on the bench."""
        self.session.worker.start(
            "open", lambda progress, cancelled: demo_bench(), self.session.replace_bench, self.session._failed
        )

    def export(self) -> None:
        """Write the annotated picture and the job, once the entitlement is recorded."""
        state, bench = self.session.bench.state, self.session.bench
        if state.missing_for_export:
            self.show_step("entitlement", take_focus=True)
            missing = ", ".join(state.missing_for_export)
            self.notice.say(
                self.tr(
                    "Nothing was exported: a code leaves the program only with its entitlement. Still to be recorded: {0}."
                ).format(missing)
            )
            return
        if bench.decoding is None or not bench.is_current:
            self.notice.say(
                self.tr("Nothing was exported: there is no code yet. {0}").format(bench.problem or self._waits_for())
            )
            return
        dialog = QFileDialog(self, self.tr("Export to which folder?"))
        dialog.setFileMode(QFileDialog.FileMode.Directory)
        dialog.setAttribute(Qt.WidgetAttribute.WA_DeleteOnClose)
        dialog.fileSelected.connect(lambda folder: self.export_to(Path(folder) / f"job-{state.number}"))
        dialog.open()

    def export_to(self, folder: Path) -> None:
        """Write the export into a folder."""
        written: list[Path] = []
        if self.session.act(lambda: written.extend(self.session.bench.export(folder))):
            self.status.setText(self.tr("Exported {0} files to {1}.").format(len(written), folder))

    def dragEnterEvent(self, event: QDragEnterEvent) -> None:
        mime = event.mimeData()
        if mime.hasImage() or any(url.isLocalFile() for url in mime.urls()):
            event.acceptProposedAction()

    def dropEvent(self, event: QDropEvent) -> None:
        mime = event.mimeData()
        files = [url.toLocalFile() for url in mime.urls() if url.isLocalFile()]
        if files:
            self.session.open(files[0])
        elif mime.hasImage():
            self.session.open(png_of(QImage(mime.imageData())), name=self.tr("dropped picture.png"))
        event.acceptProposedAction()

    def closeEvent(self, event: QCloseEvent) -> None:
        QSettings("valleygauge", "window").setValue("geometry", self.saveGeometry())
        QGuiApplication.styleHints().colorSchemeChanged.disconnect(self._scheme_changed)
        self.session.close()
        event.accept()

    # ---- within ----------------------------------------------------------------------------------------------------

    def _show_picture(self) -> None:
        bench = self.session.bench
        picture = bench.state.picture
        layers = self.session.layers()
        key = None if picture is None else (picture.file, picture.sha256, picture.page, layers is not None)
        if key != self._shown_picture:
            self._shown_picture = key
            self.view.show_picture(layers, picture.picture.size if picture is not None else (1, 1))
            if picture is None:
                self.empty.refresh()
            self.stack.setCurrentWidget(self.empty if picture is None else self.view)
        self.view.show_marks(bench.marks())
        self.view.show_reading(bench.reading)
        self.view.show_marks(bench.marks())

    def _show_growth(self, spec: KeySpec | None) -> None:
        bench = self.session.bench
        decoding, picture = bench.decoding, bench.state.picture
        by_hand = picture is not None and picture.growth_mm is not None
        growth = None if decoding is None else decoding.growth_mm
        if by_hand and picture is not None and decoding is not None:
            growth = picture.growth_mm
        self.strip.show_strip(bench.strip, bench.growth_density, spec, growth, by_hand=by_hand)
        self.auto_growth.setVisible(by_hand)
        if decoding is None or growth is None:
            self.growth_words.setText(self.tr("Growth: how far shadow, toner and blur stand outside the metal"))
        elif by_hand:
            self.growth_words.setText(self.tr("Growth set by hand: {0}").format(self.format.length(growth)))
        else:
            doubt = self.format.with_doubt(growth, decoding.growth_sigma_mm)
            self.growth_words.setText(
                self.tr("Growth: shadow and toner stand {0} {1} outside the metal").format(doubt, self.format.unit)
            )

    def _align_ladder(self) -> None:
        """Put the ladder's columns under the picture's cuts."""
        bench = self.session.bench
        decoding = bench.decoding
        spec = decoding.spec if decoding is not None else bench.state.spec
        if spec is None:
            self.ladder.set_centres(())
            return
        centres = self.view.cut_centres(spec.cuts_per_edge)
        if centres:
            shown = self.view.view.view_xy(np.array([[x, 0.0] for x in centres]))[:, 0]
            shift = (
                self.view.mapTo(self, self.view.rect().topLeft()).x()
                - self.ladder.mapTo(self, self.ladder.rect().topLeft()).x()
            )
            self.ladder.set_centres(tuple(float(x) + shift for x in shown))
        else:
            self.ladder.set_centres(spread_centres(spec.cut_positions_mm, float(self.ladder.width())))

    def _waits_for(self) -> str:
        state = self.session.bench.state
        if self.session.reading_now:
            return self.tr("Reading the picture.")
        if state.picture is None:
            return self.tr("Open a picture.")
        if state.spec is None:
            return self.tr("Choose the depth table (step 2).")
        if self.session.given_up:
            return self.tr("The reading was stopped; F5 reads again.")
        return self.tr("No code yet.")

    def _show_undo(self) -> None:
        bench = self.session.bench
        for name, said in (("undo", bench.undo_words), ("redo", bench.redo_words)):
            action = self.actions_by_name[name]
            action.setEnabled(bool(said))
            title = action_titles()[name]
            action.setToolTip(f"{title}: {said}" if said else title)
            action.setStatusTip(said)

    def _show_saved(self) -> None:
        bench = self.session.bench
        if bench.save_error:
            self.header.show_saved(self.tr("not saved"), trouble=True)
        elif bench.dirty and bench.state.pictures:
            self.header.show_saved(self.tr("saving…"), trouble=False)
        elif bench.folder is not None:
            self.header.show_saved(self.tr("saved {0}").format(f"{datetime.now():%H:%M}"), trouble=False)
        else:
            self.header.show_saved(self.tr("nothing to save yet"), trouble=False)
        self.header.saved.setToolTip(bench.save_error or str(bench.folder or ""))

    def _show_work(self) -> None:
        if self.session.worker.busy("read") or self.session.worker.busy("open"):
            self.working.begin()
        else:
            self.working.end()

    def _show_hint(self) -> None:
        for widget in (self.ladder, self.strip, self.view):
            if widget.underMouse() or (widget.hasFocus() and not self.view.underMouse()):
                self.status.setText(widget.hint() or self.tr("F1 shows all keys"))
                return
        self.status.setText(self.tr("F1 shows all keys"))

    def _move_mark(self, name: str, x: float, y: float, by_key: bool) -> None:
        bench = self.session.bench
        self.session.act(lambda: bench.move_mark(name, (x, y), gesture="nudge" if by_key else None))

    def _toggle_lock(self, name: str) -> None:
        bench = self.session.bench
        locked = any(mark.locked for mark in bench.marks() if mark.name == name)
        self.session.act(lambda: bench.lock_mark(name, not locked))

    def _place_by_hand(self) -> None:
        spec = self.session.bench.state.spec
        if spec is None:
            return
        axis = "back" if spec.edges == "single" else "centreline"
        names = [spec.gauge_from, f"{axis}.0", f"{axis}.1", "blade_height.0", "blade_height.1"]
        edges = 1 if spec.edges == "single" else 2
        self.view.place_marks([*names, *(f"root.{index}" for index in range(spec.cuts_per_edge * edges))])
        self.view.setFocus()
        self.status.setText(self.tr("click the {0}").format(mark_title(names[0])))

    def _rung_asked(self, cut: int, label: str, wanted: str) -> None:
        bench = self.session.bench
        if wanted == "held":
            self.session.act(lambda: bench.hold(cut, label))
        elif wanted == "ruled out":
            self.session.act(lambda: bench.rule_out(cut, label))
        else:
            self.session.act(lambda: bench.free_depth(cut, label))

    def _growth(self, growth_mm: float | None) -> None:
        self.session.act(lambda: self.session.bench.set_growth(growth_mm))

    def _compare(self, code: Code | None) -> None:
        self._compared = code
        bench = self.session.bench
        decoding, reading = bench.decoding, bench.reading
        if code is None or decoding is None or reading is None or len(code) != len(decoding.codes[0].code):
            self.view.show_lines(())
            return
        centres = self.view.cut_centres(decoding.spec.cuts_per_edge)
        if centres:
            likeliest = root_lines(decoding.codes[0].code, decoding, reading.blade, centres)
            other = root_lines(code, decoding, reading.blade, centres)
            self.view.show_lines(
                (likeliest, tuple(b for a, b in zip(likeliest, other, strict=True) if a.label != b.label))
            )

    def _set_format(self, form: LengthFormat) -> None:
        self.format = form
        for part in (self.ladder, self.strip, self.code, *self.pages.values()):
            part.format = form
            part.update()
        self.header.show_unit(form.unit)
        QSettings("valleygauge", "window").setValue("unit", form.unit)
        self.refresh()

    def _restore(self) -> None:
        settings = QSettings("valleygauge", "window")
        geometry = settings.value("geometry")
        if geometry is not None:
            self.restoreGeometry(geometry)
        unit = settings.value("unit")
        self._step = "picture"
        self.format = LengthFormat(unit if unit in UNITS else "mm", self.format.decimal)
        for part in (self.ladder, self.strip, self.code, *self.pages.values()):
            part.format = self.format
        self.header.show_unit(self.format.unit)

    def _scheme_changed(self) -> None:
        application = QApplication.instance()
        colours = theme.system_colours()
        if isinstance(application, QApplication) and colours != self.colours:
            theme.apply(application, colours)
            self.set_colours(colours)

    def _put_aside(self) -> None:
        if self.sheet.isVisible():
            self.sheet.put_aside()
        elif self.view.placing:
            self.view.place_marks(())
        else:
            self.notice.put_aside()

    def _forget_picture(self) -> None:
        self._shown_picture = object()

    def _marks_page(self) -> MarksPanel:
        page = self.pages["marks"]
        assert isinstance(page, MarksPanel)
        return page


def png_of(image: QImage) -> bytes:
    """A picture from the clipboard as the bytes of a file."""
    buffer = QBuffer()
    buffer.open(QIODevice.OpenModeFlag.WriteOnly)
    image.save(buffer, "PNG")
    return bytes(buffer.data().data())
