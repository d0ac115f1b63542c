"""The shipped demo job, laid on a bench.  Everything in it is invented."""

from __future__ import annotations

import json
from typing import Any

from app.bench import Bench
from app.bench_assets import assets_folder
from app.bench_work import LoadedPicture, load_picture
from keycore.job import Entitlement
from keycore.refusal import Refusal


def demo_bench(which: int = 0) -> Bench:
    """A bench with a demo picture, its table and an invented entitlement; may be made on any thread."""
    recipe = _recipe()
    picture = recipe["pictures"][which]
    loaded: LoadedPicture = load_picture(assets_folder() / picture["file"])
    bench = Bench(recipe["job"] if which == 0 else f"{recipe['job']}-{which + 1}")
    bench.set_entitlement(Entitlement.model_validate(recipe["entitlement"]))
    bench.set_spec(recipe["spec"])
    bench.add_picture(loaded)
    return bench


def _recipe() -> dict[str, Any]:
    path = assets_folder() / "demo.json"
    try:
        recipe: dict[str, Any] = json.loads(path.read_text(encoding="utf-8"))
    except (OSError, ValueError) as error:
        raise Refusal(
            f"The demo job is not where it was installed ({path.name}); install the program again.", code="demo"
        ) from error
    return recipe
