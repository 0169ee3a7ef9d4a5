"""Patches merged into surfaces: neighbours whose colour, features and border say "one surface" are joined, surest first."""

from __future__ import annotations

import heapq
import math
import operator
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from vision.resize import resize_map

#: Columns of the table that describes a pair of neighbours.
PAIR_NAMES = ("colour", "lightness", "hue", "feature", "border", "weak_border", "likeness", "texture", "small", "log_small",
              "border_share", "strong_border")
#: Boundary strength from which a border pixel counts as strong.
STRONG = 0.75


@dataclass(eq=False)
class RegionGraph:
    """Sums per region and per border, so that merging two regions is an addition.

    `sums`: (n, d) float64: pixel count, then count-weighted L*a*b* (3), squared lightness, likeness, features.
    `borders`: for each region, neighbour -> [length, sum of strength, sum of squares, strong px].
    """

    sums: NDArray[np.float64]
    borders: list[dict[int, NDArray[np.float64]]]


def build(labels: NDArray[np.int32], count: int, lab: NDArray[np.float32], likeness: NDArray[np.float32],
          features: NDArray[np.float32], boundary: NDArray[np.float32]) -> RegionGraph:
    """Graph of the patches of a label image.

    `likeness` and `features` ((rows, cols) and (rows, cols, k)) lie on the cell grid; the rest on working pixels.
    """

    h, w = labels.shape
    flat = labels.ravel()
    size = np.bincount(flat, minlength=count).astype(np.float64)
    columns: list[NDArray[np.float64]] = [size]
    for k in range(3):
        columns.append(np.bincount(flat, lab[..., k].ravel(), count).astype(np.float64))
    columns.append(np.bincount(flat, (lab[..., 0] ** 2).ravel(), count).astype(np.float64))
    # Features are read at half the working size: patches are larger than that, cells are four times as large.
    fine = resize_map(np.dstack([likeness, features]), w // 2, h // 2)
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
    stats = np.array([np.bincount(inverse), np.bincount(inverse, strength), np.bincount(inverse, strength**2),
                      np.bincount(inverse, strength >= STRONG)]).T
    borders: list[dict[int, NDArray[np.float64]]] = [{} for _ in range(count)]
    for k, row in zip(key.tolist(), stats, strict=True):
        i, j = divmod(k, count)
        borders[i][j] = borders[j][i] = row
    return borders


Looks = tuple[float, float, float, float, float, float, NDArray[np.float64]]


def looks(sums: NDArray[np.float64]) -> Looks:
    """(px, L*, a*, b*, sd of L*, likeness, features) of a region with the given sums."""
    size = float(sums[0])
    mean = sums / size
    _, lightness, a, b, squared, likeness = mean[:6].tolist()
    return size, lightness, a, b, max(squared - lightness * lightness, 0.0) ** 0.5, likeness, mean[6:]


def pair_row(a: Looks, b: Looks, border: NDArray[np.float64]) -> tuple[float, ...]:
    """The PAIR_NAMES numbers of two regions with the given looks and shared border."""
    length, strength, square, strong = border.tolist()
    mean = strength / length
    sd = max(square / length - mean * mean, 0.0) ** 0.5
    small = min(a[0], b[0])
    light = a[1] - b[1]
    hue = (a[2] - b[2]) ** 2 + (a[3] - b[3]) ** 2
    f = a[6] - b[6]
    return (
        (light * light * 0.4 + hue) ** 0.5 / 10, abs(light) / 20, hue**0.5 / 10, float(f.dot(f)) ** 0.5,
        mean, max(mean - sd, 0.0), abs(a[5] - b[5]), abs(a[4] - b[4]) / 5, float(small < 250), math.log(small) / 10,
        length / (3.5 * small**0.5), strong / length * min(length / 80, 1.0),
    )


#: Weights of PAIR_NAMES and a constant in the logit of "two surfaces", fitted by training/pair_weights.py on neighbours inside
#: and across the panels of rendered scenes and inside the outlines of real photographs.
DEFAULT_WEIGHTS = np.array([0.060, 0.146, 0.578, 0.325, 4.756, 3.935, 1.331, 0.405, 0.007, 1.534, 0.604, 1.352, -8.026])


@dataclass(frozen=True, eq=False)
class Merges:
    """Joins in the order made: region `kept` took in region `gone` at height `logit`; (m,) arrays over patch numbers."""

    kept: NDArray[np.int32]
    gone: NDArray[np.int32]
    logit: NDArray[np.float64]
    patches: int

    def cut(self, stop: float) -> NDArray[np.int32]:
        """(patches,) region numbers 0.. after all joins made before the first one at `stop` or above."""
        above = np.flatnonzero(self.logit >= stop)
        end = int(above[0]) if len(above) else len(self.logit)
        root = np.arange(self.patches)
        for kept, gone in zip(self.kept[:end][::-1].tolist(), self.gone[:end][::-1].tolist(), strict=True):
            root[gone] = root[kept]
        return np.unique(root, return_inverse=True)[1].astype(np.int32)


def merge(graph: RegionGraph, *, stop: float, weights: NDArray[np.float64] = DEFAULT_WEIGHTS) -> Merges:
    """Join pairs of neighbours whose logit of "two surfaces" is below `stop`, least first, and look again after each."""
    sums, borders = graph.sums.copy(), [dict(b) for b in graph.borders]
    seen = [looks(row) for row in sums]
    n = len(sums)
    version = [0] * n
    factors, constant = weights[:-1].tolist(), float(weights[-1])
    heap: list[tuple[float, int, int, int, int]] = []

    def push(i: int, j: int) -> None:
        logit = sum(map(operator.mul, pair_row(seen[i], seen[j], borders[i][j]), factors), constant)
        if logit < stop:
            heapq.heappush(heap, (logit, i, j, version[i], version[j]))

    for i in range(n):
        for j in borders[i]:
            if i < j:
                push(i, j)
    kept, gone, heights = [], [], []
    while heap:
        logit, i, j, vi, vj = heapq.heappop(heap)
        if version[i] != vi or version[j] != vj:
            continue
        if len(borders[i]) < len(borders[j]):
            i, j = j, i
        sums[i] += sums[j]
        seen[i] = looks(sums[i])
        version[i] += 1
        version[j] = -1
        kept.append(i)
        gone.append(j)
        heights.append(logit)
        del borders[i][j]
        for k, row in borders[j].items():
            if k == i:
                continue
            del borders[k][j]
            borders[i][k] = borders[k][i] = borders[i][k] + row if k in borders[i] else row
        borders[j] = {}
        for k in borders[i]:
            push(i, k)
    return Merges(np.array(kept, np.int32), np.array(gone, np.int32), np.maximum.accumulate(np.array([-np.inf, *heights]))[1:], n)
