"""What a depth-and-space table must keep to be a table at all, and what a careful reader would look at besides.

:func:`require_rules` refuses a table that contradicts itself.  :func:`check_list` looks at what a table may break for a
good reason (uneven steps exist), so that a person sees it before a key is cut: an uneven step may be a slip of the pen.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from keycore.refusal import Refusal

if TYPE_CHECKING:
    from keycore.spec import KeySpec

EVEN_STEP_MM = 0.0005 * 25.4
"""Steps that differ by less than half a thousandth of an inch are equal as printed charts go."""
FLAT_SLACK_MM = 0.002
"""A remaining flat this little below nothing is rounding."""
ROOTS_FROM = {"single": "back", "double-mirrored": "opposite-floor", "double-independent": "centreline"}


@dataclass(frozen=True)
class Finding:
    """One line of the check list: what was looked at, whether it holds, and the sentence that says so."""

    rule: str
    holds: bool
    sentence: str


def require_rules(spec: KeySpec, origin: str) -> None:
    """Refuse, in one plain sentence, a table that breaks a rule of its own."""
    _require_labels(spec, origin)
    _require_falling_roots(spec, origin)
    _require_positions(spec, origin)
    _require_edges(spec, origin)
    _require_blade(spec, origin)
    _require_macs(spec, origin)


def remaining_flat_mm(spec: KeySpec) -> float | None:
    """What the steepest allowed step leaves of a shallow cut's flat, mm; None where the cutter is not known.

    ``spacing - rise * tan(angle / 2)``: the flank of the deep cut climbs by the allowed step and runs into the flat of
    its neighbour.  For a mirrored pair each edge climbs half of the step, because roots are measured root to root.
    """
    angle_deg = spec.cut_form.angle_deg
    if angle_deg is None or spec.cuts_per_edge < 2:
        return None
    roots_mm = spec.roots_mm
    reach = min(spec.max_adjacent_step, len(roots_mm) - 1)
    rise_mm = float(np.max(roots_mm[:-reach] - roots_mm[reach:]))
    if spec.edges == "double-mirrored":
        rise_mm /= 2
    spacing_mm = float(np.min(np.abs(np.diff(spec.cut_positions_mm))))
    return spacing_mm - rise_mm * math.tan(math.radians(angle_deg) / 2)


def check_list(spec: KeySpec) -> tuple[Finding, ...]:
    """What a careful person would look at in this table; the answers are for reading, none of them refuses it."""
    steps_mm = -np.diff(spec.roots_mm)
    even = bool(np.ptp(steps_mm) <= EVEN_STEP_MM)
    findings = [
        Finding(
            "equal increments",
            even,
            f"Depths fall in equal steps of {steps_mm.mean():.3f} mm."
            if even
            else f"Steps between depths differ: {steps_mm.min():.3f} to {steps_mm.max():.3f} mm; compare the chart.",
        )
    ]
    if spec.cuts_per_edge >= 3:
        gaps_mm = np.abs(np.diff(spec.cut_positions_mm))
        even = bool(np.ptp(gaps_mm) <= 2 * EVEN_STEP_MM)
        findings.append(
            Finding(
                "even spacing",
                even,
                f"Cuts stand {gaps_mm.mean():.3f} mm apart."
                if even
                else f"Cuts stand {gaps_mm.min():.3f} to {gaps_mm.max():.3f} mm apart; compare with the chart.",
            )
        )
    flat_mm = remaining_flat_mm(spec)
    findings.append(
        Finding(
            "remaining flat",
            flat_mm is not None,
            "The cutter's angle is not given, so what a steep step leaves of a flat cannot be checked."
            if flat_mm is None
            else f"The steepest allowed step leaves {max(flat_mm, 0):.2f} mm of the neighbour's flat.",
        )
    )
    reach = len(spec.depths) - 1
    findings.append(
        Finding(
            "largest step",
            True,
            f"Any step between neighbours may be cut ({reach})."
            if spec.max_adjacent_step == reach
            else f"Neighbours differ by at most {spec.max_adjacent_step} of {reach} steps.",
        )
    )
    findings.append(
        Finding(
            "confirmed",
            not spec.is_unconfirmed,
            f"From memory and not confirmed: {spec.provenance.source}. Compare it with a chart before a key is cut."
            if spec.is_unconfirmed
            else f"{spec.provenance.kind.capitalize()}: {spec.provenance.source}."
            + (f" Confirmed by {c.by} against {c.chart} on {c.on}." if (c := spec.confirmed) else ""),
        )
    )
    return tuple(findings)


def _require_labels(spec: KeySpec, origin: str) -> None:
    for label in spec.labels:
        if not label.strip() or any(character.isspace() or character in "-/,;\u2013" for character in label):
            raise Refusal(
                f"{origin}: a depth's label may hold no blank, comma, dash or stroke, because codes are written "
                "with them; "
                f'got "{label}". Rename that depth.',
                code="spec.label",
            )
    seen: set[str] = set()
    for label in spec.labels:
        if label in seen:
            raise Refusal(
                f'{origin}: the depth label "{label}" stands twice; give every depth its own.', code="spec.label-twice"
            )
        seen.add(label)


def _require_falling_roots(spec: KeySpec, origin: str) -> None:
    for shallow, deep in zip(spec.depths, spec.depths[1:], strict=False):
        if not deep.root_mm < shallow.root_mm:
            raise Refusal(
                f"{origin}: root heights must fall from each depth to the next, shallowest first; depth {deep.label} "
                f"({deep.root_mm:.3f} mm) follows depth {shallow.label} ({shallow.root_mm:.3f} mm). Correct or "
                "reorder them.",
                code="spec.roots-not-falling",
            )


def _require_positions(spec: KeySpec, origin: str) -> None:
    rising = spec.gauge_from == "shoulder"
    for number, (one, two) in enumerate(zip(spec.cut_positions_mm, spec.cut_positions_mm[1:], strict=False), 2):
        if not (two > one if rising else two < one):
            raise Refusal(
                f"{origin}: cut_positions are listed bow first as distances from the {spec.gauge_from}, so they must "
                f"{'rise' if rising else 'fall'}; entry {number} is {two:.3f} mm after {one:.3f} mm. Reorder them "
                "or correct gauge_from.",
                code="spec.positions-order",
            )
    counts = spec.cut_counts
    if counts is None:
        return
    longest = len(spec.cut_positions_mm)
    if not counts or list(counts) != sorted(set(counts)) or counts[-1] != longest:
        raise Refusal(
            f"{origin}: cut_counts must rise and end with the number of cut_positions ({longest}); got {list(counts)}. "
            f"Make the two agree.",
            code="spec.counts",
        )


def _require_edges(spec: KeySpec, origin: str) -> None:
    wanted = ROOTS_FROM[spec.edges]
    if spec.root_from != wanted:
        raise Refusal(
            f'{origin}: root heights of "{spec.edges}" keys are measured from "{wanted}"; got root_from '
            f'"{spec.root_from}". '
            f"Give the roots that way.",
            code="spec.root-from",
        )


def _require_blade(spec: KeySpec, origin: str) -> None:
    blade = spec.blade
    farthest_mm = max(spec.cut_positions_mm)
    if blade.length_mm is not None and blade.length_mm < farthest_mm:
        raise Refusal(
            f"{origin}: the blade ({blade.length_mm:.3f} mm) is shorter than its farthest cut position "
            f"({farthest_mm:.3f} mm); "
            f"correct one of them.",
            code="spec.blade-short",
        )
    if blade.height_mm is not None:
        whole_mm = blade.height_mm / 2 if spec.root_from == "centreline" else blade.height_mm
        top = spec.depths[0]
        if top.root_mm > whole_mm + spec.tolerance.root_mm + 1e-9:
            raise Refusal(
                f"{origin}: depth {top.label} ({top.root_mm:.3f} mm) is higher than the blade "
                f"({whole_mm:.3f} mm{' from the centreline' if spec.root_from == 'centreline' else ''}); correct "
                "one of them.",
                code="spec.blade-low",
            )
    shortest_step_mm = float(np.min(-np.diff(spec.roots_mm)))
    if spec.tolerance.root_mm > shortest_step_mm:
        raise Refusal(
            f"{origin}: the tolerance of roots ({spec.tolerance.root_mm:.3f} mm) is more than a whole step between "
            "depths "
            f"({shortest_step_mm:.3f} mm), so no key could be told from its neighbour; correct tolerance.root.",
            code="spec.tolerance",
        )


def _require_macs(spec: KeySpec, origin: str) -> None:
    reach = len(spec.depths) - 1
    if not 1 <= spec.max_adjacent_step <= reach:
        raise Refusal(
            f"{origin}: max_adjacent_step must be between 1 and {reach}, the largest step that {reach + 1} depths "
            "allow; got "
            f"{spec.max_adjacent_step}. Correct it, or leave it out where any step may be cut.",
            code="spec.macs",
        )
    flat_mm = remaining_flat_mm(spec)
    if flat_mm is not None and flat_mm < -FLAT_SLACK_MM:
        raise Refusal(
            f"{origin}: max_adjacent_step {spec.max_adjacent_step} cannot be cut with a cutter of "
            f"{spec.cut_form.angle_deg:g} "
            f"degrees at this spacing: it would leave {flat_mm:.3f} mm of the neighbour's flat. Lower "
            "max_adjacent_step or "
            f"correct the angle.",
            code="spec.flat",
        )
