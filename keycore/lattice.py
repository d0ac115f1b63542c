"""The lattice of scale, growth and the back's own error over which a picture's unknowns are integrated.

Points are evenly spaced in coordinates that follow the shape of what is known, and a plain sum is the integral.  For a
smooth integrand that falls off at both ends such a sum errs by about ``2 exp(-2 pi^2 (sigma/step)^2)`` of itself:
with a step of 1.4 sigma one part in ten thousand, with 2 sigma one in a hundred.  So the step is tied to the
narrowest standard deviation that the integrand can have along each coordinate:

* *level*, the mean visible height: growth plus the scale's part in it.  Fixed by all cuts together, so it is the
  narrowest.
  Along a line of equal level the scale can move far without moving the heights much;
* *scale*: evenly spaced far from every reference, finer towards each of them (a smooth change of variable);
* *third*: the back's tilt for single edges, the centreline's offset for independent ones; none for mirrored pairs,
  whose
  heights are measured root to root.

Where growth is held the level moves with the scale, so nodes in scale are as much closer as the level is narrow.

First a coarse lattice (twice the step) finds where there is mass at all; only those places, with a margin, are looked
at finely.  Points that hold less than one part in ten thousand together are then let go.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, fields, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from keycore.emission import CutLikelihood
from keycore.measured import Floats
from keycore.mixture import Mixture
from keycore.prior import GROWTH_HIGH_MM, GROWTH_LOW_MM
from keycore.scale import ScaleEvidence

STEP = 1.4
WIDEST_LOG_STEP = 0.02
NEGLIGIBLE_NATS = 20.0
_ROUNDING = 8.0
"""The larger, the sharper the turn from one step to another; a corner there costs the sum its exactness."""


SOUND, MISREAD = 0, 1
"""States that a picture can be in; those above are of one filled by an amount (:mod:`keycore.filling`)."""


@dataclass(frozen=True)
class Points:
    """Places on the lattice: (points,) arrays, and the logarithm of each one's prior mass (its share of the
    integral).  ``state`` numbers the state that the picture is taken to be in: sound, misread, or filled by an amount;
    ``way`` the way that its blade was fitted.
    """

    log_scale: Floats
    growth_mm: Floats
    third: Floats
    log_mass: Floats
    state: NDArray[np.intp]
    way: NDArray[np.intp]

    @property
    def misread(self) -> NDArray[np.bool_]:
        """(points,) where the picture is taken to be misread."""
        return np.asarray(self.state == MISREAD)

    def take(self, chosen: NDArray[Any]) -> Points:
        """Some of them, by index or mask."""
        return Points(*(getattr(self, member.name)[chosen] for member in fields(self)))

    def in_state(self, state: int, log_share: float) -> Points:
        """The same places, of a picture in another state; ``log_share`` is the logarithm of how often it is."""
        return replace(self, log_mass=self.log_mass + log_share, state=np.full(len(self.log_scale), state))

    def in_way(self, way: int) -> Points:
        """The same places, of a picture fitted in another way."""
        return replace(self, way=np.full(len(self.log_scale), way))

    @classmethod
    def joined(cls, parts: Sequence[Points]) -> Points:
        """Several sets of places as one."""
        return cls(*(np.concatenate([getattr(part, member.name) for part in parts]) for member in fields(cls)))


@dataclass(frozen=True)
class Frame:
    """The coordinates: nodes in scale with their steps, the level's step, the third's nodes.

    ``log_scale`` (n,) and ``log_steps`` (n,) are fine nodes; growth at scale node i and level k is
    ``k * level_step - lean * (log_scale[i] - middle)``.  ``held_log_scale`` and ``held_log_steps`` are the nodes where
    growth is held: the level then moves with the scale, so they are as much closer as the level is narrow.
    """

    log_scale: Floats
    log_steps: Floats
    middle: float
    lean: float
    level_step: float
    third: Floats
    log_third_mass: Floats
    held_log_scale: Floats
    held_log_steps: Floats


def frame_of(
    cuts: list[CutLikelihood],
    evidence: ScaleEvidence,
    visible_px: Floats,
    roots_mm: Floats,
    third_sigma: float,
    growth_sigma_mm: float,
    *,
    step: float = STEP,
) -> Frame:
    """Choose coordinates and steps.

    Parameters
    ----------
    visible_px
        (cuts,) about where each root is seen.
    third_sigma
        Prior standard deviation of the back's own error; 0 where there is none.
    growth_sigma_mm
        Standard deviation of the narrowest thing that is known of growth.
    """
    low, high = _window(evidence, visible_px, roots_mm)
    mixture = evidence.of_across
    dense = np.linspace(low, high, 801)
    if mixture is not None:
        inside = mixture.means[(mixture.means > low) & (mixture.means < high)]
        dense = np.sort(np.concatenate([dense, inside]))
    density = _log_prior(evidence, mixture, dense)
    keep = dense[density > density.max() - NEGLIGIBLE_NATS]
    low, high = float(keep[0]), float(keep[-1])
    middle = float(dense[np.argmax(density)])
    weights = np.array([1 / cut.narrow_mm**2 for cut in cuts])
    seen_mm = visible_px / math.exp(middle)
    lean = float(np.average(seen_mm, weights=weights))
    level_sigma = 1 / math.sqrt(float(weights.sum()) + 1 / growth_sigma_mm**2)
    slope_information = float(weights @ (seen_mm - lean) ** 2)
    slope_information += sum(1 / height.relative_sigma**2 for height in evidence.heights)
    widest = min(step / math.sqrt(max(slope_information, 1e-9)), WIDEST_LOG_STEP)
    narrow, centres = slope_information, []
    if mixture is not None:
        heavy = mixture.log_weights > mixture.log_weights.max() - NEGLIGIBLE_NATS
        narrow += 1 / float(mixture.sigmas[heavy].min()) ** 2
        centres = list(mixture.means[heavy & (mixture.sigmas < 0.03)])
    finest = step / math.sqrt(max(narrow, 1e-9))
    nodes, steps = _nodes(low, high, widest, finest, np.array(centres))
    level_log_step = step * level_sigma / lean
    held = _nodes(low, high, _both(widest, level_log_step), _both(finest, level_log_step), np.array(centres))
    reach = np.array([cut.reach_mm for cut in cuts])
    third: Floats = np.zeros(1)
    log_third_mass: Floats = np.zeros(1)
    if third_sigma > 0 and np.any(reach):
        third_step = step / math.sqrt(float(weights @ reach**2) + 1 / third_sigma**2)
        count = math.ceil(4.2 * third_sigma / third_step)
        third = np.linspace(-count * third_step, count * third_step, 2 * count + 1)
        log_third_mass = -0.5 * (third / third_sigma) ** 2 + math.log(third_step / third_sigma / math.sqrt(2 * math.pi))
    return Frame(nodes, steps, middle, lean, step * level_sigma, third, log_third_mass, *held)


def grown_points(frame: Frame, evidence: ScaleEvidence, growths_mm: Floats) -> Points:
    """The fine lattice where growth is held, at one value after the other; masses are of scale and third alone.

    All of its scales are kept, however little the references believe in them: a growth that the readings speak against
    is paid for by the scale.
    """
    scale = np.tile(np.repeat(np.arange(len(frame.held_log_scale)), len(frame.third)), len(growths_mm))
    third = np.tile(np.arange(len(frame.third)), len(frame.held_log_scale) * len(growths_mm))
    log_scale = frame.held_log_scale[scale]
    growth = np.repeat(growths_mm, len(frame.held_log_scale) * len(frame.third))
    log_mass = log_prior_mass(evidence, log_scale, growth) + np.log(frame.held_log_steps[scale])
    sound, first = np.full(len(log_scale), SOUND), np.zeros(len(log_scale), dtype=np.intp)
    return Points(log_scale, growth, frame.third[third], log_mass + frame.log_third_mass[third], sound, first)


def log_prior_mass(evidence: ScaleEvidence, log_scale: Floats, growth_mm: Floats) -> Floats:
    """Logarithm of what the references say of these points, per unit of ln scale."""
    mixture = evidence.of_across
    log_mass = np.zeros_like(log_scale) if mixture is None else mixture.log_density(log_scale)
    for height in evidence.heights:
        log_mass = log_mass + height.log_likelihood(log_scale, growth_mm)
    return log_mass


def _window(evidence: ScaleEvidence, visible_px: Floats, roots_mm: Floats) -> tuple[float, float]:
    """Scales at which the table could show heights like these at all, with any growth considered."""
    middle_px = float(np.median(visible_px))
    low = math.log(middle_px / (float(roots_mm[0]) + GROWTH_HIGH_MM + 0.3))
    high = math.log(middle_px / max(float(roots_mm[-1]) + GROWTH_LOW_MM - 0.2, 0.25 * float(roots_mm[-1])))
    return low, high


def _log_prior(evidence: ScaleEvidence, mixture: Mixture | None, log_scale: Floats) -> Floats:
    """The references' greatest likelihood over growths, to see which scales matter."""
    found = np.zeros_like(log_scale) if mixture is None else mixture.log_density(log_scale)
    for height in evidence.heights:
        growths = [0.0] if height.by_hand else list(np.arange(-0.3, 1.5, 0.3))
        found = found + np.max([height.log_likelihood(log_scale, np.full_like(log_scale, g)) for g in growths], axis=0)
    return found


def _nodes(low: float, high: float, widest: float, finest: float, centres: Floats) -> tuple[Floats, Floats]:
    """Nodes at equal steps of a smooth variable that runs slower near the centres, and the local step at each."""
    dense = np.linspace(low - widest, high + widest, 4001)
    # Powers are added, so that the variable is smooth where one wish takes over from another.
    inverse = np.full_like(dense, widest**-_ROUNDING)
    for centre in centres:
        inverse += np.hypot(finest, 0.35 * (dense - centre)) ** -_ROUNDING
    wish = inverse ** (-1 / _ROUNDING)
    passed = np.concatenate([[0.0], np.cumsum((dense[1:] - dense[:-1]) * 0.5 * (1 / wish[1:] + 1 / wish[:-1]))])
    nodes = np.interp(np.arange(math.ceil(passed[-1])), passed, dense)
    return nodes, np.interp(nodes, dense, wish)


def _both(one: float, other: float) -> float:
    """The step that the product of two things needs, from the step that each needs."""
    return 1 / math.hypot(1 / one, 1 / other)
