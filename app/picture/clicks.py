"""What a hand's rough marks say against a blade that lies far from them.

A click says where a person sees a part of the blade.  The hand is about 0.4 mm off, and what is seen (a shadow's
border, a rim) about half a millimetre from the metal, together ``SD_MM``; one click of twenty (``ODD``) goes astray.
With ``d`` the distance of click and edge along one of the frame's axes,

    p(click | edge) = (1 - ODD) N(d; SD_MM) + ODD N(d; ODD_SD_MM)

What is seen of the floors stands off the metal by one growth, so across the blade the roots' clicks err together; each
counts for less there (``FLOOR_SD_MM``), or many of them would pretend to know the level.

A click is no evidence of where the metal ends: between two neighbouring depths it decides next to nothing.  But a floor
or a back a millimetre and a half from where it was seen, or cuts one spacing on, are hardly what was meant, however
black the line that runs there.  So what all clicks say is part of every look's evidence, beside the picture's.
"""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from app.picture.frame import Frame
from app.picture.roughframe import axis_line
from keycore.marks import Marks
from keycore.measured import Floats
from keycore.spec import KeySpec

SD_MM, FLOOR_SD_MM = 0.7, 1.0
"""Any of 0.5 to 1 mm is better than no clicks, on drawn pictures with marks 0.4 mm off the metal."""
ODD, ODD_SD_MM = 0.05, 1.5


@dataclass(frozen=True)
class Clicks:
    """A hand's clicks on the back (or centreline) and on the roots of one key.

    Attributes
    ----------
    line
        (n, 2) those on the line, at most its two ends.
    roots
        For each edge (k, 2), one for every cut of the table; no edges where not all cuts are marked.  Seen from a
        frame, the edge at positive y first.
    by_hand
        For each edge (k,) whether a hand set it: a row that a hand touched is filled up with the program's own marks,
        and these say nothing.
    """

    line: Floats = field(default_factory=lambda: np.zeros((0, 2)))
    roots: tuple[Floats, ...] = ()
    by_hand: tuple[NDArray[np.bool_], ...] = ()

    @classmethod
    def of(cls, marks: Marks | None, spec: KeySpec, by_hand: frozenset[str] | None = None) -> Clicks:
        """What a hand's marks hold, picture pixels.

        Parameters
        ----------
        by_hand
            Names of the marks that a hand set ("back.0", "root.3" in flat order ...); None for all of them.
        """
        if marks is None:
            return NO_CLICKS

        def counts(name: str) -> bool:
            return by_hand is None or name in by_hand

        axis = axis_line(marks, spec)
        name = "back" if spec.edges == "single" else "centreline"
        line = [] if axis is None else [end for number, end in enumerate(axis) if counts(f"{name}.{number}")]
        edges = tuple(np.asarray(edge, dtype=float) for edge in marks.roots_by_edge())
        cuts = len(spec.cut_positions_mm)
        if len(edges) != spec.edge_count or any(len(edge) != cuts for edge in edges):
            edges = ()
        set_by_hand = tuple(
            np.array([counts(f"root.{number * cuts + cut}") for cut in range(cuts)]) for number in range(len(edges))
        )
        return cls(np.reshape(line, (-1, 2)).astype(float), edges, set_by_hand)

    def seen_from(self, frame: Frame) -> Clicks:
        """Return the same clicks in millimetres of a frame, the edge at positive y first.

        Which edge a hand calls the first is its own affair: a key lies on either face.
        """
        edges = [(frame.blade_mm(edge), own) for edge, own in zip(self.roots, self.by_hand, strict=True)]
        edges.sort(key=lambda edge: -float(edge[0][:, 1].mean()))
        return Clicks(frame.blade_mm(self.line), tuple(edge for edge, _ in edges), tuple(own for _, own in edges))

    def of_line(self, offsets_mm: Floats, slopes: Floats, x_mid_mm: float) -> Floats:
        """(offsets, slopes) log-probability of the line's clicks with the line anywhere; 0 without clicks."""
        x_mm, y_mm = self.line.T
        line_mm = offsets_mm[:, None, None] + slopes[:, None] * (x_mm - x_mid_mm)
        return np.asarray(log_p_of_click(line_mm - y_mm).sum(axis=-1))

    def of_centres(self, centres_mm: Floats) -> Floats:
        """(...) log-probability of the roots' clicks, as they lie along the frame, with cuts at (..., k) places."""
        told = np.zeros(centres_mm.shape[:-1])
        for edge, own in zip(self.roots, self.by_hand, strict=True):
            told += log_p_of_click(centres_mm[..., own] - edge[own, 0]).sum(axis=-1)
        return told

    def of_floor(self, side: int, cut: int, height_mm: Floats) -> Floats:
        """(m,) log-probability of one root's click, as it lies across the frame, with its floor at any height.

        Parameters
        ----------
        side
            1 for the edge at positive y, -1 for the other; heights are counted outward.
        """
        edge = 0 if side > 0 else 1
        if not self.roots or not self.by_hand[edge][cut]:
            return np.zeros_like(height_mm)
        return log_p_of_click(height_mm - side * self.roots[edge][cut, 1], FLOOR_SD_MM)


NO_CLICKS = Clicks()


def log_p_of_click(away_mm: Floats, sd_mm: float = SD_MM) -> Floats:
    """Log-probability of clicks that lie ``away_mm`` from what they mark, up to a constant."""
    usual, odd = (-0.5 * (away_mm / sd) ** 2 for sd in (sd_mm, ODD_SD_MM))
    return np.asarray(np.logaddexp(np.log(1 - ODD) + usual, np.log(ODD * sd_mm / ODD_SD_MM) + odd))
