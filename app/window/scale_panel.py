"""What each size reference says of the scale, whether they agree, and which of them are used."""

from __future__ import annotations

from PySide6.QtWidgets import QCheckBox, QComboBox, QGridLayout, QWidget

from app.bench_state import REFERENCE_CHOICES
from app.window.language import said
from app.window.parts import clear_layout, set_kind, words
from app.window.reference_form import ReferenceForm, WantedReference
from app.window.session import Session
from app.window.step_panel import StepPanel
from app.window.words import reference_title


class ScalePanel(StepPanel):
    """The scale and its references."""

    def __init__(self, session: Session, parent: QWidget | None = None) -> None:
        super().__init__(session, "", parent)
        self.title.setText(self.tr("Scale"))
        self.standing = words("", "quiet")
        self.box.addWidget(self.standing)
        self._grid_home = QWidget()
        self.grid = QGridLayout(self._grid_home)
        self.grid.setContentsMargins(0, 0, 0, 0)
        self.grid.setHorizontalSpacing(8)
        self.grid.setColumnStretch(0, 1)
        self.box.addWidget(self._grid_home)
        self.checks: dict[str, QCheckBox] = {}
        label = words(self.tr("Something of known size in the picture"), "quiet")
        self.choice = QComboBox()
        self.choice.setAccessibleName(label.text())
        titles = {
            "auto": self.tr("Whatever is found"),
            "card": self.tr("A card (85.60 by 53.98 mm)"),
            "a4": self.tr("The A4 page"),
            "dpi": self.tr("The file's dpi claim"),
            "none": self.tr("Nothing but the key"),
        }
        for name in REFERENCE_CHOICES:
            self.choice.addItem(titles[name], name)
        self.choice.activated.connect(self._choose)
        self.box.addWidget(label)
        self.box.addWidget(self.choice)
        self.form = ReferenceForm()
        self.form.refused.connect(session.refused)
        self.form.resized.connect(self._resize)
        self.form.taken_away.connect(lambda: session.act(lambda: session.bench.set_reference_mark(None)))
        self.box.addWidget(self.form)
        self.box.addStretch(1)

    def refresh(self) -> None:
        bench = self.session.bench
        picture, decoding = bench.state.picture, bench.decoding
        self.choice.setEnabled(picture is not None)
        self.form.format = self.format
        self.form.refresh(marked=None if picture is None else picture.reference_mark, there=picture is not None)
        if picture is not None:
            self.choice.setCurrentIndex(self.choice.findData(picture.reference))
        self._clear()
        if decoding is None or picture is None:
            self.standing.setText(self.tr("The references are compared once the picture is read."))
            set_kind(self.standing, "quiet")
            return
        scale = decoding.scale
        along, across = scale.px_per_mm_along, scale.px_per_mm_across
        number = self.format.number
        if scale.agree:
            self.standing.setText(
                self.tr("They agree: {0} px/mm along and {1} across, within {2} %.").format(
                    number(along.value, 2), number(across.value, 2), number(100 * across.sigma / across.value, 2)
                )
            )
            set_kind(self.standing, "quiet")
        else:
            self.standing.setText(said(scale.disagreement))
            set_kind(self.standing, "trouble")
        for row, reference in enumerate(scale.references):
            check = QCheckBox(reference_title(reference.kind))
            check.setChecked(reference.kind not in picture.turned_off)
            check.setToolTip(self.tr("use this reference"))
            check.clicked.connect(lambda on, kind=reference.kind: self._turn(kind, on))
            self.checks[reference.kind] = check
            value = words(number(reference.px_per_mm.value, 2), "", wrap=False)
            doubt = words("\u00b1 " + number(reference.px_per_mm.sigma, 2), "quiet", wrap=False)
            self.grid.addWidget(check, 2 * row, 0)
            self.grid.addWidget(value, 2 * row, 1)
            self.grid.addWidget(doubt, 2 * row, 2)
            against = self._against(reference.note, reference.pull, reference.used)
            note = words(against, "doubt" if reference.used and abs(reference.pull) > 3 else "quiet")
            self.grid.addWidget(note, 2 * row + 1, 0, 1, 3)

    def _against(self, note: str, pull: float, used: bool) -> str:
        """One reference against all the others, in words."""
        if note:
            return said(note)
        if not used:
            return self.tr("not used")
        if abs(pull) <= 2:
            return self.tr("agrees")
        far = self.format.number(abs(pull), 1)
        if pull > 0:
            return self.tr("larger than the rest by {0} of its own uncertainty").format(far)
        return self.tr("smaller than the rest by {0} of its own uncertainty").format(far)

    def _turn(self, kind: str, on: bool) -> None:
        self.session.act(lambda: self.session.bench.turn_reference(kind, on))

    def _choose(self, index: int) -> None:
        self.session.act(lambda: self.session.bench.set_reference(self.choice.itemData(index)))

    def _resize(self, wanted: WantedReference) -> None:
        picture, bench = self.session.bench.state.picture, self.session.bench
        mark = None if picture is None else picture.reference_mark
        if mark is not None:
            size = {"length_mm": wanted.length_mm, "height_mm": wanted.height_mm}
            self.session.act(lambda: bench.set_reference_mark(mark.model_copy(update=size)))

    def _clear(self) -> None:
        self.checks.clear()
        clear_layout(self.grid)
