"""Ring arcs on an end: lines that bend about one centre, fitted from local line directions alone."""

from __future__ import annotations

import math
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from vision.edges.unroll import Plane, Strip

CELL = 8
#: Distance, in panel diagonals, at which a centre counts as infinitely far.
FAR = 50.0


@dataclass(frozen=True)
class ArcFit:
    """Circles about one centre. `centre`: (x, y) working-view pixels; `radius`: mean distance of the weighted cells, px;
    `fit`: mean cos^2 of the angle between line and circle, 0.5 for random lines, 1 for perfect arcs;
    `straight_fit`: the same for the best set of parallel lines; `turn`: radians by which the arcs turn over the panel
    (weighted spread of the radius directions, 2 sigma)."""

    centre: tuple[float, float]
    radius: float
    fit: float
    straight_fit: float
    turn: float


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
        return np.asarray(cv2.resize(np.ascontiguousarray(p[crop]), size, interpolation=cv2.INTER_AREA), np.float32)

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


def fit_arcs(slopes: tuple[Plane, Plane], inside: NDArray[np.bool_]) -> ArcFit | None:
    """Least-squares centre of the normals of all local lines, reweighted; None without structure.

    `slopes`: (gx, gy) of a plane with square pixels; `inside`: (h, w) bool.

    Every normal of a circle passes through its centre c: t . (c - x) = 0 for a line with direction t at x. With lines
    nearly parallel the system is singular and the centre runs away, which is what a straight figure is.
    """
    cells = _cells(slopes, inside)
    if cells is None:
        return None
    x, y, tx, ty, w = cells
    size = math.hypot(*inside.shape)
    # Scaled coordinates and a faint pull to the middle keep the system solvable for parallel lines.
    mx, my = float(np.average(x, weights=w)), float(np.average(y, weights=w))
    u, v = (x - mx) / size, (y - my) / size
    total = float(w.sum())
    c2, s2 = float((w * (tx * tx - ty * ty)).sum()) / total, float((w * 2 * tx * ty).sum()) / total
    straight = 0.5 * (1 + math.hypot(c2, s2))
    # Parallel lines are circles about a centre far off, at right angles to them.
    across = 0.5 * math.atan2(s2, c2) + math.pi / 2
    best = (straight, FAR * math.cos(across), FAR * math.sin(across))
    k = w.copy()
    for _ in range(5):
        a = np.array([[float((k * tx * tx).sum()), float((k * tx * ty).sum())],
                      [float((k * tx * ty).sum()), float((k * ty * ty).sum())]])
        b = np.array([float((k * tx * (tx * u + ty * v)).sum()), float((k * ty * (tx * u + ty * v)).sum())])
        a += np.eye(2) * 1e-6 * float(k.sum())
        cx, cy = (float(q) for q in np.linalg.solve(a, b))
        dx, dy = u - cx, v - cy
        r = np.maximum(np.hypot(dx, dy), 1e-3)
        off = (tx * dx + ty * dy) / r
        fit = 1 - float((w * off * off).sum()) / total
        if fit > best[0]:
            best = (fit, cx, cy)
        # Angles count alike wherever a cell lies: distance from the centre must not weigh.
        k = w / (r * r) / (1 + (off / 0.3) ** 2)
    fit, cx, cy = best
    dx, dy = u - cx, v - cy
    r = np.hypot(dx, dy)
    base = math.atan2(-cy, -cx)
    spread = np.angle(np.exp(1j * (np.arctan2(dy, dx) - base)))
    turn = 2 * math.sqrt(max(0.0, float((w * spread * spread).sum()) / total - (float((w * spread).sum()) / total) ** 2))
    return ArcFit((mx + cx * size, my + cy * size), float((w * r).sum()) / total * size, fit, straight, turn)


def measure_rings(strip: Strip, arc: ArcFit | None, diagonal: float) -> dict[str, float]:
    """Numbers of group end_rings (see strips.FEATURES); nan where lines cannot be seen."""
    out = dict.fromkeys(("rings_gain", "rings_fit", "rings_turn", "rings_curve", "rings_long_grain"), math.nan)
    if arc is not None:
        out["rings_gain"] = arc.fit - arc.straight_fit
        out["rings_fit"] = arc.fit
        out["rings_turn"] = min(arc.turn, math.pi)
        out["rings_curve"] = min(diagonal / max(arc.radius, 1e-3), 10.0)
    smooth = cv2.GaussianBlur(strip.luma, (0, 0), 1.0)
    gx, gy = smooth[1:-1, 2:] - smooth[1:-1, :-2], smooth[2:, 1:-1] - smooth[:-2, 1:-1]
    both = strip.inside[1:-1, 1:-1]
    if both.sum() > 64:
        out["rings_long_grain"] = math.log((float((gy[both] ** 2).mean()) + 0.2) / (float((gx[both] ** 2).mean()) + 0.2))
    return out
