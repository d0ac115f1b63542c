"""Where a point of the straightened picture is seen in the view, and back.  Pure: no Qt.

Spaces
------
``picture_xy`` and ``straight_xy`` are those of :mod:`app.picture.values`: pixel *centres* lie at whole numbers.
``view_xy`` is a place in a widget as Qt counts it: raster cell number 0 covers 0 to 1, so its centre lies at a half.
The half pixel between the two is carried here, in :func:`raster_from_centres`, and nowhere else in the window.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from app.picture.values import Straight
from keycore.measured import Floats

SMALLEST_PERCENT = 1.0
LARGEST_PERCENT = 6400.0
SMOOTH_UP_TO_PERCENT = 200.0
"""Above this a picture is drawn in square pixels, so that nobody takes the screen's smoothing for the picture."""
HALF_PIXEL = 0.5


def raster_from_centres(xy: Floats) -> Floats:
    """Positions counted from pixel centres, as positions counted from the raster's corner (the half pixel)."""
    return np.asarray(xy, dtype=float) + HALF_PIXEL


def plain_straight(size: tuple[int, int]) -> Straight:
    """The map of a picture that nobody has straightened yet: as it was stored."""
    return Straight(to_picture=np.eye(3), size=size)


@dataclass(frozen=True, eq=False)
class ViewTransform:
    """One view of a straightened picture.  Two views are the same only where they are one object.

    Attributes
    ----------
    straight
        The map from the straightened picture to the stored one.
    zoom
        View units (logical pixels) per straightened pixel.
    offset_xy
        Where in the view the corner of the straightened picture's raster lies.
    view_size
        Width and height of the widget, logical pixels.
    device_pixel_ratio
        Device pixels per logical pixel.
    """

    straight: Straight
    zoom: float
    offset_xy: tuple[float, float]
    view_size: tuple[float, float]
    device_pixel_ratio: float = 1.0

    def view_xy(self, straight_xy: Floats) -> Floats:
        """(..., 2) straightened positions to places in the view."""
        return np.asarray(raster_from_centres(straight_xy) * self.zoom + np.array(self.offset_xy), dtype=float)

    def straight_xy(self, view_xy: Floats) -> Floats:
        """(..., 2) places in the view to straightened positions."""
        raster = (np.asarray(view_xy, dtype=float) - np.array(self.offset_xy)) / self.zoom
        return np.asarray(raster - HALF_PIXEL, dtype=float)

    def view_of_picture(self, picture_xy: Floats) -> Floats:
        """(..., 2) positions in the stored picture to places in the view."""
        return self.view_xy(self.straight.straight_xy(np.asarray(picture_xy, dtype=float)))

    def picture_of_view(self, view_xy: Floats) -> Floats:
        """(..., 2) places in the view to positions in the stored picture."""
        return self.straight.picture_xy(self.straight_xy(view_xy))

    def raster_to_view(self) -> Floats:
        """(3, 3) homography from the stored picture's raster (corner at 0, 0) to the view, for the painter."""
        from_raster = _shift(-HALF_PIXEL, -HALF_PIXEL)
        to_raster = _shift(HALF_PIXEL, HALF_PIXEL)
        to_view = np.diag([self.zoom, self.zoom, 1.0])
        to_view[:2, 2] = self.offset_xy
        whole = to_view @ to_raster @ np.linalg.inv(self.straight.to_picture) @ from_raster
        return np.asarray(whole / whole[2, 2], dtype=float)

    @property
    def percent(self) -> float:
        """Zoom in per cent: 100 shows one pixel of the stored picture on one pixel of the screen."""
        return 100.0 * self.zoom * self.device_pixel_ratio / picture_px_per_straight_px(self.straight)

    @property
    def smooth(self) -> bool:
        """Whether the screen may smooth the picture at this zoom."""
        return self.percent <= SMOOTH_UP_TO_PERCENT + 1e-9

    def zoomed(self, factor: float, view_xy: tuple[float, float]) -> ViewTransform:
        """Nearer or farther by a factor; what lies under ``view_xy`` stays there."""
        wanted = min(max(self.percent * factor, SMALLEST_PERCENT), LARGEST_PERCENT)
        return self.at_percent(wanted, view_xy)

    def at_percent(self, percent: float, view_xy: tuple[float, float]) -> ViewTransform:
        """At this zoom; what lies under ``view_xy`` stays there."""
        zoom = self.zoom * percent / self.percent
        kept = raster_from_centres(self.straight_xy(np.array(view_xy)))
        offset = np.array(view_xy) - kept * zoom
        return replace(self, zoom=zoom, offset_xy=(float(offset[0]), float(offset[1])))

    def moved(self, by_xy: tuple[float, float]) -> ViewTransform:
        """The picture moved in the view by logical pixels; some of it always stays in sight."""
        x, y = self.offset_xy[0] + by_xy[0], self.offset_xy[1] + by_xy[1]
        return replace(self, offset_xy=(x, y)).kept_in_sight()

    def kept_in_sight(self, least: float = 40.0) -> ViewTransform:
        """At least so many logical pixels of the picture in the view."""
        kept = []
        for offset, pixels, view in zip(self.offset_xy, self.straight.size, self.view_size, strict=True):
            kept.append(min(max(offset, least - pixels * self.zoom), view - least))
        return replace(self, offset_xy=(kept[0], kept[1]))

    def centred_on(self, straight_xy: tuple[float, float]) -> ViewTransform:
        """The same zoom, with this position in the middle of the view."""
        middle = np.array(self.view_size) / 2
        offset = middle - raster_from_centres(np.array(straight_xy)) * self.zoom
        return replace(self, offset_xy=(float(offset[0]), float(offset[1])))

    def fitted(self, box: tuple[float, float, float, float], margin: float = 16.0) -> ViewTransform:
        """A box of the straightened picture (left, top, right, bottom) as large as the view allows, in its middle."""
        left, top, right, bottom = box
        wide = max(self.view_size[0] - 2 * margin, 1.0) / max(right - left, 1.0)
        high = max(self.view_size[1] - 2 * margin, 1.0) / max(bottom - top, 1.0)
        zoomed = replace(self, zoom=min(wide, high))
        if zoomed.percent > LARGEST_PERCENT:
            zoomed = replace(zoomed, zoom=zoomed.zoom * LARGEST_PERCENT / zoomed.percent)
        return zoomed.centred_on(((left + right) / 2, (top + bottom) / 2))

    def resized(self, view_size: tuple[float, float], device_pixel_ratio: float) -> ViewTransform:
        """The same zoom in a view of another size; what was in the middle stays in the middle."""
        by = (np.array(view_size) - np.array(self.view_size)) / 2
        offset = (self.offset_xy[0] + float(by[0]), self.offset_xy[1] + float(by[1]))
        return replace(self, view_size=view_size, offset_xy=offset, device_pixel_ratio=device_pixel_ratio)


def view_of(straight: Straight, view_size: tuple[float, float], device_pixel_ratio: float = 1.0) -> ViewTransform:
    """The whole straightened picture in a view."""
    plain = ViewTransform(straight, 1.0, (0.0, 0.0), view_size, device_pixel_ratio)
    return plain.fitted((-HALF_PIXEL, -HALF_PIXEL, straight.size[0] - HALF_PIXEL, straight.size[1] - HALF_PIXEL))


def picture_px_per_straight_px(straight: Straight, straight_xy: tuple[float, float] | None = None) -> float:
    """Stored pixels per straightened pixel (linear), at a position or in the middle."""
    x, y = straight_xy or (straight.size[0] / 2, straight.size[1] / 2)
    corners = straight.picture_xy(np.array([[x, y], [x + 1, y], [x, y + 1]], dtype=float))
    along, across = corners[1] - corners[0], corners[2] - corners[0]
    return float(np.sqrt(abs(along[0] * across[1] - along[1] * across[0])))


def _shift(x: float, y: float) -> Floats:
    shift = np.eye(3)
    shift[:2, 2] = (x, y)
    return shift
