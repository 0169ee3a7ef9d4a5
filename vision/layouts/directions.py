"""Layouts that show in the grain direction: fits of the direction field to wedges, quarters, columns and blocks.

A direction is a vector z = w exp(2i angle). A pattern that predicts the direction of every cell up to one common angle
explains the share |sum z exp(-2i predicted)| / sum w of it; mirrored parts are folded over by conjugation first.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from vision.grain.flow import resolved
from vision.resize import resize_map
from vision.types import GrainField, Point

#: Cells along the longer side on which patterns are searched; wedge counts told apart.
_CELLS = 56
WEDGE_COUNTS = (6, 8, 10, 12, 14, 16, 18, 20, 24)
_SECTORS, _LINES = 240, 36
_WORTH = 0.35  # share a pattern must explain before its centre is refined

Complex = NDArray[np.complex128]


@dataclass(frozen=True, eq=False)
class Directions:
    """Direction vectors on a coarse grid: `z` (rows, cols) complex, `weight` its weights, `step_x`, `step_y` px a cell;
    cell (r, c) is centred on ((c + 0.5) step_x - 0.5, (r + 0.5) step_y - 0.5)."""

    z: Complex
    weight: NDArray[np.float64]
    step_x: float
    step_y: float

    @property
    def total(self) -> float:
        """Sum of the weights."""
        return float(max(self.weight.sum(), 1e-9))

    def places(self) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
        """(x, y) px of all cells."""
        rows, cols = self.z.shape
        x = (np.arange(cols) + 0.5) * self.step_x - 0.5
        y = (np.arange(rows) + 0.5) * self.step_y - 0.5
        return np.broadcast_to(x, (rows, cols)), np.broadcast_to(y[:, None], (rows, cols))


@dataclass(frozen=True)
class Quarters:
    """Best fit of four quarters parted by a level and an upright line. `share` explained; `angle`: direction in the upper
    right quarter, degrees 0..180: near 45 the grain runs to the centre, near 135 round it."""

    share: float
    angle: float
    x: float
    y: float
    error: float


@dataclass(frozen=True)
class Box:
    """Best fit of four leaves meeting on lines to the corners. `along` > 0: grain parallel to the edges."""

    share: float
    along: float
    x: float
    y: float
    error: float
    corners: tuple[tuple[float, float], ...]


@dataclass(frozen=True)
class Fold:
    """Best fit of columns parted by parallel lines across which the direction mirrors. `direction` of the lines in degrees;
    `offsets`: signed distances of the lines from the origin along the normal (cos, -sin) turned by 90 degrees, see
    `line_through`; `lean`: angle between grain and lines, degrees 0..90; `gain`: share explained beyond one direction."""

    share: float
    gain: float
    direction: float
    lean: float
    offsets: tuple[float, ...]


@dataclass(frozen=True)
class Wedges:
    """Best fit of equal wedges. `share` explained by `count` wedges with the first seam at `first` degrees; `smooth`: share
    explained by grain running exactly outwards; `tangent` 0..1: 1 when the grain runs round the centre; `margin`: share
    by which the count beats the second best count."""

    share: float
    smooth: float
    count: int
    first: float
    lean: float
    margin: float
    x: float
    y: float
    error: float


@dataclass(frozen=True)
class Blocks:
    """Best fit of a draughtboard of two directions at right angles. `size`: px a block; `x`, `y`: a corner; `two`: share of
    the field that lies in one of two directions at right angles; `balance`: the smaller of the two shares."""

    share: float
    two: float
    balance: float
    size: float
    x: float
    y: float


def coarse(field: GrainField) -> Directions:
    """Direction vectors of a field on at most 56 cells; weights are coherence, cells without grain weigh nothing."""
    seen = resolved(field)
    w = np.where(seen, field.coherence, 0).astype(np.float32)
    double = np.radians(2 * field.angle)
    stack = np.dstack([w * np.cos(double), w * np.sin(double), w]).astype(np.float32)
    rows, cols = w.shape
    scale = min(1.0, _CELLS / max(rows, cols))
    tall, wide = max(2, round(rows * scale)), max(2, round(cols * scale))
    small = resize_map(stack, wide, tall).astype(np.float64)
    return Directions(small[..., 0] + 1j * small[..., 1], small[..., 2], field.step * cols / wide, field.step * rows / tall)


def uniform_share(d: Directions) -> tuple[float, float]:
    """(share explained by one direction, that direction in degrees)."""
    total = d.z.sum()
    return float(abs(total) / d.total), float(math.degrees(0.5 * np.angle(total)) % 180)


def _sums(values: NDArray) -> NDArray:
    out = np.zeros((values.shape[0] + 1, values.shape[1] + 1), values.dtype)
    out[1:, 1:] = values.cumsum(0).cumsum(1)
    return out


def _spread(score: NDArray, x: NDArray, y: NDArray, cells: float) -> float:
    """Root mean square distance (px) of places from the best one, weighted as a likelihood over `cells` independent cells."""
    weight = np.exp((score - score.max()) * cells)
    weight /= weight.sum()
    best = np.unravel_index(int(score.argmax()), score.shape)
    return float(np.sqrt((weight * ((x - x[best]) ** 2 + (y - y[best]) ** 2)).sum() + 1.0))


def full(field: GrainField) -> Directions:
    """Direction vectors at the field's own resolution."""
    w = np.where(resolved(field), field.coherence, 0).astype(np.float64)
    return Directions(np.asarray(w * np.exp(2j * np.radians(field.angle)), np.complex128), w, field.step, field.step)


def fit_quarters(d: Directions) -> Quarters:
    """Best centre for four mirrored quarters; every cell corner within the middle 60 % is tried."""
    s = _sums(d.z)
    rows, cols = d.z.shape
    r = np.arange(math.ceil(0.2 * rows), math.floor(0.8 * rows) + 1)
    c = np.arange(math.ceil(0.2 * cols), math.floor(0.8 * cols) + 1)
    mid = s[np.ix_(r, c)]
    left, top, all_ = s[r, -1][:, None], s[-1, c][None], s[-1, -1]
    upper_left, upper_right = mid, left - mid
    lower_left, lower_right = top - mid, all_ - left - top + mid
    folded = upper_right + np.conj(upper_left) + lower_left + np.conj(lower_right)
    # only the slanting part counts: a level or upright grain mirrors onto itself
    score = np.abs(folded.imag) / d.total
    i, j = np.unravel_index(int(score.argmax()), score.shape)
    xs, ys = np.meshgrid(c * d.step_x - 0.5, r * d.step_y - 0.5)
    error = _spread(score, xs, ys, np.count_nonzero(d.weight > 0.1) * d.step_x * d.step_y / 500)
    return Quarters(float(score[i, j]), float(math.degrees(0.5 * np.angle(folded[i, j])) % 180), float(xs[i, j]), float(ys[i, j]),
                    error)


def fit_box(d: Directions) -> Box:
    """Best centre for four triangles; seams run to the corners, or at 45 degrees."""
    x, y = d.places()
    wide, tall = d.z.shape[1] * d.step_x, d.z.shape[0] * d.step_y
    total = d.z.real.sum()

    def explained(cx: float, cy: float, square: bool) -> float:
        dx, dy = x - cx, y - cy
        if square:
            margin = np.abs(dy) - np.abs(dx)
        else:
            half_w = np.where(dx > 0, wide - 0.5 - cx, cx + 0.5)
            half_h = np.where(dy > 0, tall - 0.5 - cy, cy + 0.5)
            margin = np.abs(dy) * half_w - np.abs(dx) * half_h
        return float(2 * d.z.real[margin > 0].sum() - total) / d.total

    grid = np.linspace(-0.12, 0.12, 5)
    tries = [((0.5 + fx) * wide - 0.5, (0.5 + fy) * tall - 0.5, square) for square in (False, True) for fx in grid for fy in grid]
    values = np.array([explained(*t) for t in tries])
    first = int((np.abs(values) - 0.02 * np.array([t[2] for t in tries])).argmax())
    cx, cy, square = tries[first]
    value = float(values[first])
    seen = [(cx, cy, abs(value))]
    reach = 0.03
    while reach > 0.002 and abs(value) > _WORTH:
        around = [(cx + a * reach * wide, cy + b * reach * tall) for a in (-1, 0, 1) for b in (-1, 0, 1) if a or b]
        moved = [explained(*c, square) for c in around]
        seen += [(*c, abs(v)) for c, v in zip(around, moved, strict=True)]
        k = int(np.argmax(np.abs(moved)))
        if abs(moved[k]) > abs(value):
            (cx, cy), value = around[k], float(moved[k])
        else:
            reach /= 2
    share = abs(value)
    xs, ys, scores = (np.array(v) for v in zip(*seen, strict=True))
    error = _spread(scores, xs, ys, np.count_nonzero(d.weight > 0.1) / 4)
    reach = max(wide, tall)
    corners = ((-0.5, -0.5), (wide - 0.5, -0.5), (wide - 0.5, tall - 0.5), (-0.5, tall - 0.5))
    if square:
        corners = ((cx - reach, cy - reach), (cx + reach, cy - reach), (cx + reach, cy + reach), (cx - reach, cy + reach))
    return Box(share, value, cx, cy, error, corners)


def fit_fold(d: Directions) -> Fold:
    """Best direction of parallel lines across which the grain direction mirrors."""
    x, y = d.places()
    x, y, z = x.ravel(), y.ravel(), d.z.ravel()
    bin_px = 1.5 * max(d.step_x, d.step_y)
    plain = abs(z.sum()) / d.total
    best: tuple[float, float, NDArray] | None = None
    thetas = list(np.arange(_LINES) * 180 / _LINES)
    for stage in range(2):
        if stage == 1:
            assert best is not None
            thetas = [best[1] + t for t in (-3.0, -2.0, -1.0, 1.0, 2.0, 3.0)]
        for theta in thetas:
            t = math.radians(theta)
            # the normal of a line along (cos t, -sin t) on screen
            rho = x * math.sin(t) + y * math.cos(t)
            low = float(rho.min())
            place = ((rho - low) / bin_px).astype(np.int64)
            turned = z * np.exp(-2j * t)
            re = np.bincount(place, turned.real)
            im = np.bincount(place, turned.imag)
            share = math.hypot(float(re.sum()), float(np.abs(im).sum())) / d.total
            # of lines equally good, those on which the two sides are balanced
            if best is None or share > best[0] + 1e-9:
                best = (share, theta, np.stack([re, im]))
    assert best is not None
    theta = best[1] + _mirror_turn(best[2])
    t = math.radians(theta)
    rho = x * math.sin(t) + y * math.cos(t)
    low = float(rho.min())
    turned = z * np.exp(-2j * t)
    place = ((rho - low) / bin_px).astype(np.int64)
    re, im = np.bincount(place, turned.real), np.bincount(place, turned.imag)
    share = math.hypot(float(re.sum()), float(np.abs(im).sum())) / d.total
    lean = math.degrees(0.5 * math.atan2(float(np.abs(im).sum()), float(re.sum())))
    size = np.hypot(re, im)
    smooth = np.convolve(im, [0.25, 0.5, 0.25], "same")
    strong = np.nonzero(np.abs(smooth) > 0.15 * np.median(size[size > 0]) if (size > 0).any() else size > 0)[0]
    offsets = []
    for a, b in pairwise(strong):
        if smooth[a] * smooth[b] < 0:
            cut = a + (b - a) * abs(smooth[a]) / (abs(smooth[a]) + abs(smooth[b]))
            offsets.append(low + (cut + 0.5) * bin_px)
    return Fold(share, share - plain, theta % 180, lean, tuple(float(o) for o in offsets) if theta < 180 and theta >= 0 else
                tuple(-float(o) for o in offsets))


def _mirror_turn(parts: NDArray) -> float:
    """Degrees by which a line must turn to lie midway between the directions of its two sides; 0 without two sides."""
    re, im = parts
    above = complex(re[im > 0].sum(), im[im > 0].sum())
    below = complex(re[im <= 0].sum(), im[im <= 0].sum())
    if min(abs(above), abs(below)) < 0.15 * (abs(above) + abs(below)):
        return 0.0
    turn = math.degrees(float(np.angle(above) + np.angle(below))) / 4
    return turn if abs(turn) < 4 else 0.0


def line_through(direction: float, offset: float, wide: float, tall: float) -> tuple[Point, Point] | None:
    """Ends on the rim of a (wide, tall) picture of the line along `direction` degrees with x sin + y cos = offset."""
    t = math.radians(direction)
    n, e = np.array([math.sin(t), math.cos(t)]), np.array([math.cos(t), -math.sin(t)])
    p = offset * n
    low, high = -math.inf, math.inf
    for k, limit in enumerate((wide - 1, tall - 1)):
        if abs(e[k]) < 1e-9:
            if not 0 <= p[k] <= limit:
                return None
            continue
        a, b = sorted(((0 - p[k]) / e[k], (limit - p[k]) / e[k]))
        low, high = max(low, a), min(high, b)
    if high - low < 1:
        return None
    q0, q1 = p + low * e, p + high * e
    return (float(q0[0]), float(q0[1])), (float(q1[0]), float(q1[1]))


def _polar(d: Directions, cx: float, cy: float) -> tuple[NDArray, Complex, NDArray]:
    """(screen-counter-clockwise polar angle 0..2 pi, z, radius) of the cells not too near the centre."""
    x, y = d.places()
    dx, dy = x - cx, -(y - cy)
    radius = np.hypot(dx, dy)
    keep = radius > 0.12 * min(d.z.shape[1] * d.step_x, d.z.shape[0] * d.step_y)
    return np.arctan2(dy[keep], dx[keep]) % (2 * math.pi), d.z[keep], radius[keep]


def _halved(d: Directions) -> Directions:
    """The same directions on half as many cells either way."""
    rows, cols = (2 * (n // 2) for n in d.z.shape)

    def fold(values: NDArray) -> NDArray:
        return np.asarray(values[:rows, :cols].reshape(rows // 2, 2, cols // 2, 2).sum((1, 3)))

    return Directions(fold(d.z), fold(d.weight), 2 * d.step_x, 2 * d.step_y)


def _wedge_scores(sector: Complex, count: int) -> tuple[float, int, float]:
    """(share numerator, first seam in sectors, lean) of `count` wedges over sums of z in equal sectors."""
    n = len(sector)
    total = np.concatenate([sector, sector, sector[:1]])
    sums = np.concatenate([[0], np.cumsum(total)])
    width = n / count
    shifts = np.arange(math.ceil(width))
    edges = shifts[:, None] + np.rint(np.arange(count + 1) * width).astype(int)[None]
    parts = sums[edges[:, 1:]] - sums[edges[:, :-1]]
    middle = (edges[:, 1:] + edges[:, :-1]) / 2 * (2 * math.pi / n)
    own = parts * np.exp(-2j * middle)
    folded = own[:, ::2].sum(1) + np.conj(own[:, 1::2]).sum(1)
    best = int(np.abs(folded).argmax())
    return float(abs(folded[best])), int(shifts[best]), float(math.degrees(0.5 * np.angle(folded[best])))


def fit_wedges(d: Directions) -> Wedges:
    """Best centre, count and seams of six or more equal wedges."""
    wide, tall = d.z.shape[1] * d.step_x, d.z.shape[0] * d.step_y
    xs, ys = np.meshgrid(np.linspace(0.3, 0.7, 9) * wide, np.linspace(0.3, 0.7, 9) * tall)

    half = _halved(d)

    def smooth(cx: float, cy: float, d: Directions = d) -> complex:
        if not (0.25 * wide <= cx <= 0.75 * wide and 0.25 * tall <= cy <= 0.75 * tall):
            return 0j  # outside, the grain of one board would pass for one wedge seen from afar
        x, y = d.places()
        out = (x - cx) + 1j * (y - cy)  # its square over its squared length is exp(-2i polar angle), y running down
        square = out.real**2 + out.imag**2
        far = square > (0.12 * min(wide, tall)) ** 2
        return complex((d.z * out * out / np.where(far, square, np.inf)).sum() / d.total)

    scores = np.array([abs(smooth(a, b, half)) for a, b in zip(xs.ravel(), ys.ravel(), strict=True)]).reshape(xs.shape)
    i = int(scores.argmax())
    cx, cy = float(xs.ravel()[i]), float(ys.ravel()[i])
    best = abs(smooth(cx, cy))
    reach = 0.025 * max(wide, tall)
    while reach > 0.004 * max(wide, tall):
        moved = max(((abs(smooth(cx + a * reach, cy + b * reach)), a, b) for a, b in ((1, 0), (-1, 0), (0, 1), (0, -1))))
        if moved[0] > best:
            best, cx, cy = moved[0], cx + moved[1] * reach, cy + moved[2] * reach
        else:
            reach /= 2
    p, z, _ = _polar(d, cx, cy)
    place = (p / (2 * math.pi) * _SECTORS).astype(int) % _SECTORS
    sector = np.bincount(place, z.real, _SECTORS) + 1j * np.bincount(place, z.imag, _SECTORS)
    weight = np.bincount(place, np.abs(z), _SECTORS)
    # equal say for every polar angle: corners of the panel must not decide the count
    sector = sector / np.maximum(weight, 0.25 * weight.mean() + 1e-9)
    by_count = {n: _wedge_scores(sector, n) for n in WEDGE_COUNTS}
    # twice as many wedges fit as well: the halves of each wedge lean away from their own middles by equal amounts
    tries = sorted(((v[0] - (0.03 * _SECTORS if n % 4 == 0 and n // 2 in by_count and v[0] - by_count[n // 2][0] < 0.03 * _SECTORS
                             else 0), *v[1:], n) for n, v in by_count.items()), reverse=True)
    numerator, shift, lean, count = tries[0]
    error = _spread(scores, xs, ys, np.count_nonzero(d.weight > 0.1) / 2)
    return Wedges(numerator / _SECTORS, best, count, shift * 360 / _SECTORS, lean, (numerator - tries[1][0]) / _SECTORS, cx, cy,
                  min(error, 0.1 * max(wide, tall)))


def fit_blocks(d: Directions) -> Blocks:
    """Best draughtboard of two directions at right angles whose rows are level."""
    w = np.maximum(d.weight, 1e-9)
    fourth = (d.z**2 / w).sum()
    two = float(abs(fourth) / d.total)
    turn = np.exp(-0.5j * np.angle(fourth))
    s = (d.z * turn).real
    rows, cols = s.shape
    size = np.abs(s).sum() + 1e-9
    plus = float(np.maximum(s, 0).sum() / size)
    step = (d.step_x * d.step_y) ** 0.5
    best = (0.0, 0.0, 0.0, 0.0)
    for p in np.arange(3.5, 0.62 * max(rows, cols), 0.5):
        phases = np.arange(0, 2 * p, max(1.0, p / 6))
        half = phases[phases < p]
        a = np.where(np.floor((np.arange(cols)[:, None] + 0.5 - phases[None]) / p) % 2 == 0, 1.0, -1.0)
        b = np.where(np.floor((np.arange(rows)[:, None] + 0.5 - half[None]) / p) % 2 == 0, 1.0, -1.0)
        m = b.T @ s @ a
        k = int(np.abs(m).argmax())
        value = float(np.abs(m).max() / size)
        if value > best[0]:
            i, j = divmod(k, m.shape[1])
            best = (value, float(p), float(phases[j]), float(half[i]))
    share, p, ox, oy = best
    return Blocks(share * two, two, min(plus, 1 - plus), p * step, ox * d.step_x - 0.5, oy * d.step_y - 0.5)
