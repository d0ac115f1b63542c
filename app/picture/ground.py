"""What the key lies on: a scanner's glass, a copied page, or a plane in a photo that a card or a page gives.

In a photo, positions are first brought to millimetres of the plane in which the key's upper rim lies (a thick key
stands above the paper, a copied one lies in it); the blade's frame is laid there and mapped back, so that tilt and lens
are in the frame's own map and nothing is resampled.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from app.picture.alignment import Guess
from app.picture.frame import Frame
from app.picture.medium import medium_of
from app.picture.perspective import PlaneView, from_corners
from app.picture.roughframe import frame_from_marks, mapped_marks
from app.picture.values import Picture
from keycore.marks import Marks
from keycore.measured import COPIES, Floats, Medium, ReferenceKind, SizeReference
from keycore.spec import KeySpec

USUAL_THICKNESS_MM = 2.0
KEY_LENGTH_MM = (35.0, 110.0)
"""From a padlock's key to a long safe key."""
BLADE_TO_KEY = (1.25, 2.8)
"""A whole key is this many times as long as its blade."""
UNEVEN = 1.3
"""How much the scale may differ between a tilted picture's middle and its key."""
THICKNESS_SD_MM = 0.15
"""How well a table's thickness, or the usual one, says how high the rim stands: keys lie a little askew."""


@dataclass(frozen=True)
class Ground:
    """The medium, and the plane of the key where a photo shows one.

    Attributes
    ----------
    view
        Card or page found or marked; None for a scan or copy.
    height_mm
        How high above the paper the key's visible rim lies.
    key_scale
        True where the plane's millimetres are the key's own (a card beside it), not those of an enlarged copy.
    """

    medium: Medium
    view: PlaneView | None
    height_mm: float
    key_scale: bool

    @property
    def paper_lighter(self) -> bool:
        """True on a copied page, where everything outside the key is lighter than the key."""
        return self.medium in COPIES

    @property
    def card_xy(self) -> Floats | None:
        """Corners of the card, which is not a key."""
        return None if self.view is None or self.view.kind != "id1-card" else np.asarray(self.view.corners_xy)

    @property
    def page_xy(self) -> Floats | None:
        """Corners of the page outside which there is no key."""
        if self.view is None or self.view.kind not in ("page-a4", "page-letter"):
            return None
        return np.asarray(self.view.corners_xy)

    def key_length_px(self, spec: KeySpec, size: tuple[int, int]) -> tuple[float, float] | None:
        """How long (least, most) a key of the table can be in the picture, where a card gives the scale."""
        if self.view is None or not self.key_scale:
            return None
        scale = self.view.px_per_mm_at(np.array([size[0] / 2, size[1] / 2]))
        least, most = KEY_LENGTH_MM
        if spec.blade.length_mm:
            least, most = (share * spec.blade.length_mm for share in BLADE_TO_KEY)
        return least * scale / UNEVEN, most * scale * UNEVEN

    def guess(self, usual: Guess) -> Guess:
        """How far off a first frame is: with a card the scale is known."""
        return Guess(usual.offset_sd_mm, min(usual.scale_sd, 0.006)) if self.key_scale else usual

    def frame(self, marks: Marks, spec: KeySpec) -> Frame:
        """Lay the frame from rough marks, through the plane where there is one."""
        if self.view is None:
            return frame_from_marks(marks, spec)
        around = np.array(marks_points(marks))
        if not len(around):
            return frame_from_marks(marks, spec)  # which says what is missing
        plane = self.view.homography(self.height_mm, around)
        to_plane = Frame(np.asarray(np.linalg.inv(plane), dtype=float), 1.0)
        flat = frame_from_marks(
            mapped_marks(marks, to_plane.picture_xy), spec, px_per_mm=1.0 if self.key_scale else None
        )
        matrix = plane @ flat.to_picture
        local = self.view.px_per_mm_at(around.mean(axis=0), self.height_mm) * flat.px_per_mm
        return Frame(matrix / matrix[2, 2], float(local))

    def reference(self, at_xy: Floats, px_per_mm: float) -> SizeReference | None:
        """The plane as a size reference where the frame has the plane's own millimetres; else None."""
        if self.view is None or not self.key_scale:
            return None
        sigma = self.view.sigma_rel_at(at_xy, self.height_mm, THICKNESS_SD_MM)
        kind: ReferenceKind = (
            "card" if self.view.kind == "id1-card" else "page" if self.page_xy is not None else "length"
        )
        return SizeReference(kind, "both", 10.0 * px_per_mm, 10.0 * px_per_mm * sigma, 10.0)


def ground_of(picture: Picture, spec: KeySpec, marks: Marks | None, *, medium: Medium | None, reference: str) -> Ground:
    """Tell what the key lies on, from a reference that a hand marked, from what is wanted, or from the picture."""
    mark = None if marks is None else marks.reference
    if mark is not None and mark.kind == "length":  # a length tells of scale, not of a plane
        mark = None
    view: PlaneView | None = None
    if mark is not None and mark.kind != "length" and len(mark.corners) == 4:
        size_mm = None
        if mark.kind == "rectangle" and mark.length_mm and mark.height_mm:
            size_mm = (mark.length_mm, mark.height_mm)
        view = from_corners(
            mark.kind, mark.corners, picture.size, size_mm=size_mm, picture=picture, refine=mark.kind != "rectangle"
        )
    told = medium
    if medium is None or (view is None and medium in ("photo-card", "photo-copy") and reference != "none"):
        seen = medium_of(picture)
        told = medium or seen.medium
        if view is None and reference not in ("none", "dpi"):
            view = seen.view
    if told not in ("photo-card", "photo-copy") and mark is None:
        view = None
    on_card = view is not None and view.kind == "id1-card"
    if mark is not None and view is not None and told in ("scan", "photocopy", None):
        told = "photo-card" if on_card else "photo-copy"
    height = (spec.blade.thickness_mm or USUAL_THICKNESS_MM) if told == "photo-card" else 0.0
    return Ground(told or "photocopy", view, height, key_scale=view is not None and told == "photo-card")


def marks_points(marks: Marks) -> list[tuple[float, float]]:
    """Every marked position on the key."""
    points = [point for point in (marks.shoulder, marks.tip) if point is not None]
    for pair in (marks.back, marks.centreline, marks.blade_height):
        points += list(pair or ())
    for edge in marks.roots_by_edge():
        points += list(edge)
    return points
