"""Linear interpolation must be exact, since edges are measured to a fiftieth of a pixel.

A ramp is its own published source: at 99.49 it is worth 99.49.  OpenCV before 5 snapped positions to 1/32 px in its
warps and answered 99.50 (reported in opencv/opencv#25937 and #26361); these tests hold the version that we rely on.
"""

from __future__ import annotations

import numpy as np
import pytest

from app.picture.opencv import cv2
from app.picture.sample import grey_patch
from app.picture.values import Picture

RAMP = np.tile(np.arange(200, dtype=np.float32), (40, 1))


@pytest.mark.parametrize("offset", [0.0, 0.01, 0.25, 0.49, 0.5, 0.51, 0.73, 0.99])
def test_a_sampled_ramp_is_worth_its_position(offset: float) -> None:
    """Our own sampler reads a ramp of one grey level a pixel to better than 0.0001 level along both axes."""
    for pixels, at in ((RAMP, lambda t: (t, 20.3)), (RAMP.T, lambda t: (20.3, t))):
        picture = Picture(name="ramp.png", rgb=pixels.astype(np.uint8), dpi=None, sha256="")
        place = np.array([at(99 + offset)])
        assert grey_patch(picture, place, margin_px=3).at(place)[0] == pytest.approx(99 + offset, abs=1e-4)


def test_opencv_interpolates_without_a_grid() -> None:
    """A ramp shifted by 0.51 px reads 99.490 at column 100 by linear warpAffine and remap, not 99.500."""
    shift = np.array([[1, 0, 0.51], [0, 1, 0]], dtype=float)
    warped = cv2.warpAffine(RAMP, shift, (200, 40), flags=cv2.INTER_LINEAR)
    assert warped[20, 100] == pytest.approx(99.490, abs=1e-3)
    place = np.full((1, 1), 99.49, dtype=np.float32)
    remapped = cv2.remap(RAMP, place, np.full((1, 1), 20, dtype=np.float32), cv2.INTER_LINEAR)
    assert remapped[0, 0] == pytest.approx(99.490, abs=1e-3)
