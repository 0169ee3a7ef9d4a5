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
STEP = 1.35
#: Trials looked at again, best first, at most; refined ones for each band kept; bands that share more than this are one.
MOST_TRIED, MOST_REFINED, ALIKE = 40, 3, 0.7
#: Least score of a trial that is worth refining, and of a band worth measuring; what a band scores at least whose tails are not
#: as the board behind them, which stain or a lap of end grain can do.
LEAST_TRIAL, LEAST_SCORE, LEVEL_FLOOR = 0.8, 0.5, 0.25
#: No trial is refined that scores less than this share of the best band found before it.
LEAST_OF_BEST = 0.25
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
    """Bands of a picture with the joint at its right, best first, none hidden by a better one (at most `keep`).

    Coarse to fine: every depth and place is ranked at once on averaged rows; only the best of them, one for each place that
    they fall together at, are moved to their true shoulder and judged in full.
    """
    h, w = lab.shape[:2]
    if h < 24 or w < 2 * LEAST_DEPTH:
        return []
    thin = max(1, round(h / 140))  # rows are averaged for the search alone
    rows = h // thin
    coarse = lab[: rows * thin].reshape(rows, thin, w, 3).mean(axis=1) if thin > 1 else lab
    tried: list[Band] = []
    starts: list[tuple[int, int]] = []
    for score, shoulder, end, pin, way in trials(coarse, limit=min(MOST_DEPTH * w, 0.9 * h), most=MOST_TRIED):
        if tried and score < LEAST_OF_BEST * max(b.score for b in tried):
            break
        if any(_shared(shoulder, end, s, e) > ALIKE for s, e in starts):
            continue  # it would move to where that one did
        pin = np.repeat(pin, thin)
        pin = without_short(np.concatenate([pin, np.full(h - len(pin), pin[-1])]), LEAST_RUN)
        if (np.diff(pin.astype(np.int8)) != 0).sum() < 3:
            continue
        whole = refined(lab, Band(float(shoulder), float(end), pin, way, 0.0, 0.0, 0.0, 0.0, 0.0))
        starts.append((shoulder, end))
        if whole is not None and whole.score > LEAST_SCORE:
            tried.append(whole)
        if len(starts) >= MOST_REFINED * keep:
            break
    tried.sort(key=lambda b: -b.score)
    out: list[Band] = []
    for band in tried:
        if len(out) < keep and all(min(band.end, o.end) - max(band.shoulder, o.shoulder)
                                   < 0.5 * min(band.end - band.shoulder, o.end - o.shoulder) for o in out):
            out.append(band)
    return out


def _shared(a: float, b: float, c: float, d: float) -> float:
    """Length that two intervals share over the length they cover together."""
    return max(0.0, min(b, d) - max(a, c)) / max(1e-6, max(b, d) - min(a, c))


def _places(w: int, limit: float) -> NDArray[np.int64]:
    """(trials, 5) columns: begin of what lies behind, shoulder, end, and the middle part of the band."""
    depths = [LEAST_DEPTH * STEP**k for k in range(40) if LEAST_DEPTH * STEP**k <= limit]
    out = []
    for off in dict.fromkeys(round(o * w) for o in OFFSETS):
        for depth in depths:
            end, shoulder = w - off, w - off - round(depth)
            behind = max(0, shoulder - max(4, round(0.7 * depth)))
            inset = max(1, round(0.12 * (end - shoulder)))
            if shoulder - behind >= 3 and end - shoulder - 2 * inset >= 2:
                out.append((behind, shoulder, end, shoulder + inset, end - inset))
    return np.array(out, np.int64).reshape(-1, 5)


def trials(coarse: Floats, limit: float, most: int) -> list[tuple[float, int, int, NDArray[np.bool_], NDArray[np.float64]]]:
    """(score, shoulder, end, pin, way) of at most `most` places where two levels of rows alternate, best first.

    `coarse`: (rows, w, 3); `limit`: greatest depth, px.

    The score is `_judged`'s, of all places at once, short runs given to their neighbours by a median instead of one by one.
    """
    rows, w = coarse.shape[:2]
    at = _places(w, limit)
    if not len(at):
        return []
    sums = np.concatenate([np.zeros((rows, 1, 3)), np.cumsum(coarse, axis=1, dtype=np.float64)], axis=1).transpose(1, 0, 2)
    behind, shoulder, end, a, b = at.T

    def mean(one: NDArray[np.int64], two: NDArray[np.int64]) -> Floats:
        return np.asarray((sums[two] - sums[one]) / np.maximum(1, two - one)[:, None, None], np.float32)

    away = mean(a, b) - mean(behind, shoulder - 1)  # (trials, rows, 3)
    centred = away - away.mean(axis=1, keepdims=True)
    _, vectors = np.linalg.eigh(centred.transpose(0, 2, 1) @ centred)
    s = (away @ vectors[:, :, -1:])[..., 0]
    cut, share = _splits(s)
    pin = _without_specks(s > cut[:, None])
    change = pin[:, 1:] != pin[:, :-1]
    changes = change.sum(axis=1)
    ones = pin.sum(axis=1)
    keep = np.flatnonzero((share >= 0.6) & (changes >= 3) & (ones > 0) & (ones < rows))
    if not len(keep):
        return []
    away, pin, share, changes, change, ones = away[keep], pin[keep], share[keep], changes[keep], change[keep], ones[keep]
    weight = pin.astype(np.float32)
    total = away.sum(axis=1)
    one = (weight[:, None] @ away)[:, 0]
    one, two = one / ones[:, None], (total - one) / (rows - ones)[:, None]
    swap = np.linalg.norm(one, axis=1) < np.linalg.norm(two, axis=1)  # the level near nothing is the tails'
    one[swap], two[swap] = two[swap], one[swap].copy()
    pin ^= swap[:, None]
    contrast = np.linalg.norm(one - two, axis=1)
    way = (one - two) / np.maximum(contrast, 1e-9)[:, None]
    s = (away @ way[:, :, None])[..., 0]
    low, high = (two * way).sum(axis=1)[:, None], (one * way).sum(axis=1)[:, None]
    off = np.square(s - np.where(pin, high, low))
    n = pin.sum(axis=1)
    noise = np.sqrt(0.5 * ((off * pin).sum(axis=1) / n + (off * ~pin).sum(axis=1) / (rows - n)) + 0.05)
    level = np.linalg.norm(two, axis=1) / np.maximum(contrast, 1e-6)
    depth = (end - shoulder)[keep]
    # spread of the log lengths of inner runs, from the places of changes in one list
    k, row = np.nonzero(change)
    inner = k[1:] == k[:-1]
    length = np.log(np.diff(row)[inner].astype(np.float64))
    count = np.maximum(1, np.bincount(k[1:][inner], minlength=len(keep)))
    first = np.bincount(k[1:][inner], length, len(keep)) / count
    second = np.bincount(k[1:][inner], length**2, len(keep)) / count
    even = 1 / (1 + np.where(changes > 2, np.sqrt(np.maximum(0, second - first**2)), 1.6))
    score = ((share - 0.55) * np.minimum(contrast / noise, 8) * np.maximum(LEVEL_FLOOR, 1 - 1.2 * level)
             * np.sqrt(np.minimum(depth, 20)) * np.sqrt(np.minimum(changes, 8)) * even * np.minimum(contrast / 8, 1))
    best = [i for i in np.argsort(-score, kind="stable")[:most] if score[i] > LEAST_TRIAL]
    return [(float(score[i]), int(shoulder[keep[i]]), int(end[keep[i]]), pin[i], way[i].astype(np.float64)) for i in best]


def _without_specks(pin: NDArray[np.bool_]) -> NDArray[np.bool_]:
    """(trials, rows) with runs of one or two rows given to their neighbours: a running median of five."""
    p = np.pad(pin.astype(np.int8), ((0, 0), (2, 2)), mode="edge")
    n = pin.shape[1]
    return np.asarray(p[:, :n] + p[:, 1 : n + 1] + p[:, 2 : n + 2] + p[:, 3 : n + 3] + p[:, 4 : n + 4] >= 3)


def _splits(values: Floats) -> tuple[Floats, Floats]:
    """`two_levels` of many sets of values at once: (sets, n) to (sets,) thresholds and shares."""
    v = np.sort(values - values.mean(axis=1, keepdims=True), axis=1)
    n = v.shape[1]
    k = np.arange(1, n, dtype=np.float32)
    low = np.cumsum(v, axis=1)[:, :-1]
    between = low**2 * (n / (k * (n - k)))  # the mean is nothing, so the upper part sums to minus the lower
    rim = max(1, n // 16)
    between[:, :rim] = 0
    between[:, n - 1 - rim :] = 0
    best = np.argmax(between, axis=1)
    every = np.arange(len(v))
    total = np.square(v).sum(axis=1)
    share = np.where(total > 1e-6, between[every, best] / np.maximum(total, 1e-6), 0)
    return np.asarray((v[every, best] + v[every, best + 1]) / 2 + values.mean(axis=1)), share


def _means(lab: Floats, one: int, two: int) -> Floats:
    """(rows, 3) mean of the columns from `one` up to `two`."""
    return np.asarray(cv2.reduce(lab[:, one:two], 1, cv2.REDUCE_AVG), np.float32)[:, 0]


def _trial(lab: Floats, behind: int, shoulder: int, end: int) -> Band | None:
    inset = max(1, round(0.12 * (end - shoulder)))
    a, b = shoulder + inset, end - inset
    if b - a < 2:
        return None
    away = (_means(lab, a, b) - _means(lab, behind, max(behind + 1, shoulder - 1))).astype(np.float64)
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
    score = ((share - 0.55) * min(contrast / noise, 8.0) * max(LEVEL_FLOOR, 1 - 1.2 * level) * min(depth, 20.0) ** 0.5
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


def refined(lab: Floats, band: Band) -> Band | None:
    """Shoulder and end moved to where the difference between pins' and tails' rows rises and falls; rows judged again; None
    where it does neither."""
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
    again = _trial(lab, behind, s0, e0)
    if again is None:
        return None
    g = profile(lab, again.pin, again.way)
    rise = float(g[s0 + 1 : s0 + 4].mean() - g[max(0, s0 - 4) : max(1, s0 - 1)].mean())
    sharp = float(np.clip(rise / max(again.contrast, 1e-6), 0, 1.2))
    return replace(again, shoulder=float(shoulder), end=float(end), sharp=sharp, score=again.score * sharp**2)
