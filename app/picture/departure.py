"""Where a run of grey values leaves the metal.

The edge that matters is the metal's, not the strongest one: a shadow's outer border, a copied shadow or a lit side
wall may be far stronger than the thin step at the metal itself, and its sign may be either.  What sets the metal apart
is that *inside* the values stay at the metal's level, and *outside* they do something else.  So the place is found as
a change-point.

Model of one run z(u) of levelled values (0 = the metal's level, saturating towards -1 and 1), u in millimetres along
the outward normal, with the change at c:

    z(u) = m + n(u) + (1 - b(u - c)) * t(u) + b(u - c) * [a + o(u) + r(u)]

    m      offset of the metal's level here, N(0, level_sd^2), drifting slowly (SLOW_SD over SLOW_MM)
    n      pixel noise, white
    b      the blurred step: the normal integral with the picture's own blur
    t      metal texture, two Ornstein-Uhlenbeck processes: fine (sd texture_sd, length TEXTURE_MM) and coarse (sd
           coarse_sd, length COARSE_MM)
    a      the step on leaving the metal, N(0, STEP_SD^2): either sign, often small
    o      whatever the outside does then: a smooth process (Matern 3/2, sd OUTSIDE_SD, length OUTSIDE_MM), for a shadow
           is smooth; were it rough, every millimetre of shadow would count against having left the metal
    r      the outside's own roughness (toner, dots): like t, ROUGH_SHARE as strong

All parts are Gaussian, so the likelihood of each c is that of a Gaussian vector with a known covariance: exact, and
one matrix product for all runs at once.  (Gaussian-process change-points: Rasmussen & Williams, Gaussian Processes for
Machine Learning, 2006, ch. 2 and 4; from memory.)  Values saturate before this, so that paper counts no more than a
clear departure.

What the model does not know is a second border further out, where a copied shadow goes over into paper within a few
tenths of a millimetre: a single run then prefers that border to a faint edge of the metal's own, and only the table's
shape over many runs can outvote it.  Making the outside rougher mends that and loses more in noisy metal (measured).
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from scipy.special import ndtr

from keycore.measured import Floats

TEXTURE_MM = 0.1
COARSE_MM = 0.5
SLOW_MM, SLOW_SD = 2.0, 0.15
OUTSIDE_MM = 2.0
STEP_SD = 0.5
OUTSIDE_SD = 0.5
ROUGH_SHARE = 1.5
WHITE_SD = 0.04


@dataclass(frozen=True)
class DepartureModel:
    """The change-point model on one grid of places.

    Attributes
    ----------
    u_mm
        (n,) where the runs are sampled.
    change_mm
        (k,) the places of change that are compared.
    """

    u_mm: Floats
    change_mm: Floats
    whitening: Floats
    """(k, n, n) inverse Cholesky factors of the k covariances."""
    log_norm: Floats
    """(k,) half the log-determinants."""

    def log_likelihood(self, runs: Floats, texture: Floats | None = None) -> Floats:
        """Log-likelihood of every place of change.

        Parameters
        ----------
        runs
            (r, n) levelled values.
        texture
            (r, n) what the metal's own texture is known to be along the run, taken off where the run is still on metal.

        Returns
        -------
        (r, k) log-likelihoods, up to one constant for the whole model.
        """
        if texture is None:
            whitened = np.einsum("kij,rj->rki", self.whitening, runs, optimize=True)
        else:
            inside = self.u_mm[None, :] < self.change_mm[:, None]
            levelled = runs[:, None, :] - texture[:, None, :] * inside[None, :, :]
            whitened = np.einsum("kij,rkj->rki", self.whitening, levelled, optimize=True)
        return np.asarray(-0.5 * np.einsum("rki,rki->rk", whitened, whitened) - self.log_norm)


@lru_cache(maxsize=64)
def departure_model(
    u_from_mm: float,
    u_to_mm: float,
    step_mm: float,
    *,
    change_from_mm: float,
    change_to_mm: float,
    change_step_mm: float,
    blur_mm: float,
    contrast: float,
    texture_sd: float,
    coarse_sd: float,
    level_sd: float,
) -> DepartureModel:
    """Build (or recall) the model for one grid, blur and texture."""
    u = steps(u_from_mm, u_to_mm, step_mm)
    changes = steps(change_from_mm, change_to_mm, change_step_mm)
    distance = np.abs(u[:, None] - u[None, :])
    common = level_sd**2 + SLOW_SD**2 * np.exp(-distance / SLOW_MM) + WHITE_SD**2 * np.eye(len(u))
    texture = texture_sd**2 * np.exp(-distance / TEXTURE_MM)
    on_metal_only = texture + coarse_sd**2 * np.exp(-distance / COARSE_MM)
    smooth = np.sqrt(3.0) * distance / OUTSIDE_MM
    outside = STEP_SD**2 + OUTSIDE_SD**2 * (1 + smooth) * np.exp(-smooth) + ROUGH_SHARE**2 * texture
    blurred = saturate(contrast * ndtr((u[None, :] - changes[:, None]) / blur_mm)) / saturate(contrast)
    on_metal = 1.0 - blurred
    covariance = (
        common[None]
        + on_metal_only[None] * on_metal[:, :, None] * on_metal[:, None, :]
        + outside[None] * blurred[:, :, None] * blurred[:, None, :]
    )
    factor = np.linalg.cholesky(covariance)
    log_norm = np.log(np.diagonal(factor, axis1=1, axis2=2)).sum(axis=1)
    return DepartureModel(u, changes, np.linalg.inv(factor), log_norm)


def steps(from_mm: float, to_mm: float, step_mm: float) -> Floats:
    """Evenly spaced places from ``from_mm`` to at most ``to_mm``, both ends included where they fall on a step."""
    return from_mm + step_mm * np.arange(np.floor((to_mm - from_mm) / step_mm + 1e-6) + 1)


def texture_sd_of(roughness: float, step_mm: float) -> float:
    """Texture's standard deviation whose changes over ``step_mm`` have the standard deviation ``roughness``."""
    per_step = np.sqrt(2 * (1 - np.exp(-step_mm / TEXTURE_MM)))
    return float(np.clip(np.round(roughness / per_step, 2), 0.04, 0.4))


def coarse_sd_of(variation: float, texture_sd: float) -> float:
    """Coarse texture's standard deviation that with the fine one makes up ``variation``."""
    return float(np.round(np.sqrt(max(variation**2 - texture_sd**2, 0.0025)), 2))


def level(grey: Floats, metal: Floats | float, scale: float) -> Floats:
    """Return grey values as levelled values: 0 at the metal, saturating at -1 and 1 a few ``scale`` away."""
    return saturate((np.asarray(grey) - metal) / scale)


def saturate(departure: Floats | float) -> Floats:
    """Squeeze departures of any size into -1 to 1; small ones stay as they are."""
    departure = np.asarray(departure, dtype=float)
    return np.asarray(departure / np.sqrt(1.0 + departure**2))
