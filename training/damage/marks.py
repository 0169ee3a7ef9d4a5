"""What all drawn damages share: the panel being worked on, one mark with its true region, and what shows beneath."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from training.damage.bases import Base, grainy
from training.damage.fields import Floats, Mask, cloud
from training.damage.surface import Surface
from training.figure import cores

#: What can be seen beneath a damaged face; the order of the net's second answer.
UNDER = ("same_wood", "cross_grain", "particles", "fibre", "paper")


@dataclass(frozen=True, eq=False)
class Mark:
    """One drawn damage: its kind, true region (h, w) bool, and what shows beneath, a value of UNDER or None."""

    kind: str
    mask: Mask
    shows: str | None = None


@dataclass(eq=False)
class Work:
    """A panel in the making: its sound base and the surface that is drawn on."""

    base: Base
    surface: Surface
    rng: np.random.Generator

    @property
    def shape(self) -> tuple[int, int]:
        return self.base.shape

    def px(self, mm: float, least: float = 0.0) -> float:
        """Millimetres in pixels, at least `least` px."""
        return max(least, mm / self.base.mm)

    def draw(self, low: float, high: float) -> float:
        """Random size in mm (log-uniform), in pixels."""
        return self.px(float(np.exp(self.rng.uniform(np.log(low), np.log(high)))))

    def size(self, low: float, high: float, least: float, most: float = 0.35) -> float:
        """`draw`, kept between `least` px and the share `most` of the shorter side of the panel."""
        return float(np.clip(self.draw(low, high), least, max(least, most * min(self.shape))))

    def inside(self, margin: float = 0.1) -> tuple[float, float]:
        """A random point (x, y) away from the borders."""
        h, w = self.shape
        return float(self.rng.uniform(margin, 1 - margin) * w), float(self.rng.uniform(margin, 1 - margin) * h)

    def border(self) -> tuple[float, float, int]:
        """A random point (x, y) of the border and which side it is on: 0 top, 1 right, 2 bottom, 3 left."""
        h, w = self.shape
        side = int(self.rng.choice(4, p=np.array([w, h, w, h]) / (2 * (w + h))))
        t = float(self.rng.uniform(0.04, 0.96))
        return ((t * w, 0.0, 0), (w - 1.0, t * h, 1), (t * w, h - 1.0, 2), (0.0, t * h, 3))[side]


def depth_to_side(shape: tuple[int, int], side: int) -> Floats:
    """(h, w) px from a side of the panel (0 top, 1 right, 2 bottom, 3 left)."""
    h, w = shape
    line = np.arange(h if side in (0, 2) else w, dtype=np.float32)
    line = line[::-1] if side in (1, 2) else line
    return np.asarray(np.broadcast_to(line[:, None] if side in (0, 2) else line[None, :], shape), np.float32)


def beneath(work: Work, *, deep: bool = False) -> tuple[Floats, str]:
    """(colour (h, w, 3), what it is) under the face; `deep`: well into the core rather than just below the face."""
    base, rng = work.base, work.rng
    tone = np.float32(rng.uniform(0.75, 1.08))
    if base.film and base.face == "printed" and not deep and rng.random() < 0.5:
        paper = np.array([(0.90, 0.88, 0.82), (0.62, 0.47, 0.33), (0.80, 0.72, 0.60)][int(rng.integers(3))], np.float32)
        fuzz = 1 + 0.03 * cloud(base.shape, 2, 3, rng)
        return np.asarray(np.clip(paper * fuzz[..., None], 0, 1), np.float32), "paper"
    if base.core == "particle_board":
        fine = max(base.mm, 0.4)
        raw = cores.particle_edge((60, 200), max(0.35, 0.8 * fine), int(rng.integers(1, 2**30))).rgb[14:46]
        big = _tiled(raw, base.shape)
        return np.asarray(np.clip(big * tone, 0, 1), np.float32), "particles"
    if base.core == "fibreboard":
        brown = np.array([0.66, 0.52, 0.37], np.float32) * tone
        fuzz = 1 + 0.05 * cloud(base.shape, 1.5, 2.5, rng) + 0.05 * cloud(base.shape, 8, 12, rng)
        return np.asarray(np.clip(brown * fuzz[..., None], 0, 1), np.float32), "fibre"
    if base.face == "solid_wood" or (base.face == "opaque" and base.core == "lumber"):
        fresh = base.bare if base.face == "opaque" else np.clip(0.5 * base.bare.mean(axis=(0, 1)) + 0.55 * base.bare + 0.05, 0, 1)
        return np.asarray(np.clip(fresh * tone, 0, 1), np.float32), "same_wood"
    pale = np.array([0.80, 0.67, 0.49], np.float32) * tone
    return grainy(base.shape, pale, base.mm, rng, across=True), "cross_grain"


def _tiled(tile: Floats, shape: tuple[int, int]) -> Floats:
    """The tile and its mirror images side by side over a shape."""
    both = np.concatenate([tile, tile[:, ::-1]], axis=1)
    both = np.concatenate([both, both[::-1]], axis=0)
    times = (-(-shape[0] // both.shape[0]), -(-shape[1] // both.shape[1]), 1)
    return np.asarray(np.tile(both, times)[: shape[0], : shape[1]], np.float32)
