"""Seams: straight lines at which the grain direction breaks, located in working-view pixels.

A seam needs grain on both sides, a turn that happens within a few cells rather than gradually, and length. Bends, knots
and the outline of a handle fail one of these.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

import cv2
import numpy as np
from numpy.typing import NDArray

from vision.grain.flow import mean_direction, resolved
from vision.grain.metric import angle_difference
from vision.types import GrainField, Point

#: Smallest turn that counts, degrees. Leaves of one log laid mirror-wise turn by twice their tilt.
MIN_TURN = 9.0
#: Distance from the line at which each side is read, px (beyond the field's integration window).
_OFFSET_PX = 10.0
#: The direction of each side must go on for this much further, px: an object's edge is no field of grain.
_DEPTH_PX = 24.0
_NORMALS = 8
_TRIALS = 16
_DIRECTIONS = 60
#: Sine of the widest angle between a cell's normal and a line it votes for.
_SECTOR = 0.45
#: Seams weaker than this are not told.
MIN_STRENGTH = 0.15
#: Least length of the averaged coherence vector on either side.
_SURE = 0.15
#: What an end that stops inside the panel leaves of a seam's strength.
_OPEN_END = 0.6


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
    vectors = np.dstack([weight * np.cos(double), weight * np.sin(double)])
    vectors = np.asarray(cv2.GaussianBlur(vectors, (0, 0), 1.5, borderType=cv2.BORDER_CONSTANT), np.float32)
    reach = _OFFSET_PX / field.step
    # seen along the line for some 40 px: what breaks at random cancels, a seam adds up
    along = np.arange(-2, 3) * (2 * reach / 2.5)
    pad = math.ceil(reach + along[-1]) + 1
    c, s = (np.pad(vectors[..., k], pad) for k in (0, 1))
    rows, cols = weight.shape
    sharpest, best = np.ones((rows, cols), np.float32), np.zeros((rows, cols), np.int64)

    def shifted(values: NDArray, dx: float, dy: float) -> NDArray:
        y, x = pad + round(dy), pad + round(dx)
        return values[y:y + rows, x:x + cols]

    for i in range(_NORMALS):
        nx, ny = math.cos(math.pi * i / _NORMALS), math.sin(math.pi * i / _NORMALS)
        cross, dot = np.zeros((rows, cols), np.float32), np.zeros((rows, cols), np.float32)
        for t in along:
            one = (reach * nx - t * ny, reach * ny + t * nx)
            two = (-reach * nx - t * ny, -reach * ny + t * nx)
            c1, s1, c2, s2 = shifted(c, *one), shifted(s, *one), shifted(c, *two), shifted(s, *two)
            cross += s1 * c2 - c1 * s2
            dot += c1 * c2 + s1 * s2
        size = np.sqrt(cross * cross + dot * dot)
        cosine = dot / np.maximum(size, 1e-9)
        sharper = (size > len(along) * _SURE**2) & (cosine < sharpest)
        np.copyto(sharpest, cosine, where=sharper)
        best[sharper] = i
    return (0.5 * np.degrees(np.arccos(np.clip(sharpest, -1, 1)))).astype(np.float32), best


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


def _lines(turn: NDArray[np.float32], normal: NDArray[np.int64], ridge: NDArray[np.uint8],
           least: float) -> list[tuple[NDArray, NDArray]]:
    """Ends (x, y in cells) of straight runs of broken direction at least `least` cells long, most voted first.

    A Hough vote of the ridge cells, each for the lines within a sector of its own normal, weighted by its turn.
    """
    rows, cols = np.nonzero(ridge)
    if rows.size < 6:
        return []
    weight = np.minimum(turn[rows, cols], 45) / 45
    own = math.pi * normal[rows, cols] / _NORMALS
    thetas = math.pi * np.arange(_DIRECTIONS) / _DIRECTIONS
    reach = math.ceil(math.hypot(*turn.shape)) + 2
    votes = np.zeros((_DIRECTIONS, 2 * reach + 1), np.float32)
    for i, theta in enumerate(thetas):
        near = np.abs(np.sin(own - theta)) < _SECTOR
        rho = np.rint(cols[near] * math.cos(theta) + rows[near] * math.sin(theta)).astype(int) + reach
        votes[i] = np.bincount(rho, weight[near], votes.shape[1])
    smooth = np.asarray(cv2.blur(votes, (3, 1), borderType=cv2.BORDER_CONSTANT)) * 3
    broad = np.asarray(cv2.dilate(turn, np.ones((3, 3), np.uint8)), np.float32)
    out = []
    for _ in range(_TRIALS):
        i, r = divmod(int(smooth.argmax()), smooth.shape[1])
        if smooth[i, r] < 0.12 * least:
            break
        run = _longest_run(broad, float(thetas[i]), float(r - reach))
        if run is not None and np.hypot(*(run[1] - run[0])) >= least:
            out.append(run)
        for d in range(-3, 4):
            # directions wrap: theta + pi is theta with the offset negated
            j, flip = (i + d) % _DIRECTIONS, not 0 <= i + d < _DIRECTIONS
            centre = 2 * reach - r if flip else r
            smooth[j, max(0, centre - 3):centre + 4] = 0
    return out


def _longest_run(turn: NDArray[np.float32], theta: float, rho: float) -> tuple[NDArray, NDArray] | None:
    """Ends of the longest stretch of the line x cos + y sin = rho on which the direction breaks, small gaps allowed."""
    rows, cols = turn.shape
    t = np.arange(-math.hypot(rows, cols), math.hypot(rows, cols))
    x, y = rho * math.cos(theta) - t * math.sin(theta), rho * math.sin(theta) + t * math.cos(theta)
    inside = (x > -0.5) & (x < cols - 0.5) & (y > -0.5) & (y < rows - 0.5)
    x, y = x[inside], y[inside]
    broken = np.nonzero(turn[np.rint(y).astype(int), np.rint(x).astype(int)] >= MIN_TURN)[0]
    if broken.size < 2:
        return None
    parts = np.split(broken, np.nonzero(np.diff(broken) > 6)[0] + 1)
    best = max(parts, key=lambda p: p[-1] - p[0])
    return np.array([x[best[0]], y[best[0]]]), np.array([x[best[-1]], y[best[-1]]])


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
    beyond = near + np.arange(5, 5 + math.ceil(_DEPTH_PX / field.step))
    sides = []
    for sign in (1, -1):
        angle, w, _ = read(sign * outer)
        direction, order = mean_direction(angle, w)
        far_angle, far_w, _ = read(sign * beyond)
        if (w > 0).mean() < 0.6 or order < 0.7 or (far_w > 0).mean() < 0.3:
            return None
        far, far_order = mean_direction(far_angle, far_w)
        if far_order < 0.5:
            return None
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
    if steady < 0.75 or sharp < 0.5:
        return None
    strength = min(1.0, math.sin(math.radians(min(90.0, abs(turn)))) * min(order_a, order_b) * sharp * steady)
    p0, p1 = (tuple(float(v) for v in (p + 0.5) * field.step - 0.5) for p in (a, b))
    return Seam((p0[0], p0[1]), (p1[0], p1[1]), strength, before, after)


def _extended(seam: Seam, turn: NDArray[np.float32], seen: NDArray[np.bool_], step: float) -> Seam:
    """The seam drawn out at both ends for as long as the direction goes on breaking there (gaps up to 24 px)."""
    p0, p1 = ((np.asarray(p) + 0.5) / step - 0.5 for p in (seam.p0, seam.p1))
    along = (p1 - p0) / np.hypot(*(p1 - p0))

    def drawn(end: NDArray, way: NDArray) -> NDArray:
        last, gap, k = end, 0, 1
        while gap <= 24 / step:
            x, y = np.rint(end + k * way).astype(int)
            if not (0 <= y < turn.shape[0] and 0 <= x < turn.shape[1]) or not seen[y, x]:
                break
            if turn[y, x] > 0.6 * seam.turn:
                last, gap = end + k * way, 0
            else:
                gap += 1
            k += 1
        return last

    ends = [(drawn(end, way) + 0.5) * step - 0.5 for end, way in ((p0, -along), (p1, along))]
    return replace(seam, p0=(float(ends[0][0]), float(ends[0][1])), p1=(float(ends[1][0]), float(ends[1][1])))


def _open_ends(seam: Seam, others: Sequence[Seam], seen: NDArray[np.bool_], step: float) -> int:
    """How many ends lie inside the panel, neither near its rim nor at another seam: joints run through, the axis of a
    cathedral figure starts somewhere."""
    rim = cv2.distanceTransform(np.pad(seen.astype(np.uint8), 1), cv2.DIST_L2, 3)[1:-1, 1:-1] * step
    reach = max(3 * _OFFSET_PX, 0.12 * min(seen.shape) * step)
    count = 0
    for p in (seam.p0, seam.p1):
        y, x = (int(np.clip((v + 0.5) / step, 0, n - 1)) for v, n in zip((p[1], p[0]), seen.shape, strict=True))
        if rim[y, x] > reach and not any(o is not seam and _distance(p, o) < 3 * _OFFSET_PX for o in others):
            count += 1
    return count


def _distance(p: Point, seam: Seam) -> float:
    """Distance in px of a point from the segment of a seam."""
    a, d = np.asarray(seam.p0), np.subtract(seam.p1, seam.p0)
    t = float(np.clip(np.dot(np.asarray(p) - a, d) / max(float(d @ d), 1e-9), 0, 1))
    return float(np.hypot(*(np.asarray(p) - a - t * d)))


def _same(one: Seam, two: Seam, reach: float) -> bool:
    """True when both describe one line: they run within 30 degrees of each other and the middle of the shorter, or more
    of it, lies within `reach` px of the longer."""
    long, short = (one, two) if one.length >= two.length else (two, one)
    d, e = (np.subtract(s.p1, s.p0) / max(s.length, 1e-9) for s in (long, short))
    if abs(float(d[0] * e[1] - d[1] * e[0])) > 0.5:
        return False
    places = [tuple(np.asarray(short.p0) * (1 - t) + np.asarray(short.p1) * t) for t in (0.0, 0.25, 0.5, 0.75, 1.0)]
    return sum(_distance((float(p[0]), float(p[1])), long) < reach for p in places) >= 2


def find_seams(field: GrainField, *, limit: int = 12) -> tuple[Seam, ...]:
    """Direction seams of a panel, strongest first, at most `limit`.

    A seam is at least a third of the shorter side of the resolved area long, and at least 40 px.
    """
    seen = resolved(field)
    if seen.sum() < 60:
        return ()
    turn, normal = _break_map(field, seen)
    ridge = _ridge(turn, normal)
    rows, cols = np.nonzero(seen)
    extent = min(np.ptp(rows), np.ptp(cols)) + 1
    least = max(40 / field.step, extent / 3)
    weight = np.where(seen, field.coherence, 0)
    trials = _lines(turn, normal, ridge, least)
    found = [s for a, b in trials if (s := _judge(field, weight, a, b)) is not None]
    found.sort(key=lambda s: -s.strength * math.sqrt(s.length))
    kept: list[Seam] = []
    broad = np.asarray(cv2.dilate(turn, np.ones((3, 3), np.uint8)), np.float32)
    for s in found:
        whole = _extended(s, broad, seen, field.step)
        if all(not _same(whole, k, 2 * _OFFSET_PX) for k in kept):
            kept.append(whole)
    closed = [replace(s, strength=s.strength * _OPEN_END ** _open_ends(s, kept, seen, field.step)) for s in kept]
    told = (s for s in closed if s.strength >= MIN_STRENGTH)
    return tuple(sorted(told, key=lambda s: -s.strength)[:limit])
