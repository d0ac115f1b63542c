"""The bench's sentences in another language: which there are, and how values come over."""

from __future__ import annotations

import ast
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest
from PySide6.QtWidgets import QApplication

from app.bench import Bench
from app.window.main_window import MainWindow
from app.window.sentences import FOLDER, Sentences, sentences_for
from keycore.decode import Decoding
from keycore.spec import list_specs

GERMAN = sentences_for("de", ",")
UNDER_THE_WINDOW = ("keycore/*.py", "app/bench*.py", "app/picture/*.py", "app/window/*.py", "app/sealing.py")
NOT_IN_A_WINDOW = ("keycore/trials.py", "keycore/reduction.py")


def refusals(checkout: Path) -> Iterator[tuple[str, str]]:
    """(where, the sentence with X for each value) of every refusal that a window may have to show."""
    for pattern in UNDER_THE_WINDOW:
        for path in sorted(checkout.glob(pattern)):
            name = path.relative_to(checkout).as_posix()
            if name in NOT_IN_A_WINDOW:
                continue
            for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
                if isinstance(node, ast.Call) and isinstance(node.func, ast.Name) and node.func.id == "Refusal":
                    sentence = filled(node.args[0]) if node.args else None
                    if sentence is not None:
                        yield f"{name}:{node.lineno}", sentence


def filled(node: ast.expr) -> str | None:
    """A literal with X in the place of each value; None for what is no literal."""
    if isinstance(node, ast.Constant) and isinstance(node.value, str):
        return node.value
    if isinstance(node, ast.JoinedStr):
        return "".join(str(part.value) if isinstance(part, ast.Constant) else "X" for part in node.values)
    return None


def test_every_refusal_has_its_german_sentence(checkout: Path) -> None:
    """Each sentence that a Refusal is made with is in the catalogue; add a line to sentences_de.json for a new one."""
    assert isinstance(GERMAN, Sentences)
    missing = [f"{where}: {sentence}" for where, sentence in refusals(checkout) if not GERMAN.knows(sentence)]
    assert missing == []


@pytest.mark.parametrize(
    ("english", "german"),
    [
        ("check cut 1: 3 or 2, cut 2: 1 or 2", "prüfen: Einschnitt 1: 3 oder 2, Einschnitt 2: 1 oder 2"),
        ("unsure: scales disagree by 3 %", "unsicher: die Maßstäbe weichen um 3 % voneinander ab"),
        (
            "The root of cut 3 is locked; unlock it before it is moved.",
            "Grund von Einschnitt 3 ist gesperrt; entsperren Sie die Marke, bevor Sie sie verschieben.",
        ),
        (
            "Cut 2 reads 7.31 mm, 5 standard uncertainties from its depth 3; measure it again.",
            "Einschnitt 2 misst 7,31 mm, 5 Standardunsicherheiten von seiner Tiefe 3 entfernt; messen Sie neu.",
        ),
        (
            "Shadow seems to fill the deep cuts of this copy, by up to 0.5 mm more than it adds to the uncut edge; the "
            "code allows for that.",
            "Schatten füllt anscheinend die tiefen Einschnitte dieser Kopie, um bis zu 0,5 mm mehr, als er an der "
            "ungeschnittenen Kante zugibt; der Code berücksichtigt das.",
        ),
        (
            "The blade can also be fitted another way in this picture (probability 0.36), and the code would then be "
            "1-3-2-4; see whether the drawn line and floors lie on the metal's edge, and set what does not by hand.",
            "Der Halm lässt sich in diesem Bild auch anders einpassen (Wahrscheinlichkeit 0,36), und der Code wäre "
            "dann 1-3-2-4; sehen Sie nach, ob die gezeichnete Linie und die Gründe auf der Kante des Metalls liegen, "
            "und setzen Sie von Hand, was nicht darauf liegt.",
        ),
        ("16.58 px/mm within 0.6 %, 4 references agree", "16,58 px/mm auf 0,6 %, 4 Bezüge stimmen überein"),
        ("Harbourside 5; restricted", "Harbourside 5; geschützt"),
        ("nothing that the catalogue has", "nothing that the catalogue has"),
    ],
)
def test_values_come_over_and_words_among_them_too(english: str, german: str) -> None:
    """Numbers get the decimal comma, names of marks are put over, names of tables stay."""
    assert GERMAN(english) == german


def test_what_a_reading_says_is_german(decoding: Decoding) -> None:
    """Verdict, warnings, the names of references and the description of every shipped table leave no English."""
    assert isinstance(GERMAN, Sentences)
    said = [decoding.verdict_words, *decoding.warnings, *(reference.name for reference in decoding.scale.references)]
    for sentence in said:
        assert GERMAN.knows(sentence), sentence
    for entry in list_specs():
        if entry.spec is not None:
            told = GERMAN(entry.spec.describe())
            assert "cuts gauged from" not in told and "Source (" not in told, told


def test_a_language_without_a_catalogue_leaves_the_words() -> None:
    """English passes through, and so does what no catalogue knows."""
    assert sentences_for("en", ".")("sure") == "sure" and sentences_for("fi", ",")("sure") == "sure"
    assert (FOLDER / "sentences_de.json").is_file()


def test_the_window_speaks_one_language(
    make_window: Callable[[Bench | None], MainWindow], qapp: QApplication, monkeypatch: pytest.MonkeyPatch
) -> None:
    """With German chosen the path, the notices and the tips of undo are German too."""
    monkeypatch.setattr("app.window.language._sentences", GERMAN)
    window = make_window(None)
    bench = window.session.bench
    bench.set_spec("lighthouse-6")
    window.session.after_change()
    window.session.act(lambda: bench.move_mark("tip", (1.0, 1.0)))
    steps = [button.accessibleDescription() for button in window.path.buttons.values()]

    assert window.sheet.notice.text.text() == "Öffnen Sie zuerst ein Bild."
    assert any("noch festzuhalten: wer den Schlüssel verlangt" in step for step in steps)
    assert "Tabelle Lighthouse 6 wählen" in window.actions_by_name["undo"].toolTip()
