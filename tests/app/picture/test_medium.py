"""What a picture is follows from light and toner in it."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from scipy.ndimage import distance_transform_edt, gaussian_filter

from app.picture import medium
from app.picture.medium import medium_of
from app.picture.values import Picture
from tests.app.picture.photo_scene import aim, draw

SIZE = (800, 600)


def _key_mask(rows: int = 400, columns: int = 700) -> np.ndarray:
    """A plain key: round bow, blade with four cuts."""
    y, x = np.mgrid[:rows, :columns]
    bow = np.hypot(x - 150, y - 200) < 95
    cuts = sum((np.abs(x - c) < 18 + (185 - y)) & (y < 190) for c in (330, 400, 470, 540)) > 0
    return bow | ((x > 200) & (x < 620) & (y > 165) & (y < 240) & ~cuts)


def _picture(grey: np.ndarray) -> Picture:
    return Picture(name="x", rgb=np.clip(grey, 0, 255).astype(np.uint8), dpi=None, sha256="")


def _scan(rng: np.random.Generator, level: float = 160, reach: float = 10) -> np.ndarray:
    """Metal on a scanner's glass: middling grey, and a shadow that falls away beside it."""
    key = _key_mask()
    away = distance_transform_edt(~np.roll(key, 8, axis=0))
    paper = 247 - 120 * np.exp(-away / reach)
    return gaussian_filter(np.where(key, level + 10 * rng.normal(size=key.shape), paper), 0.8) + rng.normal(
        0, 1.5, key.shape
    )


def _copy(rng: np.random.Generator, level: float) -> np.ndarray:
    """Toner on paper: mottled, with print around it, and nothing between paper and toner."""
    key = _key_mask()
    page = np.where(key, level + 25 * rng.normal(size=key.shape), 246.0)
    for row in (40, 60, 320, 345):
        for column in range(60, 640, 9):
            page[row : row + 12, column : column + 3] = 60
    return gaussian_filter(page, 0.8) + rng.normal(0, 2, key.shape)


def test_a_narrow_shadow_is_enough_beside_a_light_key() -> None:
    """Toner is dark: beside a dark thing such a shade may be the toner's own, beside bright metal it is light."""
    rng = np.random.default_rng(3)

    assert medium_of(_picture(_scan(rng, level=180, reach=3.3))).medium == "scan"
    assert medium_of(_picture(_scan(rng, level=60, reach=3.3))).medium == "photocopy"


@pytest.mark.parametrize("seed", range(3))
def test_a_soft_shadow_makes_a_scan_and_toner_a_copy(seed: int) -> None:
    """A scan, a grey copy and a black one; print near the key does not pass for shadow."""
    rng = np.random.default_rng(seed)
    assert medium_of(_picture(_scan(rng))).medium == "scan"
    assert medium_of(_picture(_copy(rng, 110))).medium == "photocopy"
    assert medium_of(_picture(_copy(rng, 20))).medium == "photocopy"


def test_black_and_white_only_is_a_copy() -> None:
    """One bit a pixel leaves no doubt."""
    guess = medium_of(_picture(np.where(_key_mask(), 0, 255)))
    assert guess.medium == "photocopy" and guess.confidence > 0.95


def test_a_card_makes_a_photo_and_is_handed_on() -> None:
    """The card found on the way comes with the answer."""
    guess = medium_of(draw(aim(12, 30, 0, 170, 770, SIZE)))
    assert guess.medium == "photo-card" and guess.view is not None and guess.view.kind == "id1-card"


def test_a_page_in_perspective_makes_a_photo_of_a_copy() -> None:
    """A tilted page on a dark table; the page is handed on."""
    page = {"size_mm": (297.0, 210.0), "radius_mm": 0.02, "z": 0.0, "light": (0.75, 0.74, 0.7)}
    guess = medium_of(draw(aim(9, 60, 88, 480, 740, SIZE), ground=(0.15, 0.12, 0.1), **page))
    assert guess.medium == "photo-copy" and guess.view is not None and guess.view.kind == "page-a4"


def test_a_flat_page_at_the_claimed_scale_came_from_a_scanner() -> None:
    """The same flat page: a photo without a claim or with a wrong one, a scanned copy where the claim fits."""
    page = {"size_mm": (297.0, 210.0), "radius_mm": 0.02, "z": 0.0, "light": (0.75, 0.74, 0.7)}
    drawn = draw(aim(0, 0, 90, 450, 740, SIZE), ground=(0.15, 0.12, 0.1), **page)
    true_dpi = 740 / 450 * 25.4
    assert medium_of(drawn).medium == "photo-copy"
    assert medium_of(replace(drawn, dpi=(72.0, 72.0))).medium == "photo-copy"
    assert medium_of(replace(drawn, dpi=(true_dpi, true_dpi))).medium == "photocopy"


def test_uneven_light_gives_a_photo_away_without_card_or_page() -> None:
    """Light that falls off across the ground: a photo, said with doubt."""
    rng = np.random.default_rng(5)
    fall = np.linspace(1.0, 0.6, 700)
    copy, key = (medium_of(_picture(kind * fall)) for kind in (_copy(rng, 60), _scan(rng)))
    assert copy.medium == "photo-copy" and key.medium == "photo-card"
    assert max(copy.confidence, key.confidence) < 0.8


def test_a_blank_picture_is_a_guess_that_says_so() -> None:
    """Nothing to go by: lowest confidence, and the reason."""
    guess = medium_of(_picture(np.full((300, 400), 250.0)))
    assert guess.confidence <= 0.5 and "nothing" in guess.because


def test_a_picture_that_is_held_is_looked_at_once(monkeypatch: pytest.MonkeyPatch) -> None:
    """Pixels that cannot change are remembered while they are held, no longer; others are looked at anew."""
    looks = []
    monkeypatch.setattr("app.picture.medium._is_bilevel", lambda rgb: not looks.append(rgb.shape))
    pixels = np.full((60, 80), 255, np.uint8)
    for _ in range(2):
        medium_of(Picture("a.png", pixels, None, "0" * 64))
    assert len(looks) == 2
    fixed = pixels.copy()
    fixed.flags.writeable = False
    before = len(medium._lately)
    for name in ("a.png", "b.png"):
        medium_of(Picture(name, fixed, None, "0" * 64))
    assert len(looks) == 3 and len(medium._lately) == before + 1
    medium_of(Picture("a.png", fixed, (300.0, 300.0), "0" * 64))
    assert len(looks) == 4, "another claim of dpi is another picture"
    del fixed
    assert len(medium._lately) == before
