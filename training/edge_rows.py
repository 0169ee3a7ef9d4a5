"""Edges measured for fitting and scoring: made pictures and outlined real edges, each with its numbers and an embedding.

Outlines of made pictures are spoilt a little first, as hands and finders spoil them; in a fifth of them the face's side is
kept from the measure, as it often is for real ones.
"""

from __future__ import annotations

import csv
import gzip
import hashlib
import math
import pickle
from collections.abc import Iterator
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from training.edges.examples import Example, depth_rows, example_of
from training.edges.make import EdgePicture, Truth
from training.edges.sets import CACHE, VERSION, figures_of, picture_of, plan
from vision import backbone
from vision.edges.canvas import Canvas, draw_canvas, draw_crop
from vision.edges.frame import EdgeFrame, lay_out
from vision.edges.naming import as_row
from vision.edges.net import NET, NetAnswer, load_edge_net
from vision.edges.numbers import Numbers, measure_numbers
from vision.edges.plies import Plies
from vision.intake import load_photo

#: Folds of photographers of real edges.
FOLDS = 4


@dataclass(frozen=True)
class Place:
    """`scale`: photo px a frame px; `top`, `rows`: of the frame as found; `arris`, `lower`: frame rows where the borders truly
    are (nan where not known)."""

    scale: float
    top: int
    rows: int
    arris: float = math.nan
    lower: float = math.nan

    def row_at(self, share: float) -> float:
        """Frame row at a share of the true thickness."""
        return self.arris + share * (self.lower - self.arris)


@dataclass(frozen=True, eq=False)
class Row:
    """One edge. `group`: photographer, or the seed of a made picture; `values`: numbers by hand (empty where not measured,
    `numbers` then None); `embedding`: of the crop, half floats; `place`: where it lies in its frame; `truth`: of a made
    picture; `label`: of a real one (columns of panels.csv); `net`: what the net answers, where it was asked."""

    group: str
    values: NDArray[np.float64]
    numbers: Numbers | None
    embedding: NDArray[np.floating]
    strip: str
    place: Place
    truth: Truth | None = None
    label: dict[str, str] = field(default_factory=dict)
    net: NetAnswer | None = None
    canvas: Canvas | None = None

    @property
    def plies(self) -> Plies:
        assert self.numbers is not None
        return self.numbers.plies

    def with_net(self, net: NetAnswer) -> Row:
        return replace(self, net=net)

    def slim(self) -> Row:
        """Without the canvas, for keeping."""
        return replace(self, canvas=None)


def spoilt(truth: Truth, again: int = 0) -> tuple[NDArray[np.float64], tuple[float, float] | None]:
    """(outline a little wrong, a point on the face's side or None); `again` for another error of the same edge."""
    rng = np.random.default_rng([truth.seed, 77 + again, len(truth.build)])
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
    return outline + error, None if rng.random() < (0.45 if again else 0.2) else (float(toward[0]), float(toward[1]))


def fully_seen(truth: Truth) -> bool:
    """The thickness is in view along most of the edge."""
    if truth.lower is None:
        return True
    return float(np.hypot(*np.subtract(truth.lower[1], truth.lower[0]))) >= 0.7 * truth.along_px


def row_of(picture: EdgePicture, *, by_hand: bool = True, canvas: bool = False) -> Row | None:
    """The row of a made picture; `canvas` keeps what the net is shown instead of asking the stored net."""
    outline, face_at = spoilt(picture.truth)
    frame = lay_out(picture.pixels, outline, face_at=face_at)
    if frame is None or not fully_seen(picture.truth):
        return None
    truth = picture.truth
    return _row(frame, truth.group, truth.strip, by_hand=by_hand, keep_canvas=canvas, truth=truth)


def measured(picture: EdgePicture, count: int) -> list[Example]:
    """Examples for the net: the edge laid out from `count` outlines, each wrong in its own way."""
    out = []
    for again in range(count if fully_seen(picture.truth) else 0):
        outline, face_at = spoilt(picture.truth, again)
        frame = lay_out(picture.pixels, outline, face_at=face_at)
        if frame is not None:
            out.append(example_of(frame, picture.truth.strip, picture.truth))
    return out


def _row(frame: EdgeFrame, group: str, strip: str, *, by_hand: bool = True, keep_canvas: bool = False, **more: Any) -> Row:
    found = measure_numbers(frame) if by_hand else None
    embedding = backbone.embed_batch(draw_crop(frame)[None])[0].astype(np.float16)
    values = as_row(found.values) if found is not None else np.zeros(0)
    canvas = draw_canvas(frame)
    net = load_edge_net().answer_canvas(canvas) if not keep_canvas and NET.exists() else None
    truth: Truth | None = more.get("truth")
    borders = np.full(2, math.nan)
    if truth is not None and truth.arris is not None and truth.lower is not None:
        borders = depth_rows(truth, frame, np.array([0.0, 1.0]))
    place = Place(frame.scale, frame.top, frame.rows, float(borders[0]), float(borders[1]))
    return Row(group, values, found, embedding, strip, place, net=net,
               canvas=canvas if keep_canvas else None, **more)


def measures_key() -> str:
    """Hash of the code that measures and of the net, so that rows of other code are not reused."""
    room = Path(__file__).resolve().parent.parent / "vision" / "edges"
    names = ("canvas", "continuation", "face_layer", "frame", "layers", "numbers", "particles", "plies", "rings")
    net = NET.read_bytes() if NET.exists() else b""
    return hashlib.sha256("".join((room / f"{n}.py").read_text() for n in names).encode() + net).hexdigest()[:10]


def store_of(part: str, cache: Path = CACHE) -> Path:
    """Folder of the rows of a part by the present code and net."""
    return cache / f"rows-{measures_key()}-{VERSION}-{part}"


def unpack(folder: Path, cache: Path = CACHE) -> None:
    """Rows that came back from teaching the net (rows_PART*.gz) into the cache."""
    for file in sorted(folder.glob("rows_*.gz")):
        part = file.name.split("_")[1].split(".")[0]
        if part == "real":
            (cache / f"real-{measures_key()}.pickle").write_bytes(gzip.decompress(file.read_bytes()))
            continue
        store_of(part, cache).mkdir(parents=True, exist_ok=True)
        for key, row in pickle.loads(gzip.decompress(file.read_bytes())).items():
            (store_of(part, cache) / f"{key}.pickle").write_bytes(pickle.dumps(row))


def made_rows(part: str, per_kind: int, photos: Path | None, *, cache: Path | None = CACHE) -> Iterator[Row]:
    """Rows of the made pictures of a part; what was measured before with the same code is read back."""
    store = None if cache is None else store_of(part, cache)
    figures = None
    for trial in plan(part, per_kind):
        file = None if store is None else store / f"{trial.key}.pickle"
        if file is not None and file.exists():
            row: Row | None = pickle.loads(file.read_bytes())
        else:
            figures = figures_of(part, photos) if figures is None else figures
            row = row_of(picture_of(trial, part, figures, cache))
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


def fold_of_group(group: str) -> int:
    """Fold of a photographer of real edges."""
    return hashlib.sha256(f"real edges 3 {group}".encode()).digest()[0] % FOLDS


def real_edges(photos: Path) -> Iterator[tuple[NDArray[np.uint8], NDArray[np.float64], str, dict[str, str]]]:
    """(photo, outline, strip kind, label) of edges and ends of real furniture whose labels settle what they show."""
    with (photos / "panels.csv").open(newline="") as file:
        labels = [r for r in csv.DictReader(file) if r["view"] in ("edge", "end")]
    for label in labels:
        strip = real_strip(label)
        if strip is not None:
            pixels = load_photo(photos / "img" / label["file"], "p1").pixels
            yield pixels, np.array([[float(v) for v in p.split(":")] for p in label["polygon"].split()]), strip, label


def measured_real(photos: Path, count: int = 2) -> Iterator[tuple[Row, list[Example]]]:
    """(row with its canvas, examples from outlines a little wrong) of every real edge."""
    for pixels, outline, strip, label in real_edges(photos):
        frame = lay_out(pixels, outline)
        if frame is None:
            continue
        examples = [example_of(frame, strip, None)]
        for k in range(1, count):
            rng = np.random.default_rng([k, len(label["id"]), int(abs(outline).sum())])
            error = rng.normal(0, 0.5 + 0.04 * frame.thickness_px, outline.shape)
            again = lay_out(pixels, outline + error)
            if again is not None:
                examples.append(example_of(again, strip, None))
        yield _row(frame, label["source"], strip, keep_canvas=True, label=label), examples


def real_rows(cache: Path = CACHE) -> list[tuple[Row, NetAnswer]]:
    """Outlined real edges as the nets' teaching left them: (row with the answer of a net that saw none of its photographer's
    edges, answer of the net taught on made pictures alone). Empty where they were not brought back (`unpack`)."""
    store = cache / f"real-{measures_key()}.pickle"
    kept: list[tuple[Row, NetAnswer]] = pickle.loads(store.read_bytes()) if store.exists() else []
    return kept
