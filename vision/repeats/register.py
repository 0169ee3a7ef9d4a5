"""Dense registration: a voted move refined to a fraction of a pixel, on the figure image of the coarser sheet."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from vision.repeats.figure import Figure

Matrix = NDArray[np.float64]

#: Tracking window (px of the frame) and pyramid levels of each pass; the first must reach the error of the votes.
PASSES = ((25, 2), (21, 1), (21, 0))
#: Tracked points: most of them, and fewest that a fit may rest on.
POINTS, FEWEST = 180, 12
#: Sheets that overlap on less than this many frame pixels are not registered.
LEAST_OVERLAP = 2500


@dataclass(frozen=True, eq=False)
class Registered:
    """Two figures laid over each other on the `frame`, the figure image of the coarser sheet.

    `transform`: 3x3, sheet a to sheet b pixels. `swapped`: the frame is that of sheet b. `first`, `second`: levelled
    figure of the frame's sheet and of the other one warped onto it; `overlap`: bool, where both show the panel.
    `points`: (n, 2) tracked points in frame pixels, `residual`: (n, 2) what is left of their displacement, frame pixels,
    `firm`: (n,) least eigenvalue of the tracker there (0 where no edge crosses). `grain`: radians in the frame.
    """

    transform: Matrix
    swapped: bool
    to_sheet: Matrix
    to_other: Matrix
    first: NDArray[np.float32]
    second: NDArray[np.float32]
    first_rgb: NDArray[np.uint8]
    second_rgb: NDArray[np.uint8]
    overlap: NDArray[np.bool_]
    points: NDArray[np.float64]
    residual: NDArray[np.float64]
    firm: NDArray[np.float64]
    grain: float


def _byte(values: NDArray[Any]) -> NDArray[np.uint8]:
    return np.asarray(cv2.convertScaleAbs(values, alpha=50.0, beta=128.0), dtype=np.uint8)


def _unaliased(values: NDArray[np.float32], ratio: float) -> NDArray[np.float32]:
    """Blurred enough to be sampled `ratio` times more coarsely."""
    if ratio < 1.25:
        return values
    return np.asarray(cv2.GaussianBlur(values, (0, 0), 0.5 * float(np.sqrt(ratio**2 - 1))), dtype=np.float32)


def register(a: Figure, b: Figure, transform: Matrix, *, rigid: bool = False) -> Registered | None:
    """The refined registration near `transform` (sheet a to sheet b), or None where too little overlaps or holds.

    `rigid`: both figures lie on one sheet, so that no perspective stands between them and an affine map is enough.
    """
    sa, sb = a.to_sheet(), b.to_sheet()
    between = np.linalg.inv(sb) @ transform @ sa
    ratio = float(np.sqrt(abs(np.linalg.det(between[:2, :2]))))
    swapped = ratio < 1.0
    frame, other = (b, a) if swapped else (a, b)
    m = np.linalg.inv(between) if swapped else between
    ratio = max(ratio, 1.0 / max(ratio, 1e-6))
    if not np.isfinite(m).all() or ratio > 6:
        return None
    h, w = frame.mask.shape
    source = _unaliased(other.levelled, ratio)
    base = _byte(frame.levelled)
    inside = frame.mask.astype(np.uint8)
    grid = _grid(w, h)
    points = residual = np.zeros((0, 2))
    firm = np.zeros(0)
    for k, (window, levels) in enumerate(PASSES):
        warped = cv2.warpPerspective(source, m, (w, h), flags=cv2.INTER_LINEAR | cv2.WARP_INVERSE_MAP)
        both = cv2.warpPerspective(other.mask.astype(np.uint8), m, (w, h), flags=cv2.INTER_NEAREST | cv2.WARP_INVERSE_MAP)
        both = np.asarray(both, np.uint8) & inside
        if int(both.sum()) < LEAST_OVERLAP:
            return None
        deep = cv2.erode(both, np.ones((9, 9), np.uint8), borderValue=0) > 0
        at = grid[deep[grid[:, 1], grid[:, 0]]]
        if len(at) < FEWEST:
            return None
        if len(at) > POINTS:
            at = at[np.linspace(0, len(at) - 1, POINTS).astype(int)]
        start = at.astype(np.float32).reshape(-1, 1, 2)
        moving = _byte(warped)
        moved, status, firmness = cv2.calcOpticalFlowPyrLK(
            base, moving, start, start.copy(), winSize=(window, window), maxLevel=levels,
            criteria=(cv2.TERM_CRITERIA_EPS | cv2.TERM_CRITERIA_COUNT, 12, 0.02), flags=cv2.OPTFLOW_LK_GET_MIN_EIGENVALS)
        ok = (status.ravel() > 0) & (np.abs(moved - start).max(axis=(1, 2)) < (30, 12, 6)[k])
        if ok.sum() < FEWEST:
            return None
        p = start.reshape(-1, 2)[ok].astype(np.float64)
        flow = moved.reshape(-1, 2)[ok].astype(np.float64) - p
        firm = firmness.ravel()[ok].astype(np.float64)
        step, left = _fit(p, flow, firm, perspective=(k > 0 and not rigid), size=(w, h), loose=(8.0, 4.0, 2.5)[k])
        m = m @ step
        points, residual = p, left
    warped = cv2.warpPerspective(source, m, (w, h), flags=cv2.INTER_LINEAR | cv2.WARP_INVERSE_MAP)
    both = cv2.warpPerspective(other.mask.astype(np.uint8), m, (w, h), flags=cv2.INTER_NEAREST | cv2.WARP_INVERSE_MAP)
    both = np.asarray(both, np.uint8) & inside
    if int(both.sum()) < LEAST_OVERLAP:
        return None
    rgb = cv2.warpPerspective(other.rgb, m, (w, h), flags=cv2.INTER_LINEAR | cv2.WARP_INVERSE_MAP)
    found = sb @ (np.linalg.inv(m) if swapped else m) @ np.linalg.inv(sa)
    if abs(found[2, 2]) < 1e-9 or not np.isfinite(found).all():
        return None
    found = found / found[2, 2]
    there = sa if swapped else sb
    return Registered(found, swapped, sb if swapped else sa, there @ m, frame.levelled, np.asarray(warped, np.float32), frame.rgb,
                      np.asarray(rgb, np.uint8), both > 0, points, residual, firm, frame.grain)


def _grid(width: int, height: int) -> NDArray[np.intp]:
    """About 1.6 times POINTS (x, y) points over the frame, in rows."""
    step = max(5.0, float(np.sqrt(width * height / (1.6 * POINTS))))
    x, y = np.arange(step / 2, width - 1, step).astype(int), np.arange(step / 2, height - 1, step).astype(int)
    return np.stack(np.meshgrid(x, y), axis=-1).reshape(-1, 2)


def _fit(points: NDArray[np.float64], flow: NDArray[np.float64], firm: NDArray[np.float64], *, perspective: bool,
         size: tuple[int, int], loose: float) -> tuple[Matrix, NDArray[np.float64]]:
    """(3x3 step, residuals): the map nearest to the identity that explains the flow, by reweighted least squares.

    Coordinates are centred and divided by half the longer side, so that one ridge (weak, towards no change) serves all
    terms. Tukey's biweight at 3 robust standard deviations, not under `loose` px in the end.
    """
    centre, unit = np.array(size) / 2.0, max(size) / 2.0
    x, y = ((points - centre) / unit).T
    one, zero = np.ones_like(x), np.zeros_like(x)
    u, v = flow.T / unit
    rows_u = [one, x, y, zero, zero, zero]
    rows_v = [zero, zero, zero, one, x, y]
    if perspective:  # x' (1 + g x + h y) = ...: first order about the identity
        rows_u += [-x * (x + u), -y * (x + u)]
        rows_v += [-x * (y + v), -y * (y + v)]
    lhs = np.concatenate([np.stack(rows_u, 1), np.stack(rows_v, 1)])
    rhs = np.concatenate([u, v])
    base = np.sqrt(np.clip(firm / max(float(np.median(firm)), 1e-9), 0.05, 1.0))
    weight = base.copy()
    ridge = np.array([1e-6, 1e-4, 1e-4, 1e-6, 1e-4, 1e-4, 2e-3, 2e-3][: lhs.shape[1]]) * len(points)
    coef = np.zeros(lhs.shape[1])
    turned, pull = np.ascontiguousarray(lhs.T), np.diag(ridge)
    for _ in range(8):
        weighed = turned * np.concatenate([weight, weight])
        coef = np.linalg.solve(weighed @ lhs + pull, weighed @ rhs)
        left = (rhs - lhs @ coef).reshape(2, -1).T * unit
        size_left = np.hypot(left[:, 0], left[:, 1])
        spread = max(1.48 * float(np.median(size_left)), loose / 6)
        weight = base * np.clip(1 - (size_left / (3 * spread)) ** 2, 0, 1) ** 2
        if weight.sum() < 4:
            weight = base
    g, h = (coef[6], coef[7]) if perspective else (0.0, 0.0)
    inner = np.array([[1 + coef[1], coef[2], coef[0]], [coef[4], 1 + coef[5], coef[3]], [g, h, 1.0]])
    norm = np.array([[1 / unit, 0, -centre[0] / unit], [0, 1 / unit, -centre[1] / unit], [0, 0, 1.0]])
    return np.linalg.inv(norm) @ inner @ norm, left
