"""The bench's own arithmetic: figures that a reader can check by hand."""

from __future__ import annotations

import numpy as np
import pytest

from tests.bench.roughmarks import rough_marks
from tests.bench.score import Outcome, compare, figures, reliability


def _outcome(right, probability, errors=(0.03, -0.04), clear=True):
    return Outcome("a.png", "scan", "A", clear, right, probability, 4 if right else 3, 4, tuple(errors), 0.5)


def test_figures_of_four_pictures():
    """Shares, rms, Brier score and wrong sure codes of a hand-made list."""
    f = figures([_outcome(True, 1.0), _outcome(True, 0.5), _outcome(False, 0.995), _outcome(False, 0.0)])

    assert f["code"] == 0.5 and f["cuts"] == 14 / 16 and f["sure"] == 0.5 and f["sure_wrong"] == 1
    assert f["brier"] == pytest.approx((0 + 0.25 + 0.990025 + 0) / 4)
    assert f["root_rms_mm"] == pytest.approx(np.sqrt(0.00125)) and f["root_median_mm"] == pytest.approx(0.035)


def test_either_order_of_independent_edges_counts():
    """A code read with the other face up is right, and its roots are compared in that order."""
    truth = {"code": [["1", "2"], ["3", "4"]], "as_made_roots_mm": [[3.7, 3.3], [2.9, 2.5]]}

    right, cuts, errors = compare(truth, ("3", "4", "1", "2"), [2.9, 2.5, 3.7, 3.31])

    assert right and cuts == 4 and errors == pytest.approx([0, 0, 0, 0.01])
    assert not compare(truth, ("3", "4", "1", "1"), [0, 0, 0, 0])[0]


def test_reliability_puts_each_picture_in_one_bin():
    """Every outcome appears once, those of probability 1 in the last bin."""
    outcomes = [_outcome(True, p) for p in (0.0, 0.05, 0.1, 0.95, 1.0)]

    counts = [int(line[12:17]) for line in reliability(outcomes).splitlines()[1:]]

    assert counts == [2, 1, 2]


def test_rough_marks_scatter_by_four_tenths_of_a_millimetre():
    """Scatter is 0.4 mm in each coordinate at the key's own scale, and the same again for the same name."""
    true = {
        "blade_height": [[0.0, 0.0], [0.0, 80.0]],  # 8 mm: 10 px a millimetre
        "roots": [[float(i), 0.0] for i in range(500)],
        "shoulder": None,
        "reference": None,
    }

    marks = rough_marks(true, "a.png", 8.0)
    moved = np.array(marks.roots) - np.array(true["roots"])

    assert moved.std() == pytest.approx(4.0, rel=0.06)
    assert rough_marks(true, "a.png", 8.0) == marks and rough_marks(true, "b.png", 8.0) != marks
