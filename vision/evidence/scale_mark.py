"""The object a photo's millimetres rest on, outlined on the evidence picture with a tick every 10 mm, and a line about it."""

from __future__ import annotations

from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from vision.evidence.bands import polyline
from vision.evidence.palette import BED, CHALK
from vision.millimetres import Scale, mapped

Array = NDArray[np.float64]
TICK_EVERY_MM = 10.0
#: Ticks closer than this on the picture are left out, in units of the drawing.
CLOSEST = 4.0
WORDS = {
    "card": "bank-card-sized card, 85.6 x 54 mm", "coin": "coin", "sheet": "marker sheet", "ruler": "ruler ticks",
    "points": "length you gave",
}


def draw_scale(picture: NDArray[np.uint8], scale: Scale, zoom: float, unit: float) -> None:
    """Outline in chalk on a dark bed with inward ticks every 10 mm. `zoom`: picture px per photo px; `unit`: of drawing, px."""
    outline = np.asarray(scale.outline, dtype=np.float64)
    closed = scale.plane is not None
    strokes = [(outline * zoom, closed)] + [(t * zoom, False) for t in _ticks(scale, outline, unit / zoom)]
    for colour, width in ((BED, 1.7 * unit), (CHALK, 0.7 * unit)):
        for points, ring in strokes:
            polyline(picture, points, colour, width, closed=ring)


def scale_words(scale: Scale) -> str:
    """One line for the legend: what the scale rests on and how far lengths there can be trusted."""
    here = scale.mm_per_px_at(scale.centre)
    error = "" if here is None else f", lengths there to about {max(0.1, 100 * here[1]):.1f} %"
    ticks = "" if scale.source == "coin" else "; ticks, where there is room for them, every 10 mm"
    return f"Scale: {WORDS[scale.source]}{error}{ticks}."


def _ticks(scale: Scale, outline: Array, unit: float) -> list[Array]:
    """Short strokes off the outline every 10 mm, photo px; none on a coin, which has no straight side."""
    if scale.source == "coin":
        return []
    ends = np.vstack([outline, outline[:1]]) if scale.plane is not None else outline[:2]
    middle = outline.mean(axis=0)
    out: list[Array] = []
    for a, b in pairwise(ends):
        way = (b - a) / max(1e-9, float(np.hypot(*(b - a))))
        normal = np.array([-way[1], way[0]])
        if scale.plane is not None and normal @ ((a + b) / 2 - middle) > 0:
            normal = -normal
        at = _every(scale, a, b)
        if len(at) > 1 and np.hypot(*np.diff(at, axis=0).T).min() >= CLOSEST * unit:
            out += [np.array([p, p + 3.5 * unit * normal]) for p in at]
    return out


def _every(scale: Scale, a: Array, b: Array) -> Array:
    """(n, 2) photo points every 10 mm from `a` to `b`, ends left out."""
    if scale.plane is not None:
        start, end = mapped(scale.plane, np.array([a, b]))
        length = float(np.hypot(*(end - start)))
        steps = np.arange(TICK_EVERY_MM, length, TICK_EVERY_MM)
        on_side = start + steps[:, None] / max(length, 1e-9) * (end - start)
        spots = np.c_[on_side, np.ones(len(steps))] @ np.linalg.inv(scale.plane).T
        return np.asarray(spots[:, :2] / spots[:, 2:], dtype=np.float64)
    assert scale.along is not None
    (k, m), (c, d) = scale.along
    first, last = m / d, (k + m) / (c + d)
    mm = first + np.sign(last - first) * np.arange(TICK_EVERY_MM, abs(last - first), TICK_EVERY_MM)
    t = (m - mm * d) / (mm * c - k)
    return np.asarray(a + t[:, None] * (b - a), dtype=np.float64)
