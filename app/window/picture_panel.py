"""The pictures of the job: which one is shown, what its file claims, another one to add."""

from __future__ import annotations

from collections.abc import Callable

from PySide6.QtCore import Signal
from PySide6.QtWidgets import QComboBox, QHBoxLayout, QSpinBox, QWidget

from app.bench_marking import MEDIA
from app.bench_work import LoadedPicture, load_picture
from app.window.language import said
from app.window.parts import button, name_field, plain_list, words
from app.window.session import Session
from app.window.step_panel import StepPanel
from keycore.measured import Medium


class PicturePanel(StepPanel):
    """The pictures."""

    open_asked = Signal()
    paste_asked = Signal()

    def __init__(self, session: Session, parent: QWidget | None = None) -> None:
        super().__init__(session, "", parent)
        self.title.setText(self.tr("Pictures of this key"))
        self.list = plain_list(self.tr("Pictures of this key"))
        self.list.setMaximumHeight(84)
        self.list.currentRowChanged.connect(self._show)
        self.box.addWidget(self.list)
        self.facts = words("", "quiet")
        self.box.addWidget(self.facts)
        row = QHBoxLayout()
        row.addWidget(button(self.tr("Add a picture…"), self.open_asked.emit))
        row.addWidget(button(self.tr("Paste"), self.paste_asked.emit))
        self.box.addLayout(row)
        self.out = button(self.tr("Take this picture out"), self._take_out)
        self.box.addWidget(self.out)
        self.medium_label = words(self.tr("What the picture is"), "quiet")
        self.medium = QComboBox()
        name_field(self.medium, self.medium_label.text())
        for medium in (None, *MEDIA):
            self.medium.addItem("", medium)
        self.medium.activated.connect(self._say_medium)
        self.box.addWidget(self.medium_label)
        self.box.addWidget(self.medium)
        self.page_label = words(self.tr("Page of the file"), "quiet")
        self.page = QSpinBox()
        self.page.setKeyboardTracking(False)
        name_field(self.page, self.page_label.text())
        self.page.valueChanged.connect(self._turn)
        self.box.addWidget(self.page_label)
        self.box.addWidget(self.page)
        self.key_label = words(self.tr("Which key of the picture"), "quiet")
        self.key = QSpinBox()
        self.key.setRange(1, 20)
        for spin in (self.key, self.page):
            spin.setMinimumHeight(26)
        name_field(self.key, self.key_label.text())
        self.key.valueChanged.connect(lambda number: session.act(lambda: session.bench.set_key(number - 1)))
        self.box.addWidget(self.key_label)
        self.box.addWidget(self.key)
        self.keys_seen = words("", "quiet")
        self.split = button(self.tr("Make a job of each key"), session.split_keys)
        self.box.addWidget(self.keys_seen)
        self.box.addWidget(self.split)
        self.box.addStretch(1)

    def refresh(self) -> None:
        state = self.session.bench.state
        self.list.blockSignals(True)
        self.list.clear()
        for picture in state.pictures:
            self.list.addItem(picture.picture.name)
        self.list.setCurrentRow(state.current if state.pictures else -1)
        self.list.blockSignals(False)
        shown = state.picture
        self._show_medium()
        for part in (self.out, self.key, self.key_label, self.medium, self.medium_label):
            part.setEnabled(shown is not None)
        pages = 1 if shown is None else shown.picture.pages
        for part in (self.page, self.page_label):
            part.setVisible(pages > 1)
        if shown is None:
            self.facts.setText(self.tr("No picture yet."))
            self.keys_seen.setVisible(False)
            self.split.setVisible(False)
            return
        self.page.blockSignals(True)
        self.page.setRange(1, pages)
        self.page.setValue(shown.page)
        self.page.blockSignals(False)
        self.key.blockSignals(True)
        self.key.setValue(shown.key + 1)
        self.key.blockSignals(False)
        keys = self.session.keys_seen
        for part in (self.keys_seen, self.split):
            part.setVisible(keys > 1)
        self.keys_seen.setText(
            self.tr("The program sees {0} keys in this picture. Each can have its job.").format(keys)
        )
        width, height = shown.picture.size
        facts = [self.tr("{0} by {1} pixels.").format(width, height)]
        if shown.picture.dpi is not None:
            x, y = shown.picture.dpi
            facts.append(
                self.tr("The file claims {0} by {1} dpi; that is a claim, not a measurement.").format(
                    f"{x:g}", f"{y:g}"
                )
            )
        if shown.picture.turned:
            facts.append(self.tr("Turned as the file asks: {0}.").format(said(shown.picture.turned)))
        if shown.picture.pages > 1:
            facts.append(self.tr("Page {0} of {1}.").format(shown.picture.page, shown.picture.pages))
        self.facts.setText(" ".join(facts))

    def _turn(self, page: int) -> None:
        session, picture = self.session, self.session.bench.state.picture
        if picture is None or page == picture.page:
            return
        content, name = picture.content, picture.picture.name

        def load(_progress: Callable[[float, str], None], _cancelled: Callable[[], bool]) -> LoadedPicture:
            return load_picture(content, name=name, page=page)

        def turned(loaded: LoadedPicture) -> None:
            session.act(lambda: session.bench.turn_page(loaded))

        session.worker.start("open", load, turned, session.failed)

    def _show_medium(self) -> None:
        """What the picture is taken for, and what it may be instead."""
        titles: dict[Medium, str] = {
            "scan": self.tr("a scan of the key itself"),
            "photocopy": self.tr("a photocopy of the key"),
            "photo-card": self.tr("a photo of the key"),
            "photo-copy": self.tr("a photo of a photocopy"),
        }
        reading, picture = self.session.bench.reading, self.session.bench.state.picture
        found = None if reading is None or (picture and picture.medium) else titles.get(reading.readings.medium)
        unknown = self.tr("whatever the program finds")
        self.medium.setItemText(0, unknown if found is None else self.tr("found: {0}").format(found))
        for at, medium in enumerate(MEDIA, 1):
            self.medium.setItemText(at, titles[medium])
        self.medium.setCurrentIndex(self.medium.findData(None if picture is None else picture.medium))

    def _say_medium(self, index: int) -> None:
        self.session.act(lambda: self.session.bench.set_medium(self.medium.itemData(index)))

    def _show(self, row: int) -> None:
        if row >= 0:
            self.session.act(lambda: self.session.bench.show_picture(row))

    def _take_out(self) -> None:
        self.session.act(lambda: self.session.bench.remove_picture(self.session.bench.state.current))
