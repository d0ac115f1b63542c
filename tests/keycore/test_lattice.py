"""The nodes along which scale is summed."""

from __future__ import annotations

import numpy as np

from keycore.lattice import STEP, _nodes


def test_the_sum_is_the_integral_wherever_the_step_changes():
    """A normal as narrow as the local step allows, anywhere between fine and wide steps: within 0.7 %.

    (With a corner where one step takes over from the other it is off by 1.5 %.)
    """
    nodes, steps = _nodes(-0.4, 0.4, 0.02, 0.002, np.array([-0.1, 0.05]))
    for place in np.linspace(-0.3, 0.3, 601):
        sigma = np.interp(place, nodes, steps) / STEP
        density = np.exp(-0.5 * ((nodes - place) / sigma) ** 2) / (sigma * np.sqrt(2 * np.pi))
        assert abs(steps @ density - 1) < 0.007


def test_steps_are_fine_near_a_reference_and_wide_far_from_all():
    """0.002 at the reference, 0.02 far away, and no node is missing in between."""
    nodes, steps = _nodes(-0.4, 0.4, 0.02, 0.002, np.array([0.05]))

    assert np.interp(0.05, nodes, steps) < 0.0021 and 0.018 < np.interp(-0.35, nodes, steps) <= 0.02
    assert np.all(np.diff(nodes) > 0) and np.allclose(np.diff(nodes), (steps[1:] + steps[:-1]) / 2, rtol=0.05)
