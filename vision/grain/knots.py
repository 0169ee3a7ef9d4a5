"""Knots: round blobs with the grain flowing round them, located in working-view pixels.

A trunk grows round a branch, so the grain parts before a knot and closes behind it, on both sides: the turn away from the
mean direction has one sign in two opposite quadrants and the other sign in the other two. Straight grain that runs up to a
screw hole or under a handle shows a blob but no such turn; a cathedral turns on one side only.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from functools import lru_cache

import cv2
import numpy as np
from numpy.typing import NDArray

from vision.grain.flow import RESOLVED, smoothed
from vision.types import GrainField, WorkingView

#: Knot radii looked for, working-view px.
RADII = (6.0, 10.0, 16.0, 26.0)
#: Mean turn in a quadrant, degrees, that counts in full.
FULL_TURN = 10.0
MIN_SCORE = 0.25


@dataclass(frozen=True)
class Knot:
    """A knot centred on (x, y) with `radius`, working-view pixels. `score` 0..1: turn of the grain in the weakest quadrant
    times how far the spot differs in tone from what surrounds it."""

    x: float
    y: float
    radius: float
    score: float


@lru_cache(maxsize=64)
def _quadrants(inner: float, outer: float) -> tuple[NDArray[np.float32], ...]:
    """Four ring-quadrant kernels (cells), u right and v up, in the order ++, -+, --, +-; each sums to 1.

    Weights follow |u v| / r^2: on the axes the grain does not turn.
    """
    reach = math.ceil(outer)
    v, u = -np.mgrid[-reach:reach + 1, -reach:reach + 1].astype(np.float32)
    u = -u
    r2 = np.maximum(u * u + v * v, 1e-6)
    ring = ((r2 >= inner**2) & (r2 <= outer**2)) * np.abs(u * v) / r2
    kernels = []
    for su, sv in ((1, 1), (-1, 1), (-1, -1), (1, -1)):
        k = np.where((u * su > 0) & (v * sv > 0), ring, 0).astype(np.float32)
        kernels.append(k / max(float(k.sum()), 1e-6))
    return tuple(kernels)


def _turn_map(turn: NDArray, weight: NDArray, inner: float, outer: float) -> tuple[NDArray, NDArray]:
    """(weakest and mean turn in degrees over the four quadrants, signed so that flow round the cell is positive)."""
    means = []
    for kernel, sign in zip(_quadrants(round(inner, 2), round(outer, 2)), (-1, 1, -1, 1), strict=True):
        total = cv2.filter2D(weight, -1, kernel, borderType=cv2.BORDER_CONSTANT)
        value = cv2.filter2D(weight * turn, -1, kernel, borderType=cv2.BORDER_CONSTANT)
        means.append(np.where(total > 0.15, sign * value / np.maximum(total, 1e-6), 0))
    stack = np.sort(np.stack(means), axis=0)
    return stack[0], stack.mean(0)


def _spot_map(grey: NDArray[np.float32], mask: NDArray[np.float32], radius: float) -> NDArray[np.float32]:
    """How far a disc is darker than its ring, in standard deviations of the ring's tone (negative: lighter)."""
    def disc(r: float) -> NDArray[np.float32]:
        n = max(1, math.ceil(r))
        y, x = np.mgrid[-n:n + 1, -n:n + 1]
        return ((x * x + y * y) <= r * r).astype(np.float32)

    small, large = disc(radius), disc(2.2 * radius)
    large_only = large.copy()
    a = (large.shape[0] - small.shape[0]) // 2
    large_only[a:a + small.shape[0], a:a + small.shape[1]] -= small

    def total(values: NDArray, kernel: NDArray) -> NDArray:
        return np.asarray(cv2.filter2D(values, -1, kernel, borderType=cv2.BORDER_REPLICATE))

    in_n, ring_n = total(mask, small), total(mask, large_only)
    inside = total(grey * mask, small) / np.maximum(in_n, 1)
    ring = total(grey * mask, large_only) / np.maximum(ring_n, 1)
    spread = np.sqrt(np.maximum(total(grey * grey * mask, large_only) / np.maximum(ring_n, 1) - ring**2, 0))
    known = (in_n > 0.8 * small.sum()) & (ring_n > 0.6 * large_only.sum())
    return np.where(known, (ring - inside) / (spread + 3), 0).astype(np.float32)


def find_knots(view: WorkingView, field: GrainField, *, limit: int = 20) -> tuple[Knot, ...]:
    """Knots of a panel, best first. `field` must have a short integration window (4 px) to see beside small knots."""
    weight = np.where(field.valid & (field.coherence > 0.5 * RESOLVED), field.coherence, 0).astype(np.float32)
    if (weight > 0).sum() < 60:
        return ()
    rows, cols = weight.shape
    base, order = smoothed(field, max(rows, cols) / 6, weight)
    turn = (np.mod(field.angle - base + 90, 180) - 90).astype(np.float32)
    grey = cv2.cvtColor(view.pixels, cv2.COLOR_RGB2GRAY)
    step = int(field.step)
    grey = _to_cells(np.asarray(grey, np.float32), step, rows, cols)
    mask = _to_cells(view.mask.astype(np.float32), step, rows, cols)
    best = np.zeros((rows, cols), np.float32)
    radius = np.zeros_like(best)
    # the pattern turns with the grain: work in quarter-turned frames and take the one nearest to the local direction
    for r in RADII:
        cells = r / field.step
        weakest, mean = _aligned_turn(turn, weight, base, cells)
        spot = np.abs(_spot_map(grey, (mask > 0.5).astype(np.float32), max(1.0, cells)))
        flow_part = np.clip(weakest / FULL_TURN * 2, 0, 1) * np.clip(mean / FULL_TURN, 0, 1)
        score = np.sqrt(flow_part * np.clip(spot / 1.5, 0, 1)) * np.clip(order * 1.5, 0, 1)
        better = score > best
        best, radius = np.where(better, score, best), np.where(better, r, radius)
    return _peaks(best, radius, field.step, limit)


def _to_cells(values: NDArray[np.float32], step: int, rows: int, cols: int) -> NDArray[np.float32]:
    h, w = values.shape
    padded = np.pad(values, ((0, rows * step - h), (0, cols * step - w)), mode="edge")
    return padded.reshape(rows, step, cols, step).mean((1, 3)).astype(np.float32)


def _aligned_turn(turn: NDArray, weight: NDArray, base: NDArray, cells: float) -> tuple[NDArray, NDArray]:
    """Quadrant turns around every cell in the frame of the mean direction."""
    rows, cols = turn.shape
    double = np.radians(2 * base)
    direction = math.degrees(0.5 * math.atan2(float((weight * np.sin(double)).sum()), float((weight * np.cos(double)).sum())))
    centre = ((cols - 1) / 2, (rows - 1) / 2)
    side = math.ceil(math.hypot(rows, cols))
    to = cv2.getRotationMatrix2D(centre, -direction, 1.0)
    to[:, 2] += [(side - cols) / 2, (side - rows) / 2]
    stack = np.dstack([turn * weight, weight]).astype(np.float32)
    laid = np.asarray(cv2.warpAffine(stack, to, (side, side), flags=cv2.INTER_LINEAR))
    laid_turn = laid[..., 0] / np.maximum(laid[..., 1], 1e-3)
    weakest, mean = _turn_map(laid_turn.astype(np.float32), np.ascontiguousarray(laid[..., 1]), cells + 1.5, 2.2 * cells + 3)
    both = np.dstack([weakest, mean]).astype(np.float32)
    back = np.asarray(cv2.warpAffine(both, to, (cols, rows), flags=cv2.INTER_LINEAR | cv2.WARP_INVERSE_MAP))
    return back[..., 0], back[..., 1]


def _peaks(best: NDArray, radius: NDArray, step: float, limit: int) -> tuple[Knot, ...]:
    out: list[Knot] = []
    r, c = np.nonzero(best >= MIN_SCORE)
    for i in np.argsort(-best[r, c]):
        x, y = (c[i] + 0.5) * step - 0.5, (r[i] + 0.5) * step - 0.5
        size = float(radius[r[i], c[i]])
        if all(math.hypot(x - k.x, y - k.y) > 1.5 * (size + k.radius) for k in out):
            out.append(Knot(float(x), float(y), size, float(best[r[i], c[i]])))
            if len(out) == limit:
                break
    return tuple(out)
