"""The steps of a job: what is done, what is assumed, and what waits."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import TYPE_CHECKING, Final, Literal

from app.bench_locks import locked_steps
from app.bench_state import BenchState
from app.picture.values import PictureReading

if TYPE_CHECKING:
    from keycore.decode import Decoding

StepName = Literal["entitlement", "table", "picture", "scale", "marks", "code", "cutting", "check"]
Standing = Literal["done", "assumed", "waits"]


_MEDIA: Final = {
    "scan": "a scan",
    "photocopy": "a photocopy",
    "photo-card": "a photo",
    "photo-copy": "a photo of a copy",
    "calipers": "caliper figures",
}


@dataclass(frozen=True)
class Step:
    """One step: how it stands, and a few words."""

    name: StepName
    standing: Standing
    words: str
    locked: bool = False


def steps_of(
    state: BenchState, reading: PictureReading | None, decoding: Decoding | None, problem: str
) -> tuple[Step, ...]:
    """All eight steps in the order of the work."""
    steps = (
        _entitlement(state),
        _table(state),
        _picture(state, reading, problem),
        _scale(state, decoding),
        _marks(state, reading),
        _code(state, decoding),
        _cutting(state),
        _check(state),
    )
    locked = locked_steps(state, state.picture)
    return tuple(replace(step, locked=True) if step.name in locked else step for step in steps)


def _entitlement(state: BenchState) -> Step:
    missing = state.missing_for_export
    if not missing:
        return Step("entitlement", "done", "recorded")
    return Step("entitlement", "waits", f"still to record: {', '.join(missing)}")


def _table(state: BenchState) -> Step:
    spec = state.spec
    if spec is None:
        return Step("table", "waits", "choose the depth table")
    restricted = "; restricted" if spec.restricted else ""
    if spec.is_unconfirmed:
        return Step("table", "assumed", f"{spec.name}, unconfirmed: compare it with a chart{restricted}")
    return Step("table", "done", f"{spec.name}{restricted}")


def _picture(state: BenchState, reading: PictureReading | None, problem: str) -> Step:
    if state.picture is None:
        return Step("picture", "waits", "open a picture")
    many = f"{len(state.pictures)} pictures" if len(state.pictures) > 1 else state.picture.picture.name
    if problem:
        return Step("picture", "waits", problem)
    if reading is None:
        return Step("picture", "done", f"{many}, not read yet")
    kind = _MEDIA.get(reading.readings.medium, "")
    return Step("picture", "done", f"{many}, {'said to be' if state.picture.medium else 'taken for'} {kind}")


def _scale(state: BenchState, decoding: Decoding | None) -> Step:
    if decoding is None:
        return Step("scale", "waits", "needs a reading")
    scale = decoding.scale
    if not scale.agree:
        return Step("scale", "assumed", scale.disagreement or "the references do not agree")
    along = scale.px_per_mm_along
    used = sum(1 for reference in scale.references if reference.used and not reference.note)
    words = f"{along.value:.2f} px/mm within {100 * along.sigma / along.value:.1f} %, {used} references agree"
    if used < 2:
        return Step("scale", "assumed", f"{along.value:.2f} px/mm, one reference only")
    return Step("scale", "done", words)


def _marks(state: BenchState, reading: PictureReading | None) -> Step:
    picture = state.picture
    if picture is None or (reading is None and not picture.points):
        return Step("marks", "waits", "needs a picture and a table")
    by_hand = len(picture.by_hand)
    if picture.accepted:
        return Step("marks", "done", "accepted")
    if by_hand:
        return Step("marks", "done", f"{by_hand} set by hand")
    return Step("marks", "assumed", "found by the program; look at them")


def _code(state: BenchState, decoding: Decoding | None) -> Step:
    if state.decided_code is not None:
        return Step("code", "done", "settled")
    if decoding is None:
        return Step("code", "waits", "needs a reading")
    return Step("code", "done" if decoding.verdict == "sure" else "assumed", decoding.verdict_words)


def _cutting(state: BenchState) -> Step:
    if state.trials:
        opened = any(trial.opened for trial in state.trials)
        return Step(
            "cutting",
            "done" if opened else "waits",
            f"{len(state.trials)} tried, {'one opens' if opened else 'none opens yet'}",
        )
    if state.cut_key_check is not None:
        return Step("cutting", "done", "cut")
    return Step(
        "cutting", "waits", "cut list ready once a code is settled" if state.decided_code is None else "cut the key"
    )


def _check(state: BenchState) -> Step:
    check = state.cut_key_check
    if check is None:
        return Step("check", "waits", "measure the cut key")
    outcome = str(check.get("outcome", "recorded"))
    return Step("check", "done" if outcome == "pass" else "assumed", outcome)
