"""The Qt window.  Nothing outside this package knows of Qt."""

from __future__ import annotations

import sys

import PySide6

_LOSES_COUNT = (6, 12)


def keep_singletons() -> bool:
    """Keep None, True and False alive where the installed PySide6 does not count them; True where that was needed.

    PySide6 6.12.0 returns them from every call without counting the reference.  From Python 3.12 on they cannot die
    (PEP 683); on 3.11 a few thousand calls end the program.  Requirements leave that version out; this helps where it
    is installed all the same, by what PEP 683 does: a count that is never used up.
    """
    if sys.version_info >= (3, 12) or sys.implementation.name != "cpython":
        return False
    if PySide6.__version_info__[:2] < _LOSES_COUNT:
        return False
    import ctypes  # here: it is seldom needed, and a window starts without it

    for singleton in (None, True, False):
        ctypes.c_ssize_t.from_address(id(singleton)).value += 1 << 40
    return True


keep_singletons()
