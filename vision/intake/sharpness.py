"""How blurred a photo is, and whether the blur has a direction.

Edge width from two Gaussian-derivative scales: a step edge blurred by sigma has gradient A / sqrt(2 pi (sigma^2 + s^2))
when measured at scale s, so the ratio of two scales gives sigma without knowing the contrast A. (The re-blur ratio of
Zhuo & Sim, "Defocus map estimation from a single image", Pattern Recognition 44, 2011, in its two-scale form.)
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

FINE, COARSE = 1.0, 2.0
#: Edges weaker than this at the coarse scale (grey levels per pixel) are noise or shading.
_WEAKEST = 1.2
_BINS = 6
_MIN_EDGES = 60
_KEPT_PER_BIN = 4000
#: The sharpest fifth of the edges speaks for the focus: depth of field blurs the rest of an honest photo.
_SHARP_SHARE = 0.2


@dataclass(frozen=True)
class Sharpness:
    """Edge blur in pixels of the picture measured. `across`: (6,) blur of the sharp edges whose gradient points at
    0, 30 .. 150 degrees, nan where there are too few. `best`/`worst`: smallest and largest blur over directions of the
    fitted ellipse; nan when the picture has too few edges. `worst_angle`: degrees 0..180 of the most blurred gradient,
    counter-clockwise from +x as seen on screen."""

    across: tuple[float, ...]
    best: float
    worst: float
    worst_angle: float


def measure_sharpness(grey: NDArray[np.uint8]) -> Sharpness:
    """Edge blur of a (h, w) uint8 grey picture, by gradient direction."""
    sigma, angle = edge_blur(grey)
    width = 180.0 / _BINS
    which = np.round(angle / width).astype(int) % _BINS
    across, counts = np.full(_BINS, np.nan), np.bincount(which, minlength=_BINS)
    for b in range(_BINS):
        if counts[b] >= _MIN_EDGES:
            across[b] = np.quantile(sigma[which == b], _SHARP_SHARE)
    best, worst, direction = _ellipse(across, np.arange(_BINS) * width)
    return Sharpness(tuple(float(a) for a in across), best, worst, direction)


def edge_blur(grey: NDArray[np.uint8]) -> tuple[NDArray[np.float32], NDArray[np.float32]]:
    """(sigma, angle) of edge pixels: blur in pixels and gradient direction in degrees 0..180, counter-clockwise on screen."""
    base = cv2.GaussianBlur(grey.astype(np.float32), (0, 0), FINE)
    gx, gy = _central(base)
    more = cv2.GaussianBlur(base, (0, 0), (COARSE**2 - FINE**2) ** 0.5)
    hx, hy = _central(more)
    coarse = cv2.magnitude(hx, hy)
    ridge = (coarse >= cv2.dilate(coarse, np.ones((1, 3), np.uint8))) | (coarse >= cv2.dilate(coarse, np.ones((3, 1), np.uint8)))
    ridge &= coarse >= _WEAKEST
    m = int(3 * COARSE)
    ridge[:m], ridge[-m:], ridge[:, :m], ridge[:, -m:] = False, False, False, False
    rows, cols = np.nonzero(ridge)
    angle = np.degrees(np.arctan2(-hy[rows, cols], hx[rows, cols])) % 180
    strength = coarse[rows, cols]
    # along the gradient the pixel must be the peak; neighbours on the 8-grid are near enough
    dx, dy = np.rint(hx[rows, cols] / strength).astype(int), np.rint(hy[rows, cols] / strength).astype(int)
    peak = (strength >= coarse[rows + dy, cols + dx]) & (strength >= coarse[rows - dy, cols - dx])
    rows, cols, angle, strength = rows[peak], cols[peak], angle[peak], strength[peak]
    keep = _strongest_per_direction(angle, strength)
    rows, cols, angle, strength = rows[keep], cols[keep], angle[keep], strength[keep]
    fine = np.hypot(gx[rows, cols], gy[rows, cols])
    ratio2 = np.maximum((fine / strength) ** 2, 1.0 + 1e-3)
    sigma2 = (COARSE**2 - ratio2 * FINE**2) / (ratio2 - 1.0)
    return np.sqrt(np.clip(sigma2, 0.0, 400.0)).astype(np.float32), angle.astype(np.float32)


def _central(image: Any) -> tuple[Any, Any]:
    kernel, one = np.array([-0.5, 0.0, 0.5], np.float32), np.ones(1, np.float32)
    return (
        cv2.sepFilter2D(image, cv2.CV_32F, kernel, one, borderType=cv2.BORDER_REPLICATE),
        cv2.sepFilter2D(image, cv2.CV_32F, one, kernel, borderType=cv2.BORDER_REPLICATE),
    )


def _strongest_per_direction(angle: NDArray[np.float32], strength: NDArray[np.float32]) -> NDArray[np.intp]:
    """Indices of the strongest edges of every direction: blur weakens edges across it, so directions must not compete."""
    which = np.round(angle / (180.0 / _BINS)).astype(int) % _BINS
    kept = []
    for b in range(_BINS):
        mine = np.nonzero(which == b)[0]
        take = min(len(mine), max(_MIN_EDGES, min(_KEPT_PER_BIN, len(mine) // 3)))
        if take:
            kept.append(mine[np.argpartition(-strength[mine], take - 1)[:take]])
    return np.concatenate(kept) if kept else np.zeros(0, np.intp)


def _ellipse(across: NDArray[Any], angles: NDArray[Any]) -> tuple[float, float, float]:
    """Least-squares fit of sigma^2 = a + b cos(2 t) + c sin(2 t): (smallest, largest sigma, angle of the largest)."""
    known = np.isfinite(across)
    if not known.any():
        return float("nan"), float("nan"), float("nan")
    if known.sum() < 4:  # too few directions to tell a direction: take the blur as round
        middle = float(np.median(across[known]))
        return middle, middle, float("nan")
    t = np.radians(2 * angles[known])
    design = np.c_[np.ones(known.sum()), np.cos(t), np.sin(t)]
    a, b, c = np.linalg.lstsq(design, across[known] ** 2, rcond=None)[0]
    swing = float(np.hypot(b, c))
    direction = float(np.degrees(np.arctan2(c, b)) / 2 % 180)
    return float(np.sqrt(max(a - swing, 0.0))), float(np.sqrt(max(a + swing, 0.0))), direction
