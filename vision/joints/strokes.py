"""Staple crowns: short straight strokes of one length and lean, in a row along an edge."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Final

import cv2
import numpy as np
from numpy.typing import NDArray

from vision.joints.band import lab_of
from vision.joints.finds import Strokes

#: A stroke's length and greatest width, px, least length over width, and how straight: share of its length it may bow.
LENGTH, MOST_WIDTH, LEAST_LONG, BOW = (5.0, 60.0), 6.0, 2.6, 0.1
#: Fewest strokes of a row; how unlike in length (log) and lean (degrees) they may be.
LEAST, UNLIKE, LEAN = 3, 0.45, 25.0
CLASSES: Final = ("nothing", "there")


@dataclass(frozen=True, eq=False)
class Stroke:
    ends: NDArray[np.float64]
    length: float
    width: float
    angle: float
    strength: float

    @property
    def middle(self) -> NDArray[np.float64]:
        return np.asarray(self.ends.mean(axis=0))


@dataclass(frozen=True, eq=False)
class StrokeRow:
    strokes: tuple[Stroke, ...]
    numbers: Mapping[str, float]


def strokes_of(pixels: NDArray[np.uint8]) -> list[Stroke]:
    """Strokes brighter or darker than what lies about them."""
    light = np.ascontiguousarray(lab_of(pixels)[..., 0])
    out: list[Stroke] = []
    kernel = cv2.getStructuringElement(cv2.MORPH_ELLIPSE, (9, 9))
    for way in (cv2.MORPH_TOPHAT, cv2.MORPH_BLACKHAT):
        hat = cv2.morphologyEx(light, way, kernel)
        usual = float(np.median(hat))
        spread = 1.48 * float(np.median(np.abs(hat - usual)))
        mask = (hat > max(usual + 5 * spread, 5.0)).astype(np.uint8)
        _, labels, stats, _ = cv2.connectedComponentsWithStats(mask, connectivity=8)
        order = np.argsort(-stats[1:, cv2.CC_STAT_AREA])[:300] + 1
        for k in order:
            x, y, bw, bh, area = (int(v) for v in stats[k])
            if area < 6 or max(bw, bh) > LENGTH[1] or max(bw, bh) < LENGTH[0]:
                continue
            ys, xs = np.nonzero(labels[y : y + bh, x : x + bw] == k)
            strength = float(hat[ys + y, xs + x].mean()) - usual
            stroke = _stroke(np.stack([xs + x, ys + y], axis=1).astype(float), strength)
            if stroke is not None:
                out.append(stroke)
    # a wire and its shadow are one
    out.sort(key=lambda s: -s.strength)
    kept: list[Stroke] = []
    for s in out:
        if all(np.hypot(*(s.middle - o.middle)) > 0.35 * o.length + 2 or _turn(s.angle, o.angle) > 30 for o in kept):
            kept.append(s)
    return kept


def _turn(one: float, other: float) -> float:
    """Angle between two undirected lines, degrees."""
    return abs((one - other + 90) % 180 - 90)


def _stroke(p: NDArray[np.float64], strength: float) -> Stroke | None:
    middle = p.mean(axis=0)
    _, vectors = np.linalg.eigh(np.cov((p - middle).T) + np.eye(2) / 12)
    along = vectors[:, 1]
    t, s = (p - middle) @ along, (p - middle) @ vectors[:, 0]
    length, width = float(np.ptp(t)) + 1, len(p) / (float(np.ptp(t)) + 1)
    if not LENGTH[0] <= length <= LENGTH[1] or width > MOST_WIDTH or length < LEAST_LONG * width:
        return None
    bow = abs(float(np.polyfit(t, s, 2)[0])) * (length / 2) ** 2 if length > 6 else 0.0
    if bow > max(1.0, BOW * length):
        return None
    ends = np.stack([middle + along * t.min(), middle + along * t.max()])
    return Stroke(ends, length, width, math.degrees(math.atan2(along[1], along[0])) % 180, strength)


def rows_of(strokes: list[Stroke], shape: tuple[int, int]) -> list[StrokeRow]:
    """The best row along each edge of the picture."""
    h, w = shape
    out = []
    for edge in range(4):
        far = [(s.middle[1], h - 1 - s.middle[1], s.middle[0], w - 1 - s.middle[0])[edge] for s in strokes]
        near = [(s, d) for s, d in zip(strokes, far, strict=True) if d < 0.2 * (h if edge < 2 else w) + 4]
        best: StrokeRow | None = None
        for model, depth in near:
            like = [(s, d) for s, d in near if abs(math.log(s.length / model.length)) < UNLIKE
                    and abs(d - depth) < 0.6 * model.length + 2 and _turn(s.angle, model.angle) < LEAN]
            if len(like) >= LEAST:
                row = _row([s for s, _ in like], [d for _, d in like], edge, shape, len(near))
                if best is None or row.numbers["rank"] > best.numbers["rank"]:
                    best = row
        if best is not None:
            out.append(best)
    return out


def _row(strokes: list[Stroke], depths: list[float], edge: int, shape: tuple[int, int], near: int) -> StrokeRow:
    h, w = shape
    axis = 0 if edge < 2 else 1
    along = np.sort([s.middle[axis] for s in strokes])
    steps = np.diff(along)
    lengths = np.array([s.length for s in strokes])
    size = w if edge < 2 else h
    leans = np.array([s.angle for s in strokes])
    first = leans[0]
    lean = float(np.std((leans - first + 90) % 180 - 90))
    even = float(np.std(steps) / max(1e-6, steps.mean()))
    strength = np.array([s.strength for s in strokes])
    numbers = {"count": math.log(len(strokes)), "unlike": float(np.std(np.log(lengths))), "lean": lean, "even": even,
               "depth": float(np.std(depths)) / float(lengths.mean()), "span": float(np.ptp(along)) / size,
               "gap": math.log(max(0.1, float(np.median(steps)) / float(lengths.mean()))),
               "strength": math.log(float(np.median(strength))),
               "alike": float(np.std(np.log(np.maximum(strength, 0.5)))), "length": math.log(float(lengths.mean())),
               "width": float(np.mean([s.width for s in strokes])), "others": math.log(1 + near - len(strokes)),
               "edge": float(np.mean(depths)) / float(lengths.mean())}
    tidy = math.exp(-2 * numbers["unlike"] - lean / 10 - 0.5 * even - numbers["depth"])
    numbers["rank"] = len(strokes) * tidy * numbers["strength"]
    return StrokeRow(tuple(strokes), numbers)


def result(row: StrokeRow, chance: float) -> Strokes:
    lines = tuple(tuple((float(x), float(y)) for x, y in s.ends) for s in row.strokes)
    middles = np.array([s.middle for s in row.strokes])
    axis = int(np.argmax(np.ptp(middles, axis=0)))
    spacing = float(np.median(np.diff(np.sort(middles[:, axis]))))
    return Strokes(lines, float(np.mean([s.length for s in row.strokes])), spacing, chance)
