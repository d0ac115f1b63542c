"""A card or a page in a photo gives true millimetres at the key, and says how well."""

from __future__ import annotations

import numpy as np
import pytest

from app.picture.card import find_card
from app.picture.page import find_page
from app.picture.perspective import A4_PAGE, ID1_CARD, PlaneView, fit_view, from_corners
from app.picture.values import Picture
from keycore.refusal import Refusal
from tests.app.picture.photo_scene import Camera, aim, corners, draw

SIZE = (800, 600)
KEY = np.array([[55.0, -30.0], [82.0, -24.0]])
"""Two places on a key that lies beside the card, mm."""


def _ring_error(found: np.ndarray, true: np.ndarray) -> float:
    """Largest distance between corners, over every way to start and run round the ring."""
    rings = [np.roll(found[::way], k, axis=0) for way in (1, -1) for k in range(4)]
    return min(float(np.hypot(*(ring - true).T).max()) for ring in rings)


def _length_error(view: PlaneView, camera: Camera, z: float) -> tuple[float, float]:
    """ln(found / true) of the length between the two places on the key, and its claimed uncertainty."""
    seen = camera.seen(np.concatenate([KEY, np.full((2, 1), z)], axis=1))
    length, sigma = view.length_mm(seen[0], seen[1], z)
    return float(np.log(length / np.hypot(*(KEY[1] - KEY[0])))), sigma


def test_a_card_is_found_and_fitted_to_a_fraction_of_a_pixel() -> None:
    """Corners of the unrounded card within 0.15 px; the focal length and the tilt come out of it."""
    camera = aim(16, 40, 20, 170, 770, SIZE)
    view = find_card(draw(camera, angle_deg=12))
    assert view is not None and view.kind == "id1-card"
    assert _ring_error(view.corners_xy, camera.seen(corners((0, 0), 12, ID1_CARD.size_mm, 0.76))) < 0.15
    assert view.tilt_deg == pytest.approx(16, abs=0.4)
    assert view.focal_px == pytest.approx(770, rel=0.02)
    assert view.camera_above()[2] == pytest.approx(170 * np.cos(np.deg2rad(16)), rel=0.02)


@pytest.mark.parametrize(
    "light",
    [(0.75, 0.75, 0.74), (0.03, 0.03, 0.035), (0.35, 0.04, 0.05), (0.5, 0.5, 0.48)],
    ids=["white", "black", "red", "hardly darker than the paper"],
)
def test_a_card_of_any_colour_is_found(light: tuple[float, float, float]) -> None:
    """White, black, coloured, and nearly the paper's own grey."""
    camera = aim(12, -70, -35, 180, 770, SIZE)
    view = find_card(draw(camera, angle_deg=-30, light=light))
    assert view is not None
    assert _ring_error(view.corners_xy, camera.seen(corners((0, 0), -30, ID1_CARD.size_mm, 0.76))) < 0.5


def test_lengths_on_the_key_are_true_and_the_claimed_uncertainty_covers() -> None:
    """Over eight scenes with lens bend, tilt and shadow: errors within three claims, and no claim far too wide."""
    pulls, errors = [], []
    for seed in range(8):
        rng = np.random.default_rng(100 + seed)
        camera = aim(
            rng.uniform(2, 22), rng.uniform(0, 360), rng.uniform(-30, 30), rng.uniform(190, 230), 770, SIZE,
            rng.normal(0, 0.01),
        )  # fmt: skip
        picture = draw(
            camera, at=(-10, 12), angle_deg=rng.uniform(0, 180), light=tuple(rng.uniform(0.03, 0.4, 3)),
            shadow=rng.uniform(0, 0.6), seed=seed,
        )  # fmt: skip
        view = find_card(picture)
        assert view is not None
        error, sigma = _length_error(view, camera, 2.0)
        errors.append(error)
        pulls.append(error / sigma)
    assert np.abs(errors).max() < 0.006
    assert np.abs(pulls).max() < 3
    assert np.sqrt(np.mean(np.square(pulls))) > 0.1


def test_height_above_the_paper_matters_and_is_corrected() -> None:
    """Taking a rim 2 mm up for one on the paper is wrong by more than a percent here; with its height it is right."""
    camera = aim(14, 80, 0, 170, 770, SIZE)
    view = find_card(draw(camera, at=(-10, 8)))
    assert view is not None
    seen = camera.seen(np.concatenate([KEY, np.full((2, 1), 2.0)], axis=1))
    true = float(np.hypot(*(KEY[1] - KEY[0])))
    assert view.length_mm(seen[0], seen[1], 2.0)[0] == pytest.approx(true, rel=0.002)
    assert view.length_mm(seen[0], seen[1], 0.0)[0] > 1.008 * true
    doubtful = view.length_mm(seen[0], seen[1], 2.0, z_sigma_mm=0.5)[1]
    assert doubtful > view.length_mm(seen[0], seen[1], 2.0)[1] + 0.001


def test_lens_bend_is_seen_in_the_straight_sides() -> None:
    """k1 within three of its own uncertainties, significant when it is large."""
    for k in (-0.06, 0.05):
        camera = aim(10, 30, 5, 130, 700, SIZE, k)
        view = find_card(draw(camera))
        assert view is not None
        value, sigma = view.lens_bend
        half_diagonal_slope = np.hypot(*SIZE) / 2 / 700
        assert abs(value) > 3 * sigma
        assert value == pytest.approx(-k * half_diagonal_slope**2, abs=max(3 * sigma, 0.003))


def test_a_homography_around_the_key_follows_the_bent_picture() -> None:
    """The plain matrix handed on to the reader stays within 0.06 px of the full camera over a key."""
    camera = aim(12, 10, 5, 140, 700, SIZE, 0.02)
    view = find_card(draw(camera))
    assert view is not None
    places = np.array([[x, y] for x in np.linspace(35, 60, 6) for y in np.linspace(20, 32, 4)])
    seen = view.to_picture(places, 2.0)
    matrix = view.homography(2.0, around=seen)
    mapped = np.c_[places, np.ones(len(places))] @ matrix.T
    assert np.abs(mapped[:, :2] / mapped[:, 2:] - seen).max() < 0.06
    assert np.abs(view.to_plane(seen, 2.0) - places).max() < 1e-6


def test_focal_length_stays_doubtful_when_nothing_is_tilted() -> None:
    """A picture taken straight down cannot tell the focal length; the doubt reaches the rim's scale."""
    straight = find_card(draw(aim(0.2, 30, 0, 170, 770, SIZE)))
    tilted = find_card(draw(aim(18, 30, 0, 170, 770, SIZE)))
    assert straight is not None and tilted is not None
    place = np.array([400.0, 300.0])
    assert straight.covariance[6, 6] > 4 * tilted.covariance[6, 6]
    assert straight.sigma_rel_at(place, 2.0) > 1.5 * tilted.sigma_rel_at(place, 2.0)


def test_doubt_grows_away_from_the_card() -> None:
    """A key beside the card is extrapolated to, and the claim says so."""
    view = find_card(draw(aim(12, 30, 0, 260, 770, SIZE)))
    assert view is not None
    near = view.sigma_rel_at(view.to_picture(np.array([0.0, 0.0])), 0.76)
    far = view.sigma_rel_at(view.to_picture(np.array([110.0, 70.0])), 0.76)
    assert far > 1.3 * near


def test_a_square_cornered_sheet_of_card_size_is_no_card() -> None:
    """The round corners are what tells a card: the same rectangle with sharp corners is refused."""
    camera = aim(10, 30, 0, 170, 770, SIZE)
    assert find_card(draw(camera)) is not None
    assert find_card(draw(camera, radius_mm=0.02, z=0.1)) is None


def test_nothing_is_found_where_nothing_is() -> None:
    """Blank paper and noise hold neither card nor page, in colour and in grey."""
    rng = np.random.default_rng(4)
    for shape in ((300, 400, 3), (300, 400)):
        for spread in (0, 40):
            pixels = np.clip(rng.normal(128, spread, shape), 0, 255).astype(np.uint8)
            picture = Picture(name="x", rgb=pixels, dpi=None, sha256="")
            assert find_card(picture) is None and find_page(picture) is None


@pytest.mark.parametrize(("kind", "size_mm"), [("page-a4", (297.0, 210.0)), ("page-letter", (279.4, 215.9))])
def test_a_page_is_found_and_its_format_told(kind: str, size_mm: tuple[float, float]) -> None:
    """A4 and Letter, upright in the picture, corners within 0.2 px."""
    camera = aim(9, 60, 88, 480, 740, SIZE)
    picture = draw(camera, size_mm=size_mm, radius_mm=0.02, z=0.0, light=(0.75, 0.74, 0.7), ground=(0.15, 0.12, 0.1))
    view = find_page(picture)
    assert view is not None and view.kind == kind
    assert _ring_error(view.corners_xy, camera.seen(corners((0, 0), 0, size_mm, 0.0))) < 0.2


def test_hand_marks_work_from_any_corner_either_way_and_refining_helps() -> None:
    """Marks 3 px off give one answer however they are ordered; the sides of the card pull them in."""
    camera = aim(14, 40, 10, 180, 770, SIZE)
    picture = draw(camera, at=(-10, 8), angle_deg=70)
    true = camera.seen(corners((-10, 8), 70, ID1_CARD.size_mm, 0.76))
    rough = true + np.random.default_rng(2).normal(0, 3, (4, 2))
    answers = []
    for way in (1, -1):
        for start in range(4):
            ring = np.roll(rough[::way], start, axis=0)
            by_hand = from_corners("id1-card", ring, picture.size)
            refined = from_corners("id1-card", ring, picture.size, picture=picture, refine=True)
            assert _ring_error(refined.corners_xy, true) < 0.2
            answers.append(refined.length_mm(true[0], true[1], 0.76)[0])
            at_key = camera.seen([60.0, -25.0, 2.0])
            assert by_hand.sigma_rel_at(at_key, 2.0) > 3 * refined.sigma_rel_at(at_key, 2.0)
    assert np.ptp(answers) < 1e-3


def test_a_claim_made_from_hand_marks_covers() -> None:
    """Corners with 2 px of scatter: over thirty hands the scale's errors fit the claim."""
    camera = aim(14, 40, 10, 180, 770, SIZE)
    true = camera.seen(corners((-10, 8), 0, ID1_CARD.size_mm, 0.76))
    rng = np.random.default_rng(6)
    pulls = []
    for _ in range(30):
        view = from_corners("id1-card", true + rng.normal(0, 2, (4, 2)), SIZE, sigma_px=2)
        error, sigma = _length_error(view, camera, 0.76)
        pulls.append(error / sigma)
    assert 0.6 < np.sqrt(np.mean(np.square(pulls))) < 1.4


def test_a_rectangle_of_ones_own_is_taken_with_its_size() -> None:
    """A 120 x 70 mm box: the first side is the one whose length comes first, even when it is the shorter."""
    camera = aim(15, 20, 0, 200, 770, SIZE)
    ring = camera.seen(corners((0, 0), 0, (70.0, 120.0), 0.0))
    view = from_corners("rectangle", ring, SIZE, size_mm=(70.0, 120.0), sigma_px=0.3)
    assert view.length_mm(ring[0], ring[1])[0] == pytest.approx(70, rel=0.004)
    assert view.length_mm(ring[1], ring[2])[0] == pytest.approx(120, rel=0.004)
    mark = view.mark()
    assert (mark.kind, mark.length_mm, mark.height_mm) == ("rectangle", 70.0, 120.0)


@pytest.mark.parametrize(
    ("ring", "words"),
    [
        ([[0, 0], [100, 0], [100, 100]], "exactly four"),
        ([[0, 0], [100, 100], [100, 0], [0, 100]], "one after the other"),
        ([[0, 0], [100, 0], [100, 100], [80, 20]], "one after the other"),
        ([[0, 0], [1, 0], [1, 1], [0, 1]], "one after the other"),
        ([[0, 0], [100, 0], [100, float("nan")], [0, 100]], "exactly four"),
    ],
)
def test_corners_that_make_no_card_are_refused(ring: list, words: str) -> None:
    """Too few, crossing, dented, tiny, or not numbers: one sentence each."""
    with pytest.raises(Refusal, match=words):
        from_corners("id1-card", ring, SIZE)


def test_a_rectangle_without_size_is_refused() -> None:
    """A plain rectangle needs both its sides."""
    with pytest.raises(Refusal, match="both its sides"):
        from_corners("rectangle", [[0, 0], [100, 0], [100, 100], [0, 100]], SIZE)


def test_exact_corners_give_back_the_camera() -> None:
    """Four corners without error: the plane is the camera's own plane at every height."""
    camera = aim(20, 130, 15, 300, 770, SIZE)
    ring = camera.seen(corners((0, 0), 0, A4_PAGE.size_mm[::-1], 0.0))
    view = from_corners("page-a4", ring, SIZE, sigma_px=0.01)
    for z in (0.0, 2.0):
        one, other = camera.seen([[10.0, -20.0, z], [40.0, 15.0, z]])
        assert view.length_mm(one, other, z)[0] == pytest.approx(np.hypot(30, 35), rel=0.002)


def test_a_side_that_cannot_be_seen_keeps_the_hands_mark() -> None:
    """Where the card hangs over the edge of what can be seen, three sides and the hand's corners still fit."""
    camera = aim(14, 40, 10, 180, 770, SIZE)
    picture = draw(camera)
    true = camera.seen(corners((0, 0), 0, ID1_CARD.size_mm, 0.76))
    pixels = np.array(picture.rgb)
    reach = np.hypot(*(np.stack(np.meshgrid(np.arange(SIZE[0]), np.arange(SIZE[1])), -1) - true[:2].mean(axis=0)).T).T
    pixels[reach < 1.2 * np.hypot(*(true[1] - true[0])) / 2] = 90
    covered = Picture(name="x", rgb=pixels, dpi=None, sha256="")
    view = from_corners("id1-card", true + 1.0, SIZE, picture=covered, refine=True)
    assert _ring_error(view.corners_xy, true) < 3.0
    assert sum(side.share > 0.3 for side in view.sides) == 3


def test_views_are_values() -> None:
    """The corners of a view give the same view again, and its mark is marks/1."""
    camera = aim(14, 40, 10, 180, 770, SIZE)
    view = find_card(draw(camera))
    assert view is not None
    mark = view.mark()
    assert mark.kind == "id1-card" and len(mark.corners) == 4
    again = fit_view(ID1_CARD, SIZE, np.array(mark.corners), sides=view.sides, corner_sigma_px=None)
    assert np.abs(again.corners_xy - view.corners_xy).max() < 0.02


@pytest.mark.parametrize(("away_mm", "useful"), [(220, True), (330, False)])
def test_a_card_so_small_that_no_cut_could_be_measured_is_no_reference(away_mm: float, useful: bool) -> None:
    """Below 2.5 px/mm such a figure is taken for a part of something else: a key's shank once passed for a card."""
    assert (find_card(draw(aim(10, 30, 0, away_mm, 770, SIZE))) is not None) is useful
