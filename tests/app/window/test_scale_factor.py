"""The picture under real events on denser screens: tests of the view once more, in a process of their own."""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path

import pytest

PROMISES = (
    "test_a_hundred_wheel_notches_keep_the_point_under_the_pointer",
    "test_a_dragged_mark_lands_where_it_is_let_go",
    "test_keys_show_blade_whole_one_to_one_and_a_cut",
    "test_a_marker_leaves_its_middle_open",
    "test_a_screen_reader_finds_each_mark_where_it_is_drawn",
)


@pytest.mark.parametrize("factor", ["1.5", "2"])
def test_the_view_keeps_its_promises_on_a_dense_screen(checkout: Path, factor: str) -> None:
    """What a hand and the keys do is right to the same pixel at 150 and 200 per cent."""
    file = "tests/app/window/test_picture_view.py"
    done = subprocess.run(
        [sys.executable, "-m", "pytest", "-q", "-p", "no:cacheprovider", *(f"{file}::{name}" for name in PROMISES)],
        cwd=checkout,
        env={**os.environ, "QT_SCALE_FACTOR": factor},
        capture_output=True,
        text=True,
        timeout=120,
    )

    assert done.returncode == 0, done.stdout
