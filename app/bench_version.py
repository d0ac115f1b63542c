"""The program's own version."""

from __future__ import annotations


def program_version() -> str:
    """The program's version, or "checkout" where it runs without being installed."""
    from importlib.metadata import PackageNotFoundError, version  # here: it is slow, and a window starts without it

    try:
        return version("valleygauge")
    except PackageNotFoundError:
        return "checkout"
