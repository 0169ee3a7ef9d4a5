"""Straight sides of an object to a fraction of a pixel: a line fitted to where the colour changes most, side by side.

Across a side many short profiles are read from the full-size photo. The line is first found as a whole (the shear and shift
under which most profiles change most), then every profile gives its own sub-pixel place near it, and the line is fitted
again to these with outliers taken down (Tukey's weights). Lines, not corners: corners of cards are round.
"""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]
#: Share of a side left out at each end: its round corner and a little more.
ENDS = 0.1
MOST_PROFILES = 140
#: Profiles are correlated over about this many pixels along the side (lens, JPEG, demosaicing).
CORRELATED_PX = 4.0
#: Standard error that no side is better than, px: JPEG blocks, sharpening, rounded arrises.
FLOOR_PX = 0.12


@dataclass(frozen=True, eq=False)
class Side:
    """A fitted side. Line: points start + t (end - start) + (a + b (2 t - 1)) normal, `offset` = (a, b) px already put into
    `start` and `end`. `covariance`: of (a, b); `rms`: px about the line; `held`: share of profiles on the line;
    `strength`: median change of colour there, grey levels per px."""

    start: Array
    end: Array
    covariance: Array
    rms: float
    held: float
    strength: float


def refined_side(photo: NDArray[np.uint8], start: Array, end: Array, reach: float) -> Side | None:
    """The side near the segment from `start` to `end` (photo px), looked for within `reach` px; None when there is none."""
    way = end - start
    length = float(np.hypot(*way))
    if length < 12:
        return None
    way = way / length
    normal = np.array([-way[1], way[0]])
    count = int(np.clip(length * (1 - 2 * ENDS) / 1.5, 12, MOST_PROFILES))
    t = np.linspace(ENDS, 1 - ENDS, count)
    half = max(int(np.ceil(reach)), 9) + 3
    step = 0.5
    offsets = np.arange(-half, half + step / 2, step)
    change = _change(photo, start + t[:, None] * (end - start), way, normal, offsets)
    inner = change[:, 4:-4]
    places = offsets[4:-4]
    noise = float(np.quantile(inner, 0.4)) + 0.3
    clipped = np.minimum(inner / (5 * noise), 1.0)
    within = np.abs(places) <= reach + 0.5
    a, b = _sheared(clipped[:, within], t, step, places[within])
    u = 2 * t - 1
    rounds = 3
    at, seen, height = _peaks(inner, places, a + b * u, 2.5 if length > 60 else 1.8)
    good = seen & (height > 1.6 * noise)
    rms = 1.0
    for _ in range(rounds):
        if good.sum() < max(6, 0.2 * count):
            return None
        residual = at - (a + b * u)
        rms = max(0.05, 1.4826 * float(np.median(np.abs(residual[good]))))
        weight = np.where(good, np.clip(1 - (residual / (4.5 * rms)) ** 2, 0, None) ** 2, 0.0)
        weight = weight * np.minimum(height / (4 * noise), 1)
        design = np.c_[np.ones(count), u]
        normal_matrix = design.T @ (design * weight[:, None])
        if np.linalg.cond(normal_matrix) > 1e6:
            return None
        a, b = (float(v) for v in np.linalg.solve(normal_matrix, design.T @ (weight * at)))
        at, seen, height = _peaks(inner, places, a + b * u, 2.0)
        good = seen & (height > 1.6 * noise)
    residual = at - (a + b * u)
    on = good & (np.abs(residual) < max(1.0, 3 * rms))
    if on.sum() < 6:
        return None
    rms = float(np.sqrt(np.mean(residual[on] ** 2)))
    spacing = length * (1 - 2 * ENDS) / (count - 1)
    per_piece = max(1.0, CORRELATED_PX / spacing)
    design = np.c_[np.ones(int(on.sum())), u[on]]
    covariance = np.linalg.inv(design.T @ design) * max(rms, 0.15) ** 2 * per_piece + np.diag([FLOOR_PX**2, FLOOR_PX**2 / 2])
    return Side(start + (a - b) * normal, end + (a + b) * normal, covariance, rms, float(on.mean()), float(np.median(height[on])))


def _change(photo: NDArray[np.uint8], points: Array, way: Array, normal: Array, offsets: Array) -> Array:
    """(n, m) change of colour per px across the side, over a step of 1 px; each value averaged over 3 px along the side."""
    low = np.floor(points.min(axis=0) - np.abs(offsets).max() - 4).astype(int)
    high = np.ceil(points.max(axis=0) + np.abs(offsets).max() + 5).astype(int)
    low = np.clip(low, 0, [photo.shape[1] - 1, photo.shape[0] - 1])
    high = np.clip(high, low + 1, [photo.shape[1], photo.shape[0]])
    crop = photo[low[1] : high[1], low[0] : high[0]].astype(np.float32)
    total: Array | None = None
    for along in (-1.0, 0.0, 1.0):
        at = points[:, None] + along * way + offsets[None, :, None] * normal - low
        values = cv2.remap(crop, at[..., 0].astype(np.float32), at[..., 1].astype(np.float32), cv2.INTER_LINEAR,
                           borderMode=cv2.BORDER_REPLICATE)
        total = values.astype(np.float64) if total is None else total + values
    assert total is not None
    profile = total / 3
    step = float(offsets[1] - offsets[0])
    reach = max(1, round(1.0 / step))
    slope = np.zeros_like(profile)
    slope[:, reach:-reach] = (profile[:, 2 * reach :] - profile[:, : -2 * reach]) / (2 * reach * step)
    return np.asarray(np.sqrt((slope**2).sum(axis=2)), dtype=np.float64)


def _sheared(strength: Array, t: Array, step: float, places: Array) -> tuple[float, float]:
    """(a, b): shift and shear of the line that gathers most: offset a + b (2 t - 1)."""
    m = strength.shape[1]
    u = 2 * t - 1
    most = min((m - 1) / 2, 12 + 0.1 * m)
    shears = np.arange(-np.floor(most), np.floor(most) + 1)
    best, where = -1.0, (0.0, 0.0)
    rows = np.arange(len(t))
    wide = np.pad(strength, ((0, 0), (m, m)))
    base = np.arange(m) + m
    # a true line is thin: gather the profile blurred by nothing, prefer small moves a little
    for shear in shears:
        shifts = np.round(shear * u).astype(int)
        total = wide[rows[:, None], base[None, :] + shifts[:, None]].mean(axis=0)
        total = total * (1 - 0.15 * np.abs(np.arange(m) - (m - 1) / 2) / m)
        k = int(np.argmax(total))
        if total[k] > best:
            best, where = float(total[k]), (float(places[k]), float(shear * step))
    return where


def _peaks(change: Array, places: Array, line: Array, reach: float) -> tuple[Array, NDArray[np.bool_], Array]:
    """(place, found, height) of each profile's highest change within `reach` px of the line, by a parabola."""
    n, m = change.shape
    near = np.abs(places[None, :] - line[:, None]) <= reach
    held = np.where(near, change, -1.0)
    k = np.argmax(held, axis=1)
    rows = np.arange(n)
    inner = (k > 0) & (k < m - 1) & near.any(axis=1)
    k = np.clip(k, 1, m - 2)
    left, top, right = change[rows, k - 1], change[rows, k], change[rows, k + 1]
    peaked = inner & (top >= left) & (top >= right) & (top > 0)
    curve = left - 2 * top + right
    shift = np.where(peaked & (curve < -1e-9), 0.5 * (left - right) / np.where(curve < -1e-9, curve, -1.0), 0.0)
    return places[k] + np.clip(shift, -1, 1) * (places[1] - places[0]), peaked, top


def crossings(sides: list[Side]) -> tuple[Array, Array]:
    """((4, 2) corners, (8, 8) covariance) where each side meets the next; corner k lies between side k - 1 and side k."""
    lines = [(s.start, s.end) for s in sides]

    def all_corners(moves: Array) -> Array:
        moved = []
        for k, (start, end) in enumerate(lines):
            way = (end - start) / np.hypot(*(end - start))
            normal = np.array([-way[1], way[0]])
            a, b = moves[2 * k : 2 * k + 2]
            moved.append((start + (a - b) * normal, end + (a + b) * normal))
        return np.array([_meet(moved[k - 1], moved[k]) for k in range(4)])

    corners = all_corners(np.zeros(8))
    jacobian = np.column_stack([
        (all_corners(np.eye(8)[k] * 1e-3) - all_corners(-np.eye(8)[k] * 1e-3)).ravel() / 2e-3 for k in range(8)
    ])
    block = np.zeros((8, 8))
    for k, side in enumerate(sides):
        block[2 * k : 2 * k + 2, 2 * k : 2 * k + 2] = side.covariance
    return corners, jacobian @ block @ jacobian.T


def _meet(a: tuple[Array, Array], b: tuple[Array, Array]) -> Array:
    d, e, between = a[1] - a[0], b[1] - b[0], b[0] - a[0]
    det = d[0] * e[1] - d[1] * e[0]
    return np.asarray(a[0] + (between[0] * e[1] - between[1] * e[0]) / det * d, dtype=np.float64)
