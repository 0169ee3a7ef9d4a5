"""Closed-form grain pictures for the tests: level lines of a stream function, so the direction is known everywhere."""

from __future__ import annotations

import itertools

import numpy as np
from numpy.typing import NDArray

from vision.types import Panel, WorkingView


def grid(height: int, width: int) -> tuple[NDArray, NDArray]:
    """(x right, y up) coordinates of pixel centres, origin at the top left centre."""
    y, x = np.mgrid[:height, :width].astype(np.float64)
    return x, -y


def to_u8(values: NDArray) -> NDArray[np.uint8]:
    return np.clip(np.rint(values), 0, 255).astype(np.uint8)


def across(x: NDArray, y: NDArray, angle: float) -> NDArray:
    """Coordinate at right angles to lines that run at `angle` degrees (counter-clockwise, y up)."""
    t = np.radians(angle)
    return -x * np.sin(t) + y * np.cos(t)


def grating(wavelength: float, angle: float, size: int = 224, amplitude: float = 28.0) -> NDArray[np.uint8]:
    x, y = grid(size, size)
    return to_u8(128 + amplitude * np.sin(2 * np.pi * across(x, y, angle) / wavelength + 0.3))


def profile(values: NDArray, seed: int, *, sd: float = 20.0, smooth: float = 1.2) -> NDArray:
    """Grain-like tone of a stream function: one smooth random line laid along `values` (px), mean 0 and `sd`."""
    rng = np.random.default_rng(seed)
    low, high = float(values.min()) - 40, float(values.max()) + 40
    knots = np.arange(low, high, 0.25)
    taps = {s: np.exp(-0.5 * (np.arange(-16 * s, 16 * s + 1) / (4 * s)) ** 2) for s in (smooth, 3 * smooth)}
    line = np.zeros(len(knots))
    for k in taps.values():
        part = np.convolve(rng.standard_normal(len(knots)), k / np.sqrt((k**2).sum()), mode="same")
        line += part
    line *= sd / line.std()
    return np.interp(values, knots, line)


def straight(angle: float, seed: int, height: int = 320, width: int = 320, **kwargs: float) -> NDArray:
    x, y = grid(height, width)
    return 128 + profile(across(x, y, angle), seed, **kwargs)


def round_knot(cx: float, cy: float, radius: float, seed: int, height: int = 320, width: int = 480, *,
               angle: float = 0.0, deflect: bool = True) -> NDArray:
    """Dark disc in grain; with `deflect` the grain lines are the streamlines of ideal flow round a cylinder
    (Lamb, Hydrodynamics, art. 68: psi = v (1 - R^2 / r^2)), else they run straight on as round a drilled hole."""
    x, y = grid(height, width)
    t = np.radians(angle)
    dx, dy = x - cx, y + cy
    u, v = dx * np.cos(t) + dy * np.sin(t), -dx * np.sin(t) + dy * np.cos(t)
    r = np.hypot(u, v)
    psi = v * (1 - np.minimum(1, (radius / np.maximum(r, 1e-6)) ** 2)) if deflect else v
    image = 128 + profile(psi, seed)
    inside = 60 + 8 * np.sin(2 * np.pi * r / max(4.0, radius / 3)) if deflect else np.full_like(r, 40.0)
    edge = np.clip((radius + 1 - r) / 2, 0, 1)
    return image * (1 - edge) + inside * edge


def carpet(seed: int, height: int = 320, width: int = 480) -> NDArray[np.uint8]:
    """Isotropic tufts: white noise smoothed to a few pixels."""
    rng = np.random.default_rng(seed)
    f = np.fft.fft2(rng.standard_normal((height, width)))
    ky, kx = np.fft.fftfreq(height)[:, None], np.fft.fftfreq(width)[None]
    tufts = np.fft.ifft2(f * np.exp(-0.5 * (2 * np.pi * 1.5) ** 2 * (kx**2 + ky**2))).real
    return to_u8(128 + 25 * tufts / tufts.std())


def view_of(image: NDArray) -> WorkingView:
    """A working view (identity homography) of a grey or RGB picture."""
    pixels = to_u8(image)
    if pixels.ndim == 2:
        pixels = np.repeat(pixels[..., None], 3, 2)
    h, w = pixels.shape[:2]
    outline = ((0.0, 0.0), (w - 1.0, 0.0), (w - 1.0, h - 1.0), (0.0, h - 1.0))
    mask = np.ones((h, w), bool)
    return WorkingView(Panel("p1", "photo1", outline), pixels, mask, np.eye(3), 1.0, pixels, mask, (0, 0))


def long_grain(angle: float, seed: int, pores: tuple[float, ...], size: int = 320, along: float = 400.0) -> NDArray:
    """Streaks of sd 20 about 128: white noise smoothed in the frequency domain, `pores` px across (Gaussian sigmas) and
    `along` px along `angle`; not rounded."""
    n = 2 * size
    f = np.fft.fft2(np.random.default_rng(seed).standard_normal((n, n)))
    ky, kx = 2 * np.pi * np.fft.fftfreq(n)[:, None], 2 * np.pi * np.fft.fftfreq(n)[None]
    t = np.radians(angle)
    k_along, k_across = kx * np.cos(t) - ky * np.sin(t), kx * np.sin(t) + ky * np.cos(t)
    shape = np.zeros((n, n))
    for s in pores:
        shape += s * np.exp(-0.5 * (k_across * s) ** 2)
    shape *= np.exp(-0.5 * (k_along * along) ** 2)
    g = np.fft.ifft2(f * shape).real[size // 2:size // 2 + size, size // 2:size // 2 + size]
    return 128 + 20 * (g - g.mean()) / g.std()


def boards(edges: list[int], tones: list[float], angles: list[float], seed: int, *, width: int = 560, sd: float = 4.0,
           along: float = 150.0) -> NDArray:
    """Boards laid one below the other: board i runs from row edges[i] to edges[i + 1], with its own tone and grain angle."""
    image = np.zeros((edges[-1], width))
    for i, (top, bottom) in enumerate(itertools.pairwise(edges)):
        own = long_grain(angles[i], seed + i, (1.2, 4.0), size=max(width, edges[-1]), along=along) - 128
        image[top:bottom] = 128 + tones[i] + sd / 20 * own[: bottom - top, :width]
    return image
