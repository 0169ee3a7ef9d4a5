"""How figure changes from one veneer leaf to the next, made on real figure.

A leaf lies its own thickness below its neighbour: 0.6 mm is the standard, thin ones have 0.25 to 0.3 mm (several trade
pages). Every ring line in the face moves sideways by that depth times the cotangent of the angle between ring and face:
little on quarter-sawn wood, much where rings lie flat. Single pores (0.05 to 0.3 mm wide) are other pores in the next
leaf, and slow colour wanders with depth. The model here:

1. pith-side shift: across the grain by n * 0.6 mm * c(y), where c is a smooth random curve with values mostly within
   -1.2 .. 1.2 for flat wood and -0.3 .. 0.3 for straight (assumption: cotangents of 40 and 73 degrees);
2. elastic warp: smooth random displacement, 0.25 mm * sqrt(n) rms across the grain and as much again along it, smooth
   over 40 mm across and 160 mm along (assumption);
3. fine detail below 0.35 mm is replaced: share 1 - 0.5^n of it comes from another place of the figure (assumption);
4. new features at all scales: 6 % * n (at most 30 %) of another figure's detail is added (assumption);
5. amplitude and tone wander slowly: 4 % * sqrt(n) rms (assumption).

Here n counts slices of 0.6 mm and need not be whole: two leaves of 0.3 mm make n = 1. A rendered log gives the second
truth, in which all this follows from the solid (`pairs.make_rendered_pair`).
"""

from __future__ import annotations

import cv2
import numpy as np
from numpy.typing import NDArray

from vision.resize import resize_map

DEPTH_MM = 0.6
#: Thickness of a leaf, mm.
LEAF_RANGE_MM = (0.3, 0.6)
WARP_MM = 0.25
FINE_MM = 0.35
NEW_SHARE, NEW_MOST = 0.06, 0.30
TONE = 0.04
#: Curves of the pith-side shift: largest usual cotangent for straight and for other figure.
COTANGENT = {"straight": 0.3, "plain": 1.2, "boards": 0.8}

Map = NDArray[np.float32]


def smooth_noise(height: int, width: int, along: float, across: float, rng: np.random.Generator) -> Map:
    """(height, width) noise of unit variance, smooth over `along` px in x and `across` px in y."""
    rows, cols = max(4, int(np.ceil(2.5 * height / across)) + 3), max(4, int(np.ceil(2.5 * width / along)) + 3)
    coarse = np.asarray(cv2.GaussianBlur(rng.normal(0, 1, (rows, cols)).astype(np.float32), (0, 0), 1.0), dtype=np.float32)
    return resize_map(coarse / np.float32(max(float(coarse.std()), 1e-6)), width, height)


def broad(pixels: NDArray[np.float32], sigma: float) -> NDArray[np.float32]:
    """Gaussian mean of (h, w, 3) over a wide `sigma`, reckoned on a coarser grid because nothing fine is left in it."""
    h, w = pixels.shape[:2]
    step = max(1, int(sigma / 4))
    coarse = resize_map(pixels, max(4, w // step), max(4, h // step))
    return resize_map(np.asarray(cv2.GaussianBlur(coarse, (0, 0), sigma / step), dtype=np.float32), w, h)


def leaf_displacement(height: int, width: int, leaves: float, kind: str, px_per_mm: float, rng: np.random.Generator,
                      ) -> tuple[Map, Map]:
    """(dx, dy) in pixels at each pixel of a leaf `leaves` slices below: where in the first leaf its figure lies."""
    curve = smooth_noise(height, 1, 1.0, 60 * px_per_mm, rng)[:, 0] * (COTANGENT[kind] / 2)
    slow = smooth_noise(height, width, 400 * px_per_mm, 120 * px_per_mm, rng) * 0.25
    dy = np.float32(leaves * DEPTH_MM * px_per_mm) * curve[:, None] * (1 + slow)
    size = np.float32(WARP_MM * np.sqrt(abs(leaves)) * px_per_mm)
    dy = dy + size * smooth_noise(height, width, 160 * px_per_mm, 40 * px_per_mm, rng)
    dx = size * smooth_noise(height, width, 160 * px_per_mm, 40 * px_per_mm, rng)
    return dx.astype(np.float32), dy.astype(np.float32)


def renew_detail(pixels: NDArray[np.uint8], other: NDArray[np.uint8], leaves: float, px_per_mm: float,
                 rng: np.random.Generator, *, tone_leaves: float | None = None) -> NDArray[np.uint8]:
    """Leaf `pixels` with the fine detail renewed, new features and slow tone; `other` (same shape) is foreign figure.

    `tone_leaves`: depth that the tone has wandered by, when that is not `leaves`.
    """
    a, b = pixels.astype(np.float32), other.astype(np.float32)
    h, w = a.shape[:2]
    sigma = max(0.5, FINE_MM * px_per_mm)
    fine_a, fine_b = a - cv2.GaussianBlur(a, (0, 0), sigma), b - cv2.GaussianBlur(b, (0, 0), sigma)
    fine_b *= min(2.0, float(fine_a.std()) / max(float(fine_b.std()), 1e-3))
    share = 1 - 0.5**abs(leaves)
    out = a - fine_a + np.sqrt(1 - share) * fine_a + np.sqrt(share) * fine_b
    detail_a, detail_b = a - broad(a, 0.12 * min(h, w)), b - broad(b, 0.12 * min(h, w))
    detail_b *= min(2.0, float(detail_a.std()) / max(float(detail_b.std()), 1e-3))
    new = min(NEW_MOST, NEW_SHARE * abs(leaves))
    out += new * detail_b - (1 - np.sqrt(1 - new**2)) * detail_a
    size = TONE * np.sqrt(abs(leaves if tone_leaves is None else tone_leaves))
    tone = 1 + size * smooth_noise(h, w, 250 * px_per_mm, 60 * px_per_mm, rng)
    gain = 1 + size * smooth_noise(h, w, 250 * px_per_mm, 60 * px_per_mm, rng)
    mean = broad(np.asarray(out, dtype=np.float32), 0.12 * min(h, w))
    out = mean * tone[..., None] + (out - mean) * gain[..., None]
    return np.asarray(np.clip(np.round(out), 0, 255), dtype=np.uint8)
