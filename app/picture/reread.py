"""Reading again after a mark has moved: the fit is kept, and only what follows from the marks is made anew.

A fit of the whole blade hardly depends on where exactly its marks lie: they say where to look and speak against what is
far from them (:mod:`app.picture.clicks`), and the picture says the rest.  So while every mark lies where the kept fit
may still be what a search from there would find, the fit stands; marks that a hand keeps move the line, the height, the
ends and the roots under the same evidence (:mod:`app.picture.placed`).  What differs from a whole reading is the raster
on which the evidence was laid, a few thousandths of a millimetre, and how near to the fit the clicks lie.  A mark that
goes further than the search reaches, or is taken away, needs a whole reading.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from app.picture.fit import FittedBlade, shoulder_x_mm
from app.picture.ground import Ground
from app.picture.report import report
from app.picture.values import Picture, PictureReading
from keycore.marks import Marks
from keycore.measured import Floats
from keycore.spec import KeySpec

ALONG_MM, ACROSS_MM = 1.2, 0.8
"""How far from the fit a mark may stand: two standard deviations of a hand's frame, within what is searched from it."""


@dataclass(frozen=True)
class KeptFit:
    """All of a whole reading that a second one needs.

    Attributes
    ----------
    spec, reference
        What was asked for then.
    ways
        Every way that the blade was fitted, the best first.
    marks
        The hand's marks of that reading.
    """

    spec: KeySpec
    ways: tuple[FittedBlade, ...]
    ground: Ground
    marks: Marks | None
    reference: str

    def serves(self, marks: Marks | None) -> bool:
        """Whether a reading of the same key of the same picture with these marks can keep the fit."""
        before = self.marks or Marks()
        after = marks or Marks()
        if after.reference != before.reference:
            return False
        for name in ("shoulder", "tip", "back", "centreline", "blade_height", "roots"):
            was, now = getattr(before, name), getattr(after, name)
            if now is None and was is not None:
                return False
            if now is not None and now != was and not self._is_near(name, after):
                return False
        return True

    def _is_near(self, name: str, marks: Marks) -> bool:
        """Whether the marks of one kind lie where a search from them would find this fit."""
        fitted = self.ways[0]
        frame, place, shape = fitted.frame, fitted.alignment, fitted.shape
        if name == "roots":
            found = [[cut.centre_mm for cut in edge.cuts] for edge in fitted.edges]
            edges = [frame.blade_mm(np.asarray(points, dtype=float))[:, 0] for points in marks.roots_by_edge()]
            return [len(edge) for edge in edges] == [len(cuts) for cuts in found] and all(
                _within(edge, cuts, ALONG_MM) for edge, cuts in zip(edges, found, strict=True)
            )
        at = frame.blade_mm(np.asarray(getattr(marks, name), dtype=float))
        if name in ("back", "centreline"):
            return _within(at[:, 1], 0.0, ACROSS_MM)
        if name == "blade_height":
            low = 0.0 if len(fitted.edges) == 1 else -fitted.edges[1].top_mm
            return _within(np.sort(at[:, 1]), [low, fitted.edges[0].top_mm], ACROSS_MM)
        shoulder_mm = place.offset_mm + place.scale * shoulder_x_mm(self.spec, shape)
        if name == "shoulder":
            return _within(at[0], shoulder_mm, ALONG_MM)
        length_mm = self.spec.blade.length_mm
        if self.spec.gauge_from == "tip":
            return _within(at[0], place.offset_mm, ALONG_MM)
        return length_mm is None or _within(at[0], shoulder_mm + place.scale * length_mm, ALONG_MM)


def read_again(kept: KeptFit, picture: Picture, marks: Marks | None, *, fixed: frozenset[str]) -> PictureReading:
    """Read with other marks what was read before; ``kept.serves`` says whether that can be done.

    Raises
    ------
    Refusal
        Where the marks that are kept contradict each other.
    """
    reading = report(picture, kept.spec, kept.ways, marks, fixed=fixed, ground=kept.ground, reference=kept.reference)
    return replace(reading, kept=kept)


def _within(values: Floats, wanted: Floats | list[float] | float, most: float) -> bool:
    return bool(np.all(np.abs(values - np.asarray(wanted)) <= most))
