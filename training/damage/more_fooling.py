"""More that looks like damage and is none, drawn when teaching only: what sound furniture showed that was called damaged."""

from __future__ import annotations

import numpy as np

from training.damage.fields import Mask, cloud, grid, grown, soft, turned
from training.damage.fooling import Draw
from training.damage.marks import Work


def pin_knots(work: Work) -> Mask | None:
    """One to four small, nearly black knots with a dim halo, drawn out along the grain."""
    base, rng, shape = work.base, work.rng, work.shape
    if base.face not in ("solid_wood", "veneer", "printed") or base.edge:
        return None
    out = np.zeros(shape, bool)
    for _ in range(int(rng.integers(1, 5))):
        r = work.size(3, 9, 2.5, 0.08)
        u, v = turned(shape, *work.inside(0.04), float(rng.normal(0, 0.3)))
        dist = np.hypot(u / float(rng.uniform(1.0, 2.2)), v) / r
        core = soft(np.asarray(1 - dist, np.float32) + 0.15 * cloud(shape, r, r, rng), float(rng.uniform(0.25, 0.8)))
        halo = np.exp(-((dist / float(rng.uniform(1.4, 2.6))) ** 2)).astype(np.float32)
        work.surface.tone(halo * np.float32(rng.uniform(0.1, 0.5)), (0.72, 0.62, 0.52))
        dark = float(rng.uniform(0.1, 0.5))
        work.surface.tone(core * np.float32(rng.uniform(0.7, 1)), (dark, 0.9 * dark, 0.8 * dark))
        out |= dist < 1.8
    return out


def reveal(work: Work) -> Mask | None:
    """The gap about a drawer or door that ends inside the picture: a dark line from a border, often with a corner, one side
    of it lit or shaded."""
    rng, shape, surface = work.rng, work.shape, work.surface
    if work.base.edge:
        return None
    h, w = shape
    slope = float(rng.normal(0, 0.06))
    u, v = turned(shape, *work.inside(0.12), slope + float(rng.choice([0, 0.5, 1, 1.5])) * np.pi)
    wide = float(np.exp(rng.uniform(np.log(0.8), np.log(0.025 * max(h, w) + 1))))
    lean = float(rng.normal(0, 0.12))
    # two arms from one point; a third of them are one arm alone, which ends in the face
    one = np.where(u > 0, np.abs(v), 1e3)
    other = np.where(v > 0, np.abs(u - lean * v), 1e3)
    dist = one if rng.random() < 0.35 else np.minimum(one, other)
    line = soft(np.asarray(wide - dist, np.float32), float(rng.uniform(0.8, 1.8)))
    surface.tone(line * np.float32(rng.uniform(0.7, 1)), float(rng.uniform(0.05, 0.55)))
    if rng.random() < 0.6:
        inner = np.exp(-np.clip(dist - wide, 0, None) / float(rng.uniform(1.5, 9))) * ((u > 0) & (v > 0)) * (1 - line)
        surface.tone(np.asarray(inner, np.float32) * np.float32(rng.uniform(0.3, 1)), float(rng.choice([0.55, 0.75, 1.25, 1.5])))
    if rng.random() < 0.4:  # the part within lies in another light
        surface.tone(soft(np.asarray(np.minimum(u, v), np.float32), 1.0), float(rng.uniform(0.75, 1.2)))
    return grown(line > 0.3, 3)


def block_pull(work: Work) -> Mask | None:
    """A pull of flat faces seen at an angle: front, side and shadow are quadrilaterals of plain tones."""
    rng, shape, surface = work.rng, work.shape, work.surface
    if work.base.edge:
        return None
    u, v = turned(shape, *work.inside(0.15), float(rng.normal(0, 0.08)))
    half, tall = work.size(8, 60, 6, 0.3), work.size(5, 18, 4, 0.15)
    if rng.random() < 0.3:
        half, tall = tall, half
    dx, dy = (float(rng.uniform(-1, 1)) * 1.2 * min(half, tall) for _ in range(2))
    hue = np.array([1, rng.uniform(0.8, 1), rng.uniform(0.55, 1.1)])
    tone = float(rng.uniform(0.05, 0.85))

    def block(x: float, y: float, width: float) -> np.ndarray:
        return soft(np.asarray(np.minimum(half - np.abs(u - x), tall - np.abs(v - y)), np.float32), width)

    sx, sy = (float(rng.uniform(-1.6, 1.6)) * tall for _ in range(2))
    dim = float(rng.uniform(0.2, 0.75))
    for k in np.linspace(0, 1, 5):
        surface.shade *= 1 - block(k * (dx + sx), k * (dy + sy), float(rng.uniform(1.5, 10))) * np.float32(0.3 * dim)
    out = block(dx + sx, dy + sy, 2) > 0.5
    for k, factor in ((0.0, 0.6), (0.25, 0.6), (0.5, 0.6), (0.75, 0.6), (1.0, 1.0)):
        cover = block(k * dx, k * dy, 1.0)
        shade = tone * (float(rng.uniform(0.85, 1.0)) if factor == 1 else factor)
        surface.paint(cover, np.asarray(np.clip(shade * hue, 0, 1), np.float32))
        out |= cover > 0.3
    return grown(out, 4)


def window(work: Work) -> Mask | None:
    """A window mirrored in the finish: one to six pale panes behind bars, with soft or sharp rims, often bent by the face."""
    rng, shape, surface = work.rng, work.shape, work.surface
    side = float(min(shape))
    u, v = turned(shape, *work.inside(0.1), float(rng.normal(0, 0.3)))
    wave = 0.02 * side * cloud(shape, 0.3 * side, 0.5 * side, rng) * float(rng.uniform(0, 1))
    u, v = u + wave + float(rng.normal(0, 0.3)) * v, v + wave
    half, tall = float(rng.uniform(0.08, 0.4)) * side, float(rng.uniform(0.08, 0.4)) * side
    rim = float(np.exp(rng.uniform(np.log(1.5), np.log(0.12 * side))))
    cover = soft(np.asarray(np.minimum(half - np.abs(u), tall - np.abs(v)), np.float32), rim)
    for at, reach in ((u, half), (v, tall)):
        if rng.random() < 0.6:
            cover = cover * (1 - soft(np.asarray(0.06 * reach + 0.5 - np.abs(at), np.float32), 0.6 * rim + 0.8))
    glow = np.array([1, rng.uniform(0.92, 1), rng.uniform(0.8, 1.05)])
    surface.paint(np.asarray(cover * rng.uniform(0.1, 0.8), np.float32), np.asarray(np.clip(glow, 0, 1), np.float32))
    return cover > 0.3


def frame(work: Work) -> Mask | None:
    """A bevel, moulding or frame along one border or all: straight bands in other light, parallel to it."""
    rng, shape, surface = work.rng, work.shape, work.surface
    h, w = shape
    y, x = grid(shape)
    near = [y + 0 * x, w - 1 - x + 0 * y, h - 1 - y + 0 * x, x + 0 * y]
    sides = range(4) if rng.random() < 0.5 else [int(rng.integers(4))]
    reach = float(rng.uniform(0.02, 0.16)) * min(shape)
    depth = np.min([near[k] for k in sides], axis=0)
    lit = rng.uniform(0.6, 1.4, 4)
    owner = np.argmin(near, axis=0)
    band = soft(np.asarray(reach - depth, np.float32), float(rng.uniform(0.8, 2.5)))
    surface.colour *= 1 + band[..., None] * (np.asarray(lit, np.float32)[owner][..., None] - 1)
    np.clip(surface.colour, 0, 1, out=surface.colour)
    for _ in range(int(rng.integers(0, 4))):
        at, wide = float(rng.uniform(0.1, 1.05)) * reach, float(rng.uniform(0.7, 2.5))
        line = np.exp(-(((depth - at) / wide) ** 2)).astype(np.float32)
        surface.tone(line, float(rng.choice([0.4, 0.65, 0.8, 1.3])))
    np.clip(surface.colour, 0, 1, out=surface.colour)
    return band > 0.5


def end_grain(work: Work) -> Mask | None:
    """Dense arcs and a darker, rougher tone over a corner or side: the wood's end, or rays and silver figure."""
    base, rng, shape = work.base, work.rng, work.shape
    if base.face not in ("solid_wood", "veneer") or base.edge:
        return None
    h, w = shape
    u, v = turned(shape, float(rng.uniform(-0.5, 1.5)) * w, float(rng.choice([-0.6, 1.6])) * h, 0.0)
    pitch = max(2.2, work.draw(1.5, 6))
    rings = np.sin(2 * np.pi * np.hypot(u, v) / pitch + 1.5 * cloud(shape, 20, 20, rng))
    a, b = turned(shape, *work.inside(0.1), float(rng.uniform(0, 2 * np.pi)))
    part = rng.random() < 0.7
    where = soft(np.asarray(a + 0 * b, np.float32), float(rng.uniform(1, 4))) if part else np.ones(shape, np.float32)
    pore = np.clip(cloud(shape, 1.2, 1.2, rng, 1) - 1.0, 0, 1)
    work.surface.tone(where, float(rng.uniform(0.6, 1.0)))
    light = 1 + where * (float(rng.uniform(0.05, 0.16)) * np.asarray(rings, np.float32) - 0.3 * pore)
    work.surface.colour *= np.asarray(light, np.float32)[..., None]
    np.clip(work.surface.colour, 0, 1, out=work.surface.colour)
    return np.asarray(where > 0.5)


#: Name -> (how it is drawn, how often), beside FOOLERS.
MORE: dict[str, tuple[Draw, float]] = {
    "pin_knots": (pin_knots, 1.0),
    "reveal": (reveal, 1.6),
    "block_pull": (block_pull, 1.2),
    "window": (window, 0.9),
    "frame": (frame, 0.9),
    "end_grain": (end_grain, 0.5),
}
