"""A depth table from measured depth keys: keys that have one depth in every position, each read several times.

Model
-----
Reading j of the depth key of depth i is

    y_ij = true_i + made_i + common + read_ij,

with ``true_i`` the table's root height, ``made_i`` what the depth key itself is off, ``common`` what the instrument
is off in all readings alike, ``read_ij`` the repeatability of instrument and hand.

* ``read``: one standard deviation for all depths, pooled from the scatter within each depth, and never taken below
  that of the instrument's last digit (a step r counts as r / sqrt(12), JCGM 100:2008, F.2.2.1).
* ``made``: a good depth key is within about 0.02 mm (common practice, no published source); limits of +-a count as
  a / sqrt(3) (JCGM 100:2008, 4.3.7).
* ``common`` shifts all roots together.  It belongs to the uncertainty of a root height, and it cancels from the
  steps between depths and from the question whether they are equal.

A reading is left out where the others of its depth contradict it: its distance from their mean, over the pooled
standard deviation without it, is judged by Student's t at 1 %, shared out over all readings (Bonferroni).  One at a
time, the worst first.  Of two readings that disagree neither can be left out; that is said instead.

Equal steps are tested with chi-square: weighted straight line through the means, n depths less two parameters (less
one where the step is given).  The repeatability is itself estimated, so chi-square over its degrees of freedom is
judged by Fisher's F with the effective degrees of freedom of a mean's variance (Welch-Satterthwaite, JCGM 100:2008,
G.4.1); with many readings, or where the making of the keys dominates, that is chi-square itself.
"""

from __future__ import annotations

import math
import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from datetime import date
from typing import Any

import numpy as np
from scipy.special import fdtrc, stdtr

from keycore.measured import Floats, Measured
from keycore.refusal import Refusal
from keycore.spec import MM_PER_INCH, KeySpec, parse_spec

OUTLIER_LEVEL = 0.01
EQUAL_LEVEL = 0.05
KEY_LIMIT_MM = 0.02
"""A good depth key is within about so much (common practice, no published source)."""
LEAST_STEP_MM = 0.05
"""A smaller step between depths is no step of a lock."""


@dataclass(frozen=True)
class DepthMeasured:
    """One depth: its label, the mean of the readings that were kept, its uncertainty, the readings left out.

    ``root_mm.sigma`` is the whole standard uncertainty; ``own_sigma_mm`` leaves out what all depths share.
    """

    label: str
    readings_mm: tuple[float, ...]
    left_out_mm: tuple[float, ...]
    root_mm: Measured
    own_sigma_mm: float


@dataclass(frozen=True)
class StepTest:
    """Are the steps equal?  ``residuals_mm`` are the means less the line, in the order of the depths."""

    step_mm: Measured
    given: bool
    chi_square: float
    freedom: int
    p_value: float
    residuals_mm: tuple[float, ...]

    @property
    def equal(self) -> bool:
        """True where equal steps explain the readings at the 5 % level."""
        return self.p_value >= EQUAL_LEVEL

    @property
    def words(self) -> str:
        """One sentence with the figures behind it."""
        verdict = "Equal steps" if self.equal else "Not equal steps"
        sigma = "" if self.given else f" +- {self.step_mm.sigma:.3f}"
        return (
            f"{verdict} of {self.step_mm.value:.3f}{sigma} mm within error "
            f"(chi-square {self.chi_square:.1f} for {self.freedom} degrees of freedom, p = {self.p_value:.2g})."
        )


@dataclass(frozen=True)
class DepthKeyStudy:
    """All depths, shallowest first, and what they say together."""

    depths: tuple[DepthMeasured, ...]
    repeatability_mm: float
    """Pooled standard deviation of one reading."""
    freedom: int
    """Degrees of freedom behind the repeatability."""
    instrument_sigma_mm: float
    key_limit_mm: float
    warnings: tuple[str, ...]

    @property
    def roots_mm(self) -> Floats:
        """(depths,) mean root heights."""
        return np.array([depth.root_mm.value for depth in self.depths])

    def increments(self) -> tuple[Measured, ...]:
        """Steps from each depth to the next, with their uncertainty (what all depths share cancels)."""
        pairs = zip(self.depths, self.depths[1:], strict=False)
        return tuple(
            Measured(a.root_mm.value - b.root_mm.value, math.hypot(a.own_sigma_mm, b.own_sigma_mm)) for a, b in pairs
        )

    def equal_steps(self, step_mm: float | None = None) -> StepTest:
        """Test whether the steps are equal, and equal to ``step_mm`` where it is given.

        Notes
        -----
        Weighted least squares of root = first - step * i, weights 1 / own_sigma^2 (JCGM 100:2008, H.3, with weights).
        """
        if step_mm is not None and not (math.isfinite(step_mm) and step_mm > 0):
            raise Refusal(f"A step between depths must be more than 0 mm; got {step_mm}.", code="depthkeys.step")
        number = np.arange(len(self.depths), dtype=float)
        roots, weights = self.roots_mm, np.array([depth.own_sigma_mm for depth in self.depths]) ** -2.0
        if step_mm is None and len(self.depths) < 3:
            raise Refusal("Whether steps are equal shows from three depths on; measure more.", code="depthkeys.few")
        middle = float(np.average(number, weights=weights))
        spread = float(np.sum(weights * (number - middle) ** 2))
        fitted = -float(np.sum(weights * (number - middle) * roots)) / spread
        step = fitted if step_mm is None else step_mm
        residuals = roots + step * number
        residuals -= np.average(residuals, weights=weights)
        chi_square = float(np.sum(weights * residuals**2))
        freedom = len(roots) - (2 if step_mm is None else 1)
        return StepTest(
            step_mm=Measured(step, spread**-0.5 if step_mm is None else 0.0),
            given=step_mm is not None,
            chi_square=chi_square,
            freedom=freedom,
            p_value=self.chance(chi_square, freedom),
            residuals_mm=tuple(float(r) for r in residuals),
        )

    def chance(self, chi_square: float, freedom: int) -> float:
        """Chance of a chi-square at least as large if the line is true."""
        variance = float(np.mean([depth.own_sigma_mm**2 for depth in self.depths]))
        read = float(np.mean([self.repeatability_mm**2 / len(depth.readings_mm) for depth in self.depths]))
        effective = max(self.freedom, 1) * (variance / read) ** 2
        return float(fdtrc(freedom, effective, chi_square / freedom))

    def text(self, step_mm: float | None = None) -> str:
        """A plain table and what it comes to."""
        lines = ["Depth  Readings  Root (mm)        Step (mm)"]
        steps = [None, *self.increments()]
        for depth, step in zip(self.depths, steps, strict=True):
            less = "" if step is None else f"{step.value:.3f} +- {step.sigma:.3f}"
            root = depth.root_mm
            lines.append(
                f"{depth.label:>5}  {len(depth.readings_mm):>8}  {root.value:.3f} +- {root.sigma:.3f}  {less}".rstrip()
            )
        lines.append(f"One reading repeats within {self.repeatability_mm:.3f} mm (one standard deviation).")
        if len(self.depths) >= 3:
            lines.append(self.equal_steps().words)
        if step_mm is not None:
            lines.append(self.equal_steps(step_mm).words)
        return "\n".join([*lines, *self.warnings])

    def to_spec(self, frame: Mapping[str, Any], name: str, *, measured_by: str, measured_on: date) -> KeySpec:
        """The measured table, provenance "measured".

        Parameters
        ----------
        frame
            The other members of keyspec/1 in mm: edges, gauge_from, root_from, cut_positions, and what else is known.
        name, measured_by, measured_on
            For the table's name and its source.
        """
        if not any(character.isalnum() for character in measured_by):
            raise Refusal("A measured table says who measured it; give the name.", code="depthkeys.by")
        fewest = min(len(depth.readings_mm) for depth in self.depths)
        largest = max(depth.root_mm.sigma for depth in self.depths)
        source = (
            f"measured on depth keys by {measured_by} on {measured_on.isoformat()}, {fewest} readings or more a depth, "
            f"standard uncertainty of a root at most {largest:.3f} mm"
        )
        own = {"format", "name", "provenance", "units", "depths", "confirmed"}
        if frame.get("units", "mm") != "mm":
            raise Refusal("The members of a measured table must be in mm; convert them first.", code="depthkeys.units")
        members = {member: value for member, value in frame.items() if member not in own}
        table = {
            "format": "keyspec/1",
            "name": name,
            "provenance": {"kind": "measured", "source": source},
            "units": "mm",
            **members,
            "depths": [{"label": d.label, "root": round(d.root_mm.value, 4)} for d in self.depths],
        }
        return parse_spec(table, f"the measured table {name}")


def study_depth_keys(
    readings_mm: Mapping[str, Sequence[float]],
    *,
    instrument_sigma_mm: float = 0.01,
    resolution_mm: float = 0.01,
    key_limit_mm: float = KEY_LIMIT_MM,
) -> DepthKeyStudy:
    """Means, uncertainties, outliers and warnings of a set of depth keys.

    Parameters
    ----------
    readings_mm
        Depth label -> readings of its root height, mm; at least two depths, and two readings or more of one of them.
    instrument_sigma_mm
        Standard uncertainty that all readings share (calibration, zero).
    resolution_mm
        Last digit of the instrument.
    key_limit_mm
        Limits within which a depth key's own making lies.
    """
    settings = {
        "instrument_sigma_mm": instrument_sigma_mm, "resolution_mm": resolution_mm, "key_limit_mm": key_limit_mm
    }  # fmt: skip
    for setting, value in settings.items():
        if not (math.isfinite(value) and value >= 0):
            raise Refusal(f"{setting} must be 0 or more; got {value}.", code="depthkeys.setting")
    kept = _checked(readings_mm)
    floor_mm = max(resolution_mm / math.sqrt(12), 1e-4)
    left_out, disagreeing = _leave_outliers_out(kept, floor_mm)
    repeatability, freedom = _pooled(kept)
    repeatability = max(repeatability, floor_mm)
    order = sorted(kept, key=lambda label: -float(np.mean(kept[label])))
    depths = []
    for label in order:
        mean = float(np.mean(kept[label]))
        own = math.hypot(repeatability / math.sqrt(len(kept[label])), key_limit_mm / math.sqrt(3))
        whole = math.hypot(own, instrument_sigma_mm)
        depths.append(
            DepthMeasured(label, tuple(kept[label]), tuple(left_out.get(label, ())), Measured(mean, whole), own)
        )
    warnings = _warnings(depths, list(readings_mm), left_out, disagreeing, freedom)
    study = DepthKeyStudy(tuple(depths), repeatability, freedom, instrument_sigma_mm, key_limit_mm, ())
    return DepthKeyStudy(
        study.depths, repeatability, freedom, instrument_sigma_mm, key_limit_mm, (*warnings, *_stands_out(study))
    )


def parse_readings(text: str, units: str = "mm") -> dict[str, tuple[float, ...]]:
    """Readings from plain text: a depth a line, its label and then its readings.

    Separators are blanks, tabs or semicolons, and then a decimal comma is understood; or commas with decimal points.
    Empty lines and lines that begin with # are passed over.  ``units`` "in" is turned into mm.
    """
    if units not in {"mm", "in"}:
        raise Refusal(f'Readings are in "mm" or "in"; got {units!r}.', code="depthkeys.units")
    factor = MM_PER_INCH if units == "in" else 1.0
    found: dict[str, tuple[float, ...]] = {}
    for number, line in enumerate(text.splitlines(), 1):
        words = line.strip()
        if not words or words.startswith("#"):
            continue
        by_blanks = re.search(r"[\s;]", re.sub(r"\s*,\s*", ",", words)) is not None
        parts = re.split(r"[\s;]+", words) if by_blanks else [part.strip() for part in words.split(",")]
        label, *figures = [part for part in parts if part]
        label = label.rstrip(",:")
        if label in found:
            raise Refusal(
                f"Line {number}: depth {label} stands twice; put its readings on one line.", code="depthkeys.twice"
            )
        try:
            found[label] = tuple(float(figure.replace(",", ".")) * factor for figure in figures)
        except ValueError as error:
            raise Refusal(
                f'Line {number}: a line is a depth label and its readings; cannot read "{words[:60]}".',
                code="depthkeys.line",
            ) from error
    return found


def _checked(readings_mm: Mapping[str, Sequence[float]]) -> dict[str, list[float]]:
    if len(readings_mm) < 2:
        raise Refusal("A table needs at least two depth keys; measure more.", code="depthkeys.few")
    kept = {}
    for label, values in readings_mm.items():
        for value in values:
            if not (math.isfinite(value) and value > 0):
                raise Refusal(f"Depth {label}: a reading must be more than 0 mm; got {value}.", code="depthkeys.value")
        if not len(values):
            raise Refusal(f"Depth {label} has no reading; measure it or leave it out.", code="depthkeys.empty")
        kept[str(label)] = [float(value) for value in values]
    if all(len(values) < 2 for values in kept.values()):
        raise Refusal(
            "Every depth has only one reading, so how well they repeat cannot be told; read one depth twice at least.",
            code="depthkeys.once",
        )
    return kept


def _pooled(kept: Mapping[str, Sequence[float]]) -> tuple[float, int]:
    """Pooled standard deviation within depths and its degrees of freedom."""
    squares = math.fsum(_squares(values) for values in kept.values())
    freedom = sum(len(values) - 1 for values in kept.values())
    return (math.sqrt(squares / freedom) if freedom else 0.0), freedom


def _squares(values: Sequence[float]) -> float:
    """Sum of squared distances from the mean."""
    mean = math.fsum(values) / len(values)
    return math.fsum((value - mean) ** 2 for value in values)


def _leave_outliers_out(kept: dict[str, list[float]], floor_mm: float) -> tuple[dict[str, list[float]], list[str]]:
    """Take contradicted readings out of ``kept``, worst first; returns them, and depths whose two readings disagree."""
    left_out: dict[str, list[float]] = {}
    disagreeing: list[str] = []
    limit = OUTLIER_LEVEL / sum(len(values) for values in kept.values())
    while True:
        worst: tuple[float, str, int] | None = None
        squares = {label: _squares(values) for label, values in kept.items()}
        all_squares, all_freedom = math.fsum(squares.values()), sum(len(values) - 1 for values in kept.values())
        for label, values in kept.items():
            if len(values) < 2 or label in disagreeing:
                continue
            for index, value in enumerate(values):
                others = values[:index] + values[index + 1 :]
                freedom = all_freedom - 1
                rest = max(all_squares - squares[label] + _squares(others), 0.0)
                scatter = math.sqrt(rest / freedom) if freedom else 0.0
                if scatter < floor_mm:  # readings that all agree to the last digit say no more than that digit
                    scatter, freedom = floor_mm, max(freedom, 1000)
                t = abs(value - math.fsum(others) / len(others)) / (scatter * math.sqrt(1 + 1 / len(others)))
                chance = 2 * float(stdtr(freedom, -t))
                if chance < limit and (worst is None or chance < worst[0]):
                    worst = (chance, label, index)
        if worst is None:
            return left_out, disagreeing
        _chance, label, index = worst
        if len(kept[label]) == 2:
            disagreeing.append(label)
        else:
            left_out.setdefault(label, []).append(kept[label].pop(index))


def _warnings(
    depths: Sequence[DepthMeasured],
    as_listed: Sequence[str],
    left_out: Mapping[str, Sequence[float]],
    disagreeing: Sequence[str],
    freedom: int,
) -> tuple[str, ...]:
    words = []
    for label, values in left_out.items():
        listed = ", ".join(f"{value:.3f}" for value in values)
        words.append(f"Depth {label}: reading {listed} mm was left out, the others of this depth contradict it.")
    words += [f"Depth {label}: its two readings disagree; measure it again." for label in disagreeing]
    words += [f"Depth {d.label}: only one reading; measure it again." for d in depths if len(d.readings_mm) == 1]
    order = [depth.label for depth in depths]
    if order not in (list(as_listed), list(reversed(as_listed))):
        words.append(f"By their roots the depths are in the order {', '.join(order)}, not as listed; check the labels.")
    for above, below in zip(depths, depths[1:], strict=False):
        if above.root_mm.value - below.root_mm.value < LEAST_STEP_MM:
            words.append(f"Depths {above.label} and {below.label} are less than {LEAST_STEP_MM} mm apart; check them.")
    if freedom < 5:
        words.append("The repeatability rests on few readings; read each depth three times or more.")
    return tuple(words)


def _stands_out(study: DepthKeyStudy) -> tuple[str, ...]:
    """A single depth that spoils otherwise equal steps is named: a worn or wrong depth key, or an uneven table."""
    if len(study.depths) < 5 or study.equal_steps().equal:
        return ()
    found = []
    for index, depth in enumerate(study.depths):
        rest = [(i, d) for i, d in enumerate(study.depths) if i != index]
        number = np.array([i for i, _ in rest], dtype=float)
        roots = np.array([d.root_mm.value for _, d in rest])
        weights = np.array([d.own_sigma_mm for _, d in rest]) ** -2.0
        slope, start = np.polyfit(number, roots, 1, w=np.sqrt(weights))
        chi_square = float(np.sum(weights * (roots - start - slope * number) ** 2))
        if study.chance(chi_square, len(rest) - 2) >= EQUAL_LEVEL:
            off_mm = depth.root_mm.value - float(start + slope * index)
            found.append((abs(off_mm), depth.label, off_mm))
    if not found:
        return ()
    _size, label, off_mm = max(found)
    side = "high" if off_mm > 0 else "low"
    return (
        f"Without depth {label} the steps are equal within error; it stands {abs(off_mm):.3f} mm too {side}: "
        f"a worn or wrong depth key, or a table that is not even.",
    )
