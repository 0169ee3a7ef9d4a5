"""Matches between two described sheets, and the moves (scale and shift, in a fixed turn) that many of them agree on."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from vision.product import product
from vision.repeats.describe import SIGNS, Described

#: Least likeness (cosine) of two descriptors that may vote, and how many partners a feature may vote for.
LEAST_LIKENESS = 0.62
PARTNERS = 2
#: Scale ratios tried between two sheets: steps of 12 % up to this factor either way.
SCALE_STEP, SCALE_REACH = 0.12, 2.2
#: Width of a voting cell and the distance at which a match still agrees with a move, shares of the sheet's longer side.
CELL, AGREE = 0.05, 0.03
#: Within one sheet, a figure moved less than this share of the longer side is the same place.
LEAST_MOVE = 0.06


@dataclass(frozen=True, eq=False)
class Move:
    """A move of sheet a onto sheet b that `votes` features agree on. `signs`: along and across the grain (-1 turned over).
    `transform`: 3x3 affine, sheet a to sheet b pixels. `points_a`, `points_b`: (n, 2) the places that agree. `peak`: height of
    the correlation of the whole figures, in root mean squares of its surface, where the move comes from that; else 0."""

    signs: tuple[int, int]
    transform: NDArray[np.float64]
    votes: int
    weight: float
    points_a: NDArray[np.float64]
    points_b: NDArray[np.float64]
    peak: float = 0.0

    @property
    def motion(self) -> str:
        """'shift', 'half_turn' or 'mirror', read off the transform in sheet axes."""
        m = self.transform[:2, :2]
        if np.linalg.det(m) < 0:
            return "mirror"
        return "shift" if m[0, 0] + m[1, 1] >= -0.2 * abs(m[0, 1] - m[1, 0]) else "half_turn"


#: A heap of votes lighter than this never grows into a move worth registering.
LEAST_HEAP = 0.3


def _matches(a: Described, b: Described,
             signs: tuple[int, int]) -> tuple[NDArray[np.intp], NDArray[np.intp], NDArray[np.float64]]:
    """Indices into a and b and likeness of matches: each feature's best partners above the least likeness, both ways.

    No ratio of best to second best is asked for: a figure that recurs three times has two equally good partners.
    """
    like = product(a.seen(signs), b.descriptors)
    if a is b:
        x, y = a.points.T
        gap = np.maximum(np.abs(x[:, None] - x), np.abs(y[:, None] - y))
        like[gap < LEAST_MOVE * max(a.figure.mask.shape) * a.figure.scale] = -1.0
    rows = np.arange(len(like))
    best, value = np.empty((len(like), PARTNERS), np.intp), np.empty((len(like), PARTNERS), np.float32)
    for n in range(PARTNERS):
        best[:, n] = like.argmax(axis=1)
        value[:, n] = like[rows, best[:, n]]
        like[rows, best[:, n]] = -1.0
    order = np.argsort(best, axis=1)
    best, value = np.take_along_axis(best, order, axis=1), np.take_along_axis(value, order, axis=1)
    i, k = np.nonzero(value >= LEAST_LIKENESS)
    return i, best[i, k], value[i, k].astype(np.float64)


def agreeing(a: Described, b: Described, signs: tuple[int, int], transform: NDArray[np.float64]) -> int:
    """How many features of a have a likely partner where the transform (3x3, sheet a to b) takes them."""
    if min(len(a.points), len(b.points)) == 0:
        return 0
    i, j, _ = _matches(a, b, signs)
    p = np.c_[a.points[i].astype(np.float64), np.ones(len(i))] @ transform.T
    off = np.linalg.norm(p[:, :2] / p[:, 2:] - b.points[j], axis=1)
    on = off < AGREE * max(b.figure.mask.shape) * b.figure.scale
    return min(len(np.unique(i[on])), len(np.unique(j[on])))


def turn_of(a: Described, b: Described, signs: tuple[int, int]) -> NDArray[np.float64]:
    """2x2 orthogonal matrix taking directions on sheet a to sheet b for figure laid with these signs."""
    return np.asarray(b.frame.T @ np.diag(np.array(signs, dtype=np.float64)) @ a.frame)


def moves(a: Described, b: Described, *, most: int = 2, least_votes: int = 4,
          signs: tuple[tuple[int, int], ...] = SIGNS) -> list[Move]:
    """Best moves of a onto b, most weight first, at most `most` a laying; for one sheet (`a is b`) identity is left out."""
    if min(len(a.points), len(b.points)) < least_votes:
        return []
    found = [m for s in signs for m in _moves_laid(a, b, s, most, least_votes)]
    found.sort(key=lambda m: -m.weight)
    return found


def _moves_laid(a: Described, b: Described, signs: tuple[int, int], most: int, least: int) -> list[Move]:
    i, j, like = _matches(a, b, signs)
    if len(i) < least:
        return []
    turn = turn_of(a, b, signs)
    centre = a.points.mean(axis=0).astype(np.float64)
    pa, pb = a.points[i].astype(np.float64), b.points[j].astype(np.float64)
    log_ratio = np.log(b.sizes[j] / a.sizes[i]).astype(np.float64)
    weight = like - LEAST_LIKENESS + 0.05
    size_b = max(b.figure.mask.shape) * b.figure.scale
    cell = CELL * size_b
    reach = np.arange(0, np.log(SCALE_REACH), SCALE_STEP)
    steps = np.zeros(1) if a is b else np.concatenate([-reach[:0:-1], reach])
    out: list[Move] = []
    rotated = (pa - centre) @ turn.T
    shifts = pb[None] - np.exp(steps)[:, None, None] * rotated[None]  # (steps, matches, 2): where a's centre would land on b
    near = np.exp(-0.5 * ((log_ratio[None] - steps[:, None]) / 0.3) ** 2)
    near[near < 0.05] = 0.0
    low = shifts.reshape(-1, 2).min(axis=0)
    q = ((shifts - low) / cell).astype(np.int64)
    nx, ny = q[..., 0].max() + 2, q[..., 1].max() + 2
    flat = (np.arange(len(steps))[:, None] * ny + q[..., 1]) * nx + q[..., 0]
    counts = np.bincount(flat.ravel(), (near * weight[None]).ravel(), len(steps) * ny * nx).reshape(len(steps), ny, nx)
    counts = counts[:, :-1, :-1] + counts[:, 1:, :-1] + counts[:, :-1, 1:] + counts[:, 1:, 1:]
    for _ in range(2 * most):
        k, y, x = np.unravel_index(int(counts.argmax()), counts.shape)
        if counts[k, y, x] < LEAST_HEAP:
            break
        counts[:, max(0, y - 1) : y + 2, max(0, x - 1) : x + 2] = 0
        inside = (np.abs(q[k, :, 0] - x - 0.5) < 1) & (np.abs(q[k, :, 1] - y - 0.5) < 1) & (near[k] > 0)
        if len(np.unique(i[inside])) < least:
            continue
        scale = float(np.exp(steps[k]))
        move = _refined(pa, pb, i, j, weight, inside, scale * turn, AGREE * size_b, signs, rigid=a is b)
        if move is not None and move.votes >= least and not any(_alike(move, m, cell) for m in out):
            out.append(move)
        if len(out) == most:
            break
    return out


def _refined(pa: NDArray[np.float64], pb: NDArray[np.float64], i: NDArray[np.intp], j: NDArray[np.intp],
             weight: NDArray[np.float64], inside: NDArray[np.bool_], linear: NDArray[np.float64], agree: float,
             signs: tuple[int, int], *, rigid: bool) -> Move | None:
    """The affine move through the matches of one cell, fitted again to all matches that agree with it."""
    m = linear
    t = np.median(pb[inside] - pa[inside] @ m.T, axis=0)
    # a ridge towards the voted turn and scale: few matches, or matches in a row, must not shear the sheet
    ridge = (400.0 if rigid else 40.0) * agree**2
    for limit in (2.0 * agree, 1.4 * agree, agree):
        gap = _gaps(pa, pb, m, t)
        chosen = np.flatnonzero(gap < limit * limit)
        if len(chosen) < 3:
            return None
        w = np.sqrt(weight[chosen] * (1 - gap[chosen] / limit**2) + 1e-9)
        a, b = pa[chosen], pb[chosen]
        ca, cb = (w @ a) / w.sum(), (w @ b) / w.sum()
        x, square = a - ca, w * w
        drawn = ridge * float(square.mean())
        xw = (x * square[:, None]).T
        lhs, rhs = xw @ x, xw @ (b - cb) + drawn * linear.T
        p, q, r = lhs[0, 0] + drawn, 0.5 * (lhs[0, 1] + lhs[1, 0]), lhs[1, 1] + drawn
        m = (np.array([[r, -q], [-q, p]]) @ rhs / (p * r - q * q)).T
        t = cb - m @ ca
    gap = _gaps(pa, pb, m, t)
    chosen = np.flatnonzero(gap < agree * agree)
    chosen = chosen[np.argsort(gap[chosen], kind="stable")]
    seen_i: set[int] = set()
    seen_j: set[int] = set()
    single = []
    for k, one, two in zip(chosen.tolist(), i[chosen].tolist(), j[chosen].tolist(), strict=True):  # one vote a feature
        if one not in seen_i and two not in seen_j:
            single.append(k)
            seen_i.add(one)
            seen_j.add(two)
    transform = np.array([[m[0, 0], m[0, 1], t[0]], [m[1, 0], m[1, 1], t[1]], [0.0, 0.0, 1.0]])
    return Move(signs, transform, len(single), float(weight[single].sum()), pa[single], pb[single])


def _gaps(pa: NDArray[np.float64], pb: NDArray[np.float64], m: NDArray[np.float64],
          t: NDArray[np.float64]) -> NDArray[np.float64]:
    """(n,) squared distances of points b from where the move takes points a."""
    off = pb - pa @ m.T - t
    return np.asarray(np.einsum("ij,ij->i", off, off))


def _alike(one: Move, other: Move, cell: float) -> bool:
    c = np.append(one.points_a.mean(axis=0), 1.0)
    return bool(np.linalg.norm((one.transform - other.transform)[:2] @ c) < cell)
