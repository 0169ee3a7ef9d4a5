"""Exposure and reflections: how much of a photo is too dark, burnt out, or hidden under glare."""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

DARK, BURNT = 24, 250
#: A highlight counts as glare when its rim fades (gloss spreads light); lamps, paper and windows end abruptly.
_SOFT_STEP = 9.0
#: Median difference of the channels round a highlight from which the surround counts as coloured, in grey levels.
_LEAST_COLOUR = 20


@dataclass(frozen=True)
class Light:
    """Shares of the picture, 0..1. `dark`: luma under 24. `burnt`: every channel 250 or more. `nearly`: the brightest
    channel 250 or more. `p90`: 90th percentile of luma. `glare`: burnt patches with a soft rim on a darker surface."""

    dark: float
    burnt: float
    nearly: float
    p90: float
    glare: float


def measure_light(pixels: NDArray[np.uint8]) -> Light:
    """Light of an (h, w, 3) uint8 sRGB picture; a quarter of a megapixel is enough."""
    luma = cv2.cvtColor(pixels, cv2.COLOR_RGB2GRAY)
    red, green, blue = cv2.split(pixels)
    lowest, highest = cv2.min(cv2.min(red, green), blue), cv2.max(cv2.max(red, green), blue)
    below = np.cumsum(np.bincount(luma.ravel(), minlength=256)) / luma.size
    return Light(
        dark=float(below[DARK - 1]),
        burnt=float((lowest >= BURNT).mean()),
        nearly=float((highest >= BURNT).mean()),
        p90=float(np.searchsorted(below, 0.9)),
        glare=float(glare_mask(pixels).mean()),
    )


def glare_mask(pixels: NDArray[np.uint8]) -> NDArray[np.bool_]:
    """(h, w) bool, True where a reflection hides the surface: white patches that fade into a darker, coloured
    surround.

    Meant for pictures of about a quarter of a megapixel, or a panel's working view. Patches under 0.05 % of the picture
    and those over half of it (a white background) are left out.
    """
    height, width = pixels.shape[:2]
    luma = cv2.GaussianBlur(cv2.cvtColor(pixels, cv2.COLOR_RGB2GRAY), (0, 0), 1.0)
    bright = (cv2.inRange(pixels, (238, 238, 238), (255, 255, 255)) > 0).astype(np.uint8)
    bright = np.asarray(cv2.morphologyEx(bright, cv2.MORPH_OPEN, np.ones((3, 3), np.uint8)), dtype=np.uint8)
    count, labels, stats, _ = cv2.connectedComponentsWithStats(bright)
    out = np.zeros((height, width), bool)
    area = height * width
    near = max(3, round(0.006 * max(height, width)))
    far = max(4 * near, round(0.05 * max(height, width)))
    for i in range(1, count):
        size = stats[i, cv2.CC_STAT_AREA]
        if not 0.0005 * area <= size <= 0.5 * area:
            continue
        x, y, w, h = stats[i, :4]
        x0, y0, x1, y1 = max(0, x - far), max(0, y - far), min(width, x + w + far), min(height, y + h + far)
        patch = (labels[y0:y1, x0:x1] == i).astype(np.uint8)
        local = luma[y0:y1, x0:x1].astype(np.float32)
        near_ring = cv2.dilate(patch, np.ones((2 * near + 1, 2 * near + 1), np.uint8)) - patch
        far_ring = cv2.dilate(patch, np.ones((2 * far + 1, 2 * far + 1), np.uint8)) - patch - near_ring
        if not near_ring.any() or not far_ring.any():
            continue
        fall = (246.0 - float(np.median(local[near_ring > 0]))) / near  # grey levels per pixel just outside
        if fall <= _SOFT_STEP and float(np.median(local[far_ring > 0])) < 200 and _coloured(pixels[y0:y1, x0:x1][far_ring > 0]):
            out[y0:y1, x0:x1] |= patch > 0
    return out


def _coloured(ring: NDArray[np.uint8]) -> bool:
    """True when the (n, 3) pixels round a patch are mostly not grey: walls and paper shine too, but hide no wood."""
    return float(np.median(ring.max(axis=1).astype(int) - ring.min(axis=1))) >= _LEAST_COLOUR
