"""Edges measured for fitting and scoring: made pictures and outlined real edges, each with its numbers and an embedding.

Outlines of made pictures are spoilt a little first, as hands and finders spoil them; in a fifth of them the face's side is
kept from the measure, as it often is for real ones.
"""

from __future__ import annotations

import csv
import hashlib
import pickle
from collections.abc import Iterator
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from training.edges.make import EdgePicture, Truth
from training.edges.sets import CACHE, VERSION, pictures
from vision import backbone
from vision.edges.frame import EdgeFrame, lay_out
from vision.edges.naming import as_row
from vision.edges.numbers import Numbers, measure_numbers
from vision.edges.plies import Plies
from vision.intake import load_photo
from vision.resize import resize

CROP = 224


@dataclass(frozen=True, eq=False)
class Row:
    """One edge. `group`: photographer, or the seed of a made picture; `truth`: of a made picture; `label`: of a real one
    (columns of panels.csv); `embedding`: of the crop, for the baseline."""

    group: str
    values: NDArray[np.float64]
    numbers: Numbers
    plies: Plies
    embedding: NDArray[np.float32]
    strip: str
    line_px: float
    truth: Truth | None = None
    label: dict[str, str] = field(default_factory=dict)


def crop(frame: EdgeFrame) -> NDArray[np.uint8]:
    """What the embedding sees: the strip with a little of what borders it, at most three times as long as high."""
    rim = max(4, frame.rows // 3)
    part = frame.rgb[max(0, frame.top - rim):frame.top + frame.rows + rim]
    n = min(part.shape[1], 3 * part.shape[0])
    start = (part.shape[1] - n) // 2
    return resize(np.ascontiguousarray(part[:, start:start + n]), CROP, CROP)


def spoilt(truth: Truth) -> tuple[NDArray[np.float64], tuple[float, float] | None]:
    """(outline a little wrong, a point on the face's side or None)."""
    rng = np.random.default_rng([truth.seed, 77, len(truth.build)])
    outline = truth.outline
    if truth.arris is not None and truth.lower is not None:
        a, b = np.mean(truth.arris, axis=0), np.mean(truth.lower, axis=0)
    else:
        a, b = outline[:2].mean(axis=0), outline[2:].mean(axis=0)
    thick = float(np.hypot(*(b - a)))
    error = rng.normal(0, 1.0 + 0.015 * thick, outline.shape)
    if rng.random() < 0.35:  # drawn on a small picture: too thin, mostly, and beside its place
        across = (b - a) / max(thick, 1e-6)
        depth = (outline - (a + b) / 2) @ across
        moved = depth * (rng.uniform(0.55, 1.1) - 1) + rng.normal(0, 0.06) * thick
        error = error + moved[:, None] * across
    toward = a + 1.5 * (a - b)
    return outline + error, None if rng.random() < 0.2 else (float(toward[0]), float(toward[1]))


def fully_seen(truth: Truth) -> bool:
    """The thickness is in view along most of the edge."""
    if truth.lower is None:
        return True
    return float(np.hypot(*np.subtract(truth.lower[1], truth.lower[0]))) >= 0.7 * truth.along_px


def row_of(picture: EdgePicture) -> Row | None:
    outline, face_at = spoilt(picture.truth)
    frame = lay_out(picture.pixels, outline, face_at=face_at)
    if frame is None or not fully_seen(picture.truth):
        return None
    return _row(frame, picture.truth.group, picture.truth.strip, truth=picture.truth)


def _row(frame: EdgeFrame, group: str, strip: str, **more: Any) -> Row:
    found = measure_numbers(frame)
    line = found.line.row * frame.scale if found.line else 0.0
    embedding = backbone.embed_batch(crop(frame)[None])[0]
    return Row(group, as_row(found.values), found, found.plies, embedding, strip, line, **more)


def measures_key() -> str:
    """Hash of the code that measures, so that rows of other code are not reused."""
    room = Path(__file__).resolve().parent.parent / "vision" / "edges"
    names = ("continuation", "face_layer", "frame", "layers", "numbers", "particles", "plies", "rings")
    return hashlib.sha256("".join((room / f"{n}.py").read_text() for n in names).encode()).hexdigest()[:10]


def made_rows(part: str, per_kind: int, photos: Path | None, *, cache: Path | None = CACHE) -> Iterator[Row]:
    """Rows of the made pictures of a part; what was measured before with the same code is read back."""
    store = None if cache is None else cache / f"rows-{measures_key()}-{VERSION}-{part}"
    for picture in pictures(part, per_kind, photos, cache=cache):
        t = picture.truth
        file = None if store is None else store / f"{t.build}-{t.setting}-{t.seed}.pickle"
        if file is not None and file.exists():
            row: Row | None = pickle.loads(file.read_bytes())
        else:
            row = row_of(picture)
            if file is not None:
                file.parent.mkdir(parents=True, exist_ok=True)
                file.write_bytes(pickle.dumps(row))
        if row is not None:
            yield row


#: What the edge column of panels.csv says to what the narrow side shows.
REAL_STRIP = {"plies": "plies", "end_grain": "solid_end", "fibre": "fibre", "particles": "particles", "banding": "banding",
              "lipping": "solid_edge"}


def real_strip(label: dict[str, str]) -> str | None:
    """Strip kind of an outlined real edge, None where its labels do not settle it."""
    if label["face"] == "not_wood":
        return "other"
    if label["edge"] == "none" and label["core"] == "lumber" and label["view"] == "edge":
        return "solid_edge"
    return REAL_STRIP.get(label["edge"])


def real_rows(photos: Path, *, cache: Path | None = CACHE) -> list[Row]:
    """Outlined edges and ends of real furniture whose labels settle what they show."""
    store = None if cache is None else cache / f"real-{measures_key()}.pickle"
    if store is not None and store.exists():
        kept: list[Row] = pickle.loads(store.read_bytes())
        return kept
    rows = list(_real_rows(photos))
    if store is not None:
        store.parent.mkdir(parents=True, exist_ok=True)
        store.write_bytes(pickle.dumps(rows))
    return rows


def _real_rows(photos: Path) -> Iterator[Row]:
    with (photos / "panels.csv").open(newline="") as file:
        labels = [r for r in csv.DictReader(file) if r["view"] in ("edge", "end")]
    for label in labels:
        strip = real_strip(label)
        if strip is None:
            continue
        photo = load_photo(photos / "img" / label["file"], "p1")
        points = np.array([[float(v) for v in p.split(":")] for p in label["polygon"].split()])
        frame = lay_out(photo.pixels, points)
        if frame is not None:
            yield _row(frame, label["source"], strip, label=label)
