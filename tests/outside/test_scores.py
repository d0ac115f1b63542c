"""The bench's scores, against an outside opinion: scikit-learn's own implementation of the Brier score.

Source: G. W. Brier, "Verification of forecasts expressed in terms of probability", Monthly Weather Review 78 (1950) 1-3
(from memory), as ``sklearn.metrics.brier_score_loss`` computes it.
"""

from __future__ import annotations

import numpy as np
import pytest
from sklearn.metrics import brier_score_loss

from tests.bench.score import Outcome, figures


def test_brier_score_is_scikit_learns() -> None:
    """Three hundred seeded outcomes get the same Brier score from the bench and from scikit-learn."""
    rng = np.random.default_rng(11)
    stated = rng.uniform(size=300)
    right = rng.uniform(size=300) < stated**2
    outcomes = [
        Outcome("a.png", "scan", "made up", True, bool(r), float(p), int(r), 1, (), 0.0)
        for p, r in zip(stated, right, strict=True)
    ]
    assert 0.2 < right.mean() < 0.5, "both outcomes occur"
    assert figures(outcomes)["brier"] == pytest.approx(brier_score_loss(right, stated), abs=1e-12)
