"""Straight lines out of the layout net's maps: voted for cell by cell, then fitted by least squares to a fraction of a cell.

A line is kept as its ends on the rim of the view, in view px. Directions are degrees counter-clockwise from +x on the view.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from vision.layouts.canvas import Canvas
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
    """Cells of a map on the view: places, strengths and (where known) directions, for voting and fitting."""

    def __init__(self, strength: NDArray[np.float32], canvas: Canvas, way: NDArray[np.float32] | None = None) -> None:
        rows, cols = strength.shape
        y, x = np.mgrid[0:rows, 0:cols]
        at = np.c_[x.ravel(), y.ravel()] * float(CELL) + (CELL - 1) / 2
        self.canvas, self.map = canvas, strength
        self.cell = float(CELL * np.sqrt(np.prod(canvas.scale)))
        keep = strength.ravel() > _FAINT
        self.at = canvas.to_view(at)[keep]
        self.strength = strength.ravel()[keep].astype(np.float64)
        self.angle: NDArray[np.float64] | None = None
        if way is not None:
            self.angle = _view_direction(way.reshape(2, -1)[:, keep], canvas)

    def along(self, p0: Point, p1: Point, count: int = 64) -> NDArray[np.float64]:
        """Map values at `count` places between two points of the view; the best within a cell on either side."""
        t = (np.arange(count) + 0.5) / count
        a, b = np.asarray(p0), np.asarray(p1)
        n = np.array([-(b - a)[1], (b - a)[0]]) / max(float(np.hypot(*(b - a))), 1e-9)
        base = a + t[:, None] * (b - a)
        side = np.array([-0.5, 0.0, 0.5]) * self.cell
        places = (base[:, None] + side[None, :, None] * n).reshape(-1, 2)
        values = sample(self.map, self.canvas, places)
        return np.asarray(values.reshape(count, 3).max(1))


def sample(values: NDArray[np.float32], canvas: Canvas, points: NDArray[np.float64]) -> NDArray[np.float64]:
    """Map values at view points (n, 2), linear between cells, those at the rim continued."""
    p = (canvas.to_canvas(points) - (CELL - 1) / 2) / CELL
    rows, cols = values.shape
    x, y = np.clip(p[:, 0], 0, cols - 1.001), np.clip(p[:, 1], 0, rows - 1.001)
    i, j = y.astype(int), x.astype(int)
    fy, fx = y - i, x - j
    v = values.astype(np.float64)
    return np.asarray(v[i, j] * (1 - fy) * (1 - fx) + v[i, j + 1] * (1 - fy) * fx + v[i + 1, j] * fy * (1 - fx)
                      + v[i + 1, j + 1] * fy * fx)


def _view_direction(way: NDArray[np.float32], canvas: Canvas) -> NDArray[np.float64]:
    """Directions on the view, radians, of doubled directions (2, n) on the stretched canvas."""
    angle = 0.5 * np.arctan2(way[1], way[0]).astype(np.float64)
    sx, sy = canvas.scale
    dx, dy = np.cos(angle) * sx, np.sin(angle) * sy
    # the view was turned a quarter counter-clockwise to lie on the canvas
    return np.asarray(np.arctan2(dy, dx) - (math.pi / 2 if canvas.turned else 0))


def find_lines(cells: Cells, directions: Sequence[float] | None = None, *, least: float = 0.3, covered: float = 0.5,
               most: int = 14, gap: float = 2.5) -> list[Line]:
    """Lines right across the view, strongest first.

    Parameters
    ----------
    directions : only lines within four degrees of one of these (degrees); None: any.
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
    step = _STEP * cells.cell
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
    used = np.zeros(len(cells.at), bool)
    for _ in range(3 * most):
        k = int(votes.argmax())
        i, j = divmod(k, bins)
        if votes[i, j] < 4 * _FAINT or len(found) >= most:
            break
        line = _fitted(cells, float(thetas[i]), low + j * step, directions)
        # these votes are spent, whatever comes of the line
        near = np.abs(rho[:, i] - (low + j * step)) < _BAND * cells.cell
        if cells.angle is not None:
            near &= np.cos(2 * (cells.angle - t[i])) > 0.7
        fresh = near & ~used
        used |= near
        votes = np.maximum(votes - _counted(place[fresh], weight[fresh], bins), 0)
        votes[max(0, i - 1):i + 2, max(0, j - 2):j + 3] = 0
        if line is None or line.strength < least or line.covered < covered:
            continue
        if all(apart(line.direction, f.direction) > 8 or _distance(line, f) > gap * cells.cell for f in found):
            found.append(line)
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


def _distance(one: Line, other: Line) -> float:
    """Distance of the middle of one line from another."""
    a, b = np.asarray(other.p0), np.asarray(other.p1)
    d = (b - a) / max(float(np.hypot(*(b - a))), 1e-9)
    m = (np.asarray(one.p0) + np.asarray(one.p1)) / 2 - a
    return float(abs(d[0] * m[1] - d[1] * m[0]))


def _fitted(cells: Cells, theta: float, offset: float, directions: Sequence[float] | None) -> Line | None:
    """The line of least weighted squares near a voted one."""
    t = math.radians(theta)
    error = cells.cell
    turn_error = 2.0
    for _ in range(4):
        n, e = np.array([math.sin(t), math.cos(t)]), np.array([math.cos(t), -math.sin(t)])
        off, on = cells.at @ n - offset, cells.at @ e
        w = cells.strength * np.exp(-0.5 * (off / (0.8 * cells.cell)) ** 2) * (np.abs(off) < 2 * _BAND * cells.cell)
        if cells.angle is not None:
            w = w * np.clip(np.cos(2 * (cells.angle - t)), 0, 1)
        total = float(w.sum())
        if total < 1.0:
            return None
        middle = float((w * on).sum()) / total
        reach = float((w * (on - middle) ** 2).sum()) / total
        mean = float((w * off).sum()) / total
        # a weak pull towards the voted direction keeps short lines from tipping over
        slope = float((w * (on - middle) * (off - mean)).sum()) / (total * (reach + 4 * cells.cell**2))
        spread = math.sqrt(max(float((w * (off - mean - slope * (on - middle)) ** 2).sum()) / total, 1e-6))
        error = max(0.15 * cells.cell, spread / math.sqrt(max(total, 1.0)))
        turn_error = math.degrees(error / max(math.sqrt(reach), cells.cell))
        place = (offset + mean) * n + middle * e
        t = t - math.atan(slope)
        offset = float(place @ np.array([math.sin(t), math.cos(t)]))
    direction = math.degrees(t)
    if directions is not None and min(apart(direction, d) for d in directions) > 6:
        return None
    ends = line_through(direction, offset, cells.canvas.width, cells.canvas.height)
    if ends is None or math.dist(*ends) < 8 * cells.cell:
        return None
    values = cells.along(*ends)
    return Line(*ends, float(values.mean()), float((values > _COVERED).mean()), error, turn_error)
