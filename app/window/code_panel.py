"""The code, large, with its verdict in words and the next-likeliest codes."""

from __future__ import annotations

from typing import TYPE_CHECKING, Final

from PySide6.QtCore import Qt, Signal
from PySide6.QtGui import QFont, QResizeEvent
from PySide6.QtWidgets import QGridLayout, QLabel, QPushButton, QVBoxLayout, QWidget

from app.window.language import said
from app.window.parts import ShareBar, button, set_kind, words
from app.window.theme import LIGHT, Colours
from app.window.units import LengthFormat
from keycore.codes import Code
from keycore.spec import format_code

if TYPE_CHECKING:
    from keycore.decode import Decoding

FEW, MANY = 3, 9
"""Rivals shown beside other steps, and while the code's own step is open."""
WORTH_A_ROW: Final = 0.005
"""Below this a code says "<0.01"; a list of those tells nothing."""
_LARGEST: Final = 2.6


class CodePanel(QWidget):
    """What the job is about."""

    place_asked = Signal()
    compare_asked = Signal(object)
    """A code to draw beside the likeliest one, or None."""

    def __init__(self, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self.format = LengthFormat()
        self._shown: Decoding | None = None
        self._text = ""
        layout = QVBoxLayout(self)
        layout.setContentsMargins(0, 0, 0, 0)
        layout.setSpacing(3)
        self.caption = words(self.tr("Code, bow to tip"), "quiet")
        self.code = words("", "heading", wrap=False)
        self.code.setTextInteractionFlags(Qt.TextInteractionFlag.NoTextInteraction)
        self.verdict = words("", "")
        self.chance = words("", "quiet")
        layout.addWidget(self.caption)
        layout.addWidget(self.code)
        layout.addWidget(self.verdict)
        layout.addWidget(self.chance)
        self.by_hand = button(self.tr("Mark the key by hand"), self.place_asked.emit)
        layout.addWidget(self.by_hand)
        self._rivals_title = words(self.tr("Next likeliest; a click compares on the picture"), "quiet")
        layout.addSpacing(6)
        layout.addWidget(self._rivals_title)
        grid = QGridLayout()
        grid.setHorizontalSpacing(8)
        grid.setVerticalSpacing(1)
        grid.setColumnStretch(1, 1)
        layout.addLayout(grid)
        self.rivals: list[tuple[QPushButton, ShareBar, QLabel]] = []
        self._many = False
        for row in range(MANY):
            name, bar, number = QPushButton(""), ShareBar(), words("", "quiet", wrap=False)
            name.setObjectName("plain")
            name.setCheckable(True)
            name.setStyleSheet("text-align: left; padding: 2px 6px;")
            name.clicked.connect(lambda checked, row=row: self._compare(row, checked))
            grid.addWidget(name, row, 0)
            grid.addWidget(bar, row, 1)
            grid.addWidget(number, row, 2)
            self.rivals.append((name, bar, number))
        self.show_decoding(None, stale=False)

    def show_decoding(
        self, decoding: Decoding | None, *, stale: bool, waits_for: str = "", offer_marking: bool = False
    ) -> None:
        """Show what is known; ``stale`` says that a newer reading is under way."""
        self.by_hand.setVisible(offer_marking and decoding is None)
        same_codes = (
            self._shown is not None
            and decoding is not None
            and self._shown.codes[: MANY + 1] == decoding.codes[: MANY + 1]
        )
        self._shown = decoding
        if decoding is None or not decoding.codes:
            self._text = "\u2013"
            self.verdict.setText(waits_for or self.tr("No code yet."))
            set_kind(self.verdict, "quiet")
            self.chance.setText("")
        else:
            best = decoding.codes[0]
            self._text = format_code(best.code, decoding.spec)
            share = self.format.probability(best.probability)
            verdict = said(decoding.verdict_words)
            self.verdict.setText(verdict[:1].upper() + verdict[1:])
            set_kind(self.verdict, {"sure": "", "check": "doubt", "unsure": "trouble"}[decoding.verdict])
            chance = self.tr("probability {0}").format(share)
            self.chance.setText(self.tr("{0} · reading again").format(chance) if stale else chance)
        self.code.setAccessibleName(self.tr("Code {0}").format(self._text))
        self.code.setEnabled(not stale)
        self._fit_code()
        rivals = () if decoding is None else decoding.codes[1 : (MANY if self._many else FEW) + 1]
        rivals = tuple(rival for row, rival in enumerate(rivals) if row < FEW or rival.probability >= WORTH_A_ROW)
        self._rivals_title.setVisible(bool(rivals))
        for row, (name, bar, number) in enumerate(self.rivals):
            there = row < len(rivals)
            for part in (name, bar, number):
                part.setVisible(there)
            if there and decoding is not None:
                text = format_code(rivals[row].code, decoding.spec)
                name.setText(text)
                number.setText(self.format.probability(rivals[row].probability))
                name.setAccessibleName(self.tr("compare with {0}, probability {1}").format(text, number.text()))
                bar.show_share(rivals[row].probability, likely=False)
                if not same_codes:
                    name.setChecked(False)
        if not same_codes:
            self.compare_asked.emit(None)

    def show_many(self, many: bool) -> None:
        """Show as many rivals as there is room for, or the few next likeliest."""
        self._many = many

    def set_colours(self, colours: Colours = LIGHT) -> None:
        """Light or dark."""
        for _, bar, _ in self.rivals:
            bar.colours = colours
            bar.update()

    def resizeEvent(self, event: QResizeEvent) -> None:
        self._fit_code()

    def _compare(self, row: int, checked: bool) -> None:
        for other, (name, _, _) in enumerate(self.rivals):
            if other != row:
                name.setChecked(False)
        code: Code | None = None
        if checked and self._shown is not None and row + 1 < len(self._shown.codes):
            code = self._shown.codes[row + 1].code
        self.compare_asked.emit(code)

    def _fit_code(self) -> None:
        """The code as large as the panel is wide, in one line per edge."""
        shown = self._text.replace(" / ", "\n")
        font = QFont(self.font())
        font.setBold(True)
        size = self.font().pointSizeF()
        room = max(self.width() - 4, 60)
        for share in (_LARGEST, 2.2, 1.9, 1.6, 1.35, 1.15, 1.0):
            font.setPointSizeF(size * share)
            self.code.setFont(font)
            if max(self.code.fontMetrics().horizontalAdvance(line) for line in shown.split("\n") or [""]) <= room:
                break
        self.code.setText(shown)
