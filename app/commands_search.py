"""A trial plan at the command line: its search may take long, tells how far it is, and can be stopped.

The search runs on a thread, because its solver answers no key while it works.  Stopped, the best plan so far is taken;
the thread ends with the program.
"""

from __future__ import annotations

import threading
import time
from collections.abc import Callable

from keycore.trials import TrialPlan

_TELL_AFTER_S, _TELL_EVERY_S, _LOOK_EVERY_S = 2.0, 10.0, 0.1

Search = Callable[[Callable[[TrialPlan], None]], TrialPlan]


def searched(search: Search, say: Callable[[str], None]) -> TrialPlan:
    """What the search finds, or has found when Ctrl-C stops it.

    Parameters
    ----------
    search
        Takes a function that it calls with each better plan; returns the last one.
    say
        Says a sentence to the person who waits.
    """
    found: list[TrialPlan] = []
    failed: list[BaseException] = []

    def run() -> None:
        try:
            found.append(search(found.append))
        except BaseException as error:
            failed.append(error)

    thread = threading.Thread(target=run, name="trial plan", daemon=True)
    thread.start()
    began = told = time.monotonic()
    try:
        while thread.is_alive():
            thread.join(_LOOK_EVERY_S)
            now = time.monotonic()
            first = told == began
            if found and thread.is_alive() and now - told > (_TELL_AFTER_S if first else _TELL_EVERY_S):
                told = now
                say(f"After {now - began:.0f} s: {found[-1].standing()} Still searching; Ctrl-C takes this plan.")
    except KeyboardInterrupt:
        if not found:
            raise
    if failed:
        raise failed[0]
    return found[-1]
