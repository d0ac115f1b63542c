"""A side wall or the shadow at a key's foot: a dark band between the metal's edge and the light.

A key is seen from above, its side wall and the shadow at its foot beside it: outward it gets darker at the metal, then
lighter where the dark ends.  The second edge is mostly the stronger one, and it runs like the first along the whole
blade, so nothing but the dark between them tells that it is not the metal's.  What speaks against an edge is here:
always 0 or less, in logarithms, for edges to the lighter outside only.

Two ways to see the band:

* :func:`outside_dark` looks at the grey itself along a floor or a flank: somewhere inside the metal is lighter than
  *everything* from there to the edge.  A groove's line is dark too, but beyond it the metal is as light as before.
* :func:`beyond_dark` looks at the change alone, and no farther inside than half a millimetre.

A floor or flank loses what either says, whichever is more (:func:`dark_inside`); long lines (uncut edge, back), beside
which grooves run all the way, what the second says.

Not for copies, on which metal and shadow are one black.  There the band is the other way round: a groove or a highlight
that is copied white has the key's own black beyond it, a floor has none (:func:`black_beyond`).
"""

from __future__ import annotations

import numpy as np

from app.picture.median import Values
from app.picture.smooth import largest_near, shifted
from keycore.measured import Floats

BAND_MM, AS_DARK, BEYOND_DARK = (0.16, 0.6), 0.6, 2.6
"""Of the change alone: a band's breadth (least, most), how much of the step at its outer side the one at its inner
side has at least, and how much (logarithm) more often one is found inside a band's outer side than a metal's edge."""
BESIDE_MM = 0.12
"""The grey of either side of an edge is read off this far from it."""
BREADTH_MM = (0.16, 1.2)
"""Least and most breadth of a band: three millimetres of wall seen at about twenty degrees."""
EVERY_MM = 0.08
"""Steps in which breadths are tried."""
OF_STEP, OF_NOISE = 0.25, 1.25
"""Dark enough to tell a band is this share of the step at its outer side, and this many times the noise, together."""
FROM, UP_TO, OUTSIDE_DARK = 0.25, 3.0, 4.5
"""Between these shares of dark enough the penalty grows by the share's logarithm up to its full size.

Measured on 1255 floors of drawn scans and photos with a card: among metal's edges a share of 0.25 or less was e^3 times
as often as at a band's outer side, 1 about as often, 3 and more e^-3 times.  Floors of one key are alike, so three
quarters of that count.
"""

AGAIN_MM = 3.0
"""How far beyond a copy's floor it is looked for black: a groove's white is seldom broader."""
AGAIN_FROM, AGAIN_UP_TO, BLACK_AGAIN = 0.35, 2.0, 3.0
"""The same for what is dark again beyond a copy's floor.

Measured at 1322 true floors and 1485 edges inside the black of 200 drawn copies: more than 2 at one in a hundred of the
first and at three quarters of the second, e^4.4 times as often; counted for less, as above.
"""


def dark_inside(level: Values, noise: float, z: Floats, step_mm: float) -> Floats:
    """What speaks against a floor or flank by what is dark inside it: the arguments are those of the next two."""
    return np.asarray(np.minimum(outside_dark(level, noise, step_mm), beyond_dark(z, step_mm)), dtype=float)


def outside_dark(level: Values, noise: float, step_mm: float) -> Floats:
    """What speaks against an edge to the lighter outside that has a dark band inside it, told from the grey itself.

    Parameters
    ----------
    level
        (rows, ...) mean grey along a line at every height; the first axis runs outward.
    noise
        Spread of changes from place to place, in grey levels.
    step_mm
        Distance of neighbouring rows.
    """
    beside, most = round(BESIDE_MM / step_mm), round(BREADTH_MM[1] / step_mm)
    level = level.astype(np.float32, copy=False)
    rows, inside = len(level), most + beside
    padded = np.concatenate([np.repeat(level[:1], inside, axis=0), level, np.repeat(level[-1:], beside, axis=0)])

    def at(deeper: int) -> Values:
        return padded[inside - deeper : inside - deeper + rows]

    rise = at(-beside) - at(beside)
    lightest, darker = at(beside).copy(), np.full_like(rise, -np.inf)
    every = max(1, round(EVERY_MM / step_mm))
    seen = beside
    for breadth in range(round(BREADTH_MM[0] / step_mm), most + 1, every):
        while seen < breadth - beside:
            seen += 1
            np.maximum(lightest, at(seen), out=lightest)
        np.maximum(darker, at(breadth + beside) - lightest, out=darker)
    return _against(darker, rise, noise, (FROM, UP_TO), OUTSIDE_DARK)


def beyond_dark(z: Floats, step_mm: float) -> Floats:
    """What speaks against an edge to the lighter outside that has one to the dark just inside (0 or less).

    Parameters
    ----------
    z
        Sums in units of their spread, positive where it gets lighter outward; the first axis runs outward.
    step_mm
        Distance of neighbouring places along the first axis.
    """
    nearest, farthest = (round(breadth / step_mm) for breadth in BAND_MM)
    half = (farthest - nearest) // 2
    darkest = largest_near(-shifted(z, -(nearest + half)), 2 * half + 1)
    lighter = np.maximum(z, 1e-6)
    band = np.clip(darkest / lighter / (0.5 * AS_DARK) - 1.0, 0.0, 1.0) * np.clip(0.5 * lighter - 1.0, 0.0, 1.0)
    return np.asarray(-BEYOND_DARK * band, dtype=float)


def black_beyond(level: Values, noise: float, step_mm: float) -> Floats:
    """What speaks against a copy's floor beyond which it is dark again: arguments as of :func:`outside_dark`."""
    beside, far = round(BESIDE_MM / step_mm), round(AGAIN_MM / step_mm) // 2
    level = level.astype(np.float32, copy=False)
    rows = len(level)
    outside = np.concatenate([level[beside:], np.repeat(level[-1:], beside + 2 * far, axis=0)])
    inside = shifted(level, -beside)
    darkest = -largest_near(-outside, 2 * far + 1)[far : far + rows]
    outside = outside[:rows]
    rise = outside - inside
    return _against(outside - darkest, rise, noise, (AGAIN_FROM, AGAIN_UP_TO), BLACK_AGAIN)


def _against(darker: Values, rise: Values, noise: float, shares: tuple[float, float], most: float) -> Floats:
    """What so much dark speaks against an edge to the lighter outside with this rise."""
    least, all_of_it = shares
    share = darker / np.hypot(OF_STEP * rise, OF_NOISE * noise)
    share = np.where(rise > 0.0, np.clip(share, least, all_of_it), least)
    return np.asarray(np.log(share / least) * (-most / np.log(all_of_it / least)), dtype=float)
