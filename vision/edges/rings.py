"""Ring arcs on an end: lines that bend about one centre, fitted from local line directions alone."""

from __future__ import annotations

import math
from dataclasses import dataclass
from itertools import pairwise

import cv2
import numpy as np
from numpy.typing import NDArray

from vision.edges.unroll import Plane, Strip
from vision.resize import resize_map

CELL = 8
#: Distance, in panel diagonals, at which a centre counts as infinitely far.
FAR = 50.0
MAX_WINDOWS = 8
MIN_CELLS = 12


@dataclass(frozen=True)
class ArcFit:
    """Circles about one centre. `centre`: (x, y) working-view pixels; `radius`: mean distance of the weighted cells, px;
    `fit`: mean cos^2 of the angle between line and circle, 0.5 for random lines, 1 for perfect arcs;
    `straight_fit`: the same for the best set of parallel lines; `turn`: radians by which the arcs turn over the window
    (weighted spread of the radius directions, 2 sigma); `weight`: sum of cell weights; `window`: (x0, y0, x1, y1)."""

    centre: tuple[float, float]
    radius: float
    fit: float
    straight_fit: float
    turn: float
    weight: float = 0.0
    window: tuple[int, int, int, int] = (0, 0, 0, 0)

    @property
    def gain(self) -> float:
        """Share of the misfit of parallel lines that circles take away, 0..1."""
        return max(0.0, 1 - (1 - self.fit) / max(1 - self.straight_fit, 1e-4))


def _cells(slopes: tuple[Plane, Plane], inside: NDArray[np.bool_]) -> tuple[NDArray[np.float64], ...] | None:
    """Cell centres (x, y), unit line directions (tx, ty) and weights of cells with structure."""
    t, n = inside.shape
    cell = max(4, min(CELL, t // 5))
    rows, cols = t // cell, n // cell
    if rows < 3 or cols < 3:
        return None
    gx, gy = slopes
    crop, size = np.s_[:rows * cell, :cols * cell], (cols, rows)

    def pool(p: Plane) -> Plane:
        return np.asarray(resize_map(p[crop], *size), np.float32)

    jxx, jyy, jxy = pool(gx * gx), pool(gy * gy), pool(gx * gy)
    # The rim holds the panel's own border, always straight: leave it out.
    full = pool(inside.astype(np.float32)) > 0.99
    full[0], full[-1], full[:, 0], full[:, -1] = False, False, False, False
    total = jxx + jyy
    coherence = np.hypot(jxx - jyy, 2 * jxy) / np.maximum(total, 1e-3)
    weight = np.where(full & (total > 0.05), coherence * np.minimum(1.0, total / (np.median(total) + 1e-3)), 0.0)
    if (weight > 0.05).sum() < 8:
        return None
    across = 0.5 * np.arctan2(2 * jxy, jxx - jyy)
    ys, xs = np.mgrid[:rows, :cols]
    keep = weight > 0.05
    return ((xs[keep] + 0.5) * cell - 0.5, (ys[keep] + 0.5) * cell - 0.5, -np.sin(across[keep]).astype(np.float64),
            np.cos(across[keep]).astype(np.float64), weight[keep].astype(np.float64))


def _centre_by_bending(x: NDArray[np.float64], y: NDArray[np.float64], tx: NDArray[np.float64], ty: NDArray[np.float64],
                       w: NDArray[np.float64]) -> tuple[float, float] | None:
    """Centre from the rate at which line directions turn along the lines; exact for flat arcs, a start for others.

    Solving for the centre at once would pull it into the panel wherever directions are noisy.
    """
    mean = 0.5 * math.atan2(float((w * 2 * tx * ty).sum()), float((w * (tx * tx - ty * ty)).sum()))
    c, s = math.cos(mean), math.sin(mean)
    bend = 0.5 * np.arctan2(2 * (c * tx + s * ty) * (c * ty - s * tx), (c * tx + s * ty) ** 2 - (c * ty - s * tx) ** 2)
    u, v = c * x + s * y, c * y - s * x
    k = w.copy()
    solution: NDArray[np.floating] = np.zeros(3)
    for _ in range(4):
        a = np.stack([np.ones_like(u), u, v], axis=1)
        m = (a * k[:, None]).T @ a + np.diag([0.0, 1e-9, 1e-9])
        solution = np.linalg.lstsq(m, (a * k[:, None]).T @ bend, rcond=None)[0]
        k = w / (1 + ((bend - a @ solution) / 0.25) ** 2)
    curve = float(solution[1])
    if abs(curve) < 1.0 / FAR:
        return None
    # Direction turning towards +v as u grows means a centre on the +v side.
    return -s / curve, c / curve


def _fit(x: NDArray[np.float64], y: NDArray[np.float64], tx: NDArray[np.float64], ty: NDArray[np.float64],
         w: NDArray[np.float64], size: float) -> tuple[float, float, float, float, float, float]:
    """(centre x, y; radius; fit; straight fit; turn) of the cells of one window of diagonal `size`."""
    mx, my = float(np.average(x, weights=w)), float(np.average(y, weights=w))
    u, v = (x - mx) / size, (y - my) / size
    total = float(w.sum())
    c2, s2 = float((w * (tx * tx - ty * ty)).sum()) / total, float((w * 2 * tx * ty).sum()) / total
    straight = 0.5 * (1 + math.hypot(c2, s2))
    # Parallel lines are circles about a centre far off, at right angles to them.
    across = 0.5 * math.atan2(s2, c2) + math.pi / 2
    best = (straight, FAR * math.cos(across), FAR * math.sin(across))
    starts = [_centre_by_bending(u, v, tx, ty, w), None]
    for start in starts:
        k = w.copy()
        centre = start
        for _ in range(6):
            if centre is None:
                # Every normal of a circle passes through its centre c: t . (c - x) = 0.
                a = np.array([[float((k * tx * tx).sum()), float((k * tx * ty).sum())],
                              [float((k * tx * ty).sum()), float((k * ty * ty).sum())]])
                b = np.array([float((k * tx * (tx * u + ty * v)).sum()), float((k * ty * (tx * u + ty * v)).sum())])
                solved = np.linalg.solve(a + np.eye(2) * 1e-6 * float(k.sum()), b)
                centre = float(solved[0]), float(solved[1])
            dx, dy = u - centre[0], v - centre[1]
            r = np.maximum(np.hypot(dx, dy), 1e-3)
            off = (tx * dx + ty * dy) / r
            fit = 1 - float((w * off * off).sum()) / total
            if fit > best[0]:
                best = (fit, *centre)
            # Angles count alike wherever a cell lies: distance from the centre must not weigh.
            k = w / (r * r) / (1 + (off / 0.3) ** 2)
            centre = None
    fit, cx, cy = best
    dx, dy = u - cx, v - cy
    base = math.atan2(-cy, -cx)
    spread = np.angle(np.exp(1j * (np.arctan2(dy, dx) - base)))
    turn = 2 * math.sqrt(max(0.0, float((w * spread * spread).sum()) / total - (float((w * spread).sum()) / total) ** 2))
    return mx + cx * size, my + cy * size, float((w * np.hypot(dx, dy)).sum()) / total * size, fit, straight, turn


def fit_arcs(slopes: tuple[Plane, Plane], inside: NDArray[np.bool_]) -> tuple[ArcFit, ...]:
    """Circles fitted in windows about twice as long as the panel is thick: a lay-up of boards has a pith for each board.

    `slopes`: (gx, gy) of a plane with square pixels; `inside`: (h, w) bool. Windows without structure are left out.
    """
    cells = _cells(slopes, inside)
    if cells is None:
        return ()
    h, w = inside.shape
    long_side, short_side = max(h, w), min(h, w)
    count = max(1, min(MAX_WINDOWS, round(long_side / (2.0 * short_side))))
    along = cells[0] if w >= h else cells[1]
    edges = np.linspace(0, long_side, count + 1)
    out = []
    for low, high in pairwise(edges):
        pick = (along >= low) & (along < high)
        if pick.sum() < MIN_CELLS:
            continue
        x, y, tx, ty, weight = (c[pick] for c in cells)
        size = math.hypot(high - low, short_side)
        cx, cy, radius, fit, straight, turn = _fit(x, y, tx, ty, weight, size)
        window = (int(low), 0, int(high), h) if w >= h else (0, int(low), w, int(high))
        out.append(ArcFit((cx, cy), radius, fit, straight, turn, float(weight.sum()), window))
    return tuple(out)


def measure_rings(strip: Strip, arcs: tuple[ArcFit, ...]) -> dict[str, float]:
    """Numbers of group end_rings (see strips.FEATURES); nan where lines cannot be seen."""
    out = dict.fromkeys(("rings_gain", "rings_fit", "rings_turn", "rings_curve", "rings_long_grain"), math.nan)
    if arcs:
        w = np.array([a.weight for a in arcs])

        def mean(values: list[float]) -> float:
            return float(np.average(values, weights=w))

        out["rings_gain"] = mean([a.gain for a in arcs])
        out["rings_fit"] = mean([a.fit for a in arcs])
        out["rings_turn"] = mean([a.gain * min(a.turn, math.pi) for a in arcs])
        sizes = [math.hypot(a.window[2] - a.window[0], a.window[3] - a.window[1]) for a in arcs]
        out["rings_curve"] = mean([min(d / max(a.radius, 1e-3), 10.0) for d, a in zip(sizes, arcs, strict=True)])
    smooth = cv2.GaussianBlur(strip.luma, (0, 0), 1.0)
    gx, gy = smooth[1:-1, 2:] - smooth[1:-1, :-2], smooth[2:, 1:-1] - smooth[:-2, 1:-1]
    both = strip.inside[1:-1, 1:-1]
    if both.sum() > 64:
        out["rings_long_grain"] = math.log((float((gy[both] ** 2).mean()) + 0.2) / (float((gx[both] ** 2).mean()) + 0.2))
    return out
