"""Everything that is measured on one panel before its layout is named: direction patterns, streaks, joints, likenesses."""

from __future__ import annotations

import math
from dataclasses import dataclass, field
from functools import lru_cache
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from vision.grain.flow import resolved
from vision.layouts import directions
from vision.layouts.directions import Blocks, Box, Directions, Fold, Quarters, Wedges
from vision.layouts.frame import Frame, make_frame
from vision.layouts.joints import Joint, find_joints, tone_profile
from vision.layouts.relations import Likeness, pairs_of
from vision.layouts.rows import Streaks, find_mirrors, find_streaks
from vision.types import GrainField, WorkingView

#: Below this share of the field explained by one direction, patterns of several directions are tried.
_ONE_DIRECTION = 0.9
#: Fewest cells that show grain.
_LEAST_CELLS = 60


@dataclass(frozen=True, eq=False)
class Evidence:
    """What was found on one panel. Patterns that were not tried, because one direction explains the field, are None."""

    directions: Directions
    uniform: float
    grain: float
    quarters: Quarters | None
    box: Box | None
    fold: Fold
    wedges: Wedges | None
    blocks: Blocks | None
    frame: Frame
    streaks: Streaks | None
    profile: NDArray[np.float64]
    joints: tuple[Joint, ...]
    cuts: tuple[float, ...]
    pairs: tuple[Likeness, ...]
    tones: tuple[float, ...]
    end: tuple[float, float, float]
    profiles: tuple[float, float]
    values: dict[str, float] = field(default_factory=dict)


def _level(frame: Frame, cuts: list[float]) -> list[float]:
    """Mean lightness of every strip."""
    out = []
    for a, b in pairwise(cuts):
        known = frame.known[round(a):max(round(b), round(a) + 1)]
        light = frame.lab[round(a):max(round(b), round(a) + 1), :, 0]
        out.append(float(light[known].mean()) if known.any() else float("nan"))
    return out


def _profile_likeness(frame: Frame, cuts: list[float]) -> tuple[float, float]:
    """Mean correlation of neighbouring strips' tone across the grain, mirrored and pushed over, nan without neighbours.

    Streaks along the grain carry it, so it says less than figure that changes along the grain: rings resemble rings.
    """
    w = frame.known.astype(np.float32)
    tone = (frame.lab[..., 0] * w).sum(1) / np.maximum(w.sum(1), 1)
    mirror, repeat = [], []
    for a, b, c in zip(cuts, cuts[1:], cuts[2:], strict=False):
        depth = int(min(b - a, c - b)) - 2
        if depth < 8:
            continue
        one, two = tone[round(a) + 1:round(b) - 1], tone[round(b) + 1:round(c) - 1]
        mirror.append(_best(one[::-1], two, 3))
        spare = abs(len(one) - len(two))
        repeat.append(_best(one, two, 3 + spare))
    if not mirror:
        return float("nan"), float("nan")
    return float(np.mean(mirror)), float(np.mean(repeat))


def _best(one: NDArray, two: NDArray, reach: int) -> float:
    best = -1.0
    for s in range(-reach, reach + 1):
        a, b = (one[s:], two) if s >= 0 else (one, two[-s:])
        n = min(len(a), len(b))
        if n < 6:
            continue
        t, power = _line(n)
        a, b = a[:n] - a[:n].sum() / n, b[:n] - b[:n].sum() / n
        a, b = a - t * (t @ a / power), b - t * (t @ b / power)
        size = math.sqrt((a @ a) * (b @ b))
        best = max(best, float(a @ b) / size if size > 1e-6 else 0.0)
    return best


@lru_cache(maxsize=1024)
def _line(n: int) -> tuple[NDArray, float]:
    """(n,) even steps from -1 to 1, and the sum of their squares."""
    t = np.linspace(-1, 1, n)
    return t, max(float(t @ t), 1e-9)


def _end_axis(frame: Frame) -> tuple[float, float, float]:
    """(z, correlation, column) of the best mirror axis across the grain; zeros where none can be looked for."""
    mirrors = find_mirrors(frame.turned())
    if mirrors is None:
        return 0.0, 0.0, float("nan")
    z = np.where(mirrors[1] > 0, mirrors[0], 0)
    cols = frame.known.shape[1]
    k = np.arange(len(z)) / 2
    z = np.where((k > 0.15 * cols) & (k < 0.85 * cols), z, 0)
    best = int(z.argmax())
    return float(z[best]), float(mirrors[1][best]), best / 2


def gather(view: WorkingView, grain_field: GrainField) -> Evidence | None:
    """All evidence of a panel; None where no grain shows."""
    if int(resolved(grain_field).sum()) < _LEAST_CELLS or min(view.mask.shape) < 48:
        return None
    d = directions.coarse(grain_field)
    uniform, grain = directions.uniform_share(d)
    fold = directions.fit_fold(d)
    quarters = box = wedges = blocks = None
    if uniform < _ONE_DIRECTION:
        quarters, box = directions.fit_quarters(directions.full(grain_field)), directions.fit_box(d)
        blocks = directions.fit_blocks(d)
        wedges = directions.fit_wedges(d)
    line = fold.direction if fold.gain > 0.1 else grain
    frame = make_frame(view, line)
    streaks = find_streaks(frame)
    profile = tone_profile(frame) if min(frame.known.shape) >= 32 else np.zeros(frame.known.shape[0])
    joints = find_joints(frame, streaks, profile)
    rows = np.nonzero(frame.known.mean(1) >= 0.5)[0]
    first, last = (float(rows[0]), float(rows[-1]) + 1) if rows.size else (0.0, float(frame.known.shape[0]))
    cuts = [first, *(j.row for j in joints), last]
    out = Evidence(d, uniform, grain, quarters, box, fold, wedges, blocks, frame, streaks, profile, joints, tuple(cuts),
                   tuple(pairs_of(frame, cuts)), tuple(_level(frame, cuts)), _end_axis(frame), _profile_likeness(frame, cuts))
    out.values.update(_values(out))
    return out


def _values(e: Evidence) -> dict[str, float]:
    nan = float("nan")
    out = {"uniform": e.uniform, "fold_gain": e.fold.gain, "fold_lean": e.fold.lean, "fold_lines": float(len(e.fold.offsets))}
    q, b, w, k = e.quarters, e.box, e.wedges, e.blocks
    out["quarters"] = q.share if q else 0.0
    out["quarters_outward"] = float(np.cos(np.radians(2 * (q.angle - 45)))) * q.share if q else 0.0
    out["box_along"] = b.along if b else 0.0
    out["wedges_share"] = w.share if w else 0.0
    out["wedges_outward"] = w.smooth * float(np.cos(np.radians(2 * w.lean))) if w else 0.0
    out["wedges_margin"] = w.margin if w else 0.0
    out["blocks_share"] = k.share if k else 0.0
    out["blocks_balance"] = k.balance if k else 0.0
    rows = e.frame.known.shape[0]
    s = e.streaks
    if s is None:
        out.update(mirror_z=nan, mirror_r=nan, mirror_axes=nan, mirror_span=nan, repeat_z=nan, repeat_r=nan, repeat_pitch=nan)
    else:
        i, p = int(s.mirror_z.argmax()), int(s.repeat_z.argmax())
        strong = [j for j in e.joints if j.cue == "mirror"]
        out.update(mirror_z=float(s.mirror_z[i]), mirror_r=float(s.mirror_r[i]), mirror_axes=float(len(strong)),
                   mirror_span=float(s.mirror_span[i] / rows), repeat_z=float(s.repeat_z[p]), repeat_r=float(s.repeat_r[p]),
                   repeat_pitch=p / rows)
    out["end_z"], out["end_r"] = e.end[0], e.end[1]
    out["joints"] = float(len(e.joints))
    out["joint_strength"] = float(np.mean([j.strength for j in e.joints])) if e.joints else 0.0
    out["tone_joints"] = float(sum(j.cue == "tone" for j in e.joints))
    widths = np.diff(e.cuts)
    inner = widths[1:-1] if len(widths) >= 4 else widths
    out["width_spread"] = float(inner.std() / inner.mean()) if len(inner) >= 2 else nan
    kinds = [p.kind for p in e.pairs]
    n = max(len(kinds), 1)
    out["mirrored_pairs"] = kinds.count("mirrored") / n
    out["repeated_pairs"] = kinds.count("repeated") / n
    out["pair_mirror"] = float(np.mean([p.mirror - p.null for p in e.pairs])) if e.pairs else nan
    out["pair_repeat"] = float(np.mean([p.repeat - p.null for p in e.pairs])) if e.pairs else nan
    out["profile_mirror"], out["profile_repeat"] = e.profiles
    steps = np.diff(e.tones)
    out["tone_step"] = float(np.mean(np.abs(steps))) if len(steps) else nan
    turns = steps[1:] * steps[:-1]
    out["tone_turns"] = float(np.mean(turns < 0)) if len(turns) else nan
    return out
