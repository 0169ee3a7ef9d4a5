"""Maps as a faultless net would give them, for lines and centres known exactly."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from vision.layouts.canvas import CHANNELS, TALL, WIDE, Canvas, whole
from vision.layouts.layout import LAYOUTS
from vision.layouts.learned import CELL, WEDGES, Seen


def blank(width: int, height: int) -> Canvas:
    """Canvas of a view of a size, nothing on it."""
    return Canvas(np.zeros((CHANNELS, TALL, WIDE), np.float32), height > width, width, height, *whole(width, height))


def map_of(canvas: Canvas, lines: list[tuple[float, float, float, float]], sigma: float = 0.8,
           ) -> tuple[NDArray[np.float32], NDArray[np.float32]]:
    """(strength, way) maps of segments (x0, y0, x1, y1) on the view: Gaussian in the distance on the canvas, in cells."""
    rows, cols = TALL // CELL, WIDE // CELL
    y, x = np.mgrid[0:rows, 0:cols].astype(float)
    best, way = np.full((rows, cols), np.inf), np.zeros((2, rows, cols), np.float32)
    for x0, y0, x1, y1 in lines:
        p, q = (canvas.to_canvas(np.array([[x0, y0], [x1, y1]])) + 0.5) / CELL - 0.5
        d = q - p
        t = np.clip(((x - p[0]) * d[0] + (y - p[1]) * d[1]) / (d @ d), 0, 1)
        off = (x - p[0] - t * d[0]) ** 2 + (y - p[1] - t * d[1]) ** 2
        angle = 2 * np.arctan2(-d[1], d[0])
        nearer = off < best
        best = np.where(nearer, off, best)
        way[0][nearer], way[1][nearer] = np.cos(angle), np.sin(angle)
    return np.exp(-best / (2 * sigma**2)).astype(np.float32), way


def seen_of(canvas: Canvas, lines: list[tuple[float, float, float, float]], centre: tuple[float, float] | None = None) -> Seen:
    """Answers of a faultless net that leaves the name and the count open."""
    axis, way = map_of(canvas, lines)
    point = np.zeros_like(axis)
    if centre is not None:
        point, _ = map_of(canvas, [(*centre, centre[0] + 1e-3, centre[1])], 1.6)
    return Seen(canvas, np.full(len(LAYOUTS), -np.log(len(LAYOUTS))), np.full(len(WEDGES), -np.log(len(WEDGES))), axis, way, axis,
                point)
