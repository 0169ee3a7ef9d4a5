"""Stains, clear coats and paint as transforms of a figure; used alike on solid wood, veneer and scanned print."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from training.figure import kernels
from training.figure.log import Figure
from training.figure.noise import Floats, cell_hash, fractal, second_hash, thin_grid, value_noise, widen

STAINS = {
    "none": (1.0, 1.0, 1.0), "honey": (0.95, 0.82, 0.62), "walnut": (0.62, 0.46, 0.34), "mahogany": (0.60, 0.40, 0.31),
    "espresso": (0.36, 0.27, 0.22), "grey": (0.72, 0.72, 0.72), "red_brown": (0.76, 0.56, 0.44), "light_oak": (0.96, 0.88, 0.74),
}
PAINTS = {
    "white": (0.92, 0.92, 0.90), "cream": (0.90, 0.86, 0.76), "grey": (0.55, 0.56, 0.57), "sage": (0.58, 0.64, 0.55),
    "navy": (0.16, 0.21, 0.32), "black": (0.09, 0.09, 0.09), "blue": (0.45, 0.58, 0.68), "brown": (0.36, 0.25, 0.18),
    "mint": (0.68, 0.82, 0.74), "red": (0.55, 0.16, 0.13), "yellow": (0.86, 0.74, 0.40), "beige": (0.78, 0.70, 0.58),
    "tan": (0.66, 0.50, 0.34),
}


@dataclass(frozen=True)
class Finish:
    """`stain`: key of STAINS at `strength` 0..1; `depth`: how much a clear coat deepens colour; `roughness`: of the coat
    (0.1 mirror-like varnish to 0.7 bare); `coat`: specular strength 0..1; `filled`: pores filled level with the face;
    `age`: yellowing 0..1; `wear`: strength of scuffs and fading 0..1; `crackle`: strength of a net of fine cracks in an old coat
    0..1; `name`: what the coat is called."""

    stain: str = "none"
    strength: float = 0.0
    depth: float = 0.0
    roughness: float = 0.45
    coat: float = 0.4
    filled: bool = False
    age: float = 0.0
    wear: float = 0.0
    crackle: float = 0.0
    name: str = "bare"


@dataclass(frozen=True)
class Place:
    """Where a texture lies on its face: mm from the face's lower corner, and the face's `span` (length, width) mm."""

    x: float
    y: float
    span: tuple[float, float]


def apply_finish(figure: Figure, finish: Finish, seed: int, texel: float, place: Place | None = None) -> Figure:
    """The figure under its finish. Stain settles in pores; wear is uneven over the surface, never in the figure's frame.

    `place`: keeps scuffs and cracks where they are whatever part of a face is asked for; without it the figure stands alone.
    """
    tint = np.array(STAINS[finish.stain], dtype=np.float32)
    shape = (figure.rgb.shape[0], figure.rgb.shape[1])
    worn = wear_map(shape, seed, texel, finish.wear, place) if finish.wear > 0 else None
    rgb = _coated(figure, finish, tint, worn)
    relief = figure.relief * (0.15 if finish.filled else 1.0)
    if finish.crackle > 0:
        at = (place.x, place.y) if place else (0.0, 0.0)
        cracks = crackle_map((rgb.shape[0], rgb.shape[1]), seed, texel, at) * np.float32(finish.crackle)
        rgb = rgb * (np.float32(1) - np.float32(0.45) * cracks)[..., None]
        relief = relief - 0.04 * cracks
    rgb = np.ascontiguousarray(rgb, dtype=np.float32)
    return Figure(np.clip(rgb, 0, 1, out=rgb), relief.astype(np.float32, copy=False), figure.ring)


def _coated(figure: Figure, finish: Finish, tint: Floats, worn: Floats | None) -> Floats:
    """A new array: the colour under stain, clear coat, yellowing and wear, not yet clipped."""
    rgb, relief = np.array(figure.rgb, dtype=np.float32, order="C"), np.ascontiguousarray(figure.relief, dtype=np.float32)
    numbers = (float(finish.strength), float(finish.depth), float(finish.age))
    if kernels.call("finish", kernels.size(relief.size), tint, *numbers, worn, relief, rgb):
        return rgb
    take = np.float32(finish.strength) * (1.0 + 3.0 * np.clip(-relief, 0, 0.12))
    rgb = np.asarray(rgb * (1.0 - take[..., None] * (1.0 - tint)), dtype=np.float32)
    if finish.depth > 0:
        grey = rgb.mean(axis=2, keepdims=True)
        rgb = (grey + (rgb - grey) * np.float32(1 + 0.3 * finish.depth)) * np.float32(1 - 0.12 * finish.depth)
    old = 1 - np.float32(finish.age) * np.array([0.02, 0.10, 0.26], dtype=np.float32)
    return np.asarray(rgb * (old if worn is None else old * worn[..., None]), dtype=np.float32)


def crackle_map(shape: tuple[int, int], seed: int, texel: float, at: tuple[float, float] = (0.0, 0.0)) -> Floats:
    """(h, w) 0..1 net of the cracks of an old brittle coat: the borders between the cells of scattered points, patch by patch."""
    rng = np.random.default_rng([seed, 73])
    cell = float(rng.uniform(2.2, 7.0))
    stretch = float(rng.uniform(1.0, 2.2))  # cells are often longer across the grain
    x = ((np.arange(shape[1], dtype=np.float32) * np.float32(texel) + np.float32(at[0])) * np.float32(stretch / cell))[None, :]
    y = ((np.arange(shape[0], dtype=np.float32) * np.float32(texel) + np.float32(at[1])) * np.float32(1 / cell))[:, None]
    x, y = np.broadcast_arrays(x, y)
    gap = _cell_borders(x, y, seed + 74)
    width = max(0.10, 0.6 * texel) / cell  # a crack is a tenth of a millimetre wide; coarser texels see a share of it
    line = np.clip(1.2 - gap / np.float32(2 * width), 0, 1) * min(1.0, 0.25 / texel + 0.15)
    patch = np.clip(0.5 + 1.6 * fractal(seed + 75, x * np.float32(cell / 160), y * np.float32(cell / 160)), 0, 1)
    return (line * patch).astype(np.float32)


def _cell_borders(x: Floats, y: Floats, seed: int) -> Floats:
    """How much farther the second nearest than the nearest of one point scattered in each cell of a plane is, in cells."""
    out = np.empty(x.shape, np.float32)
    x, y = np.ascontiguousarray(x), np.ascontiguousarray(y)
    if kernels.call("cell_borders", kernels.size(out.size), kernels.word(seed), x, y, out):
        return out
    ix, iy = np.floor(x).astype(np.int32), np.floor(y).astype(np.int32)
    first = np.full(x.shape, 9.0, np.float32)
    second = np.full(x.shape, 9.0, np.float32)
    for dx in (-1, 0, 1):
        for dy in (-1, 0, 1):
            h = cell_hash(seed, ix + dx, iy + dy)
            d = np.hypot(ix + dx + second_hash(h, 1) - x, iy + dy + second_hash(h, 2) - y).astype(np.float32)
            second = np.minimum(second, np.maximum(first, d))
            first = np.minimum(first, d)
    return second - first


def wear_map(shape: tuple[int, int], seed: int, texel: float, strength: float, place: Place | None = None) -> Floats:
    """Multiplier near 1: dirt clouds, and a few scratches as thin light or dark lines; without a `place` six scratches at full
    strength, on a face as many as its size asks for."""
    left, low = (place.x, place.y) if place else (0.0, 0.0)
    rows, cols = thin_grid(shape, max(1, int(2.5 / max(texel, 1e-3))))  # the finest clouds are 22 mm wide
    yy, xx = (rows * texel + low).astype(np.float32), (cols * texel + left).astype(np.float32)
    grid_y, grid_x = np.meshgrid(yy, xx, indexing="ij")
    clouds = fractal(seed + 71, grid_x / 90, grid_y / 90, octaves=3)
    out = np.float32(1.0) + np.float32(0.05 * strength) * (clouds if clouds.shape == shape else widen(clouds, shape))
    rng = np.random.default_rng([seed, 72])
    wide, high = place.span if place else (float(xx[-1]) + 1, float(yy[-1]) + 1)
    for _ in range(rng.poisson(6 * strength * (float(np.clip(wide * high / 3e5, 0.3, 3.0)) if place else 1.0))):
        x0, y0 = rng.uniform(0, wide), rng.uniform(0, high)
        angle, length = rng.uniform(0, np.pi), rng.uniform(10, 120)
        n = max(2, int(length / max(texel, 0.2)))
        s = np.linspace(0, 1, n)
        whole = np.floor if place else np.trunc
        cx = whole((x0 + s * length * np.cos(angle) + 3 * s * s - left) / texel).astype(int)
        cy = whole((y0 + s * length * np.sin(angle) - low) / texel).astype(int)
        ok = (cx >= 0) & (cy >= 0) & (cx < shape[1]) & (cy < shape[0])
        change = rng.choice([-0.16, 0.14])
        out[cy[ok], cx[ok]] *= np.float32(1 + change * min(1.0, 0.5 / texel))
    return out.astype(np.float32)


def paint_coat(shape: tuple[int, int], colour: tuple[float, float, float], kind: str, seed: int, texel: float,
               under: Figure | None = None) -> Figure:
    """A covering coat: 'melamine' (flat), 'smooth', 'brushed' (streaks along the length) or 'roller' (stipple).

    `under`: relief that telegraphs through faintly (open-pored wood below).
    """
    yy, xx = np.meshgrid(*(np.arange(n, dtype=np.float32) * np.float32(texel) for n in shape), indexing="ij")
    tone = np.ones(shape, dtype=np.float32)
    relief = np.zeros(shape, dtype=np.float32)
    if kind == "brushed":
        streak = value_noise(seed + 81, yy / 1.3, xx / 160) + 0.6 * value_noise(seed + 82, yy / 4.0, xx / 300)
        tone += 0.012 * streak
        relief += 0.05 * streak
    elif kind == "roller":
        stipple = value_noise(seed + 83, xx / 1.4, yy / 1.4) + 0.7 * value_noise(seed + 84, xx / 3.1, yy / 3.1)
        tone += 0.009 * stipple
        relief += 0.06 * stipple
    elif kind == "smooth":
        relief += 0.01 * value_noise(seed + 85, xx / 2.2, yy / 2.2)
    tone += np.float32(0.02) * fractal(seed + 86, xx / 240, yy / 240)
    if under is not None:
        relief += 0.5 * under.relief
        tone += 0.10 * under.relief
    rgb = np.array(colour, dtype=np.float32) * tone[..., None]
    return Figure(np.clip(rgb, 0, 1).astype(np.float32), relief, np.zeros(shape, dtype=np.float32))


def to_bytes(rgb: NDArray[np.floating]) -> NDArray[np.uint8]:
    """sRGB 0..1 to uint8, rounded."""
    return np.clip(np.asarray(rgb) * 255.0 + 0.5, 0, 255).astype(np.uint8)
