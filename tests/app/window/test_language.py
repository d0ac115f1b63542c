"""German is whole, current, and seen in the window."""

from __future__ import annotations

import re
import shutil
import subprocess
import sys
import xml.etree.ElementTree as ET
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest
from PySide6.QtCore import QLocale, QTranslator
from PySide6.QtWidgets import QApplication, QStyle

from app.bench import Bench
from app.window.language import FOLDER, speak
from app.window.main_window import MainWindow

CATALOGUE = FOLDER / "valleygauge_de.ts"
Messages = dict[tuple[str, str], str]


def messages(path: Path) -> Messages:
    """(context, source) -> translation of a catalogue."""
    found: Messages = {}
    for context in ET.parse(path).getroot().iter("context"):
        name = context.findtext("name") or ""
        for message in context.iter("message"):
            found[name, message.findtext("source") or ""] = message.findtext("translation") or ""
    return found


@pytest.fixture
def german(qapp: QApplication, monkeypatch: pytest.MonkeyPatch) -> Iterator[None]:
    """The window speaks German for one test."""
    monkeypatch.setattr("app.window.language._sentences", str)  # and English again after it
    installed = speak(qapp, QLocale(QLocale.Language.German))
    assert len(installed) >= 1
    yield
    for catalogue in installed:
        qapp.removeTranslator(catalogue)


def test_the_catalogue_has_all_words_of_the_window(checkout: Path, tmp_path: Path) -> None:
    """Extracting the words again gives the same set: nothing new is untranslated, nothing old is kept."""
    beside = Path(sys.executable).parent / "pyside6-lupdate"
    tool = str(beside) if beside.exists() else shutil.which("pyside6-lupdate")
    assert tool is not None, "pyside6-lupdate comes with PySide6-Essentials"
    fresh = tmp_path / "fresh.ts"
    sources = sorted(str(path) for path in (checkout / "app" / "window").glob("*.py"))
    call = [tool, *sources, "-ts", str(fresh), "-locations", "none"]
    subprocess.run(call, check=True, capture_output=True, timeout=60)

    assert set(messages(fresh)) == set(messages(CATALOGUE)), "renew the catalogue as app/window/language.py says"


def test_every_word_is_translated_with_the_same_gaps() -> None:
    """No translation is empty, and each has the gaps ({0}, {1}) of its source."""
    for (context, source), translation in messages(CATALOGUE).items():
        assert translation, f"{context}: {source}"
        assert sorted(re.findall(r"\{\d\}", translation)) == sorted(re.findall(r"\{\d\}", source)), source


def test_the_compiled_catalogue_is_current(qapp: QApplication) -> None:
    """The .qm gives for every word what the .ts says."""
    compiled = QTranslator()
    assert compiled.load(str(FOLDER / "valleygauge_de.qm"))

    for (context, source), translation in messages(CATALOGUE).items():
        assert compiled.translate(context, source) == translation


@pytest.mark.usefixtures("german")
def test_the_window_speaks_german(make_window: Callable[[Bench | None], MainWindow]) -> None:
    """Path, empty state and buttons are German."""
    window = make_window(None)

    assert window.sheet.empty.demo.text() == "Beispielauftrag ansehen"
    assert window.path.buttons["table"].accessibleName() == "Tiefentabelle"
    assert window.actions_by_name["undo"].text() == "Zurücknehmen"
    assert window.header.export.text() == "Ausgeben …"


def test_german_fits_the_side(german: None, make_window: Callable[[Bench | None], MainWindow]) -> None:
    """No page of the side asks for more than the side is wide, with a scroll bar beside it."""
    window = make_window(None)
    bar = window.style().pixelMetric(QStyle.PixelMetric.PM_ScrollBarExtent)
    for name, page in window.side.pages.items():
        window.show_step(name)
        room = window.side.stack.width() - bar

        assert page.minimumSizeHint().width() <= room, name
