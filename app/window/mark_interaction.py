"""What a pointer and the arrow keys do to marks: plain functions of marks, places and keys.  Pure: no Qt."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Final, Literal

import numpy as np

from app.picture.values import Straight
from app.window.view_transform import ViewTransform
from keycore.marks import PointXY

Direction = Literal["left", "right", "up", "down"]
STEPS: Final[dict[Direction, PointXY]] = {
    "left": (-1.0, 0.0),
    "right": (1.0, 0.0),
    "up": (0.0, -1.0),
    "down": (0.0, 1.0),
}
GRAB_RADIUS: Final = 14.0
"""A pointer this near to a mark (logical pixels) means that mark."""
DRAG_THRESHOLD: Final = 4.0
"""A press moves a mark only after the pointer has gone this far (logical pixels)."""
_GROUPS: Final = ("shoulder", "root", "tip", "blade_height", "back", "centreline", "reference")


def nudge_px(*, shift: bool, alt: bool) -> float:
    """How far one arrow key goes, in pixels of the stored picture."""
    if alt:
        return 0.1
    return 10.0 if shift else 1.0


def nudged(straight: Straight, picture_xy: PointXY, direction: Direction, step_px: float) -> PointXY:
    """A mark moved by ``step_px`` stored pixels in the direction that the arrow shows on the straightened picture."""
    here = straight.straight_xy(np.array(picture_xy))
    ahead = straight.picture_xy(here + np.array(STEPS[direction]) * 1e-3)
    way = ahead - np.array(picture_xy)
    moved = np.array(picture_xy) + way / math.hypot(*way) * step_px
    return float(moved[0]), float(moved[1])


def mark_at(
    marks: Mapping[str, PointXY], view: ViewTransform, view_xy: PointXY, radius: float = GRAB_RADIUS
) -> str | None:
    """The mark nearest to a place in the view, within the radius; roots win over line ends that lie as near."""
    if not marks:
        return None
    names = list(marks)
    places = view.view_of_picture(np.array([marks[name] for name in names]))
    distances = np.hypot(*(places - np.array(view_xy)).T)
    best = min(range(len(names)), key=lambda index: (round(float(distances[index])), _rank(names[index])))
    return names[best] if distances[best] <= radius else None


def in_order(names: Sequence[str], places: Mapping[str, PointXY]) -> tuple[str, ...]:
    """Marks in the order in which Tab walks them: shoulder, roots bow to tip, tip, then the pairs."""

    def key(name: str) -> tuple[int, int]:
        return _rank(name), _number(name)

    return tuple(sorted((name for name in names if name in places), key=key))


def next_mark(names: Sequence[str], current: str | None, *, backwards: bool = False) -> str | None:
    """The mark after (or before) the current one; None past the end, so that Tab can leave the picture."""
    if not names:
        return None
    if current not in names:
        return names[-1] if backwards else names[0]
    index = names.index(current) + (-1 if backwards else 1)
    return names[index] if 0 <= index < len(names) else None


def clamped(picture_xy: PointXY, size: tuple[int, int]) -> PointXY:
    """The nearest position inside a picture of this size (its rim has half a pixel)."""
    return min(max(picture_xy[0], -0.5), size[0] - 0.5), min(max(picture_xy[1], -0.5), size[1] - 0.5)


@dataclass(frozen=True)
class Drag:
    """A mark in a hand: pressed at ``pressed_xy`` in the view while it lay at ``from_picture_xy``.

    The mark keeps its distance from the pointer, so that a press beside its middle does not make it jump.
    """

    name: str
    pressed_xy: PointXY
    from_picture_xy: PointXY
    going: bool = False

    def moved(self, view: ViewTransform, pointer_xy: PointXY, size: tuple[int, int]) -> tuple[Drag, PointXY | None]:
        """The drag after the pointer came to a place, and where the mark is now; None below the threshold."""
        way = (pointer_xy[0] - self.pressed_xy[0], pointer_xy[1] - self.pressed_xy[1])
        if not self.going and math.hypot(*way) < DRAG_THRESHOLD:
            return self, None
        from_view = view.view_of_picture(np.array(self.from_picture_xy))
        x, y = view.picture_of_view(from_view + np.array(way))
        going = self if self.going else Drag(self.name, self.pressed_xy, self.from_picture_xy, True)
        return going, clamped((float(x), float(y)), size)


def _rank(name: str) -> int:
    group = name.partition(".")[0]
    return _GROUPS.index(group) if group in _GROUPS else len(_GROUPS)


def _number(name: str) -> int:
    index = name.partition(".")[2]
    return int(index) if index.isdigit() else 0
