"""Corner joints on the sides of rendered drawers: dovetails, fingers or nothing, drawn where two boards meet.

Seen from outside, a side's own long grain shows between the end grain of the board it meets.
Sizes are common practice, no source.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from training.figure.log import Figure
from training.figure.slabs import Slab, texel_window

KINDS = ("none", "dovetail", "finger")


@dataclass(frozen=True, eq=False)
class Corner:
    """Joint at both ends of a side. `kind` of KINDS; `by_hand`: uneven; `depth` mm that the other board is thick; `cuts`:
    (n, 2) mm across the side where the other board's end grain shows, at mid depth; `flare`: mm that each cut widens on either
    side from the corner inwards; `gap` mm of dark glue line."""

    kind: str
    by_hand: bool
    depth: float
    cuts: NDArray[np.float64]
    flare: float
    gap: float

    def facts(self) -> dict[str, Any]:
        """For the truth."""
        return {"kind": self.kind, "by_hand": self.by_hand, "count": len(self.cuts), "depth_mm": round(self.depth, 1)}

    def applied(self, figure: Figure, slab: Slab, texel: float, window: tuple[float, float, float, float]) -> Figure:
        """A texture of the outer face with the joint at both ends; `texel` and `window` as the texture was asked for."""
        length, width = slab.span("face")
        n, m = max(2, round(length / texel)), max(2, round(width / texel))
        left, right, low, high = texel_window(n, m, window)
        x = ((np.arange(left, right) + 0.5) / n * length)[None, :]
        y = ((np.arange(low, high) + 0.5) / m * width)[:, None]
        inward = np.minimum(x, length - x)  # mm from the nearer end
        zone = np.flatnonzero((inward < self.depth + 1)[0])
        if not len(zone):
            return figure
        rgb = figure.rgb.copy()
        ends = slab.texture("left", texel).rgb  # (thickness, width): turned, its rows run across the side
        rows = np.clip((y[:, 0] / width * ends.shape[1]).astype(int), 0, ends.shape[1] - 1)
        deep = np.clip((inward[0, zone] / self.depth * ends.shape[0]).astype(int), 0, ends.shape[0] - 1)
        other = ends.transpose(1, 0, 2)[rows][:, deep] * np.float32(0.88)
        half = inward[:, zone] / self.depth - 0.5
        edge = np.full((len(y), len(zone)), np.inf)
        inside = np.zeros(edge.shape, bool)
        for a, b in self.cuts:
            lo, hi = a - self.flare * half, b + self.flare * half
            inside |= (y > lo) & (y < hi)
            edge = np.minimum(edge, np.minimum(np.abs(y - lo), np.abs(y - hi)))
        inside &= inward[:, zone] < self.depth
        edge = np.minimum(edge, np.abs(inward[:, zone] - self.depth))
        part = rgb[:, zone]
        part[inside] = other[inside]
        line = np.clip((self.gap / 2 - edge) / texel + 0.5, 0, 1) * (inward[:, zone] < self.depth + self.gap)
        rgb[:, zone] = part * (1 - 0.55 * line[..., None])
        return Figure(rgb.astype(np.float32), figure.relief, figure.ring)


def draw_corner(slab: Slab, rng: np.random.Generator) -> Corner | None:
    """A joint for the sides of one piece's drawers, as its substance allows; None for sides that are only nailed or doweled."""
    facts = slab.facts()
    if facts["core"] == "lumber" and facts["face"] == "solid_wood":
        kind = str(rng.choice(KINDS, p=[0.25, 0.6, 0.15]))
    elif facts["core"] == "plywood":
        kind = str(rng.choice(KINDS, p=[0.6, 0.15, 0.25]))
    else:
        return None
    if kind == "none":
        return None
    width = slab.size[1]
    by_hand = kind == "dovetail" and bool(rng.random() < 0.45)
    pitch = float(rng.uniform(22, 48) if by_hand else rng.uniform(12, 26))
    count = max(1, round(width / pitch))
    pitch = width / count
    share = float(rng.uniform(0.2, 0.42)) if by_hand else 0.5
    middle = (np.arange(count) + 0.5) * pitch
    half = np.full(count, 0.5 * share * pitch)
    if by_hand:
        middle = middle + rng.normal(0, 0.06 * pitch, count)
        half = half * np.exp(rng.normal(0, 0.12, count))
    depth = float(rng.uniform(11, 19))
    slope = float(rng.uniform(1 / 8, 1 / 5)) if kind == "dovetail" else 0.0
    cuts = np.stack([middle - half, middle + half], axis=1)
    return Corner(kind, by_hand, depth, cuts, slope * depth, float(rng.uniform(0.15, 0.6)))
