"""A thin layer between the face and what lies below it: a line parallel to the face, straight and even along the edge.

Highlights and wear at an arris look like it for a stretch; a glued-on sheet keeps its thickness and its tone all along, and
mostly lies on both faces of a board.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from vision.edges.frame import EdgeFrame, block_profiles

Floats = NDArray[np.float64]

#: Deepest line looked for, as a share of the thickness.
DEEPEST = 0.22
NAMES = ("step", "step_even", "same_sense", "wander", "depth_px", "depth_share", "dark", "yellow", "to_face", "to_core", "flat",
         "above_step", "above_even", "above_px", "below_step", "below_even", "pair_depth", "pair_tone", "second", "sharp")


@dataclass(frozen=True)
class Line:
    """A line at `row` (rows below a border) with the mean change of colour `step` (3,) over it (layer minus core), `even`:
    its size over its spread between stretches; `same`: share of stretches of one sense; `wander`: spread of its place;
    `sharp`: largest change between neighbouring rows over the whole step; `second`: runner-up's evenness over the best."""

    row: float
    step: tuple[float, float, float]
    even: float
    same: float
    wander: float
    sharp: float
    second: float

    @property
    def size(self) -> float:
        return math.sqrt(sum(v * v for v in self.step))


def find_line(blocks: Floats, low: float, high: float) -> Line | None:
    """Most even line between two rows of (rows, stretches, 3) profiles; None where there is no room."""
    at = list(range(max(1, math.ceil(low)), min(len(blocks) - 2, math.floor(high)) + 1))
    if not at:
        return None
    every = []
    for r in at:
        w = int(np.clip(round(0.5 * r), 1, 4))
        over = blocks[max(0, r - w):r].mean(axis=0)
        under = blocks[r + (1 if w > 1 else 0):r + w + 1].mean(axis=0) if r + w + 1 <= len(blocks) else blocks[r:].mean(axis=0)
        every.append(over - under)
    changes = np.stack(every)  # (rows tried, stretches, 3)
    usual = np.median(changes, axis=1)
    sizes = np.sqrt((usual**2).sum(axis=1))
    apart = np.abs(((changes - usual[:, None]) * usual[:, None]).sum(axis=2))
    spread = 1.4826 * np.median(apart, axis=1) / np.maximum(sizes, 1e-6)
    best = list(zip((sizes / (spread + 1.5)).tolist(), at, usual, changes, strict=True))
    score, r, step, steps = max(best, key=lambda b: b[0])
    others = [b[0] for b in best if abs(b[1] - r) > max(2, 0.4 * r)]
    axis = step / max(float(np.sqrt((step**2).sum())), 1e-6)
    along = blocks @ axis
    near = along[max(0, r - 3):r + 3]
    change = np.abs(np.diff(near, axis=0))
    place = (change * np.arange(len(change))[:, None]).sum(axis=0) / np.maximum(change.sum(axis=0), 1e-6)
    mean_change = np.abs(np.diff(np.median(near, axis=1)))
    size = float(np.sqrt((step**2).sum()))
    same, sharp = float((steps @ axis > 0).mean()), float(mean_change.max(initial=0.0)) / max(size, 1.0)
    second = max(others, default=0.0) / max(score, 1e-6)
    return Line(float(r), (float(step[0]), float(step[1]), float(step[2])), score, same, float(place.std()), sharp, second)


def measure_face_layer(frame: EdgeFrame) -> tuple[dict[str, float], Line | None, Line | None]:
    """(numbers by NAMES, best line below the upper border, best line above it)."""
    out = dict.fromkeys(NAMES, math.nan)
    top, rows = frame.top, frame.rows
    blocks = block_profiles(frame.lab).astype(np.float64)
    reach = max(2.0, min(DEEPEST * rows, 40.0))
    inner = blocks[top:top + rows]
    line = find_line(inner, 1.5, reach)
    if line is None:
        return out, None, None
    out.update(step=line.size, step_even=line.even, same_sense=line.same, wander=line.wander, second=line.second,
               sharp=line.sharp, depth_px=line.row * frame.scale,
               depth_share=line.row / rows, dark=line.step[0], yellow=line.step[2])
    r = round(line.row)
    layer, core = inner[:max(1, r)].mean(axis=(0, 1)), np.median(inner[r + 1:max(r + 3, rows // 2)], axis=(0, 1))
    face = blocks[max(0, top - 12):max(1, top - 2)].mean(axis=(0, 1))
    out["to_face"], out["to_core"] = (float(np.sqrt(((layer - other) ** 2).sum())) for other in (face, core))
    spread = frame.lab[top:top + rows, :, 0].std(axis=1)
    inner_spread = float(spread[r + 1:].mean()) if r + 1 < rows else float(spread.mean())
    out["flat"] = math.log((float(spread[:max(1, r)].mean()) + 0.5) / (inner_spread + 0.5))
    # above: the border itself may have been taken for the arris' line although it is the sheet's inner one
    upper = blocks[max(0, top - int(reach) - 6):top][::-1]
    above = find_line(upper, 1.5, min(reach, len(upper) - 2.0))
    if above is not None:
        out.update(above_step=above.size, above_even=above.even, above_px=above.row * frame.scale)
    lower = find_line(inner[::-1], 1.5, reach)
    if lower is not None:
        out.update(below_step=lower.size, below_even=lower.even, pair_depth=abs(math.log(line.row / lower.row)))
        a, b = np.array(line.step), np.array(lower.step)
        out["pair_tone"] = float(a @ b) / max(line.size * lower.size, 1e-6)
    return out, line, above
