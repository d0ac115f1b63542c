"""The lock of each step of a job: what a step that is locked keeps from being changed by accident.

Scale and marks are locked for each picture, the other steps for the job.  Calibration locks itself when measuring
begins: the first mark of the key that a hand moves locks the scale of a picture that shows a size reference.
"""

from __future__ import annotations

from typing import Final

from app.bench_state import BenchPicture, BenchState
from keycore.refusal import Refusal

STEPS_OF_A_PICTURE: Final = frozenset({"scale", "marks"})
STEP_WORDS: Final = {
    "entitlement": "the entitlement",
    "table": "the depth table",
    "picture": "the pictures",
    "scale": "the scale",
    "marks": "the marks",
    "code": "the code",
    "cutting": "the trials",
    "check": "the check",
}
_SENTENCES: Final = {
    "entitlement": "The entitlement is locked; unlock its step before it is changed.",
    "table": "The depth table is locked; unlock its step before another is chosen.",
    "picture": "The pictures are locked; unlock their step before one is opened or taken out.",
    "scale": "The scale is locked; unlock its step before a size reference is changed.",
    "marks": "The marks are locked; unlock their step before one is moved.",
    "code": "The code is locked; unlock its step before a depth, the growth or the code is changed.",
    "cutting": "The trials are locked; unlock their step before one is recorded.",
    "check": "The check of the cut key is locked; unlock its step before it is done again.",
}


def locked_steps(state: BenchState, picture: BenchPicture | None) -> frozenset[str]:
    """The steps that are locked, those of the picture that is shown included."""
    return state.locked_steps | (frozenset() if picture is None else picture.locked_steps)


def require_unlocked(state: BenchState, picture: BenchPicture | None, *steps: str) -> None:
    """Refuse a change of a locked step, in words."""
    locked = locked_steps(state, picture)
    for step in steps:
        if step in locked:
            raise Refusal(_SENTENCES[step], code="step.locked")


def require_step(step: str) -> None:
    """Refuse a name that no step has."""
    if step not in STEP_WORDS:
        raise Refusal(f"There is no step called {step!r}; steps are {', '.join(STEP_WORDS)}.", code="step.unknown")
