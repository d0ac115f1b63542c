"""The program's own version."""

from __future__ import annotations

from importlib.metadata import PackageNotFoundError, version


def program_version() -> str:
    """The program's version, or "checkout" where it runs without being installed."""
    try:
        return version("valleygauge")
    except PackageNotFoundError:
        return "checkout"
