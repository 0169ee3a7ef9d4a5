"""Lay an edge out straight: length along x, thickness along y, sampled from the un-resampled crop.

Outlines are drawn by hand or found on a reduced photo, so layers often run at a slight angle to them; the strip is
therefore sheared until neighbouring stretches agree.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from vision.resize import resize
from vision.types import WorkingView

Plane = NDArray[np.float32]

MAX_LENGTH = 512
MAX_THICKNESS = 128
MIN_THICKNESS = 6
STRETCHES = 12


@dataclass(frozen=True, eq=False)
class Strip:
    """An edge laid out straight. `rgb`: (t, n, 3) uint8, y across the thickness; `luma`: (t, n); `inside`: (t, n) bool.

    `to_view`: 3x3 matrix from strip (x, y, 1) to working-view pixels, before `slope`; a strip pixel (x, y) of the
    sheared arrays lies at (x, y + slope * (x - n / 2)) in its coordinates. `thickness_px`, `length_px`: native size.
    """

    rgb: NDArray[np.uint8]
    luma: Plane
    inside: NDArray[np.bool_]
    to_view: NDArray[np.float64]
    slope: float
    thickness_px: float
    length_px: float

    @property
    def slimness(self) -> float:
        """Length over thickness."""
        return self.length_px / max(self.thickness_px, 1e-6)

    def view_points(self, points: NDArray[np.float64]) -> NDArray[np.float64]:
        """Map (n, 2) points of the sheared strip to working-view pixels."""
        p = np.asarray(points, np.float64)
        y = p[:, 1] + self.slope * (p[:, 0] - self.luma.shape[1] / 2)
        q = np.c_[p[:, 0], y, np.ones(len(p))] @ self.to_view.T
        return q[:, :2] / q[:, 2:]


def unroll(view: WorkingView) -> Strip | None:
    """The panel as a straight strip, or None where it is under MIN_THICKNESS native pixels thick."""
    if not view.mask.any():
        return None
    contours, _ = cv2.findContours(view.mask.astype(np.uint8), cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_NONE)
    largest = max(contours, key=len)
    if len(largest) < 4:
        return None
    (cx, cy), (w, h), angle = cv2.minAreaRect(largest)
    # minAreaRect measures between pixel centres; the strip covers whole pixels.
    w, h = w + 1, h + 1
    if w < h:
        w, h, angle = h, w, angle + 90.0
    angle = (angle + 90.0) % 180.0 - 90.0
    scale = max(view.px_scale, 1e-3)
    length, thick = w * scale, h * scale
    if thick < MIN_THICKNESS or length < 2 * MIN_THICKNESS:
        return None
    # Long strips are sampled denser and averaged down: plain sampling would alias their texture.
    rows = round(min(MAX_THICKNESS, max(thick, MIN_THICKNESS)))
    dense = int(min(2 * MAX_LENGTH, max(round(length), 2 * MIN_THICKNESS)))
    c, s = math.cos(math.radians(angle)), math.sin(math.radians(angle))
    kx, ky = w / dense, h / rows
    to_view = np.array([[c * kx, -s * ky, cx - c * (w - kx) / 2 + s * (h - ky) / 2],
                        [s * kx, c * ky, cy - s * (w - kx) / 2 - c * (h - ky) / 2], [0, 0, 1]])
    shift = np.array([[1, 0, -view.native_origin[0]], [0, 1, -view.native_origin[1]], [0, 0, 1.0]])
    to_native = shift @ view.to_photo @ to_view
    source, to_source = _reduced(view.native, to_native, thick / rows)
    flags = cv2.INTER_LINEAR | cv2.WARP_INVERSE_MAP
    rgb = cv2.warpPerspective(source, to_source, (dense, rows), flags=flags, borderMode=cv2.BORDER_REPLICATE)
    inside = cv2.warpPerspective(view.mask.astype(np.uint8), to_view, (dense, rows),
                                 flags=cv2.INTER_NEAREST | cv2.WARP_INVERSE_MAP)
    step = 2 if dense > MAX_LENGTH else 1
    if step == 2:
        size = (dense // 2, rows)
        rgb = resize(np.asarray(rgb, np.uint8), *size)
        inside = cv2.resize(inside, size, interpolation=cv2.INTER_NEAREST)
        # Pixel 0 now covers 0 and 1: its centre lies at 0.5.
        to_view = to_view @ np.array([[2, 0, 0.5], [0, 1, 0], [0, 0, 1.0]])
    luma = cv2.cvtColor(rgb, cv2.COLOR_RGB2GRAY).astype(np.float32)
    mask = inside > 0
    slope = _slope(luma, mask)
    if slope != 0.0:
        n = luma.shape[1]
        m = np.array([[1, 0, 0], [slope, 1, -slope * n / 2]])
        rgb = cv2.warpAffine(rgb, m, (n, rows), flags=flags, borderMode=cv2.BORDER_REPLICATE)
        mask = cv2.warpAffine(mask.astype(np.uint8), m, (n, rows), flags=cv2.INTER_NEAREST | cv2.WARP_INVERSE_MAP) > 0
        luma = cv2.cvtColor(rgb, cv2.COLOR_RGB2GRAY).astype(np.float32)
    return Strip(np.asarray(rgb, np.uint8), luma, np.asarray(mask, np.bool_), to_view, slope, thick, length)


def _reduced(native: NDArray[np.uint8], to_native: NDArray[np.float64],
             factor: float) -> tuple[NDArray[np.uint8], NDArray[np.float64]]:
    """Native crop averaged down by a whole factor when the strip is sampled more coarsely than the crop."""
    k = int(factor)
    if k < 2:
        return native, to_native
    h, w = native.shape[:2]
    size = (max(1, w // k), max(1, h // k))
    small = resize(native, *size)
    sx, sy = size[0] / w, size[1] / h
    to_small = np.array([[sx, 0, 0.5 * sx - 0.5], [0, sy, 0.5 * sy - 0.5], [0, 0, 1.0]])
    return np.asarray(small, np.uint8), to_small @ to_native


def _profiles(luma: Plane, mask: NDArray[np.bool_]) -> NDArray[np.float32]:
    """(STRETCHES, t) mean lightness across the thickness in equal stretches of the length; nan off the panel."""
    t, n = luma.shape
    edges = np.linspace(0, n, STRETCHES + 1).astype(int)
    out = np.full((STRETCHES, t), np.nan, np.float32)
    for i in range(STRETCHES):
        cols = slice(int(edges[i]), int(edges[i + 1]))
        weight = mask[:, cols].sum(axis=1)
        ok = weight >= 0.6 * max(1, edges[i + 1] - edges[i])
        sums = (luma[:, cols] * mask[:, cols]).sum(axis=1)
        out[i, ok] = sums[ok] / weight[ok]
    return out


def _slope(luma: Plane, mask: NDArray[np.bool_]) -> float:
    """Rows per column by which layers climb against the strip, by matching each stretch's profile with the next."""
    t, n = luma.shape
    if n < 4 * STRETCHES or t < 10:
        return 0.0
    rows = _profiles(luma, mask)
    filled = np.where(np.isnan(rows), np.nanmean(rows) if np.isfinite(rows).any() else 0.0, rows)
    sharp = filled - cv2.blur(filled, (max(3, t // 4) | 1, 1))
    # A step of one row per stretch at most: steeper is not the edge's long side.
    reach = max(1, min(t // 6, 6))
    # Quarter rows by one interpolation; every trial is then a plain look-up.
    fine = np.stack([np.interp(np.arange(4 * t) / 4, np.arange(t), row) for row in sharp])
    at = 4 * np.arange(t)[None, :]
    place = (2 * np.arange(STRETCHES) / (STRETCHES - 1) - 1)[:, None]
    best, best_score, flat_score = 0.0, -np.inf, 0.0
    for step in np.linspace(-reach, reach, 8 * reach + 1):
        moved = np.take_along_axis(fine, np.clip(at + np.round(4 * step * place).astype(int), 0, 4 * t - 1), axis=1)
        total = moved.sum(axis=0)
        score = float(total @ total) / max(float((moved * moved).sum()) * STRETCHES, 1e-6)
        if abs(step) < 1e-9:
            flat_score = score
        if score > best_score:
            best, best_score = float(step), score
    if best_score < flat_score + 0.03:
        return 0.0
    return best * 2 / (n * (STRETCHES - 1) / STRETCHES)
