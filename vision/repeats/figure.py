"""The figure of a sheet without its lighting: grey, levelled, and freed of what merely runs along the grain."""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from vision.repeats.hardware import figure_mask
from vision.repeats.sheet import Sheet
from vision.resize import resize, resize_map

#: Longest side and most pixels of the figure image.
FIGURE_PX = 480
FIGURE_AREA = 480 * 300
#: Figures with a shorter side under this are enlarged, at most so many times: tracking and the place of a peak go by whole
#: pixels at some step, and a small sheet carries figure down to its last pixel.
SHORT_PX, MOST_ENLARGED = 300, 2.0
#: Blur that stands for the lighting, and the wider one for the local contrast, as shares of the figure's short side.
LIGHT_SHARE = 0.045
CONTRAST_SHARE = 0.10
#: Where even the darkest channel is this bright, a highlight has burnt the figure out.
BURNT = 247
#: Standard deviation of the blur along the grain that is taken out, px of the figure image.
ALONG_PX = 12.0
#: Coherence from which the measured grain direction is used as it is, and under which none is; distance (radians) within
#: which grain between them belongs to a border; lead that the upright border needs over the level one.
CLEAR_GRAIN, WILD_GRAIN, NEAR_BORDER, EVEN_GRAIN = 0.5, 0.3, 0.45, 0.18
#: Levelled values beyond this many local standard deviations are clipped, so that no knot or handle outweighs the rest.
CLIP = 2.5


@dataclass(frozen=True, eq=False)
class Figure:
    """`levelled`: (h, w) float32, lighting and local contrast taken out, 0 outside `mask`; `crossing`: the part of it that
    changes along the grain; `rgb`: (h, w, 3) uint8; `mask`: (h, w) bool; `scale`: sheet pixels per figure pixel, x and y
    alike; `grain`: direction of the grain, radians, x right y down, in [-pi/4, 3 pi/4); `straight`: 0..1, how much one
    direction rules."""

    levelled: NDArray[np.float32]
    crossing: NDArray[np.float32]
    rgb: NDArray[np.uint8]
    mask: NDArray[np.bool_]
    scale: float
    grain: float
    straight: float

    def to_sheet(self) -> NDArray[np.float64]:
        """3x3 taking figure pixels to sheet pixels (pixel centres kept)."""
        s = self.scale
        return np.array([[s, 0.0, 0.5 * s - 0.5], [0.0, s, 0.5 * s - 0.5], [0.0, 0.0, 1.0]])


def _masked_blur(values: NDArray[np.float32], weight: NDArray[np.float32], sigma: float) -> NDArray[np.float32]:
    """Gaussian blur that looks at the mask only; done on a shrunken image since the result is smooth."""
    h, w = values.shape
    f = max(1, int(sigma // 3))
    size = (max(2, w // f), max(2, h // f))
    small = resize_map(np.dstack([values * weight, weight]), *size)
    soft = cv2.GaussianBlur(small, (0, 0), sigma / f, borderType=cv2.BORDER_REFLECT)
    out = np.asarray(soft[..., 0] / np.maximum(soft[..., 1], 1e-3), dtype=np.float32)
    return resize_map(out, w, h)


def grain_direction(levelled: NDArray[np.float32], mask: NDArray[np.bool_]) -> tuple[float, float]:
    """Ruling grain direction (radians in [-pi/4, 3 pi/4), x right y down) and its coherence 0..1, from the structure tensor."""
    smooth = cv2.GaussianBlur(levelled, (0, 0), 1.2)
    gx, gy = cv2.Scharr(smooth, cv2.CV_32F, 1, 0), cv2.Scharr(smooth, cv2.CV_32F, 0, 1)
    inner = mask
    jxx, jyy, jxy = float(np.sum(gx * gx, where=inner)), float(np.sum(gy * gy, where=inner)), float(np.sum(gx * gy, where=inner))
    across = 0.5 * np.arctan2(2 * jxy, jxx - jyy)
    strength = np.hypot(jxx - jyy, 2 * jxy) / max(jxx + jyy, 1e-9)
    along = (across + 0.75 * np.pi) % np.pi - 0.25 * np.pi  # the cut lies on a diagonal: boards lie along x or y
    if strength < CLEAR_GRAIN:
        # Wild figure gives no firm direction, and parts of one figure would give different ones; panels are cut along or
        # across their grain, so the nearer border is taken, and the level one where neither is nearer.
        level = (jyy - jxx) / max(jxx + jyy, 1e-9)
        near = min(abs(along), abs(along - np.pi / 2))
        if near < NEAR_BORDER or strength < WILD_GRAIN:
            along = np.pi / 2 if level < -EVEN_GRAIN else 0.0
    return float(along), float(strength)


def blur_along(values: NDArray[np.float32], grain: float, sigma: float) -> NDArray[np.float32]:
    """Gaussian blur along one direction only."""
    c, s = np.cos(grain), np.sin(grain)
    if min(abs(c), abs(s)) < 0.035:  # within 2 degrees of an axis: separable and quick
        n = 2 * int(2.5 * sigma) + 1
        k, one = cv2.getGaussianKernel(n, sigma), np.ones((1, 1))
        kx, ky = (k, one) if abs(c) > abs(s) else (one, k)
        return np.asarray(cv2.sepFilter2D(values, cv2.CV_32F, kx, ky, borderType=cv2.BORDER_REFLECT), dtype=np.float32)
    reach = np.arange(-int(2 * sigma), int(2 * sigma) + 1, 2)
    size = 2 * int(2 * sigma) + 3
    kernel = np.zeros((size, size), np.float32)
    for t in reach:
        x, y, mid = t * c, t * s, size // 2
        x0, y0 = int(np.floor(x)), int(np.floor(y))
        fx, fy = x - x0, y - y0
        g = float(np.exp(-0.5 * (t / sigma) ** 2))
        for dx, wx in ((0, 1 - fx), (1, fx)):
            for dy, wy in ((0, 1 - fy), (1, fy)):
                kernel[mid + y0 + dy, mid + x0 + dx] += g * wx * wy
    kernel /= kernel.sum()
    return np.asarray(cv2.filter2D(values, cv2.CV_32F, kernel, borderType=cv2.BORDER_REFLECT), dtype=np.float32)


def figure_of(sheet: Sheet) -> Figure:
    """The figure image of a sheet, at most FIGURE_PX long and FIGURE_AREA large; small sheets are enlarged."""
    h, w = sheet.mask.shape
    grown = min(1.0, max(1.0 / MOST_ENLARGED, min(h, w) / SHORT_PX))
    shrink = max(grown, max(h, w) / FIGURE_PX, float(np.sqrt(h * w / FIGURE_AREA)))
    width, height = max(8, round(w / shrink)), max(8, round(h / shrink))
    rgb = resize(sheet.pixels, width, height)
    shown = figure_mask(sheet)  # handles and glints come back on every front
    mask = cv2.resize(shown.astype(np.uint8), (width, height), interpolation=cv2.INTER_NEAREST) > 0
    burnt = cv2.dilate((rgb.min(axis=2) >= BURNT).astype(np.uint8), np.ones((5, 5), np.uint8))
    mask = mask & (burnt == 0)
    inside = mask.astype(np.float32)
    grey = np.log(cv2.cvtColor(rgb, cv2.COLOR_RGB2GRAY).astype(np.float32) + 12.0)
    side = float(min(width, height))
    light = _masked_blur(grey, inside, max(4.0, LIGHT_SHARE * side))
    flat = (grey - light) * inside
    contrast = np.sqrt(np.maximum(_masked_blur(flat * flat, inside, max(8.0, CONTRAST_SHARE * side)), 1e-5))
    levelled = np.clip(flat / contrast, -CLIP, CLIP) * inside
    grain, straight = grain_direction(levelled, cv2.erode(mask.astype(np.uint8), np.ones((7, 7), np.uint8)) > 0)
    crossing = (levelled - blur_along(levelled, grain, ALONG_PX)) * inside
    return Figure(levelled, crossing, rgb, mask, w / width, grain, straight)
