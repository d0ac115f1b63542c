"""A job's papers before they are kept or printed: the pages as they will come out, and what can be chosen for them."""

from __future__ import annotations

from collections.abc import Callable
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING, Any, Final, Literal

from PySide6.QtCore import Qt, QUrl, Signal
from PySide6.QtGui import QDesktopServices, QImage, QPixmap
from PySide6.QtWidgets import (
    QCheckBox,
    QComboBox,
    QDialog,
    QFileDialog,
    QHBoxLayout,
    QLabel,
    QLineEdit,
    QScrollArea,
    QVBoxLayout,
    QWidget,
)

from app.bench_numbers import parse_number
from app.window.language import said
from app.window.parts import button, clear_layout, name_field, set_kind, words
from keycore.refusal import Refusal

if TYPE_CHECKING:
    from app.window.session import Session

Paper = Literal["sheet", "template", "label"]
_DPI: Final = 84.0
_LABEL_DPI: Final = 220.0


class PaperDialog(QDialog):
    """One paper of the job."""

    kept = Signal(str)
    """A sentence about the file that was written."""

    def __init__(self, session: Session, paper: Paper, parent: QWidget | None = None) -> None:
        super().__init__(parent)
        self.session, self.bench, self.paper = session, session.bench, paper
        self._work = f"paper {id(self)}"
        self.pdf = b""
        self.setWindowTitle(
            {
                "sheet": self.tr("Job sheet"),
                "template": self.tr("Light-test template"),
                "label": self.tr("Label for the key tag"),
            }[paper]
        )
        self.resize(980, 720)
        whole = QHBoxLayout(self)
        self._pages = QVBoxLayout()
        inside = QWidget()
        inside.setLayout(self._pages)
        scroll = QScrollArea()
        scroll.setWidgetResizable(True)
        scroll.setWidget(inside)
        scroll.setAccessibleName(self.tr("Preview of the pages"))
        whole.addWidget(scroll, 1)
        side = QWidget()
        side.setFixedWidth(280)
        self._side = QVBoxLayout(side)
        whole.addWidget(side)
        self.page = QComboBox()
        self.page.addItems(["A4", "Letter"])
        self.with_code = QCheckBox(self.tr("with the code on it"))
        self.with_table = QCheckBox(self.tr("with the table's name"))
        self.printer, self.along, self.across = QLineEdit(), QLineEdit(), QLineEdit()
        if paper != "label":
            self._field(self.tr("Paper in the printer"), self.page)
            self.page.currentTextChanged.connect(self.show_paper)
        else:
            for box in (self.with_code, self.with_table):
                self._side.addWidget(box)
                box.toggled.connect(self.show_paper)
            self._side.addWidget(words(self.tr("The customer is never named on a label."), "quiet"))
        if paper == "template":
            self._add_printer()
        self.standing = words("")
        self._side.addWidget(self.standing)
        self._side.addStretch(1)
        self._side.addWidget(
            words(self.tr("Print at actual size, 100 %. This paper can open somebody's door."), "quiet")
        )
        self.keep = button(self.tr("Keep as PDF…"), self._ask_file, kind="main")
        self._side.addWidget(self.keep)
        self._side.addWidget(button(self.tr("Close"), self.close))
        self.show_paper()

    def show_paper(self, *_changed: object) -> None:
        """Make the paper as chosen, beside the window, and show its pages; what is refused is said instead."""
        self.pdf = b""
        self.keep.setEnabled(False)
        self._say(self.tr("Drawing the pages."), trouble=False)
        make = self._maker()
        dpi = _LABEL_DPI if self.paper == "label" else _DPI

        def draw(
            progress: Callable[[float, str], None], cancelled: Callable[[], bool]
        ) -> tuple[bytes, tuple[Any, ...]]:
            from app.bench_paper import pages_of

            pdf = make()
            return pdf, pages_of(pdf, dpi)

        self.session.worker.start(self._work, draw, self._show_pages, self._refused)

    def done(self, result: int) -> None:
        """Close; a page that is still being drawn is not waited for."""
        self.session.worker.cancel(self._work)
        super().done(result)

    def _show_pages(self, made: tuple[bytes, Any]) -> None:
        self.pdf, pages = made
        self._say("", trouble=False)
        clear_layout(self._pages)
        for pixels in pages:
            rows, columns = pixels.shape[:2]
            image = QImage(pixels.tobytes(), columns, rows, 3 * columns, QImage.Format.Format_RGB888)
            label = QLabel()
            label.setPixmap(QPixmap.fromImage(image))
            label.setAlignment(Qt.AlignmentFlag.AlignCenter)
            self._pages.addWidget(label)
        self._pages.addStretch(1)
        self.keep.setEnabled(True)

    def _refused(self, error: BaseException) -> None:
        clear_layout(self._pages)
        self._say(said(error.sentence) if isinstance(error, Refusal) else "", trouble=True)
        if not isinstance(error, Refusal):
            self.session.failed(error)

    def correct(self) -> None:
        """Take in what the two rules of the latest print measure, and draw the page again."""
        from app.bench_printers import correct_printer

        try:
            lengths = [parse_number(field.text(), what) for field, what in self._rules()]
            correct_printer(self.printer.text(), *lengths)
        except Refusal as refusal:
            self._say(said(refusal.sentence), trouble=True)
            return
        for field, _what in self._rules():
            field.clear()
        self.show_paper()

    def keep_as(self, file: str) -> None:
        """Write the paper for its owner's eyes, and offer it to the system's own viewer."""
        from app.bench_export import write_private

        path = Path(file if file.lower().endswith(".pdf") else f"{file}.pdf")
        try:
            write_private(path, self.pdf)
        except Refusal as refusal:
            self._say(said(refusal.sentence), trouble=True)
            return
        self._say(self.tr("Kept as {0}.").format(path.name), trouble=False)
        self.kept.emit(self.tr("Kept as {0}.").format(str(path)))
        open_in_viewer(path)

    def _maker(self) -> Callable[[], bytes]:
        """The making of the paper as it is chosen now, for any thread."""
        twin = self.bench.twin()
        page: Literal["A4", "Letter"] = "A4" if self.page.currentText() == "A4" else "Letter"
        with_code, with_table = self.with_code.isChecked(), self.with_table.isChecked()
        name, paper = self.printer.text().strip(), self.paper

        def make() -> bytes:
            from app.bench_paper import job_sheet_of, label_of, template_of
            from app.bench_printers import printer

            if paper == "sheet":
                return job_sheet_of(twin, page)
            if paper == "label":
                return label_of(twin, with_code=with_code, with_table=with_table)
            return template_of(twin, "pdf", page, printer(name).correction if name else None)

        return make

    def _rules(self) -> tuple[tuple[QLineEdit, str], ...]:
        return (self.along, self.tr("the rule along")), (self.across, self.tr("the rule across"))

    def _add_printer(self) -> None:
        self._field(self.tr("Printer (any name; its correction is remembered)"), self.printer)
        self.printer.editingFinished.connect(self.show_paper)
        self._side.addWidget(
            words(
                self.tr("Print once, measure both rules from end mark to end mark, type what they measure in mm."),
                "quiet",
            )
        )
        self._field(self.tr("Rule along, mm"), self.along)
        self._field(self.tr("Rule across, mm"), self.across)
        self._side.addWidget(button(self.tr("Correct the printer"), self.correct))

    def _field(self, name: str, field: QWidget) -> None:
        label = words(name, "quiet")
        label.setBuddy(field)
        name_field(field, name)
        self._side.addWidget(label)
        self._side.addWidget(field)

    def _say(self, sentence: str, *, trouble: bool) -> None:
        self.standing.setText(sentence)
        set_kind(self.standing, "trouble" if trouble else "quiet")

    def _ask_file(self) -> None:
        name = f"{self.paper}.pdf"
        folder = self.bench.folder
        dialog = QFileDialog(
            self, self.tr("Keep the paper where?"), str(folder / name if folder else name), "PDF (*.pdf)"
        )
        dialog.setAcceptMode(QFileDialog.AcceptMode.AcceptSave)
        dialog.setAttribute(Qt.WidgetAttribute.WA_DeleteOnClose)
        dialog.fileSelected.connect(self.keep_as)
        dialog.open()


def open_in_viewer(file: Path) -> None:
    """Hand a file to the system's own viewer, which prints it."""
    QDesktopServices.openUrl(QUrl.fromLocalFile(str(file)))


def show_paper(session: Session, paper: Paper, parent: QWidget, told: Callable[[str], Any]) -> PaperDialog:
    """Show one paper of the job beside the window."""
    dialog = PaperDialog(session, paper, parent)
    dialog.setAttribute(Qt.WidgetAttribute.WA_DeleteOnClose)
    dialog.kept.connect(partial(told))
    dialog.show()
    return dialog
