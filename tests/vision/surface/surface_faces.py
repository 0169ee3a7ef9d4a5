"""Synthetic faces with known truth for the surface tests: wood with and without pores, prints, paint, highlights."""

from __future__ import annotations

import cv2
import numpy as np

from vision.resize import fit_within, resize
from vision.types import Panel, WorkingView

PALE, DARK = np.array([205.0, 165.0, 120.0]), np.array([120.0, 75.0, 40.0])


def view_of(pixels, mask=None):
    """The working view of an upright rectangular panel whose native crop is `pixels`."""
    h, w = pixels.shape[:2]
    mask = np.ones((h, w), bool) if mask is None else mask
    size = fit_within(w, h, max_side=640)
    small_mask = cv2.resize(mask.astype(np.uint8), size, interpolation=cv2.INTER_NEAREST) > 0
    sx, sy = w / size[0], h / size[1]
    to_photo = np.array([[sx, 0, sx / 2 - 0.5], [0, sy, sy / 2 - 0.5], [0, 0, 1.0]])
    panel = Panel("p1", "a", ((0.0, 0.0), (float(w), 0.0), (float(w), float(h)), (0.0, float(h))), source="given")
    return WorkingView(panel, resize(pixels, *size), small_mask, to_photo, float(np.sqrt(sx * sy)), pixels, mask, (0, 0))


def jpeg(pixels, quality):
    ok, data = cv2.imencode(".jpg", pixels[..., ::-1], [cv2.IMWRITE_JPEG_QUALITY, quality])
    assert ok
    return cv2.imdecode(data, cv2.IMREAD_COLOR)[..., ::-1].copy()


def _smooth(rng, shape, sx, sy):
    n = cv2.GaussianBlur(rng.normal(size=shape).astype(np.float32), (0, 0), sigmaX=sx, sigmaY=sy)
    return n / n.std()


def figure(rng, shape=(480, 640)):
    """Tone 0 (pale) .. 1 (dark) of a wood-like figure with its grain along x."""
    h = shape[0]
    warp = 18 * _smooth(rng, shape, 90, 40)
    rows = np.arange(h)[:, None] + warp
    rings = 0.5 + 0.35 * np.sin(2 * np.pi * rows / 37 + 2 * _smooth(rng, shape, 120, 6))
    streaks = 0.08 * _smooth(rng, shape, 60, 1.5)
    return np.clip(rings * 0.5 + 0.15 + streaks, 0, 1)


def tint(tone):
    """Wood colours of a tone map, float (h, w, 3): the line from PALE to DARK in logarithms."""
    t = tone[..., None]
    return np.exp(np.log(PALE) * (1 - t) + np.log(DARK) * t)


def finish(rng, rgb, noise=2.0):
    return np.clip(rgb + rng.normal(scale=noise, size=rgb.shape), 0, 255).astype(np.uint8)


def pores(rng, shape, count, length=14, width=2, depth=0.35):
    """Tone added by dark dashes along x."""
    out = np.zeros(shape, np.float32)
    for x, y in zip(rng.integers(0, shape[1], count), rng.integers(0, shape[0], count), strict=True):
        cv2.line(out, (int(x), int(y)), (int(x + rng.integers(length // 2, length)), int(y)), depth, width)
    return cv2.GaussianBlur(out, (0, 0), 0.6)


def wood(seed=0, shape=(480, 640), pore_count=900, noise=2.0):
    rng = np.random.default_rng(seed)
    return finish(rng, tint(figure(rng, shape) + pores(rng, shape, pore_count)), noise)


def screen(tone_rgb, period=5.3, angle=27.0, depth=0.35):
    """Dot screen laid over a picture: inks modulated by a rotated lattice."""
    h, w = tone_rgb.shape[:2]
    y, x = np.mgrid[:h, :w]
    c, s = np.cos(np.radians(angle)), np.sin(np.radians(angle))
    u, v = (c * x + s * y) / period, (-s * x + c * y) / period
    dots = (np.cos(2 * np.pi * u) + np.cos(2 * np.pi * v)) / 2
    return tone_rgb * (1 + depth * 0.5 * dots[..., None])


def painted(seed=0, shape=(480, 640), colour=(200, 205, 190), bumps=0.0, noise=2.0):
    rng = np.random.default_rng(seed)
    rgb = np.ones((*shape, 3)) * np.array(colour, float)
    light = 1 + 0.1 * np.linspace(-1, 1, shape[1])[None, :, None]
    return finish(rng, rgb * light + bumps * _smooth(rng, shape, 1.8, 1.8)[..., None], noise)
