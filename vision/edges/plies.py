"""How many layers cross the thickness and where they end: a mean profile cut into pieces by dynamic programming.

Cross-laid plies alternate (long grain pale and streaky, end grain darker and speckled), are of about one thickness and
odd in number. All three are priors, not rules: a profile that contradicts them enough wins.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from itertools import pairwise

import cv2
import numpy as np
from numpy.typing import NDArray

from vision.edges.frame import EdgeFrame, block_profiles
from vision.edges.net import NetAnswer
from vision.resize import resize_map

Plane = NDArray[np.float32]
Floats = NDArray[np.float64]

MAX_PLIES = 17
#: Least rows of a ply; strips are sampled finer when thin.
LEAST = 3
#: Extra rows: a thin strip is read at this many rows at least.
FINE_ROWS = 48
#: Cost of one more boundary, in units of half a squared standard error.
BOUNDARY = 5.0
#: How far a ply's thickness strays from the mean (share), inside and for the sanded outer plies.
SPREAD, OUTER, OUTER_SPREAD = 0.22, 0.8, 0.35
#: Outermost share of the thickness that is not looked at, and largest share of a sheet glued on.
RIM, SHEET = 0.025, 0.16
#: A sheet of another stuff is this much darker than the darkest ply, or no darker than the lightest and without colour.
DARKER, LIGHTER = 0.6, 0.97
#: Share of the whole gain by which an even number must beat an odd one.
EVEN = 0.04
#: Within-layer variation counts this much beyond the spread between stretches of the edge.
INFLATE = 2.5
#: A border softer than this share of the usual one between layers is no layer's.
SOFT = 0.8
#: How much the net's log odds of a border weigh against the profile, and their bound.
LEAN, LEAN_MOST = 4.0, 3.0
#: Least unevenness within a layer, as a share of the profile's range.
WITHIN = 0.14


@dataclass(frozen=True, eq=False)
class Plies:
    """Layers of an edge. `count`: layers found (1: none); `bounds`: (count - 1,) rows between them, from the upper border;
    `thickness_px`: (count,) photo pixels; `sheets`: the upper and the lower outermost layer is no ply but a sheet of another
    tone; `alternation`: share of neighbouring steps that change sense, 1 for light-dark stripes; `contrast`: median step in
    standard errors; `gain`: drop in cost against one layer, per row (0: nothing found); `even_gap`: cost by which the best
    even number loses to the best odd one."""

    count: int
    bounds: Floats
    thickness_px: Floats
    sheets: tuple[bool, bool]
    alternation: float
    contrast: float
    gain: float
    even_gap: float

    @property
    def plies(self) -> int:
        """Layers that are plies: sheets of another stuff left out."""
        return self.count - sum(self.sheets)

    @property
    def odd(self) -> bool:
        return self.plies % 2 == 1


def count_plies(frame: EdgeFrame, net: NetAnswer | None = None) -> Plies:
    """Layers across the narrow side of a frame; where the net sees borders between plies, cuts there cost less."""
    profile, zoom = _profile(frame)
    return cut(profile, zoom=zoom, scale=frame.scale, lean=None if net is None else _lean(frame, net, len(profile), zoom))


def _lean(frame: EdgeFrame, net: NetAnswer, rows: int, zoom: float) -> Floats:
    """(rows + 1,) what a cut before each row of the profile saves: the net's log odds of a border there, within bounds."""
    at = frame.top - 0.5 + np.arange(rows + 1) / zoom
    shown = np.array([net.frame_row(k) for k in range(len(net.plies))])
    p = np.clip(np.interp(at, shown, net.plies), 1e-3, 1 - 1e-3)
    return LEAN * np.clip(np.log(p / (1 - p)) + 0.5, -LEAN_MOST, LEAN_MOST)


def _profile(frame: EdgeFrame) -> tuple[Floats, float]:
    """(rows, channels) lightness, yellowness and speckle by depth, each in units of its standard error; and rows a row of
    the frame is read as."""
    area = np.s_[frame.top:frame.top + frame.rows]
    lab = frame.lab[area]
    luma = lab[..., 0] * np.float32(100 / 255)
    column = np.maximum(luma.mean(axis=0, keepdims=True), 4.0)
    luma = luma * (float(column.mean()) / column)
    speckle = np.log(cv2.blur(np.abs(np.diff(lab[..., 0], axis=1, append=lab[:, -1:, 0])), (9, 1)) + 0.5)
    zoom = max(1.0, math.ceil(FINE_ROWS / frame.rows))
    out = []
    for plane, floor in ((luma, 0.35), (lab[..., 2] - 128, 0.5), (speckle, 0.06)):
        blocks = block_profiles(np.ascontiguousarray(plane, np.float32))
        middle = np.median(blocks, axis=1)
        spread = np.median(np.abs(blocks - middle[:, None]), axis=1) / 0.6745
        error = 1.2533 * float(np.sqrt((spread**2).mean())) / math.sqrt(blocks.shape[1])
        range_ = float(np.subtract(*np.percentile(middle, (90, 10))))
        value = middle / max(error * INFLATE, floor, WITHIN * range_)
        rows = max(frame.rows, round(frame.rows * zoom))
        out.append(resize_map(np.asarray(value[:, None], np.float32), 1, rows)[:, 0])
    return np.stack(out, axis=1).astype(np.float64), zoom


def cut(profile: Floats, *, zoom: float = 1.0, scale: float = 1.0, lean: Floats | None = None) -> Plies:
    """Best cutting of a (rows, channels) profile whose values are in standard errors of independent rows; `lean`: (rows + 1,)
    what a cut before a row saves."""
    t = len(profile)
    lean = np.zeros(t + 1) if lean is None else lean
    rim = max(1, round(RIM * t))
    inner = profile.copy()
    # the outermost rows hold the rounding of the arris and the neighbour's colour
    inner[:rim], inner[t - rim:] = profile[rim], profile[t - 1 - rim]
    first, last = _sheet_rows(inner), t - _sheet_rows(inner[::-1])
    at, cost, single, even_gap = _cut(np.ascontiguousarray(inner[first:last]), zoom, lean[first:last + 1])
    if len(at) <= 4:  # a core below one or two sheets that stand out: are there plies in it?
        size = last - first
        low = at[1] if len(at) > 2 and at[1] <= SHEET * size else 0
        high = at[-2] if len(at) > 2 and at[-2] >= (1 - SHEET) * size else size
        if high - low < size:
            deeper, less, one, gap = _cut(np.ascontiguousarray(inner[first + low:first + high]), zoom,
                                           lean[first + low:first + high + 1])
            if len(deeper) >= 4:
                at, even_gap = [*([0] if low else []), *(low + c for c in deeper), *([size] if high < size else [])], gap
                cost -= one - less
    at = _without_slivers(np.ascontiguousarray(inner[first:last]), at)
    sheets = first > 0, last < t
    at = [*([0] if first else []), *(first + c for c in at), *([t] if last < t else [])]
    bounds = _finer(profile, at)
    levels = np.array([_middle(inner, a, b) for a, b in pairwise(at)])
    steps = np.diff(levels, axis=0)
    main = steps[:, int(np.argmax(np.abs(steps).mean(axis=0)))] if len(steps) else np.zeros(0)
    flips = float((main[1:] * main[:-1] < 0).mean()) if len(main) > 1 else 0.0
    thickness = np.diff(np.r_[0.0, bounds, t]) / zoom * scale
    return Plies(len(at) - 1, bounds / zoom, thickness, sheets, flips, float(np.median(np.abs(main))) if len(main) else 0.0,
                 max(0.0, single - cost) / t * zoom, even_gap)


def _middle(profile: Floats, a: int, b: int) -> Floats:
    """Mean of a layer's rows, leaving out a quarter at either side."""
    k = (b - a) // 4
    return np.asarray(profile[a + k:b - k].mean(axis=0))


def _sheet_rows(profile: Floats) -> int:
    """Rows from the first one on that are far darker or lighter than all of the middle: a laminate's line; 0 for none."""
    t = len(profile)
    reach = max(2, round(SHEET * t))
    tone, yellow = profile[:, 0], profile[:, 1] if profile.shape[1] > 1 else np.zeros(t)
    low, high = np.percentile(tone[reach:t - reach], (4, 96))
    drab = 0.5 * float(np.percentile(yellow[reach:t - reach], 4))
    odd = (tone[:reach] < DARKER * low) | ((tone[:reach] > LIGHTER * high) & (yellow[:reach] < drab))
    if odd.sum() < 2:
        return 0
    last = int(np.flatnonzero(odd)[-1])
    if odd[: last + 1].mean() < 0.6 or last + 1 >= reach:
        return 0
    # the blurred rows down to the next layer belong to neither
    step = np.abs(np.diff(tone[last:reach + 1]))
    slow = np.flatnonzero(step < 0.2 * float(step.max()))
    return last + 1 + (int(slow[0]) if len(slow) else 0)


def _without_slivers(profile: Floats, at: list[int]) -> list[int]:
    """Cuts without slivers at the borders, which are shade or highlight of a rounded arris: very thin ones, thin ones softly
    bounded, and thin ones whose going leaves an odd number."""
    at = list(at)
    change = np.sqrt((np.diff(profile, axis=0) ** 2).sum(axis=1))

    def sharp(c: int) -> float:
        return float(change[max(0, c - 3):c + 2].max())

    for side in (1, -2):
        if len(at) > 4:
            usual = float(np.median(np.diff(at)[1:-1]))
            size = at[1] - at[0] if side == 1 else at[-1] - at[-2]
            if size < 0.75 * usual and sharp(at[side]) < SOFT * float(np.median([sharp(c) for c in at[2:-2] or at[1:-1]])):
                del at[side]
    while len(at) > 4:
        usual = float(np.median(np.diff(at)[1:-1]))
        first, last = at[1] - at[0], at[-1] - at[-2]
        even = (len(at) - 1) % 2 == 0
        if min(first, last) > (0.5 if even else 0.2) * usual:
            break
        del at[1 if first <= last else -2]
    return at


def _cut(profile: Floats, zoom: float, lean: Floats) -> tuple[list[int], float, float, float]:
    """(cuts with both ends, their cost, the cost of a single layer, by how much the best even number loses)."""
    t = len(profile)
    sums = np.concatenate([np.zeros((1, profile.shape[1])), np.cumsum(profile, axis=0)])
    squares = np.concatenate([[0.0], np.cumsum((profile**2).sum(axis=1))])
    start, end = np.arange(t + 1)[:, None], np.arange(t + 1)[None, :]
    length = np.maximum(end - start, 1).astype(float)
    total = sums[None, :, :] - sums[:, None, :]
    mean = total / length[..., None]
    own = squares[None, :] - squares[:, None] - (total**2).sum(axis=-1) / length
    least = max(LEAST, round(LEAST * zoom / 1.5))
    own = np.where(end - start >= least, own / zoom, np.inf) / 2
    own[:, :-1] -= lean[None, :-1]
    costs: dict[int, float] = {1: float(own[0, t]) if t >= least else 0.0}
    cuts: dict[int, list[int]] = {1: [0, t]}
    far = 0.25 / zoom * np.where(end > start, length, 0)
    for k in range(2, min(MAX_PLIES, t // least) + 1):
        outer, inner = (own + shape for shape in _length_cost(length, t / k))
        at = _best_path(inner, outer, k)
        if at is None:
            continue
        # now each of the two kinds of layer has a level of its own, which only adds to the cost
        pieces = list(pairwise(at))
        price = sum(float((outer if i in (0, k - 1) else inner)[a, b]) for i, (a, b) in enumerate(pieces))
        if price + BOUNDARY * (k - 1) > min((costs[j] for j in costs if (j - k) % 2 == 0), default=math.inf):
            continue
        levels = [np.average([mean[a, b] for a, b in pieces[p::2]], axis=0, weights=[b - a for a, b in pieces[p::2]])
                  for p in (0, 1)]
        pull = [far * sum((mean[..., c] - level[c]) ** 2 for c in range(len(level))) for level in levels]
        at = _best_path(inner, outer, k, pull) or at
        price = sum(float(((outer if i in (0, k - 1) else inner) + pull[i % 2])[a, b]) for i, (a, b) in enumerate(pairwise(at)))
        costs[k], cuts[k] = price + BOUNDARY * (k - 1), at
    odd = min((k for k in costs if k % 2), key=lambda k: costs[k])
    even = min((k for k in costs if k % 2 == 0), key=lambda k: costs[k], default=odd)
    gap = costs[even] - costs[odd] if even != odd else math.inf
    best = even if gap < -4.0 - EVEN * max(0.0, costs[1] - costs[odd]) else odd
    return cuts[best], costs[best], costs[1], float(gap)


def _length_cost(length: Floats, usual: float) -> tuple[Floats, Floats]:
    """Cost of a layer's thickness at either end and inside."""
    outer = 0.5 * ((length - OUTER * usual) / (OUTER_SPREAD * usual)) ** 2
    return outer, 0.5 * ((length - usual) / (SPREAD * usual)) ** 2


def _best_path(inner: Floats, outer: Floats, k: int, pull: list[Floats] | None = None) -> list[int] | None:
    """Cuts 0 = c0 < c1 < ... < ck = t of least summed cost; `pull`: extra cost of even and odd layers."""
    t = inner.shape[0] - 1
    add = pull or [np.zeros(1), np.zeros(1)]
    best = (outer + add[0])[0]
    back: list[NDArray[np.intp]] = []
    for layer in range(1, k):
        table = best[:, None] + (outer if layer == k - 1 else inner) + add[layer % 2]
        back.append(table.argmin(axis=0))
        best = table.min(axis=0)
    if not np.isfinite(best[t]):
        return None
    path = [t]
    for step in reversed(back):
        path.append(int(step[path[-1]]))
    return [*path[::-1]] if path[-1] == 0 else [0, *path[::-1]]


def _finer(profile: Floats, at: list[int]) -> Floats:
    """Cuts to a fraction of a row: where the profile passes half way between the two layers' middles."""
    out = []
    for left, cut_, right in zip(at[:-2], at[1:-1], at[2:], strict=True):
        a = profile[left + (cut_ - left) // 4:cut_ - (cut_ - left) // 4 or cut_].mean(axis=0)
        b = profile[cut_ + (right - cut_) // 4:right - (right - cut_) // 4 or right].mean(axis=0)
        axis = b - a
        if float(axis @ axis) < 1e-9:
            out.append(float(cut_))
            continue
        low, high = max(left, cut_ - 3), min(right, cut_ + 3)
        share = ((profile[low:high] - a) @ axis) / float(axis @ axis)
        # rows before the crossing count as the layer above: their number is the crossing's place
        out.append(low + float(np.clip(1 - share, 0, 1).sum()))
    return np.array(out)
