"""What lies at the boundary of two strips, near the photo's own size: a dark gap, a light line, or a bare step of tone.

Boards laid side by side leave a gap that light does not reach; glued boards and printed planks change tone with neither. A
printed dark line looks like a gap here: at listing-photo size no shading of its flanks is left to tell them apart (tried:
brighter flanks and their difference told neither print nor veneer), so a gap says "a line this dark and this straight".
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from itertools import pairwise

import cv2
import numpy as np
from numpy.typing import NDArray

from vision.cues_seen.strip_lines import Line
from vision.types import WorkingView

Floats = NDArray[np.float32]

#: Rows read on either side of a boundary; how far its own place may lie from the line; where levels are read.
REACH, SLACK, FROM, TO = 12, 3, 5, 9
#: Stretches that a boundary is cut into, points read along it at most, and points it must have.
STRETCHES, MOST_POINTS, LEAST_POINTS = 16, 512, 64
#: Photo px a working-view px up to which rows are photo px; beyond, they grow with it, for the line is known no better.
UNIT = 1.5
#: A step counts as bare when gap and light line are under this share of it, and of the strips' level.
BARE_SHARE, BARE_LEAST, LEAST_STEP = 0.4, 0.02, 0.03


@dataclass(frozen=True)
class Boundary:
    """What one line shows, as shares of the strips' mean level unless said. `gap`: dark trough below the darker strip; `ridge`:
    light line above the lighter one; `step`: log ratio of the strips' levels; `wander`: spread of its place about a straight
    line, rows (photo px, or more in large photos, see UNIT)."""

    line: Line
    gap: float
    ridge: float
    step: float
    wander: float

    @property
    def bare(self) -> bool:
        """A step of tone with neither gap nor light line."""
        return self.step > LEAST_STEP and max(self.gap, self.ridge) < max(BARE_LEAST, BARE_SHARE * self.step)


def read_boundary(view: WorkingView, line: Line) -> Boundary | None:
    """Numbers of one line; None where too little of it lies on the panel."""
    ends = view.photo_points(np.array([line.p0, line.p1]))
    length = float(np.hypot(*(ends[1] - ends[0])))
    points = int(min(MOST_POINTS, length))
    if points < LEAST_POINTS:
        return None
    along = (ends[1] - ends[0]) / length
    across = np.array([-along[1], along[0]]) * max(1.0, view.px_scale / UNIT)
    place = np.linspace(0, 1, points)[None, :, None] * (ends[1] - ends[0])
    rows = np.arange(-REACH, REACH + 1)[:, None, None] * across
    at = (ends[0] + place + rows - np.asarray(view.native_origin)).astype(np.float32)
    rgb = np.asarray(cv2.remap(view.native, at[..., 0], at[..., 1], cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE))
    inside = np.asarray(cv2.remap(view.native_mask.view(np.uint8), at[..., 0], at[..., 1], cv2.INTER_NEAREST)) > 0
    luma = np.asarray(cv2.cvtColor(rgb, cv2.COLOR_RGB2GRAY), np.float32)
    ok: NDArray[np.bool_] = np.asarray(inside[REACH - TO - 1:REACH + TO + 2].all(axis=0))
    cuts = np.linspace(0, points, STRETCHES + 1).astype(int)
    blocks = [luma[:, a:b][:, ok[a:b]].mean(axis=1) for a, b in pairwise(cuts)
              if ok[a:b].sum() >= 0.6 * (b - a)]
    return _numbers(line, np.stack(blocks)) if len(blocks) >= STRETCHES // 2 else None


def _numbers(line: Line, blocks: Floats) -> Boundary:
    """From (stretches, 2 REACH + 1) levels across the line."""
    places = _places(blocks, line.kind)
    span = np.arange(-REACH + SLACK, REACH - SLACK + 1)
    moved = np.stack([b[REACH + p + span] for b, p in zip(blocks, np.rint(places).astype(int), strict=True)])
    zero = REACH - SLACK
    before, after = moved[:, zero - TO:zero - FROM + 1].mean(axis=1), moved[:, zero + FROM:zero + TO + 1].mean(axis=1)
    levels = float(np.median(before)), float(np.median(after))
    mean = sum(levels) / 2 + 4.0
    # a step's steepest place lies on the flank of its gap
    core = np.median(moved, axis=0)[zero - 2:zero + 3]
    gap, ridge = max(0.0, min(levels) - float(core.min())), max(0.0, float(core.max()) - max(levels))
    x = np.arange(len(places))
    rest = places - np.polyval(np.polyfit(x, places, 1), x)
    return Boundary(line, gap / mean, ridge / mean, abs(math.log((levels[1] + 4) / (levels[0] + 4))), float(rest.std()))


def _places(blocks: Floats, kind: str) -> NDArray[np.float64]:
    """(stretches,) place of the boundary, px from the line as found: trough, ridge or steepest rise near it."""
    smooth = np.asarray(cv2.GaussianBlur(blocks, (0, 0), sigmaX=0.8, sigmaY=0.01), np.float64)
    near = slice(REACH - SLACK, REACH + SLACK + 1)
    if kind == "step":
        middle = blocks.mean(axis=0)
        rise = np.zeros_like(smooth)
        rise[:, 1:-1] = smooth[:, 2:] - smooth[:, :-2]
        up = float(middle[REACH + 3:REACH + 8].mean()) >= float(middle[REACH - 7:REACH - 2].mean())
        weight = np.maximum((1.0 if up else -1.0) * rise[:, near], 0)
    else:
        base = 0.5 * (smooth[:, :REACH - 4].mean(axis=1) + smooth[:, REACH + 5:].mean(axis=1))[:, None]
        weight = np.maximum((base - smooth[:, near]) * (1.0 if kind == "dark" else -1.0), 0)
    weight = weight**2 + 1e-3
    return np.asarray((weight * np.arange(-SLACK, SLACK + 1)).sum(axis=1) / weight.sum(axis=1))
