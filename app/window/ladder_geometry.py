"""Where the depth ladder's columns and rungs lie.  Pure: no Qt.

The ladder shares the picture's horizontal axis: a column stands under its cut.  Vertically it has a scale of its own on
which every rung, and every measured root, lies at its true height; shallow is up, as on the picture.
"""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Final, Literal

from keycore.spec import KeySpec

if TYPE_CHECKING:
    from keycore.decode import Decoding

RungState = Literal["free", "held", "ruled out"]
WIDEST_COLUMN: Final = 96.0
NARROWEST_COLUMN: Final = 18.0
LABEL_WIDTH: Final = 18.0
"""Room for the depth's label left of a column's bars."""
MOST_RUNG: Final = 20.0
GAP: Final = 8.0


LIKELY = 0.9
"""A depth less likely than this has a question mark."""


@dataclass(frozen=True)
class Rung:
    """One depth of one cut: a bar to fill, between ``left`` and ``right``, ``top`` and ``bottom`` of the view."""

    cut: int
    label: str
    root_mm: float
    left: float
    right: float
    top: float
    bottom: float
    probability: float | None
    state: RungState

    @property
    def middle(self) -> float:
        """The height of the rung itself."""
        return (self.top + self.bottom) / 2

    @property
    def filled_to(self) -> float:
        """Right end of the filled part."""
        return self.left + (self.right - self.left) * (self.probability or 0.0)


@dataclass(frozen=True)
class Root:
    """A measured root drawn across a column: its height and the band of one standard uncertainty on either side."""

    root_mm: float
    sigma_mm: float
    y: float
    band_top: float
    band_bottom: float


@dataclass(frozen=True)
class Column:
    """One cut.  ``number`` counts from 1 on its own edge; ``cut`` from 0 over the flat code."""

    cut: int
    number: int
    edge: int
    centre: float
    left: float
    right: float
    rungs: tuple[Rung, ...]
    root: Root | None
    depth: str | None
    doubtful: bool = False
    """Whether the depth asks to be looked at: it is not likely, or the least likely one of a code that is not sure."""


@dataclass(frozen=True)
class Ladder:
    """All columns; ``top`` and ``bottom`` are the heights of the shallowest and the deepest rung's middle."""

    columns: tuple[Column, ...]
    top: float
    bottom: float

    def rung_at(self, x: float, y: float) -> Rung | None:
        """The rung at a place in the view; a place beside its bar, on its label, counts too."""
        for column in self.columns:
            if column.left - LABEL_WIDTH <= x <= column.right:
                near = min(column.rungs, key=lambda rung: abs(rung.middle - y))
                reach = max((near.bottom - near.top) / 2 + 2.0, 6.0)
                return near if abs(near.middle - y) <= reach else None
        return None

    def rung(self, cut: int, label: str) -> Rung | None:
        """The rung of a cut and a depth."""
        return next((r for c in self.columns if c.cut == cut for r in c.rungs if r.label == label), None)


def ladder(
    spec: KeySpec,
    decoding: Decoding | None,
    centres_x: Sequence[float],
    *,
    top: float,
    bottom: float,
    held: Mapping[int, str],
    ruled_out: frozenset[tuple[int, str]],
) -> Ladder:
    """The ladder between two heights of a view.

    Parameters
    ----------
    spec, decoding
        The table, and what is known of the cuts; None before there is a reading.
    centres_x
        Where the cut centres lie in the view, one for each cut of an edge, bow to tip.
    top, bottom
        Heights between which the rungs' middles lie.
    held, ruled_out
        The locksmith's knowledge, cuts counted from 0 over the flat code.
    """
    roots_mm = [float(root) for root in spec.roots_mm]
    highest, lowest = roots_mm[0], roots_mm[-1]
    per_mm = (bottom - top) / max(highest - lowest, 1e-9)

    def height(root_mm: float) -> float:
        return top + (highest - root_mm) * per_mm

    closest = min((abs(a - b) for a, b in zip(roots_mm, roots_mm[1:], strict=False)), default=1.0) * per_mm
    half = min(MOST_RUNG, closest * 0.78) / 2
    columns = []
    doubted = _doubted(decoding)
    for edge in range(spec.edge_count):
        for index, centre in enumerate(centres_x):
            cut = edge * len(centres_x) + index
            known = decoding.cuts[cut] if decoding is not None and cut < len(decoding.cuts) else None
            left, right = _sides(centres_x, index, edge, spec.edge_count)
            root = None
            if known is not None:
                band = max(known.sigma_mm * per_mm, 0.5)
                y = min(max(height(known.root_mm), top - 18.0), bottom + 18.0)
                root = Root(known.root_mm, known.sigma_mm, y, y - band, y + band)
            rungs = []
            for label, root_mm in zip(spec.labels, roots_mm, strict=True):
                y = height(root_mm)
                probability = None if known is None else float(known.depths.get(label, 0.0))
                state: RungState = "ruled out" if (cut, label) in ruled_out else "free"
                state = "held" if held.get(cut) == label else state
                rungs.append(Rung(cut, label, root_mm, left, right, y - half, y + half, probability, state))
            depth = known.depth if known is not None else None
            doubtful = cut in doubted
            columns.append(Column(cut, index + 1, edge + 1, centre, left, right, tuple(rungs), root, depth, doubtful))
    return Ladder(tuple(columns), top, bottom)


def spread_centres(positions_mm: Sequence[float], width: float, margin: float = 70.0) -> tuple[float, ...]:
    """Places for the columns of a table that no picture has been read with yet, spaced as the table's cuts are."""
    first, last = min(positions_mm), max(positions_mm)
    spread = max(last - first, 1e-9)
    inner = max(width - 2 * margin, 1.0)
    places = [margin + (position - first) / spread * inner for position in positions_mm]
    return tuple(places if positions_mm[0] <= positions_mm[-1] else [width - place for place in places])


def room_for(centres_x: Sequence[float]) -> bool:
    """Whether columns can be told apart with their middles there; a picture seen from far has its cuts too near."""
    gaps = [abs(b - a) for a, b in zip(centres_x, centres_x[1:], strict=False)]
    return min(gaps, default=math.inf) >= NARROWEST_COLUMN + LABEL_WIDTH


def next_state(state: RungState) -> RungState:
    """What a click makes of a rung: held, ruled out, free again."""
    order: tuple[RungState, ...] = ("free", "held", "ruled out")
    return order[(order.index(state) + 1) % 3]


def _doubted(decoding: Decoding | None) -> frozenset[int]:
    """Cuts to look at again, counted from 0 over the flat code."""
    if decoding is None or decoding.verdict == "sure":
        return frozenset()
    by_cut = [cut.probability for cut in decoding.cuts]
    least = min(range(len(by_cut)), key=by_cut.__getitem__)
    return frozenset({least} | {cut for cut, likely in enumerate(by_cut) if likely < LIKELY})


def _sides(centres_x: Sequence[float], index: int, edge: int, edges: int) -> tuple[float, float]:
    """Left and right of a column's bars; two edges share the room under a cut."""
    gaps = [abs(b - a) for a, b in zip(centres_x, centres_x[1:], strict=False)]
    room = min(gaps) if gaps else WIDEST_COLUMN + LABEL_WIDTH + GAP
    room = min(max(room - GAP, NARROWEST_COLUMN + LABEL_WIDTH), (WIDEST_COLUMN + LABEL_WIDTH) * edges) / edges
    # the bars, not the labels left of them, stand in the middle under the cut
    centre = centres_x[index] + (edge - (edges - 1) / 2) * room - LABEL_WIDTH / 2
    return centre - room / 2 + LABEL_WIDTH, centre + room / 2
