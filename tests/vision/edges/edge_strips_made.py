"""Synthetic edges and ends with known truth: plies, a face layer, particles, fibre, ring arcs, long grain."""

from __future__ import annotations

import cv2
import numpy as np


def _noise(rng, shape, sx, sy):
    n = cv2.GaussianBlur(rng.normal(size=shape).astype(np.float32), (0, 0), sigmaX=sx, sigmaY=sy)
    return n / n.std()


def _coloured(luma, rng, noise, tint=(1.08, 1.0, 0.82)):
    rgb = luma[..., None] * np.array(tint)
    return np.clip(rgb + rng.normal(scale=noise, size=rgb.shape), 0, 255).astype(np.uint8)


def plies(count, seed=0, thickness=72, length=700, step=30.0, noise=3.0, slope=0.0, wander=0.0):
    """Edge of `count` cross-laid plies: long-grain layers pale and streaky, end-grain layers darker and speckled.

    `slope`: rows per column by which layers climb; `wander`: sd in rows of slow waviness.
    """
    rng = np.random.default_rng(seed)
    y, x = np.mgrid[:thickness, :length].astype(np.float64)
    y = y - slope * (x - length / 2) + wander * _noise(rng, (1, length), 60, 1)
    ply = np.clip(np.floor(y / thickness * count), 0, count - 1).astype(int)
    even = ply % 2 == 0
    streaks = 4 * _noise(rng, (thickness, length), 30, 0.8)
    specks = 7 * _noise(rng, (thickness, length), 1.0, 1.0)
    light = 1 + 0.15 * np.linspace(-1, 1, length)[None, :]
    return _coloured((170 - np.where(even, 0, step) + np.where(even, streaks, specks)) * light, rng, noise)


def veneered(seed=0, thickness=72, length=700, skin=6, step=45.0, noise=3.0):
    """Even fibre core with a face layer `skin` rows thick at the top."""
    rng = np.random.default_rng(seed)
    luma = 120 + 3 * _noise(rng, (thickness, length), 1.0, 1.0)
    luma[:skin] += step
    return _coloured(luma, rng, noise)


def particles(seed=0, thickness=72, length=700, middle=4.0, skin=1.0, noise=3.0):
    """Three-layer board: grain of `middle` px in the middle third or so, `skin` px in the outer quarters."""
    rng = np.random.default_rng(seed)
    shape = (thickness, length)
    coarse, fine = 22 * _noise(rng, shape, middle, middle), 9 * _noise(rng, shape, skin, skin)
    depth = np.abs(np.linspace(-1, 1, thickness))[:, None]
    share = 1 / (1 + np.exp((depth - 0.55) * 20))
    return _coloured(150 + share * coarse + (1 - share) * fine, rng, noise)


def fibre(seed=0, thickness=72, length=700, noise=3.0):
    """Fibreboard: fine even texture all through, skins a little darker."""
    rng = np.random.default_rng(seed)
    depth = np.abs(np.linspace(-1, 1, thickness))[:, None]
    return _coloured(135 - 14 * np.clip((depth - 0.7) / 0.3, 0, 1) + 4 * _noise(rng, (thickness, length), 0.9, 0.9), rng, noise)


def arcs(centre, seed=0, height=160, width=420, pitch=14.0, noise=3.0, wobble=0.6):
    """End with rings about `centre` (x, y), possibly far outside."""
    rng = np.random.default_rng(seed)
    y, x = np.mgrid[:height, :width].astype(np.float64)
    r = np.hypot(x - centre[0], y - centre[1]) + wobble * _noise(rng, (height, width), 25, 25)
    return _coloured(150 + 28 * np.sin(2 * np.pi * r / pitch) + 3 * _noise(rng, (height, width), 1, 1), rng, noise)


def long_grain(seed=0, thickness=72, length=700, noise=3.0):
    """Edge of a solid board cut along the grain: irregular long streaks, no layers of one thickness."""
    rng = np.random.default_rng(seed)
    luma = 150 + 9 * _noise(rng, (thickness, length), 90, 1.2) + 8 * _noise(rng, (thickness, length), 200, 6)
    return _coloured(luma, rng, noise)
