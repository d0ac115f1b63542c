"""The verdict in words: sure, check this cut, or unsure because.

"sure" asks three things at once: the likeliest code has at least 0.99, the size references agree, and nothing serious
was found.  "check" names the one or two cuts on which the doubt lies, with both depths of each; where the likeliest
code has 0.9 or more and the rest of the doubt is spread thin, the most doubtful are named.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

from keycore.codes import format_code
from keycore.decoding import CutDecoding, RankedCode, Verdict
from keycore.measured import Readings
from keycore.posterior import PicturePosterior
from keycore.scale import Scale
from keycore.spec import KeySpec

SURE = 0.99
LEADS, LEADS_BY_FAR = 0.25, 0.9
ELSEWHERE = 0.02
"""Doubt that the cuts not named by "check" may hold together."""
OFF_SIGMAS = 4.0
MISREAD = 0.5
SHIFTED_SPACING = 0.45
OTHER_WAY = 0.05
"""Another way to fit the picture that is less likely than this goes without a word."""


@dataclass(frozen=True)
class Caution:
    """A sentence for the person; a ``serious`` one keeps a reading from being called sure, for the reason in
    ``short``.
    """

    sentence: str
    serious: bool = False
    short: str = ""


def rival_way(code: tuple[int, ...], other: tuple[int, ...], probability: float, spec: KeySpec) -> list[Caution]:
    """A word where the picture may also be fitted another way, which gives another code."""
    if probability < OTHER_WAY or other == code:
        return []
    labels = format_code(tuple(spec.labels[depth] for depth in other), spec)
    return [
        Caution(
            f"The blade can also be fitted another way in this picture (probability {probability:.2f}), and the code "
            f"would then be {labels}; see whether the drawn line and floors lie on the metal's edge, and set what does "
            f"not by hand."
        )
    ]


def cautions_of(
    posterior: PicturePosterior, scale: Scale, misread: float, filled_mm: float, picture: str
) -> list[Caution]:
    """What is to be said of one picture's references, positions and reading.

    ``misread`` is the probability that it was misread, ``filled_mm`` by how much shadow probably raises its deepest
    cut; ``picture`` names it where there are several, and is else empty.
    """
    spec = posterior.spec
    found = [Caution(picture + sentence) for sentence in posterior.readings.warnings]
    if misread > MISREAD:
        found.append(
            Caution(
                f"{picture}Several cuts together fit no depths of {spec.name}; they were probably ({misread:.2f}) read "
                f"on another edge, a shadow's or a groove's. Set their roots by hand, or check the table.",
                True,
                "several cuts may have been read on another edge",
            )
        )
    if filled_mm > 0:
        found.append(
            Caution(
                f"{picture}Shadow seems to fill the deep cuts of this copy, by up to {filled_mm:.1f} mm more than it "
                f"adds to the uncut edge; the code allows for that."
            )
        )
    if not scale.agree:
        found.append(
            Caution(picture + scale.disagreement, True, f"scales disagree by {scale.disagreement_percent:.0f} %")
        )
    spacing = posterior.evidence.spacing
    if spacing is not None:
        gaps_mm = [abs(b - a) for a, b in zip(spec.cut_positions_mm, spec.cut_positions_mm[1:], strict=False)]
        offset = spacing.offset_mm
        if abs(offset.value) > SHIFTED_SPACING * min(gaps_mm):
            found.append(
                Caution(
                    f"{picture}The cuts start {abs(offset.value):.1f} mm from where the table has them, so a cut "
                    f"may be "
                    f"missing, or the {spec.gauge_from} is marked wrong; check the marks.",
                    True,
                    f"the cuts start {abs(offset.value):.1f} mm from where they should",
                )
            )
        for index in spacing.left_out:
            found.append(
                Caution(f"{picture}Cut {index + 1} lies off its place in the table and was left out of the scale.")
            )
    if not any(reference.used for reference in posterior.evidence.references):
        found.append(
            Caution(
                f"{picture}There is no size reference, so the scale comes from the cuts' own pattern alone.",
                True,
                "no size reference",
            )
        )
    return found


def of_all_pictures(cautions: Sequence[Sequence[Caution]]) -> list[Caution]:
    """All pictures' cautions; what is serious in one picture is not, as long as another has nothing serious."""
    all_serious = all(any(caution.serious for caution in own) for own in cautions)
    return [caution if all_serious else replace(caution, serious=False) for own in cautions for caution in own]


def cautions_of_cuts(cuts: Sequence[CutDecoding]) -> list[Caution]:
    """What is to be said where measured roots lie far from every depth."""
    off = [cut for cut in cuts if cut.off_sigmas > OFF_SIGMAS]
    several = len(off) >= max(2, (len(cuts) + 2) // 3)
    return [
        Caution(
            f"{cut_name(cut, cuts)} reads {cut.root_mm:.2f} mm, {cut.off_sigmas:.0f} standard uncertainties from its "
            f"depth {cut.depth}; measure it again.",
            several,
            "several cuts lie far from every depth of the table",
        )
        for cut in off
    ]


def verdict_of(
    codes: Sequence[RankedCode], cuts: Sequence[CutDecoding], spec: KeySpec, cautions: Sequence[Caution]
) -> tuple[Verdict, str]:
    """The verdict and its words."""
    serious = [caution for caution in cautions if caution.serious]
    if serious:
        return "unsure", f"unsure: {serious[0].short}"
    best = codes[0]
    if best.probability >= SURE:
        return "sure", "sure"
    doubtful = sorted(cuts, key=lambda cut: cut.probability)
    named = doubtful[: 1 if sum(1 - cut.probability for cut in doubtful[1:]) <= ELSEWHERE else 2]
    elsewhere = sum(1 - cut.probability for cut in doubtful[len(named) :])
    if best.probability >= LEADS_BY_FAR or (best.probability >= LEADS and elsewhere <= ELSEWHERE):
        named = sorted(named, key=lambda cut: (cut.edge, cut.number))
        words = ", ".join(f"{cut_name(cut, cuts).lower()}: {cut.depth} or {_second(cut)}" for cut in named)
        return "check", f"check {words}"
    return "unsure", f"unsure: {_several(codes, spec)}"


def cut_name(cut: CutDecoding, cuts: Sequence[CutDecoding]) -> str:
    """Say "Cut 3", or "Edge 2 cut 3" where the key has two edges of its own."""
    return f"Edge {cut.edge} cut {cut.number}" if any(other.edge == 2 for other in cuts) else f"Cut {cut.number}"


def own_warnings(spec: KeySpec, readings: Sequence[Readings]) -> list[Caution]:
    """What the table itself asks to be said."""
    found = []
    if spec.is_unconfirmed:
        found.append(Caution(f"Table {spec.name} is from memory and not confirmed; compare it with a chart first."))
    if spec.restricted:
        found.append(Caution(f"Keys of {spec.name} are restricted; cut one only with the authority's reference."))
    if spec.edges == "double-independent" and any(r.medium != "calipers" for r in readings):
        found.append(
            Caution(
                "A picture cannot say which face of the key lies up: with the other face up the two lists "
                "change places."
            )
        )
    return found


def _second(cut: CutDecoding) -> str:
    others = {label: probability for label, probability in cut.depths.items() if label != cut.depth}
    return max(others, key=lambda label: others[label])


def _several(codes: Sequence[RankedCode], spec: KeySpec) -> str:
    best = codes[0]
    words = f"{format_code(best.code, spec)} ({best.probability:.2f})"
    if len(codes) < 2:
        return words
    second = codes[1]
    steps = [spec.labels.index(two) - spec.labels.index(one) for one, two in zip(best.code, second.code, strict=True)]
    moved = [step for step in steps if step]
    words += f" or {format_code(second.code, spec)} ({second.probability:.2f})"
    if len(moved) >= len(steps) - 1 and len(moved) >= 2 and len({step > 0 for step in moved}) == 1:
        return f"growth could be a whole depth more or less, {words}"
    return f"several codes fit, {words}"
