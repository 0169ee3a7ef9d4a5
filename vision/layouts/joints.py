"""Joints of leaves or boards that lie side by side: rows of a frame where tone steps, figure mirrors or figure starts again."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from vision.layouts.frame import Frame
from vision.layouts.rows import Streaks

_PARTS = 10
#: How far streaks must stand over chance, standard deviations, and their least correlation.
MIRROR_Z, REPEAT_Z, LEAST_R = 7.0, 8.0, 0.3
#: Least tone step of a joint, L*a*b* units, and how many times the panel's own streaks it must be.
_MIN_STEP, _STANDOUT = 1.0, 2.6
#: Narrowest leaf, as a share of the frame's height, and in rows.
_NARROWEST, _LEAST_ROWS = 0.045, 8
#: Beside related leaves a step of tone must be this sure to count as a further joint.
_SURE_TONE = 0.9


@dataclass(frozen=True)
class Joint:
    """Row of a joint, how sure 0..1, and what showed it: 'tone', 'mirror' or 'repeat'."""

    row: float
    strength: float
    cue: str


def tone_profile(frame: Frame) -> NDArray[np.float64]:
    """(rows,) how far tone steps at every row: L*a*b* units, kept only as far as the step is abrupt and runs through."""
    rows, cols = frame.known.shape
    cuts = np.linspace(0, cols, _PARTS + 1).astype(int)
    w = frame.known.astype(np.float32)
    total = np.stack([w[:, a:b].sum(1) for a, b in pairwise(cuts)])
    tone = np.stack([(frame.lab[:, a:b] * w[:, a:b, None]).sum(1) for a, b in pairwise(cuts)])
    tone /= np.maximum(total, 1)[..., None]
    ok = total > 0.5 * cols / _PARTS

    def steps(width: int, gap: int) -> tuple[NDArray, NDArray]:
        sums = np.concatenate([np.zeros((_PARTS, 1, 3)), np.cumsum(tone, 1)], 1)
        out, fine = np.zeros((_PARTS, rows, 3)), np.zeros((_PARTS, rows), bool)
        y = np.arange(width, rows - width - gap)
        out[:, y] = (sums[:, y + gap + width] - sums[:, y + gap] - sums[:, y] + sums[:, y - width]) / width
        fine[:, y] = ok[:, y - width] & ok[:, y + width + gap - 1]
        return out, fine

    def through(width: int) -> tuple[NDArray, NDArray]:
        step, fine = steps(width, 1)
        share = fine.sum(0)
        mean = (step * fine[..., None]).sum(0) / np.maximum(share, 1)[:, None]
        size = np.sqrt((mean**2).sum(-1))
        agree = (np.einsum("pyc,yc->py", step, mean) > 0.35 * size**2) & fine
        return size, np.where(share >= 0.6 * _PARTS, agree.sum(0) / np.maximum(share, 1), 0)

    wide, keeps = through(max(4, round(0.025 * rows)))
    quick, quick_keeps = through(2)
    score = wide * keeps * np.clip(quick * quick_keeps / np.maximum(wide, 1e-6), 0, 1)
    return np.asarray(np.where(keeps >= 0.7, score, 0.3 * score))


def _peaks(values: NDArray, apart: float, limit: int = 24) -> list[int]:
    out: list[int] = []
    for i in np.argsort(-values):
        if values[i] <= 0 or len(out) >= limit:
            break
        if all(abs(int(i) - j) > apart for j in out):
            out.append(int(i))
    return out


def _tone_joints(profile: NDArray, apart: float) -> list[Joint]:
    peaks = _peaks(profile, apart)
    if not peaks:
        return []
    streaks = max(float(np.median([profile[p] for p in peaks])), 0.4)
    least = max(_MIN_STEP, _STANDOUT * streaks)
    return [Joint(p + 0.5, float(1 - np.exp(-profile[p] / least)), "tone") for p in peaks if profile[p] >= least]


def _repeat_joints(streaks: Streaks, profile: NDArray, rows: int, apart: float) -> list[Joint]:
    z = np.where(streaks.repeat_r >= LEAST_R, streaks.repeat_z, 0)
    top = float(z.max())
    if top < REPEAT_Z:
        return []
    # the shortest pitch nearly as good as the best: multiples repeat too
    pitches = [p for p in _peaks(z, 4) if z[p] >= max(REPEAT_Z, 0.55 * top) and p >= apart]
    if not pitches:
        return []
    pitch = min(pitches)
    number = rows / pitch
    centred = abs(number - round(number)) < 0.12
    evidence = _standing(profile) + _standing(streaks.breaks)
    phases = np.arange(pitch)
    sums = np.array([evidence[np.arange(f, rows, pitch)].mean() for f in phases])
    sums = (sums - np.median(sums)) / max(1.48 * float(np.median(np.abs(sums - np.median(sums)))), 1e-6)
    best = int(sums.argmax())
    exact = rows / round(number)
    # equal leaves that fill the panel are the rule: the first joint lies one leaf from the rim
    regular = float(sums[np.arange(-3, 4) % pitch].max())
    if centred and (regular > 0.6 * sums[best] or sums[best] < 4):
        places = [k * exact for k in range(1, round(number))]
    elif sums[best] < 2:
        return []
    else:
        places = [best + k * pitch for k in range(-1, round(number) + 2)]
    strength = float(1 - np.exp(-z[pitch] / REPEAT_Z))
    return [Joint(float(p), strength, "repeat") for p in places if apart < p < rows - apart]


def _standing(values: NDArray) -> NDArray:
    """How far every row stands over the typical row, cut off at 0 and 4 so that no single row decides."""
    smooth = np.convolve(values, np.ones(3) / 3, "same")
    middle = float(np.median(smooth))
    return np.asarray(np.clip((smooth - middle) / max(1.48 * float(np.median(np.abs(smooth - middle))), 1e-6), 0, 4))


def _mirror_joints(streaks: Streaks, profile: NDArray, rows: int, apart: float) -> list[Joint]:
    z = np.where(streaks.mirror_r >= LEAST_R, streaks.mirror_z, 0)
    out = []
    for k in _peaks(z, 2 * apart):
        if z[k] < MIRROR_Z or not apart < k / 2 < rows - apart:
            continue
        row = k / 2
        near = np.arange(max(0, round(row) - 3), min(rows, round(row) + 4))
        step = near[int(profile[near].argmax())]
        if profile[step] > 3 * max(float(np.median(profile)), 0.2):
            row = step + 0.5
        out.append(Joint(float(row), float(1 - np.exp(-z[k] / MIRROR_Z)), "mirror"))
    return out


def find_joints(frame: Frame, streaks: Streaks | None, profile: NDArray) -> tuple[Joint, ...]:
    """Joints of a frame from top to bottom; what mirrors comes first, then what repeats, then steps of tone."""
    rows = frame.known.shape[0]
    apart = max(_LEAST_ROWS, _NARROWEST * rows)
    covered = np.nonzero(frame.known.mean(1) >= 0.6)[0]
    if covered.size < 3 * apart:
        return ()
    mirrored, repeated = [], []
    if streaks is not None:
        mirrored = _mirror_joints(streaks, profile, rows, apart)
        repeated = _repeat_joints(streaks, profile, rows, apart)
    if repeated and mirrored and streaks is not None:
        # every other leaf of a mirrored row repeats; leaves symmetric in themselves mirror about their own middle too
        if streaks.repeat_z.max() > 1.5 * streaks.mirror_z.max():
            mirrored = []
        else:
            repeated = []
    tones = _tone_joints(profile, apart)
    if mirrored or repeated:
        tones = [t for t in tones if t.strength > _SURE_TONE]
    kept: list[Joint] = []
    for group in (mirrored, repeated, tones):
        for joint in group:
            inside = covered[0] + apart <= joint.row <= covered[-1] - apart
            if inside and all(abs(joint.row - k.row) >= apart for k in kept):
                kept.append(joint)
    return tuple(sorted(kept, key=lambda j: j.row))
