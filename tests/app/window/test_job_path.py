"""The job's path, whose words are cut to the width of the window's left side."""

from __future__ import annotations

import pytest

from app.window.job_path import pieces_of


@pytest.mark.parametrize(
    ("words", "pieces"),
    [
        ("16.55 px/mm within 0.4 %, 3 references", ["16.55 px/mm", "within", "0.4 %,", "3", "references"]),
        ("16,58 px/mm auf 0,6 %", ["16,58 px/mm", "auf", "0,6 %"]),
        ("3 inches, 2 mmm", ["3", "inches,", "2", "mmm"]),
        ("taken for a photocopy", ["taken", "for", "a", "photocopy"]),
    ],
)
def test_no_line_ends_between_a_figure_and_its_unit(words: str, pieces: list[str]) -> None:
    """In either language; a word that only begins like a unit is none."""
    assert pieces_of(words) == pieces
