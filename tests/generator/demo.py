"""The recipe of the shipped demo: ``python -m tests.generator.demo`` remakes ``assets/`` from its seeds.

``--check`` writes nothing and says whether the files that are there are, byte for byte, what the recipe makes with the
libraries installed here.
"""

from __future__ import annotations

import argparse
import hashlib
import json
import tempfile
from pathlib import Path
from typing import Any

from tests.generator.make import draw_picture, store
from tests.generator.tables import Table, table_from_json

ROOT = Path(__file__).resolve().parents[2]
SPEC_FILE = "harbourside-5.json"
PICTURES = (
    {
        "file": "demo-photocopy.jpg",
        "medium": "photocopy",
        "seed": [2026, 6],
        "code": ["3", "1", "4", "2", "5"],
        "title": "Photocopy from the club's papers",
        "shows": "An enlarged office photocopy of the boathouse key; nobody wrote down by how much it was enlarged.",
    },
    {
        "file": "demo-scan.jpg",
        "medium": "scan",
        "seed": [2026, 1],
        "code": ["2", "5", "3", "6", "1"],
        "title": "Scan of the chart room's key",
        "shows": "A flatbed scan of the chart room's key, sent by the club; the key itself stays with the club.",
    },
)
SCENARIO = {
    "format": "demo/1",
    "story": "Everything here is invented. A rowing club that does not exist has lost the key of its boathouse; its "
    "papers hold a photocopy of that key, and the club scanned a second one, the chart room's, to be copied too.",
    "job": "DEMO-1",
    "spec": "Harbourside 5",
    "entitlement": {
        "asked_by": "Secretary of the Harbourside Rowing Club (invented)",
        "proof_seen": "letter of the club's committee and its register entry (invented)",
        "seen_by": "the demo's locksmith (invented)",
        "seen_on": "2026-01-15T10:30:00+00:00",
    },
}  # fmt: skip


def draw_demo(folder: Path) -> dict[str, Any]:
    """Write the demo pictures into a folder; returns the content of ``demo.json``."""
    table = demo_table()
    entries = []
    for entry in PICTURES:
        code = [[table.labels.index(label) for label in entry["code"]]]
        _, drawn = draw_picture(table, str(entry["medium"]), list(entry["seed"]), code)
        path = store(drawn, folder / Path(str(entry["file"])).stem)
        entries.append({**entry, "sha256": hashlib.sha256(path.read_bytes()).hexdigest()})
    return {**SCENARIO, "pictures": entries}


def demo_table() -> Table:
    """The shipped invented table that the demo's keys are cut to."""
    return table_from_json(json.loads((ROOT / "specs" / SPEC_FILE).read_text()))


def main() -> None:
    """Remake or check the demo."""
    parser = argparse.ArgumentParser(prog="python -m tests.generator.demo", description=__doc__)
    parser.add_argument("--check", action="store_true")
    call = parser.parse_args()
    assets = ROOT / "assets"
    if not call.check:
        content = draw_demo(assets)
        (assets / "demo.json").write_text(json.dumps(content, indent=1) + "\n")
        print(f"wrote {', '.join(str(e['file']) for e in content['pictures'])} and demo.json")
        return
    with tempfile.TemporaryDirectory() as folder:
        content = draw_demo(Path(folder))
    same = json.loads((assets / "demo.json").read_text()) == content
    print(
        "the same, byte for byte" if same else "not the same: other versions of the libraries, or a changed generator"
    )
    raise SystemExit(not same)


if __name__ == "__main__":
    main()
