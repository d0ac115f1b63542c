"""The two rims of a thick key: its face ends at the near one, its side wall at the far one.

Where a key is seen at an angle (a scanner's lens, a phone held aslant), its wall shows beside one edge, and the edge is
there twice: once where the face ends, and once more, moved by one vector for all cuts, where the wall does.  The metal
is measured at the inner of the two.  Any one cut may show two lines by chance (a groove, a shadow's border); that all
of them show a second one at the same distance is no chance.

Model: with probability ``WALL`` a far rim is seen, its vector level over a grid; then each cut's floor at height ``y``
comes with a line to the light at ``y`` plus the vector, whose log-likelihood ratio (:func:`edgemaps.log_ratio`, at most
``MOST``) counts besides the cut's own.  Else it comes with nothing.  Cuts are independent when the vector is known, so
a cut's evidence is summed over the vectors with the weights that *the other* cuts give them:

    rim_k(y) = ln( P(none | others) + sum over v of P(v | others) * exp(outer_k(y + v)) )

All ratios are taken to the power ``TEMPER`` in it, as a cut's whole evidence is (:mod:`app.picture.cuts`).  Which line
is the inner one needs no rule: the far rim has no line at that distance outside of it.  Where the far rim lies is so
known from all cuts together, and tells which line of the uncut edge is the metal's (:mod:`app.picture.farrim`).
"""

from __future__ import annotations

import numpy as np

from app.picture.cuts import TEMPER
from app.picture.edgemaps import EdgeMaps, log_ratio
from app.picture.farrim import FarRim
from app.picture.lie import HeightCurve
from app.picture.logsum import logsumexp
from app.picture.smooth import largest_near
from keycore.measured import Floats

WALL = 0.4
"""How often a wall is seen beside an edge; the sums hardly depend on it."""
OUT_MM, OUT_STEP_MM = (0.2, 1.2), 0.08
ALONG_MM = 0.2 * np.arange(-4, 5)
"""How far the far rim may lie outside, and along the blade."""
MOST = 12.0
"""Of the far rim's line less counts than of a cut's own (up to 22): 7 and 12 read alike many keys, 22 fewer."""


def near_rims(maps: EdgeMaps, curves: tuple[HeightCurve, ...]) -> tuple[tuple[Floats, ...], FarRim]:
    """For each cut of an edge (rows,) what speaks for a floor at each height as the near one of two rims.

    And where the far one lies, as all of them say together.

    Parameters
    ----------
    maps
        The edge's neighbourhood.
    curves
        The evidence of each cut's height, on the map's rows.
    """
    row_mm, column_mm = float(maps.y_mm[1] - maps.y_mm[0]), float(maps.x_mm[1] - maps.x_mm[0])
    every = max(1, round(OUT_STEP_MM / row_mm))
    out = np.arange(round(OUT_MM[0] / row_mm), round(OUT_MM[1] / row_mm) + 1, every)
    above = np.arange(len(maps.y_mm))[:, None] + out
    nothing = np.zeros((int(out[-1]), len(ALONG_MM)))  # is seen outside of the map
    outer, told = [], []
    for curve in curves:
        columns = np.rint((curve.x_mm + ALONG_MM - maps.x_mm[0]) / column_mm).astype(int)
        z = np.concatenate([maps.floor_z[:, np.clip(columns, 0, len(maps.x_mm) - 1)], nothing])
        ratio = np.minimum(log_ratio(z, signed=True, step_mm=row_mm), MOST)
        ratio = largest_near(ratio, 2 * (every // 2) + 1)
        outer.append(TEMPER * ratio[above].reshape(len(above), -1))
        own = TEMPER * curve.log_p[:, None]
        told.append(logsumexp(own + outer[-1], axis=0) - logsumexp(own))
    together = np.sum(told, axis=0) + np.log(WALL / len(told[0]))
    found = []
    for ratio, own in zip(outer, told, strict=True):
        weights = np.append(together - own, np.log(1 - WALL))
        weights -= logsumexp(weights)
        every_state = np.concatenate([ratio + weights[:-1], np.full((len(ratio), 1), weights[-1])], axis=1)
        found.append(np.asarray(logsumexp(every_state, axis=1)) / TEMPER)
    weights = np.append(together, np.log(1 - WALL))
    weights -= logsumexp(weights)
    by_rows = logsumexp(weights[:-1].reshape(len(out), len(ALONG_MM)), axis=1)
    return tuple(found), FarRim(out, np.asarray(by_rows), float(weights[-1]), TEMPER)
