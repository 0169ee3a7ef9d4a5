"""The sides of fingers as straight lines across the band, and what they say together: angle, skew of the view, errors."""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from vision.joints.band import Band, Floats

#: Steepest side looked for, degrees; step of the search.
MOST_SLANT, SLANT_STEP = 24.0, 2.0


@dataclass(frozen=True)
class Edge:
    """A side: y = `at` + `slope` * (x - `middle`), with standard errors; `turn`: +1 where tail gives way to pin going down, -1
    where pin gives way to tail; `strength`: mean step along it over the usual step in the band; `wander`: spread about the
    line, px; `rows`: columns it rests on."""

    at: float
    slope: float
    middle: float
    at_error: float
    slope_error: float
    turn: int
    strength: float
    wander: float
    columns: int


def edges_of(lab: Floats, band: Band) -> list[Edge]:
    """One edge a change of kind, where there is enough to fit a line to."""
    a, b = int(np.ceil(band.shoulder + 1)), int(np.floor(band.end - 1))
    if b - a < 4:
        return []
    tone = np.asarray(lab[:, a:b] @ band.way.astype(np.float32), np.float32)
    rise = np.asarray(np.gradient(cv2.GaussianBlur(tone, (1, 7), sigmaX=0.01, sigmaY=1.0), axis=0), np.float32)
    usual = float(np.median(np.abs(rise[:: max(1, len(rise) // 160)]))) + 1e-6
    slopes = np.tan(np.deg2rad(np.arange(-MOST_SLANT, MOST_SLANT + 0.1, SLANT_STEP)))
    sums = sheared_sums(rise, slopes)
    changes = band.changes
    limits = np.concatenate([[0], changes, [len(band.pin)]])
    out = []
    for k, row in enumerate(changes):
        turn = 1 if band.pin[row] else -1
        # half the run on each side
        reach = max(2.0, 0.5 * min(row - limits[k], limits[k + 2] - row))
        low, high = max(0, int(row - 0.5 - reach)), min(len(rise) - 1, int(np.ceil(row - 0.5 + reach)))
        found = turn * sums[:, low : high + 1]
        s, y = np.unravel_index(int(np.argmax(found)), found.shape)
        if found[s, y] <= 0.3 * usual:
            continue
        edge = _fit(rise * turn, float(low + y), float(slopes[s]), float(found[s, y]), usual, a, turn)
        if edge is not None:
            out.append(edge)
    return out


def sheared_sums(rise: NDArray[np.float32], slopes: NDArray[np.float64]) -> NDArray[np.float32]:
    """(slopes, rows) mean of the map along a line of each slope through each row at the middle column (a Radon transform)."""
    h, n = rise.shape
    out = np.empty((len(slopes), h), np.float32)
    for k, slope in enumerate(slopes):
        back = np.array([[1.0, 0, 0], [slope, 1.0, -slope * (n - 1) / 2]], np.float32)
        out[k] = cv2.warpAffine(rise, back, (n, h), flags=cv2.INTER_LINEAR | cv2.WARP_INVERSE_MAP,
                                borderMode=cv2.BORDER_CONSTANT).mean(axis=1)
    return out


def _fit(rise: NDArray[np.float32], y0: float, slope: float, best: float, usual: float, first: int, turn: int) -> Edge | None:
    """One place a column near a line of great rise, then weighted least squares."""
    h, n = rise.shape
    x = np.arange(n) - (n - 1) / 2
    cols = np.arange(n)
    about = np.clip(np.round(y0 + slope * x).astype(int)[None, :] + np.arange(-2, 3)[:, None], 1, h - 2)
    r = about[np.argmax(rise[about, cols[None, :]], axis=0), cols]
    v0, v1, v2 = (rise[r + d, cols].astype(float) for d in (-1, 0, 1))
    bend = v0 - 2 * v1 + v2
    shift = np.where(bend < -1e-9, np.clip(0.5 * (v0 - v2) / np.where(bend < -1e-9, bend, -1.0), -0.7, 0.7), 0.0)
    ok = v1 > 0.5 * usual
    if ok.sum() < max(4, 0.4 * n):
        return None
    p, q = (r + shift)[ok], x[ok]
    start = np.minimum(v1[ok], 3 * best)
    w = start
    fit, spread = np.zeros(2), 1.0
    for _ in range(3):  # a few columns run along figure instead
        m = np.stack([np.ones_like(q), q], axis=1)
        fit = np.linalg.solve(m.T @ (m * w[:, None]) + 1e-9 * np.eye(2), m.T @ (w * p))
        off = p - m @ fit
        spread = float(np.sqrt(np.average(off**2, weights=w)))
        w = start / (1 + (off / max(0.35, 1.5 * spread)) ** 2)
    # neighbouring columns share blur: about every second one counts
    count = max(3.0, len(p) / 2)
    variance = max(spread, 0.12) ** 2 / count
    spread_x = float(np.average((q - np.average(q, weights=w)) ** 2, weights=w))
    return Edge(float(fit[0]), float(fit[1]), first + (n - 1) / 2, float(np.sqrt(variance)),
                float(np.sqrt(variance / max(spread_x, 0.5))), turn, best / usual, spread, len(p))


@dataclass(frozen=True)
class Slant:
    """`angle`, `error`: degrees by which tails widen towards the end, the same for all sides after the view's own skew (one
    slope, and with enough sides one that grows along the joint) is taken out; `spread`: of single sides about it, degrees."""

    angle: float
    error: float
    spread: float
    skew: float


def slant_of(edges: list[Edge]) -> Slant | None:
    """Angle that the sides share: slope_k = skew + drift * y_k + turn_k * tan(angle); None without sides of both kinds."""
    turns = np.array([e.turn for e in edges], float)
    if len(edges) < 2 or len(set(turns.tolist())) < 2:
        return None
    y = np.array([e.at for e in edges])
    slopes = np.array([e.slope for e in edges])
    errors = np.array([e.slope_error for e in edges])
    columns = [turns, np.ones_like(turns)]
    if len(edges) >= 6:
        columns.append((y - y.mean()) / max(1.0, float(np.ptp(y))))
    m = np.stack(columns, axis=1)
    base = 1 / np.square(np.maximum(errors, 0.01))
    weight = base.copy()
    inverse, fit, off = np.eye(m.shape[1]), np.zeros(m.shape[1]), slopes
    scale = 0.02
    for _ in range(5):
        inverse = np.linalg.inv(m.T @ (m * weight[:, None]) + 1e-9 * np.eye(m.shape[1]))
        fit = inverse @ (m.T @ (weight * slopes))
        off = slopes - m @ fit
        scale = max(0.01, 1.48 * float(np.median(np.abs(off))))
        weight = base / (1 + (off / (2.0 * scale)) ** 2)
    free = max(1, len(edges) - m.shape[1])
    spread = float(np.sqrt((weight * off**2).sum() / max(weight.sum(), 1e-9) * len(edges) / free))
    error = float(np.sqrt(max(inverse[0, 0], spread**2 / len(edges))))
    to_degrees = np.rad2deg(1 / (1 + fit[0] ** 2))
    return Slant(float(np.rad2deg(np.arctan(fit[0]))), float(error * to_degrees), float(spread * to_degrees),
                 float(np.rad2deg(np.arctan(fit[1]))))
