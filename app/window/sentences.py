"""Sentences of the bench, the reader and the core, put into the person's language at the window's edge.  Pure: no Qt.

What lies below the window speaks English, in whole sentences with values in them.  The catalogue of a language is a
list of pairs: the sentence with ``{}`` for each value (``{n}``: a number), and the same in that language with ``{0}``,
``{1}`` ... .  A sentence is matched against the patterns, the values that are words are put over too, and numbers get
the decimal sign.  What is in no catalogue stays as it is; ``tests/app/window/test_sentences.py`` knows what there is.
"""

from __future__ import annotations

import json
import re
from collections.abc import Callable
from functools import lru_cache
from pathlib import Path
from typing import Final

FOLDER: Final = Path(__file__).parent / "translations"
_POINT: Final = re.compile(r"(?<=\d)\.(?=\d)")
_MOST_DEEP: Final = 5
_PARTS: Final = (". ", "; ", ", ")
"""Where a text is taken apart when it is no sentence of the catalogue as a whole: between sentences, then in lists."""


class Sentences:
    """One language's catalogue; called with a text it gives the text in that language."""

    def __init__(self, pairs: list[tuple[str, str]], decimal: str) -> None:
        self._decimal = decimal
        self._exact = {english: theirs for english, theirs in pairs if "{" not in english}
        patterns = [(english, theirs) for english, theirs in pairs if "{" in english]
        patterns.sort(key=lambda pair: -len(pair[0].replace("{}", "")))  # the most particular first
        self._patterns = [(_pattern(english), theirs) for english, theirs in patterns]
        self._known: Callable[[str], str] = lru_cache(maxsize=2048)(self._lines)

    def __call__(self, text: str) -> str:
        """The text, line by line, in the person's language."""
        return self._known(text)

    def knows(self, text: str) -> bool:
        """Whether a text is a sentence of the catalogue as a whole."""
        return self._whole(text, 0) is not None

    def _lines(self, text: str) -> str:
        return "\n".join(self._said(line, 0) for line in text.split("\n"))

    def _said(self, text: str, deep: int) -> str:
        if not any(letter.isalpha() for letter in text):
            return _POINT.sub(self._decimal, text)
        if deep > _MOST_DEEP:
            return text
        whole = self._whole(text, deep)
        if whole is not None:
            return whole
        for mark in _PARTS:
            if mark in text:
                parts = text.split(mark)
                full_stop = "." if mark == ". " else ""
                ends = [part + full_stop for part in parts[:-1]] + parts[-1:]
                said = [self._said(part, deep + 1) for part in ends]
                if said != ends:
                    return (" " if mark == ". " else mark).join(said)
        return text

    def _whole(self, text: str, deep: int) -> str | None:
        found = self._matched(text, deep)
        if found is None and text[:1].isupper():  # a sentence's first word may be a value that was given a capital
            found = self._matched(text[0].lower() + text[1:], deep)
            found = None if found is None else found[:1].upper() + found[1:]
        return found

    def _matched(self, text: str, deep: int) -> str | None:
        if text in self._exact:
            return self._exact[text]
        for pattern, theirs in self._patterns:
            match = pattern.fullmatch(text)
            if match is not None:
                return theirs.format(*(self._said(value, deep + 1) for value in match.groups()))
        return None


def sentences_for(language: str, decimal: str) -> Callable[[str], str]:
    """The catalogue of a language ("de"); for a language without one the words stay as they are."""
    file = FOLDER / f"sentences_{language}.json"
    if not file.is_file():
        return str
    pairs = [(english, theirs) for english, theirs in json.loads(file.read_text(encoding="utf-8"))]
    return Sentences(pairs, decimal)


def _pattern(english: str) -> re.Pattern[str]:
    """The pattern of a sentence: no value runs past a sentence's end, unless it stands apart as a sentence itself."""
    pieces = re.split(r"(\{n?\})", english)
    made = []
    for at, piece in enumerate(pieces):
        if piece == "{n}":
            made.append(r"(-?\d+(?:\.\d+)?)")
        elif piece == "{}":
            before, after = pieces[at - 1], pieces[at + 1]
            apart = (not before and after[:1] == " " and after[1:2].isupper()) or (before.endswith(". ") and not after)
            made.append("(.*?)" if apart else r"((?:(?!\. [A-Z]).)*?)")
        else:
            made.append(re.escape(piece))
    return re.compile("".join(made), re.DOTALL)
