"""One picture from one seed, and whole folders of them."""

from __future__ import annotations

import json
import multiprocessing
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import cv2
import numpy as np
from PIL import Image as PilImage

from tests.generator.copy import draw_photocopy
from tests.generator.flat import draw_scan
from tests.generator.photo import draw_photo_card, draw_photo_copy
from tests.generator.shape import KeyShape, make_key
from tests.generator.tables import KINDS, Table, invented_table
from tests.generator.truth import truth_line

DRAW = {
    "scan": draw_scan,
    "photocopy": draw_photocopy,
    "photo-card": draw_photo_card,
    "photo-copy": draw_photo_copy,
}
MEDIA = tuple(DRAW)
Call = tuple[Path, int, int, tuple[str, ...], tuple[str, ...]]


def draw_picture(
    table: Table, medium: str, seed: list[int], code: list[list[int]] | None = None
) -> tuple[KeyShape, dict[str, Any]]:
    """Make a key of a table and draw it in a medium; the same seed gives the same picture."""
    rng = np.random.default_rng(seed)
    shape = make_key(table, rng, code)
    return shape, DRAW[medium](shape, rng)


def store(drawn: dict[str, Any], path: Path) -> Path:
    """Write a drawn picture as its medium would; returns the path with its suffix."""
    image = PilImage.fromarray(drawn["image"])
    dpi = {} if drawn["stored_dpi"] is None else {"dpi": (drawn["stored_dpi"], drawn["stored_dpi"])}
    if drawn["quality"] is None:
        path = path.with_suffix(".png")
        (image.convert("1", dither=PilImage.Dither.NONE) if drawn["one_bit"] else image).save(path, **dpi)
    else:
        path = path.with_suffix(".jpg")
        image.save(path, quality=drawn["quality"], **dpi)
    return path


def write_set(
    folder: Path,
    seed: int,
    count: int,
    media: tuple[str, ...] = MEDIA,
    kinds: tuple[str, ...] = KINDS,
    jobs: int = 1,
) -> list[dict[str, Any]]:
    """Write ``count`` pictures, media and kinds in turn, with truth.jsonl and specs/; tables are drawn by the seed."""
    (folder / "specs").mkdir(parents=True, exist_ok=True)
    calls = [(folder, seed, i, media, kinds) for i in range(count)]
    lines = []
    with (folder / "truth.jsonl").open("w") as out:
        for line in _each(calls, jobs):
            out.write(json.dumps(line) + "\n")
            out.flush()
            lines.append(line)
    return lines


def _each(calls: list[Call], jobs: int) -> Iterator[dict[str, Any]]:
    if jobs <= 1:
        yield from map(_write_one, calls)
        return
    with multiprocessing.get_context("spawn").Pool(jobs) as pool:
        yield from pool.imap(_write_one, calls)


def _write_one(call: Call) -> dict[str, Any]:
    folder, seed, i, media, kinds = call
    cv2.setNumThreads(1)
    medium = media[i % len(media)]
    kind = kinds[(i // len(media)) % len(kinds)]
    table = invented_table(kind, seed + i // (len(media) * len(kinds) * 2))
    spec = table.name.split()[-1]
    (folder / "specs" / f"{spec}.json").write_text(json.dumps(table.to_json(), indent=1) + "\n")
    shape, drawn = draw_picture(table, medium, [seed, i])
    drawn["nuisance"]["seed"] = [seed, i]
    path = store(drawn, folder / f"{medium}-{i + 1:04d}")
    return truth_line(path.name, medium, spec, shape, drawn)
