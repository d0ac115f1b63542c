"""The shipped demo pictures are what their recipe says."""

from __future__ import annotations

import hashlib
import json

import numpy as np
from PIL import Image

from tests.generator.demo import PICTURES, ROOT, SCENARIO, draw_demo


def test_recipe_remakes_the_shipped_pictures(tmp_path):
    """Each shipped picture is remade from its seed; other codecs and processors may differ by a grey level or two."""
    content = draw_demo(tmp_path)

    for entry in content["pictures"]:
        shipped = np.asarray(Image.open(ROOT / "assets" / entry["file"]), float)
        remade = np.asarray(Image.open(tmp_path / entry["file"]), float)
        assert shipped.shape == remade.shape and np.abs(shipped - remade).mean() < 1.0


def test_demo_record_names_its_pictures_and_stays_small():
    """demo.json carries the invented scenario, each picture's own digest, and no picture over 400 kB."""
    content = json.loads((ROOT / "assets" / "demo.json").read_text())

    assert {k: content[k] for k in SCENARIO} == SCENARIO and len(content["pictures"]) == len(PICTURES)
    for entry in content["pictures"]:
        data = (ROOT / "assets" / entry["file"]).read_bytes()
        assert len(data) < 400_000 and hashlib.sha256(data).hexdigest() == entry["sha256"]
