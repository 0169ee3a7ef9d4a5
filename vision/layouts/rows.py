"""Which rows of a frame resemble which: mirrored leaves and repeated leaves show as streaks of the row similarity matrix.

Row y1 against row y2 at a shift along the grain is one entry. Leaves mirrored about row c give a streak along
y1 + y2 = 2c; leaves repeated at pitch p one along y2 - y1 = p. Shifts far along the grain, where nothing can be related,
tell what such streaks amount to by chance, so straight grain, which resembles itself at every shift, gives nothing.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from vision.layouts.frame import Frame
from vision.product import product

#: Shifts along the grain at which related leaves are looked for, in pairs of frame px.
_NEAR = np.arange(-6, 7)
#: Shifts that serve as chance, as shares of the length.
_FAR = np.array([-0.37, -0.30, -0.23, -0.16, 0.16, 0.23, 0.30, 0.37])
#: Lengths of streaks, in rows.
_SPANS = (8, 16, 32, 64)
#: Rows nearer to an axis than this are left out: neighbours resemble each other in any wood.
_SKIP = 4


@dataclass(frozen=True, eq=False)
class Streaks:
    """`mirror_z`, `mirror_r`: per half row k (axis at row k / 2) how far the best streak stands over chance, in standard
    deviations, and its correlation; `mirror_span` its rows on either side; `repeat_z`, `repeat_r` per pitch in rows;
    `breaks` (rows,): 1 - correlation of the figure just above and just below a row."""

    mirror_z: NDArray[np.float64]
    mirror_r: NDArray[np.float64]
    mirror_span: NDArray[np.int64]
    repeat_z: NDArray[np.float64]
    repeat_r: NDArray[np.float64]
    breaks: NDArray[np.float64]


def _grams(figure: NDArray[np.float32]) -> tuple[NDArray[np.float32], int]:
    """((shifts, rows, rows) products of rows, those near first; number of near shifts).

    Row y1 against row y2 shifted one way is row y2 against row y1 shifted the other way, so half of them are transposes.
    """
    rows, cols = figure.shape
    far = np.unique(np.rint(_FAR * cols).astype(int))
    far = far[np.abs(far) > _NEAR[-1] + 4]
    shifts = [int(v) for v in (*_NEAR, *far)]
    sizes = sorted({abs(v) for v in shifts})
    moved = np.zeros((len(sizes), rows, cols), np.float32)
    for k, size in enumerate(sizes):
        np.multiply(figure[:, size:], np.float32(cols / max(1, cols - size)), out=moved[k, :, : cols - size])
    products = product(figure, moved.reshape(-1, cols)).reshape(rows, len(sizes), rows)
    grams = np.empty((len(shifts), rows, rows), np.float32)
    for k, shift in enumerate(shifts):
        one = products[:, sizes.index(abs(shift))]
        grams[k] = one if shift >= 0 else one.T
    return grams, len(_NEAR)


def find_streaks(frame: Frame) -> Streaks | None:
    """Mirror and repeat streaks of a frame's figure; None where the panel is too small to tell."""
    known = _known_grams(frame)
    if known is None:
        return None
    grams, near, root = known
    norm = np.outer(root, root).astype(np.float32)
    z, r, spans = _mirrors(grams, near, norm)
    repeat_z, repeat_r = _repeats(grams, near, norm)
    return Streaks(z, r, spans, repeat_z, repeat_r, _breaks(grams[near // 2], root))


def find_mirrors(frame: Frame) -> tuple[NDArray, NDArray] | None:
    """(mirror_z, mirror_r) of `Streaks` alone."""
    known = _known_grams(frame)
    if known is None:
        return None
    grams, near, root = known
    return _mirrors(grams, near, np.outer(root, root).astype(np.float32))[:2]


def _known_grams(frame: Frame) -> tuple[NDArray[np.float32], int, NDArray[np.float64]] | None:
    """Products of rows, the number of near ones and the rows' lengths; None where the panel is too small to tell."""
    rows, cols = frame.figure.shape
    if rows < 32 or cols < 64:
        return None
    # half as many columns: figure along the grain is coarse
    even = cols // 2 * 2
    figure = np.ascontiguousarray(frame.figure[:, 0:even:2] + frame.figure[:, 1:even:2])
    grams, near = _grams(figure)
    if len(grams) - near < 4:
        return None
    return grams, near, np.sqrt((figure.astype(np.float64) ** 2).sum(1))


def _streak_sums(grams: NDArray[np.float32]) -> dict[int, tuple[NDArray[np.int64], NDArray[np.float32]]]:
    """Span -> (half rows k, (n, k) sums of that many entries along y1 + y2 = k, beginning _SKIP rows from the axis).

    Entries of one streak lie evenly apart in memory, and so do the streaks of all even (or odd) k: strided views add
    them up without moving any.
    """
    n, rows, _ = grams.shape
    flat, each, one = grams.reshape(n, -1), grams.strides[0], grams.strides[2]
    out: dict[int, tuple[NDArray[np.int64], NDArray[np.float32]]] = {}
    for odd in (0, 1):
        # k = 2 m + odd: y1 = m + odd - 1 - _SKIP - j and y2 = m + 1 + _SKIP + j for j = 0, 1, ... span - 1
        before, low_before = 0, 0
        total = np.zeros((n, rows), np.float32)
        for span in (s for s in _SPANS if s <= rows // 2):
            low, high = span + _SKIP - odd, rows - 1 - _SKIP - span  # least and most m whose streak fits
            if high < low:
                break
            first = (low + odd - 1 - _SKIP - before) * rows + low + 1 + _SKIP + before
            streaks = np.lib.stride_tricks.as_strided(flat[:, first:], (span - before, n, high - low + 1),
                                                      (-(rows - 1) * one, each, (rows + 1) * one), writeable=False)
            total = total[:, low - low_before : high - low_before + 1] + streaks.sum(axis=0)
            before, low_before = span, low
            k = 2 * np.arange(low, high + 1) + odd
            known = out.get(span, (k[:0], total[:, :0]))
            out[span] = np.concatenate([known[0], k]), np.concatenate([known[1], total], axis=1)
    return out


def _mirrors(grams: NDArray, near: int, norm: NDArray) -> tuple[NDArray, NDArray, NDArray]:
    """(z, correlation, rows on either side) of the best streak about every half row."""
    rows = grams.shape[1]
    count = 2 * rows - 1
    z, r, best_span = np.zeros(count), np.zeros(count), np.zeros(count, np.int64)
    lengths = _streak_sums(norm[None])
    for span, (at, total) in _streak_sums(grams).items():
        value = total / np.maximum(lengths[span][1], 1e-6)
        best, chance = value[:near].max(0), value[near:]
        # the spread of chance is pooled over axes: a few shifts alone say too little
        spread = max(float(np.sqrt(np.mean(chance.var(0)))), 1e-3)
        # nor may the axis be one of many as good: straight grain mirrors end to end everywhere
        middle = float(np.median(best))
        usual = 1.48 * float(np.median(np.abs(best - middle))) + 0.01
        score = np.minimum((best - chance.mean(0)) / spread, 2 * (best - middle) / usual)
        better = score > z[at]
        z[at[better]], r[at[better]], best_span[at[better]] = score[better], best[better], span
    return z, r, best_span


def _repeats(grams: NDArray, near: int, norm: NDArray) -> tuple[NDArray, NDArray]:
    """(z, correlation) of every pitch from 10 rows to two thirds of the height, over the whole diagonal."""
    rows = grams.shape[1]
    z, r = np.zeros(rows), np.zeros(rows)
    used = slice(10, int(0.67 * rows))
    total = np.zeros((len(grams) + 1, used.stop - used.start), np.float32)
    for y in range(rows - used.start):
        most = min(used.stop, rows - y) - used.start
        total[:-1, :most] += grams[:, y, y + used.start : y + used.start + most]
        total[-1, :most] += norm[y, y + used.start : y + used.start + most]
    value = total[:-1] / np.maximum(total[-1], 1e-6)
    share = np.sqrt((rows - np.arange(rows)) / rows)[used]
    best, chance = value[:near].max(0), value[near:]
    spread = max(float(np.sqrt(np.mean((chance * share) ** 2))), 1e-3)
    z[used] = (best - chance.mean(0)) * share / spread
    r[used] = best
    return z, r


def _breaks(gram: NDArray, root: NDArray) -> NDArray:
    """1 - correlation of rows up to three apart across every row: high where one figure ends and another starts."""
    rows = len(root)
    out = np.zeros(rows)
    y = np.arange(4, rows - 4)
    top = sum(gram[y - k, y + k] for k in (2, 3, 4))
    norm = sum(root[y - k] * root[y + k] for k in (2, 3, 4))
    out[y] = 1 - top / np.maximum(norm, 1e-6)
    return out
