"""What a photo's millimetres rest on: one reference object, the flat surface it lies on, and how far it can be trusted.

A scale maps photo pixels (origin top left, x right, y down, pixel centres whole) to millimetres. It comes in two kinds:
of a plane (a card, a coin, a marker sheet), which measures any length on the flat surface the object lies on, and of a
line (a ruler, two known points), which measures along that line only. Errors are half widths of an interval meant to hold
the true length 95 times in 100.

How the error is kept: beside the best map stand maps moved by one standard deviation along each independent direction of
doubt (columns of a square root of the covariance of whatever was fitted). A length measured with each of them spreads as
the length is uncertain, to first order, so perspective and growth of the error away from the object need no formula of
their own.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, field
from types import MappingProxyType
from typing import Final

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]
Point = tuple[float, float]
#: Share of intervals meant to hold the truth, and the standard normal quantile that goes with it.
LEVEL: Final = 0.95
Z95: Final = 1.959964
#: Where a scale can come from.
SOURCES: Final[Mapping[str, str]] = MappingProxyType({
    "card": "A bank-card-sized card (ISO/IEC 7810 ID-1, 85.60 x 53.98 mm) lying on the surface.",
    "coin": "A coin of known diameter lying on the surface.",
    "sheet": "The printed marker sheet lying on the surface.",
    "ruler": "The ticks of a ruler or tape.",
    "points": "Two points a known distance apart.",
})
#: A line scale measures between points within this share of its length from the line, and that far beyond its ends.
LINE_REACH: Final = 0.06
LINE_BEYOND: Final = 0.25
DEPTH_NOTE: Final = (
    "Millimetres hold on the surface the object lies on. Things farther from the camera come out too small, nearer ones too "
    "large: 20 mm deeper at a distance of 1 m makes 2 %."
)


def _require(condition: bool, message: str) -> None:
    if not condition:
        raise ValueError(message)


def mapped(matrix: Array, points: Array) -> Array:
    """(n, 2) points through a 3x3 homography; nan for points on or beyond its horizon (third coordinate not positive)."""
    p = np.c_[np.asarray(points, dtype=np.float64).reshape(-1, 2), np.ones(len(points))] @ matrix.T
    w = np.where(p[:, 2] > 1e-12, p[:, 2], np.nan)
    return np.asarray(p[:, :2] / w[:, None], dtype=np.float64)


def local_area(matrix: Array, x: float, y: float) -> float:
    """Absolute determinant of the Jacobian of a homography at (x, y); nan beyond its horizon."""
    w = float(matrix[2] @ (x, y, 1.0))
    return float(abs(np.linalg.det(matrix)) / w**3) if w > 1e-12 else math.nan


@dataclass(frozen=True, eq=False)
class Scale:
    """Millimetres on one photo.

    Attributes
    ----------
    source : key of SOURCES.
    outline : the object on the photo, photo pixels: a polygon, or the two ends of a line.
    words : one or two plain sentences: what was found and what it can and cannot measure.
    plane : 3x3, photo (x, y, 1) to mm on the surface, third coordinate positive in front of the camera; None for a line.
    along : 2x2 for a line, (t, 1) to mm, t being 0 and 1 at the two ends of `outline`; None for a plane.
    moves : (k, 3, 3) or (k, 2, 2), `plane` or `along` moved by one standard deviation in each direction of doubt.
    either : two or more maps of which one is true and it cannot be told which (a coin's or card's tilt); usually empty.
    share : further standard error of any length, as a share of it (size tolerance of the object, lens, thickness).
    """

    source: str
    outline: tuple[Point, ...]
    words: str
    plane: Array | None
    along: Array | None
    moves: Array
    either: Array = field(default_factory=lambda: np.zeros((0, 3, 3)))
    share: float = 0.0

    def __post_init__(self) -> None:
        _require(self.source in SOURCES, f"unknown source of scale {self.source!r}")
        _require((self.plane is None) != (self.along is None), "a scale is of a plane or of a line")
        _require(len(self.outline) >= (3 if self.plane is not None else 2), "the outline has too few points")
        size = 3 if self.plane is not None else 2
        main = np.asarray(self.plane if self.plane is not None else self.along, dtype=np.float64)
        _require(main.shape == (size, size), f"the map must be {size}x{size}")
        _require(bool(np.isfinite(main).all() and np.isfinite(self.moves).all()), "the map has entries that are no numbers")
        _require(self.moves.ndim == 3 and self.moves.shape[1:] == (size, size), "moves must be shaped like the map")
        _require(self.either.shape[1:] == (3, 3) and (self.plane is not None or not len(self.either)), "either: (n, 3, 3)")
        _require(0 <= self.share < 1, "share must be in 0..1")

    @property
    def centre(self) -> Point:
        """Middle of the object on the photo."""
        middle = np.mean(np.asarray(self.outline, dtype=np.float64), axis=0)
        return float(middle[0]), float(middle[1])

    def length_mm(self, p: Point, q: Point, *, point_px: float = 0.0) -> tuple[float, float] | None:
        """(length, error) in mm between two photo points, or None where this scale does not reach.

        `point_px`: standard error of each point itself, px, each axis (0: the points are exact). The error is the half
        width of the 95 % interval. A line scale reaches points on its line only, a plane scale everything short of its
        horizon; both are told from the photo alone, so that the points lie on the surface is the user's word.
        """
        values = self._lengths(p, q)
        if values is None:
            return None
        best, spread, ambiguous = values
        variance = spread**2 + (self.share * best) ** 2
        if point_px > 0:
            variance += 2 * (point_px * self._mm_per_px_along(p, q, best)) ** 2
        return best, _half_width(math.sqrt(variance), ambiguous)

    def mm_per_px_at(self, point: Point) -> tuple[float, float] | None:
        """(millimetres per photo pixel, error as a share, 95 %) at a photo point; None where the scale does not reach.

        On a plane this is the geometric mean over directions; on a line it is along the line.
        """
        if self.plane is None:
            (x0, y0), (x1, y1) = self.outline[0], self.outline[1]
            length = math.hypot(x1 - x0, y1 - y0)
            dx, dy = (x1 - x0) / length, (y1 - y0) / length
            done = self.length_mm((point[0] - dx, point[1] - dy), (point[0] + dx, point[1] + dy))
            return None if done is None or done[0] <= 0 else (done[0] / 2, done[1] / done[0])
        best = math.sqrt(local_area(self.plane, *point))
        if not (math.isfinite(best) and best > 0):
            return None
        moved = np.sqrt([local_area(m, *point) for m in self.moves]) if len(self.moves) else np.zeros(0)
        others = np.sqrt([local_area(m, *point) for m in self.either]) if len(self.either) else np.array([best])
        if not (np.isfinite(moved).all() and np.isfinite(others).all()):
            return None
        middle = (float(others.max()) + float(others.min())) / 2 if len(self.either) else best
        sigma = math.hypot(float(np.linalg.norm(moved - best)) if len(moved) else 0.0, self.share * middle)
        return middle, _half_width(sigma, float(np.ptp(others)) / 2) / middle

    def px_per_mm_at(self, point: Point) -> tuple[float, float] | None:
        """(photo pixels per millimetre, error as a share, 95 %) at a photo point; None where the scale does not reach."""
        done = self.mm_per_px_at(point)
        return None if done is None else (1 / done[0], done[1])

    def _lengths(self, p: Point, q: Point) -> tuple[float, float, float] | None:
        """(best length, standard error from the fit, half the difference between maps that cannot be told apart), mm."""
        ends = np.array([p, q], dtype=np.float64)
        if self.plane is not None:
            best = _distance(self.plane, ends)
            moved = np.array([_distance(m, ends) for m in self.moves])
            others = np.array([_distance(m, ends) for m in self.either]) if len(self.either) else np.array([best])
        else:
            t = self._on_line(ends)
            if t is None or self.along is None:
                return None
            best = _span(self.along, t)
            moved = np.array([_span(m, t) for m in self.moves])
            others = np.array([best])
        if not (math.isfinite(best) and np.isfinite(moved).all() and np.isfinite(others).all()):
            return None
        if len(self.either):
            middle = (float(others.max()) + float(others.min())) / 2
            return middle, float(np.linalg.norm(moved - best)), float(np.ptp(others)) / 2
        return best, float(np.linalg.norm(moved - best)), 0.0

    def _on_line(self, ends: Array) -> Array | None:
        """Places along the line, 0 and 1 at its ends, or None when a point is off it."""
        a, b = (np.asarray(v, dtype=np.float64) for v in self.outline[:2])
        along = b - a
        length2 = float(along @ along)
        t = (ends - a) @ along / length2
        off = np.abs((ends - a) @ np.array([-along[1], along[0]])) / length2
        near = bool((off <= LINE_REACH).all() and (t >= -LINE_BEYOND).all() and (t <= 1 + LINE_BEYOND).all())
        return np.asarray(t, dtype=np.float64) if near else None

    def _mm_per_px_along(self, p: Point, q: Point, best: float) -> float:
        px = math.dist(p, q)
        if px > 0:
            return best / px
        here = self.mm_per_px_at(p)
        return 0.0 if here is None else here[0]


def _distance(matrix: Array, ends: Array) -> float:
    m = mapped(matrix, ends)
    return float(np.hypot(*(m[1] - m[0])))


def _span(matrix: Array, t: Array) -> float:
    """Distance along a line between two places through a 2x2 (one-dimensional projective) map."""
    w = matrix[1, 0] * t + matrix[1, 1]
    if (w <= 1e-12).any():
        return math.nan
    x = (matrix[0, 0] * t + matrix[0, 1]) / w
    return float(abs(x[1] - x[0]))


def _half_width(sigma: float, offset: float) -> float:
    """Half width b such that a normal error of standard deviation `sigma` about either of +-`offset` stays within b with
    probability LEVEL: Phi((b - offset) / sigma) - Phi((-b - offset) / sigma) = LEVEL."""
    if sigma <= 0:
        return offset
    if offset <= 0:
        return Z95 * sigma

    def held(b: float) -> float:
        return 0.5 * (math.erf((b - offset) / (sigma * math.sqrt(2))) + math.erf((b + offset) / (sigma * math.sqrt(2))))

    low, high = offset, offset + 2 * sigma
    for _ in range(40):
        middle = (low + high) / 2
        low, high = (middle, high) if held(middle) < LEVEL else (low, middle)
    return high
