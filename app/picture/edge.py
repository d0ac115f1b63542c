"""One edge to a fraction of a pixel: the place of a blurred step in a run of grey values.

Model: ``grey(u) = base + height * Phi((u - place) / blur) + noise``, white noise, with base and height free.  The
place is the least-squares one, found on a grid and then between its points by a parabola.  For white noise of standard
deviation s no unbiased estimate has a smaller variance than s^2 / sum((d grey / d place)^2) (Cramer-Rao); this one
comes within a few per cent of it, and claims it as its uncertainty.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.special import ndtr

from keycore.measured import Floats

FINENESS = 8
"""Grid points per sample of the run."""


@dataclass(frozen=True)
class LocatedStep:
    """A step in a run: its place and standard uncertainty in the run's own unit, and its height in grey levels."""

    place: float
    sigma: float
    height: float


def locate_step(u: Floats, grey: Floats, blur: float, *, from_u: float, to_u: float) -> LocatedStep | None:
    """Find the one blurred step of a run.

    Parameters
    ----------
    u, grey
        (n,) evenly spaced places and the grey values there, n at least 6.
    blur
        Standard deviation of the blur, in the unit of ``u``.
    from_u, to_u
        Where the step is looked for.

    Returns
    -------
    LocatedStep or None
        None where the step is not higher than four times its own uncertainty, or lies at the border of the search.
    """
    spacing = float(u[1] - u[0])
    places = np.arange(from_u, to_u + 1e-9, spacing / FINENESS)
    if len(u) < 6 or len(places) < 3:
        return None
    shape = ndtr((u[None, :] - places[:, None]) / blur)
    centred = shape - shape.mean(axis=1, keepdims=True)
    power = (centred**2).sum(axis=1)
    level = grey - grey.mean()
    along = centred @ level
    misfit = float((level**2).sum()) - along**2 / power
    best = int(np.argmin(misfit))
    if best in (0, len(places) - 1):
        return None
    left, middle, right = misfit[best - 1 : best + 2]
    bend = left - 2 * middle + right
    place = float(places[best] + (0.5 * (left - right) / bend if bend > 0 else 0.0) * spacing / FINENESS)
    height = float(along[best] / power[best])
    noise = float(np.sqrt(max(float(middle), 1e-12) / (len(u) - 3)))
    slope = height / blur * np.exp(-0.5 * ((u - place) / blur) ** 2) / np.sqrt(2 * np.pi)
    sigma = noise / float(np.sqrt((slope**2).sum()))
    if abs(height) < 4 * noise / float(np.sqrt(power[best])):
        return None
    return LocatedStep(place, sigma, height)
