"""What decoding says: codes with probabilities, every cut's depths, scale, growth, and a verdict in words."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from keycore.codes import Code
from keycore.measured import Measured
from keycore.scale import Scale
from keycore.spec import KeySpec

Verdict = Literal["sure", "check", "unsure"]


@dataclass(frozen=True)
class RankedCode:
    """One code and its probability."""

    code: Code
    probability: float


@dataclass(frozen=True)
class CutDecoding:
    """One cut: its measured root, its depths with probabilities, and what would flip it.

    Attributes
    ----------
    edge, number
        Edge (1 or 2), and the cut on it counted from 1, bow to tip.
    root_mm, sigma_mm
        The root as measured: this cut's own reading on the scale and growth that all *other* cuts and references give.
        The table's depth for this cut has no part in it, so it may be held against the table.
    depth, probability
        The likeliest depth of this cut, and its probability.
    margin_mm
        How far the root may move before another depth is as near as this one; negative where another is nearer already.
    depths
        Probability of every depth of the table.
    next_depth, next_mm, next_sigmas
        The nearest other depth, how far the measured root lies from it, and that in standard uncertainties (the
        reading's and the making's together).
    off_sigmas
        How far the measured root lies from its own depth, in the same standard uncertainties.
    """

    edge: Literal[1, 2]
    number: int
    root_mm: float
    sigma_mm: float
    depth: str
    probability: float
    margin_mm: float
    depths: dict[str, float]
    next_depth: str
    next_mm: float
    next_sigmas: float
    off_sigmas: float


@dataclass(frozen=True)
class PictureShare:
    """Each picture's own scale and growth."""

    scale: Scale
    growth_mm: float
    growth_sigma_mm: float


@dataclass(frozen=True)
class Decoding:
    """Everything that readings and a table say together.

    Roots, scale and growth are medians with the half-width that holds 68.27 % (:mod:`keycore.spread`).

    ``spec`` is the table for this key's count of cuts.  ``scale`` and ``growth_mm`` are the first picture's; every
    picture has its own in ``pictures``.
    """

    spec: KeySpec
    codes: tuple[RankedCode, ...]
    cuts: tuple[CutDecoding, ...]
    scale: Scale
    growth_mm: float
    growth_sigma_mm: float
    verdict: Verdict
    verdict_words: str
    warnings: tuple[str, ...]
    pictures: tuple[PictureShare, ...]
    order_proven: bool = True
    """True where no code that is not listed can be likelier than the last one listed."""
    doubts: tuple[str, ...] = ()
    """What keeps the reading from being called sure whatever the code's probability, in a few words each."""

    @property
    def code(self) -> Code:
        """The likeliest code."""
        return self.codes[0].code

    @property
    def probability(self) -> float:
        """Probability of the likeliest code."""
        return self.codes[0].probability

    @property
    def growth(self) -> Measured:
        """Growth with its standard uncertainty."""
        return Measured(self.growth_mm, self.growth_sigma_mm)
