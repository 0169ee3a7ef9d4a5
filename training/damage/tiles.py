"""The baseline: does a tile of a panel hold damage of a kind? Embedding of the tile and logistic regression on the same data."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from training.composites.statistics import auc
from training.damage.make import CODE_UNKNOWN, NAMES, Panel
from vision import backbone
from vision.damage.net import CELL, SIDE, DamageMaps
from vision.resize import fit_within, resize

#: Side of a tile at the scale that the net looks at, pixels; a kind counts as present from this many of its pixels.
TILE, LEAST_PIXELS = 96, 40


@dataclass(frozen=True, eq=False)
class Tile:
    """`embedding`: (d,) float32; `kinds`: which of NAMES it holds; `clear`: nothing unknown in it; `net`: the net's strongest
    answer for each kind in it ((kinds,) float32) where a net was asked."""

    embedding: NDArray[np.float32]
    kinds: NDArray[np.bool_]
    net: NDArray[np.float32]
    group: str


def tiles_of(panel: Panel, maps: DamageMaps | None = None) -> list[Tile]:
    """All tiles of a panel that hold nothing unknown; the last row and column are cut flush with the border."""
    h, w = panel.labels.shape
    width, height = fit_within(w, h, max_side=SIDE)
    pixels = resize(panel.pixels, width, height)
    ys, xs = _starts(height), _starts(width)
    crops, found = [], []
    for y in ys:
        for x in xs:
            y0, y1, x0, x1 = (int(v) for v in (y * h / height, (y + TILE) * h / height, x * w / width, (x + TILE) * w / width))
            labels = panel.labels[y0:y1, x0:x1]
            if (labels == CODE_UNKNOWN).any():
                continue
            counts = np.bincount(labels.ravel(), minlength=256)[1 : 1 + len(NAMES)]
            if ((counts > 0) & (counts < LEAST_PIXELS)).any():
                continue
            crop = pixels[y : y + TILE, x : x + TILE]
            crops.append(
                np.pad(
                    crop,
                    ((0, TILE - crop.shape[0]), (0, TILE - crop.shape[1]), (0, 0)),
                    mode="reflect" if min(crop.shape[:2]) > TILE // 2 else "edge",
                )
            )
            score = np.zeros(len(NAMES), np.float32)
            if maps is not None:
                part = maps.kinds[1:, y // CELL : (y + TILE) // CELL, x // CELL : (x + TILE) // CELL].reshape(len(NAMES), -1)
                score = np.sort(part, axis=1)[:, -6:].mean(axis=1)
            found.append((counts >= LEAST_PIXELS, score))
    if not crops:
        return []
    embedded = backbone.statistics_batch(np.stack(crops))
    return [Tile(e, k, s, panel.group) for e, (k, s) in zip(embedded, found, strict=True)]


def _starts(length: int) -> list[int]:
    if length <= TILE:
        return [0]
    n = -(-length // TILE)
    return [int(v) for v in np.linspace(0, length - TILE, n)]


def baseline(teach: Sequence[Tile], report: Sequence[Tile]) -> dict[str, dict[str, float]]:
    """For each kind and for any damage: area under the curve of embedding with logistic regression, and of the net, on tiles of
    the report part; kinds with fewer than five tiles on either side are left out."""
    from sklearn.linear_model import LogisticRegression
    from sklearn.preprocessing import StandardScaler

    scaler = StandardScaler().fit([t.embedding for t in teach])
    x, z = scaler.transform([t.embedding for t in teach]), scaler.transform([t.embedding for t in report])
    out = {}
    for name in (*NAMES, "any damage"):
        y, v = (_has(tiles, name) for tiles in (teach, report))
        if min(y.sum(), v.sum()) < 5 or not (~y).any():
            continue
        fitted = LogisticRegression(C=0.01, max_iter=300, class_weight="balanced").fit(x, y)
        score = z @ fitted.coef_[0]
        own = np.array([t.net.max() if name == "any damage" else t.net[NAMES.index(name)] for t in report], float)
        out[name] = {"tiles": float(v.sum()), "embedding": auc(score[v], score[~v]), "net": auc(own[v], own[~v])}
    return out


def _has(tiles: Iterable[Tile], name: str) -> NDArray[np.bool_]:
    return np.array([t.kinds.any() if name == "any damage" else bool(t.kinds[NAMES.index(name)]) for t in tiles])
