"""Layouts about a centre out of the layout net's maps: where the centre lies, how many wedges there are and where they start."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from vision.layouts.learned import CELL, WEDGES, Seen
from vision.layouts.lines import sample

#: Directions sampled about a centre.
_ROUND = 720
#: Rays start this many cells from the centre: nearer, they run into one another.
_INNER = 3.0
_PLACES = 32
#: What a ray must reach on the axis map to speak for itself rather than against.
_EVEN = 0.40
#: Weight of the net's own count against the sum over rays.
_TOLD = 0.3


@dataclass(frozen=True)
class Rays:
    """`x`, `y` view px with `error_px`; `count` equal wedges, the first seam at `first` degrees counter-clockwise;
    `strength`: mean of the axis map along the seams."""

    x: float
    y: float
    error_px: float
    count: int
    first: float
    strength: float


def peak(seen: Seen) -> tuple[float, float, float, float]:
    """(x, y, spread in px, height) of the centre map's peak on the view."""
    m = seen.centre
    i, j = np.unravel_index(int(m.argmax()), m.shape)
    rows, cols = m.shape
    y, x = np.mgrid[max(0, i - 3):min(rows, i + 4), max(0, j - 3):min(cols, j + 4)]
    w = m[y, x].astype(np.float64) ** 2 + 1e-9
    at = np.array([[(w * x).sum(), (w * y).sum()]]) / w.sum() * CELL + (CELL - 1) / 2
    px, py = seen.canvas.to_view(at)[0]
    cell = CELL * float(np.sqrt(np.prod(seen.canvas.scale)))
    return float(px), float(py), (0.35 if m.max() > 0.3 else 2.0) * cell, float(m.max())


def round_about(seen: Seen, x: float, y: float) -> NDArray[np.float64]:
    """(_ROUND,) mean of the axis map outwards from a centre in every direction, counter-clockwise from +x."""
    canvas = seen.canvas
    cell = CELL * float(np.sqrt(np.prod(canvas.scale)))
    a = np.arange(_ROUND) * 2 * math.pi / _ROUND
    d = np.c_[np.cos(a), -np.sin(a)]
    with np.errstate(divide="ignore"):
        reach = np.where(d > 0, (np.array([canvas.width, canvas.height]) - 0.5 - [x, y]) / np.maximum(d, 1e-9),
                         (np.array([x, y]) + 0.5) / np.maximum(-d, 1e-9)).min(1)
    inner = _INNER * cell
    t = inner + (np.arange(_PLACES) + 0.5) / _PLACES * np.maximum(reach - inner - cell, cell)[:, None]
    at = np.array([x, y]) + t[..., None] * d[:, None]
    return sample(seen.axis, canvas, at.reshape(-1, 2)).reshape(_ROUND, _PLACES).mean(1)


def _best_phase(profile: NDArray[np.float64], count: int) -> tuple[float, float]:
    """(mean on `count` equal rays, first ray in steps) at the best phase; the best within a step of every ray counts."""
    wide = np.maximum(profile, np.maximum(np.roll(profile, 1), np.roll(profile, -1)))
    width = _ROUND / count
    shifts = np.arange(math.ceil(width))
    at = np.rint(shifts[:, None] + np.arange(count) * width).astype(int) % _ROUND
    score = wide[at].mean(1)
    k = int(score.argmax())
    return float(score[k]), float(shifts[k])


def _count(seen: Seen, profile: NDArray[np.float64]) -> tuple[int, float, float]:
    """(count, first ray in steps, mean on the rays): what the map says of every count together with what the net says."""
    scored = []
    for k, n in enumerate(WEDGES[1:], 1):
        mean, first = _best_phase(profile, n)
        told = max(float(seen.wedges[k]), -8.0)
        scored.append((n * (mean - _EVEN) + _TOLD * told, n, first, mean))
    _, n, first, mean = max(scored)
    return n, first, mean


def find_rays(seen: Seen) -> Rays:
    """Equal wedges about the centre that the maps agree on best."""
    x, y, error, _ = peak(seen)
    cell = CELL * float(np.sqrt(np.prod(seen.canvas.scale)))
    n, first, best = _count(seen, round_about(seen, x, y))
    reach = 1.0 * cell
    while reach > 0.2 * cell:
        moved = []
        for dx, dy in ((1, 0), (-1, 0), (0, 1), (0, -1)):
            value, phase = _best_phase(round_about(seen, x + dx * reach, y + dy * reach), n)
            moved.append((value, phase, x + dx * reach, y + dy * reach))
        top = max(moved)
        if top[0] > best + 1e-4:
            best, first, x, y = top
        else:
            reach /= 2
    profile = round_about(seen, x, y)
    n, first, best = _count(seen, profile)
    first += _turned(profile, n, first)
    return Rays(x, y, error, n, first * 360 / _ROUND % 360, best)


def _turned(profile: NDArray[np.float64], count: int, first: float) -> float:
    """Steps by which all rays lie off together: the mean place of the map's weight near each."""
    near = np.arange(-6, 7)
    at = np.rint(first + np.arange(count)[:, None] * _ROUND / count + near[None]).astype(int) % _ROUND
    exact = first + np.arange(count)[:, None] * _ROUND / count
    off = (np.rint(exact + near[None]) - exact)
    w = np.maximum(profile[at] - 0.5 * profile[at].max(1, keepdims=True), 0)
    return float((w * off).sum() / max(float(w.sum()), 1e-9))
