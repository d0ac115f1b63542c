"""From the evidence around an edge to the reading of each cut: its centre and the likelihood of its height."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from app.picture.alignment import CENTRE_SD_MM
from app.picture.edge import locate_step
from app.picture.edgemaps import EdgeMaps
from app.picture.frame import Frame
from app.picture.lie import HeightCurve
from app.picture.logsum import logsumexp
from app.picture.sample import Patch
from app.picture.shape import EdgeShape
from app.picture.smooth import ends_held
from keycore.measured import Floats

HEIGHT_MM = 0.02
EDGE_SD_MM = 0.04
"""Standard deviation of the local difference between the metal's edge and the edge that is seen, as a fit's whole
likelihood has it: with what the cut's shape leaves out."""
TEMPER = 0.4
"""Power to which a cut's likelihood is taken.

Its three lines share their noise, and what stands beside a root (a groove, a shadow's border, toner) is a line more
often than noise alone would be.  Of 0.4, 0.6 and 1 it gave the truest probabilities on the pictures of two renderers.
"""
ROUGH_SHARE, ROUGH_SD_MM = 0.1, 0.1
"""How often and how far a burr, a chamfer or toner makes that difference larger."""
READ_SD_MM, READ_ROUGH_SHARE = 0.015, 0.02
"""The same two for one cut's tempered likelihood, which is wide already: the power 0.4 alone makes it wider by 1.6.

The decoder adds the maker's tolerance, growth that differs from place to place and bad readings by itself.  Of 0.008,
0.015, 0.025, 0.04 and 0.06 mm the smaller ones foretold the readings of two renderers' pictures better (half a nat a
picture from 0.04 to 0.015, then nothing); the same holds of 0.02 against 0.1.
"""
TOP_PEAK_MM, TOP_EDGE_SD_MM = 0.15, 0.025
"""Half a peak's width, and how far the uncut edge that is seen lies from the metal's: it is long, so unevenness is
averaged out.
"""


@dataclass(frozen=True)
class CutEvidence:
    """One cut on one edge, in frame millimetres.

    Attributes
    ----------
    centre_mm, centre_sigma_mm
        Where the cut's middle lies along the frame.
    height_mm, log_p
        (m,) grid of floor heights and their log-probability.
    """

    centre_mm: float
    centre_sigma_mm: float
    height_mm: Floats
    log_p: Floats

    @property
    def mode_mm(self) -> float:
        """Likeliest floor height."""
        return float(self.height_mm[int(np.argmax(self.log_p))])

    @property
    def mean_sigma_mm(self) -> tuple[float, float]:
        """Mean and standard deviation around the likeliest height (its own peak only)."""
        near = np.abs(self.height_mm - self.mode_mm) < 4 * EDGE_SD_MM + 0.1
        p = np.exp(self.log_p[near] - self.log_p[near].max())
        p /= p.sum()
        mean = float((p * self.height_mm[near]).sum())
        return mean, float(np.sqrt((p * (self.height_mm[near] - mean) ** 2).sum()))


def cut_curve(maps: EdgeMaps, centre_mm: float, besides: Floats | float = 0.0) -> tuple[HeightCurve, float, float]:
    """Evidence of one cut's floor over its height, its centre's small freedom summed out.

    Parameters
    ----------
    besides
        (m,) what speaks for each height besides the map.

    Returns
    -------
    The curve, and mean and standard deviation of the centre.
    """
    step = float(maps.x_mm[1] - maps.x_mm[0])
    count = int(np.ceil(3 * CENTRE_SD_MM / step))
    columns = np.rint((centre_mm - maps.x_mm[0]) / step) + np.arange(-count, count + 1)
    columns = np.clip(columns, 0, len(maps.x_mm) - 1).astype(int)
    away = maps.x_mm[columns] - centre_mm
    prior = -0.5 * (away / CENTRE_SD_MM) ** 2
    here = maps.cut[:, columns] + (prior - logsumexp(prior)) + np.reshape(besides, (-1, 1))
    by_centre = logsumexp(here, axis=0)
    weight = np.exp(by_centre - by_centre.max())
    weight /= weight.sum()
    mean = float((weight * away).sum())
    spread = float(np.sqrt((weight * (away - mean) ** 2).sum()))
    return HeightCurve(centre_mm, maps.y_mm, np.asarray(logsumexp(here, axis=1))), centre_mm + mean, spread


def cut_evidence(curve: HeightCurve, centre_mm: float, centre_sigma_mm: float, line_mm: float) -> CutEvidence:
    """Reading of a cut whose back (or centreline) stands at ``line_mm`` in the frame of the curve."""
    height = np.arange(curve.height_mm[0], curve.height_mm[-1], HEIGHT_MM)
    likelihood = uneven(curve, TEMPER, sd_mm=READ_SD_MM, rough_share=READ_ROUGH_SHARE).at(height)
    return CutEvidence(
        centre_mm=centre_mm,
        centre_sigma_mm=float(np.hypot(max(centre_sigma_mm, 0.02), 0.04)),
        height_mm=height - line_mm,
        log_p=likelihood - float(likelihood.max()),
    )


def uneven(
    curve: HeightCurve, temper: float = 1.0, *, sd_mm: float = EDGE_SD_MM, rough_share: float = ROUGH_SHARE
) -> HeightCurve:
    """Widen a height's likelihood by the edge's local unevenness, after weakening it to its power ``temper``."""
    step = float(curve.height_mm[1] - curve.height_mm[0])
    most = float(curve.log_p.max())
    count = round(0.5 / step)
    off = step * np.arange(-count, count + 1)
    parts = ((1 - rough_share, sd_mm), (rough_share, ROUGH_SD_MM))
    kernel = sum(share / sd * np.exp(-0.5 * (off / sd) ** 2) for share, sd in parts)
    weakened = np.exp(np.maximum(temper * (curve.log_p - most), -600.0))
    p = np.convolve(ends_held(weakened, count), kernel / np.sum(kernel), mode="valid")
    return HeightCurve(curve.x_mm, curve.height_mm, np.log(np.maximum(p, 1e-280)) + temper * most)


def visible_floor(
    patch: Patch, frame: Frame, shape: EdgeShape, cut: CutEvidence, side: int, blur_mm: float
) -> float | None:
    """Height of the step that the eye sees at a floor, to a fraction of a pixel; None where none is clear.

    For marks and drawings: decoding takes the whole likelihood.
    """
    step = 0.5 / frame.px_per_mm
    height = np.arange(cut.mode_mm - 0.45, cut.mode_mm + 0.45, step)
    width = max(0.3, shape.flat_mm - 0.2)
    x = cut.centre_mm + ((np.arange(12) + 0.5) / 12 - 0.5) * width
    grey = patch.grid(frame, x, side * height).mean(axis=1, dtype=float)
    found = locate_step(height, grey, blur_mm, from_u=cut.mode_mm - 0.2, to_u=cut.mode_mm + 0.3)
    return None if found is None else found.place


@dataclass(frozen=True)
class Top:
    """The uncut edge: its height in the frame."""

    height_mm: float
    sigma_mm: float


def measure_top(curve: HeightCurve, line_mm: float, guess_mm: float, guess_sd_mm: float) -> Top:
    """Measure the uncut edge, where table, scale and the growth found with the line put it: ``guess_mm`` above that.

    A second edge near it (a shadow's border, the lower rim) is no measuring error: the likeliest peak is taken with its
    own width, and the decoder holds open that it is the wrong one.
    """
    height = np.arange(guess_mm - 3 * guess_sd_mm, guess_mm + 4 * guess_sd_mm, HEIGHT_MM)
    score = curve.at(height + line_mm) - 0.5 * ((height - guess_mm) / guess_sd_mm) ** 2
    near = np.abs(height - height[int(np.argmax(score))]) < TOP_PEAK_MM
    p = np.exp(score[near] - score.max())
    p /= p.sum()
    mean = float((p * height[near]).sum())
    sigma = float(np.sqrt((p * (height[near] - mean) ** 2).sum()))
    return Top(mean, float(np.hypot(sigma, TOP_EDGE_SD_MM)))
