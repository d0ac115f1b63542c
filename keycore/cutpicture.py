"""Does a cut key meet its code, judged by a picture of it?

The check must not believe what it is to prove.  A decoding takes it as given that every cut is one of the table's
depths, and finds the growth with it; a key whose cuts are all 0.1 mm too low would come out as one with less growth.
So the roots are measured under a table that says nothing: a fine row of heights over the whole range and beyond, any
of which may follow any other (:func:`any_root_table`).  What is left to find scale and growth are the size references,
the spacing of the cuts and the picture's own estimate of growth.  The uncertainty is that much larger, and honest.

A picture may also have been read wrongly as a whole.  The decoding under the true table knows how likely that is, so
it has a veto: nothing is claimed while its verdict is "unsure"; a cut passes or fails only where its probability of
the code's depth says so too.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from keycore.codes import Code, format_code, parse_code
from keycore.conformity import LEVEL, CutCheck, CutKeyCheck, check_cut_key, whole_outcome
from keycore.decode import Decoder, Decoding
from keycore.measured import Readings
from keycore.spec import Depth, KeySpec, Tolerance

STEP_MM = 0.12
"""Step of the row of heights: with as much making error allowed, one height runs into the next without a gap."""
BEYOND_MM = 0.3


@dataclass(frozen=True)
class PictureCheck:
    """A cut key judged by a picture.

    Attributes
    ----------
    check
        Cut by cut, as :func:`keycore.conformity.check_cut_key` has it.
    decoding
        What the picture reads as under the table, with nothing known of the code.
    measured
        The same picture under the table that says nothing: scale, growth and roots as measured.
    other_face
        True where the key lies with its other face up (independent edges): edges of the check are the code's own.
    """

    check: CutKeyCheck
    decoding: Decoding
    measured: Decoding
    other_face: bool = False

    def text(self) -> str:
        """What the picture reads as, then a line for each cut, then what to do."""
        best = self.decoding.codes[0]
        lines = [
            f"The picture reads as {format_code(best.code, self.decoding.spec)} (probability {best.probability:.3f}; "
            f"{self.decoding.verdict_words}).",
            f"Growth by the picture alone: {self.measured.growth_mm:.2f} +- {self.measured.growth_sigma_mm:.2f} mm.",
        ]
        if self.other_face:
            lines.append("The key lies with its other face up; the edges are named as the code has them.")
        return "\n".join([*lines, self.check.text()])

    def to_json(self) -> dict[str, Any]:
        """keycheck/1 with what the picture reads as."""
        best = self.decoding.codes[0]
        return {
            **self.check.to_json(),
            "picture": {
                "reads_as": list(best.code),
                "probability": best.probability,
                "verdict": self.decoding.verdict,
                "verdict_words": self.decoding.verdict_words,
                "other_face": self.other_face,
                "px_per_mm_along": self.measured.scale.px_per_mm_along.value,
                "px_per_mm_across": self.measured.scale.px_per_mm_across.value,
                "growth_mm": self.measured.growth_mm,
                "growth_sigma_mm": self.measured.growth_sigma_mm,
                "warnings": list(self.decoding.warnings),
            },
        }


def any_root_table(spec: KeySpec) -> KeySpec:
    """A table of the same blade that says nothing of the roots: every height, after every other."""
    high = float(spec.roots_mm.max()) + BEYOND_MM
    count = int(np.ceil((high - float(spec.roots_mm.min()) + BEYOND_MM) / STEP_MM)) + 1
    depths = tuple(Depth(label=str(index), root_mm=high - STEP_MM * index) for index in range(count))
    tolerance = Tolerance(root_mm=STEP_MM, position_mm=spec.tolerance.position_mm)
    return spec.model_copy(update={"depths": depths, "max_adjacent_step": count - 1, "tolerance": tolerance})


def check_by_picture(code: Code | str, spec: KeySpec, readings: Readings, *, level: float = LEVEL) -> PictureCheck:
    """Judge a cut key by the readings of a picture of it.

    Parameters
    ----------
    code, spec
        What the key should be; the tolerances are the table's.
    readings
        One picture of the cut key, in its own pixels.
    level
        Probability at which something counts as proved.

    Notes
    -----
    Two-edged keys with edges of their own may lie with either face up; the one whose depths the picture finds likelier
    is taken.
    """
    code = parse_code(code, spec, keep_macs=False)
    decoding = Decoder(readings, spec).decoding()
    measured = Decoder(readings, any_root_table(spec)).decoding(2)
    order = list(range(len(code)))
    other_face = False
    if spec.edge_count == 2:
        half = len(code) // 2
        turned = [*order[half:], *order[:half]]
        other_face = _log_share(decoding, code, turned) > _log_share(decoding, code, order)
        order = turned if other_face else order
    cuts = [measured.cuts[index] for index in order]
    plain = check_cut_key(code, spec, [cut.root_mm for cut in cuts], [cut.sigma_mm for cut in cuts], level=level)
    checks = tuple(
        _judged(check, decoding.cuts[index].depths.get(label, 0.0), decoding.verdict == "unsure", level)
        for check, index, label in zip(plain.checks, order, code, strict=True)
    )
    outcome = whole_outcome([check.outcome for check in checks])
    words = _what_to_do(checks, decoding, spec)
    whole = replace(plain, checks=checks, outcome=outcome, words=words, measured_by="picture")
    return PictureCheck(whole, decoding, measured, other_face)


def _log_share(decoding: Decoding, code: Code, order: list[int]) -> float:
    return sum(
        float(np.log(max(decoding.cuts[index].depths.get(label, 0.0), 1e-12)))
        for index, label in zip(order, code, strict=True)
    )


def _judged(check: CutCheck, share: float, unsure: bool, level: float) -> CutCheck:
    """The check with the decoding's veto."""
    proved = {"pass": share >= level, "fail": share <= 1 - level, "cannot be told": True}[check.outcome]
    off = f"{check.deviation_mm:+.2f} +- {check.sigma_mm:.2f} mm from nominal"
    if check.outcome == "pass" and proved and not unsure:
        return check
    if check.outcome == "fail" and proved and not unsure:
        high = check.deviation_mm > 0
        words = f"fails, {off}, too {'high' if high else 'low'}; it reads as depth {check.reads_as}, not {check.depth}"
        if check.reads_as == check.depth:
            words = f"fails, {off}, too {'high' if high else 'low'}"
        return replace(check, words=f"{words}.")
    near = "it agrees with its depth" if abs(check.deviation_mm) <= 2 * check.sigma_mm else "look at this one"
    return replace(
        check, outcome="cannot be told", deepen_mm=None, words=f"cannot be told by the picture, {off}: {near}."
    )


def _what_to_do(checks: tuple[CutCheck, ...], decoding: Decoding, spec: KeySpec) -> tuple[str, ...]:
    def names(which: list[CutCheck]) -> str:
        said = ", ".join(f"cut {c.cut}" + (f" of edge {c.edge}" if spec.edge_count == 2 else "") for c in which)
        return f"C{said[1:]}"

    failed = [check for check in checks if check.outcome == "fail"]
    open_ones = [check for check in checks if check.outcome == "cannot be told"]
    if not failed and not open_ones:
        return ("The key meets its code, as far as this picture shows every cut.",)
    words = []
    if decoding.verdict == "unsure":
        words.append(
            f"The picture itself is not read surely ({decoding.verdict_words}), so nothing is claimed from it; set the "
            f"marks by hand, take a flat scan, or measure with calipers."
        )
    low = [check for check in failed if check.deviation_mm < 0]
    high = [check for check in failed if check.deviation_mm > 0]
    if low:
        words.append(f"{names(low)}: metal is missing; measure with calipers, and if they agree cut a new blank.")
    if high:
        words.append(f"{names(high)}: metal is left; measure with calipers, then deepen by what they show.")
    if open_ones and decoding.verdict != "unsure":
        doubtful = [check for check in open_ones if abs(check.deviation_mm) > 2 * check.sigma_mm]
        agreeing = [check for check in open_ones if check not in doubtful]
        if doubtful:
            words.append(f"{names(doubtful)}: off by more than the picture's own uncertainty; measure with calipers.")
        if agreeing:
            words.append(
                f"{names(agreeing)}: the right depth, but a picture cannot prove ±{spec.tolerance.root_mm:g} mm; "
                f"calipers can."
            )
    return tuple(words)
