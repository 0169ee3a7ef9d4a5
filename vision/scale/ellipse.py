"""Ellipses: points, normals, distances and the direct fit of Halir and Flusser ("Numerically stable direct least squares
fitting of ellipses", WSCG 1998)."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]


@dataclass(frozen=True)
class Ellipse:
    """Middle (x, y), half axes `major` >= `minor`, px; `angle`: of the major axis, radians, from +x towards +y."""

    x: float
    y: float
    major: float
    minor: float
    angle: float

    def at(self, t: Array) -> Array:
        """(n, 2) points at parameters t."""
        c, s = np.cos(self.angle), np.sin(self.angle)
        u, v = self.major * np.cos(t), self.minor * np.sin(t)
        return np.stack([self.x + c * u - s * v, self.y + s * u + c * v], axis=-1)

    def normal(self, t: Array) -> Array:
        """(n, 2) unit outward normals at parameters t."""
        c, s = np.cos(self.angle), np.sin(self.angle)
        u, v = np.cos(t) / self.major, np.sin(t) / self.minor
        n = np.stack([c * u - s * v, s * u + c * v], axis=-1)
        return np.asarray(n / np.linalg.norm(n, axis=-1, keepdims=True), dtype=np.float64)


def angles_of(ellipse: Ellipse, count: int) -> Array:
    """Parameters spaced evenly along the outline, to a few per cent."""
    t = np.linspace(0, 2 * np.pi, 720)
    length = np.r_[0, np.cumsum(np.hypot(*np.diff(ellipse.at(t), axis=0).T))]
    return np.interp(np.linspace(0, length[-1], count, endpoint=False), length, t)


def distances(ellipse: Ellipse, points: Array) -> Array:
    """(n,) signed distances to the outline, outside positive, to first order: value over gradient (Sampson)."""
    c, s = np.cos(ellipse.angle), np.sin(ellipse.angle)
    d = points - [ellipse.x, ellipse.y]
    u, v = (d @ [c, s]) / ellipse.major, (d @ [-s, c]) / ellipse.minor
    r = np.hypot(u, v)
    gradient = np.hypot(u / ellipse.major, v / ellipse.minor) / np.maximum(r, 1e-9)
    return np.asarray((r - 1) / np.maximum(gradient, 1e-9), dtype=np.float64)


def fit_ellipse(points: Array) -> Ellipse | None:
    """Ellipse of least algebraic squares through (n, 2) points, n >= 5; None when there is none."""
    middle = points.mean(axis=0)
    size = float(np.sqrt(((points - middle) ** 2).sum(axis=1).mean()))
    if size < 1e-9:
        return None
    x, y = ((points - middle) / size).T
    quadratic = np.c_[x * x, x * y, y * y]
    linear = np.c_[x, y, np.ones_like(x)]
    try:
        t = -np.linalg.solve(linear.T @ linear, linear.T @ quadratic)
        m = quadratic.T @ quadratic + quadratic.T @ linear @ t
        m = np.array([m[2] / 2, -m[1], m[0] / 2])
        values, vectors = np.linalg.eig(m)
    except np.linalg.LinAlgError:
        return None
    real = np.real(vectors)
    ok = 4 * real[0] * real[2] - real[1] ** 2 > 0
    ok &= np.abs(np.imag(values)) < 1e-9
    if not ok.any():
        return None
    a, b, c = (float(v) for v in real[:, np.flatnonzero(ok)[0]])
    d, e, f = (float(v) for v in t @ np.array([a, b, c]))
    det = 4 * a * c - b * b
    cx, cy = (b * e - 2 * c * d) / det, (b * d - 2 * a * e) / det
    level = f + (d * cx + e * cy) / 2
    shape = np.array([[a, b / 2], [b / 2, c]]) / -level if level != 0 else np.zeros((2, 2))
    sizes, ways = np.linalg.eigh(shape)
    if sizes[0] <= 0:
        return None
    major, minor = 1 / np.sqrt(sizes[0]), 1 / np.sqrt(sizes[1])
    angle = float(np.arctan2(ways[1, 0], ways[0, 0]))
    return Ellipse(float(cx * size + middle[0]), float(cy * size + middle[1]), float(major * size), float(minor * size), angle)
