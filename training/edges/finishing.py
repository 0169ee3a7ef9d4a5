"""What is done to a board's fills: layers laid in, soiling, glue lines, saw marks, inlaid lines."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from training.edges import paints
from training.edges.paints import Colours, Fill
from training.figure.noise import fractal, value_noise

RGB = tuple[float, float, float]


def as_rgb(colour: NDArray[np.floating]) -> RGB:
    r, g, b = (float(v) for v in np.clip(colour, 0.02, 1))
    return r, g, b


def layered_fill(fill: Fill, bounds: Sequence[float], fills: Sequence[Fill | None]) -> Fill:
    """`fills[k]` from `bounds[k]` to `bounds[k + 1]` (rows y in mm), `fill` everywhere else and where that is None."""
    def layered(x: NDArray[np.float64], y: NDArray[np.float64], texel: float) -> Colours:
        out = np.array(fill(x, y, texel))
        for low, high, part in zip(bounds[:-1], bounds[1:], fills, strict=True):
            rows = np.flatnonzero((y >= low) & (y < high))
            if part is not None and len(rows):
                out[rows] = part(x, y[rows], texel)
        return out

    return layered


def coated(fill: Fill, rng: np.random.Generator, strength: float = 0.5) -> Fill:
    """A raw narrow side as life leaves it: sometimes oiled darker, always unevenly soiled."""
    dark = float(1 - strength * rng.uniform(0, 0.55))
    tint = np.array([1.0, float(rng.uniform(0.92, 1.0)), float(rng.uniform(0.8, 1.0))]) * dark
    if rng.random() < 0.1:  # burnt by a saw or a laser
        tint = tint * np.array([0.55, 0.45, 0.38])
    salt, dirt = int(rng.integers(1, 2**30)), float(rng.uniform(0.0, 0.09))

    def changed(x: NDArray[np.float64], y: NDArray[np.float64], texel: float) -> Colours:
        gx, gy = np.meshgrid(x.astype(np.float32), y.astype(np.float32))
        cloud = 1 + dirt * fractal(salt, gx / 35, gy / 14, octaves=3)
        return np.asarray(np.clip(fill(x, y, texel) * tint * cloud[..., None], 0, 1), np.float32)

    return changed


def glued(fill: Fill, bounds: NDArray[np.float64], rng: np.random.Generator) -> Fill:
    """Plies nearer to one tone, parted by dark glue lines, with dashes where fibres were torn: the look of many plywoods."""
    if rng.random() < 0.45:
        return fill
    keep, dark, wide = float(rng.uniform(0.1, 0.9)), float(rng.uniform(0.15, 0.65)), float(rng.uniform(0.06, 0.2))
    torn, salt = float(rng.uniform(0, 0.5)), int(rng.integers(1, 2**30))

    def changed(x: NDArray[np.float64], y: NDArray[np.float64], texel: float) -> Colours:
        rgb = np.array(fill(x, y, texel))
        ply = np.clip(np.searchsorted(bounds, y) - 1, 0, len(bounds) - 2)
        for k in np.unique(ply):
            mean = rgb[ply == k].mean(axis=(0, 1))
            rgb[ply == k] *= ((rgb.mean(axis=(0, 1)) / mean) ** (1 - keep)).astype(np.float32)
        gap = np.abs(y[:, None] - bounds[None, 1:-1]).min(axis=1)
        soft = max(wide, 0.5 * texel)
        gx, gy = np.meshgrid(x.astype(np.float32), y.astype(np.float32))
        line = (np.exp(-0.5 * (gap / soft) ** 2) * wide / soft)[:, None] * (0.75 + 0.4 * value_noise(salt, gx / 9, gy / 9))
        end = (ply % 2 == 1)[:, None]
        dash = np.clip((value_noise(salt + 1, gx / 3.5, gy / 0.35) - 0.45) / 0.2, 0, 1) * end
        return np.asarray(rgb * np.clip(1 - dark * line - torn * dash, 0.05, 1)[..., None], np.float32)

    return changed


def lowered(fill: Fill, by: float) -> Fill:
    return lambda x, y, texel: fill(x, y - by, texel)


def sawn(fill: Fill, rng: np.random.Generator) -> Fill:
    """An end as the saw left it: slanting marks and torn fibres."""
    slope, pitch, deep = float(rng.normal(0, 1.5)), float(rng.uniform(0.8, 4.0)), float(rng.uniform(0.02, 0.13))
    salt = int(rng.integers(1, 2**30))

    def changed(x: NDArray[np.float64], y: NDArray[np.float64], texel: float) -> Colours:
        gx, gy = np.meshgrid(x.astype(np.float32), y.astype(np.float32))
        marks = value_noise(salt, (gx + slope * gy) / pitch, gy / 40) + 0.8 * value_noise(salt + 1, gx / 0.7, gy / 0.7)
        return np.asarray(np.clip(fill(x, y, texel) * (1 + deep * marks)[..., None], 0, 1), np.float32)

    return changed


def with_stringing(face: Fill, rng: np.random.Generator) -> Fill:
    """A thin inlaid line, light or dark, let into the face a little way in from the arris."""
    at, wide = float(rng.uniform(3, 22)), float(rng.uniform(0.8, 3.0))
    light = rng.random() < 0.7
    colour = as_rgb(rng.uniform(0.75, 0.95, 3) * (1, 0.9, 0.7) if light else rng.uniform(0.08, 0.2, 3))
    return layered_fill(face, (at, at + wide), (paints.plain(colour, "smooth", int(rng.integers(1, 2**30))),))


def glue_line(fill: Fill, at: float, wide: float, dark: float) -> Fill:
    """A dark joint `at` mm from the arris."""
    def joined(x: NDArray[np.float64], y: NDArray[np.float64], texel: float) -> Colours:
        out = np.array(fill(x, y, texel))
        share = np.clip(1 - np.abs(y - at) / max(wide, 0.6 * texel), 0, 1) * min(1.0, wide / texel)
        return np.asarray(out * (1 - dark * share)[:, None, None], np.float32)

    return joined
