"""Sums of normal densities in one variable: closed under products and widening, so heavy-tailed evidence stays
exact.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from keycore.measured import Floats

_LOG_ROOT_2PI = 0.5 * math.log(2 * math.pi)


@dataclass(frozen=True)
class Mixture:
    """``sum_k exp(log_weights[k]) * normal(x; means[k], sigmas[k])``; need not integrate to one."""

    log_weights: Floats
    means: Floats
    sigmas: Floats

    @classmethod
    def of(cls, *parts: tuple[float, float, float]) -> Mixture:
        """From (share, mean, sigma)."""
        shares, means, sigmas = np.array(parts, dtype=float).T
        return cls(np.log(shares), means, sigmas)

    def log_density(self, x: Floats) -> Floats:
        """Natural logarithm of the density at ``x``, any shape."""
        z = (np.asarray(x, dtype=float)[..., None] - self.means) / self.sigmas
        logs = self.log_weights - np.log(self.sigmas) - _LOG_ROOT_2PI - 0.5 * z**2
        top = logs.max(axis=-1)
        return np.asarray(top + np.log(np.exp(logs - top[..., None]).sum(axis=-1)))

    def times(self, other: Mixture) -> Mixture:
        """Product of two such densities."""
        variance = self.sigmas[:, None] ** 2 + other.sigmas**2
        off = self.means[:, None] - other.means
        log_weights = (
            self.log_weights[:, None]
            + other.log_weights
            - 0.5 * np.log(variance)
            - _LOG_ROOT_2PI
            - 0.5 * off**2 / variance
        )
        sigmas = self.sigmas[:, None] * other.sigmas / np.sqrt(variance)
        means = (self.means[:, None] * other.sigmas**2 + other.means * self.sigmas[:, None] ** 2) / variance
        return Mixture(log_weights.ravel(), means.ravel(), sigmas.ravel())

    def widened(self, sigma: float) -> Mixture:
        """The density of x + e, where e is normal with this sigma."""
        return Mixture(self.log_weights, self.means, np.hypot(self.sigmas, sigma))

    def trimmed(self, nats: float = 25.0) -> Mixture:
        """Without parts whose whole weight is negligible."""
        keep = self.log_weights > self.log_weights.max() - nats
        return Mixture(self.log_weights[keep], self.means[keep], self.sigmas[keep])
