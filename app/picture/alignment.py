"""Fitting the table's cut shape to a whole edge at once: where the cuts lie, and how likely every floor height is.

For a cut centred at c with its floor at h, the table's shape says where the metal ends in every run within half a
spacing of c; the sum of the runs' log-probabilities there is the evidence E(c, h).  Peaks, flats, flanks and plateaus
all count.  The cuts share one offset and one scale along the blade: these are found where the sum over all cuts of the
best floor's evidence is largest, and neither growth nor the code moves them (both flanks of a cut grow alike, opposite
ways).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from scipy.special import logsumexp

from app.picture.runs import EdgeRuns
from app.picture.shape import EdgeShape
from keycore.measured import Floats

CENTRE_MM = 0.05
HEIGHT_MM = 0.02
OFFSETS = np.arange(-1.6, 1.601, CENTRE_MM)
SCALES = np.arange(0.96, 1.0401, 0.0025)
OFFSET_SD_MM, SCALE_SD = 0.7, 0.025
"""How far off a first frame from rough marks or a silhouette usually is."""


@dataclass(frozen=True)
class ShapeEvidence:
    """E(c, h) on a grid: (n,) centres, (m,) heights, (n, m) summed log-probabilities."""

    centre_mm: Floats
    height_mm: Floats
    log_p: Floats


@dataclass(frozen=True)
class Alignment:
    """Offset and scale along the blade that the cuts of one key share.

    ``centre = offset_mm + scale * position``; ``sigma_scale`` and ``sigma_offset_mm`` are of the fit alone.
    """

    offset_mm: float
    scale: float
    sigma_scale: float
    sigma_offset_mm: float

    def centres_mm(self, shape: EdgeShape) -> Floats:
        """(k,) cut centres in the frame."""
        return np.asarray(self.offset_mm + self.scale * shape.positions_mm)


def shape_evidence(runs: EdgeRuns, shape: EdgeShape, top_mm: float) -> ShapeEvidence:
    """E(c, h) of one edge for every centre and height."""
    places = runs.y_mm
    column = float(runs.x_mm[1] - runs.x_mm[0])
    step = float(places[1] - places[0])
    reach = OFFSETS[-1] + 0.05 * float(np.ptp(shape.positions_mm)) / 2
    centres = np.arange(shape.positions_mm.min() - reach, shape.positions_mm.max() + reach, CENTRE_MM)
    heights = np.arange(places[0], places[-1], HEIGHT_MM)
    half = shape.spacing_mm / 2
    total = np.zeros((len(centres), len(heights)))
    for away in np.arange(-half, half + 1e-9, column):
        nearest = np.rint((centres + away - runs.x_mm[0]) / column).astype(int)
        end = np.minimum(top_mm, heights + max(0.0, abs(away) - shape.flat_mm / 2) / shape.tangent)
        place = np.clip((end - places[0]) / step, 0, len(places) - 1.001)
        low = place.astype(int)
        part = place - low
        rows = runs.log_p[np.clip(nearest, 0, len(runs.x_mm) - 1)]
        total += rows[:, low] * (1 - part) + rows[:, low + 1] * part
    return ShapeEvidence(centres, heights, total)


def align(evidence: list[ShapeEvidence], shape: EdgeShape, *, sharpness: float) -> Alignment:
    """Find the offset and scale that all cuts of all edges share.

    Parameters
    ----------
    evidence
        One entry per cut edge.
    sharpness
        Share of the evidence that counts as independent (neighbouring runs are not).
    """
    centres = OFFSETS[:, None, None] + SCALES[None, :, None] * shape.positions_mm
    score = np.zeros(centres.shape[:2])
    for edge in evidence:
        index = np.rint((centres - edge.centre_mm[0]) / CENTRE_MM).astype(int)
        best = logsumexp(sharpness * edge.log_p, axis=1)
        score += best[np.clip(index, 0, len(edge.centre_mm) - 1)].sum(axis=2)
    score -= 0.5 * (OFFSETS[:, None] / OFFSET_SD_MM) ** 2 + 0.5 * ((SCALES[None, :] - 1) / SCALE_SD) ** 2
    weight = np.exp(score - score.max())
    weight /= weight.sum()
    offset = float((weight.sum(axis=1) * OFFSETS).sum())
    scale = float((weight.sum(axis=0) * SCALES).sum())
    sigma_scale = float(np.sqrt((weight.sum(axis=0) * (SCALES - scale) ** 2).sum()))
    sigma_offset = float(np.sqrt((weight.sum(axis=1) * (OFFSETS - offset) ** 2).sum()))
    return Alignment(offset, scale, max(sigma_scale, 0.0012), max(sigma_offset, 0.02))
