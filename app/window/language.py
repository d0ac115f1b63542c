"""The window in the person's language: its own words by Qt's catalogues, the bench's sentences by :func:`said`.

Renew the catalogue after words have changed, translate what is new, and make the compiled one::

    pyside6-lupdate app/window/*.py -ts app/window/translations/valleygauge_de.ts -locations none -no-obsolete
    pyside6-lrelease app/window/translations/valleygauge_de.ts -qm app/window/translations/valleygauge_de.qm
"""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import Final

from PySide6.QtCore import QCoreApplication, QLibraryInfo, QLocale, QTranslator

from app.window.sentences import sentences_for

FOLDER: Final = Path(__file__).parent / "translations"
_sentences: Callable[[str], str] = str


def said(sentence: str) -> str:
    """A sentence of the bench, the reader or the core in the language that :func:`speak` chose."""
    return _sentences(sentence)


def speak(application: QCoreApplication, locale: QLocale) -> tuple[QTranslator, ...]:
    """Install the catalogues of a language, Qt's own words included; what has none stays English."""
    global _sentences
    _sentences = sentences_for(locale.name().partition("_")[0], locale.decimalPoint())
    installed = []
    homes = (
        ("qtbase", QLibraryInfo.path(QLibraryInfo.LibraryPath.TranslationsPath)),
        ("valleygauge", str(FOLDER)),
    )
    for name, folder in homes:
        catalogue = QTranslator(application)
        if catalogue.load(locale, name, "_", folder) and application.installTranslator(catalogue):
            installed.append(catalogue)
    return tuple(installed)
