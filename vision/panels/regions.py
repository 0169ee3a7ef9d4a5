"""Patches merged into surfaces: neighbours whose colour, features and border say "one surface" are joined, surest first."""

from __future__ import annotations

import heapq
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

#: Columns of the table that describes a pair of neighbours.
PAIR_NAMES = ("colour", "lightness", "hue", "feature", "border", "weak_border", "likeness", "texture", "small", "log_small",
              "border_share")


@dataclass(eq=False)
class RegionGraph:
    """Sums per region and per border, so that merging two regions is an addition.

    `sums`: (n, d) float64: pixel count, then count-weighted L*a*b* (3), squared lightness, likeness, features.
    `borders`: for each region, neighbour -> [length, sum of strength, sum of squares].
    """

    sums: NDArray[np.float64]
    borders: list[dict[int, NDArray[np.float64]]]


def build(labels: NDArray[np.int32], count: int, lab: NDArray[np.float32], likeness: NDArray[np.float32],
          features: NDArray[np.float32], boundary: NDArray[np.float32]) -> RegionGraph:
    """Graph of the patches of a label image.

    `likeness` and `features` ((rows, cols) and (rows, cols, k)) lie on the cell grid; the rest on working pixels.
    """
    import cv2

    h, w = labels.shape
    flat = labels.ravel()
    size = np.bincount(flat, minlength=count).astype(np.float64)
    columns: list[NDArray[np.float64]] = [size]
    for k in range(3):
        columns.append(np.bincount(flat, lab[..., k].ravel(), count).astype(np.float64))
    columns.append(np.bincount(flat, (lab[..., 0] ** 2).ravel(), count).astype(np.float64))
    # Features are read at half the working size: patches are larger than that, cells are four times as large.
    fine = np.dstack([cv2.resize(np.ascontiguousarray(a), (w // 2, h // 2), interpolation=cv2.INTER_LINEAR)
                      for a in (likeness, *(features[..., k:k + 4] for k in range(0, features.shape[2], 4)))])
    half = labels[::2, ::2].ravel()
    seen = np.maximum(np.bincount(half, minlength=count), 1)
    order = np.argsort(half, kind="stable")
    starts = np.flatnonzero(np.r_[True, half[order][1:] != half[order][:-1]])
    present = half[order][starts]
    total = np.zeros((count, fine.shape[2]))
    total[present] = np.add.reduceat(fine.reshape(-1, fine.shape[2])[order], starts, axis=0)
    columns += list((total / seen[:, None] * size[:, None]).T)
    return RegionGraph(np.array(columns).T, _borders(labels, count, boundary))


def _borders(labels: NDArray[np.int32], count: int, boundary: NDArray[np.float32]) -> list[dict[int, NDArray[np.float64]]]:
    """Neighbours of each patch with length and strength of the shared border."""
    keys, values = [], []
    for a, b, s in ((labels[:, :-1], labels[:, 1:], np.maximum(boundary[:, :-1], boundary[:, 1:])),
                    (labels[:-1], labels[1:], np.maximum(boundary[:-1], boundary[1:]))):
        differ = a != b
        low, high = np.minimum(a[differ], b[differ]).astype(np.int64), np.maximum(a[differ], b[differ]).astype(np.int64)
        keys.append(low * count + high)
        values.append(s[differ])
    key, inverse = np.unique(np.concatenate(keys), return_inverse=True)
    strength = np.concatenate(values)
    stats = np.array([np.bincount(inverse), np.bincount(inverse, strength), np.bincount(inverse, strength**2)]).T
    borders: list[dict[int, NDArray[np.float64]]] = [{} for _ in range(count)]
    for k, row in zip(key.tolist(), stats, strict=True):
        i, j = divmod(k, count)
        borders[i][j] = borders[j][i] = row
    return borders


def pair_row(a: NDArray[np.float64], b: NDArray[np.float64], border: NDArray[np.float64]) -> NDArray[np.float64]:
    """The PAIR_NAMES numbers of two regions with the given sums and shared border."""
    ma, mb = a[1:] / a[0], b[1:] / b[0]
    d = ma - mb
    mean = border[1] / border[0]
    sd = max(border[2] / border[0] - mean * mean, 0.0) ** 0.5
    va, vb = max(ma[3] - ma[0] ** 2, 0.0) ** 0.5, max(mb[3] - mb[0] ** 2, 0.0) ** 0.5
    small = min(a[0], b[0])
    f = d[5:]
    return np.array([
        (d[0] * d[0] * 0.4 + d[1] * d[1] + d[2] * d[2]) ** 0.5 / 10, abs(d[0]) / 20, (d[1] ** 2 + d[2] ** 2) ** 0.5 / 10,
        float(f @ f) ** 0.5, mean, max(mean - sd, 0.0), abs(d[4]), abs(va - vb) / 5,
        float(small < 250), np.log(small) / 10, border[0] / (3.5 * small**0.5),
    ])


#: Weights of PAIR_NAMES and a constant in the logit of "two surfaces".
DEFAULT_WEIGHTS = np.array([1.2, 0.5, 0.6, 0.45, 3.5, 2.5, 2.0, 0.3, -1.0, 0.0, -0.3, -4.0])


def merge(graph: RegionGraph, *, stop: float, weights: NDArray[np.float64] = DEFAULT_WEIGHTS) -> NDArray[np.int32]:
    """(n,) region number of every patch after joining pairs whose logit of "two surfaces" is below `stop`, least first."""
    sums, borders = graph.sums.copy(), [dict(b) for b in graph.borders]
    n = len(sums)
    parent = np.arange(n)
    version = [0] * n
    heap: list[tuple[float, int, int, int, int]] = []

    def push(i: int, j: int) -> None:
        logit = float(pair_row(sums[i], sums[j], borders[i][j]) @ weights[:-1] + weights[-1])
        if logit < stop:
            heapq.heappush(heap, (logit, i, j, version[i], version[j]))

    for i in range(n):
        for j in borders[i]:
            if i < j:
                push(i, j)
    while heap:
        _, i, j, vi, vj = heapq.heappop(heap)
        if version[i] != vi or version[j] != vj:
            continue
        if len(borders[i]) < len(borders[j]):
            i, j = j, i
        sums[i] += sums[j]
        parent[j] = i
        version[i] += 1
        version[j] = -1
        for k, row in borders[j].items():
            if k == i:
                continue
            del borders[k][j]
            both = borders[i][k] + row if k in borders[i] else row
            borders[i][k] = borders[k][i] = both
        del borders[i][j]
        borders[j] = {}
        for k in borders[i]:
            push(min(i, k), max(i, k))
    root = np.array([_root(parent, k) for k in range(n)])
    return np.unique(root, return_inverse=True)[1].astype(np.int32)


def _root(parent: NDArray[np.intp], k: int) -> int:
    while parent[k] != k:
        k = int(parent[k])
    return k
