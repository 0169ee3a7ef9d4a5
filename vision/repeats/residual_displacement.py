"""Displacement left between two registered showings: how much of it is common to whole areas, its noise taken out.

Two pictures of one print differ by a homography, which registration removes; what displacement is left there is tracking
noise, and noise of places that share no pixel is unrelated. Neighbouring leaves drift: their figure moves by amounts that
change slowly over the sheet. So the residual is estimated twice, from two halves of the picture that interlock like a
chessboard, and everything is reckoned from the product of both: noise drops out on average, drift stays.

Estimates are gradient-based least squares (Lucas and Kanade 1981) in two bands, each weighted by its own residual
variance, gathered on a coarse grid of cells. A quadratic field is taken out first, which holds the homography's own error
and a lens that was not straightened; what only a homography takes out is told as well.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import cv2
import numpy as np
from numpy.typing import NDArray

from vision.resize import resize_map

Map = NDArray[np.float32]
Wide = NDArray[np.float64]

#: Bands (two blurs, px of the frame) that displacement is read from.
BANDS: Final = ((0.8, 1.8), (1.8, 4.5))
#: Side of a cell, px where the frame's short side has 512; and fewest px of the frame.
CELL_PX, CELL_LEAST = 20.0, 6.0
#: Smoothing lengths (Gaussian sigma), px where the short side has 512.
LENGTHS: Final = {"near": 20.0, "far": 45.0}
#: Residual grey steps beyond this many robust standard deviations lose weight.
ROBUST = 2.5
#: Displacement expected beforehand, px of the frame: what is not seen is drawn towards none.
EXPECTED_PX = 1.5

MEASURED: Final = {
    "slip_across_near": "Common drift across the grain, smoothed over 20 px at 512 px short side; px, signed root of a variance.",
    "slip_across_far": "The same over 45 px.",
    "slip_along_near": "Common drift along the grain over 20 px.",
    "slip_along_far": "The same over 45 px.",
    "slip_plain": "Common drift over 45 px in any direction when only a homography, not a quadratic field, is taken out.",
    "shared_across": "Correlation -1..1 of the two halves' drift across the grain over 20 px: share of it that is no noise.",
    "shared_along": "The same along the grain.",
    "warp_explains": "Share of one half's grey residual that the other half's drift over 20 px explains; under 0 for noise.",
}


@dataclass(frozen=True, eq=False)
class Drift:
    """`values` over MEASURED; `field`: (h, w, 2) float32 drift (x, y), px of the frame: second(p + field) shows first(p)."""

    values: dict[str, float]
    field: Map


@dataclass(frozen=True, eq=False)
class _Equations:
    """Sums over cells: `j` (rows, cols, 3) of the squared gradients uu, uv, vv; `r` (rows, cols, 2) of gradient times step;
    `t` (rows, cols) of the squared step. All in units of the noise."""

    j: Wide
    r: Wide
    t: Wide


def measure_drift(first: Map, second: Map, where: NDArray[np.bool_], grain: float) -> Drift:
    """Drift of `second` against `first` (both (h, w) float32, registered) inside `where` (bool); `grain` in radians."""
    h, w = where.shape
    unit = 512.0 / min(h, w)
    cell = max(CELL_LEAST, CELL_PX / unit)
    cols, rows = max(3, round(w / cell)), max(3, round(h / cell))
    raw = _equations(first, second, where, grain, cols, rows)
    x, y = np.meshgrid(np.linspace(-1, 1, cols), np.linspace(-1, 1, rows))
    # along x' and across y' are rotated axes; any quadratic in x, y is one in them too
    squares = np.stack([np.ones_like(x), x, y, x * x, x * y, y * y], axis=-1)
    flat = _without(raw, squares, squares)
    values: dict[str, float] = {}
    for name, length in LENGTHS.items():
        one, two = _halves(flat, length / unit / cell)
        weight = one.trust * two.trust
        for axis, way in enumerate(("along", "across")):
            a, b, k = one.d[..., axis], two.d[..., axis], weight[..., axis]
            values[f"slip_{way}_{name}"] = _root(float((k * a * b).sum() / max(k.sum(), 1e-9))) * unit
            if name == "near":
                values[f"shared_{way}"] = float((k * a * b).sum() / max(np.sqrt((k * a * a).sum() * (k * b * b).sum()), 1e-9))
        if name == "near":
            values["warp_explains"] = _explained(flat, one, two)
    plain = _without(raw, *_projective(x, y, grain, w / h))
    one, two = _halves(plain, LENGTHS["far"] / unit / cell)
    weight = one.trust * two.trust
    values["slip_plain"] = _root(float((weight * one.d * two.d).sum() / max(weight.sum(), 1e-9) * 2)) * unit
    return Drift(values, _field(flat, raw, LENGTHS["near"] / unit / cell, squares, grain, w, h))


def _root(variance: float) -> float:
    """Square root that keeps the sign: a noise-free variance may come out below zero by chance."""
    return float(np.sign(variance) * np.sqrt(abs(variance)))


def _equations(first: Map, second: Map, where: NDArray[np.bool_], grain: float, cols: int, rows: int) -> _Equations:
    weight = where.astype(np.float32)
    c, s = np.float32(np.cos(grain)), np.float32(np.sin(grain))
    j, r, t = np.zeros((rows, cols, 3)), np.zeros((rows, cols, 2)), np.zeros((rows, cols))
    for low, high in BANDS:
        a, b = (cv2.GaussianBlur(v, (0, 0), low) - cv2.GaussianBlur(v, (0, 0), high) for v in (first, second))
        middle = (a + b) * np.float32(0.5)
        gx = cv2.Sobel(middle, cv2.CV_32F, 1, 0, ksize=3, scale=0.125)
        gy = cv2.Sobel(middle, cv2.CV_32F, 0, 1, ksize=3, scale=0.125)
        step = a - b
        inside = step[where]
        sd = 1.4826 * float(np.median(np.abs(inside - np.median(inside)))) + 1e-4 if inside.size else 1.0
        k = weight / (1 + (step / np.float32(ROBUST * sd)) ** 2) / np.float32(sd * sd)
        gu, gv = c * gx + s * gy, c * gy - s * gx
        layers = np.stack([k * gu * gu, k * gu * gv, k * gv * gv, k * gu * step, k * gv * step, k * step * step], axis=-1)
        sums = resize_map(np.asarray(layers, np.float32), cols, rows).astype(np.float64) * (where.size / (cols * rows))
        j += sums[..., :3]
        r += sums[..., 3:5]
        t += sums[..., 5]
    return _Equations(j, r, t)


def _applied(j: Wide, d: Wide) -> Wide:
    return np.stack([j[..., 0] * d[..., 0] + j[..., 1] * d[..., 1], j[..., 1] * d[..., 0] + j[..., 2] * d[..., 1]], axis=-1)


def _projective(x: Wide, y: Wide, grain: float, aspect: float) -> tuple[Wide, Wide]:
    """Bases along and across the grain of the fields that a small homography makes: affine, and (x, y) times (g x + h y)."""
    one = np.ones_like(x)
    px, py = x * aspect, y
    c, s = np.cos(grain), np.sin(grain)
    u, v = c * px + s * py, c * py - s * px
    zero = np.zeros_like(x)
    return (np.stack([one, x, y, zero, zero, zero, px * u, py * u], axis=-1),
            np.stack([zero, zero, zero, one, x, y, px * v, py * v], axis=-1))


def _without(e: _Equations, along: Wide, across: Wide) -> _Equations:
    """Equations of what is left once the best field of the given bases is taken out.

    along, across : (rows, cols, n) bases. The same one twice means that each direction has coefficients of its own.
    """
    theta = _solved(e, along, across)
    return _moved(e, _synthesis(theta, along, across))


def _stacked(along: Wide, across: Wide) -> Wide:
    """(rows, cols, 2, n) design of both components."""
    if along is across:
        zero = np.zeros_like(along)
        return np.stack([np.concatenate([along, zero], -1), np.concatenate([zero, along], -1)], axis=2)
    return np.stack([along, across], axis=2)


def _solved(e: _Equations, along: Wide, across: Wide) -> Wide:
    b = _stacked(along, across)
    m = np.stack([np.stack([e.j[..., 0], e.j[..., 1]], -1), np.stack([e.j[..., 1], e.j[..., 2]], -1)], axis=-2)
    mb = np.einsum("yxij,yxjn->yxin", m, b)
    lhs = np.einsum("yxim,yxin->mn", b, mb)
    rhs = np.einsum("yxim,yxi->m", b, e.r)
    ridge = 1e-6 * float(np.trace(lhs)) / len(lhs) + 1.0 / EXPECTED_PX**2
    return np.linalg.solve(lhs + ridge * np.eye(len(lhs)), rhs)


def _synthesis(theta: Wide, along: Wide, across: Wide) -> Wide:
    return np.asarray(_stacked(along, across) @ theta)


def _moved(e: _Equations, d: Wide) -> _Equations:
    """Equations after the second picture was moved by d, to first order."""
    jd = _applied(e.j, d)
    return _Equations(e.j, e.r - jd, np.maximum(e.t - 2 * (d * e.r).sum(-1) + (d * jd).sum(-1), 0.0))


@dataclass(frozen=True, eq=False)
class _Half:
    """`d`: (rows, cols, 2) drift along and across; `trust`: 0..1 how far pictures rather than expectation made it."""

    d: Wide
    trust: Wide
    taken: NDArray[np.bool_]


def _smooth(values: Wide, sigma: float) -> Wide:
    return np.asarray(cv2.GaussianBlur(values, (0, 0), max(sigma, 0.3), borderType=cv2.BORDER_CONSTANT), dtype=np.float64)


def _estimate(e: _Equations, sigma: float, taken: NDArray[np.bool_] | None = None) -> tuple[Wide, Wide]:
    k = 1.0 if taken is None else taken[..., None].astype(np.float64)
    gain = 2 * np.pi * max(sigma, 0.3) ** 2  # sums rather than means, so that information adds up
    j, r = _smooth(e.j * k, sigma) * gain, _smooth(e.r * k, sigma) * gain
    prior = 1.0 / EXPECTED_PX**2
    uu, uv, vv = j[..., 0] + prior, j[..., 1], j[..., 2] + prior
    det = uu * vv - uv * uv
    d = np.stack([(vv * r[..., 0] - uv * r[..., 1]) / det, (uu * r[..., 1] - uv * r[..., 0]) / det], axis=-1)
    trust = np.stack([1 - prior * vv / det, 1 - prior * uu / det], axis=-1)
    return d, trust


def _halves(e: _Equations, sigma: float) -> tuple[_Half, _Half]:
    """Two estimates at smoothing `sigma` (cells), from the white and from the black cells of a chessboard."""
    y, x = np.indices(e.t.shape)
    white = (x + y) % 2 == 0
    out = []
    for taken in (white, ~white):
        out.append(_Half(*_estimate(e, sigma, taken), taken))
    return out[0], out[1]


def _explained(e: _Equations, one: _Half, two: _Half) -> float:
    """Share of the squared grey residual of each half that the drift of the other one explains."""
    gain = 0.0
    for half in (one, two):
        other = ~half.taken
        gain += float(((2 * half.d * e.r).sum(-1) - (half.d * _applied(e.j, half.d)).sum(-1))[other].sum())
    return float(np.clip(gain / max(float(e.t.sum()), 1e-9), -1, 1))


def _field(flat: _Equations, raw: _Equations, sigma: float, squares: Wide, grain: float, w: int, h: int) -> Map:
    d, _ = _estimate(flat, sigma)
    d = d + _synthesis(_solved(raw, squares, squares), squares, squares)
    c, s = np.cos(grain), np.sin(grain)
    xy = np.stack([c * d[..., 0] - s * d[..., 1], s * d[..., 0] + c * d[..., 1]], axis=-1)
    return resize_map(np.asarray(np.clip(xy, -4, 4), np.float32), w, h)
