"""A metal's hue: of what colour the key is and the paper around it is not, however light or dark it is there.

Shadow on paper keeps the paper's ratios of red, green and blue, the metal's face and side wall keep the metal's.  Of a
colour ``m`` of the metal and ``p`` of the paper, the part of m that is no multiple of p,

    a = m - (m . p / p . p) p,

gives for any colour c the share ``(c . a) / (a . a)``: 0 on paper in any light, 1 on metal as light as most of it, and
less on darker metal in proportion, for which the grey there is allowed.  (Values as stored: a power curve of light
keeps multiples multiples.)  Lit by one lamp; a second of another colour, and light that a brass flank throws on the
paper, leave a shadow some of the share, so only the lack of most of it counts.

It is used against edges alone.  A floor or flank just inside of which the hue is missing is a shadow's border, not the
metal's.  That there *is* an edge of the hue says less: it lies at the far rim where a side wall is seen, and JPEG
stores colour at half the resolution.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from app.picture.frame import Frame
from app.picture.median import Values
from app.picture.sample import RED_GREEN_BLUE, Patch, colours_at
from app.picture.shape import EdgeShape
from app.picture.smooth import shifted
from keycore.measured import Floats

LEAST = 10.0
"""Grey levels of the part of the metal's colour that the paper has not: with less, JPEG's steps of colour count."""
DARK = 30.0
"""Grey levels that paper has in its lightest colour at least: darker, its ratios are noise."""
FEW = 50
"""With fewer places seen there is no telling what colour a thing is."""
INSIDE_MM = 0.22
"""How far below an edge its metal is looked for: beyond the blur of colour; from a 45 degree flank that is 0.15 mm."""
DARKEST = 0.25
"""On metal darker than this share of most of it, its hue is lost in noise."""
WITH, WITHOUT, NO_METAL = 0.7, 0.4, 4.0
"""Share of the hue from which on an edge has metal inside, up to which it has none, and what that speaks against it
(logarithm), in proportion between.

Measured 0.15 mm inside 1372 floors of drawn scans and photos with a card and 721 edges in the shadow beside them: less
than 0.4 at none of the first and at half of the second (at least e^4.6 times as often), 0.4 to 0.6 e^2.6 times as
often, 0.6 to 0.8 as often.  On 76 floors and 41 edges of another renderer it is the same.  Three quarters of that
count, since the floors of one key are alike.
"""


@dataclass(frozen=True)
class Hue:
    """The share of the metal's hue in a picture.

    Attributes
    ----------
    patch
        The share as on metal of usual lightness; 0 on paper.
    metal_grey
        How light most of the metal is.
    """

    patch: Patch
    metal_grey: float

    def no_metal_inside(self, share: Values, grey: Values, step_mm: float) -> Floats:
        """What speaks against an edge because no metal's hue is seen just inside of it (0 or less).

        Parameters
        ----------
        share, grey
            (rows, ...) means of :attr:`patch` and of the grey along a line at every height; rows run outward.
        step_mm
            Distance of neighbouring rows.
        """
        share = share / np.clip(grey / self.metal_grey, DARKEST, 1.0)
        share = shifted(share, -round(INSIDE_MM / step_mm))
        return np.asarray(-NO_METAL * np.clip((WITH - share) / (WITH - WITHOUT), 0.0, 1.0), dtype=float)


def metal_hue(patch: Patch, frame: Frame, shape: EdgeShape, *, double: bool) -> Hue | None:
    """The metal's hue where a blade lies as the frame says; None where it has none that the paper has not.

    Parameters
    ----------
    patch
        The picture around the blade, with its colours if it has any.
    double
        True where the frame's axis is a centreline, False where it is a back.
    """
    if patch.rgb is None:
        return None
    deepest, back = float(shape.roots_mm.min()), -shape.top_mm if double else 0.0
    within = np.linspace(-0.6, 0.6, 12) * deepest if double else np.linspace(0.25, 0.85, 8) * deepest
    away = np.linspace(0.5, 3.0, 12)
    metal = _colours(patch, frame, shape, within)
    around = _colours(patch, frame, shape, np.concatenate([shape.top_mm + away, back - away]))
    if min(len(metal), len(around)) < FEW:
        return None
    light = around.sum(axis=1)
    paper = np.median(around[light >= np.median(light)], axis=0)
    if float(paper.max()) < DARK:
        return None
    usual = np.median(metal, axis=0)
    own = usual - (usual @ paper) / (paper @ paper) * paper
    if float(own @ own) < LEAST**2:
        return None
    share = patch.rgb.astype(np.float32) @ (own / (own @ own)).astype(np.float32)
    return Hue(Patch(np.asarray(share), patch.left, patch.top), float(usual @ RED_GREEN_BLUE))


def _colours(patch: Patch, frame: Frame, shape: EdgeShape, heights_mm: Floats) -> Floats:
    """(n, 3) colours at these heights along the cuts, as far as the patch reaches."""
    assert patch.rgb is not None
    first, last = float(shape.positions_mm.min()) - 1.0, float(shape.positions_mm.max()) + 1.0
    at_mm = np.stack(np.meshgrid(np.linspace(first, last, 60), heights_mm), axis=-1).reshape(-1, 2)
    at_xy = frame.picture_xy(at_mm) - [patch.left, patch.top]
    rows, columns = patch.rgb.shape[:2]
    seen = ((at_xy >= 0) & (at_xy <= [columns - 1, rows - 1])).all(axis=1)
    return colours_at(patch.rgb, at_xy[seen]) if seen.any() else np.empty((0, 3))
