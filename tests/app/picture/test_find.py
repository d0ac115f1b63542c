"""Keys are found by more than darkness."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.ndimage import gaussian_filter

from app.picture.find import count_of_keys, find_keys
from app.picture.values import Picture
from keycore.measured import Floats

PAPER, METAL = (214.0, 226.0, 224.0), (226.0, 224.0, 226.0)
"""As light as each other; the metal has no tint."""


def _key(rows: int, columns: int, left: int, top: int) -> np.ndarray:
    """A plain key 520 columns long: round bow, blade, one cut edge."""
    y, x = np.mgrid[:rows, :columns]
    x, y = x - left, y - top
    bow = np.hypot(x - 95, y - 95) < 95
    cuts = sum((np.abs(x - at) < 16 + (90 - y)) & (y < 92) for at in (260, 330, 400, 470)) > 0
    return bow | ((x > 150) & (x < 520) & (y > 60) & (y < 135) & ~cuts)


def _photo(keys: np.ndarray, shadow: Floats) -> Picture:
    """Colour picture of keys on tinted paper, with a share of the light taken away beside them."""
    pixels = np.where(keys[..., None], METAL, np.array(PAPER) * (1.0 - shadow[..., None]))
    pixels = gaussian_filter(pixels, (1.0, 1.0, 0.0)) + np.random.default_rng(2).normal(0, 1.0, pixels.shape)
    return Picture("photo.png", np.clip(np.rint(pixels), 0, 255).astype(np.uint8), None, "0" * 64)


@pytest.mark.parametrize("depth", [0.0, 0.25])
def test_a_key_as_light_as_its_paper_is_found_by_its_hue_without_its_shadow(depth: float) -> None:
    """Tip and back stand where they are, whether a shadow lies beside the key or not."""
    keys = _key(500, 800, left=120, top=160)
    beside = np.roll(keys, 14, axis=0) & ~keys

    (key, *_) = find_keys(_photo(keys, depth * gaussian_filter(beside.astype(float), 2.0)))

    outlines = [key, *key.others]
    tips = [abs(outline.tip_xy[0] - 640.0) for outline in outlines]
    backs = [abs(max(outline.side_a[:, 1].mean(), outline.side_b[:, 1].mean()) - 294.5) for outline in outlines]
    assert min(tips) < 6
    assert min(backs) < 4


def test_where_nothing_is_left_to_look_at_there_is_no_key() -> None:
    """A card that fills the picture, and a page of which only a sliver shows: no key, and no warning of numpy's."""
    picture = _photo(_key(500, 800, left=120, top=160), np.zeros((500, 800)))
    whole = np.array([[-40.0, -40.0], [840.0, -40.0], [840.0, 540.0], [-40.0, 540.0]])

    assert find_keys(picture, ignore=whole) == ()
    assert find_keys(picture, within=np.array([[0.0, 0.0], [3.0, 0.0], [3.0, 3.0], [0.0, 3.0]])) == ()


def test_two_keys_on_a_page_count_as_two() -> None:
    """Each by itself, however it was found."""
    keys = _key(700, 800, left=120, top=60) | _key(700, 800, left=120, top=420)

    found = find_keys(_photo(keys, np.zeros(keys.shape)))

    assert count_of_keys(found) == 2
    assert sorted(round(float(key.box[:, 1].mean()), -2) for key in found[:2]) == [200, 500]
