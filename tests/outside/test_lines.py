"""The straight line that gives the scale, against published lines.

NIST Statistical Reference Datasets, Norris: the certified file that is part of scipy.
JCGM 100:2008 (GUM), Annex H.3: calibration of a thermometer, with the line's value beyond its points.
D. York, Can. J. Phys. 44 (1966) 1079, on the data of Pearson (1901): errors in both variables; uncertainties by York
and others, Am. J. Phys. 72 (2004) 367.
"""

from __future__ import annotations

import importlib.resources
import math

import numpy as np
import pytest

from keycore.scale import fit_line


def test_nist_norris():
    """Certified intercept, slope and their standard deviations, to 9 digits."""
    folder = importlib.resources.files("scipy.stats.tests") / "data" / "nist_linregress"
    path = folder / "Norris.dat"
    if not path.is_file():
        pytest.skip("this scipy comes without its test data")
    rows = [line.split() for line in path.read_text(encoding="utf-8").splitlines()[60:96]]
    y, x = np.array(rows, dtype=float).T
    line = fit_line(x, y, np.zeros(36), np.ones(36))
    scatter = math.sqrt(line.chi_square / (line.points - 2))

    assert line.points == 36
    assert line.start == pytest.approx(-0.262323073774029, rel=1e-9)
    assert line.slope == pytest.approx(1.00211681802045, rel=1e-12)
    assert scatter == pytest.approx(0.884796396144373, rel=1e-9)
    assert line.start_sigma * scatter == pytest.approx(0.232818234301152, rel=1e-9)
    assert line.slope_sigma * scatter == pytest.approx(0.429796848199937e-3, rel=1e-9)


def test_gum_h3_thermometer():
    """y1, y2, s(y1), s(y2), r, s, and the correction at 30 degrees with its uncertainty, to the published digits."""
    t = np.array([21.521, 22.012, 22.512, 23.003, 23.507, 23.999, 24.513, 25.002, 25.503, 26.010, 26.511])
    b = -np.array([0.171, 0.169, 0.166, 0.159, 0.164, 0.165, 0.156, 0.157, 0.159, 0.161, 0.160])
    first = fit_line(t - 20, b, np.zeros(11), np.ones(11))
    s = math.sqrt(first.chi_square / 9)
    line = fit_line(t - 20, b, np.zeros(11), np.full(11, s))

    assert round(s, 4) == 0.0035
    assert (round(line.start, 4), round(line.start_sigma, 4)) == (-0.1712, 0.0029)
    assert (round(line.slope, 5), round(line.slope_sigma, 5)) == (0.00218, 0.00067)
    assert round(line.correlation, 3) == -0.930
    assert (round(line.at(10.0).value, 4), round(line.at(10.0).sigma, 4)) == (-0.1494, 0.0041)


def test_york_line_on_pearsons_data():
    """Slope, intercept, weighted sum of squares and uncertainties, errors in both variables."""
    x = np.array([0.0, 0.9, 1.8, 2.6, 3.3, 4.4, 5.2, 6.1, 6.5, 7.4])
    y = np.array([5.9, 5.4, 4.4, 4.6, 3.5, 3.7, 2.8, 2.8, 2.4, 1.5])
    weight_x = np.array([1000, 1000, 500, 800, 200, 80, 60, 20, 1.8, 1])
    weight_y = np.array([1, 1.8, 4, 8, 20, 20, 70, 70, 100, 500])
    line = fit_line(x, y, weight_x**-0.5, weight_y**-0.5)

    assert line.start == pytest.approx(5.47991022403286, rel=1e-12)
    assert line.slope == pytest.approx(-0.480533407446202, rel=1e-12)
    assert line.chi_square == pytest.approx(11.8663531940615, rel=1e-12)
    assert line.start_sigma == pytest.approx(0.294970735493109, rel=1e-9)
    assert line.slope_sigma == pytest.approx(0.0579850090007745, rel=1e-9)
