"""Which stretch of another picture shows what one looks at in this one: the same cuts, as large.  Pure: no Qt."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from app.picture.values import Straight
from app.window.view_transform import ViewTransform, view_of
from keycore.measured import Floats


def same_stretch(
    view: ViewTransform, own_roots_xy: Floats, straight: Straight, roots_xy: Floats, view_size: tuple[float, float]
) -> ViewTransform:
    """The view of another picture that shows the stretch of blade which ``view`` shows.

    Parameters
    ----------
    view, own_roots_xy
        What one looks at, and where its roots lie, straightened: (n, 2).
    straight, roots_xy
        The other picture, and where the same roots lie in it: (n, 2).
    view_size
        The widget that the other picture is drawn in; the stretch fills its width as it fills the first one's.
    """
    plain = view_of(straight, view_size, view.device_pixel_ratio)
    if len(own_roots_xy) < 2 or own_roots_xy.shape != roots_xy.shape:
        return plain
    centred = own_roots_xy[:, 0] - own_roots_xy[:, 0].mean()
    spread = float(centred @ centred)
    if spread <= 0:
        return plain
    size = float(centred @ roots_xy[:, 0]) / spread  # the other's pixels to one of this
    if size <= 0:
        return plain
    middle = view.straight_xy(np.array(view.view_size) / 2)
    there = roots_xy.mean(axis=0) + size * (middle - own_roots_xy.mean(axis=0))
    zoom = view.zoom / size * view_size[0] / view.view_size[0]
    return replace(plain, zoom=zoom).centred_on((float(there[0]), float(there[1])))
