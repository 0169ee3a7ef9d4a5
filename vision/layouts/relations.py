"""How neighbours compare: correlation of one leaf's figure with the other's, mirrored or pushed over, against chance."""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from vision.layouts.frame import Frame
from vision.resize import resize_map

#: Search along and across the grain, half-scale px.
_ALONG, _ACROSS = 8, 3
_ROLLS = (0.18, 0.27, 0.36, 0.45, 0.55, 0.64, 0.73, 0.82)
#: What a relation must exceed: chance by this much, and this correlation.
_OVER_CHANCE, LEAST = 0.10, 0.25


@dataclass(frozen=True)
class Likeness:
    """Peak correlations, what chance reaches, and the shift (along, across) of the better one in frame px."""

    mirror: float
    repeat: float
    null: float
    shift: tuple[float, float]

    @property
    def kind(self) -> str:
        """'mirrored', 'repeated' or 'unrelated'."""
        if max(self.mirror, self.repeat) < max(LEAST, self.null + _OVER_CHANCE):
            return "unrelated"
        return "mirrored" if self.mirror >= self.repeat else "repeated"


def _peak(template: NDArray[np.float32], other: NDArray[np.float32], across: int) -> tuple[float, int, int]:
    """(correlation, along, across) of the best place of `template` in `other`, both of the same columns."""
    rows = other.shape[0] - template.shape[0]
    inner = template[:, _ALONG:-_ALONG]
    if inner.std() < 1e-3 or rows < 0:
        return 0.0, 0, 0
    scores = np.nan_to_num(cv2.matchTemplate(other, np.ascontiguousarray(inner), cv2.TM_CCOEFF_NORMED), posinf=0, neginf=0)
    i, j = np.unravel_index(int(scores.argmax()), scores.shape)
    return float(scores[i, j]), int(j) - _ALONG, int(i) - across


def compare(one: NDArray[np.float32], two: NDArray[np.float32]) -> Likeness:
    """Likeness of two pieces of figure (rows, cols), `one` above `two`, the joint between them, grain along the columns."""
    half = [resize_map(p, p.shape[1] // 2, max(2, p.shape[0] // 2)) for p in (one, two)]
    depth = min(h.shape[0] for h in half)
    if depth < 4 or half[0].shape[1] < 4 * _ALONG:
        return Likeness(0.0, 0.0, 1.0, (0.0, 0.0))
    cols = half[0].shape[1]
    body = max(3, depth - 2 * min(_ACROSS, depth // 4))
    room = (depth - body) // 2
    spare = abs(half[0].shape[0] - half[1].shape[0])
    long, short = (half[0], half[1]) if half[0].shape[0] >= half[1].shape[0] else (half[1], half[0])
    upper = half[0][::-1]  # rows counted from the joint
    lower = half[1]
    near = upper[room:room + body]
    mirror = _peak(near, lower[:depth], room)
    # pushed over: the pieces may be trimmed on either side, so the shorter may lie anywhere in the longer
    piece = short[(len(short) - body) // 2:][:body]
    repeat = _peak(piece, long, (len(short) - body) // 2 + spare // 2)
    chance = []
    for share in _ROLLS:
        roll = round(share * cols)
        chance.append(_peak(near, np.roll(lower[:depth], roll, 1), room)[0])
        chance.append(_peak(piece, np.roll(long, roll, 1), 0)[0])
    null = float(np.mean(chance) + 1.7 * np.std(chance))
    best = mirror if mirror[0] >= repeat[0] else repeat
    return Likeness(mirror[0], repeat[0], null, (2.0 * best[1], 2.0 * best[2]))


def pairs_of(frame: Frame, cuts: list[float]) -> list[Likeness]:
    """Likeness of every two neighbouring leaves of a frame, `cuts` being their bounding rows from top to bottom."""
    out = []
    for a, b, c in zip(cuts, cuts[1:], cuts[2:], strict=False):
        a, b, c = round(a), round(b), round(c)
        out.append(compare(frame.figure[a:b - 1], frame.figure[b + 1:c]))
    return out


def across_line(grey: NDArray[np.float32], p0: tuple[float, float], p1: tuple[float, float], depth: float) -> Likeness:
    """Likeness of the two sides of the line p0-p1 of a picture (rows, cols) of figure, read to `depth` px from it."""
    a, b = np.asarray(p0), np.asarray(p1)
    length = float(np.hypot(*(b - a)))
    if length < 48 or depth < 8:
        return Likeness(0.0, 0.0, 1.0, (0.0, 0.0))
    e = (b - a) / length
    n = np.array([-e[1], e[0]])
    tall, wide = int(2 * depth), int(length)
    origin = a - n * depth
    back = np.array([[e[0], n[0], origin[0]], [e[1], n[1], origin[1]]])
    patch = cv2.warpAffine(grey, back, (wide, tall), flags=cv2.WARP_INVERSE_MAP | cv2.INTER_LINEAR)
    half = tall // 2
    return compare(np.ascontiguousarray(patch[:half - 1]), np.ascontiguousarray(patch[half + 1:]))
