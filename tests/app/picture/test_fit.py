"""The table's lines found in a picture: evidence, alignment, the back's line, the ends."""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import partial

import numpy as np
import pytest

from app.picture.alignment import Guess, alignments
from app.picture.cuts import cut_curve, uneven
from app.picture.edgemaps import EdgeMaps, edge_maps, log_ratio, take_off_rows
from app.picture.ends import MOST_OF_ENDS, BladeEnds, find_shoulder
from app.picture.fit import (
    MOST_SETTLED,
    NEARLY,
    SAME_FIT_MM,
    SAME_MM,
    WORSE,
    RoughFit,
    fit_blade,
    likeliest,
    look_roughly,
    nearly_best,
    settled,
)
from app.picture.frame import Frame
from app.picture.lie import HeightCurve, LineGuess
from app.picture.sample import Patch
from app.picture.shape import EdgeShape, edge_shape
from keycore.spec import KeySpec, load_spec

PX = 16.0
ORIGIN = (160.0, 260.0)
FRAME = Frame.from_axes(np.array(ORIGIN), np.array([1.0, 0.0]), np.array([0.0, -1.0]), PX)


@dataclass(frozen=True)
class Drawn:
    """A blade drawn on paper, and what it was drawn from."""

    patch: Patch
    roots_mm: np.ndarray


def _blade(
    spec: KeySpec,
    code: tuple[int, ...],
    *,
    metal: float = 120.0,
    paper: float = 200.0,
    noise: float = 4.0,
    slope: float = 0.0,
    grooves: bool = False,
    wall_mm: float = 0.0,
) -> Drawn:
    """Area-sampled picture of a single-edged blade with its shoulder at the frame's origin, and a dark wall above."""
    shape = edge_shape(spec)
    roots = shape.roots_mm[list(code)]
    over = 4
    columns, rows = np.meshgrid((np.arange(700 * over) + 0.5) / over - 0.5, (np.arange(330 * over) + 0.5) / over - 0.5)
    x, y = (columns - ORIGIN[0]) / PX, (ORIGIN[1] - rows) / PX
    y = y - slope * (x - 12.0)
    assert spec.blade.length_mm is not None
    edge = shape.profile(x[0], shape.positions_mm, roots, shape.top_mm)

    def key(y: np.ndarray) -> np.ndarray:
        blade = (y > 0) & (y < edge[None, :]) & (x > 0) & (x < spec.blade.length_mm)
        return blade | (x <= 0) & (x > -8) & (np.abs(y - shape.top_mm / 2) < shape.top_mm / 2 + 2.5)

    walled = np.where(key(y) | key(y - wall_mm), WALL, paper)
    grey = np.where(key(y), metal, walled).reshape(330, over, 700, over).mean(axis=(1, 3))
    if grooves:
        for height in (2.0, 5.6, 6.4):
            row = round(ORIGIN[1] - height * PX)
            grey[row : row + 2, 165:600] -= 30.0
    grey += np.random.default_rng(4).normal(0.0, noise, grey.shape)
    return Drawn(Patch(grey.astype(np.float32), 0, 0), roots)


def _maps(drawn: Drawn, shape: EdgeShape, *, signed: bool = False) -> EdgeMaps:
    return edge_maps(
        drawn.patch, FRAME, shape, side=1, step_mm=0.05, beyond_mm=3.0, above_mm=1.5, below_mm=1.0, signed=signed
    )


CODE = (0, 3, 1, 4, 2)
WALL = 70.0
"""Grey level of a side wall in the dark."""


@pytest.mark.parametrize("grooves", [False, True])
def test_a_faint_noisy_floor_is_found_where_no_single_run_shows_it(spec: KeySpec, grooves: bool) -> None:
    """A step of twice the noise, in three pixels' blur: every floor's best height is its true one, grooves or not."""
    drawn = _blade(spec, CODE, metal=120.0, paper=132.0, noise=6.0, grooves=grooves)
    shape = edge_shape(spec)
    maps = _maps(drawn, shape)

    found = [cut_curve(maps, at)[0] for at in shape.positions_mm]

    best = np.array([curve.height_mm[curve.log_p.argmax()] for curve in found])
    assert np.abs(best - drawn.roots_mm).max() < 0.1


def _peak(height: float) -> np.ndarray:
    return height * np.exp(-0.5 * ((np.arange(-2, 2, 0.04) - 0.02) / 0.06) ** 2)


def _most(height: float, *, signed: bool) -> float:
    ratio = log_ratio(_peak(height), signed=signed, step_mm=0.04)
    return float(ratio[np.argmax(np.abs(_peak(height)))])


def test_on_a_copy_a_step_to_darker_is_no_edge() -> None:
    """The sign counts only where it is known."""
    assert _most(6.0, signed=True) > 5
    assert _most(-6.0, signed=True) < -2
    assert _most(-6.0, signed=False) == _most(6.0, signed=False)


def test_no_single_line_decides_more_than_a_clear_edge_does_and_a_clear_edge_stays_sharp() -> None:
    """The ratio saturates upwards, downwards at the share of floors that show nothing; the peak keeps its width."""
    clear, black = _most(80.0, signed=False), _most(8000.0, signed=False)
    flank = log_ratio(_peak(8000.0), signed=False, step_mm=0.04)[np.argmax(_peak(8000.0)) + 2]

    assert _most(0.0, signed=False) > np.log(0.02)
    assert black - clear < 0.5 < clear - _most(8.0, signed=False)
    assert flank < black - 5


def test_the_cuts_are_found_one_spacing_off_where_the_frame_is(spec: KeySpec) -> None:
    """A frame that is a whole millimetre off along the blade and 2 % too small still finds every cut."""
    shape = edge_shape(spec)
    drawn = _blade(spec, CODE)
    wrong = Frame.from_axes(np.array(ORIGIN) + [PX, 0.0], np.array([1.0, 0.0]), np.array([0.0, -1.0]), PX / 1.02)
    maps = edge_maps(
        drawn.patch, wrong, shape, side=1, step_mm=0.05, beyond_mm=5.0, above_mm=1.5, below_mm=1.0, signed=False
    )

    best, *_ = alignments((maps,), shape, Guess(1.1, 0.03), 4)

    assert best.scale == pytest.approx(1.02, abs=0.003)
    assert best.offset_mm == pytest.approx(-1.02, abs=0.06)


def test_the_back_is_found_with_its_tilt(spec: KeySpec) -> None:
    """A frame half a millimetre off and turned by half a degree is laid on the back to a few hundredths."""
    drawn = _blade(spec, CODE, slope=0.008)
    off = FRAME.moved(y_mm=0.4)

    rough = look_roughly(drawn.patch, off, spec, Guess(0.6, 0.018), LineGuess(0.4, 0.02, 0.01), paper_lighter=False)
    fitted, *_ = fit_blade(rough[0], spec, paper_lighter=False)

    middle, end = fitted.frame.picture_xy(np.array([[12.0, 0.0], [22.0, 0.0]]))
    up = (ORIGIN[1] - np.array([middle[1], end[1]])) / PX
    assert up == pytest.approx([0.0, 0.08], abs=0.03)
    heights = np.array([cut.mode_mm for cut in fitted.edges[0].cuts])
    assert np.abs(heights - drawn.roots_mm).max() < 0.05
    assert 0.0 < fitted.axis_sigma_mm < 0.05


def test_a_blade_is_fitted_where_the_dark_begins_not_where_it_ends(spec: KeySpec) -> None:
    """Beside pale metal the far side of a dark wall is the stronger edge; floors and uncut edge lie at the near one."""
    drawn = _blade(spec, CODE, metal=150.0, wall_mm=0.35)
    rough = RoughFit(drawn.patch, FRAME, 0.0, lambda: BladeEnds(None, None, 0.0))

    fitted, *_ = fit_blade(rough, spec, paper_lighter=False)

    on_metal = np.array([cut.mode_mm for cut in fitted.edges[0].cuts])
    assert np.abs(on_metal - drawn.roots_mm).max() < 0.08
    assert fitted.edges[0].top_mm == pytest.approx(edge_shape(spec).top_mm, abs=0.06)


def test_the_uncut_edge_is_measured_where_the_roots_say_that_it_is(spec: KeySpec) -> None:
    """A shadow hides the back: roots and height stand 0.35 mm too high; a bevel lies where the height should."""
    drawn = _blade(spec, CODE)
    top, low = edge_shape(spec).top_mm, 0.35
    grey = drawn.patch.grey.copy()
    under = slice(round(ORIGIN[1] + 0.5), round(ORIGIN[1] + low * PX + 0.5))
    grey[under, round(ORIGIN[0]) : 560] = grey[200:210, 200:210].mean()
    bevel = grey[round(ORIGIN[1] - (top - low + 0.05) * PX)]
    bevel[bevel < 160.0] -= 10.0
    rough = RoughFit(Patch(grey, 0, 0), FRAME.moved(y_mm=-low), 0.0, lambda: BladeEnds(None, None, 0.0))

    edge = fit_blade(rough, spec, paper_lighter=False)[0].edges[0]

    assert np.array([cut.mode_mm for cut in edge.cuts]) == pytest.approx(drawn.roots_mm + low, abs=0.08)
    assert edge.top_mm == pytest.approx(top + low, abs=0.08)


def test_two_lines_that_may_both_be_the_back_are_both_handed_on(spec: KeySpec) -> None:
    """A shadow 0.35 mm wide beside the back, half as dark as the metal: with more growth all agrees with its border."""
    drawn = _blade(spec, CODE)
    grey = drawn.patch.grey.copy()
    strip = slice(round(ORIGIN[1] + 0.5), round(ORIGIN[1] + 0.35 * PX + 0.5))
    grey[strip, round(ORIGIN[0]) : 560] -= 40.0
    rough = RoughFit(Patch(grey, 0, 0), FRAME, 0.0, lambda: BladeEnds(None, None, 0.0))

    ways = fit_blade(rough, spec, paper_lighter=False)

    assert fit_blade(rough, spec, paper_lighter=False, best=ways[0].score + NEARLY + 1.0) == ()
    backs_mm = sorted(float((ORIGIN[1] - way.line_xy[:, 1].mean()) / PX) for way in ways)
    assert backs_mm == pytest.approx([-0.35, 0.0], abs=0.06)
    assert len(fit_blade(RoughFit(drawn.patch, FRAME, 0.0, rough.look_at_ends), spec, paper_lighter=False)) == 1


def test_of_fits_that_are_one_the_better_is_kept_and_of_others_the_nearly_best(spec: KeySpec) -> None:
    """One beside the best by half of what makes two, one by far, one much worse, one whose floors are hidden."""
    drawn = _blade(spec, CODE)
    rough = RoughFit(drawn.patch, FRAME, 0.0, lambda: BladeEnds(None, None, 0.0))
    (best,) = fit_blade(rough, spec, paper_lighter=False)
    beside, far = (best.frame.moved(y_mm=off) for off in (SAME_FIT_MM / 2, 3 * SAME_FIT_MM))
    one = replace(best, frame=beside, score=best.score - 1)
    other = replace(best, frame=far, score=best.score - 2)
    worse = replace(other, frame=best.frame.moved(y_mm=1.0), score=best.score - NEARLY - 1)
    hidden = replace(best, edges=(replace(best.edges[0], hidden=True),), score=best.score - 3)

    assert nearly_best([worse, hidden, one, other, best]) == (best, other, hidden)


def test_a_frame_wide_of_the_blade_is_led_to_it_in_steps(spec: KeySpec) -> None:
    """1.4 mm across, 0.4 mm along, 4 % too large: each look reaches a part of that only, and the score keeps rising."""
    drawn = _blade(spec, CODE)
    wide = FRAME.moved(x_mm=0.4, y_mm=1.4).scaled(1.04)
    rough = RoughFit(drawn.patch, wide, -1e9, lambda: BladeEnds(None, None, 0.0))

    found = settled(rough, spec, paper_lighter=False)

    corners = np.array([[0.0, 0.0], [20.0, 0.0], [10.0, 8.0]])
    assert np.abs(found.frame.picture_xy(corners) - FRAME.picture_xy(corners)).max() < 0.25 * PX
    again = settled(found, spec, paper_lighter=False)
    assert again.score == pytest.approx(found.score, rel=0.05)


def test_the_shoulder_is_found_and_an_empty_place_has_none(spec: KeySpec) -> None:
    """A step straight across beside the blade, and nothing where there is none."""
    drawn = _blade(spec, CODE)
    top = edge_shape(spec).top_mm

    found = find_shoulder(drawn.patch, FRAME, expected_mm=0.2, bands_mm=((top + 0.4, top + 1.3),), signed=True)
    nothing = find_shoulder(drawn.patch, FRAME, expected_mm=12.0, bands_mm=((top + 0.4, top + 1.3),), signed=True)

    assert found.at_mm is not None
    assert found.at_mm.value == pytest.approx(0.0, abs=0.06)
    assert found.score > 3.0 > 0.5 > nothing.score
    assert nothing.at_mm is None


def test_an_uneven_edge_widens_a_likelihood_and_keeps_its_place() -> None:
    """By its own scale, and not only the peak: another edge, weakened, stays where it is."""
    height = np.linspace(0, 4, 401)
    near, far = -0.5 * ((height - 0.8) / 0.01) ** 2, -10.0 - 0.5 * ((height - 2.8) / 0.01) ** 2
    curve = HeightCurve(0.0, height, np.maximum(np.logaddexp(near, far), -60.0))

    wide = uneven(curve, 0.5)

    assert wide.most_mm == pytest.approx(0.8, abs=0.006)
    assert 0.04 < np.ptp(height[wide.log_p > wide.log_p.max() - 0.5]) < 0.14
    assert wide.log_p.max() - wide.log_p[280] == pytest.approx(5.0, abs=0.1)


def test_the_likeliest_rough_fits_are_those_of_the_best_whole_scores() -> None:
    """As if both ends of every one had been looked for; those that can decide nothing are left alone."""
    spec = load_spec("harbourside-5")
    rng = np.random.default_rng(6)
    patch = Patch(np.zeros((4, 4), dtype=np.float32), 0, 0)
    looked = 0
    for _ in range(40):
        of_ends = rng.uniform(-3.0, MOST_OF_ENDS, 30)
        asked: list[int] = []

        def look(number: int, asked: list[int] = asked, of_ends: np.ndarray = of_ends) -> BladeEnds:
            asked.append(number)
            return BladeEnds(None, None, float(of_ends[number]))

        rough = [
            RoughFit(patch, FRAME.moved(x_mm=float(x)), float(log_p), partial(look, number))
            for number, (x, log_p) in enumerate(zip(rng.choice(6, 30) * 0.15, rng.uniform(0, 400, 30), strict=True))
        ]
        found = likeliest(rough, spec, MOST_SETTLED)
        looked += len(asked)
        assert len(asked) == len(set(asked))

        wanted: list[RoughFit] = []
        for one in sorted(rough, key=lambda one: -one.score):
            apart = all(
                abs(one.frame.to_picture[0, 2] - other.frame.to_picture[0, 2]) > SAME_MM * PX for other in wanted
            )
            if len(wanted) < MOST_SETTLED and apart and (not wanted or one.score >= wanted[0].score - WORSE):
                wanted.append(one)
        assert found == wanted
    assert looked < 40 * 30 / 2


def test_what_runs_along_rows_leaves_no_edge_where_it_is_not() -> None:
    """A groove that two cuts interrupt: taken off where it is, and nothing is left at its height inside the cuts."""
    rng = np.random.default_rng(5)
    noise = rng.normal(0.0, 1.0, (40, 600)).astype(np.float32)
    groove = np.zeros((40, 600), dtype=np.float32)
    groove[20] = 8.0
    cuts = np.zeros(600, dtype=bool)
    cuts[100:180] = cuts[350:450] = True
    groove[20, cuts] = 0.0
    change = groove + noise

    take_off_rows(change, 30, 20)

    inside = cuts & np.roll(cuts, 20) & np.roll(cuts, -20)
    assert abs(float(change[20, inside].mean())) < 1.5  # the median along the row would have left -8
    assert abs(float(change[20, ~cuts].mean())) < 1.0
    for row in (10, 35):  # where nothing runs, and where all of it is taken off everywhere
        assert change[row] == pytest.approx(noise[row] - np.median(noise[row]), abs=1e-5)


def test_on_a_copy_what_runs_along_rows_is_taken_off_everywhere() -> None:
    """No row is well inside: each loses its median, and a row of one value nothing else."""
    change = np.repeat(np.array([[0.0], [5.0], [-3.0]], dtype=np.float32), 80, axis=1)
    change[1, :20] = 1.0

    take_off_rows(change, 0, 20)

    assert change[1] == pytest.approx(np.where(np.arange(80) < 20, -4.0, 0.0))
    assert not change[[0, 2]].any()


def test_a_groove_s_height_is_no_floor_inside_a_deeper_cut(spec: KeySpec) -> None:
    """A dark groove that two deep cuts interrupt speaks for no floor in their white."""
    shape = edge_shape(spec)
    drawn = _blade(spec, (0, 4, 1, 4, 2), metal=120.0, paper=200.0, noise=1.0)
    middle = (float(shape.roots_mm[4]) + shape.top_mm) / 2
    row = round(ORIGIN[1] - middle * PX)
    grey = drawn.patch.grey.copy()
    grey[row : row + 3, :] -= np.where(grey[row : row + 3, :] < 160.0, 60.0, 0.0)
    maps = _maps(Drawn(Patch(grey, 0, 0), drawn.roots_mm), shape)

    near_groove = np.abs(maps.y_mm - middle) < 0.3
    for number in (1, 3):
        column = int(np.abs(maps.x_mm - shape.positions_mm[number]).argmin())
        assert maps.floor[near_groove, column].max() < 2.0  # a floor of one step's width has 20 and more
        assert abs(maps.y_mm[maps.floor[:, column].argmax()] - drawn.roots_mm[number]) < 0.1


def test_places_are_apart_and_none_is_looked_at_with_much_less_evidence_than_the_best(spec: KeySpec) -> None:
    """Clear cuts leave fewer places along the blade; where hardly anything is seen all that are asked for stay open."""
    shape = edge_shape(spec)
    guess = Guess(offset_sd_mm=3.0, scale_sd=0.03)

    clear, faint = (
        alignments((_maps(_blade(spec, CODE, metal=metal), shape),), shape, guess, 5) for metal in (120.0, 199.5)
    )

    assert clear[0].offset_mm == pytest.approx(0.0, abs=0.1)
    assert len(clear) < len(faint) == 5
    places = sorted(place.offset_mm + place.scale * shape.positions_mm.mean() for place in faint)
    assert np.diff(places).min() > 0.4
