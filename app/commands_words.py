"""A decoding in plain lines, for a terminal or a file."""

from __future__ import annotations

from typing import TYPE_CHECKING

from app.commands_common import aligned
from keycore.codes import format_code

if TYPE_CHECKING:
    from keycore.decode import CutDecoding, Decoding
    from keycore.scale import ReferenceReading

RIVALS_SHOWN = 5
NO_WEIGHT_SIGMAS = 8.0
"""A reference so far off the others lies in the broad tail that every reference has, and moves nothing."""


def probability_words(probability: float) -> str:
    """A probability that never rounds to certainty: 0.9999 is the most that is claimed."""
    if probability >= 0.99995:
        return "> 0.9999"
    if probability < 0.00005:
        return "< 0.0001"
    return f"{probability:.4f}"


def decoding_lines(title: str, decoding: Decoding, *, unit: str = "px", rivals: int = RIVALS_SHOWN) -> list[str]:
    """All that a person at the bench wants to see of one decoding."""
    spec = decoding.spec
    best, *others = decoding.codes
    flags = f"{'  UNCONFIRMED' if spec.is_unconfirmed else ''}{'  RESTRICTED' if spec.restricted else ''}"
    lines = [title, f"  Table     {spec.name}{flags}"]
    lines.append(f"  Code      {format_code(best.code, spec)}   probability {probability_words(best.probability)}")
    lines.append(f"  Verdict   {decoding.verdict_words}")
    if others:
        lines.append("  Next-likeliest codes")
        shown = [(format_code(rival.code, spec), probability_words(rival.probability)) for rival in others[:rivals]]
        lines += aligned([("", ""), *shown], indent="    ")[1:]
    lines += cut_lines(decoding)
    lines += scale_lines(decoding, unit)
    lines.append(
        f"  Growth    {decoding.growth_mm:.2f} +- {decoding.growth_sigma_mm:.2f} mm (how far the visible edge "
        "stands outside the metal)"
    )
    lines += [f"  Note      {warning}" for warning in decoding.warnings]
    return lines


def cut_lines(decoding: Decoding) -> list[str]:
    """The table of cuts, bow to tip."""
    two = any(cut.edge == 2 for cut in decoding.cuts)
    head = ("edge", "cut", "depth", "root mm", "+-", "probability", "margin mm", "next")
    rows = [head, *(_cut_row(cut) for cut in decoding.cuts)]
    return aligned(rows if two else [row[1:] for row in rows])


def scale_lines(decoding: Decoding, unit: str = "px") -> list[str]:
    """The scale, each reference's own, and whether they agree."""
    scale = decoding.scale
    along, across = scale.px_per_mm_along, scale.px_per_mm_across
    lines = [
        f"  Scale     {along.value:.3f} {unit}/mm along, {across.value:.3f} across, "
        f"within {100 * along.sigma / along.value:.2f} %"
    ]
    rows = [("", "alone", "+- %", "off by sigmas", "")]
    for reference in scale.references:
        rows.append(
            (
                reference.name,
                f"{reference.px_per_mm.value:.3f}",
                f"{100 * reference.px_per_mm.sigma / reference.px_per_mm.value:.2f}",
                f"{reference.pull:+.1f}",
                reference.note or _use_words(reference),
            )
        )
    if len(rows) > 1:
        lines += aligned(rows, indent="    ")
    if not scale.agree:
        lines.append(f"    {scale.disagreement}")
    return lines


def _use_words(reference: ReferenceReading) -> str:
    if not reference.used:
        return "left out"
    return "used" if abs(reference.pull) < NO_WEIGHT_SIGMAS else "too far off to count"


def _cut_row(cut: CutDecoding) -> tuple[str, ...]:
    return (
        str(cut.edge),
        str(cut.number),
        cut.depth,
        f"{cut.root_mm:.3f}",
        f"{cut.sigma_mm:.3f}",
        probability_words(cut.probability),
        f"{cut.margin_mm:.3f}",
        cut.next_depth or "-",
    )


def flip_line(below_mm: float | None, above_mm: float | None) -> str:
    """The growths at which the code changes; None on a side where it does not."""
    sides = (("below", below_mm), ("above", above_mm))
    named = " or ".join(f"{word} {at_mm:.2f} mm" for word, at_mm in sides if at_mm is not None)
    return f"  Flips     with growth {named} another code would be likelier" if named else "  Flips     at no growth"
