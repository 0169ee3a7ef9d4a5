"""Panels measured on their photo as it is and after every change of `robust_changes`; kept, so that a run can go on.

Verdicts on the original and on the changed photo are worked out alike: measures of the one panel and its looks, nothing
told by other panels of the photo (figure that recurs) and nothing by joints, fittings or damage, which move no verdict.
"""

from __future__ import annotations

import hashlib
import sys
import time
from collections import defaultdict
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from training.measuring import _store, backbone_hash, code_hash
from training.real_photos import Labelled
from training.robust_changes import versions
from vision import looks as looks_room
from vision import measure
from vision.errors import GrainassayError
from vision.intake import load_photo
from vision.panels import panels_from_outlines, rectify
from vision.types import Photo


@dataclass(frozen=True, eq=False)
class Versions:
    """Numbers of one panel by version of its photo. `names` (v,); `values` (v, features) float32; `looks` (v, crops,
    length) float32. Versions whose outline is gone (cut off) are missing."""

    row: Labelled
    names: tuple[str, ...]
    values: NDArray[np.float32]
    looks: NDArray[np.float32]


def _place(row: Labelled, cache: Path) -> Path:
    asked = repr([(n, row.id, row.path.name, row.path.stat().st_size, row.outline) for n, _ in versions()])
    return cache / f"{hashlib.sha256(asked.encode()).hexdigest()[:16]}.{code_hash()}.{backbone_hash()}.npz"


def measure_versions(row: Labelled, photo: Photo) -> Versions:
    """Measure one panel on every version of its photo."""
    names, values, looks = [], [], []
    for name, change in versions():
        pixels, outline = change(photo.pixels, np.asarray(row.outline, dtype=np.float64))
        changed = Photo(photo.id, photo.file, photo.sha256, pixels)
        try:
            panel = panels_from_outlines(changed, [(row.id, [(float(x), float(y)) for x, y in outline])])[0]
            view = rectify(changed, panel)
        except GrainassayError:
            continue
        numbers = measure.measure_view(view)[1]
        found = looks_room.looks(changed, view)
        names.append(name)
        values.append([numbers[f.name] for f in measure.schema()])
        looks.append(np.stack([found[k] for k in looks_room.LOOKS]))
    return Versions(row, tuple(names), np.array(values, dtype=np.float32), np.array(looks, dtype=np.float32))


def _load(row: Labelled, place: Path) -> Versions:
    with np.load(place, allow_pickle=False) as d:
        return Versions(row, tuple(str(n) for n in d["names"]), d["values"], d["looks"])


def measured(rows: Sequence[Labelled], cache: Path, minutes: float) -> tuple[list[Versions], int]:
    """All rows that are measured or could be within the time, and how many are still to do."""
    cache.mkdir(parents=True, exist_ok=True)
    out, by_photo = [], defaultdict(list)
    for row in rows:
        place = _place(row, cache)
        if place.exists():
            out.append(_load(row, place))
        else:
            by_photo[row.path].append(row)
    end, missing = time.monotonic() + 60 * minutes, sum(len(r) for r in by_photo.values())
    for path, found in sorted(by_photo.items()):
        if time.monotonic() > end:
            break
        photo = load_photo(path, "photo")
        for row in found:
            v = measure_versions(row, photo)
            _store(_place(row, cache), names=np.array(v.names), values=v.values, looks=v.looks)
            out.append(v)
            missing -= 1
        print(f"{missing} panels still to measure", file=sys.stderr, flush=True)
    return out, missing
