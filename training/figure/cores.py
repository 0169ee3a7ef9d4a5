"""What a board shows where nothing covers it: plies, particles, fibre, strands. (rows, cols) grids of `texel` mm."""

from __future__ import annotations

import cv2
import numpy as np
from numpy.typing import NDArray

from training.figure.cuts import Board, Peeled
from training.figure.log import Figure, Log
from training.figure.noise import Floats, fractal, smoothstep, value_noise


def _flat(rgb: Floats, relief: Floats | None = None) -> Figure:
    shape = rgb.shape[:2]
    zero = np.zeros(shape, dtype=np.float32)
    return Figure(np.clip(rgb, 0, 1).astype(np.float32), zero if relief is None else relief.astype(np.float32), zero)


def _between(rng: np.random.Generator, low: tuple[float, float, float], high: tuple[float, float, float]) -> Floats:
    """A colour on the line from `low` to `high`: boards differ in tone, hardly in hue."""
    t = rng.uniform(0, 1)
    return (np.array(low) * (1 - t) + np.array(high) * t + rng.normal(0, 0.006, 3)).astype(np.float32)


def _grid(shape: tuple[int, int], texel: float) -> tuple[Floats, Floats]:
    yy, xx = np.meshgrid(*(np.arange(n, dtype=np.float32) * np.float32(texel) for n in shape), indexing="ij")
    return xx, yy


def ply_bounds(thickness: float, plies: int, face_mm: float) -> NDArray[np.float64]:
    """Glue-line heights from 0 to `thickness`: `plies` layers (odd), the two outer ones `face_mm` thick."""
    if plies < 3 or plies % 2 == 0:
        raise ValueError("plywood has an odd number of plies, at least three")
    inner = np.linspace(face_mm, thickness - face_mm, plies - 1)
    return np.concatenate([[0.0], inner, [thickness]])


def plywood_edge(shape: tuple[int, int], texel: float, plies: int, seed: int, *, face_grain_along: bool, face_mm: float = 0.9,
                 species: str = "birch_like") -> Figure:
    """Edge of plywood: rows run through the thickness, columns along the edge.

    `face_grain_along`: the face ply's grain runs along this edge, so odd plies show long grain and even ones end grain.
    """
    thickness = shape[0] * texel
    bounds = ply_bounds(thickness, plies, face_mm)
    rng = np.random.default_rng([seed, 41])
    log = Log(species, seed % 100003, knots=0.0)
    c = (np.arange(shape[0]) + 0.5) * texel
    u = (np.arange(shape[1]) + 0.5) * texel
    rgb = np.zeros((*shape, 3), dtype=np.float32)
    relief = np.zeros(shape, dtype=np.float32)
    for k in range(plies):
        rows = np.flatnonzero((c >= bounds[k]) & (c < bounds[k + 1]))
        if not len(rows):
            continue
        peel = Peeled(log, float(rng.uniform(90, 190)), float(rng.uniform(-900, 900)))
        depth = (c[rows] - bounds[k])[:, None]
        long_grain = (k % 2 == 0) == face_grain_along
        if long_grain:
            pts = peel.points(u[None, :] - u.mean(), np.full((1, 1), rng.uniform(100, 4000)), depth)
            cut = log.cut(pts, texel=texel)
            tone = rng.normal(1.0, 0.035)
        else:
            pts = peel.points(np.full((1, 1), 0.0), rng.uniform(100, 1000) + u[None, :], depth)
            cut = log.cut(pts, texel=texel, end=1.0)
            tone = rng.normal(0.93, 0.05)
        rgb[rows] = cut.rgb * np.float32(tone)
        relief[rows] = cut.relief - (0.0 if long_grain else 0.05)
        if k and texel < 0.9:
            rgb[rows[0]] *= np.float32(1.0 - 0.35 * min(1.0, 0.15 / texel))
    # gaps and voids now and then, as in ordinary board
    for _ in range(rng.poisson(u[-1] / 500)):
        k = int(rng.integers(1, plies - 1))
        rows = (c >= bounds[k]) & (c < bounds[k + 1])
        start, span = rng.uniform(0, u[-1]), rng.uniform(2, 9)
        cols = (u >= start) & (u < start + span)
        rgb[np.ix_(rows, cols)] *= 0.35
    return _flat(rgb, relief)


def _particles(shape: tuple[int, int], texel: float, rng: np.random.Generator, length: Floats, width: Floats,
               x: Floats, y: Floats,
               spread: float, base: Floats) -> Floats:
    """Draw wood particles as small turned rectangles of mixed tone over a dark binder."""
    canvas = np.empty((*shape, 3), dtype=np.float32)
    canvas[:] = base * 0.55
    n = len(x)
    angle = rng.normal(0, spread, n)
    tone = np.clip(rng.normal(1.0, 0.11, n), 0.6, 1.25)
    red = rng.normal(0, 0.015, n)
    ca, sa = np.cos(angle), np.sin(angle)
    corners = np.stack([np.stack([sx * length * ca - sy * width * sa, sx * length * sa + sy * width * ca], -1)
                        for sx, sy in ((-0.5, -0.35), (0.1, -0.5), (0.5, -0.2), (0.45, 0.4), (-0.3, 0.5))], axis=1)
    corners = (corners + np.stack([x, y], -1)[:, None, :]) / texel * 8
    quads = np.round(corners).astype(np.int32)
    for k in range(n):
        colour = base * np.float32(tone[k])
        ink = float(colour[0] + red[k]), float(colour[1]), float(colour[2] - red[k])
        cv2.fillConvexPoly(canvas, quads[k], ink, cv2.LINE_8, 3)
    return canvas


def particle_edge(
    shape: tuple[int, int], texel: float, seed: int, *, tint: tuple[float, float, float] = (0.77, 0.65, 0.48)
) -> Figure:
    """Edge of three-layer particle board: coarse middle, fine skins; rows through the thickness."""
    rng = np.random.default_rng([seed, 42])
    height, span = shape[0] * texel, shape[1] * texel
    n = int(min(26000, height * span / 1.1))
    y = rng.uniform(-1, height + 1, n)
    x = rng.uniform(-4, span + 4, n)
    skin = np.clip(1 - np.minimum(y, height - y) / (0.22 * height), 0, 1)
    length = (1 - skin) * rng.gamma(3.0, 1.6, n) + skin * rng.gamma(3.0, 0.45, n)
    width = (1 - skin) * rng.gamma(3.0, 0.42, n) + skin * rng.gamma(3.0, 0.14, n)
    order = np.argsort(rng.random(n))
    base = np.array(tint, dtype=np.float32) * np.float32(rng.uniform(0.82, 1.05))
    out = _particles(shape, texel, rng, length[order], width[order], x[order], y[order], 0.3, base)
    xx, yy = _grid(shape, texel)
    holes = smoothstep(0.55, 0.75, value_noise(seed + 1, xx / 2.6, yy / 1.1)) * (1 - np.interp(yy[:, :1], *_skin_curve(height)))
    grain = 1 + 0.06 * value_noise(seed + 2, xx / 0.5, yy / 0.4)
    rgb = out * (1 - 0.45 * holes[..., None]) * grain[..., None]
    return _flat(rgb, -0.4 * holes)


def _skin_curve(height: float) -> tuple[list[float], list[float]]:
    return [0.0, 0.25 * height, 0.75 * height, height], [1.0, 0.0, 0.0, 1.0]


def particle_face(shape: tuple[int, int], texel: float, seed: int, *, coarse: bool = False) -> Figure:
    """Raw face of particle board (fine skin), or of strand board when `coarse`."""
    rng = np.random.default_rng([seed, 43])
    height, span = shape[0] * texel, shape[1] * texel
    area = height * span
    n = int(min(9000 if coarse else 22000, area / (260 if coarse else 3.0) * (4 if coarse else 1)))
    grow = np.sqrt(max(1.0, area / 3.0 / n)) if not coarse else 1.0
    length = rng.gamma(6, 11, n) if coarse else rng.gamma(3, 1.0, n) * min(grow, 2.2)
    width = rng.gamma(5, 3.2, n) if coarse else rng.gamma(3, 0.35, n) * min(grow, 2.2)
    base = np.array((0.80, 0.66, 0.46) if coarse else (0.79, 0.68, 0.52), dtype=np.float32)
    x, y = rng.uniform(-5, span + 5, n), rng.uniform(-5, height + 5, n)
    out = _particles(shape, texel, rng, length, width, x, y, 1.0 if coarse else 1.6, base)
    xx, yy = _grid(shape, texel)
    rgb = out * (1 + 0.08 * value_noise(seed + 3, xx / 0.8, yy / 0.8) + 0.03 * fractal(seed + 4, xx / 60, yy / 60))[..., None]
    if not coarse:
        rgb = 0.35 * rgb + 0.65 * base * (1 + 0.09 * value_noise(seed + 5, xx / 0.9, yy / 0.9))[..., None]
    return _flat(rgb)


def fibre_edge(shape: tuple[int, int], texel: float, seed: int) -> Figure:
    """Edge of fibreboard: even brown fibre, denser and darker towards both faces."""
    rng = np.random.default_rng([seed, 44])
    xx, yy = _grid(shape, texel)
    height = shape[0] * texel
    base = _between(rng, (0.58, 0.44, 0.29), (0.73, 0.59, 0.42))
    dense = np.interp(yy, [0, 0.12 * height, 0.3 * height, 0.7 * height, 0.88 * height, height], [1, 0.8, 0, 0, 0.8, 1])
    tone = 1 - 0.14 * dense + 0.05 * value_noise(seed + 1, xx / 1.2, yy / 0.35) + 0.04 * value_noise(seed + 2, xx / 0.5, yy / 0.5)
    tone += 0.03 * fractal(seed + 3, xx / 70, yy / 12)
    return _flat(base * tone[..., None].astype(np.float32), 0.02 * value_noise(seed + 4, xx / 0.8, yy / 0.8))


def fibre_face(shape: tuple[int, int], texel: float, seed: int, *, hard: bool = False) -> Figure:
    """Raw face of fibreboard (`hard`: hardboard, darker and smoother)."""
    rng = np.random.default_rng([seed, 45])
    xx, yy = _grid(shape, texel)
    low, high = ((0.34, 0.22, 0.13), (0.52, 0.36, 0.22)) if hard else ((0.61, 0.47, 0.32), (0.76, 0.62, 0.46))
    base = _between(rng, low, high)
    tone = 1 + 0.035 * value_noise(seed + 1, xx / 1.6, yy / 1.6) + 0.03 * value_noise(seed + 2, xx / 0.6, yy / 0.6)
    tone += 0.035 * fractal(seed + 3, xx / 110, yy / 110, octaves=3)
    specks = smoothstep(0.72, 0.85, value_noise(seed + 6, xx / 1.1, yy / 1.1))
    return _flat(base * (tone - 0.10 * specks)[..., None].astype(np.float32))


def lumber_core_edge(shape: tuple[int, int], texel: float, seed: int, *, end: bool) -> Figure:
    """Edge of a secondary-wood core: long grain on the long side, ring arcs on the end."""
    rng = np.random.default_rng([seed, 46])
    log = Log(str(rng.choice(["pine_like", "spruce_like", "poplar_like"])), seed % 100003, knots=0.0)
    board = Board(log, float(rng.uniform(60, 200)), float(rng.uniform(0, 6.28)), float(rng.uniform(0, 1.5)), (0.0, 0.01), 0.0)
    u = (np.arange(shape[1]) + 0.5) * texel
    v = (np.arange(shape[0]) + 0.5) * texel
    if end:
        rgb = np.zeros((*shape, 3), dtype=np.float32)
        stave = float(rng.uniform(45, 110))
        for k in range(int(u[-1] // stave) + 1):
            cols = np.flatnonzero((u >= k * stave) & (u < (k + 1) * stave))
            if not len(cols):
                continue
            b = Board(log, float(rng.uniform(60, 200)), float(rng.uniform(0, 6.28)), float(rng.uniform(0, 1.5)), (0.0, 0.0), 0.0)
            rgb[:, cols] = log.cut(b.points(np.zeros((1, 1)), (u[cols] - u[cols].mean())[None, :], v[:, None]), texel=texel,
                                   end=1.0).rgb * np.float32(rng.normal(1, 0.05))
        return _flat(rgb)
    return log.cut(board.points(u[None, :], np.zeros((1, 1)), v[:, None]), texel=texel)
