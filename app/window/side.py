"""The side with the code: the code itself always in sight, and below it the panel of the step that is open."""

from __future__ import annotations

from PySide6.QtCore import Qt, Signal
from PySide6.QtWidgets import QScrollArea, QStackedWidget, QVBoxLayout, QWidget

from app.bench_steps import StepName
from app.window.check_page import CheckPage
from app.window.code_page import CodePage
from app.window.code_panel import CodePanel
from app.window.cutting_page import CuttingPage
from app.window.entitlement_panel import EntitlementPanel
from app.window.marks_panel import MarksPanel
from app.window.parts import Panel, rule
from app.window.picture_panel import PicturePanel
from app.window.scale_panel import ScalePanel
from app.window.session import Session
from app.window.step_panel import StepPanel
from app.window.table_panel import TablePanel
from app.window.theme import Colours
from app.window.units import LengthFormat


class Side(Panel):
    """Code and step panels."""

    compare_asked = Signal(object)
    open_asked = Signal()
    paste_asked = Signal()
    place_asked = Signal()
    mark_chosen = Signal(str)
    reference_asked = Signal(object)

    def __init__(self, session: Session, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        box = QVBoxLayout(self)
        box.setContentsMargins(16, 12, 12, 12)
        self.code = CodePanel()
        box.addWidget(self.code)
        box.addWidget(rule())
        self.entitlement, self.table = EntitlementPanel(session), TablePanel(session)
        self.picture, self.scale, self.marks = PicturePanel(session), ScalePanel(session), MarksPanel(session)
        self.codes, self.cutting, self.check = CodePage(session), CuttingPage(session), CheckPage(session)
        self.pages: dict[StepName, StepPanel] = {
            "entitlement": self.entitlement,
            "table": self.table,
            "picture": self.picture,
            "scale": self.scale,
            "marks": self.marks,
            "code": self.codes,
            "cutting": self.cutting,
            "check": self.check,
        }
        self.stack = QStackedWidget()
        for name, page in self.pages.items():
            page.step = name
            scroll = QScrollArea()
            scroll.setWidgetResizable(True)
            scroll.setHorizontalScrollBarPolicy(Qt.ScrollBarPolicy.ScrollBarAlwaysOff)
            scroll.setWidget(page)
            scroll.setFocusPolicy(Qt.FocusPolicy.NoFocus)
            scroll.viewport().setAutoFillBackground(False)
            self.stack.addWidget(scroll)
        box.addWidget(self.stack, 1)
        self.step: StepName = "picture"
        self.code.compare_asked.connect(self.compare_asked)
        self.code.compare_asked.connect(self.codes.show_compared)
        self.picture.open_asked.connect(self.open_asked)
        self.picture.paste_asked.connect(self.paste_asked)
        self.marks.place_asked.connect(self.place_asked)
        self.code.place_asked.connect(self.place_asked)
        self.marks.chosen.connect(self.mark_chosen)
        self.scale.form.asked.connect(self.reference_asked)

    def show_step(self, name: StepName, *, take_focus: bool = False) -> None:
        """Open a step's panel."""
        self.step = name
        self.code.show_many(name == "code")
        self.stack.setCurrentIndex(list(self.pages).index(name))
        self.refresh()
        if take_focus:
            page = self.pages[name]
            parts = (part for part in page.findChildren(QWidget) if part is not page.lock_step)
            first = next((part for part in parts if _takes_keys(part)), None)
            if first is not None:
                first.setFocus(Qt.FocusReason.ShortcutFocusReason)

    def refresh(self) -> None:
        """Show the open step as the job stands."""
        self.pages[self.step].refresh()
        self.pages[self.step].show_lock()

    def toggle_lock(self) -> None:
        """Lock the open step, or unlock it."""
        self.pages[self.step].lock_step.click()

    def set_format(self, form: LengthFormat) -> None:
        """Show lengths in this unit."""
        self.code.format = form
        for page in self.pages.values():
            page.format = form

    def set_colours(self, colours: Colours) -> None:
        """Light or dark."""
        self.code.set_colours(colours)


def _takes_keys(part: QWidget) -> bool:
    return bool(part.focusPolicy() & Qt.FocusPolicy.TabFocus) and part.isEnabled() and part.isVisible()
