"""Words that several parts of the window say.  Literals only, so that they can be translated."""

from __future__ import annotations

from PySide6.QtCore import QCoreApplication

from app.window.units import LengthFormat
from keycore.measured import ReferenceKind


def mark_title(name: str) -> str:
    """A mark's name as people say it: "root of cut 3"."""
    group, _, index = name.partition(".")
    if group == "root":
        return QCoreApplication.translate("words", "root of cut {0}").format(int(index) + 1)
    if group == "back":
        return QCoreApplication.translate("words", "back, end {0}").format(int(index) + 1)
    if group == "blade_height":
        return (
            QCoreApplication.translate("words", "blade height, lower end")
            if index == "0"
            else QCoreApplication.translate("words", "blade height, upper end")
        )
    if group == "centreline":
        return QCoreApplication.translate("words", "centreline, end {0}").format(int(index) + 1)
    if group == "reference":
        return QCoreApplication.translate("words", "size reference, corner {0}").format(int(index) + 1)
    if group == "tip":
        return QCoreApplication.translate("words", "tip")
    return QCoreApplication.translate("words", "shoulder")


def reference_title(kind: ReferenceKind | str) -> str:
    """What a size reference is called."""
    titles = {
        "cut-spacing": QCoreApplication.translate("words", "cut spacing"),
        "blade-height": QCoreApplication.translate("words", "blade height"),
        "blade-length": QCoreApplication.translate("words", "blade length"),
        "dpi": QCoreApplication.translate("words", "the file's dpi claim"),
        "card": QCoreApplication.translate("words", "card"),
        "page": QCoreApplication.translate("words", "page"),
        "length": QCoreApplication.translate("words", "marked length"),
    }
    return titles.get(str(kind), str(kind))


def rung_words(
    cut_title: str,
    label: str,
    root_mm: float,
    measured: tuple[float, float] | None,
    probability: float | None,
    form: LengthFormat,
) -> str:
    """What a rung says: "cut 3 at 2: 7.20 mm, measured 7.24 ± 0.04, 0.93"."""
    if measured is None or probability is None:
        return QCoreApplication.translate("words", "{0} at {1}: {2}").format(cut_title, label, form.length(root_mm))
    return QCoreApplication.translate("words", "{0} at {1}: {2}, measured {3}, {4}").format(
        cut_title, label, form.length(root_mm), form.with_doubt(*measured), form.probability(probability)
    )


def cut_title(number: int, edge: int, edges: int) -> str:
    """ "cut 3", or "cut 3 of the lower edge" where a key has two."""
    if edges == 1:
        return QCoreApplication.translate("words", "cut {0}").format(number)
    if edge == 1:
        return QCoreApplication.translate("words", "cut {0} of the upper edge").format(number)
    return QCoreApplication.translate("words", "cut {0} of the lower edge").format(number)
