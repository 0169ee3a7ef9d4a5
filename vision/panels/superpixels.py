"""Small patches that follow the boundary map: basins of its low ground, grown level by level until they meet."""

from __future__ import annotations

from itertools import pairwise

import cv2
import numpy as np
from numpy.typing import NDArray

LEVELS = (0.05, 0.1, 0.16, 0.23, 0.32, 0.45, 0.65, 2.0)
#: Basins farther across than this many px are seeded on a grid, so that patches stay small enough to be sorted apart.
SEED_GRID = 28
LEAST_ISLAND = 24


def superpixels(boundary: NDArray[np.float32]) -> tuple[NDArray[np.int32], int]:
    """(labels, count): every pixel of the (h, w) boundary map gets a label 0..count-1.

    Seeds are the lowest point of each grid square; each level of LEVELS lets the patches grow over ground below it, so
    that two patches meet on the ridge between them.
    """
    h, w = boundary.shape
    smooth = np.asarray(cv2.GaussianBlur(boundary, (0, 0), 0.8), dtype=np.float32)
    labels = _seeds(smooth)
    step = np.ones((3, 3), np.uint8)
    cross = np.array([[0, 1, 0], [1, 1, 1], [0, 1, 0]], np.uint8)
    for level in LEVELS:
        open_ground = smooth <= level
        for k in range(SEED_GRID * 2):
            grown = cv2.dilate(labels, cross if k % 2 else step)
            new = (labels == 0) & open_ground & (grown > 0)
            if not new.any():
                break
            np.copyto(labels, grown, where=new)
        _seed_islands(labels, open_ground & (labels == 0))
    if (labels == 0).any():
        while (labels == 0).any():
            grown = cv2.dilate(labels, step)
            np.copyto(labels, grown, where=labels == 0)
    kept, compact = np.unique(labels, return_inverse=True)
    return compact.reshape(h, w).astype(np.int32), len(kept)


def _seed_islands(labels: NDArray[np.uint16], ground: NDArray[np.bool_]) -> None:
    """Give low ground that no patch reached (a thin strip between two ridges, say) labels of its own, in place."""
    count, pieces, stats, _ = cv2.connectedComponentsWithStats(ground.astype(np.uint8), connectivity=4)
    number = np.zeros(count, np.int64)
    large = np.flatnonzero(stats[1:, cv2.CC_STAT_AREA] >= LEAST_ISLAND) + 1
    first = int(labels.max()) + 1
    large = large[: max(0, 65000 - first)]
    number[large] = first + np.arange(len(large))
    labels += number[pieces].astype(np.uint16)


def _seeds(smooth: NDArray[np.float32]) -> NDArray[np.uint16]:
    """Label image (h, w) uint16 with a small disc on the lowest point of each grid square."""
    h, w = smooth.shape
    labels = np.zeros((h, w), np.uint16)
    rows, cols = max(1, round(h / SEED_GRID)), max(1, round(w / SEED_GRID))
    ys, xs = np.linspace(0, h, rows + 1).astype(int), np.linspace(0, w, cols + 1).astype(int)
    inner = cv2.GaussianBlur(smooth, (0, 0), 2.0)
    n = 0
    for y0, y1 in pairwise(ys):
        for x0, x1 in pairwise(xs):
            low = int(np.argmin(inner[y0:y1, x0:x1]))
            n += 1
            labels[y0 + low // (x1 - x0), x0 + low % (x1 - x0)] = n
    return labels
