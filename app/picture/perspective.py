"""The plane that a photo shows, to scale: camera pose, focal length and lens bend from one known rectangle.

The camera is a pinhole with square pixels whose axis meets the middle of the picture, and one radial lens term:
``ideal = seen * (1 + k1 * |seen|^2)``, both in half diagonals of the picture from its middle.  Pose (6), ln of the
focal length, k1, and the rectangle's own size within its tolerance are fitted together to the edge points of its four
sides.  What the picture cannot tell (focal length when nothing is tilted, k1 when no side is long) keeps its prior and
its uncertainty, and both reach the answer through the covariance.

Plane positions are millimetres from the rectangle's middle, x along its first side, y towards its third, the same way
round as the picture.  Heights are millimetres above the surface on which the rectangle lies, towards the camera.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import Final, Literal

import numpy as np
from scipy.optimize import least_squares

from app.picture.camera import (
    apply_homography,
    bend,
    fit_homography,
    from_pixels,
    half_diagonal,
    ln_area,
    picture_to_plane,
    plane_columns,
    to_pixels,
    turn_matrix,
    turn_vector,
)
from app.picture.quads import shape_misfit
from app.picture.sides import Prefer, Side, trace_sides
from app.picture.values import Picture
from keycore.marks import ReferenceMark
from keycore.measured import Floats
from keycore.refusal import Refusal

RectangleKind = Literal["id1-card", "page-a4", "page-letter", "rectangle"]
_OfCamera = Callable[[Floats, float], float]
"""Something that follows from camera and height."""

FOCAL_PRIOR: Final = (float(np.log(1.4)), 0.4)
"""ln of focal length over half diagonal: telephones 1.1 to 1.3 uncut, more when zoomed or cut."""
LENS_PRIOR_SIGMA: Final = 0.01
"""k1 at the corner of the picture; telephones correct their own bend to about this."""
SIDE_SIGMA_PX: Final = 0.2
"""What a whole side may be off by where nothing casts a shadow: sharpening, a rough cut, the camera's tone curve."""
SIDE_SIGMA_OF_WALL: Final = 0.06
"""The same for the shadow and the light on a wall under the edge, as a share of the wall's height."""
HAND_SIGMA_PX: Final = 3.0
"""How well a hand marks a corner."""
BLOCKS: Final = 24
"""Into how many blocks the points of a side are taken together."""
LEAST_SHARE: Final = 0.3
"""A side of which less was seen is taken as not seen."""


@dataclass(frozen=True)
class Rectangle:
    """A thing of known size.

    Attributes
    ----------
    size_mm, sigma_mm
        Long side first, with standard uncertainties.
    face_mm
        Height of the face whose outline is seen above the surface it lies on.
    corner_radius_mm
        Of its rounded corners.
    """

    kind: RectangleKind
    size_mm: tuple[float, float]
    sigma_mm: tuple[float, float]
    face_mm: float = 0.0
    corner_radius_mm: float = 0.0


ID1_CARD: Final = Rectangle("id1-card", (85.60, 53.98), (0.072, 0.032), 0.76, 3.18)
"""ISO/IEC 7810 ID-1: 85.47..85.72 x 53.92..54.03 mm taken as even odds (the limits are not confirmed), 0.76 thick."""
A4_PAGE: Final = Rectangle("page-a4", (297.0, 210.0), (1.15, 1.15))
"""ISO 216 A4, +-2 mm per side taken as even odds."""
LETTER_PAGE: Final = Rectangle("page-letter", (279.4, 215.9), (1.15, 1.15))
"""US Letter, 11 x 8.5 in; tolerance taken as A4's."""


@dataclass(frozen=True)
class PlaneView:
    """How the surface under a key lies in a photo.

    Attributes
    ----------
    rectangle
        What was known.
    picture_size
        (width, height) in pixels.
    camera
        (8,) rotation vector, translation in mm, ln(focal length / half diagonal), k1.
    covariance
        (8, 8) of ``camera``.
    corners_xy
        (4, 2) where the rectangle's unrounded corners lie in the picture, clockwise as seen, long side first.
    sides
        How well each side was seen; empty where only corners were given.
    misfit_px
        Root mean square distance of the seen sides from the fitted ones, block by block.
    """

    rectangle: Rectangle
    picture_size: tuple[int, int]
    camera: Floats
    covariance: Floats
    corners_xy: Floats
    sides: tuple[Side, ...] = ()
    misfit_px: float = 0.0

    @property
    def kind(self) -> RectangleKind:
        """What the rectangle is."""
        return self.rectangle.kind

    @property
    def focal_px(self) -> float:
        """Focal length in pixels."""
        return float(np.exp(self.camera[6])) * half_diagonal(self.picture_size)

    @property
    def lens_bend(self) -> tuple[float, float]:
        """k1 and its standard uncertainty (share of the radius by which the picture's corner is moved)."""
        return float(self.camera[7]), float(np.sqrt(self.covariance[7, 7]))

    @property
    def tilt_deg(self) -> float:
        """Angle between the camera's axis and the surface's normal."""
        return float(np.degrees(np.arccos(np.clip(abs(turn_matrix(self.camera[:3])[2, 2]), 0.0, 1.0))))

    def camera_above(self) -> Floats:
        """(3,) the camera's place: x, y on the plane and height above it, mm."""
        rotation = turn_matrix(self.camera[:3])
        place = -rotation.T @ self.camera[3:6]
        return np.array([place[0], place[1], -place[2]])

    def to_picture(self, plane_mm: Floats, z_mm: float = 0.0) -> Floats:
        """(..., 2) positions on the plane at one height to picture positions, lens bend included."""
        ideal = apply_homography(plane_columns(self.camera, z_mm), np.asarray(plane_mm, dtype=float))
        return to_pixels(bend(ideal, float(self.camera[7])), self.picture_size)

    def to_plane(self, picture_xy: Floats, z_mm: float = 0.0) -> Floats:
        """(..., 2) picture positions to positions on the plane at one height, lens bend taken out."""
        return picture_to_plane(self.camera, np.asarray(picture_xy, dtype=float), z_mm, self.picture_size)

    def homography(self, z_mm: float = 0.0, around: Floats | None = None) -> Floats:
        """(3, 3) from millimetres on the plane at one height to picture pixels.

        Without ``around`` the lens bend is left out.  With ``around``, (n, 2) picture positions, it is the homography
        that follows the bent picture best over their bounding box; over a key the rest is a few hundredths of a pixel.
        """
        width, height = self.picture_size
        pixels = np.array(
            [
                [half_diagonal(self.picture_size), 0.0, (width - 1) / 2],
                [0.0, half_diagonal(self.picture_size), (height - 1) / 2],
                [0.0, 0.0, 1.0],
            ]
        )
        straight = pixels @ plane_columns(self.camera, z_mm)
        straight = straight / straight[2, 2]
        if around is None or self.camera[7] == 0:
            return np.asarray(straight)
        low, high = np.min(around, axis=0) - 1.0, np.max(around, axis=0) + 1.0  # of a single position too
        ticks = np.linspace(0, 1, 5)
        grid = np.stack(np.meshgrid(ticks, ticks), axis=-1).reshape(-1, 2) * (high - low) + low
        return fit_homography(self.to_plane(grid, z_mm), grid)

    def px_per_mm_at(self, picture_xy: Floats, z_mm: float = 0.0) -> float:
        """Local scale at one picture position: square root of the area's magnification."""
        return float(np.exp(-0.5 * ln_area(self.camera, np.asarray(picture_xy, float), z_mm, self.picture_size)))

    def sigma_rel_at(self, picture_xy: Floats, z_mm: float = 0.0, z_sigma_mm: float = 0.0) -> float:
        """Relative standard uncertainty of ``px_per_mm_at``, the extrapolation from the rectangle included."""
        xy = np.asarray(picture_xy, dtype=float)
        return self._propagate(lambda camera, z: 0.5 * ln_area(camera, xy, z, self.picture_size), z_mm, z_sigma_mm)

    def length_mm(
        self, one_xy: Floats, other_xy: Floats, z_mm: float = 0.0, z_sigma_mm: float = 0.0
    ) -> tuple[float, float]:
        """Length between two picture positions on the plane at one height, and its relative uncertainty."""
        ends = np.stack([np.asarray(one_xy, float), np.asarray(other_xy, float)])

        def ln_length(camera: Floats, z: float) -> float:
            plane = picture_to_plane(camera, ends, z, self.picture_size)
            return float(np.log(np.hypot(*(plane[1] - plane[0]))))

        return float(np.exp(ln_length(self.camera, z_mm))), self._propagate(ln_length, z_mm, z_sigma_mm)

    def _propagate(self, what: _OfCamera, z_mm: float, z_sigma_mm: float) -> float:
        gradient = np.empty(8)
        for k in range(8):
            step = np.zeros(8)
            step[k] = max(1e-9, 0.1 * float(np.sqrt(self.covariance[k, k])))
            gradient[k] = (what(self.camera + step, z_mm) - what(self.camera - step, z_mm)) / (2 * step[k])
        by_height = (what(self.camera, z_mm + 0.01) - what(self.camera, z_mm - 0.01)) / 0.02
        return float(np.sqrt(gradient @ self.covariance @ gradient + (by_height * z_sigma_mm) ** 2))

    def mark(self) -> ReferenceMark:
        """The rectangle as a marks/1 reference."""
        corners = tuple((float(x), float(y)) for x, y in self.corners_xy)
        if self.kind != "rectangle":
            return ReferenceMark(kind=self.kind, corners=corners)
        length, height = self.rectangle.size_mm
        return ReferenceMark(kind="rectangle", corners=corners, length_mm=length, height_mm=height)


def from_corners(
    kind: RectangleKind,
    corners: Sequence[Sequence[float]] | Floats,
    picture_size: tuple[int, int],
    *,
    size_mm: tuple[float, float] | None = None,
    picture: Picture | None = None,
    refine: bool = False,
    sigma_px: float = HAND_SIGMA_PX,
) -> PlaneView:
    """The plane from four corners that a hand marked, in ring order either way round, starting anywhere.

    Parameters
    ----------
    kind
        What the rectangle is.
    corners
        (4, 2) picture positions of its unrounded corners.
    size_mm
        For "rectangle": its side from the first corner to the second, then the other.
    picture, refine
        With both, each side snaps to the edge within a few pixels; a side without an edge there keeps the hand's.
    sigma_px
        Standard uncertainty of a hand's corner.
    """
    ring = np.asarray(corners, dtype=float)
    if ring.shape != (4, 2) or not np.isfinite(ring).all():
        raise Refusal("A card or page is marked by its four corners; mark exactly four.", code="marks.corners")
    rectangle = known_rectangle(kind, size_mm)
    ring = _clockwise(ring)
    if kind != "rectangle":
        ring = long_side_first(ring, picture_size, rectangle)
    if refine and picture is not None:
        reach = float(np.clip(4 * sigma_px, 6, 24))
        found = refine_on(picture, ring, rectangle, reach_px=reach, corner_sigma_px=sigma_px)
        if found is not None:
            return found
    return fit_view(rectangle, picture_size, ring, sides=(), corner_sigma_px=sigma_px)


def known_rectangle(kind: RectangleKind, size_mm: tuple[float, float] | None = None) -> Rectangle:
    """The rectangle of a kind; a plain "rectangle" needs its size."""
    if kind != "rectangle":
        return {"id1-card": ID1_CARD, "page-a4": A4_PAGE, "page-letter": LETTER_PAGE}[kind]
    if size_mm is None or min(size_mm) <= 0:
        raise Refusal(
            "A rectangle of your own needs both its sides in millimetres; give length and height.", code="marks.size"
        )
    return Rectangle("rectangle", size_mm, (0.002 * size_mm[0], 0.002 * size_mm[1]))


def refine_on(
    picture: Picture,
    ring: Floats,
    rectangle: Rectangle,
    *,
    reach_px: float,
    corner_sigma_px: float | None = None,
) -> PlaneView | None:
    """Fit the rectangle to its edges in the picture, from rough corners and then close by; None if not seen.

    Parameters
    ----------
    ring
        (4, 2) rough corners, clockwise, the side of ``size_mm[0]`` first.
    corner_sigma_px
        Where a hand marked the corners: how good they are.  A side that is not seen then keeps the hand's.
    """
    prefer: Prefer = "innermost" if rectangle.corner_radius_mm > 0 else "outermost"
    skip_mm = max(1.45 * rectangle.corner_radius_mm, 0.02 * min(rectangle.size_mm))
    long, short = skip_mm / rectangle.size_mm[0], skip_mm / rectangle.size_mm[1]
    skips = (long, short, long, short)
    view, bows, reach = None, None, reach_px
    for _ in range(2):
        sides = trace_sides(picture.rgb, ring, reach_px=reach, skip_share=skips, prefer=prefer, bows_px=bows)
        if sum(side.share > LEAST_SHARE for side in sides) < (4 if corner_sigma_px is None else 1):
            return None
        view = fit_view(rectangle, picture.size, ring, sides=sides, corner_sigma_px=corner_sigma_px)
        ring, bows = view.corners_xy, _bows_px(view)
        reach = 7.0 + max(abs(bow) for bow in bows)
    return view


def _bows_px(view: PlaneView) -> tuple[float, float, float, float]:
    """How far the middle of each side lies outside its chord in the picture."""
    here = view.to_plane(view.corners_xy, view.rectangle.face_mm)
    ends = np.roll(here, -1, axis=0)
    chord = np.roll(view.corners_xy, -1, axis=0) - view.corners_xy
    length = np.hypot(chord[:, 0], chord[:, 1])
    outward = np.stack([chord[:, 1], -chord[:, 0]], axis=1) / length[:, None]
    middle = view.to_picture((here + ends) / 2, view.rectangle.face_mm)
    one, two, three, four = (float(v) for v in ((middle - view.corners_xy) * outward).sum(axis=1))
    return one, two, three, four


def fit_view(
    rectangle: Rectangle,
    picture_size: tuple[int, int],
    ring: Floats,
    *,
    sides: tuple[Side, ...],
    corner_sigma_px: float | None,
) -> PlaneView:
    """Fit camera and rectangle together.

    Parameters
    ----------
    ring
        (4, 2) rough corners, clockwise, the side of ``size_mm[0]`` first: the start, and data where
        ``corner_sigma_px`` says how good they are.
    sides
        Edge points of the four sides, or empty.
    """
    used = [np.empty((0, 2)) if side.share <= LEAST_SHARE else side.points for side in sides]
    fit = _Fit(rectangle, picture_size, ring, used, [side.scatter_px for side in sides], corner_sigma_px)
    start = np.concatenate([_start_camera(rectangle, picture_size, ring), np.zeros(2)])
    solved = least_squares(fit.residuals, start, x_scale=fit.scales, method="trf", max_nfev=30)
    full = np.linalg.inv(solved.jac.T @ solved.jac)
    camera, grown = solved.x[:8], solved.x[8:10]
    outline = _outline(rectangle, grown)
    view = PlaneView(rectangle, picture_size, camera, full[:8, :8], np.zeros((4, 2)), sides)
    corners = view.to_picture(outline, rectangle.face_mm)
    return PlaneView(rectangle, picture_size, camera, full[:8, :8], corners, sides, fit.misfit_px(solved.x))


class _Fit:
    """Residuals, each over its own standard uncertainty, of camera (8) and growth of the rectangle's size (2).

    Points are taken together in blocks along each side.  What a whole side may be off by (a shadow, a rough cut) is
    in the blocks' covariance as an offset, and half as much each of slope and bow: a shadow that fades along a side
    must not pass for tilt or for a bent lens.
    """

    def __init__(
        self,
        rectangle: Rectangle,
        picture_size: tuple[int, int],
        ring: Floats,
        sides: list[Floats],
        scatters: list[float],
        corner_sigma_px: float | None,
    ) -> None:
        self.rectangle, self.picture_size, self.ring = rectangle, picture_size, ring
        self.corner_sigma_px = corner_sigma_px
        edges = np.hypot(*(np.roll(ring, -1, axis=0) - ring).T)
        self.px_per_mm = float(np.mean(edges / np.array(rectangle.size_mm * 2)))
        wall_px = SIDE_SIGMA_OF_WALL * rectangle.face_mm * self.px_per_mm
        side_sigma_px = float(np.hypot(SIDE_SIGMA_PX, wall_px))
        blocks: list[Floats] = [np.empty((0, 2))]
        self.whiteners: list[Floats] = []
        for k, (points, scatter) in enumerate(zip(sides, scatters, strict=True)):
            if not len(points):
                continue
            parts = np.array_split(points, min(len(points), BLOCKS))
            middles = np.array([part.mean(axis=0) for part in parts])
            step = (np.roll(ring, -1, axis=0) - ring)[k]
            t = 2 * ((middles - ring[k]) @ step) / float(step @ step) - 1
            # Neighbouring points share their blur: count every other one.
            own = max(0.1, scatter) ** 2 * 2 / np.array([len(part) for part in parts])
            shapes = np.stack([np.ones_like(t), 0.25 * t, 0.25 * (1.5 * t**2 - 0.5)], axis=1) * side_sigma_px
            self.whiteners.append(np.linalg.inv(np.linalg.cholesky(np.diag(own) + shapes @ shapes.T)))
            blocks.append(middles)
        self.points = np.concatenate(blocks)
        seen = [k for k in range(len(sides)) if len(sides[k])]
        self.side = np.repeat(np.array(seen, dtype=np.intp), [len(w) for w in self.whiteners])
        distance = rectangle.size_mm[0]
        self.scales = np.array([0.1] * 3 + [0.1 * distance] * 3 + [0.2, 0.005, 0.1, 0.1])
        self.unseen = [k for k in range(4) if k not in seen]

    def residuals(self, values: Floats) -> Floats:
        camera, grown = values[:8], values[8:10]
        parts = [
            np.array(
                [
                    (camera[6] - FOCAL_PRIOR[0]) / FOCAL_PRIOR[1],
                    camera[7] / LENS_PRIOR_SIGMA,
                    grown[0] / self.rectangle.sigma_mm[0],
                    grown[1] / self.rectangle.sigma_mm[1],
                ]
            )
        ]
        if len(self.points):
            distances = self._distances_px(camera, grown)
            start = 0
            for whitener in self.whiteners:
                parts.append(whitener @ distances[start : start + len(whitener)])
                start += len(whitener)
        if self.corner_sigma_px is not None:
            plane = _outline(self.rectangle, grown)
            ideal = apply_homography(plane_columns(camera, self.rectangle.face_mm), plane)
            seen = to_pixels(bend(ideal, float(camera[7])), self.picture_size)
            # Beside seen sides the hand's corners only hold what the sides leave free.
            weight = 1.0 if self.unseen else 0.1
            parts.append((seen - self.ring).ravel() / self.corner_sigma_px * weight)
        return np.concatenate(parts)

    def _distances_px(self, camera: Floats, grown: Floats) -> Floats:
        plane = picture_to_plane(camera, self.points, self.rectangle.face_mm, self.picture_size)
        half = (np.array(self.rectangle.size_mm) + grown) / 2
        along_y = self.side % 2 == 0
        sign = np.where((self.side == 0) | (self.side == 3), -1.0, 1.0)
        reach = np.where(along_y, half[1], half[0])
        return np.asarray((sign * np.where(along_y, plane[:, 1], plane[:, 0]) - reach) * self.px_per_mm)

    def misfit_px(self, values: Floats) -> float:
        """Root mean square distance of the blocks from the sides."""
        if not len(self.points):
            return 0.0
        return float(np.sqrt(np.mean(self._distances_px(values[:8], values[8:10]) ** 2)))


def _outline(rectangle: Rectangle, grown: Floats) -> Floats:
    half = (np.array(rectangle.size_mm) + grown) / 2
    return np.array([[-1.0, -1.0], [1.0, -1.0], [1.0, 1.0], [-1.0, 1.0]]) * half


def _start_camera(rectangle: Rectangle, picture_size: tuple[int, int], ring: Floats) -> Floats:
    """(8,) camera from four corners: the focal length of a short list that leaves the axes most square."""
    plane = _outline(rectangle, np.zeros(2))
    centred = fit_homography(plane, from_pixels(ring, picture_size))
    best, chosen = np.inf, np.zeros(8)
    for focal in np.exp(np.linspace(np.log(0.8), np.log(4.0), 17)):
        columns = np.diag([1 / focal, 1 / focal, 1.0]) @ centred
        columns = columns if columns[2, 2] > 0 else -columns
        lengths = np.hypot(np.hypot(columns[0], columns[1]), columns[2])[:2]
        skew = float(columns[:, 0] @ columns[:, 1] / (lengths[0] * lengths[1]))
        prior = (np.log(focal) - FOCAL_PRIOR[0]) / FOCAL_PRIOR[1]
        cost = (np.log(lengths[0] / lengths[1]) / 0.01) ** 2 + (skew / 0.01) ** 2 + prior**2
        if cost < best:
            best = cost
            scale = float(np.sqrt(lengths[0] * lengths[1]))
            first, second = columns[:, 0] / lengths[0], columns[:, 1] / lengths[1]
            u, _, vt = np.linalg.svd(np.stack([first, second, np.cross(first, second)], axis=1))
            place = columns[:, 2] / scale
            rotation = u @ vt
            height = rotation @ np.array([0.0, 0.0, rectangle.face_mm])
            chosen = np.concatenate([turn_vector(rotation), place + height, [np.log(focal), 0.0]])
    return chosen


def long_side_first(ring: Floats, picture_size: tuple[int, int], rectangle: Rectangle) -> Floats:
    """The clockwise ring started so that its first side is the long one, as perspective (not length) tells."""
    aspect = rectangle.size_mm[0] / rectangle.size_mm[1]
    _, first_is_long = shape_misfit(ring[None], picture_size, aspect)
    return ring if first_is_long[0] else np.roll(ring, -1, axis=0)


def _clockwise(ring: Floats) -> Floats:
    x, y = ring.T
    area = float(np.sum(x * np.roll(y, -1) - np.roll(x, -1) * y))
    edges = np.roll(ring, -1, axis=0) - ring
    after = np.roll(edges, -1, axis=0)
    turns = edges[:, 0] * after[:, 1] - edges[:, 1] * after[:, 0]
    if not ((turns > 0).all() or (turns < 0).all()) or abs(area) < 200:
        raise Refusal(
            "The four corners do not go round a card or page one after the other; mark them in order round its edge.",
            code="marks.corners",
        )
    if area > 0:
        return ring
    return np.concatenate([ring[1::-1], ring[:1:-1]])  # the first side stays the first: 1, 0, 3, 2
