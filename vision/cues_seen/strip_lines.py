"""Lines along the grain that part one strip from the next: where they run, and that they run through.

A joint, a gap or a printed plank's edge runs straight over the whole panel; a growth ring or a streak does so only for a stretch.
Seen askew, lines fan out, so each may lean by itself: the panel is laid level a few ways and cut into parts along the lines, and
every row at every further lean is asked for a dark or light line or a step of tone that shows in most of the parts, one way and
evenly. Straight grain of very even contrast still passes.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from itertools import pairwise

import cv2
import numpy as np
from numpy.typing import NDArray

from vision.grain.flow import mean_direction, resolved
from vision.resize import resize
from vision.types import GrainField, Point, WorkingView

Floats = NDArray[np.float32]

#: Longest side of the picture that lines are looked for in, px, and the parts that it is cut into.
FRAME_PX, PARTS = 400, 16
#: Leans tried besides the grain's own direction, degrees: coarse ones by laying the picture anew, fine ones by moving parts.
COARSE, FINE = (-6.0, 0.0, 6.0), np.linspace(-3, 3, 7)
#: Least size of a line or step, L*a*b* units, and how many times the panel's own streaks it must be.
LEAST, STANDOUT = 1.5, 3.5
#: Least share of the parts on the panel that must show it one way, least number of such parts, and most lines told.
THROUGH, LEAST_PARTS, MOST = 0.85, 5, 8
#: Least rows between two lines; least cells of the grain field that must show grain, and the order they must have.
_APART, _CELLS, _ORDER = 7, 60, 0.5
KINDS = ("dark", "light", "step")


@dataclass(frozen=True)
class Line:
    """A line that runs through. `p0`, `p1`: its ends in working-view px; `strength`: its size over the panel's own streaks;
    `kind`: 'dark', 'light' or 'step', whichever stands out most."""

    p0: Point
    p1: Point
    strength: float
    kind: str

    @property
    def length(self) -> float:
        """Working-view px."""
        return math.dist(self.p0, self.p1)


@dataclass(frozen=True, eq=False)
class _Level:
    """A picture laid level in parts: `tone` (parts, rows, 3) L*a*b*, `known` (parts, rows), `middles` (parts,) columns from the
    centre, `wide` columns, `back` 2x3 to the picture it came from."""

    tone: Floats
    known: NDArray[np.bool_]
    middles: NDArray[np.float64]
    wide: int
    back: NDArray[np.float64]


def grain_direction(field: GrainField) -> float:
    """Mean direction of the grain in degrees; nan where none is common to the panel."""
    seen = resolved(field)
    if seen.sum() < _CELLS:
        return math.nan
    direction, order = mean_direction(field.angle, np.where(seen, field.coherence, 0))
    return float(direction) if order >= _ORDER else math.nan


def find_lines(view: WorkingView, direction: float) -> tuple[Line, ...]:
    """Lines of the panel within nine degrees of a direction (degrees), strongest first."""
    height, width = view.mask.shape
    shrink = min(1.0, FRAME_PX / max(height, width))
    w, h = max(1, round(width * shrink)), max(1, round(height * shrink))
    lab = np.asarray(cv2.cvtColor(resize(view.pixels, w, h), cv2.COLOR_RGB2LAB), np.uint8)
    cover = resize(view.mask.view(np.uint8) * np.uint8(255), w, h)
    found: list[Line] = []
    for coarse in COARSE:
        level = _laid(lab, cover, direction + coarse)
        if level is not None:
            found += _lines_of(level, (width / w, height / h))
    kept: list[Line] = []
    for line in sorted(found, key=lambda f: -f.strength):
        if len(kept) < MOST and all(_apart(line, k) for k in kept):
            kept.append(line)
    return tuple(kept)


def _apart(a: Line, b: Line) -> bool:
    """Whether two lines keep clear of each other and do not cross."""
    start = np.asarray(b.p0)
    along = (np.asarray(b.p1) - start) / max(b.length, 1e-6)
    one, two = (float((np.asarray(p) - start) @ np.array([-along[1], along[0]])) for p in (a.p0, a.p1))
    least = max(4.0, 0.025 * b.length)
    return abs(one + two) / 2 > least and min(abs(one), abs(two)) > 0.5 * least and one * two > 0


def _laid(lab: NDArray[np.uint8], cover: NDArray[np.uint8], direction: float) -> _Level | None:
    """The picture turned so that `direction` lies level, as means of its parts; None where it is too small."""
    t = math.radians(direction)
    c, s = math.cos(t), math.sin(t)
    ys, xs = np.nonzero(cover[::4, ::4] > 127)
    if len(xs) < 8:
        return None
    u, v = 4.0 * (xs * c - ys * s), 4.0 * (xs * s + ys * c)
    wide, tall = int(np.ptp(u)) + 4, int(np.ptp(v)) + 4
    if wide < 48 or tall < 24:
        return None
    back = np.array([[c, s, u.min() * c + v.min() * s], [-s, c, -u.min() * s + v.min() * c]])
    flags = cv2.WARP_INVERSE_MAP | cv2.INTER_LINEAR
    turned = np.asarray(cv2.warpAffine(lab, back, (wide, tall), flags=flags, borderMode=cv2.BORDER_REPLICATE), np.float32)
    turned[..., 0] *= 100 / 255
    inside = (np.asarray(cv2.warpAffine(cover, back, (wide, tall), flags=flags)) > 127).astype(np.float32)
    cuts = np.linspace(0, wide, PARTS + 1).astype(int)
    total = np.stack([inside[:, a:b].sum(axis=1) for a, b in pairwise(cuts)])
    weighted = turned * inside[..., None]
    tone = np.stack([np.asarray(cv2.reduce(weighted[:, a:b], 1, cv2.REDUCE_SUM), np.float32)[:, 0] for a, b in pairwise(cuts)])
    tone = np.asarray(tone / np.maximum(total, 1)[..., None], np.float32)
    return _Level(tone, total > 0.6 * (wide / PARTS), (cuts[1:] + cuts[:-1]) / 2 - wide / 2, wide, back)


def _lines_of(level: _Level, scale: tuple[float, float]) -> list[Line]:
    """Lines of a level picture, ends in px of a view `scale` (x, y) times as large."""
    line, step, usable = responses(level.tone, level.known)
    rows, leans = level.tone.shape[1], np.tan(np.radians(FINE))
    at = np.rint(np.arange(rows) + leans[:, None, None] * level.middles[:, None]).astype(int).clip(0, rows - 1)
    parts = np.arange(PARTS)[:, None]
    ok = usable[parts, at]
    share = ok.sum(axis=1)
    runs = share >= LEAST_PARTS
    if not runs.any():
        return []
    sizes: dict[str, tuple[Floats, float]] = {}
    for name, moved in (("line", line[parts, at][..., None]), ("step", step[parts, at])):
        size, dark, usual = _through(moved * ok[..., None], ok, share, runs)
        if name == "step":
            sizes["step"] = size, usual
        else:
            sizes["dark"], sizes["light"] = (np.where(dark, size, 0), usual), (np.where(dark, 0, size), usual)
    out = []
    for kind, (size, usual) in sizes.items():
        best = size.argmax(axis=0)
        top = size[best, np.arange(rows)]
        for row in _peaks(top):
            if top[row] < max(LEAST, STANDOUT * usual):
                break
            rise = leans[best[row]] * level.wide / 2
            ends = np.array([[0.0, row - rise, 1.0], [level.wide - 1.0, row + rise, 1.0]]) @ level.back.T
            (x0, y0), (x1, y1) = ((ends + 0.5) * scale - 0.5).tolist()
            out.append(Line((x0, y0), (x1, y1), float(top[row] / usual), kind))
    return out


def _through(moved: Floats, ok: NDArray[np.bool_], share: NDArray[np.intp],
             runs: NDArray[np.bool_]) -> tuple[Floats, NDArray[np.bool_], float]:
    """(size (leans, rows), 0 where it does not run through; whether it is dark; the panel's usual streak).

    `moved` (leans, parts, rows, channels) answers of the parts, 0 where not `ok`; `share` (leans, rows) parts that count.
    """
    count = np.maximum(share, 1)
    mean = moved.sum(axis=1) / count[..., None]
    size = np.sqrt((mean**2).sum(axis=-1))
    agree = (np.einsum("lptc,ltc->lpt", moved, mean) > 0.3 * size[:, None] ** 2).sum(axis=1) / count
    # even along its length: what changes from part to part is a streak
    rest = moved - mean[:, None] * ok[..., None]
    uneven = np.sqrt((rest**2).sum(axis=(1, 3)) / count)
    streaks = np.where(runs, size * size / np.maximum(size + 0.5 * uneven, 1e-6), 0)
    # half of all rows hold no line even where boards are narrow
    usual = max(float(np.median(streaks.max(axis=0)[runs.any(axis=0)])), 0.4 * LEAST)
    return np.where(agree >= THROUGH, streaks, 0).astype(np.float32), mean[..., 0] < 0, usual


def responses(tone: Floats, known: NDArray[np.bool_]) -> tuple[Floats, Floats, NDArray[np.bool_]]:
    """(line (parts, rows): L* of the row over its surroundings, step (parts, rows, 3): after minus before, usable).

    A dark line answers below the darker of the two levels beside it, a light one above the lighter, so that a step alone
    gives none.
    """
    n = tone.shape[1]
    line, step, usable = np.zeros(tone.shape[:2], np.float32), np.zeros_like(tone), np.zeros_like(known)
    y = np.arange(6, n - 6)
    if not len(y):
        return line, step, usable
    before = (tone[:, y - 6] + tone[:, y - 5] + tone[:, y - 4] + tone[:, y - 3]) / 4
    after = (tone[:, y + 6] + tone[:, y + 5] + tone[:, y + 4] + tone[:, y + 3]) / 4
    here = np.stack([tone[:, y + k, 0] for k in (-1, 0, 1)])
    low, high = np.minimum(before, after)[..., 0], np.maximum(before, after)[..., 0]
    dark, light = np.maximum(low - here.min(axis=0), 0), np.maximum(here.max(axis=0) - high, 0)
    line[:, y] = np.where(dark >= light, -dark, light)
    near = np.mean([tone[:, y + k] - tone[:, y - k] for k in (1, 2, 3)], axis=0)
    far = after - before
    # abrupt: as much of it is there within three rows on either side as beyond, most where it lies
    size_near, size_far = np.sqrt((near**2).sum(axis=-1)), np.sqrt((far**2).sum(axis=-1))
    step[:, y] = far * np.minimum(1, size_near / np.maximum(size_far, 1e-3))[..., None]
    usable[:, y] = known[:, y - 6] & known[:, y + 6] & known[:, y]
    return line, step, usable


def _peaks(values: Floats) -> list[int]:
    """Rows of the largest values, best first, none within _APART rows of another."""
    out: list[int] = []
    for i in np.argsort(-values, kind="stable").tolist():
        if values[i] <= 0 or len(out) >= 3 * MOST:
            break
        if all(abs(i - j) >= _APART for j in out):
            out.append(i)
    return out
