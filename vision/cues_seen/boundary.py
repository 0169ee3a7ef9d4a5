"""What lies at the boundary of two strips, at the photo's own size: a dark gap, a lit lip, a light line, a bare step of tone.

Boards laid side by side leave a gap that light does not reach, with eased arrises that catch it on one side; glued boards and
printed planks change tone with neither. How straight and how even the boundary runs tells cut and laid from drawn.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from vision.cues_seen.lines import Line
from vision.types import WorkingView

#: Rows read on either side of a boundary, photo px; where its own place may lie; where the strips' own levels are read.
REACH, SLACK, FAR = 12, 3, (5, 10)
#: Stretches that a boundary is cut into, points read along it at most, and points it must have.
STRETCHES, MOST_POINTS, LEAST_POINTS = 16, 512, 64


@dataclass(frozen=True)
class Boundary:
    """What one line shows, in shares of the strips' mean level unless said. `gap`: dark trough below the darker strip; `ridge`:
    light line above the lighter one; `lip`: brighter of the two flanks over its own strip; `lip_one`: difference of both
    flanks; `step`: log ratio of the strips' levels; `hue`: change of colour without lightness; `wander`: spread of its place
    about a straight line, px; `uneven`: spread of the trough's or ridge's depth along it, over the depth; `rise_px`: rows over
    which the step is made; `noise`: what a mean of as many stretches as are read can tell."""

    line: Line
    gap: float
    ridge: float
    lip: float
    lip_one: float
    step: float
    hue: float
    wander: float
    uneven: float
    rise_px: float
    noise: float

    @property
    def bare(self) -> bool:
        """A step of tone with neither gap nor light line."""
        return self.step > 0.03 and max(self.gap, self.ridge) < max(0.02, 0.4 * self.step)


def read_boundary(view: WorkingView, line: Line) -> Boundary | None:
    """Numbers of one line; None where too little of it lies on the panel."""
    ends = view.photo_points(np.array([line.p0, line.p1]))
    length = float(np.hypot(*(ends[1] - ends[0])))
    points = int(min(MOST_POINTS, length))
    if points < LEAST_POINTS:
        return None
    along = (ends[1] - ends[0]) / length
    across = np.array([-along[1], along[0]])
    t = np.linspace(0, 1, points)[None, :, None]
    rows = np.arange(-REACH, REACH + 1)[:, None, None]
    at = ends[0] + t * (ends[1] - ends[0]) + rows * across - np.asarray(view.native_origin)
    at = at.astype(np.float32)
    flags = cv2.INTER_LINEAR
    rgb = np.asarray(cv2.remap(view.native, at[..., 0], at[..., 1], flags, borderMode=cv2.BORDER_REPLICATE))
    inside = np.asarray(cv2.remap(view.native_mask.view(np.uint8), at[..., 0], at[..., 1], cv2.INTER_NEAREST)) > 0
    lab = np.asarray(cv2.cvtColor(rgb, cv2.COLOR_RGB2LAB), np.float32)
    luma = np.asarray(cv2.cvtColor(rgb, cv2.COLOR_RGB2GRAY), np.float32)
    ok = inside[REACH - FAR[1]:REACH + FAR[1] + 1].all(axis=0)
    cuts = np.linspace(0, points, STRETCHES + 1).astype(int)
    blocks, colours = [], []
    for a, b in zip(cuts[:-1], cuts[1:], strict=True):
        use = ok[a:b]
        if use.sum() >= 0.6 * (b - a):
            blocks.append(luma[:, a:b][:, use].mean(axis=1))
            colours.append(lab[:, a:b, 1:][:, use].mean(axis=1))
    if len(blocks) < 0.5 * STRETCHES:
        return None
    return _numbers(line, np.stack(blocks), np.stack(colours))


def _numbers(line: Line, blocks: NDArray[np.float32], colours: NDArray[np.float32]) -> Boundary:
    middle = blocks.mean(axis=0)
    places = _places(blocks, middle, line.kind)
    whole = np.rint(places).astype(int)
    span = np.arange(-REACH + SLACK, REACH - SLACK + 1)
    moved = np.stack([b[REACH + p + span] for b, p in zip(blocks, whole, strict=True)])
    tint = np.stack([c[REACH + p + span] for c, p in zip(colours, whole, strict=True)])
    zero = REACH - SLACK
    sides = moved[:, zero - 9:zero - FAR[0] + 1].mean(axis=1), moved[:, zero + FAR[0]:zero + 10].mean(axis=1)
    levels = [float(np.median(s)) for s in sides]
    mean = sum(levels) / 2 + 4.0
    profile = np.median(moved, axis=0)
    core = profile[zero - 1:zero + 2]
    gap, ridge = max(0.0, min(levels) - float(core.min())), max(0.0, float(core.max()) - max(levels))
    lips = [float(profile[zero - 5:zero - 1].max()) - levels[0], float(profile[zero + 2:zero + 6].max()) - levels[1]]
    lips = [max(0.0, v) for v in lips]
    depth = np.minimum(sides[0], sides[1]) - moved[:, zero - 1:zero + 2].min(axis=1) if gap >= ridge else \
        moved[:, zero - 1:zero + 2].max(axis=1) - np.maximum(sides[0], sides[1])
    x = np.arange(len(places))
    rest = places - np.polyval(np.polyfit(x, places, 1), x)
    halves = [np.median(tint[:, zero - 9:zero - FAR[0] + 1], axis=(0, 1)), np.median(tint[:, zero + FAR[0]:zero + 10], axis=(0, 1))]
    differences = sides[1] - sides[0]
    noise = float(np.std(differences)) / math.sqrt(len(blocks)) / mean
    return Boundary(line, gap / mean, ridge / mean, max(lips) / mean, abs(lips[0] - lips[1]) / mean,
                    abs(math.log((levels[1] + 4) / (levels[0] + 4))), float(np.hypot(*(halves[1] - halves[0]))) / mean,
                    float(rest.std()), float(depth.std()) / (abs(float(depth.mean())) + 0.01 * mean), _rise(profile, zero), noise)


def _places(blocks: NDArray[np.float32], middle: NDArray[np.float32], kind: str) -> NDArray[np.float64]:
    """(n,) place of the boundary in every stretch, px from the line as found: trough, ridge or steepest rise near it."""
    smooth = np.asarray(cv2.GaussianBlur(blocks, (0, 0), sigmaX=0.8, sigmaY=0.01), np.float64)
    near = slice(REACH - SLACK, REACH + SLACK + 1)
    if kind == "step":
        rise = np.zeros_like(smooth)
        rise[:, 1:-1] = smooth[:, 2:] - smooth[:, :-2]
        sign = np.sign(float(middle[REACH + 3:REACH + 8].mean() - middle[REACH - 7:REACH - 2].mean())) or 1.0
        weight = np.maximum(sign * rise[:, near], 0)
    else:
        base = 0.5 * (smooth[:, :REACH - 4].mean(axis=1) + smooth[:, REACH + 5:].mean(axis=1))[:, None]
        weight = np.maximum((base - smooth[:, near]) * (1.0 if kind == "dark" else -1.0), 0)
    weight = weight**2 + 1e-3
    at = np.arange(-SLACK, SLACK + 1)
    return np.asarray((weight * at).sum(axis=1) / weight.sum(axis=1))


def _rise(profile: NDArray[np.float32], zero: int) -> float:
    """Rows over which the level goes from a fifth to four fifths of the way; nan where there is hardly a step."""
    low, high = float(profile[:zero - 4].mean()), float(profile[zero + 5:].mean())
    if abs(high - low) < 3:
        return math.nan
    share = (profile - low) / (high - low)
    below = np.flatnonzero(share[:zero + 4] < 0.2)
    above = np.flatnonzero(share > 0.8)
    if not len(below):
        return math.nan
    above = above[above > below[-1]]
    return float(above[0] - below[-1]) if len(above) else math.nan
