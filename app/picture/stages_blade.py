"""The stages on the blade, drawn: straightened, its edges' evidence, every cut's curve, and the depth ladder.

All of it in the key's own millimetres as decoded: x along the blade from the gauge point, y up from the back or the
centreline.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from app.picture.edgemaps import EdgeMaps, edge_maps
from app.picture.frame import Frame
from app.picture.plate import BLUE, INK, ORANGE, PAPER, QUIET, RULE, SKY, SMALL_SIZE, YELLOW, Colour, Plate, heat
from app.picture.sample import Patch, grey_patch
from app.picture.shape import EdgeShape, edge_shape
from app.picture.values import Bytes, Picture, PictureReading
from keycore.codes import format_code
from keycore.decoding import CutDecoding, Decoding
from keycore.measured import COPIES, CutReading, Floats

WIDE_PX = 1240
BESIDE_MM, ABOVE_MM = 3.0, 1.6
STEP_MM = 0.04
STRONG = 25.0
"""Log-likelihood ratio that is drawn at full strength: floor and both flanks clearly seen."""
LOG_REACH = 12.0
COLUMNS = 4
DARK_FROM = 0.35
"""A rung of this probability is so dark that its words are light."""


@dataclass(frozen=True)
class BladeView:
    """All that the plates show."""

    patch: Patch
    frame: Frame
    shape: EdgeShape
    reading: PictureReading
    decoding: Decoding

    @property
    def sides(self) -> tuple[int, ...]:
        """Which cut edges there are: 1 up, -1 down."""
        return (1,) if self.decoding.spec.edges == "single" else (1, -1)

    @property
    def hidden(self) -> tuple[bool, ...]:
        """For each edge, whether its cuts were told by their flanks because black hides their floors."""
        kept = self.reading.kept
        return (False,) * len(self.sides) if kept is None else tuple(edge.hidden for edge in kept.ways[0].edges)

    @property
    def along(self) -> int:
        """1 where cuts lie towards the tip from the gauge point, -1 where towards the bow."""
        return 1 if self.decoding.spec.gauge_from == "shoulder" else -1

    @property
    def growth_mm(self) -> float:
        """How far one visible edge stands too high, measured from the back or centreline."""
        share = 2 if self.decoding.spec.edges == "double-mirrored" else 1
        return self.decoding.growth_mm / share

    @property
    def x_mm(self) -> tuple[float, float]:
        """Stretch that is shown."""
        blade, scale = self.reading.blade, self.decoding.scale.px_per_mm_along.value
        ends = [(end - _gauge_x(self.reading, self.along)) / scale for end in (blade.shoulder_x, blade.tip_x) if end]
        ends += [float(self.shape.positions_mm.min()) - 2, float(self.shape.positions_mm.max()) + 2]
        return min(ends) - BESIDE_MM, max(ends) + BESIDE_MM

    @property
    def y_mm(self) -> tuple[float, float]:
        """Heights that are shown."""
        top = self.shape.top_mm + max(self.growth_mm, 0.0) + ABOVE_MM
        return (-ABOVE_MM if len(self.sides) == 1 else -top), top

    def centres_mm(self, edge: int) -> Floats:
        """(k,) where the cuts of one edge were found along the blade."""
        roots = self.reading.marks.roots_by_edge()
        if edge < len(roots):
            return np.asarray(self.frame.blade_mm(np.asarray(roots[edge], dtype=float))[:, 0])
        return self.shape.positions_mm

    def cuts(self, edge: int) -> list[CutReading]:
        """Readings of one edge (0 or 1); a mirrored pair has one set for both."""
        cuts = list(self.reading.readings.cuts)
        if self.decoding.spec.edges != "double-independent":
            return cuts
        return [cut for cut in cuts if cut.edge == edge + 1]

    def decoded(self, edge: int) -> list[CutDecoding]:
        """What was decoded of one edge's cuts."""
        cuts = list(self.decoding.cuts)
        if self.decoding.spec.edges != "double-independent":
            return cuts
        return [cut for cut in cuts if cut.edge == edge + 1]

    def profile(self, x_mm: Floats, edge: int, growth_mm: float) -> Floats:
        """(n,) height of one edge of the decoded key, outward, with some growth."""
        spec = self.decoding.spec
        share = 2 if spec.edges == "double-mirrored" else 1
        roots = np.array([spec.root_of(cut.depth) for cut in self.decoded(edge)]) / share
        return self.shape.profile(x_mm, self.centres_mm(edge), roots + growth_mm, self.shape.top_mm + growth_mm)


def blade_of(picture: Picture, reading: PictureReading, decoding: Decoding) -> BladeView:
    """Lay the key's own millimetres into the picture by what was read and decoded."""
    blade = reading.blade
    along, across = decoding.scale.px_per_mm_along.value, decoding.scale.px_per_mm_across.value
    step = 1 if decoding.spec.gauge_from == "shoulder" else -1
    gauge_x = _gauge_x(reading, step)
    to_straight = np.array(
        [
            [along, 0.0, gauge_x],
            [blade.back_slope * along, -across, blade.back_y0 + blade.back_slope * gauge_x],
            [0.0, 0.0, 1.0],
        ]
    )
    matrix = reading.straight.to_picture @ to_straight
    frame = Frame(matrix / matrix[2, 2], across)
    shape = edge_shape(decoding.spec)
    view = BladeView(Patch(np.zeros((2, 2), np.float32), 0, 0), frame, shape, reading, decoding)
    (x0, x1), (y0, y1) = view.x_mm, view.y_mm
    corners = frame.picture_xy(np.array([[x0, y0], [x1, y0], [x1, y1], [x0, y1]]))
    patch = grey_patch(picture, corners, 4 * across)
    return BladeView(patch, frame, shape, reading, decoding)


def _gauge_x(reading: PictureReading, step: int) -> float:
    """Where the gauge point lies in the straightened picture."""
    blade = reading.blade
    at = blade.shoulder_x if step == 1 else blade.tip_x
    if at is not None:
        return at
    gauge = reading.marks.shoulder if step == 1 else reading.marks.tip
    return 0.0 if gauge is None else float(reading.straight.straight_xy(np.array(gauge))[0])


@dataclass(frozen=True)
class _Axes:
    """Where millimetres of the blade lie on a plate."""

    left: float
    top: float
    px_per_mm: float
    x0_mm: float
    y1_mm: float

    def at(self, x_mm: Floats | float, y_mm: Floats | float) -> Floats:
        """(..., 2) positions on the plate."""
        x, y = np.broadcast_arrays(np.asarray(x_mm, dtype=float), np.asarray(y_mm, dtype=float))
        across = self.left + (x - self.x0_mm) * self.px_per_mm
        return np.stack([across, self.top + (self.y1_mm - y) * self.px_per_mm], axis=-1)


def _straightened(view: BladeView) -> tuple[Bytes, float]:
    """(rows, columns) of the blade laid level, and its pixels per millimetre."""
    (x0, x1), (y0, y1) = view.x_mm, view.y_mm
    zoom = WIDE_PX / (x1 - x0)
    x = x0 + (np.arange(WIDE_PX) + 0.5) / zoom
    y = y1 - (np.arange(int((y1 - y0) * zoom)) + 0.5) / zoom
    grey = view.patch.at(view.frame.picture_xy(np.stack(np.meshgrid(x, y), axis=-1)))
    return np.clip(np.rint(grey), 0, 255).astype(np.uint8), zoom


def blade_plate(view: BladeView) -> Plate:
    """Draw the blade laid level, with the line that heights are measured from, shoulder, tip and the cuts' places."""
    grey, zoom = _straightened(view)
    single = len(view.sides) == 1
    line = "the back" if single else "the centreline"
    scale = view.decoding.scale
    sigma_mm = view.reading.blade.back_sigma_px / scale.px_per_mm_across.value
    plate = Plate(
        (grey.shape[1], grey.shape[0] + 44),
        "3  The blade laid level" + (", turned over" if view.reading.straight.mirrored else ""),
        [
            f"Blue: {line}, from which root heights are measured, known within {sigma_mm:.2f} mm. "
            "Orange: the gauge point. Dashed: the middles of the cuts. Yellow: the uncut edge, as high as the "
            "table says and as far out as it has grown.",
            f"Scale {scale.px_per_mm_along.value:.2f} px/mm along, {scale.px_per_mm_across.value:.2f} across. "
            "Ticks under the picture: millimetres from the gauge point.",
        ],
    )
    axes = _put_blade(plate, view, grey, zoom, plate.top)
    (x0, x1), (y0, y1) = view.x_mm, view.y_mm
    plate.line(axes.at(np.array([x0, x1]), 0.0), BLUE, 3)
    top = view.shape.top_mm + view.growth_mm
    for side in view.sides:
        plate.line(axes.at(np.array([x0, x1]), side * top), YELLOW, 2, dashed=True)
    for edge, side in enumerate(view.sides):
        for number, x in enumerate(view.centres_mm(edge), 1):
            plate.line(axes.at(float(x), side * np.array([0.0, top])), SKY, 2, dashed=True)
            plate.words(axes.at(float(x), side * (top + 0.5)), str(number), colour=BLUE, over_picture=True)
    plate.line(axes.at(0.0, np.array([y0, y1])), ORANGE, 3)
    gauge = "shoulder" if view.along == 1 else "tip"
    plate.words(axes.at(0.0, y1 - 0.6), f"gauge point ({gauge})", colour=ORANGE, over_picture=True)
    other = view.reading.blade.tip_x if view.along == 1 else view.reading.blade.shoulder_x
    if other is not None:
        at = (other - _gauge_x(view.reading, view.along)) / scale.px_per_mm_along.value
        plate.line(axes.at(at, np.array([y0, y1])), ORANGE, 2, dashed=True)
        plate.words(axes.at(at, y1 - 0.6), "tip" if view.along == 1 else "shoulder", colour=ORANGE, over_picture=True)
    _ticks(plate, axes, view)
    return plate


def _put_blade(plate: Plate, view: BladeView, grey: Bytes, zoom: float, top: float) -> _Axes:
    plate.paste(grey, (plate.left, top))
    return _Axes(plate.left, top, zoom, view.x_mm[0], view.y_mm[1])


def _ticks(plate: Plate, axes: _Axes, view: BladeView) -> None:
    (x0, x1), (y0, _) = view.x_mm, view.y_mm
    for mm in range(int(np.ceil(x0)), int(x1) + 1):
        x, y = axes.at(float(mm), y0)
        long = mm % 5 == 0
        plate.line([(x, y), (x, y + (14 if long else 7))], INK, 2 if long else 1)
        if long:
            plate.words((x, y + 26), f"{mm}", size=SMALL_SIZE)


def edges_plate(view: BladeView) -> Plate:
    """Draw how much speaks for a cut at every place, over the blade, with the edge of the decoded key."""
    grey, zoom = _straightened(view)
    height = grey.shape[0]
    plate = Plate(
        (grey.shape[1], 2 * height + 96),
        f"4  The edges, and growth {view.decoding.growth_mm:.2f} +- {view.decoding.growth_sigma_mm:.2f} mm",
        [
            "Above: blue, the edge of the decoded key as it shows; dashed orange, where its metal ends, its growth "
            "taken off. Between them the picture shows shadow, toner or blur.",
            "Below: how much speaks for a cut's floor with both its flanks at each place. The dots are the cuts "
            "as decoded." + (" Where black hides the floors, only the flanks are drawn." if any(view.hidden) else ""),
        ],
    )
    axes = _put_blade(plate, view, grey, zoom, plate.top)
    _profiles(plate, axes, view)
    below = plate.top + height + 16
    overlay = np.repeat((255 - 0.35 * (255.0 - grey))[..., None], 3, axis=2)
    for edge, side in enumerate(view.sides):
        overlay = _with_heat(overlay, view, evidence_of(view, edge), side, zoom)
    plate.paste(overlay.astype(np.uint8), (plate.left, below))
    axes = _Axes(plate.left, below, zoom, view.x_mm[0], view.y_mm[1])
    for edge, side in enumerate(view.sides):
        centres = view.centres_mm(edge)
        heights = view.profile(centres, edge, view.growth_mm)
        for x, y in zip(centres, heights, strict=True):
            plate.dot(axes.at(float(x), side * float(y)), BLUE, 5)
    bar = heat(np.linspace(0, 1, 260)[None, :].repeat(18, axis=0))
    plate.paste(bar, (plate.left, below + height + 24))
    plate.words((plate.left + 270, below + height + 33), "little ... much evidence", colour=QUIET, anchor="lm")
    return plate


def _profiles(plate: Plate, axes: _Axes, view: BladeView) -> None:
    """Draw the decoded key's edges: as they show, and as they are."""
    x = np.arange(*view.x_mm, 0.05)
    positions = view.shape.positions_mm
    x = x[(x > positions.min() - 3.0) & (x < positions.max() + 2.5)]
    for edge, side in enumerate(view.sides):
        plate.line(axes.at(x, side * view.profile(x, edge, 0.0)), ORANGE, 2, dashed=True)
        plate.line(axes.at(x, side * view.profile(x, edge, view.growth_mm)), BLUE, 3)


def evidence_of(view: BladeView, edge: int) -> EdgeMaps:
    """Evidence along one edge; where black hides the floors, so that flanks told the cuts, ``cut`` is the flanks'."""
    maps = edge_maps(
        view.patch,
        view.frame,
        view.shape,
        side=view.sides[edge],
        step_mm=STEP_MM,
        beyond_mm=2.0,
        above_mm=1.2,
        below_mm=0.6,
        signed=view.reading.readings.medium in COPIES,
    )
    return replace(maps, cut=maps.cut - maps.floor) if view.hidden[edge] else maps


def _with_heat(overlay: Floats, view: BladeView, maps: EdgeMaps, side: int, zoom: float) -> Floats:
    """Lay the evidence over the pixels where there is any."""
    (x0, _), (_, y1) = view.x_mm, view.y_mm
    rows, columns = overlay.shape[:2]
    x = x0 + (np.arange(columns) + 0.5) / zoom
    y = side * (y1 - (np.arange(rows) + 0.5) / zoom)
    column = np.rint((x - maps.x_mm[0]) / (maps.x_mm[1] - maps.x_mm[0])).astype(int)
    row = np.rint((y - maps.y_mm[0]) / (maps.y_mm[1] - maps.y_mm[0])).astype(int)
    inside = ((row >= 0) & (row < len(maps.y_mm)))[:, None] & ((column >= 0) & (column < len(maps.x_mm)))[None, :]
    values = maps.cut[np.clip(row, 0, len(maps.y_mm) - 1)][:, np.clip(column, 0, len(maps.x_mm) - 1)]
    share = np.clip(values / STRONG, 0.0, 1.0)
    strength = np.where(inside, np.clip(share / 0.25, 0.0, 1.0), 0.0)[..., None]
    return np.asarray(overlay * (1 - strength) + heat(share) * strength)


def cuts_plate(view: BladeView) -> Plate:
    """Draw the likelihood of every cut's root height, with the table's depths."""
    panels = [
        (cut, decoded)
        for edge in range(2 if view.decoding.spec.edges == "double-independent" else 1)
        for cut, decoded in zip(view.cuts(edge), view.decoded(edge), strict=False)
    ]
    columns = min(COLUMNS, len(panels))
    rows = -(-len(panels) // columns)
    wide, high = WIDE_PX // columns, 230
    plate = Plate(
        (WIDE_PX, rows * high),
        "5  How high each cut's root may stand",
        [
            "Orange: how likely the picture makes each root height, its growth of "
            f"{view.decoding.growth_mm:.2f} mm taken off. Grey line: the same on a log scale. Upright lines: the "
            "table's depths; the bold one was decoded.",
        ],
    )
    for number, (cut, decoded) in enumerate(panels):
        left = plate.left + (number % columns) * wide
        top = plate.top + (number // columns) * high
        _curve_panel(plate, view, cut, decoded, (left + 6, top + 6), (wide - 24, high - 24))
    return plate


def _curve_panel(
    plate: Plate,
    view: BladeView,
    cut: CutReading,
    decoded: CutDecoding,
    at: tuple[float, float],
    size: tuple[float, float],
) -> None:
    spec, scale = view.decoding.spec, view.decoding.scale.px_per_mm_across.value
    (left, top), (wide, high) = at, size
    floor, ceiling = top + high - 26, top + 46
    roots = np.asarray(spec.roots_mm)
    low, high_mm = float(roots.min()) - 0.5, float(roots.max()) + 0.5
    height = np.linspace(low, high_mm, int(wide))
    log_p = _log_likelihood(view, cut, (height + view.decoding.growth_mm) * scale)
    x = left + (height - low) / (high_mm - low) * wide
    plate.box((left, left + wide), (ceiling, floor), (248, 249, 250), RULE)
    share = np.exp(log_p)
    curve = np.stack([x, floor - share * (floor - ceiling)], axis=-1)
    plate.area(np.concatenate([curve, [[x[-1], floor], [x[0], floor]]]), (247, 190, 120))
    plate.line(curve, ORANGE, 2)
    logs = np.clip(1 + log_p / LOG_REACH, 0.0, 1.0)
    plate.line(np.stack([x, floor - logs * (floor - ceiling)], axis=-1), QUIET, 1)
    for depth in spec.depths:
        here = left + (depth.root_mm - low) / (high_mm - low) * wide
        is_it = depth.label == decoded.depth
        plate.line([(here, floor), (here, ceiling)], BLUE if is_it else SKY, 4 if is_it else 1)
        plate.words((here, floor + 12), depth.label, colour=BLUE if is_it else QUIET, size=20 if is_it else SMALL_SIZE)
    edge = f"edge {decoded.edge}, " if spec.edges == "double-independent" else ""
    plate.words((left, top + 14), f"{edge}cut {decoded.number}: depth {decoded.depth}", anchor="lm", colour=BLUE)
    plate.words((left, top + 34), _sure_words(decoded), anchor="lm", size=SMALL_SIZE, colour=QUIET)


def _log_likelihood(view: BladeView, cut: CutReading, heights_px: Floats) -> Floats:
    """(n,) log-likelihood of visible heights, 0 at the likeliest."""
    evidence = cut.evidence
    if evidence is None:
        log_p = -0.5 * ((heights_px - cut.root_px) / cut.sigma_px) ** 2
    else:
        row = int(np.argmin(np.abs(evidence.growths_mm - view.decoding.growth_mm)))
        log_p = np.interp(heights_px, evidence.heights_px, evidence.log_likelihood[row])
    return np.asarray(log_p - log_p.max())


def _sure_words(decoded: CutDecoding) -> str:
    return f"root {decoded.root_mm:.2f} +- {decoded.sigma_mm:.2f} mm, {_percent(decoded.probability)} likely"


def _percent(probability: float) -> str:
    """A share in percent that never rounds to certainty."""
    if probability > 0.999:
        return "> 99.9 %"
    return (
        "< 0.1 %"
        if probability < 0.001
        else f"{100 * probability:.{1 if probability > 0.99 or probability < 0.01 else 0}f} %"
    )


def ladder_plate(view: BladeView) -> Plate:
    """Draw the depth ladder under the blade: a column of the table's depths under each cut, filled by probability."""
    grey, zoom = _straightened(view)
    decoding = view.decoding
    edges = 2 if decoding.spec.edges == "double-independent" else 1
    roots = np.asarray(decoding.spec.roots_mm)
    rung_px = 26.0 / float(np.min(-np.diff(roots))) if len(roots) > 1 else 60.0
    column_px = int((roots.max() - roots.min()) * rung_px) + 60
    best = decoding.codes[0]
    plate = Plate(
        (grey.shape[1], grey.shape[0] + edges * (column_px + 40)),
        f"6  The code: {format_code(best.code, decoding.spec)}, {_percent(best.probability)} likely",
        [
            f"Verdict: {decoding.verdict_words.rstrip('.')}.",
            "Under each cut stand the table's depths at their true distances, the darker the likelier. Orange: the "
            "root as measured, with its standard uncertainty.",
        ],
    )
    axes = _put_blade(plate, view, grey, zoom, plate.top)
    _profiles(plate, axes, view)
    top = plate.top + grey.shape[0] + 24
    for edge in range(edges):
        if edges == 2:
            plate.words((plate.left, top + 4), f"edge {edge + 1}", anchor="lm", colour=QUIET)
        for x, decoded in zip(view.centres_mm(edge), view.decoded(edge), strict=False):
            middle = float(axes.at(float(x), 0.0)[0])
            _ladder_column(plate, view, decoded, middle, top + 34, rung_px)
        top += column_px + 40
    return plate


def _ladder_column(
    plate: Plate, view: BladeView, decoded: CutDecoding, middle: float, top: float, rung_px: float
) -> None:
    spec = view.decoding.spec
    spacing = view.shape.spacing_mm * WIDE_PX / (view.x_mm[1] - view.x_mm[0])
    half = min(46.0, 0.36 * spacing)
    highest = float(max(spec.roots_mm))
    rungs = [(depth.label, top + (highest - depth.root_mm) * rung_px) for depth in spec.depths]
    for label, y in rungs:
        plate.box((middle - half, middle + half), (y - 11, y + 11), _filled(decoded.depths.get(label, 0.0)), RULE)
    ladder_from, ladder_to = rungs[0][1] - 18, rungs[-1][1] + 18
    y = float(np.clip(top + (highest - decoded.root_mm) * rung_px, ladder_from, ladder_to))
    reach = decoded.sigma_mm * rung_px
    ends = np.clip([y - reach, y + reach], ladder_from, ladder_to)
    plate.line([(middle - half - 8, y), (middle + half + 8, y)], ORANGE, 3)
    plate.line([(middle + half + 8, ends[0]), (middle + half + 8, ends[1])], ORANGE, 3)
    for label, y in rungs:
        share = decoded.depths.get(label, 0.0)
        colour, rim = PAPER if share > DARK_FROM else INK, _filled(share)
        plate.words((middle - half + 8, y), label, anchor="lm", colour=colour, rim=rim)
        if share >= 0.005:
            plate.words((middle + half - 6, y), _whole_percent(share), anchor="rm", size=13, colour=colour, rim=rim)
    plate.words((middle, top - 28), f"cut {decoded.number}", colour=QUIET, size=SMALL_SIZE)


def _whole_percent(share: float) -> str:
    """The same in whole per cents, for a narrow place."""
    return "> 99 %" if share > 0.995 else f"{100 * share:.0f} %"


def _filled(share: float) -> Colour:
    """Colour of a rung: white to blue."""
    share = float(np.clip(share, 0.0, 1.0)) ** 0.6
    red, green, blue = (round(255 + share * (part - 255)) for part in BLUE)
    return red, green, blue
