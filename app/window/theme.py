"""Colours of the window, light and dark, and how they get onto Qt's widgets.

Meaning is never told by hue alone: what is likely is a longer bar with a number, what is held has a pin, what is ruled
out a stroke, a step that is done a tick.  The two working hues are a blue and an amber, which people who do not tell
red from green do tell apart.  Every pair that carries words keeps a contrast of at least 4.5 (:data:`TEXT_PAIRS`).
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

from PySide6.QtCore import Qt
from PySide6.QtGui import QColor, QGuiApplication, QPalette
from PySide6.QtWidgets import QApplication

GAP: Final = 12
"""Space between panels, logical pixels."""
RADIUS: Final = 6
"""Rounding of panels, logical pixels."""


@dataclass(frozen=True)
class Colours:
    """One set of colours, as #rrggbb."""

    desk: str
    """Behind the panels."""
    panel: str
    field: str
    """Inside a field to fill in, and behind the picture."""
    line: str
    """Thin lines between things."""
    ink: str
    quiet: str
    """Words that explain."""
    accent: str
    """What the evidence says; what is chosen; what can be pressed."""
    on_accent: str
    fill: str
    """A bar of probability."""
    doubt: str
    """What needs a look, as words."""
    doubt_fill: str
    trouble: str
    """What went wrong, as words."""
    trouble_fill: str
    mark_light: str
    mark_dark: str
    dark: bool


LIGHT: Final = Colours(
    desk="#e9e6df", panel="#fbfaf7", field="#ffffff", line="#c9c4b9", ink="#1c2530", quiet="#545d68", accent="#1d5a8c",
    on_accent="#ffffff", fill="#9dc3e3", doubt="#8a4f00", doubt_fill="#f6dcae", trouble="#8c1d3f",
    trouble_fill="#f8dfe4", mark_light="#ffffff", mark_dark="#10283f", dark=False,
)  # fmt: skip
DARK: Final = Colours(
    desk="#11161b", panel="#1b2229", field="#131a20", line="#3c4751", ink="#e9e7e1", quiet="#a9b3bd", accent="#7fb9ea",
    on_accent="#0c1a27", fill="#2f5f88", doubt="#f0b65c", doubt_fill="#4a3817", trouble="#ff9db4",
    trouble_fill="#47202b", mark_light="#ffffff", mark_dark="#0b1c2c", dark=True,
)  # fmt: skip
TEXT_PAIRS: Final = (
    ("ink", "desk"), ("ink", "panel"), ("ink", "field"), ("quiet", "desk"), ("quiet", "panel"), ("quiet", "field"),
    ("accent", "desk"), ("accent", "panel"), ("accent", "field"), ("on_accent", "accent"), ("ink", "fill"),
    ("doubt", "panel"),
    ("ink", "doubt_fill"), ("doubt", "doubt_fill"), ("doubt", "desk"), ("trouble", "panel"), ("ink", "trouble_fill"),
    ("trouble", "trouble_fill"),
)  # fmt: skip
"""(foreground, background) of all words that the window writes."""


def contrast(first: str, second: str) -> float:
    """Contrast ratio of two colours, 1 to 21, as WCAG 2.2 defines it (relative luminance, section 1.4.3)."""
    lights = sorted((_luminance(first), _luminance(second)))
    return (lights[1] + 0.05) / (lights[0] + 0.05)


def system_colours() -> Colours:
    """Light or dark, as the system says; light where it does not."""
    return DARK if QGuiApplication.styleHints().colorScheme() == Qt.ColorScheme.Dark else LIGHT


def colour(text: str, alpha: float = 1.0) -> QColor:
    """A colour for the painter."""
    made = QColor(text)
    made.setAlphaF(alpha)
    return made


def apply(app: QApplication, colours: Colours) -> None:
    """Give all widgets these colours."""
    palette = QPalette()
    role = QPalette.ColorRole
    for which, text in (
        (role.Window, colours.desk), (role.WindowText, colours.ink), (role.Base, colours.field),
        (role.Text, colours.ink),
        (role.AlternateBase, colours.panel), (role.Button, colours.panel), (role.ButtonText, colours.ink),
        (role.BrightText, colours.trouble), (role.Highlight, colours.accent), (role.HighlightedText, colours.on_accent),
        (role.PlaceholderText, colours.quiet), (role.ToolTipBase, colours.panel), (role.ToolTipText, colours.ink),
        (role.Link, colours.accent), (role.Mid, colours.line), (role.Accent, colours.accent),
    ):  # fmt: skip
        palette.setColor(which, QColor(text))
    for which in (role.WindowText, role.Text, role.ButtonText):
        palette.setColor(QPalette.ColorGroup.Disabled, which, QColor(colours.quiet))
    app.setPalette(palette)
    app.setStyleSheet(_sheet(colours))


def _sheet(c: Colours) -> str:
    return f"""
    QWidget {{ color: {c.ink}; }}
    QToolTip {{ color: {c.ink}; background: {c.panel}; border: 1px solid {c.line}; padding: 4px; }}
    #desk {{ background: {c.desk}; }}
    .Panel, #panel {{ background: {c.panel}; border: 1px solid {c.line}; border-radius: {RADIUS}px; }}
    #quiet {{ color: {c.quiet}; }}
    #heading {{ color: {c.ink}; font-weight: 600; }}
    #doubt {{ color: {c.doubt}; }}
    #trouble {{ color: {c.trouble}; }}
    #problem {{ background: {c.trouble_fill}; border: 1px solid {c.trouble}; border-radius: {RADIUS}px; }}
    #problem QLabel {{ color: {c.ink}; }}
    #work {{ background: {c.panel}; border: 1px solid {c.accent}; border-radius: {RADIUS}px; }}
    #rule {{ background: {c.line}; max-height: 1px; min-height: 1px; border: none; }}
    QPushButton, QToolButton {{ background: {c.panel}; border: 1px solid {c.line}; border-radius: {RADIUS - 1}px;
        padding: 5px 11px; color: {c.ink}; }}
    QPushButton:hover, QToolButton:hover {{ border-color: {c.accent}; }}
    QPushButton:pressed, QToolButton:pressed {{ background: {c.desk}; }}
    QPushButton:focus, QToolButton:focus {{ border: 2px solid {c.accent}; padding: 4px 10px; }}
    QPushButton:disabled, QToolButton:disabled {{ color: {c.quiet}; background: {c.desk}; }}
    QPushButton#main {{ background: {c.accent}; color: {c.on_accent}; border-color: {c.accent}; font-weight: 600; }}
    QPushButton#main:focus {{ border: 2px solid {c.ink}; }}
    QPushButton#main:disabled {{ background: {c.desk}; color: {c.quiet}; border-color: {c.line}; }}
    QToolButton#plain, QPushButton#plain {{ border: 1px solid transparent; background: transparent; }}
    QToolButton#plain:hover, QPushButton#plain:hover {{ border-color: {c.accent}; }}
    QToolButton#plain:focus, QPushButton#plain:focus {{ border: 2px solid {c.accent}; }}
    QPushButton#plain:checked {{ background: {c.fill}; border: 1px solid {c.accent}; }}
    QToolButton:checked {{ background: {c.accent}; color: {c.on_accent}; border-color: {c.accent}; }}
    QToolButton::menu-indicator {{ image: none; width: 0; }}
    QLineEdit, QPlainTextEdit, QComboBox, QDateTimeEdit, QListWidget, QTableWidget {{ background: {c.field};
        color: {c.ink}; border: 1px solid {c.line}; border-radius: {RADIUS - 2}px; padding: 4px 6px;
        selection-background-color: {c.accent}; selection-color: {c.on_accent}; }}
    QLineEdit:focus, QPlainTextEdit:focus, QComboBox:focus, QDateTimeEdit:focus, QListWidget:focus,
    QTableWidget:focus {{
        border: 2px solid {c.accent}; padding: 3px 5px; }}
    QComboBox QAbstractItemView {{ background: {c.field}; color: {c.ink}; }}
    QMenu {{ background: {c.panel}; color: {c.ink}; border: 1px solid {c.line}; padding: 4px; }}
    QMenu::item {{ padding: 5px 22px; border-radius: 3px; }}
    QMenu::item:selected {{ background: {c.accent}; color: {c.on_accent}; }}
    QMenu::item:disabled {{ color: {c.quiet}; }}
    QMenu::separator {{ height: 1px; background: {c.line}; margin: 4px 8px; }}
    QScrollArea, QScrollArea > QWidget > QWidget#page {{ background: transparent; border: none; }}
    QProgressBar {{ border: 1px solid {c.line}; border-radius: 3px; background: {c.field}; max-height: 8px; }}
    QProgressBar::chunk {{ background: {c.accent}; }}
    """


def _luminance(text: str) -> float:
    channels = [int(text[start : start + 2], 16) / 255 for start in (1, 3, 5)]
    linear = [part / 12.92 if part <= 0.04045 else ((part + 0.055) / 1.055) ** 2.4 for part in channels]
    return 0.2126 * linear[0] + 0.7152 * linear[1] + 0.0722 * linear[2]
