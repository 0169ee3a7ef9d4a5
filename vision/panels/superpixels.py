"""Small patches that follow the boundary map: basins of its low ground, grown level by level until they meet."""

from __future__ import annotations

from itertools import pairwise

import cv2
import numpy as np
from numpy.typing import NDArray

LEVELS = (0.06, 0.12, 0.2, 0.3, 0.45, 0.65, 2.0)
#: Patches are seeded on a grid of this many px, so that they stay small enough to be sorted apart.
SEED_GRID = 28
#: Smallest piece of low ground (px) that gets a patch of its own where no seed fell.
LEAST_ISLAND = 24
#: Growing steps between looks at whether anything is left to grow into.
STEPS = 4


def superpixels(boundary: NDArray[np.float32]) -> tuple[NDArray[np.int32], int]:
    """(labels, count): every pixel of the (h, w) boundary map gets a label 0..count-1.

    Seeds are the lowest point of each grid square; each level of LEVELS lets the patches grow over ground below it, so
    that two patches meet on the ridge between them.
    """
    h, w = boundary.shape
    smooth = np.asarray(cv2.GaussianBlur(boundary, (0, 0), 0.8), dtype=np.float32)
    labels = _seeds(smooth)
    for level in LEVELS:
        ground = (smooth <= level).view(np.uint8)
        if level == LEVELS[-1]:
            _grow(labels, ground, h + w)
        else:
            _grow(labels, ground, 2 * SEED_GRID)
            ground[labels > 0] = 0
            _seed_islands(labels, ground)
    kept = np.flatnonzero(np.bincount(labels.ravel()))
    compact = np.zeros(int(kept[-1]) + 1, np.int32)
    compact[kept] = np.arange(len(kept), dtype=np.int32)
    return compact[labels], len(kept)


def _grow(labels: NDArray[np.uint16], ground: NDArray[np.uint8], most: int) -> None:
    """Let labels spread over free ground (non-zero), in place, for at most `most` steps."""
    shapes = (np.ones((3, 3), np.uint8), np.array([[0, 1, 0], [1, 1, 1], [0, 1, 0]], np.uint8))
    left = -1
    for k in range(most):
        free = (labels == 0).view(np.uint8) & ground
        if k % STEPS == 0:
            now = cv2.countNonZero(free)
            if now in (0, left):
                break
            left = now
        cv2.copyTo(cv2.dilate(labels, shapes[k % 2]), free, labels)


def _seed_islands(labels: NDArray[np.uint16], ground: NDArray[np.uint8]) -> None:
    """Give low ground that no patch reached (a thin strip between two ridges, say) labels of its own, in place."""
    if not ground.any():
        return
    count, pieces, stats, _ = cv2.connectedComponentsWithStats(ground, connectivity=4)
    number = np.zeros(count, np.uint16)
    large = np.flatnonzero(stats[1:, cv2.CC_STAT_AREA] >= LEAST_ISLAND) + 1
    first = int(labels.max()) + 1
    large = large[: max(0, 65000 - first)]
    number[large] = first + np.arange(len(large))
    labels += number[pieces]


def _seeds(smooth: NDArray[np.float32]) -> NDArray[np.uint16]:
    """Label image (h, w) uint16 with a point on the lowest ground of each grid square."""
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
