"""The demo's table and copy, for the tests that read pictures."""

from __future__ import annotations

from pathlib import Path

import pytest

from app.picture.load import open_picture
from app.picture.values import Picture
from keycore.spec import KeySpec, load_spec

ASSETS = Path(__file__).parents[3] / "assets"


@pytest.fixture(scope="module")
def spec() -> KeySpec:
    return load_spec("Harbourside 5")


@pytest.fixture(scope="module")
def copy() -> Picture:
    return open_picture(ASSETS / "demo-photocopy.jpg")
