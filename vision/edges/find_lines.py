"""Straight lines beside a side of a panel's outline, and the bands between two of them that may be its narrow side.

A side is laid out with its length along the columns and the way out of the panel down the rows. Lines may tilt a little, since
a narrow side tapers in perspective; a line counts by the mean change of colour over it against the change's spread along it.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from vision.resize import resize

Floats = NDArray[np.float32]
Points = NDArray[np.float64]

#: Deepest band, as a share of the side's length; rows to each way at most; thinnest band in photo pixels and in rows.
DEEPEST_SHARE, MAX_ROWS, LEAST_PX, LEAST_ROWS = 0.4, 150, 4.0, 3.5
#: Columns at most, and how far the layout reaches past the side's ends, as a share of its length.
COLUMNS, PAST = 192, 0.12
#: How far out of the panel the photo should reach along a side that it cuts, shares of the side's length tried in turn; px
#: that must be there to either way; share of the side that the deeper reach may cost.
ROOM, LEAST_ROOM, ROOM_KEEPS = (0.3, 0.2, 0.12, 0.06), 10.0, 0.6
#: Stretches along the side's middle part, and those past each end.
STRETCHES, ENDS = 16, 2
#: Tilts tried: rows by which a line's right end lies deeper than its left end.
TILTS = (-20.0, -13.0, -8.0, -5.0, -2.5, -1.0, 0.0, 1.0, 2.5, 5.0, 8.0, 13.0, 20.0)
#: Most lines kept near the outline, and to each way beyond.
NEAR, FAR = 2, 7


@dataclass(frozen=True, eq=False)
class SideLayout:
    """A side laid out. `profiles`: (rows, stretches, 3) mean Lab, the outer `ENDS` stretches at both ends past the corners;
    `rough`: (rows, stretches) spread of lightness along the side within a stretch; `zero`: row of the outline;
    `step`: photo px per row; `low`, `high`: rows (half-open) inside the photo; `a`, `b`: the side's ends; `way`: unit vector out;
    `place`: (stretches,) middle of each as a share of the side; `whole`: shares at which the whole side begins and ends where
    the photo cuts it and only the part from a to b is laid out; `size`: columns and rows of the photo."""

    profiles: Floats
    rough: Floats
    zero: float
    step: float
    low: int
    high: int
    a: Points
    b: Points
    way: Points
    place: Floats
    whole: tuple[float, float]
    size: tuple[int, int]

    def on_photo(self, share: float, row: float) -> Points:
        return np.asarray(self.a + share * (self.b - self.a) + (row - self.zero) * self.step * self.way)

    def ends_on_photo(self, row: float, tilt: float) -> tuple[Points, Points]:
        """Where a line begins and ends: at the whole side's ends, or where it leaves the photo."""
        first, last = (self.on_photo(at, row + tilt * (at - 0.5)) for at in (0.0, 1.0))
        run = last - first
        low, high = self.whole
        for k in (0, 1):
            if abs(run[k]) > 1e-9:
                bounds = sorted(((0.0 - first[k]) / run[k], (self.size[k] - 1.0 - first[k]) / run[k]))
                low, high = max(low, min(bounds[0], 0.0)), min(high, max(bounds[1], 1.0))
        return np.asarray(first + low * run), np.asarray(first + high * run)


class Shrunk:
    """A picture at half, quarter ... size, made when first asked for: fine texture would alias in a coarse layout."""

    def __init__(self, pixels: NDArray[np.uint8]) -> None:
        self._levels = {0: pixels}

    def at(self, step: float) -> tuple[NDArray[np.uint8], float]:
        """(picture, its scale) for one sample every `step` px."""
        level = max(0, math.floor(math.log2(max(step, 1.0)) + 0.25))
        if level not in self._levels:
            h, w = self._levels[0].shape[:2]
            self._levels[level] = resize(self._levels[0], max(8, round(w / 2**level)), max(8, round(h / 2**level)))
        return self._levels[level], self._levels[level].shape[1] / self._levels[0].shape[1]


def grid_of(a: Points, b: Points, way: Points) -> tuple[NDArray[np.float64], int, int, int, float]:
    """(2x3 matrix from layout (x, y, 1) to photo px, columns, rows, zero row, px per row) for a side."""
    length = float(np.hypot(*(b - a)))
    depth = max(24.0, DEEPEST_SHARE * length)
    step = max(1.0, depth / MAX_ROWS)
    reach = math.ceil(depth / step)
    n = int(np.clip(round(length * (1 + 2 * PAST) / step), 48, COLUMNS))
    along = (b - a) * (1 + 2 * PAST) / n
    origin = a - PAST * (b - a) + 0.5 * along - reach * step * way
    return np.stack([along, step * way, origin], axis=1), n, 2 * reach + 1, reach, step


def seen_part(a: Points, b: Points, way: Points, size: tuple[int, int]) -> tuple[float, float] | None:
    """(first, last) share of the side from a to b along which the photo shows what lies beside it; None where it nowhere does."""
    length = float(np.hypot(*(b - a)))
    share = np.linspace(0, 1, 129)
    points = a + share[:, None] * (b - a)

    def run(out: float) -> tuple[int, int]:
        there = np.ones(len(share), bool)
        for off in (0.0, -LEAST_ROOM, out):
            at = points + off * way
            there &= (at > -1.5).all(axis=1) & (at < np.array(size) + 0.5).all(axis=1)
        # the photo and a line's inside of it are convex: one run, if any
        k = np.flatnonzero(there)
        return (int(k[0]), int(k[-1])) if len(k) else (0, 0)

    least = run(LEAST_ROOM)
    if least[1] == least[0]:
        return None
    first, last = next((r for r in (run(s * length) for s in ROOM) if r[1] - r[0] >= ROOM_KEEPS * (least[1] - least[0])), least)
    return float(share[first]), float(share[last])


def lay_side(pictures: Shrunk, a: Points, b: Points, way: Points, size: tuple[int, int],
             least: float = 48.0) -> SideLayout | None:
    """The side from a to b laid out, as far as the photo shows it; None where that is less than `least` px."""
    seen = seen_part(a, b, way, size)
    if seen is None or (seen[1] - seen[0]) * float(np.hypot(*(b - a))) < least:
        return None
    first, last = seen
    a, b = a + first * (b - a), a + last * (b - a)
    matrix, n, rows, zero, step = grid_of(a, b, way)
    k = (np.arange(rows)[:, None] - zero) * step
    inside = np.ones(rows, bool)
    for end in (a, b):
        at = end + k * way
        inside &= (at > -1.5).all(axis=1) & (at < np.array(size) + 0.5).all(axis=1)
    valid = np.flatnonzero(inside)
    if not len(valid) or not valid[0] + 4 < zero < valid[-1] - 3:
        return None
    source, scale = pictures.at(step)
    small = matrix * scale
    small[:, 2] += 0.5 * scale - 0.5
    rgb = cv2.warpAffine(source, small, (n, rows), flags=cv2.INTER_LINEAR | cv2.WARP_INVERSE_MAP, borderMode=cv2.BORDER_REPLICATE)
    lab = [plane.astype(np.float32) for plane in cv2.split(cv2.cvtColor(rgb, cv2.COLOR_RGB2LAB))]
    start, stop, place = stretches_of(n)
    column = np.arange(n)
    # (columns, stretches): what each column counts for in a stretch's mean
    shares = np.asarray(((column >= start[:, None]) & (column < stop[:, None])).T / (stop - start), np.float32)
    profiles = np.stack([plane @ shares for plane in lab], axis=-1)
    # less a middle lightness first, or single precision would lose the spread
    off = np.float32(lab[0].mean())
    light = lab[0] - off
    squares = (light * light) @ shares
    rough = np.sqrt(np.maximum(squares - (profiles[..., 0] - off) ** 2, 0))
    whole = -first / (last - first), (1 - first) / (last - first)
    return SideLayout(profiles, rough, float(zero), step, int(valid[0]), int(valid[-1]) + 1, a, b, way, place, whole, size)


def stretches_of(n: int) -> tuple[NDArray[np.intp], NDArray[np.intp], Floats]:
    """(first columns, columns after the last, middles as shares of the side) of the stretches: ENDS past the left end,
    STRETCHES along the side, ENDS past the right end; the columns at the very corners belong to none."""
    whole = 1 + 2 * PAST
    left, middle = np.linspace(-PAST, -0.015, ENDS + 1), np.linspace(0.03, 0.97, STRETCHES + 1)
    right = 1 - left[::-1]
    first = np.concatenate([left[:-1], middle[:-1], right[:-1]])
    last = np.concatenate([left[1:], middle[1:], right[1:]])
    start = np.round((first + PAST) / whole * n).astype(np.intp)
    stop = np.maximum(np.round((last + PAST) / whole * n).astype(np.intp), start + 1)
    return start, stop, np.asarray(0.5 * (start + stop) / n * whole - PAST, np.float32)


@dataclass(frozen=True, eq=False)
class Lines:
    """Lines of a layout: `row` at the side's middle, `tilt`, `score`; `best`: (rows,) best score through each row; `near`:
    indices of lines at the outline, the outline itself (score as found there) the last."""

    row: NDArray[np.float64]
    tilt: NDArray[np.float64]
    score: NDArray[np.float64]
    best: Floats
    near: tuple[int, ...]


def changes(profiles: Floats) -> Floats:
    """Change of colour over each border between rows k - 1 and k: mean of two rows below less mean of two rows above."""
    out = np.zeros_like(profiles)
    out[2:-1] = 0.5 * (profiles[2:-1] + profiles[3:] - profiles[1:-2] - profiles[:-3])
    return out


def read_at(plane: Floats, rows: NDArray[np.floating]) -> Floats:
    """Values (..., stretches[, 3]) of a plane (rows, stretches[, 3]) at fractional rows (..., stretches)."""
    at = np.clip(rows, 0, len(plane) - 1.001).astype(np.float32)
    low = at.astype(np.intp)
    part = at - low
    cols = np.arange(plane.shape[1])
    if plane.ndim == 3:
        part = part[..., None]
    return np.asarray(plane[low, cols] * (1 - part) + plane[low + 1, cols] * part, np.float32)


def lines_of(layout: SideLayout, slack: float) -> Lines:
    """Lines along the side; `slack`: rows by which the outline may be off."""
    middle = slice(ENDS, -ENDS)
    change = changes(layout.profiles[:, middle])
    change[:layout.low + 2] = 0
    change[layout.high - 2:] = 0
    rows, k = change.shape[:2]
    spread = (layout.place[middle] - 0.5).astype(np.float32)
    pad = int(max(abs(t) for t in TILTS) / 2) + 2
    # (stretches, rows, 4): change of colour and its square, stretch by stretch, so that a tilt is a shift of rows
    planes = np.zeros((k, rows + 2 * pad, 4), np.float32)
    planes[:, pad:-pad, :3] = change.transpose(1, 0, 2)
    planes[:, pad:-pad, 3] = (change**2).sum(axis=2).T
    sums = np.zeros((len(TILTS), rows, 4), np.float32)
    windows = np.lib.stride_tricks.sliding_window_view(planes.reshape(-1), 4 * (rows + 1))
    first = pad + np.arange(k) * (rows + 2 * pad)
    for t, tilt in enumerate(TILTS):
        shift = tilt * spread
        low = np.floor(shift).astype(np.intp)
        part = (shift - low).astype(np.float32)
        laid = windows[4 * (first + low)]
        sums[t] = ((1 - part) @ laid[:, :-4] + part @ laid[:, 4:]).reshape(rows, 4)
    mean, square = sums[..., :3] / k, sums[..., 3] / k
    size2 = np.einsum("trc,trc->tr", mean, mean)
    size, rest = np.sqrt(size2), np.sqrt(np.maximum(square - size2, 0))
    # steep lines only far from the outline, where a taper could bring them there
    off = np.abs(np.arange(rows, dtype=np.float32) - layout.zero)
    allowed = np.abs(np.array(TILTS))[:, None] <= 3.0 + 0.5 * off
    scores = np.where(allowed, size2 / (size + 0.7 * rest + 0.5), 0)
    # of equal lines the straighter
    scores *= np.array([1 - 0.004 * abs(t) for t in TILTS], np.float32)[:, None]
    pick = scores.argmax(axis=0)
    best = scores.max(axis=0)
    peaks = np.flatnonzero((best[1:-1] >= best[:-2]) & (best[1:-1] > best[2:]) & (best[1:-1] > 0.3)) + 1
    peaks = peaks[np.argsort(-best[peaks], kind="stable")]
    kept: list[int] = []
    counts = {"near": 0, "in": 0, "out": 0}
    for r in peaks.tolist():
        off = r - layout.zero
        kind = "near" if abs(off) <= slack else "in" if off < 0 else "out"
        if counts[kind] >= (NEAR if kind == "near" else FAR) or any(abs(r - o) < 2.5 for o in kept):
            continue
        counts[kind] += 1
        kept.append(r)
    row: list[float] = []
    tilts: list[float] = []
    score: list[float] = []
    for r in kept:
        x, y, z = (float(best[r + d]) for d in (-1, 0, 1))
        bend = x - 2 * y + z
        # a border between rows r - 1 and r lies half a row above the middle of row r
        row.append(float(r) + (float(np.clip(0.5 * (x - z) / bend, -0.5, 0.5)) if bend < -1e-6 else 0.0) - 0.5)
        tilts.append(TILTS[pick[r]])
        score.append(y)
    near = [i for i, r in enumerate(kept) if abs(r - layout.zero) <= slack]
    if not any(abs(row[i] - layout.zero) < 1.5 for i in near):
        near.append(len(row))
        row.append(layout.zero)
        tilts.append(0.0)
        score.append(float(best[round(layout.zero)]))
    return Lines(np.array(row), np.array(tilts), np.array(score), best, tuple(near))


def bands_of(lines: Lines, layout: SideLayout) -> NDArray[np.intp]:
    """(n, 3) candidate bands: index of the arris' line, of the outer line, and 1 where the band lies inside the outline."""
    out = set()
    near = set(lines.near)
    least = max(LEAST_ROWS, LEAST_PX / layout.step)
    off = np.abs(lines.row - layout.zero)
    for i in near:
        for j in range(len(lines.row)):
            deep = lines.row[j] - lines.row[i]
            if j == i or abs(deep) < least or abs(lines.tilt[j] - lines.tilt[i]) > 1.1 * abs(deep):
                continue
            first, second = (i, j) if deep > 0 else (j, i)
            inside = off[second] < off[first] if i in near and j in near else deep < 0
            out.add((first, second, int(inside)))
    return np.array(sorted(out), np.intp).reshape(-1, 3)
