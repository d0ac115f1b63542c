"""The decoder's honesty on a small draw, and the bench's own arithmetic."""

from __future__ import annotations

import numpy as np
import pytest
from sklearn.calibration import calibration_curve
from sklearn.metrics import brier_score_loss, log_loss

from tests.bench.honesty import brier, calibration_error, log_score, null_error, outcome_of, reliability, report
from tests.bench.madeup import KINDS, made_up_set

SETS = 32


@pytest.fixture(scope="module")
def outcomes():
    """Sets of every kind, seeded."""
    found = []
    for index, kind in enumerate(KINDS):
        rng = np.random.default_rng([20, index])
        found.append([outcome_of(made_up_set(kind, rng)) for _ in range(SETS)])
    return found


def test_codes_given_with_confidence_are_right(outcomes):
    """Of codes given 0.95 or more not more are wrong than their probabilities allow, by three standard deviations."""
    probable = [o for kind in outcomes for o in kind if o.probability >= 0.95]
    p = np.array([o.probability for o in probable])
    expected, spread = (1 - p).sum(), np.sqrt((p * (1 - p)).sum())

    assert len(probable) > 30
    assert sum(not o.right for o in probable) <= expected + 3 * spread


def test_the_calibration_error_is_that_of_an_honest_reader(outcomes):
    """On all kinds together it stays within what chance alone makes of honest probabilities, 99 times of 100."""
    p = np.array([o.probability for kind in outcomes for o in kind])
    right = np.array([o.right for kind in outcomes for o in kind])
    rng = np.random.default_rng(2)
    null = [calibration_error(p, rng.random(len(p)) < p) for _ in range(300)]

    assert calibration_error(p, right) <= np.quantile(null, 0.99)


def test_one_sigma_holds_the_truth_in_two_cases_of_three(outcomes):
    """Roots, scale and growth, over all kinds; the margins are what so small a draw needs."""
    every = [o for kind in outcomes for o in kind]
    roots = np.concatenate([o.roots_within for o in every]).mean()

    assert 0.62 < roots < 0.76
    assert 0.58 < np.mean([o.scale_within for o in every]) < 0.8
    assert 0.58 < np.mean([o.growth_within for o in every]) < 0.82


def test_a_boastful_decoder_would_be_caught():
    """Probabilities of 0.99 that are right in 0.9 of 200 sets fail what the tests above ask."""
    p, right = np.full(200, 0.99), np.arange(200) % 10 > 0

    assert calibration_error(p, right) == pytest.approx(0.09)
    assert calibration_error(p, right) > null_error(p, np.random.default_rng(1))[1]


def test_reliability_and_calibration_error_by_hand():
    """Ten forecasts: the error is 0.29 (check-values of the calibration literature, recomputed by hand)."""
    p = np.array([0.55, 0.65, 0.65, 0.75, 0.85, 0.95, 0.95, 0.95, 0.35, 0.45])
    right = np.array([1, 1, 0, 1, 1, 1, 1, 0, 0, 1], dtype=bool)

    assert calibration_error(p, right) == pytest.approx(0.29)
    assert reliability(p, right)[-1] == (3, pytest.approx(0.95), pytest.approx(2 / 3))
    assert brier(p, right) == pytest.approx(0.2165)


def test_scores_are_scikit_learns():
    """Brier score, log score and reliability curve of 400 seeded forecasts, as scikit-learn computes them."""
    rng = np.random.default_rng(3)
    p = rng.uniform(0.01, 0.99, 400)
    right = rng.random(400) < p**1.5
    truth, predicted = calibration_curve(right, p, n_bins=10)
    rows = reliability(p, right)

    assert brier(p, right) == pytest.approx(brier_score_loss(right, p), abs=1e-12)
    assert log_score(p, right) == pytest.approx(log_loss(right, p), abs=1e-12)
    assert [row[1] for row in rows] == pytest.approx(list(predicted)) and [row[2] for row in rows] == pytest.approx(
        list(truth)
    )


def test_the_report_names_what_it_counts(outcomes):
    """The printed table holds calibration error, coverage and verdicts."""
    words = report(KINDS[0], outcomes[0], np.random.default_rng(1))

    assert "calibration error" in words and "one sigma holds: roots" in words and "verdicts: sure" in words
