"""Reading, made visible: one picture for each stage, for a person who wants to see what the program saw.

``page_stages`` needs only the picture and the table, so it shows why no key was read where none was;
``blade_stages`` needs the reading and what was decoded from it.  Everything is drawn again from those values and from
the picture, with the reader's own functions; nothing here has a part in any reading.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from app.picture import stages_blade, stages_page
from app.picture.read import Reference
from app.picture.values import Bytes, Picture, PictureReading
from keycore.decoding import Decoding
from keycore.spec import KeySpec


@dataclass(frozen=True)
class Stage:
    """One stage: a short name that sorts in the order of the work, and (rows, columns, 3) pixels."""

    name: str
    rgb: Bytes

    def __post_init__(self) -> None:
        """Freeze the pixels."""
        self.rgb.flags.writeable = False


def page_stages(
    picture: Picture, spec: KeySpec, reading: PictureReading | None, *, key: int, reference: Reference = "auto"
) -> tuple[Stage, ...]:
    """Show which keys were found, and what they lie on.

    Parameters
    ----------
    reading
        The reading, or None where there is none.
    key
        Which key was read, counted from 0.
    reference
        Which size reference in the picture was to be used.
    """
    page = stages_page.page_of(picture, spec, reading, key, reference)
    return (
        Stage("1-keys", np.array(stages_page.keys_plate(page).pixels())),
        Stage("2-ground", np.array(stages_page.ground_plate(page).pixels())),
    )


def blade_stages(picture: Picture, reading: PictureReading, decoding: Decoding) -> tuple[Stage, ...]:
    """Show the straightened blade, the evidence of its edges, every cut's curve, and the depth ladder."""
    blade = stages_blade.blade_of(picture, reading, decoding)
    plates = {
        "3-blade": stages_blade.blade_plate(blade),
        "4-edges": stages_blade.edges_plate(blade),
        "5-cuts": stages_blade.cuts_plate(blade),
        "6-ladder": stages_blade.ladder_plate(blade),
    }
    return tuple(Stage(name, np.array(plate.pixels())) for name, plate in plates.items())
