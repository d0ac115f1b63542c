"""Entering a depth table: drafts, the filler, live checks, confirming, and the drawing."""

from __future__ import annotations

import json
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import pytest
from PySide6.QtCore import Qt
from PySide6.QtTest import QTest

from app.bench import Bench
from app.window.blade_geometry import blade_sketch
from app.window.main_window import MainWindow
from app.window.table_draft import draft_of, equal_steps, labels_for, same_table, table_of
from app.window.units import LengthFormat
from keycore.refusal import Refusal
from keycore.spec import KeySpec, list_specs, load_spec

MM = LengthFormat("mm", ".")


@pytest.mark.parametrize("name", [entry.name for entry in list_specs() if entry.spec is not None])
@pytest.mark.parametrize("form", [MM, LengthFormat("thou", ",")], ids=["mm", "thou with comma"])
def test_any_shipped_table_survives_being_typed(name: str, form: LengthFormat) -> None:
    """As typed and read back every length is within half of the last digit shown (0.005 mm), all else the same."""
    spec = load_spec(name)
    again = table_of(draft_of(spec, form), form)

    assert again.cut_counts == spec.cut_counts and again.labels == spec.labels and again.provenance == spec.provenance
    assert again.roots_mm == pytest.approx(spec.roots_mm, abs=0.002)
    assert again.cut_positions_mm == pytest.approx(spec.cut_positions_mm, abs=0.002)
    assert (again.edges, again.gauge_from, again.root_from) == (spec.edges, spec.gauge_from, spec.root_from)
    assert (again.max_adjacent_step, again.restricted) == (spec.max_adjacent_step, spec.restricted)


def test_a_broken_rule_is_one_sentence(spec: KeySpec) -> None:
    """Roots that do not fall, and a text that is no number, name themselves."""
    draft = draft_of(spec, MM)
    rising = replace(draft, depths=(("0", "7.0"), ("1", "7.5")))
    with pytest.raises(Refusal, match=r"This table"):
        table_of(rising, MM)
    with pytest.raises(Refusal, match=r"[Pp]osition of cut 2 must be a number such as 19.51 or 19,51; got 'x'"):
        table_of(replace(draft, positions=("4.2", "x")), MM)


def test_equal_steps_fall_or_rise() -> None:
    """First, step and count give the rows; a count that is none is refused."""
    assert equal_steps("8,16", "-0,38", "3", MM) == ("8.160", "7.780", "7.400")
    assert equal_steps("4.2", "3.9", "2", LengthFormat("mm", ",")) == ("4,200", "8,100")
    for count in ("0", "65", "2.5", ""):
        with pytest.raises(Refusal):
            equal_steps("1", "1", count, MM)


def test_labels_go_on_from_those_there_are() -> None:
    """Labels that are there stay; new ones count on."""
    assert labels_for(4, ["1", "2"]) == ("1", "2", "3", "4")
    assert labels_for(3, []) == ("0", "1", "2")


def test_the_drawing_is_true_to_scale(spec: KeySpec) -> None:
    """Depths stand at their roots above the back, cuts at their positions from the shoulder, at one scale."""
    drawn = blade_sketch(spec, 600.0, 180.0)
    back = max(y for _, y in drawn.outline)
    shoulder = min(x for x, _ in drawn.outline)
    heights = sorted({round((back - y) / drawn.per_mm, 6) for _, _, y in drawn.depths}, reverse=True)

    assert heights == pytest.approx(list(spec.roots_mm))
    assert [(x - shoulder) / drawn.per_mm for x in drawn.centres] == pytest.approx(list(spec.cut_positions_mm))
    assert all(0 <= x <= 600 and 0 <= y <= 180 for x, y in drawn.outline)


def test_a_table_is_entered_from_a_chart(make_window: Callable[[Bench | None], MainWindow], tmp_path: Path) -> None:
    """Empty editor, fields and filler by keyboard, live verdict; used by the job and saved as keyspec/1."""
    window = make_window(None)
    window.side.table.edit_asked.emit(False)
    editor = window.editor
    assert not editor.use.isEnabled() and editor.verdict.text()
    QTest.keyClicks(editor.fields["name"], "Own 5")
    QTest.keyClicks(editor.fields["source"], "measured from five depth keys")
    for field, text in zip(editor._fillers[0], ("8.54", "-0.38", "10"), strict=True):
        QTest.keyClicks(field, text)
    editor._fill_depths()
    for field, text in zip(editor._fillers[1], ("5", "4", "5"), strict=True):
        QTest.keyClicks(field, text)
    editor._fill_positions()
    assert editor.use.isEnabled(), editor.verdict.text()
    assert "equal steps of 0.380 mm" in editor.verdict.text()
    editor.save_to(tmp_path / "own.json")
    editor.use.click()
    spec = window.session.bench.state.spec

    assert spec is not None and spec.name == "Own 5" and spec.root_of("9") == pytest.approx(5.12)
    assert same_table(load_spec(tmp_path / "own.json"), spec)
    assert json.loads((tmp_path / "own.json").read_text())["format"] == "keyspec/1"
    assert window.centre.currentWidget() is window.sheet


def test_a_table_from_memory_is_confirmed_against_a_chart(
    make_window: Callable[[Bench | None], MainWindow],
) -> None:
    """Unconfirmed shows on the path; with a name and a chart the table is confirmed, today."""
    from datetime import date

    window = make_window(None)
    memory = next(entry.spec for entry in list_specs() if entry.spec is not None and entry.spec.is_unconfirmed)
    window.session.act(lambda: window.session.bench.set_spec(memory))
    assert window.path.buttons["table"].standing == "assumed"
    window.side.table.edit_asked.emit(True)
    QTest.keyClicks(window.editor.fields["confirmed_by"], "B. Smith")
    QTest.keyClicks(window.editor.fields["confirmed_chart"], "maker's chart 2021, page 3")
    window.editor.use.click()
    spec = window.session.bench.state.spec

    assert spec is not None and spec.confirmed is not None and not spec.is_unconfirmed
    assert (spec.confirmed.by, spec.confirmed.on) == ("B. Smith", date.today())
    assert window.path.buttons["table"].standing == "done"


@pytest.mark.parametrize(("form", "factor"), [(LengthFormat("mm", ","), 1.0), (LengthFormat("thou"), 1000 / 25.4)])
def test_depths_are_built_from_measured_depth_keys(
    make_window: Callable[[Bench | None], MainWindow], form: LengthFormat, factor: float
) -> None:
    """Readings typed a depth a line become the table's depths, in any unit; the source says who measured, and when."""
    window = make_window(None)
    editor = window.editor
    window._edit_table(False)
    editor.edit(None, form)
    editor.from_keys.click()
    part = editor.keys
    assert not part.take.isEnabled()
    lines = []
    for label, root_mm in (("0", 8.2), ("1", 7.7), ("2", 7.2)):
        figures = " ".join(form.number((root_mm + off) * factor, 3) for off in (-0.01, 0.0, 0.01))
        lines.append(f"{label}  {figures}")
    for line in lines:
        QTest.keyClicks(part.readings, line)
        QTest.keyClick(part.readings, Qt.Key.Key_Return)
    assert "Say who" in part.verdict.text() and not part.take.isEnabled()
    QTest.keyClicks(part.by, "Orla Fenwright")
    assert "repeats within" in part.study.toPlainText()
    part.take.click()
    draft = editor.draft()

    assert [label for label, _root in draft.depths] == ["0", "1", "2"]
    roots_mm = [form.to_mm(float(root.replace(",", "."))) for _label, root in draft.depths]
    assert roots_mm == pytest.approx([8.2, 7.7, 7.2], abs=2e-3)
    assert draft.source_kind == "measured" and "Orla Fenwright" in draft.source


def test_a_line_of_readings_that_is_none_is_answered_in_place(
    make_window: Callable[[Bench | None], MainWindow],
) -> None:
    """A word among the figures is named with its line, and nothing can be taken."""
    editor = make_window(None).editor
    editor.edit(None, LengthFormat())
    editor.from_keys.click()
    QTest.keyClicks(editor.keys.by, "Orla Fenwright")
    QTest.keyClicks(editor.keys.readings, "0 8.2 eight")

    assert editor.keys.verdict.text().startswith("Line 1") and not editor.keys.take.isEnabled()
