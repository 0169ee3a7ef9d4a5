"""Strips that show each other's figure, at any place along the grain: what slip matching, mirroring and printing leave behind.

Each strip's figure (what changes along the grain) is laid over every other's at all shifts at once; the best shift is judged
against all the others, so straight grain, which resembles itself everywhere, gives nothing.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from itertools import combinations

import numpy as np
from numpy.typing import NDArray

#: Most strips compared (the broadest), least rows and columns of one, trimmed rows beside a joint, rows a strip may be moved over.
MOST_STRIPS, LEAST_ROWS, LEAST_COLS, TRIM, ACROSS = 7, 8, 64, 1, 2
#: Least overlap of two strips, as a share of their length.
OVERLAP = 0.5


@dataclass(frozen=True)
class Recurrence:
    """The best match of two strips. `z`: standard deviations over other shifts; `r`: correlation; `lag`: columns of the second
    against the first; `mirrored`: the second is turned over; `pair`: which strips."""

    z: float
    r: float
    lag: int
    mirrored: bool
    pair: tuple[int, int]


def strip_recurrence(figure: NDArray[np.float32], known: NDArray[np.bool_], cuts: tuple[float, ...]) -> Recurrence | None:
    """Best match among the strips between `cuts` (rows) of a figure (rows, cols) with grain along the columns; None where there
    are fewer than two strips with figure on them."""
    cols = figure.shape[1]
    if cols < LEAST_COLS:
        return None
    bands = []
    for k, (a, b) in enumerate(zip(cuts[:-1], cuts[1:], strict=True)):
        first, last = math.ceil(a) + TRIM, math.floor(b) - TRIM
        if last - first >= LEAST_ROWS and known[first:last].mean() > 0.6:
            bands.append((last - first, k, first, last))
    bands = sorted(sorted(bands, reverse=True)[:MOST_STRIPS], key=lambda v: v[1])
    if len(bands) < 2:
        return None
    size = 1 << (2 * cols - 1).bit_length()
    spectra = {k: np.fft.rfft(figure[first:last].astype(np.float64), size, axis=1) for _, k, first, last in bands}
    powers = {k: np.r_[0.0, np.cumsum((figure[first:last].astype(np.float64) ** 2).sum(axis=0))] for _, k, first, last in bands}
    most = int((1 - OVERLAP) * cols)
    lags = np.arange(-most, most + 1)
    best: Recurrence | None = None
    for (_, i, _, _), (_, j, _, _) in combinations(bands, 2):
        one, two = spectra[i], spectra[j]
        begin_i, begin_j = np.maximum(-lags, 0), np.maximum(lags, 0)
        kept = cols - np.abs(lags)
        share = min(len(one), len(two)) / np.array([len(one), len(two)])
        of = [p[begin + kept] - p[begin] for p, begin in ((powers[i], begin_i), (powers[j], begin_j))]
        norm = np.sqrt(np.maximum(of[0] * share[0] * of[1] * share[1], 0)) + 0.05 * cols
        for mirrored in (False, True):
            other = two[::-1] if mirrored else two
            for move in range(-ACROSS - abs(len(one) - len(two)), ACROSS + 1) if len(one) != len(two) else range(-ACROSS, ACROSS + 1):
                a, b = (one, other) if len(one) >= len(two) else (other, one)
                start = -move
                lo, hi = max(0, start), min(len(a), start + len(b))
                if hi - lo < 0.8 * len(b):
                    continue
                part = (a[lo:hi].conj() * b[lo - start:hi - start]).sum(axis=0)
                if len(one) < len(two):
                    part = part.conj()
                full = np.fft.irfft(part, size)
                values = full[lags] / norm
                top = int(values.argmax())
                spread = 1.4826 * float(np.median(np.abs(values - np.median(values)))) + 0.01
                z = float((values[top] - np.median(values)) / spread)
                if best is None or z > best.z:
                    best = Recurrence(z, float(values[top]), int(lags[top]), mirrored, (i, j))
    return best
