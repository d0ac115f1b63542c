"""The sheet in the middle: picture, depth ladder under it on the same axis, and growth with its code strip."""

from __future__ import annotations

from typing import Final

import numpy as np
from PySide6.QtCore import Qt, Signal
from PySide6.QtWidgets import QApplication, QHBoxLayout, QLayout, QSplitter, QStackedWidget, QVBoxLayout, QWidget

from app.bench_marks import MarkPoint
from app.window import theme
from app.window.beside import Beside, Other
from app.window.compare_geometry import root_lines
from app.window.depth_ladder import DepthLadder
from app.window.empty_state import EmptyState
from app.window.growth_strip import GrowthStrip
from app.window.ladder_geometry import room_for, spread_centres
from app.window.overlay import Notice, WorkNotice
from app.window.parts import Panel, button, words
from app.window.picture_view import PictureView
from app.window.reference_form import WantedReference
from app.window.session import Session
from app.window.units import LengthFormat
from keycore.codes import Code
from keycore.marks import PointXY, ReferenceMark
from keycore.spec import KeySpec

_SHARES: Final = (300, 290, 140)
_MOST: Final = (100_000, 520, 220)
"""On a tall screen the picture gets what ladder and strip have no use for."""


class Sheet(QSplitter):
    """Picture, ladder, growth."""

    hint_changed = Signal()

    def __init__(self, session: Session, empty: EmptyState, parent: QWidget | None = None) -> None:
        super().__init__(Qt.Orientation.Vertical, parent)
        self.session = session
        self.format = LengthFormat()
        self._shown_picture: object = None
        self._compared: Code | None = None
        self._wanted: WantedReference | None = None
        self._corners: list[PointXY] = []
        self.view, self.empty = PictureView(), empty
        self.stack = QStackedWidget()
        self.stack.addWidget(self.empty)
        self.stack.addWidget(self.view)
        self.notice, self.working = Notice(self.stack), WorkNotice(self.stack)
        self.ladder, self.strip = DepthLadder(), GrowthStrip()
        self.growth_words = words("", "")
        self.growth_words.setMaximumHeight(40)
        self.auto_growth = button(self.tr("Leave it to the evidence"), lambda: self.set_growth(None))
        growth_title = QHBoxLayout()
        growth_title.setContentsMargins(14, 6, 8, 0)
        growth_title.addWidget(self.growth_words, 1)
        growth_title.addWidget(self.auto_growth)
        self.setHandleWidth(theme.GAP - 2)
        self.setChildrenCollapsible(False)
        self._panels: list[Panel] = []
        growth: tuple[QWidget | QLayout, ...] = (growth_title, self.strip)
        self.beside = Beside()
        pictures = QHBoxLayout()
        pictures.setSpacing(3)
        pictures.addWidget(self.stack, 5)
        pictures.addWidget(self.beside, 2)
        contents: tuple[tuple[QWidget | QLayout, ...], ...] = ((pictures,), (self.ladder,), growth)
        for content, share, most in zip(contents, _SHARES, _MOST, strict=True):
            panel = Panel()
            box = QVBoxLayout(panel)
            box.setSpacing(2)
            box.setContentsMargins(1, 1, 1, 1)
            for part in content:
                if isinstance(part, QWidget):
                    box.addWidget(part, 1)
                else:
                    box.addLayout(part)
            self.addWidget(panel)
            panel.setMaximumHeight(most)
            self._panels.append(panel)
            self.setStretchFactor(self.count() - 1, share)
        self.setSizes(list(_SHARES))
        self._connect()

    def _connect(self) -> None:
        session, view = self.session, self.view
        session.refused.connect(self.notice.say)
        session.job_replaced.connect(self._forget_picture)
        session.worker.progressed.connect(self._show_progress)
        session.worker.changed.connect(self._show_work)
        self.working.cancel_asked.connect(session.give_up)
        view.view_changed.connect(self.align_ladder)
        self.beside.picture_asked.connect(lambda index: session.act(lambda: session.bench.show_picture(index)))
        view.mark_moved.connect(self._move_mark)
        view.mark_placed.connect(self._mark_placed)
        view.mark_unplaced.connect(self._mark_unplaced)
        view.placing_changed.connect(session.wait_for_hand)
        view.mark_given_back.connect(lambda name: session.act(lambda: session.bench.clear_mark(name)))
        view.mark_lock_asked.connect(self.toggle_lock)
        view.mark_snap_asked.connect(self.toggle_snap)
        view.cuts_shift_asked.connect(self.shift_cuts)
        for widget in (view, self.ladder, self.strip):
            widget.hint_changed.connect(self.hint_changed)
        self.ladder.asked.connect(self._rung_asked)
        self.ladder.cut_entered.connect(lambda cut: view.choose(f"root.{cut}"))
        self.strip.slid.connect(self.set_growth)
        self.strip.released_to_evidence.connect(lambda: self.set_growth(None))

    # ---- showing -------------------------------------------------------------------------------------------------

    def refresh(self) -> None:
        """Show the job as it stands."""
        bench = self.session.bench
        decoding = bench.decoding
        for panel in self._panels[1:]:  # a picture that cannot be read yet has the sheet to itself
            panel.setVisible(decoding is not None or bench.state.picture is None)
        self._show_picture()
        self.ladder.show_table(self._spec(), decoding, stale=self.session.reading_pictures and decoding is not None)
        self.ladder.show_holds(dict(bench.state.held), bench.state.ruled_out)
        self.align_ladder()
        self._show_growth()
        self._show_compared()

    def set_format(self, form: LengthFormat) -> None:
        """Show lengths in this unit."""
        self.format = self.ladder.format = self.strip.format = form
        self.ladder.update()
        self.strip.update()

    def set_colours(self, colours: theme.Colours) -> None:
        """Light or dark."""
        self.beside.set_colours(colours)
        for part in (self.view, self.ladder, self.strip):
            part.colours = colours
            part.update()

    def compare(self, code: Code | None) -> None:
        """Draw the floors of a code beside those of the likeliest one; None stops."""
        self._compared = code
        self._show_compared()

    def place_by_hand(self) -> None:
        """Ask for every mark, one after the other."""
        spec = self._spec()
        if spec is None or not self._unlocked("marks"):
            return
        axis = "back" if spec.edges == "single" else "centreline"
        names = [spec.gauge_from, f"{axis}.0", f"{axis}.1", "blade_height.0", "blade_height.1"]
        edges = 1 if spec.edges == "single" else 2
        self.view.place_marks([*names, *(f"root.{index}" for index in range(spec.cuts_per_edge * edges))])
        self.view.setFocus()

    def mark_reference(self, wanted: WantedReference) -> None:
        """Ask for the corners of something of known size."""
        if not self._unlocked("scale"):
            return
        self._wanted, self._corners = wanted, []
        self.view.place_marks([f"reference.{index}" for index in range(wanted.corners)])
        self.view.fit()
        self.view.setFocus()

    def toggle_lock(self, name: str) -> None:
        """Keep a mark from moving, or let it move."""
        mark = self._mark(name)
        self.session.act(lambda: self.session.bench.lock_mark(name, mark is None or not mark.locked))

    def toggle_snap(self, name: str) -> None:
        """Refuse the snap of a mark to the edge, or take it again."""
        mark = self._mark(name)
        self.session.act(lambda: self.session.bench.refuse_snap(name, mark is None or not mark.as_placed))

    def shift_cuts(self, by: int) -> None:
        """Move the marks of all cuts by so many spacings."""
        self.session.act(lambda: self.session.bench.shift_cuts(by))

    def set_growth(self, growth_mm: float | None) -> None:
        """Put the growth somewhere, or leave it to the evidence."""
        self.session.act(lambda: self.session.bench.set_growth(growth_mm))

    def hint(self) -> str:
        """The keys for what is under the pointer, or has the keyboard."""
        parts = (self.ladder, self.strip, self.view)
        for part in parts:
            if part.isVisible() and part.underMouse():
                return part.hint()
        return next((part.hint() for part in parts if part.hasFocus()), "")

    def put_aside(self) -> None:
        """Stop asking for marks, or put the notice aside."""
        if self.view.placing:
            self.view.place_marks(())
        else:
            self.notice.put_aside()

    def align_ladder(self) -> None:
        """Put the ladder's columns under the picture's cuts, and the other pictures at the same stretch."""
        spec = self._spec()
        self.beside.follow(self.view.view, self.view.roots_xy())
        if spec is None:
            self.ladder.set_centres(())
            return
        centres = self.view.cut_centres(spec.cuts_per_edge)
        shown = self.view.view.view_xy(np.array([[x, 0.0] for x in centres]).reshape(-1, 2))[:, 0]
        if centres and room_for(shown.tolist()):
            own, theirs = (part.mapTo(self, part.rect().topLeft()).x() for part in (self.ladder, self.view))
            self.ladder.set_centres(tuple(float(x) + theirs - own for x in shown))
        else:
            self.ladder.set_centres(spread_centres(spec.cut_positions_mm, float(self.ladder.width())))

    # ---- within --------------------------------------------------------------------------------------------------

    def _unlocked(self, step: str) -> bool:
        """Whether a step may be changed; where it is locked that is said before anything is asked for."""
        return self.session.act(lambda: self.session.bench.require_unlocked(step))

    def _spec(self) -> KeySpec | None:
        """The table, for this key's number of cuts once that is known."""
        decoding = self.session.bench.decoding
        return decoding.spec if decoding is not None else self.session.bench.state.spec

    def _show_picture(self) -> None:
        bench = self.session.bench
        picture = bench.state.picture
        layers = self.session.layers()
        key = None if picture is None else (picture.file, picture.sha256, picture.page, layers is not None)
        if key != self._shown_picture:
            self._shown_picture = key
            if picture is None:
                self.view.show_picture(None, (1, 1))
            else:
                own = (bench.state.number, picture.file, picture.sha256, picture.page)
                self.view.show_picture(layers, picture.picture.size, own)
            if picture is None:
                self.empty.refresh()
            was_asked = self.empty.isAncestorOf(QApplication.focusWidget() or self)
            self.stack.setCurrentWidget(self.empty if picture is None else self.view)
            if was_asked and picture is not None:
                self.view.setFocus(Qt.FocusReason.OtherFocusReason)
        self.view.show_marks(bench.marks())
        self.view.show_reading(bench.reading)
        self._show_beside()

    def _show_beside(self) -> None:
        """The other pictures of the key, with what each says of growth."""
        bench, others = self.session.bench, []
        for index, picture in self.session.others():
            said = [picture.picture.name]
            if picture.shows == "cut key":
                said.append(self.tr("the cut key"))
            share = bench.share_of(picture)
            if share is not None:
                said.append(self.tr("growth {0}").format(self.format.length(share.growth_mm)))
            layers, reading = self.session.layers(picture), bench.shown_reading_of(picture)
            others.append(Other(index, " · ".join(said), picture.picture.size, layers, reading))
        self.beside.show_others(tuple(others))

    def _show_growth(self) -> None:
        bench = self.session.bench
        decoding, picture = bench.decoding, bench.state.picture
        by_hand = picture.growth_mm if picture is not None else None
        growth, sigma = None, 0.0
        if decoding is not None:
            share = None if picture is None else bench.share_of(picture)
            own = decoding if share is None else share
            growth = by_hand if by_hand is not None else own.growth_mm
            sigma = own.growth_sigma_mm
        self.strip.show_strip(
            self.session.strip, bench.growth_density, self._spec(), growth, by_hand=by_hand is not None
        )
        self.auto_growth.setVisible(by_hand is not None)
        if decoding is None or growth is None:
            self.growth_words.setText(self.tr("Growth: how far shadow, toner and blur stand outside the metal"))
        elif by_hand is not None:
            self.growth_words.setText(self.tr("Growth set by hand: {0}").format(self.format.length(growth)))
        else:
            doubt = self.format.with_doubt(abs(growth), sigma)
            said = (
                self.tr("Growth: the visible edge stands {0} {1} outside the metal (shadow, toner, blur)")
                if growth >= 0
                else self.tr("Growth: the visible edge stands {0} {1} inside the metal (thin toner, bright rim)")
            )
            self.growth_words.setText(said.format(doubt, self.format.unit))

    def _show_compared(self) -> None:
        code, decoding, reading = self._compared, self.session.bench.decoding, self.session.bench.reading
        if code is None or decoding is None or reading is None or len(code) != len(decoding.code):
            self.view.show_lines(())
            return
        centres = self.view.cut_centres(decoding.spec.cuts_per_edge)
        if centres:
            likeliest = root_lines(decoding.code, decoding, reading.blade, centres)
            other = root_lines(code, decoding, reading.blade, centres)
            differing = tuple(b for a, b in zip(likeliest, other, strict=True) if a.label != b.label)
            self.view.show_lines((likeliest, differing))

    def _show_work(self) -> None:
        busy = self.session.worker.busy
        if busy("seal"):
            self.working.begin(self.tr("Sealing the job"), can_stop=False)
        elif busy("read") or busy("open") or busy("cut key"):
            self.working.begin(self.tr("Opening") if busy("open") else self.tr("Reading the picture"), can_stop=True)
        else:
            self.working.end()

    def _show_progress(self, kind: str, share: float, what: str) -> None:
        if kind in ("read", "open", "cut key"):
            self.working.progress(share, what)

    def _mark_placed(self, name: str, x: float, y: float) -> None:
        if not name.startswith("reference.") or self._wanted is None:
            self._move_mark(name, x, y, False)
            return
        wanted, bench = self._wanted, self.session.bench
        self._corners.append((x, y))
        if len(self._corners) < wanted.corners:
            self._show_corners()
            return
        mark = ReferenceMark(
            kind=wanted.kind, corners=tuple(self._corners), length_mm=wanted.length_mm, height_mm=wanted.height_mm
        )
        self._wanted = None
        self.session.act(lambda: bench.set_reference_mark(mark))

    def _mark_unplaced(self, name: str) -> None:
        if name.startswith("reference.") and self._wanted is not None:
            self._corners.pop()
            self._show_corners()
        else:
            self.session.undo()

    def _show_corners(self) -> None:
        so_far = [MarkPoint(f"reference.{at}", xy, by_hand=True) for at, xy in enumerate(self._corners)]
        known = [mark for mark in self.session.bench.marks() if not mark.name.startswith("reference.")]
        self.view.show_marks([*known, *so_far])

    def _move_mark(self, name: str, x: float, y: float, by_key: bool) -> None:
        bench = self.session.bench
        self.session.act(lambda: bench.move_mark(name, (x, y), gesture="nudge" if by_key else None))

    def _mark(self, name: str) -> MarkPoint | None:
        return next((mark for mark in self.session.bench.marks() if mark.name == name), None)

    def _rung_asked(self, cut: int, label: str, wanted: str) -> None:
        bench = self.session.bench
        does = {"held": bench.hold, "ruled out": bench.rule_out, "free": bench.free_depth}
        self.session.act(lambda: does[wanted](cut, label))

    def _forget_picture(self) -> None:
        self._shown_picture = object()
        self._compared = None
