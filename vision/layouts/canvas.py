"""The picture that the layout net sees: a panel of any size and shape brought to one canvas, with tone, figure and grain.

Panels taller than wide are turned a quarter first; then each side is stretched to the canvas by itself. Level and upright
lines stay so, and what mirrors about them still mirrors; the net is told by how much it was stretched.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from vision.grain.flow import resolved
from vision.resize import resize, resize_map
from vision.types import GrainField, WorkingView

#: Size of the canvas, px.
WIDE, TALL = 320, 256
#: Channels: figure (levelled lightness), lightness, a*, b*, grain direction (cos, sin of twice the angle times coherence),
#: where the panel is, and the logarithm of the stretch.
CHANNELS = 8
#: Values are kept within this, in steps of 1 / `STEPS`, so that they can travel as bytes while the net is taught.
STEPS = 40.0
_LEVEL_PX = 12.0


@dataclass(frozen=True, eq=False)
class Canvas:
    """`channels` (CHANNELS, TALL, WIDE) float32. `turned`: whether the view was turned a quarter (counter-clockwise);
    `width`, `height`: of the view, px."""

    channels: NDArray[np.float32]
    turned: bool
    width: int
    height: int

    @property
    def scale(self) -> NDArray[np.float64]:
        """(x, y) view px a canvas px, of the view as turned."""
        long, short = (self.height, self.width) if self.turned else (self.width, self.height)
        return np.array([long / WIDE, short / TALL])

    def to_view(self, points: NDArray[np.float64]) -> NDArray[np.float64]:
        """Points (n, 2) on the canvas as points on the view (pixel centres are whole numbers on both)."""
        p = (np.asarray(points, np.float64) + 0.5) * self.scale - 0.5
        return np.c_[self.width - 1 - p[:, 1], p[:, 0]] if self.turned else p

    def to_canvas(self, points: NDArray[np.float64]) -> NDArray[np.float64]:
        """Points (n, 2) on the view as points on the canvas."""
        p = np.asarray(points, np.float64)
        if self.turned:
            p = np.c_[p[:, 1], self.width - 1 - p[:, 0]]
        return (p + 0.5) / self.scale - 0.5


def _mean_at(values: NDArray[np.float32], cover: NDArray[np.float32], sigma: float) -> NDArray[np.float32]:
    """Gaussian mean over the covered part."""
    share = np.maximum(cv2.GaussianBlur(cover, (0, 0), sigma), 1e-3)
    return np.asarray(cv2.GaussianBlur(values * cover, (0, 0), sigma) / share, np.float32)


def make_canvas(view: WorkingView, field: GrainField) -> Canvas:
    """Canvas of a view and its grain field."""
    height, width = view.mask.shape
    turned = height > width

    def laid(values: NDArray) -> NDArray:
        return np.ascontiguousarray(np.rot90(values)) if turned else values

    lab = np.asarray(cv2.cvtColor(resize(laid(view.pixels), WIDE, TALL), cv2.COLOR_RGB2LAB), np.float32)
    cover = resize(laid(view.mask).view(np.uint8) * np.uint8(255), WIDE, TALL) > 127
    inside = cover.astype(np.float32)
    light = lab[..., 0] * np.float32(100 / 255)
    detail = (light - _mean_at(light, inside, _LEVEL_PX)) * inside
    strength = np.sqrt(_mean_at(detail * detail, inside, 2 * _LEVEL_PX) + 0.09)
    count = max(float(inside.sum()), 1.0)
    means = [float((c * inside).sum()) / count for c in (light, lab[..., 1], lab[..., 2])]
    weight = np.where(resolved(field), field.coherence, 0).astype(np.float32)
    double = np.radians(2 * field.angle)
    sign = np.float32(-1 if turned else 1)  # a quarter turn adds 180 degrees to the doubled angle
    direction = resize_map(laid(np.dstack([sign * weight * np.cos(double), sign * weight * np.sin(double)]).astype(np.float32)),
                           WIDE, TALL)
    long, short = max(height, width), min(height, width)
    stretch = math.log((long / short) / (WIDE / TALL))
    channels = np.stack([
        detail / strength, (light - means[0]) * inside / 12, (lab[..., 1] - means[1]) * inside / 6,
        (lab[..., 2] - means[2]) * inside / 8, 2 * direction[..., 0] * inside, 2 * direction[..., 1] * inside, inside,
        np.full((TALL, WIDE), stretch, np.float32)])
    return Canvas(np.clip(channels, -3, 3).astype(np.float32), turned, width, height)
