"""Where the shipped pictures and icons lie: inside an installed package, or in the checkout's ``assets`` folder."""

from __future__ import annotations

from pathlib import Path


def assets_folder() -> Path:
    """The folder of shipped pictures and icons."""
    inside = Path(__file__).parent / "_assets"
    return inside if inside.is_dir() else Path(__file__).parent.parent / "assets"
