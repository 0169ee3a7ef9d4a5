"""Straight lines out of the layout net's maps: voted for cell by cell, then fitted by least squares to a fraction of a cell.

A line is kept as its ends on the rim of the view, in view px. Directions are degrees counter-clockwise from +x on the view.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from vision.layouts.canvas import TALL, WIDE, Canvas
from vision.layouts.directions import line_through
from vision.layouts.learned import CELL
from vision.types import Point

#: Cells fainter than this have no vote.
_FAINT = 0.12
#: Steps of direction (degrees) and of offset (cells) that votes are counted in.
_TURN, _STEP = 1.5, 0.5
#: Cells farther than this from a line, in cells, do not bear on its fit.
_BAND = 1.6
#: A place on a line counts as covered when the map is at least this there.
_COVERED = 0.3


@dataclass(frozen=True)
class Line:
    """`p0`, `p1` view px on the rim; `strength` 0..1: mean of the map along the line; `covered`: share of it on which the map
    is strong; `error_px`, `error_deg`: one sigma of the fit."""

    p0: Point
    p1: Point
    strength: float
    covered: float
    error_px: float
    error_deg: float

    @property
    def direction(self) -> float:
        """Degrees 0..180."""
        return float(math.degrees(math.atan2(-(self.p1[1] - self.p0[1]), self.p1[0] - self.p0[0])) % 180)


def apart(one: float, other: float) -> float:
    """Degrees between two directions, 0..90."""
    return abs((one - other + 90) % 180 - 90)


class Cells:
    """Cells of a map on the canvas: places, strengths and (where known) directions, for voting and fitting."""

    def __init__(self, strength: NDArray[np.float32], canvas: Canvas, way: NDArray[np.float32] | None = None) -> None:
        rows, cols = strength.shape
        y, x = np.mgrid[0:rows, 0:cols]
        keep = strength.ravel() > _FAINT
        self.canvas, self.map = canvas, strength
        #: View px a cell.
        self.cell = float(CELL * np.sqrt(np.prod(canvas.scale)))
        self.at = np.c_[x.ravel(), y.ravel()].astype(np.float64)[keep]
        self.strength = strength.ravel()[keep].astype(np.float64)
        self.angle: NDArray[np.float64] | None = None
        if way is not None:
            flat = way.reshape(2, -1)[:, keep].astype(np.float64)
            self.angle = 0.5 * np.arctan2(flat[1], flat[0])

    def on_view(self, theta: float, offset: float) -> tuple[Point, Point] | None:
        """Ends on the view's rim of a line in cells along (cos, -sin) of `theta` radians."""
        n, e = np.array([math.sin(theta), math.cos(theta)]), np.array([math.cos(theta), -math.sin(theta)])
        foot = offset * n
        p, q = self.canvas.to_view((np.array([foot - 50 * e, foot + 50 * e]) + 0.5) * CELL - 0.5)
        t = math.atan2(-(q[1] - p[1]), q[0] - p[0])
        across = float(p @ np.array([math.sin(t), math.cos(t)]))
        return line_through(math.degrees(t), across, self.canvas.width, self.canvas.height)

    def along(self, p0: Point, p1: Point, count: int = 64) -> NDArray[np.float64]:
        """Map values at `count` places between two points of the view; the best within half a cell on either side."""
        t = (np.arange(count) + 0.5) / count
        ends = self.canvas.to_canvas(np.array([p0, p1]))
        d = ends[1] - ends[0]
        n = np.array([-d[1], d[0]]) / max(float(np.hypot(*d)), 1e-9)
        side = np.array([-0.5, 0.0, 0.5]) * CELL
        places = (ends[0] + t[:, None, None] * d + side[None, :, None] * n).reshape(-1, 2)
        return np.asarray(_taken(self.map, places).reshape(count, 3).max(1))


def sample(values: NDArray[np.float32], canvas: Canvas, points: NDArray[np.float64]) -> NDArray[np.float64]:
    """Map values at view points (n, 2), linear between cells, those at the rim continued."""
    return _taken(values, canvas.to_canvas(points))


def _taken(values: NDArray[np.float32], places: NDArray[np.float64]) -> NDArray[np.float64]:
    """Map values at canvas places (n, 2)."""
    p = (places + 0.5) / CELL - 0.5
    rows, cols = values.shape
    x, y = np.clip(p[:, 0], 0, cols - 1.001), np.clip(p[:, 1], 0, rows - 1.001)
    i, j = y.astype(int), x.astype(int)
    fy, fx = y - i, x - j
    v = values.astype(np.float64)
    return np.asarray(v[i, j] * (1 - fy) * (1 - fx) + v[i, j + 1] * (1 - fy) * fx + v[i + 1, j] * fy * (1 - fx)
                      + v[i + 1, j + 1] * fy * fx)


def find_lines(cells: Cells, directions: Sequence[float] | None = None, *, least: float = 0.3, covered: float = 0.5,
               most: int = 14, gap: float = 2.5) -> list[Line]:
    """Lines right across the view, strongest first.

    Parameters
    ----------
    directions : only lines within some four degrees of one of these, 0 or 90; None: any.
    least, covered : smallest mean strength and share of a line that must be covered.
    gap : two lines of like direction lie at least so many cells apart.
    """
    if len(cells.at) < 6:
        return []
    if directions is None:
        thetas = np.arange(0, 180, _TURN)
    else:
        thetas = np.unique(np.concatenate([np.arange(-4, 4.1, 1.0) + d for d in directions]) % 180)
    t = np.radians(thetas)
    step = _STEP
    # x sin t + y cos t is the offset of a line along (cos t, -sin t) on the screen
    rho = cells.at[:, :1] * np.sin(t) + cells.at[:, 1:] * np.cos(t)
    low = float(rho.min())
    bins = int((rho.max() - low) / step) + 3
    weight: NDArray[np.float64] = np.repeat(cells.strength[:, None], len(t), 1)
    if cells.angle is not None:
        weight = np.asarray(weight * np.clip(np.cos(2 * (cells.angle[:, None] - t[None])), 0, 1) ** 2)
    place = np.asarray((rho - low) / step, np.float64)
    votes = _counted(place, weight, bins)
    found: list[Line] = []
    placed: list[tuple[float, float]] = []
    used = np.zeros(len(cells.at), bool)
    for _ in range(3 * most):
        k = int(votes.argmax())
        i, j = divmod(k, bins)
        if votes[i, j] < 4 * _FAINT or len(found) >= most:
            break
        fit = _fitted(cells, float(thetas[i]), low + j * step, directions)
        # these votes are spent, whatever comes of the line
        near = np.abs(rho[:, i] - (low + j * step)) < _BAND
        if cells.angle is not None:
            near &= np.cos(2 * (cells.angle - t[i])) > 0.7
        fresh = near & ~used
        used |= near
        votes = np.maximum(votes - _counted(place[fresh], weight[fresh], bins), 0)
        votes[max(0, i - 1):i + 2, max(0, j - 2):j + 3] = 0
        if fit is None or fit[0].strength < least or fit[0].covered < covered:
            continue
        if all(apart(math.degrees(fit[1][0]), math.degrees(p[0])) > 8 or _distance(fit[1], p) > gap for p in placed):
            found.append(fit[0])
            placed.append(fit[1])
    return sorted(found, key=lambda f: -f.strength)


def _counted(place: NDArray[np.float64], weight: NDArray[np.float64], bins: int) -> NDArray[np.float64]:
    """(directions, bins) votes of cells (n, directions) at fractional bins, spread a little."""
    index = place.astype(int)
    part = place - index
    at = np.broadcast_to(np.arange(place.shape[1]), index.shape) * bins + index
    size = place.shape[1] * bins
    votes = np.bincount(at.ravel(), (weight * (1 - part)).ravel(), size)
    votes = votes + np.bincount((at + 1).ravel(), (weight * part).ravel(), size)
    out: NDArray[np.float64] = votes.reshape(place.shape[1], bins).astype(np.float64)
    out[:, 1:-1] = out[:, 1:-1] + 0.5 * (out[:, :-2] + out[:, 2:])
    return out


def _distance(one: tuple[float, float], other: tuple[float, float]) -> float:
    """Distance, cells, of the middle of the canvas as it lies on one line from another line."""
    rows, cols = TALL / CELL, WIDE / CELL
    middle = np.array([cols / 2, rows / 2])
    n = np.array([math.sin(one[0]), math.cos(one[0])])
    foot = middle - (middle @ n - one[1]) * n
    return float(abs(foot @ np.array([math.sin(other[0]), math.cos(other[0])]) - other[1]))


def _fitted(cells: Cells, theta: float, offset: float, directions: Sequence[float] | None,
            ) -> tuple[Line, tuple[float, float]] | None:
    """The line of least weighted squares near a voted one, and its (direction in radians, offset) in cells."""
    t = math.radians(theta)
    error, turn_error = 1.0, 2.0
    for _ in range(4):
        n, e = np.array([math.sin(t), math.cos(t)]), np.array([math.cos(t), -math.sin(t)])
        off, on = cells.at @ n - offset, cells.at @ e
        w = cells.strength * np.exp(-0.5 * (off / 0.9) ** 2) * (np.abs(off) < 2 * _BAND)
        if cells.angle is not None:
            w = w * np.clip(np.cos(2 * (cells.angle - t)), 0, 1)
        total = float(w.sum())
        if total < 1.0:
            return None
        middle = float((w * on).sum()) / total
        reach = float((w * (on - middle) ** 2).sum()) / total
        mean = float((w * off).sum()) / total
        # a weak pull towards the voted direction keeps short lines from tipping over
        slope = float((w * (on - middle) * (off - mean)).sum()) / (total * (reach + 4))
        spread = math.sqrt(max(float((w * (off - mean - slope * (on - middle)) ** 2).sum()) / total, 1e-6))
        error = max(0.15, spread / math.sqrt(max(total, 1.0)))
        turn_error = math.degrees(error / max(math.sqrt(reach), 1.0))
        place = (offset + mean) * n + middle * e
        t = t - math.atan(slope)
        offset = float(place @ np.array([math.sin(t), math.cos(t)]))
    ends = cells.on_view(t, offset)
    if ends is None or math.dist(*ends) < 8 * cells.cell:
        return None
    values = cells.along(*ends)
    line = Line(*ends, float(values.mean()), float((values > _COVERED).mean()), error * cells.cell, turn_error)
    if directions is not None and min(apart(line.direction, d) for d in directions) > 6:
        return None
    return line, (t, offset)
