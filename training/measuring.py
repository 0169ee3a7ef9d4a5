"""Measure labelled panels once and keep the numbers: features by schema and code, looks by backbone, one file a photo.

Measuring is by far the slowest step of teaching. A stored file is used again while its photo, outlines, schema, measuring
code and backbone stay the same, so an interrupted run goes on where it stopped.
"""

from __future__ import annotations

import hashlib
import sys
from collections import defaultdict
from collections.abc import Iterable, Sequence
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass
from functools import lru_cache
from importlib.resources import files
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from training import edge_held_out, net_held_out
from training.real_photos import Labelled, open_panel
from vision import looks as looks_room
from vision import measure
from vision.errors import GrainassayError
from vision.intake import load_photo
from vision.panels import panels_from_outlines, rectify
from vision.repeats.find import find_repeats
from vision.repeats.numbers import numbers as repeat_numbers
from vision.repeats.numbers import strongest
from vision.repeats.sheet import sheet_of
from vision.types import Panel, Photo, WorkingView


@dataclass(frozen=True, eq=False)
class Measured:
    """Numbers of some panels. `ids` (n,); `values` (n, features) float32; `looks` (n, crops, length) float32."""

    ids: list[str]
    values: NDArray[np.float32]
    looks: NDArray[np.float32]


#: Code that the numbers come from: a change there makes stored numbers stale even where no name changes.
_MEASURING_CODE = ("grain", "surface", "cues_seen", "edges/[!f]*.py", "edges/f[ar]*.py", "intake", "panels/rectify.py",
                   "panels/geometry.py", "panels/outlines.py", "shape.py", "looks.py", "resize.py", "measure.py", "layouts",
                   "repeats", "panel_net.py", "models/layouts.json", "models/layouts.onnx", "models/repeats.json",
                   "models/edges.*", "models/panel_net.onnx")


@lru_cache(maxsize=1)
def code_hash() -> str:
    """Which code the feature values come from, with the schema hash."""
    found = hashlib.sha256(measure.feature_schema().encode())
    root = Path(str(files("vision")))
    for name in _MEASURING_CODE:
        places = sorted(root.glob(name))
        if not places:
            raise FileNotFoundError(f"measuring code {name} is not there")
        for place in places:
            for path in sorted(place.glob("*.py")) if place.is_dir() else [place]:
                found.update(path.read_bytes())
    for store in (edge_held_out.STORE, net_held_out.STORE):
        if store.exists():
            found.update(store.read_bytes())
    return found.hexdigest()[:16]


@lru_cache(maxsize=1)
def backbone_hash() -> str:
    """Which backbone the looks come from."""
    return hashlib.sha256(files("vision").joinpath("models/backbone.onnx").read_bytes()).hexdigest()[:12]


def _digest(path: Path, rows: Sequence[Labelled]) -> str:
    text = repr([(path.name, path.stat().st_size, r.id, r.outline, r.line_scan) for r in rows])
    return hashlib.sha256(text.encode()).hexdigest()[:16]


def _panel(row: Labelled, photo: Photo) -> tuple[Photo, Panel]:
    """The panel as the program itself would make it from a given outline."""
    if row.line_scan:
        photo, panel = open_panel(row, photo)
        return photo, panels_from_outlines(photo, [(row.id, panel.outline)])[0]
    return photo, panels_from_outlines(photo, [(row.id, row.outline)])[0]


def measure_photo(path: Path, rows: Sequence[Labelled], cache: Path) -> tuple[Path, Path, list[str]]:
    """Measure all panels of one photo; (file of values, file of looks, ids that could not be measured)."""
    name = _digest(path, rows)
    values_at = cache / f"{name}.{code_hash()}.npz"
    looks_at = cache / f"{name}.{backbone_hash()}.npz"
    bad: list[str] = []
    if values_at.exists() and looks_at.exists():
        return values_at, looks_at, bad
    photo = load_photo(path, "photo")
    values: list[Any] = []
    looks, views, kept, seen = [], [], [], []
    for row in rows:
        try:
            whole, panel = _panel(row, photo)
            view = rectify(whole, panel)
        except GrainassayError:
            bad.append(row.id)
            continue
        if not looks_at.exists():
            found = looks_room.looks(whole, view)
            looks.append(np.stack([found[k] for k in looks_room.LOOKS]))
            seen.append(row.id)
        if not values_at.exists():
            _, numbers = measure.measure_view(view)
            numbers.update(edge_held_out.numbers_for(view.panel.outline))
            numbers.update(net_held_out.numbers_for(view.panel.outline))
            values.append(numbers)
            views.append(view)
            kept.append(row.id)
    if not values_at.exists():
        _tell_repeats(views, [r for r in rows if r.id in set(kept)], values, (photo.width, photo.height))
        values = [[numbers[f.name] for f in measure.schema()] for numbers in values]
        table = np.array(values, dtype=np.float32).reshape(len(kept), len(measure.schema()))
        _store(values_at, ids=np.array(kept, dtype="U64"), values=table)
    if not looks_at.exists():
        _store(looks_at, ids=np.array(seen, dtype="U64"), looks=np.array(looks, dtype=np.float32))
    return values_at, looks_at, bad


def _tell_repeats(
    views: Sequence[WorkingView], rows: Sequence[Labelled], values: Sequence[dict[str, float]], size: tuple[int, int]
) -> None:
    """Fill in what only the other panels of the photo could tell, as `vision.recurring` does for a whole piece."""
    at = [k for k, row in enumerate(rows) if row.view in (None, "face", "unknown")]
    repeats = find_repeats([sheet_of(views[k], size) for k in at])
    for k, repeat in zip(at, strongest(repeats, len(at)), strict=True):
        values[k].update(repeat_numbers(repeat))


def _store(path: Path, **arrays: NDArray[np.generic]) -> None:
    """Written whole or not at all, so that an interrupted run leaves no half file."""
    part = path.with_suffix(".part")
    with part.open("wb") as stream:
        np.savez(stream, **arrays)  # type: ignore[arg-type]
    part.replace(path)


def _job(args: tuple[Path, list[Labelled], Path]) -> tuple[Path, Path, list[str]]:
    return measure_photo(*args)


def measure_all(rows: Iterable[Labelled], cache: Path, workers: int = 2) -> Measured:
    """Measure all rows, several photos at a time, telling progress on stderr. Panels that cannot be measured are named
    there and left out."""
    by_photo: dict[Path, list[Labelled]] = defaultdict(list)
    for row in rows:
        by_photo[row.path].append(row)
    cache.mkdir(parents=True, exist_ok=True)
    jobs = [(path, found, cache) for path, found in sorted(by_photo.items())]
    ids: list[str] = []
    values, looks = [], []
    with ProcessPoolExecutor(max_workers=workers) as pool:
        for done, (values_at, looks_at, bad) in enumerate(pool.map(_job, jobs, chunksize=4), 1):
            if bad:
                print(f"left out, outline cannot be used: {', '.join(bad)}", file=sys.stderr)
            with np.load(values_at) as v, np.load(looks_at) as k:
                if list(v["ids"]) != list(k["ids"]):
                    raise ValueError(f"{values_at.name} and {looks_at.name} hold different panels; delete both")
                ids += [str(i) for i in v["ids"]]
                if len(v["ids"]):
                    values.append(v["values"])
                    looks.append(k["looks"])
            if done % 50 == 0 or done == len(jobs):
                print(f"measured {done} of {len(jobs)} photos", file=sys.stderr)
    if not ids:
        raise ValueError("nothing could be measured")
    return Measured(ids, np.concatenate(values), np.concatenate(looks))
