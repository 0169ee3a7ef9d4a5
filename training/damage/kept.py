"""Drawn panels kept on disk, so that fitting and reporting need not draw them anew."""

from __future__ import annotations

import json
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import numpy as np
from PIL import Image

from training.damage.make import Panel, make_panel
from training.damage.parts import bank_of, seed_of

#: Raised when the same seed gives another panel.
VERSION = 3
CACHE = Path("build") / "damage" / "panels"


def panels(part: str, count: int, photos: Path, textures: Path | None, *, cache: Path = CACHE) -> Iterator[Panel]:
    """The first `count` panels of a part, from the cache folder where there."""
    folder = cache / f"v{VERSION}-{part}"
    folder.mkdir(parents=True, exist_ok=True)
    bank = None
    for number in range(count):
        file = folder / f"{number:05d}"
        if not file.with_suffix(".json").exists():
            bank = bank or bank_of(part, photos, textures)
            _write(make_panel(seed_of(part, number), bank), file)
        yield _read(file)


def _write(panel: Panel, file: Path) -> None:
    Image.fromarray(panel.pixels).save(file.with_suffix(".png"), compress_level=1)
    masks: dict[str, Any] = {f"fool_{n}": m for n, m in panel.fools.items()}
    np.savez_compressed(file.with_suffix(".npz"), labels=panel.labels, under=panel.under, marks=panel.marks, **masks)
    file.with_suffix(".json").write_text(
        json.dumps({"base": panel.base, "face": panel.face, "core": panel.core, "group": panel.group, "mm": panel.mm})
    )


def _read(file: Path) -> Panel:
    told = json.loads(file.with_suffix(".json").read_text())
    with Image.open(file.with_suffix(".png")) as image:
        pixels = np.asarray(image.convert("RGB"))
    with np.load(file.with_suffix(".npz")) as d:
        fools = {n[5:]: d[n] for n in d.files if n.startswith("fool_")}
        return Panel(
            pixels,
            d["labels"],
            d["under"],
            fools,
            told["base"],
            told["face"],
            told["core"],
            told["group"],
            told["mm"],
            d["marks"],
        )
