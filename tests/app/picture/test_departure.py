"""Where runs leave the metal."""

from __future__ import annotations

import numpy as np
from scipy.special import ndtr

from app.picture.departure import departure_model, level
from app.picture.runs import fill_islands, with_contamination, without_lines

STEP = 0.06


def _model():
    return departure_model(
        -1.5,
        1.5,
        STEP,
        change_from_mm=-1.2,
        change_to_mm=1.2,
        change_step_mm=STEP,
        blur_mm=0.07,
        contrast=2.0,
        texture_sd=0.1,
        coarse_sd=0.1,
        level_sd=0.15,
    )


def _best(values: np.ndarray) -> float:
    model = _model()
    return float(model.change_mm[model.log_likelihood(level(values, 120.0, 20.0)[None, :])[0].argmax()])


def test_a_step_up_and_a_step_down_are_found_alike() -> None:
    """The sign of the step on leaving the metal does not matter."""
    u = _model().u_mm
    noise = np.random.default_rng(1).normal(0.0, 1.5, len(u))
    for height in (60.0, -40.0):
        assert abs(_best(120.0 + height * ndtr((u - 0.3) / 0.07) + noise) - 0.3) < 0.12


def test_a_dark_shadow_that_brightens_through_the_metals_level_does_not_draw_the_edge_outward() -> None:
    """The run leaves the metal where the shadow starts, not where shadow and metal happen to be equally grey."""
    u = _model().u_mm
    shadow = np.where(u > -0.5, -40.0 + 60.0 * np.clip(u + 0.5, 0, None), 0.0)

    found = _best(120.0 + shadow + np.random.default_rng(2).normal(0.0, 1.5, len(u)))

    assert abs(found + 0.5) < 0.12


def test_a_bright_island_in_metal_is_filled_and_the_paper_is_not() -> None:
    """A burnt-out highlight comes back to metal; an edge does not."""
    run = np.full((1, 40), 100.0)
    run[0, 10:15] = 240.0
    run[0, 30:] = 245.0

    filled = fill_islands(run, np.array([100.0]), 245.0, STEP)

    assert (filled[0, :28] == 100.0).all()
    assert (filled[0, 31:] == 245.0).all()


def test_a_line_is_taken_out_only_where_all_runs_share_it() -> None:
    """A groove's edge runs along the blade; a cut's floor stands in few runs."""
    levelled = np.zeros((60, 50))
    levelled[:, 20:22] = -0.9
    levelled[10:14, 35:] = 0.9

    mended = without_lines(levelled, STEP, 0.3)

    assert (mended[:, 20:22] == 0.0).all()
    assert (mended[10:14, 36:] == 0.9).all()


def test_a_contaminated_run_can_say_anything_but_not_everything() -> None:
    """Each run's probabilities sum to one and none is below the contamination's share."""
    p = np.exp(with_contamination(np.array([[0.0, -500.0, -3.0]]), 0.03))

    assert np.isclose(p.sum(), 1.0)
    assert p.min() >= 0.0099
