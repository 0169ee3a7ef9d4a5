"""The picture that the layout net sees: a panel of any size and shape brought to one canvas, with tone, figure and grain.

A panel whose grain runs one way, but at a slant to its edges, is turned straight first and its largest upright box taken:
photographed from aside, or outlined by hand, panels are not always rectified to the way they were made. Panels taller than
wide are turned a quarter; then each side is stretched to the canvas by itself. Level and upright lines stay so, and what
mirrors about them still mirrors; the net is told by how much it was stretched.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from vision.grain.field import grain_field
from vision.grain.flow import mean_direction, resolved
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


#: Grain this far (degrees) from both edges is turned straight, when one direction explains this share of it.
_SLANT, _ONE_WAY = 7.0, 0.75
#: A box smaller than this (px, either way) is not worth turning for.
_LEAST_BOX = 64


@dataclass(frozen=True, eq=False)
class Canvas:
    """`channels` (CHANNELS, TALL, WIDE) float32. `width`, `height`: of the view, px. `box` (width, height): of the part laid on
    the canvas, the view itself unless it was turned straight; `back` 2x3: from that part's px to the view's. `turned`:
    whether the part was turned a quarter (counter-clockwise)."""

    channels: NDArray[np.float32]
    turned: bool
    width: int
    height: int
    box: tuple[int, int]
    back: NDArray[np.float64]

    @property
    def scale(self) -> NDArray[np.float64]:
        """(x, y) view px a canvas px, of the part as turned."""
        long, short = self.box[::-1] if self.turned else self.box
        return np.array([long / WIDE, short / TALL])

    def to_view(self, points: NDArray[np.float64]) -> NDArray[np.float64]:
        """Points (n, 2) on the canvas as points on the view (pixel centres are whole numbers on both)."""
        p = (np.asarray(points, np.float64) + 0.5) * self.scale - 0.5
        if self.turned:
            p = np.c_[self.box[0] - 1 - p[:, 1], p[:, 0]]
        return np.asarray(p @ self.back[:, :2].T + self.back[:, 2])

    def to_canvas(self, points: NDArray[np.float64]) -> NDArray[np.float64]:
        """Points (n, 2) on the view as points on the canvas."""
        p = (np.asarray(points, np.float64) - self.back[:, 2]) @ np.linalg.inv(self.back[:, :2]).T
        if self.turned:
            p = np.c_[p[:, 1], self.box[0] - 1 - p[:, 0]]
        return np.asarray((p + 0.5) / self.scale - 0.5)


def whole(width: int, height: int) -> tuple[tuple[int, int], NDArray[np.float64]]:
    """Box and map of a view that is laid on the canvas as it is."""
    return (width, height), np.array([[1.0, 0, 0], [0, 1.0, 0]])


def _slant(field: GrainField) -> float:
    """Degrees by which the panel must be turned clockwise for its grain to run along an edge; 0 when it should not be."""
    weight = np.where(resolved(field), field.coherence, 0).astype(np.float64)
    mean, order = mean_direction(field.angle, weight)
    if order < _ONE_WAY or not math.isfinite(mean):
        return 0.0
    off = (mean + 45) % 90 - 45
    return float(off) if abs(off) > _SLANT else 0.0


def _straightened(view: WorkingView, degrees: float,
                  ) -> tuple[NDArray[np.uint8], NDArray[np.bool_], NDArray[np.float64]] | None:
    """(pixels, mask, map back to the view) of the largest box of a view turned clockwise; None when too little is left."""
    height, width = view.mask.shape
    t = math.radians(degrees)
    c, s = math.cos(t), math.sin(t)
    corners = np.array([[0, 0], [width - 1, 0], [0, height - 1], [width - 1, height - 1]], float)
    turn = np.array([[c, -s], [s, c]])  # clockwise on the screen
    at = corners @ turn.T
    low = at.min(0)
    size = tuple(int(v) for v in np.ptp(at, axis=0) + 2)
    back = np.c_[turn.T, turn.T @ low]
    flags = cv2.WARP_INVERSE_MAP | cv2.INTER_LINEAR
    known = cv2.warpAffine(view.mask.astype(np.uint8) * np.uint8(255), back, size, flags=flags) > 200
    x0, y0, x1, y1 = _largest_box(known)
    if min(x1 - x0, y1 - y0) < _LEAST_BOX:
        return None
    back[:, 2] += back[:, :2] @ [x0, y0]
    pixels = cv2.warpAffine(view.pixels, back, (x1 - x0, y1 - y0), flags=flags, borderMode=cv2.BORDER_REPLICATE)
    return np.asarray(pixels, np.uint8), np.ascontiguousarray(known[y0:y1, x0:x1]), back


def _largest_box(known: NDArray[np.bool_]) -> tuple[int, int, int, int]:
    """Half-open (x0, y0, x1, y1) of the largest upright box that is known all over, on a grid of about 48 cells."""
    step = max(1, max(known.shape) // 48)
    rows, cols = known.shape[0] // step, known.shape[1] // step
    cells = known[:rows * step, :cols * step].reshape(rows, step, cols, step).mean((1, 3)) > 0.97
    run = np.zeros(cols, int)
    best = (0, 0, 0, 0, 0)
    for r in range(rows):
        run = np.where(cells[r], run + 1, 0)
        for left in range(cols):
            low = run[left]
            for right in range(left, cols):
                low = min(low, run[right])
                if low == 0:
                    break
                area = int(low) * (right - left + 1)
                if area > best[0]:
                    best = (area, left, r + 1 - int(low), right + 1, r + 1)
    return best[1] * step, best[2] * step, best[3] * step, best[4] * step


def _mean_at(values: NDArray[np.float32], cover: NDArray[np.float32], sigma: float) -> NDArray[np.float32]:
    """Gaussian mean over the covered part; blurred on a picture shrunk as far as that changes next to nothing."""
    fold = max(1, int(sigma / 6))
    rim, (h, w) = fold * (int(4 * sigma) // fold), values.shape  # mirrored at full size: a dark outermost row counts once
    sides = (rim, rim + -h % fold, rim, rim + -w % fold, cv2.BORDER_REFLECT_101)
    wide = np.asarray(np.dstack([cv2.copyMakeBorder(v, *sides) for v in (values * cover, cover)]), np.float32)
    small = resize_map(wide, wide.shape[1] // fold, wide.shape[0] // fold)
    widened = (fold**2 - 1) / 4  # variance that shrinking and growing add by themselves
    soft = cv2.GaussianBlur(small, (0, 0), float(np.sqrt(sigma**2 - widened)) / fold)
    edge = rim // fold - 1
    mean = np.asarray(soft[edge:-edge, edge:-edge, 0] / np.maximum(soft[edge:-edge, edge:-edge, 1], 1e-3), np.float32)
    return resize_map(mean, mean.shape[1] * fold, mean.shape[0] * fold)[fold : fold + h, fold : fold + w]


def make_canvas(view: WorkingView, field: GrainField) -> Canvas:
    """Canvas of a view and its grain field."""
    slant = _slant(field)
    if slant != 0:
        part = _straightened(view, slant)
        if part is not None:
            pixels, mask, back = part
            h, w = mask.shape
            return _laid(pixels, mask, grain_field(pixels, mask=mask), (view.mask.shape[1], view.mask.shape[0]), (w, h), back)
    size = (view.mask.shape[1], view.mask.shape[0])
    return _laid(view.pixels, view.mask, field, size, *whole(*size))


def _laid(pixels: NDArray[np.uint8], mask: NDArray[np.bool_], field: GrainField, size: tuple[int, int], box: tuple[int, int],
          back: NDArray[np.float64]) -> Canvas:
    """Canvas of pixels, mask and grain; `size`: width and height of the view they come from."""
    height, width = mask.shape
    turned = height > width

    def laid(values: NDArray) -> NDArray:
        return np.ascontiguousarray(np.rot90(values)) if turned else values

    lab = np.asarray(cv2.cvtColor(resize(laid(pixels), WIDE, TALL), cv2.COLOR_RGB2LAB), np.float32)
    cover = resize(laid(mask).view(np.uint8) * np.uint8(255), WIDE, TALL) > 127
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
    return Canvas(np.clip(channels, -3, 3).astype(np.float32), turned, *size, box, back)
