"""Perspective, against the worked example of the scikit-image gallery.

Source: scikit-image gallery, "Using geometric transformations", the section on perspective: the four corners of the
text in ``skimage.data.text()`` and where they lie in the picture.  The matrix below follows from those corners alone
(recomputed with scikit-image's own transform, OpenCV's getPerspectiveTransform and a plain 8 x 8 solve; all equal).
"""

from __future__ import annotations

import numpy as np
import pytest
import skimage.data
import skimage.transform

from app.picture.perspective import fit_homography
from app.picture.sample import grey_patch
from app.picture.values import Picture, Straight

STRAIGHT_XY = np.array([[0, 0], [0, 50], [300, 50], [300, 0]], dtype=float)
PICTURE_XY = np.array([[155, 15], [65, 40], [260, 130], [360, 95]], dtype=float)
TO_PICTURE = np.array(
    [
        [0.467219589, -1.85339652, 155.0],
        [0.209636651, 0.467140600, 15.0],
        [-0.000600315956, -0.000821484992, 1.0],
    ]
)


@pytest.fixture
def straight() -> Straight:
    """The published map as our straightened picture of 300 x 50 px."""
    return Straight(to_picture=TO_PICTURE, size=(300, 50))


def test_four_corners_give_the_published_map() -> None:
    """Our own solution for four corners is the example's matrix, to all its digits."""
    found = fit_homography(STRAIGHT_XY, PICTURE_XY)
    assert found / found[2, 2] == pytest.approx(TO_PICTURE, rel=1e-7)


def test_straight_maps_the_published_corners(straight: Straight) -> None:
    """The four corners and the centre of the text land where the example says, and come back."""
    assert straight.picture_xy(STRAIGHT_XY) == pytest.approx(PICTURE_XY, abs=1e-4)
    assert straight.straight_xy(PICTURE_XY) == pytest.approx(STRAIGHT_XY, abs=1e-3)
    centre = straight.picture_xy(np.array([150.0, 25.0]))
    assert centre == pytest.approx([200.972469, 65.350799], abs=1e-5)


def test_sampling_through_the_map_reads_what_scikit_image_warps(straight: Straight) -> None:
    """Grey values sampled from the picture through our map equal scikit-image's own warp of it (linear)."""
    text = skimage.data.text()
    picture = Picture(name="text.png", rgb=text, dpi=None, sha256="")
    columns, rows = np.meshgrid(np.arange(300.0), np.arange(50.0))
    places = straight.picture_xy(np.stack([columns, rows], axis=-1))
    ours = grey_patch(picture, places.reshape(-1, 2), margin_px=2).at(places)
    theirs = skimage.transform.warp(
        text, skimage.transform.ProjectiveTransform(TO_PICTURE), output_shape=(50, 300), order=1, preserve_range=True
    )
    assert ours.std() > 10, "the stretch holds text, so agreement means something"
    assert np.abs(ours - theirs).max() < 0.05
