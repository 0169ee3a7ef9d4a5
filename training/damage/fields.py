"""Random fields and ragged shapes that damage is drawn from; all sizes in pixels, x along the grain."""

from __future__ import annotations

import cv2
import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.floating]
Mask = NDArray[np.bool_]
Shape = tuple[int, int]


def cloud(shape: Shape, across: float, along: float, rng: np.random.Generator, octaves: int = 2) -> Floats:
    """Smooth noise (h, w) with mean about 0 and spread about 1, `across` px wide in y and `along` px in x."""
    h, w = shape
    out = np.zeros(shape, np.float32)
    for k in range(octaves):
        sy, sx = max(1.0, across / 2**k), max(1.0, along / 2**k)
        rows, cols = int(h / sy) + 4, int(w / sx) + 4
        grid = rng.standard_normal((rows, cols), dtype=np.float32)
        y0, x0 = rng.uniform(0.6, 1.6, 2)
        if sx >= 4 and sy >= 4:  # few nodes: two small matrix products are far quicker than a warp
            part = np.asarray(_cubic(h, rows, 1 / sy, y0) @ grid @ _cubic(w, cols, 1 / sx, x0).T, np.float32)
        else:
            step = np.array([[1 / sx, 0, x0], [0, 1 / sy, y0]], np.float64)
            ways = cv2.INTER_CUBIC | cv2.WARP_INVERSE_MAP
            part = np.asarray(cv2.warpAffine(grid, step, (w, h), flags=ways, borderMode=cv2.BORDER_REFLECT), np.float32)
        out += part * np.float32(0.55**k)
    return np.asarray(out / np.float32(0.62 * np.sqrt(sum(0.55 ** (2 * k) for k in range(octaves)))), np.float32)


def _cubic(size: int, nodes: int, step: float, start: float) -> Floats:
    """(size, nodes) weights of cubic convolution (a = -0.75) at start + step * k."""
    at = start + step * np.arange(size)
    t = np.abs(at[:, None] - np.arange(nodes)[None])
    near = (1.25 * t - 2.25) * t * t + 1
    far = ((-0.75 * t + 3.75) * t - 6) * t + 3
    return np.asarray(np.where(t <= 1, near, np.where(t < 2, far, 0)), np.float32)


def grid(shape: Shape) -> tuple[Floats, Floats]:
    """(y, x) pixel coordinates as open float32 arrays that broadcast to `shape`."""
    return np.arange(shape[0], dtype=np.float32)[:, None], np.arange(shape[1], dtype=np.float32)[None, :]


def turned(shape: Shape, cx: float, cy: float, angle: float) -> tuple[Floats, Floats]:
    """(u, v): coordinates about a centre along and across a direction `angle` radians from +x (y down)."""
    y, x = grid(shape)
    c, s = np.float32(np.cos(angle)), np.float32(np.sin(angle))
    return (x - np.float32(cx)) * c + (y - np.float32(cy)) * s, (y - np.float32(cy)) * c - (x - np.float32(cx)) * s


def ragged(
    shape: Shape,
    cx: float,
    cy: float,
    rx: float,
    ry: float,
    rng: np.random.Generator,
    *,
    rough: float = 0.3,
    splinter: float = 2.0,
    angle: float = 0.0,
) -> Floats:
    """Field that is positive inside a torn shape of radii `rx`, `ry` and falls to both sides by about 1 over a radius.

    `splinter`: how much longer the teeth of the outline are along the grain than across it.
    """
    u, v = turned(shape, cx, cy, angle)
    power = np.float32(rng.uniform(1.7, 3.5))
    dist = (np.abs(u / rx) ** power + np.abs(v / ry) ** power) ** (1 / power)
    size = max(3.0, 0.5 * min(rx, ry))
    noise = cloud(shape, size, size * splinter, rng, 3)
    fine = cloud(shape, max(1.5, size / 5), max(1.5, size / 5 * splinter), rng, 1)
    return np.asarray(1 - dist + np.float32(rough) * noise + np.float32(0.25 * rough) * fine, np.float32)


def soft(field: Floats, width: float) -> Floats:
    """0 where the field is below -width/2, 1 above width/2, cubic between."""
    t = np.clip(field / np.float32(max(width, 1e-6)) + 0.5, 0, 1)
    return np.asarray(t * t * (3 - 2 * t), np.float32)


def disc(radius: float) -> NDArray[np.uint8]:
    """Round structuring element of at least one pixel."""
    n = 2 * max(0, round(radius)) + 1
    return np.asarray(cv2.getStructuringElement(cv2.MORPH_ELLIPSE, (n, n)), np.uint8)


def grown(mask: Mask, radius: float) -> Mask:
    """Mask dilated by a disc."""
    if radius > 3 and mask.any():
        return np.asarray(cv2.distanceTransform((~mask).astype(np.uint8), cv2.DIST_L2, 5) <= radius + 0.2)
    return np.asarray(cv2.dilate(mask.astype(np.uint8), disc(radius)) > 0)


def closed(mask: Mask, radius: float) -> Mask:
    """Mask with gaps up to twice `radius` bridged; nothing beyond the picture counts as mask."""
    r = max(1, round(radius))
    wide = np.pad(mask, r)
    if not wide.any():
        return mask
    wide = grown(wide, r)
    if r > 3:
        back = cv2.distanceTransform(wide.astype(np.uint8), cv2.DIST_L2, 5) > r + 0.2
    else:
        back = cv2.erode(wide.astype(np.uint8), disc(r)) > 0
    return np.asarray(back[r:-r, r:-r] | mask)


def spot(shape: Shape, cx: float, cy: float, rx: float, ry: float, angle: float = 0.0) -> Floats:
    """Gaussian hill of height 1."""
    u, v = turned(shape, cx, cy, angle)
    return np.asarray(np.exp(-0.5 * ((u / rx) ** 2 + (v / ry) ** 2)), np.float32)


def stroke(shape: Shape, points: NDArray[np.floating], widths: NDArray[np.floating]) -> Floats:
    """Cover 0..1 of a polyline (n, 2) (x, y) whose full width in px runs through `widths` (n,); thinner than 1 px is faint."""
    scale = 4
    out = np.zeros((shape[0], shape[1]), np.float32)
    for a, b, width in zip(points[:-1], points[1:], widths[:-1], strict=True):
        ink = np.zeros(shape, np.uint8) if width >= 1.5 else out
        p, q = ((round(float(v[0]) * scale), round(float(v[1]) * scale)) for v in (a, b))
        if width >= 1.5:
            cv2.line(ink, p, q, 255, max(1, round(float(width))), cv2.LINE_AA, 2)
            np.maximum(out, ink.astype(np.float32) / 255, out=out)
        else:
            x0, y0 = (max(0, int(min(a[k], b[k])) - 2) for k in (0, 1))
            x1, y1 = int(max(a[0], b[0])) + 3, int(max(a[1], b[1])) + 3
            part = out[y0:y1, x0:x1]
            if part.size:
                line = np.zeros(part.shape, np.uint8)
                cv2.line(
                    line, (p[0] - x0 * scale, p[1] - y0 * scale), (q[0] - x0 * scale, q[1] - y0 * scale), 255, 1, cv2.LINE_AA, 2
                )
                np.maximum(part, line.astype(np.float32) / 255 * np.float32(min(1.0, width)), out=part)
    return out


def wander(
    start: tuple[float, float], angle: float, length: float, rng: np.random.Generator, *, bend: float = 0.1, step: float = 6.0
) -> NDArray[np.float64]:
    """Points (n, 2) of a line that keeps near its direction: each step's angle strays by about `bend` radians."""
    n = max(3, int(length / step) + 1)
    stray = np.convolve(rng.normal(0, bend, n + 4), np.ones(5) / 5**0.5, mode="valid")
    angles = angle + stray
    steps = np.c_[np.cos(angles), np.sin(angles)] * (length / n)
    return np.vstack([start, np.asarray(start) + np.cumsum(steps, axis=0)])
