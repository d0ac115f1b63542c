"""A straight line that runs on from one floor to the next is no cut edge, but a back or what is printed.

Between two cuts the table's blade rises to a peak or to the uncut edge, so the straight line from floor to floor lies
in the metal and shows no step.  A line that passes through all floors counts for each of them as much as a floor does,
and a back that is crossed at a small angle makes a row of cuts, each a little deeper than the last.  So the step along
the line is compared between the floors and at them.
"""

from __future__ import annotations

import numpy as np

from app.picture.edgemaps import CORNER_MM, EdgeMaps
from app.picture.shape import EdgeShape
from keycore.measured import Floats

RUNS_ON, AS_HIGH = 4.0, (0.4, 0.7)
"""What a line that runs on speaks against each pair of cuts (logarithm): nothing where its step between them is less
than the first share of the lower one at the two floors, all of it from the second on."""
BESIDE_MM = 0.15
"""What is left out of a gap at either floor: the corner's blur."""
LEAST_GAP_MM = 0.5
FAINT = 0.5
"""A floor's step of less than this many times the noise is not compared with."""


def runs_on(maps: EdgeMaps, shape: EdgeShape, centres_mm: Floats, floors_mm: Floats) -> float:
    """What speaks against cuts with these floors (k,) at these places (k,), because one line runs through (0 or less).

    Floors are heights in the map, places those along the frame.
    """
    order = np.argsort(centres_mm)
    places = list(zip(centres_mm[order], floors_mm[order], strict=True))
    half_mm, beside_mm = shape.flat_mm / 2 - CORNER_MM, shape.flat_mm / 2 + BESIDE_MM
    at_floors = [_steps(maps, (x - half_mm, y), (x + half_mm, y)) for x, y in places]
    own = [float(steps[np.abs(steps).argmax()]) for steps in at_floors]
    against = 0.0
    for (x, y), (next_x, next_y), step, next_step in zip(places, places[1:], own, own[1:], strict=False):
        lower = min(step, next_step, key=abs)
        if next_x - x - 2 * beside_mm < LEAST_GAP_MM or step * next_step <= 0.0 or abs(lower) < FAINT * maps.noise:
            continue
        rise = beside_mm * (next_y - y) / (next_x - x)
        between = _steps(maps, (x + beside_mm, y + rise), (next_x - beside_mm, next_y - rise))
        share = float((between / lower).max())
        against += RUNS_ON * float(np.interp(share, AS_HIGH, (0.0, 1.0)))
    return -against


def _steps(maps: EdgeMaps, start: tuple[float, float], end: tuple[float, float]) -> Floats:
    """(3,) mean change of grey along a line between two places of the map, and along those a row beside it."""
    row_mm, column_mm = float(maps.y_mm[1] - maps.y_mm[0]), float(maps.x_mm[1] - maps.x_mm[0])
    x_mm = np.arange(start[0], end[0], column_mm)
    y_mm = np.interp(x_mm, (start[0], end[0]), (start[1], end[1]))
    columns = np.rint((x_mm - maps.x_mm[0]) / column_mm).astype(int)
    rows = np.rint((y_mm - maps.y_mm[0]) / row_mm).astype(int) + np.arange(-1, 2)[:, None]
    at = np.clip(rows, 0, len(maps.y_mm) - 1), np.clip(columns, 0, len(maps.x_mm) - 1)
    return np.asarray(maps.rise[at].mean(axis=1))
