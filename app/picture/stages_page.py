"""The stages on the whole page, drawn: the keys that were found, and what they lie on."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from app.picture.find import FoundKey, count_of_keys, keys_on
from app.picture.ground import Ground, ground_of
from app.picture.medium import medium_of
from app.picture.opencv import cv2
from app.picture.perspective import PlaneView
from app.picture.plate import BLUE, INK, ORANGE, QUIET, SKY, YELLOW, Plate
from app.picture.read import Reference
from app.picture.values import Bytes, Picture, PictureReading
from keycore.measured import Floats
from keycore.spec import KeySpec

WIDE_PX, HIGH_PX = 1200, 1000
GRID_MM = 10.0
MEDIUM_WORDS = {
    "scan": "a scan of the key itself",
    "photocopy": "a copy on paper",
    "photo-card": "a photo of the key",
    "photo-copy": "a photo of a copy on paper",
    "calipers": "figures",
}
RECTANGLE_WORDS = {
    "id1-card": "a card of bank-card size",
    "page-a4": "an A4 page",
    "page-letter": "a Letter page",
    "rectangle": "a marked rectangle",
}


@dataclass(frozen=True)
class Page:
    """All that the two plates show."""

    picture: Picture
    spec: KeySpec
    ground: Ground
    because: str
    keys: tuple[FoundKey, ...]
    reading: PictureReading | None
    key: int

    @property
    def scale(self) -> float:
        """Sheet pixels per picture pixel."""
        width, height = self.picture.size
        return min(WIDE_PX / width, HIGH_PX / height, 2.0)

    def pixels(self) -> Bytes:
        """The whole picture at the sheet's scale, paled so that lines stand out."""
        width, height = self.picture.size
        size = (max(1, round(width * self.scale)), max(1, round(height * self.scale)))
        how = cv2.INTER_AREA if self.scale < 1 else cv2.INTER_LINEAR
        small = np.asarray(cv2.resize(self.picture.rgb, size, interpolation=how), dtype=float)
        return (255 - 0.75 * (255 - small)).astype(np.uint8)


def page_of(picture: Picture, spec: KeySpec, reading: PictureReading | None, key: int, reference: Reference) -> Page:
    """Look at the page as the reader does."""
    marks = None if reading is None else reading.marks
    told = None if reading is None or reading.readings.medium == "calipers" else reading.readings.medium
    only_reference = None if marks is None or marks.reference is None else marks.model_copy(update=_WITHOUT_KEY)
    ground = ground_of(picture, spec, only_reference, medium=told, reference=reference)
    because = medium_of(picture).because
    keys = keys_on(picture, spec, ground)
    return Page(picture, spec, ground, because, keys, reading, key)


_WITHOUT_KEY = {"shoulder": None, "tip": None, "back": None, "centreline": None, "roots": (), "blade_height": None}


def keys_plate(page: Page) -> Plate:
    """Draw every key that was found: its box, its blade from shoulder to tip, its two long sides."""
    pixels = page.pixels()
    count = count_of_keys(page.keys)
    words = ["The arrow runs from the shoulder to the tip; the thin lines lie along the blade's two long sides."]
    if count < len(page.keys):
        words.append("A shape with a question mark is too unlike a key to count.")
    if page.reading is not None:
        words.append("The thick blue line is the edge that was read.")
    title = f"1  Keys found: {count}" if count else "1  No key was found"
    if not count:
        words = ["Check that the whole key is in the picture, or mark its back, shoulder and tip by hand."]
    plate = Plate((pixels.shape[1], pixels.shape[0]), title, words)
    plate.paste(pixels, (plate.left, plate.top))
    for number, key in enumerate(page.keys):
        _draw_key(plate, page, key, f"key {number + 1}" if number < count else "?", number == _chosen(page))
    if page.reading is not None:
        for part in _edges(page.reading):
            plate.line(_at(plate, page, part), BLUE, 4)
    return plate


def _chosen(page: Page) -> int:
    """Which of the keys was read: the one that holds the edge that was read, wherever marks or a number chose it."""
    if page.reading is None:
        return page.key
    edges = _edges(page.reading)
    if not edges or not page.keys:
        return page.key
    middle = np.concatenate(edges).mean(axis=0)
    return int(np.argmin([np.hypot(*(key.box.mean(axis=0) - middle)) for key in page.keys]))


def _draw_key(plate: Plate, page: Page, key: FoundKey, name: str, chosen: bool) -> None:
    colour = ORANGE if chosen else QUIET

    def at(picture_xy: Floats) -> Floats:
        return _at(plate, page, picture_xy)

    plate.line(at(key.box[[0, 1, 2, 3, 0]]), colour, 3 if chosen else 2, dashed=not chosen)
    corner = at(key.box[int(np.argmin(key.box[:, 1]))])
    plate.words(corner + [0, -14], name, colour=colour, size=22, over_picture=True)
    if name == "?":
        return
    for side in (key.side_a, key.side_b):
        plate.line(at(side), colour, 2)
    ends = at(np.array([key.shoulder_xy, key.tip_xy]))
    plate.arrow(ends[0], ends[1], colour, 3)
    beyond = ends[1] + 24 * (ends[1] - ends[0]) / np.hypot(*(ends[1] - ends[0]))
    plate.words(beyond, "tip", colour=colour, over_picture=True)
    bow = (key.box.mean(axis=0) * 2 - np.array(key.tip_xy) + np.array(key.shoulder_xy)) / 2
    plate.words(at(bow), "bow", colour=colour, over_picture=True)


def _at(plate: Plate, page: Page, picture_xy: Floats) -> Floats:
    """(..., 2) picture positions on the plate."""
    return np.asarray((np.asarray(picture_xy) + 0.5) * page.scale + np.array([plate.left, plate.top]))


def _edges(reading: PictureReading) -> list[Floats]:
    """One line in the picture for each cut edge: the outlines are strung together, each from bow to tip."""
    outline = reading.blade.outline
    if len(outline) == 0:
        return []
    starts = np.flatnonzero(np.diff(outline[:, 0]) < 0) + 1
    return [reading.straight.picture_xy(part) for part in np.split(outline, starts)]


def ground_plate(page: Page) -> Plate:
    """Draw the card or page that gives the plane, with millimetres laid on it."""
    pixels = page.pixels()
    view = page.ground.view
    plate = Plate(
        (pixels.shape[1], pixels.shape[0]), f"2  What it lies on: {MEDIUM_WORDS[page.ground.medium]}", _said(page)
    )
    plate.paste(pixels, (plate.left, plate.top))
    if view is not None:
        _draw_plane(plate, page, view)
    return plate


def _said(page: Page) -> list[str]:
    view, dpi = page.ground.view, page.picture.dpi
    words = [f"Why: {page.because}."]
    if view is not None:
        bend, bend_sigma = view.lens_bend
        words.append(
            f"The plane comes from {RECTANGLE_WORDS[view.kind]}, tilted {view.tilt_deg:.1f} degrees; its sides fit "
            f"within {view.misfit_px:.2f} px; the lens bends the corner by {100 * bend:+.2f} +- "
            f"{100 * bend_sigma:.2f} %. The lines lie {GRID_MM:g} mm apart, {page.ground.height_mm:g} mm above the "
            "paper, where the key's edge is seen."
        )
        if not page.ground.key_scale:
            words.append("Millimetres of the page are not the key's own: the copy may be enlarged.")
    elif page.ground.medium in ("photo-card", "photo-copy"):
        words.append("No card or page was found to straighten it by.")
    else:
        words.append("It lies flat: no card or page is needed to straighten it.")
    if dpi is not None:
        photo = page.ground.medium in ("photo-card", "photo-copy")
        meaning = "which means nothing in a photo" if photo else "which is a claim, not a measurement"
        words.append(f"The file says {dpi[0]:.0f} dpi, {meaning}.")
    return words


def _draw_plane(plate: Plate, page: Page, view: PlaneView) -> None:
    """Draw the rectangle, and a grid of millimetres over what the picture shows of the plane."""
    width, height = page.picture.size
    where = np.array([[0, 0], [width - 1, 0], [width - 1, height - 1], [0, height - 1]], dtype=float)
    plane = view.to_plane(where, page.ground.height_mm)
    low = np.floor(plane.min(axis=0) / GRID_MM) * GRID_MM
    high = np.ceil(plane.max(axis=0) / GRID_MM) * GRID_MM

    def at(picture_xy: Floats) -> Floats:
        return _at(plate, page, picture_xy)

    for axis in (0, 1):
        along = np.linspace(low[1 - axis], high[1 - axis], 60)
        for value in np.arange(low[axis], high[axis] + GRID_MM / 2, GRID_MM):
            points = np.empty((len(along), 2))
            points[:, axis], points[:, 1 - axis] = value, along
            seen = view.to_picture(points, page.ground.height_mm)
            inside = np.all((seen >= 0) & (seen <= np.array([width - 1, height - 1])), axis=1)
            if inside.sum() > 1:
                plate.line(at(seen[inside]), SKY, 1)
    corners = np.asarray(view.corners_xy)
    plate.line(at(corners[[0, 1, 2, 3, 0]]), YELLOW, 4)
    for number, corner in enumerate(corners, 1):
        plate.dot(at(corner), ORANGE, 6)
        plate.words(at(corner) + [14, -14], str(number), colour=INK, over_picture=True)
