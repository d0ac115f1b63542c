"""A picture and a reader of it that are made up, so that the bench can be tested apart from the art of reading."""

from __future__ import annotations

import io
from collections.abc import Callable
from types import SimpleNamespace
from typing import Any

import numpy as np
import pyrage
from PIL import Image

from app.picture.values import Blade, Picture, PictureReading, Straight
from keycore.marks import Marks
from keycore.measured import CutReading, Measured, Readings, SizeReference
from keycore.refusal import Refusal
from keycore.spec import KeySpec

PX_PER_MM = 12.0
GROWTH_MM = 0.10
SIZE = (600, 300)
CODE = ("3", "1", "2", "5", "4")


def png(shade: int = 200, size: tuple[int, int] = SIZE) -> bytes:
    """An even grey picture; another shade is another picture."""
    stream = io.BytesIO()
    Image.new("L", size, shade).save(stream, "PNG")
    return stream.getvalue()


def made_marks(spec: KeySpec, code: tuple[str, ...] = CODE) -> Marks:
    """Where such a key's parts would lie: shoulder at x = 60, back at y = 200."""
    roots = tuple(
        (60 + PX_PER_MM * position, 200 - PX_PER_MM * (spec.root_of(label) + GROWTH_MM))
        for position, label in zip(spec.cut_positions_mm, code, strict=True)
    )
    return Marks(shoulder=(60.0, 150.0), tip=(400.0, 150.0), back=((60.0, 200.0), (400.0, 200.0)), roots=roots)


def made_reading(spec: KeySpec, marks: Marks | None = None, code: tuple[str, ...] = CODE) -> PictureReading:
    """The reading of a key with this code: 12 px a mm, 0.1 mm of growth, the hand's marks where there are any."""
    own = made_marks(spec, code)
    given = {} if marks is None else {name: value for name, value in marks if value is not None}
    shown = own.model_copy(update=given)
    cuts = tuple(
        CutReading(
            root_px=PX_PER_MM * (spec.root_of(label) + GROWTH_MM),
            sigma_px=0.03 * PX_PER_MM,
            position_px=PX_PER_MM * position,
            position_sigma_px=0.05 * PX_PER_MM,
        )
        for position, label in zip(spec.cut_positions_mm, code, strict=True)
    )
    readings = Readings(
        cuts=cuts,
        references=(
            SizeReference("dpi", "both", seen_px=PX_PER_MM, seen_sigma_px=0.01, true_mm=1.0, weak=True),
            SizeReference(
                "length", "both", seen_px=PX_PER_MM * 100, seen_sigma_px=1.0, true_mm=100.0, true_sigma_mm=0.1
            ),
        ),
        growth_mm=Measured(GROWTH_MM, 0.03),
        anisotropy_sigma=0.001,
        medium="scan",
    )
    straight = Straight(to_picture=np.eye(3), size=SIZE)
    blade = Blade(60.0, 400.0, 200.0, 0.0, 0.3, 100.0, np.empty((0, 2)))
    return PictureReading(straight, blade, readings, shown, (), ())


def quick_age() -> Any:
    """The age library with passphrases that cost no second: each stands for a key pair that this process made for it.

    What is written is the real age format; only the slowness, which is meant, is left out.
    """
    keys: dict[str, Any] = {}

    def encrypt(content: bytes, passphrase: str) -> bytes:
        identity = keys.setdefault(passphrase, pyrage.x25519.Identity.generate())
        return bytes(pyrage.encrypt(content, [identity.to_public()]))

    def decrypt(sealed: bytes, passphrase: str) -> bytes:
        identity = keys.setdefault(passphrase, pyrage.x25519.Identity.generate())
        return bytes(pyrage.decrypt(sealed, [identity]))

    return SimpleNamespace(
        passphrase=SimpleNamespace(encrypt=encrypt, decrypt=decrypt),
        x25519=pyrage.x25519,
        encrypt=pyrage.encrypt,
        decrypt=pyrage.decrypt,
        DecryptError=pyrage.DecryptError,
    )


class Reader:
    """Stands in for ``read_picture`` and counts; pictures whose shade is in ``blank`` show no key."""

    def __init__(self, blank: frozenset[int] = frozenset()) -> None:
        self.blank = blank
        self.calls = 0

    def __call__(
        self,
        picture: Picture,
        spec: KeySpec,
        marks: Marks | None = None,
        *,
        progress: Callable[[float, str], None] | None = None,
        cancelled: Callable[[], bool] | None = None,
        **_other: Any,
    ) -> PictureReading:
        self.calls += 1
        if progress is not None:
            progress(0.5, "looking for the key")
        if int(picture.rgb.flat[0]) in self.blank:
            raise Refusal(f"{picture.name}: no key was found; mark its shoulder, back and roots.", code="read.no-key")
        return made_reading(spec, marks)
