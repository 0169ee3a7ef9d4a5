"""Seams: straight lines at which the grain direction breaks, located in working-view pixels.

A seam needs grain on both sides, a turn that happens within a few cells rather than gradually, and length. Bends, knots
and the outline of a handle fail one of these.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from vision.grain.flow import mean_direction, resolved
from vision.grain.metric import angle_difference
from vision.types import GrainField, Point

#: Smallest turn that counts, degrees. Leaves of one log laid mirror-wise turn by twice their tilt.
MIN_TURN = 9.0
#: Distance from the line at which each side is read, px (beyond the field's integration window).
_OFFSET_PX = 14.0
_NORMALS = 12


@dataclass(frozen=True)
class Seam:
    """A line from `p0` to `p1` (working-view pixels) at which the grain direction breaks.

    `angle_before` and `angle_after` (degrees 0..180) are the directions on the left and on the right of someone walking
    from p0 to p1 as seen on screen. `strength` 0..1: sine of the turn, times how well each side agrees with itself, times
    how sharply the turn happens.
    """

    p0: Point
    p1: Point
    strength: float
    angle_before: float
    angle_after: float

    @property
    def turn(self) -> float:
        """Turn across the seam in degrees, 0..90."""
        return float(abs(angle_difference(self.angle_after, self.angle_before)))

    @property
    def length(self) -> float:
        """Length in working-view pixels."""
        return math.dist(self.p0, self.p1)


def _break_map(field: GrainField, seen: NDArray[np.bool_]) -> tuple[NDArray[np.float32], NDArray[np.int64]]:
    """(turn in degrees, index of the normal) of the sharpest one-sided difference at every cell."""
    weight = np.where(seen, field.coherence, 0).astype(np.float32)
    double = np.radians(2 * field.angle)
    vectors = np.dstack([weight * np.cos(double), weight * np.sin(double), weight])
    vectors = np.asarray(cv2.GaussianBlur(vectors, (0, 0), 1.5, borderType=cv2.BORDER_CONSTANT), np.float32)
    reach = _OFFSET_PX / field.step
    rows, cols = weight.shape
    turns = np.zeros((_NORMALS, rows, cols), np.float32)
    for i in range(_NORMALS):
        a = math.pi * i / _NORMALS
        dx, dy = reach * math.cos(a), reach * math.sin(a)

        def side(sx: float, sy: float) -> NDArray:
            shift = np.array([[1, 0, sx], [0, 1, sy]], np.float32)
            return np.asarray(cv2.warpAffine(vectors, shift, (cols, rows), flags=cv2.INTER_LINEAR | cv2.WARP_INVERSE_MAP))

        one, two = side(dx, dy), side(-dx, -dy)
        cross = one[..., 1] * two[..., 0] - one[..., 0] * two[..., 1]
        dot = one[..., 0] * two[..., 0] + one[..., 1] * two[..., 1]
        sure = np.minimum(np.hypot(one[..., 0], one[..., 1]), np.hypot(two[..., 0], two[..., 1]))
        turns[i] = np.where(sure > 0.15, 0.5 * np.degrees(np.abs(np.arctan2(cross, dot))), 0)
    best = turns.argmax(0)
    return np.take_along_axis(turns, best[None], 0)[0], best


def _ridge(turn: NDArray[np.float32], normal: NDArray[np.int64]) -> NDArray[np.uint8]:
    """Cells that are not beaten by their neighbours along their own normal."""
    padded = np.pad(turn, 2)
    keep = turn >= MIN_TURN
    r, c = np.nonzero(keep)
    a = math.pi * normal[r, c] / _NORMALS
    out = np.zeros(turn.shape, np.uint8)
    ok = np.ones(len(r), bool)
    for k in (-2, -1, 1, 2):
        rr, cc = np.rint(r + k * np.sin(a)).astype(int) + 2, np.rint(c + k * np.cos(a)).astype(int) + 2
        ok &= turn[r, c] >= padded[rr, cc] - 0.5
    out[r[ok], c[ok]] = 255
    return out


def _judge(field: GrainField, weight: NDArray, a: NDArray, b: NDArray) -> Seam | None:
    """Seam between grid points a and b (x, y in cells), judged on the raw field of both sides; None if it fails."""
    along = b - a
    length = float(np.hypot(*along))
    along = along / length
    left = np.array([along[1], -along[0]])
    places = a + np.linspace(0, 1, max(8, int(length)))[:, None] * (b - a)
    rows, cols = weight.shape

    def read(offsets: NDArray) -> tuple[NDArray, NDArray, NDArray]:
        spots = np.rint(places[None] + offsets[:, None, None] * left).astype(int)
        inside = (spots[..., 0] >= 0) & (spots[..., 0] < cols) & (spots[..., 1] >= 0) & (spots[..., 1] < rows)
        x, y = np.clip(spots[..., 0], 0, cols - 1), np.clip(spots[..., 1], 0, rows - 1)
        return field.angle[y, x], weight[y, x] * inside, inside

    near = _OFFSET_PX / field.step
    outer = near + np.arange(0, 5)
    sides = []
    for sign in (1, -1):
        angle, w, _ = read(sign * outer)
        direction, order = mean_direction(angle, w)
        if (w > 0).mean() < 0.5 or order < 0.7:
            return None
        far_angle, far_w, _ = read(sign * (outer + near))
        far, _ = mean_direction(far_angle, far_w) if (far_w > 0).mean() > 0.3 else (direction, order)
        sides.append((direction, order, far, angle, w))
    (before, order_a, far_a, angle_a, w_a), (after, order_b, far_b, angle_b, w_b) = sides
    turn = float(angle_difference(after, before))
    if abs(turn) < MIN_TURN:
        return None
    # along the line the turn must keep its sign: a bend round a knot does not
    thirds = []
    for part in np.array_split(np.arange(len(places)), 4):
        one, _ = mean_direction(angle_a[:, part], w_a[:, part])
        two, _ = mean_direction(angle_b[:, part], w_b[:, part])
        thirds.append(float(angle_difference(two, one)) * np.sign(turn))
    steady = float(np.mean([t > 0.4 * abs(turn) for t in thirds if np.isfinite(t)] or [0]))
    # a gradual bend goes on turning at the same rate beyond the near window
    drift = abs(float(angle_difference(before, far_a))) + abs(float(angle_difference(far_b, after)))
    sharp = max(0.0, 1 - drift / abs(turn))
    if steady < 0.75 or sharp < 0.35:
        return None
    strength = min(1.0, math.sin(math.radians(min(90.0, abs(turn)))) * min(order_a, order_b) * sharp * steady)
    p0, p1 = (tuple(float(v) for v in (p + 0.5) * field.step - 0.5) for p in (a, b))
    return Seam((p0[0], p0[1]), (p1[0], p1[1]), strength, before, after)


def _same(one: Seam, two: Seam, reach: float) -> bool:
    """True when both describe one line: ends of the shorter lie within `reach` px of the longer and it is parallel."""
    long, short = (one, two) if one.length >= two.length else (two, one)
    d = np.subtract(long.p1, long.p0) / long.length
    offsets = [abs(float(d[0] * (p[1] - long.p0[1]) - d[1] * (p[0] - long.p0[0]))) for p in (short.p0, short.p1)]
    spots = [float(np.dot(d, np.subtract(p, long.p0))) for p in (short.p0, short.p1)]
    overlap = min(long.length, max(spots)) - max(0.0, min(spots))
    return max(offsets) < reach and overlap > 0.3 * short.length


def find_seams(field: GrainField, *, limit: int = 12) -> tuple[Seam, ...]:
    """Direction seams of a panel, strongest first, at most `limit`.

    A seam is at least a quarter of the shorter side of the resolved area long, and at least 40 px.
    """
    seen = resolved(field)
    if seen.sum() < 60:
        return ()
    turn, normal = _break_map(field, seen)
    ridge = _ridge(turn, normal)
    rows, cols = np.nonzero(seen)
    extent = min(np.ptp(rows), np.ptp(cols)) + 1
    least = max(40 / field.step, extent / 4)
    lines = cv2.HoughLinesP(ridge, 1, math.pi / 90, max(6, int(0.35 * least)), minLineLength=float(least),
                            maxLineGap=max(4.0, 0.15 * least))
    if lines is None:
        return ()
    weight = np.where(seen, field.coherence, 0)
    segments = np.asarray(lines, np.float64).reshape(-1, 4)
    order = np.argsort(-np.hypot(segments[:, 2] - segments[:, 0], segments[:, 3] - segments[:, 1]))[:60]
    found = [s for i in order if (s := _judge(field, weight, segments[i, :2], segments[i, 2:])) is not None]
    found.sort(key=lambda s: -s.strength * math.sqrt(s.length))
    kept: list[Seam] = []
    for s in found:
        if all(not _same(s, k, 2 * _OFFSET_PX) for k in kept):
            kept.append(s)
    return tuple(sorted(kept[:limit], key=lambda s: -s.strength))
