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
    """((shifts, rows, rows) products of rows, those near first; number of near shifts)."""
    cols = figure.shape[1]
    far = np.unique(np.rint(_FAR * cols).astype(int))
    far = far[np.abs(far) > _NEAR[-1] + 4]
    rows = figure.shape[0]
    shifts = [int(v) for v in (*_NEAR, *far)]
    moved = np.zeros((len(shifts), rows, cols), np.float32)
    for k, shift in enumerate(shifts):
        gain = np.float32(cols / max(1, cols - abs(shift)))
        if shift >= 0:
            np.multiply(figure[:, shift:], gain, out=moved[k, :, : cols - shift])
        else:
            np.multiply(figure[:, :shift], gain, out=moved[k, :, -shift:])
    grams = product(figure, moved.reshape(-1, cols))
    return np.ascontiguousarray(grams.reshape(rows, len(shifts), rows).transpose(1, 0, 2)), len(_NEAR)


def _sheared(grams: NDArray) -> NDArray:
    """(n, rows, 2 rows - 1) with entry [i, i + j] = grams[i, j]: columns hold what lies along y1 + y2 = const."""
    n, rows, _ = grams.shape
    wide = np.zeros((n, rows, 2 * rows), grams.dtype)
    wide[:, :, :rows] = grams
    return wide.reshape(n, -1)[:, : rows * (2 * rows - 1)].reshape(n, rows, 2 * rows - 1)


def find_streaks(frame: Frame) -> Streaks | None:
    """Mirror and repeat streaks of a frame's figure; None where the panel is too small to tell."""
    rows, cols = frame.figure.shape
    if rows < 32 or cols < 64:
        return None
    # half as many columns: figure along the grain is coarse
    even = cols // 2 * 2
    figure = np.ascontiguousarray(frame.figure[:, 0:even:2] + frame.figure[:, 1:even:2])
    grams, near = _grams(figure)
    if len(grams) - near < 4:
        return None
    root = np.sqrt((figure.astype(np.float64) ** 2).sum(1))
    norm = np.outer(root, root).astype(np.float32)
    z, r, spans = _mirrors(grams, near, norm)
    repeat_z, repeat_r = _repeats(grams, near, norm)
    return Streaks(z, r, spans, repeat_z, repeat_r, _breaks(grams[near // 2], root))


def _mirrors(grams: NDArray, near: int, norm: NDArray) -> tuple[NDArray, NDArray, NDArray]:
    """(z, correlation, rows on either side) of the best streak about every half row."""
    rows = grams.shape[1]
    both = np.concatenate([_sheared(grams), _sheared(norm[None])])
    sums = np.zeros((both.shape[0], rows + 1, both.shape[2]), np.float32)
    np.cumsum(both, axis=1, out=sums[:, 1:])
    k = np.arange(2 * rows - 1)
    end = (k - 1) // 2 - _SKIP + 1  # rows y1 < end
    z, r, best_span = np.zeros(len(k)), np.zeros(len(k)), np.zeros(len(k), np.int64)
    for span in (s for s in _SPANS if s <= rows // 2):
        start = end - span
        fits = (start >= 0) & (k - start < rows)
        if not fits.any():
            continue
        at = np.nonzero(fits)[0]
        total = sums[:, end[at], at] - sums[:, start[at], at]
        value = total[:-1] / np.maximum(total[-1], 1e-6)
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
    # with the columns counted backwards diagonals become lines of constant sum: pitch p lies at rows - 1 - p
    total = _sheared(np.concatenate([grams, norm[None]])[:, :, ::-1]).sum(1)[:, rows - 1::-1]
    value = total[:-1] / np.maximum(total[-1], 1e-6)
    used = slice(10, int(0.67 * rows))
    share = np.sqrt((rows - np.arange(rows)) / rows)[used]
    best, chance = value[:near, used].max(0), value[near:, used]
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
