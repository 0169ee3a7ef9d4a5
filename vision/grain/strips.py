"""Strips: boards or leaves lying side by side, parted by joints that run parallel to the grain.

Growth rings also run parallel to the grain, so a line alone proves nothing. A joint must be straight over the whole
length, abrupt, and part two strips whose tone or figure differs as a whole; each joint says how far it meets this.
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
from vision.types import GrainField, Outline, WorkingView

#: Parts into which the length is cut; a joint has to show in most of them.
_PARTS = 8
#: A joint may lean this many degrees from the mean grain.
_LEAN = 3.0
_LEANS = 13
#: Width of the window in which each side of a joint is read, as a share of the panel's width across the grain.
_WINDOW = 0.03
#: Smallest tone step between neighbouring strips, CIE L*a*b* units.
MIN_STEP = 1.5
#: A joint must stand this many times above the panel's typical streak.
MIN_STANDOUT = 2.8


@dataclass(frozen=True)
class Strip:
    """One board or leaf. `outline`: polygon in working-view pixels; `width` px across the grain; `tone`: mean L*a*b*;
    `joint` 0..1: the weaker of the joints that bound it (a strip at the rim has one); `step`: that joint's tone step."""

    outline: Outline
    width: float
    tone: tuple[float, float, float]
    joint: float
    step: float


@dataclass(frozen=True)
class Layup:
    """All strips of a panel, in order across the grain. `direction`: that of the joints, degrees; `spread`: coefficient of
    variation of the widths of inner strips (all strips when there are fewer than three), nan below two strips."""

    strips: tuple[Strip, ...]
    direction: float
    spread: float
    steps: tuple[float, ...]
    strengths: tuple[float, ...]


_NONE = Layup((), float("nan"), float("nan"), (), ())


def _turned(view: WorkingView, direction: float) -> tuple[NDArray[np.float32], NDArray[np.bool_], NDArray[np.float64]]:
    """(L*a*b* float32, mask, 2x3 map back to the view) of the view turned so that `direction` lies along +x.

    Drawn at no more than 320 px: a joint's tone step is a matter of whole strips.
    """
    ys, xs = np.nonzero(view.mask[::4, ::4])
    t = math.radians(direction)
    u = 4 * (xs * math.cos(t) - ys * math.sin(t))
    v = 4 * (xs * math.sin(t) + ys * math.cos(t))
    scale = min(1.0, 320 / max(1.0, np.ptp(u) + 4, np.ptp(v) + 4))
    wide, tall = int(np.ptp(u) * scale) + 4, int(np.ptp(v) * scale) + 4
    c, s = math.cos(t) / scale, math.sin(t) / scale
    # turned (i, j) -> u = i / scale + u0, v = j / scale + v0 -> view x = u cos + v sin, y = -u sin + v cos
    u0, v0 = float(u.min()), float(v.min())
    back = np.array([[c, s, u0 * math.cos(t) + v0 * math.sin(t)], [-s, c, -u0 * math.sin(t) + v0 * math.cos(t)]])
    height, width = view.mask.shape
    small_w, small_h = max(1, round(width * scale)), max(1, round(height * scale))
    lab = np.asarray(cv2.cvtColor(resize(view.pixels, small_w, small_h), cv2.COLOR_RGB2LAB), np.uint8)
    cover = resize(view.mask.view(np.uint8) * np.uint8(255), small_w, small_h)
    # the same map, ending on the small picture: pixel centres go to (x + 0.5) * scale - 0.5
    sx, sy = small_w / width, small_h / height
    small = np.array([[sx], [sy]]) * back
    small[:, 2] += [0.5 * sx - 0.5, 0.5 * sy - 0.5]
    flags = cv2.WARP_INVERSE_MAP | cv2.INTER_LINEAR
    turned = cv2.warpAffine(lab, small, (wide, tall), flags=flags, borderMode=cv2.BORDER_REPLICATE)
    inside = cv2.warpAffine(cover, small, (wide, tall), flags=flags)
    values = turned.astype(np.float32)
    values[..., 0] *= 100 / 255
    return values, inside > 127, back


def _profiles(lab: NDArray[np.float32], mask: NDArray[np.bool_]) -> tuple[NDArray[np.float32], NDArray[np.bool_]]:
    """((parts, across, 3) median-like tone, (parts, across) known): the mean along the grain, part by part."""
    tall, wide = mask.shape
    out = np.zeros((_PARTS, tall, 3), np.float32)
    known = np.zeros((_PARTS, tall), bool)
    cuts = np.linspace(0, wide, _PARTS + 1).astype(int)
    weighted = np.where(mask[..., None], lab, np.float32(0))
    for i, (a, b) in enumerate(pairwise(cuts)):
        total = mask[:, a:b].sum(1)
        out[i] = np.asarray(cv2.reduce(weighted[:, a:b], 1, cv2.REDUCE_SUM))[:, 0] / np.maximum(total, 1)[:, None]
        known[i] = total > 0.5 * (b - a)
    return out, known


def _steps(tone: NDArray[np.float32], known: NDArray[np.bool_], width: int) -> tuple[NDArray, NDArray]:
    """(signed step (parts, across, 3), usable): mean of `width` rows after minus before every row, one row left out."""
    parts, tall, _ = tone.shape
    k = known.astype(np.float32)[..., None]
    sums = np.concatenate([np.zeros((parts, 1, 3), np.float32), np.cumsum(tone * k, axis=1)], axis=1)
    count = np.concatenate([np.zeros((parts, 1, 1), np.float32), np.cumsum(k, axis=1)], axis=1)
    t = np.arange(tall)
    b0, b1 = np.clip(t - width, 0, tall), np.clip(t, 0, tall)
    a0, a1 = np.clip(t + 1, 0, tall), np.clip(t + 1 + width, 0, tall)
    n_before, n_after = count[:, b1] - count[:, b0], count[:, a1] - count[:, a0]
    before = (sums[:, b1] - sums[:, b0]) / np.maximum(n_before, 1)
    after = (sums[:, a1] - sums[:, a0]) / np.maximum(n_after, 1)
    usable = (np.minimum(n_before, n_after)[..., 0] >= 0.6 * width) & known
    return after - before, usable


def _joint_profile(tone: NDArray, known: NDArray, width: int, leans: NDArray) -> tuple[NDArray, NDArray]:
    """(step size, steadiness 0..1), both (leans, across): how far the tone steps along every leaning line.

    `leans`: rows per part. Steadiness is the share of the parts in which the step is there with the same sign.
    """
    step, usable = _steps(tone, known, width)
    tall = tone.shape[1]
    offsets = np.arange(_PARTS) - (_PARTS - 1) / 2
    at = np.rint(np.arange(tall) + leans[:, None, None] * offsets[:, None]).astype(int).clip(0, tall - 1)
    parts = np.arange(_PARTS)[:, None]
    moved, ok = step[parts, at], usable[parts, at]
    share = ok.sum(1)
    mean = np.einsum("lptc,lpt->ltc", moved, ok) / np.maximum(share, 1)[..., None]
    size = np.sqrt((mean**2).sum(-1))
    agree = (np.einsum("lptc,ltc->lpt", moved, mean) > 0.35 * size[:, None] ** 2) & ok
    return size, np.where(share >= 0.6 * _PARTS, agree.sum(1) / np.maximum(share, 1), 0)


def _peaks(score: NDArray, width: int) -> list[int]:
    """Rows of the local maxima of a joint profile, at least one and a half window widths apart, highest first."""
    out: list[int] = []
    for t in np.argsort(-score):
        if score[t] <= 0:
            break
        if all(abs(int(t) - j) > 1.5 * width for j in out):
            out.append(int(t))
    return out


def find_strips(view: WorkingView, field: GrainField, *, direction: float | None = None) -> Layup:
    """Strips of the panel; no strips where the grain has no common direction or no joint holds.

    `direction`: that of the joints in degrees, None for the mean grain direction.
    """
    if direction is None:
        seen = resolved(field)
        direction, order = mean_direction(field.angle, np.where(seen, field.coherence, 0))
        if seen.sum() < 60 or order < 0.5:
            return _NONE
    lab, mask, back = _turned(view, direction)
    tall, wide = mask.shape
    width = max(5, round(_WINDOW * tall))
    if tall < 8 * width or wide < 32:
        return _NONE
    tone, known = _profiles(lab, mask)
    leans = wide / _PARTS * np.tan(np.radians(np.linspace(-_LEAN, _LEAN, _LEANS)))
    size, keeps = _joint_profile(tone, known, width, leans)
    # abruptness: most of the step must already be there within two rows on either side
    quick, quick_keeps = _joint_profile(tone, known, 2, leans)
    scores = size * keeps
    scores *= np.clip(quick * quick_keeps / np.maximum(scores, 1e-6), 0, 1)
    # joints are parallel to each other, growth rings need not be: one lean for all, give or take half a degree
    common = int((scores**4).sum(1).argmax())
    low, high = max(0, common - 1), min(_LEANS, common + 2)
    pick = low + scores[low:high].argmax(0)
    across = np.arange(tall)
    score, steady, lean = scores[pick, across], keeps[pick, across], leans[pick]
    peaks = _peaks(score, width)
    joints: list[int] = []
    covered = np.nonzero(known.mean(0) >= 0.6)[0]
    if peaks and covered.size:
        # the panel's own streaks: every other local maximum; with few, the least a tone step must be
        heights = np.array([score[t] for t in peaks])
        streaks = max(float(np.median(heights)), 0.5 * MIN_STEP)
        joints = [t for t in peaks if score[t] >= max(MIN_STEP, MIN_STANDOUT * streaks) and steady[t] >= 0.75
                  and covered[0] + 2 * width < t < covered[-1] - 2 * width]
    joints.sort()
    if not joints:
        return Layup((), direction, float("nan"), (), ())
    return _layup(joints, score, streaks, lean, lab, mask, back, direction)


def _outline(band: NDArray[np.uint8], back: NDArray[np.float64]) -> Outline | None:
    """The largest piece of a band as a polygon in working-view pixels, to within two pixels of the turned picture."""
    pieces, _ = cv2.findContours(band, cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_SIMPLE)
    if not pieces:
        return None
    piece = cv2.approxPolyDP(max(pieces, key=cv2.contourArea), 2.0, True)[:, 0].astype(np.float64)
    if len(piece) < 3:
        return None
    points = np.c_[piece, np.ones(len(piece))] @ back.T
    return tuple((float(x), float(y)) for x, y in points)


def _layup(joints: list[int], score: NDArray, streaks: float, lean: NDArray, lab: NDArray, mask: NDArray, back: NDArray,
           direction: float) -> Layup:
    wide = mask.shape[1]
    rows = np.nonzero(mask.any(1))[0]
    cuts = [int(rows[0]), *joints, int(rows[-1]) + 1]
    scale = math.hypot(back[0, 0], back[1, 0])
    strength = {t: float(1 - math.exp(-(score[t] / streaks) / 5)) for t in joints}
    strips = []
    for a, b in pairwise(cuts):
        slopes = [lean[t] * _PARTS / 2 if t in strength else 0.0 for t in (a, b)]
        corners = np.array([[0, a - slopes[0]], [wide - 1, a + slopes[0]], [wide - 1, b + slopes[1]], [0, b - slopes[1]]])
        band = np.zeros(mask.shape, np.uint8)
        cv2.fillConvexPoly(band, np.rint(corners).astype(np.int32), 1)
        band &= mask.view(np.uint8)
        outline = _outline(band, back)
        if outline is None:
            continue
        tone = cv2.mean(lab, band)
        sides = [t for t in (a, b) if t in strength]
        weaker = min(sides, key=lambda t: strength[t])
        strips.append(Strip(outline, (b - a) * scale, (float(tone[0]), float(tone[1]) - 128, float(tone[2]) - 128),
                            strength[weaker], float(score[weaker])))
    widths = np.array([s.width for s in strips])
    inner = widths[1:-1] if len(widths) >= 4 else widths
    spread = float(inner.std() / inner.mean()) if len(inner) >= 2 else float("nan")
    return Layup(tuple(strips), direction, spread, tuple(float(score[t]) for t in joints),
                 tuple(strength[t] for t in joints))
