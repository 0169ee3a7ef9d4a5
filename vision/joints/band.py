"""The band at a board's end in which fingers alternate with end grain: where it begins and ends, and which rows are which.

Idea: a tail is the same board as what lies behind it, a pin is not. So each row's mean over the band, less its mean just
behind the shoulder, is near nothing on tails and some other tone on pins, however lively the figure along the board. The
joint is taken to lie at the right; callers turn the picture.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import cv2
import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float32]
#: Least depth of a joint and least width of a finger, px; deepest joint, share of the picture.
LEAST_DEPTH, LEAST_RUN, MOST_DEPTH = 7, 3, 0.5
#: Depths tried grow by this factor; how far from the picture's end the joint may end, shares of its length.
STEP = 1.25
OFFSETS = (0.0, 0.02, 0.04, 0.07, 0.11, 0.16, 0.22, 0.3, 0.4, 0.5, 0.6)


@dataclass(frozen=True, eq=False)
class Band:
    """`shoulder`, `end`: columns (px, fractional); `pin`: (rows,) bool; `way`: (3,) unit direction in Lab from tail to pin;
    `share`: of the variance that two levels explain; `contrast`: Lab units; `noise`: spread within a level; `level`: how far
    the tails are from what lies behind them, over the contrast; `score`: what the search ranks by; `sharp`: share of the
    contrast that is there within three pixels of the shoulder."""

    shoulder: float
    end: float
    pin: NDArray[np.bool_]
    way: NDArray[np.float64]
    share: float
    contrast: float
    noise: float
    level: float
    score: float
    sharp: float = 0.0

    @property
    def changes(self) -> NDArray[np.int64]:
        """Rows before which the kind changes."""
        return np.flatnonzero(np.diff(self.pin.astype(np.int8)) != 0) + 1


def lab_of(pixels: NDArray[np.uint8]) -> Floats:
    """(h, w, 3) float32 CIELAB."""
    return np.asarray(cv2.cvtColor(pixels.astype(np.float32) / np.float32(255), cv2.COLOR_RGB2Lab), np.float32)


def two_levels(values: NDArray[np.float64]) -> tuple[float, float]:
    """(threshold, share of variance explained) of the best split of values in two (Otsu, 1979, on the values themselves)."""
    v = np.sort(values)
    n = len(v)
    total = float(((v - v.mean()) ** 2).sum())
    if n < 4 or total < 1e-9:
        return float(v.mean()), 0.0
    k = np.arange(1, n)
    low = np.cumsum(v)[:-1]
    between = (low / k - v.mean()) ** 2 * k + ((v.sum() - low) / (n - k) - v.mean()) ** 2 * (n - k)
    # a handful of outliers is no second level
    between[: max(1, n // 16)] = 0
    between[n - 1 - max(1, n // 16) :] = 0
    best = int(np.argmax(between))
    return float((v[best] + v[best + 1]) / 2), float(between[best] / total)


def without_short(pin: NDArray[np.bool_], least: int) -> NDArray[np.bool_]:
    """Runs shorter than `least` rows given to their neighbours, shortest first; the outermost runs may be short."""
    out = pin.copy()
    while True:
        bounds = np.concatenate([[0], np.flatnonzero(np.diff(out.astype(np.int8)) != 0) + 1, [len(out)]])
        lengths = np.diff(bounds)
        if len(lengths) < 3:
            return out
        k = int(np.argmin(lengths[1:-1])) + 1
        if lengths[k] >= least:
            return out
        out[bounds[k] : bounds[k + 1]] = ~out[bounds[k]]


def search(lab: Floats, keep: int = 2) -> list[Band]:
    """Bands of a picture with the joint at its right, best first, none hidden by a better one (at most `keep`)."""
    h, w = lab.shape[:2]
    if h < 24 or w < 2 * LEAST_DEPTH:
        return []
    thin = max(1, h // 160)  # rows are averaged for the search alone
    rows = h // thin
    coarse = lab[: rows * thin].reshape(rows, thin, w, 3).mean(axis=1)
    sums = np.concatenate([np.zeros((rows, 1, 3)), np.cumsum(coarse.astype(np.float64), axis=1)], axis=1)
    found: list[Band] = []
    depths = [LEAST_DEPTH * STEP**k for k in range(40) if LEAST_DEPTH * STEP**k <= min(MOST_DEPTH * w, 0.9 * h)]
    for off in dict.fromkeys(round(o * w) for o in OFFSETS):
        for depth in depths:
            end, shoulder = w - off, w - off - round(depth)
            behind = max(0, shoulder - max(4, round(0.7 * depth)))
            if shoulder - behind < 3:
                continue
            trial = _trial(sums, behind, shoulder, end)
            if trial is not None:
                found.append(trial)
    found.sort(key=lambda b: -b.score)
    tried: list[Band] = []
    full = np.concatenate([np.zeros((h, 1, 3)), np.cumsum(lab.astype(np.float64), axis=1)], axis=1) if found else sums
    for band in found[: 6 * keep]:
        pin = np.repeat(band.pin, thin)
        pin = without_short(np.concatenate([pin, np.full(h - len(pin), pin[-1])]), LEAST_RUN)
        whole = refined(lab, full, replace(band, pin=pin))
        if whole is not None:
            tried.append(whole)
    tried.sort(key=lambda b: -b.score)
    out: list[Band] = []
    for band in tried:
        if len(out) < keep and all(min(band.end, o.end) - max(band.shoulder, o.shoulder)
                                   < 0.5 * min(band.end - band.shoulder, o.end - o.shoulder) for o in out):
            out.append(band)
    return out


def _trial(sums: NDArray[np.float64], behind: int, shoulder: int, end: int) -> Band | None:
    inset = max(1, round(0.12 * (end - shoulder)))
    a, b = shoulder + inset, end - inset
    if b - a < 2:
        return None
    away = (sums[:, b] - sums[:, a]) / (b - a) - (sums[:, shoulder - 1] - sums[:, behind]) / max(1, shoulder - 1 - behind)
    centred = away - away.mean(axis=0)
    _, vectors = np.linalg.eigh(centred.T @ centred)
    way = vectors[:, -1]
    s = away @ way
    cut, share = two_levels(s)
    if share < 0.6:
        return None
    pin = without_short(s > cut, LEAST_RUN)
    return _judged(away, way, pin, share, shoulder, end)


def _judged(away: NDArray[np.float64], way: NDArray[np.float64], pin: NDArray[np.bool_], share: float, shoulder: float,
            end: float) -> Band | None:
    changes = int((np.diff(pin.astype(np.int8)) != 0).sum())
    if changes < 3 or pin.all() or not pin.any():
        return None
    one, two = away[pin].mean(axis=0), away[~pin].mean(axis=0)
    if np.linalg.norm(one) < np.linalg.norm(two):  # the level near nothing is the tails'
        pin, one, two = ~pin, two, one
    way = (one - two) / max(1e-9, float(np.linalg.norm(one - two)))
    s = away @ way
    contrast = float(np.linalg.norm(one - two))
    noise = float(np.sqrt(0.5 * (s[pin].var() + s[~pin].var()) + 0.05))
    level = float(np.linalg.norm(two)) / max(contrast, 1e-6)
    depth = end - shoulder
    runs = np.diff(np.concatenate([[0], np.flatnonzero(np.diff(pin.astype(np.int8)) != 0) + 1, [len(pin)]]))
    even = 1 / (1 + float(np.std(np.log(runs[1:-1]))) if len(runs) > 3 else 1.6)
    score = ((share - 0.55) * min(contrast / noise, 8.0) * max(0.0, 1 - 1.2 * level) * min(depth, 20.0) ** 0.5
             * min(changes, 8) ** 0.5 * even * min(contrast / 8.0, 1.0))
    return Band(float(shoulder), float(end), pin, way, share, contrast, noise, level, float(score))


def profile(lab: Floats, pin: NDArray[np.bool_], way: NDArray[np.float64]) -> NDArray[np.float64]:
    """(columns,) mean of the pins' rows less that of the tails', along `way`, rows next to a change left out."""
    sure = cv2.erode(pin.astype(np.uint8), np.ones((3, 1), np.uint8)).ravel() > 0
    sure_tail = cv2.erode((~pin).astype(np.uint8), np.ones((3, 1), np.uint8)).ravel() > 0
    sure = sure if sure.any() else pin
    sure_tail = sure_tail if sure_tail.any() else ~pin
    weight = (sure / sure.sum() - sure_tail / sure_tail.sum()).astype(np.float32)
    h, w = lab.shape[:2]
    return np.asarray((weight @ lab.reshape(h, 3 * w)).reshape(w, 3).astype(np.float64) @ way)


def refined(lab: Floats, sums: NDArray[np.float64], band: Band) -> Band | None:
    """Shoulder and end moved to where the difference between pins' and tails' rows rises and falls; rows judged again; None
    where it does neither. `sums`: running sums of `lab` along x, a column of nothing first."""
    w = lab.shape[1]
    f = cv2.GaussianBlur(profile(lab, band.pin, band.way).reshape(1, -1), (0, 0), 0.8).ravel()
    a, b = round(band.shoulder), round(band.end)
    middle = f[a + (b - a) // 4 : max(a + (b - a) // 4 + 1, b - (b - a) // 4)]
    top = float(np.median(middle))
    before = f[max(0, a - (b - a)) : max(1, a - (b - a) // 4)]
    base = float(np.median(before)) if len(before) else 0.0
    half = 0.5 * (top + base)
    if top - base <= 0:
        return None
    centre = (a + b) // 2
    left = centre
    while left > 1 and f[left - 1] > half:
        left -= 1
    right = centre
    while right < w - 1 and f[right] > half:
        right += 1
    shoulder = left - (f[left] - half) / max(1e-6, f[left] - f[left - 1]) + 0.0 if left > 1 else float(left)
    end = right - (half - f[right]) / max(1e-6, f[right - 1] - f[right]) if right < w - 1 else float(w)
    if end - shoulder < LEAST_DEPTH - 2 or end - shoulder > MOST_DEPTH * w + 2 or left <= 2:
        return None
    s0, e0 = int(np.ceil(shoulder)), int(np.floor(end))
    behind = max(0, s0 - max(4, round(0.7 * (e0 - s0))))
    if s0 - behind < 3 or e0 - s0 < 5:
        return None
    again = _trial(sums, behind, s0, e0)
    if again is None:
        return None
    g = profile(lab, again.pin, again.way)
    rise = float(g[s0 + 1 : s0 + 4].mean() - g[max(0, s0 - 4) : max(1, s0 - 1)].mean())
    sharp = float(np.clip(rise / max(again.contrast, 1e-6), 0, 1.2))
    return replace(again, shoulder=float(shoulder), end=float(end), sharp=sharp, score=again.score * sharp**2)
