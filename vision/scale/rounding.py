"""How round the corners of a rectangle of card size are, in mm, corner by corner.

For every radius from sharp to 8 mm the border that a corner of that radius would have is laid over the photo; the radius
whose border gathers the greatest change of colour is the corner's own.
"""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from vision.scale.objects import CARD_MM, CARD_RADIUS_MM

Array = NDArray[np.float64]
RADII = np.arange(0.0, 8.01, 0.2)
#: Rays fan out from this point inside a corner (mm from both sides), in these directions about the diagonal.
FROM, FAN = 8.5, np.deg2rad(np.linspace(-16, 16, 17))
#: A corner is round like a card's within this much, mm, or more where pixels are coarse: so many px.
NEAR_MM, NEAR_PX = 0.9, 1.6
#: Least share of the rays that change where the border is, for a corner to count as seen.
SEEN = 0.6


@dataclass(frozen=True)
class Rounding:
    """`radius`: mm, of the corners together (nan: none seen); `good`, `bad`: corners whose own radius agrees and disagrees
    with a card's; `plausible`: the corners together agree and are clearly not sharp."""

    radius: float
    good: int
    bad: int
    plausible: bool


def _reach(radius: Array, angle: Array) -> Array:
    """Distance along a ray from (FROM, FROM) towards the corner at `angle` off the diagonal to the border of a corner at
    (0, 0) rounded by `radius`; mm. Straight border where the ray misses the arc."""
    way = np.stack([-np.cos(np.pi / 4 + angle), -np.sin(np.pi / 4 + angle)], axis=-1)
    straight = np.minimum(FROM / -way[..., 0], FROM / -way[..., 1])
    centre = radius[..., None] - FROM  # of the arc, relative to the start, both axes alike
    along = (way * centre).sum(axis=-1)
    off2 = (centre**2).sum(axis=-1) * 2 - along**2
    arc = along + np.sqrt(np.maximum(radius**2 - off2, 0))
    hit = np.stack([FROM + arc * way[..., 0], FROM + arc * way[..., 1]], axis=-1)
    on_arc = (radius**2 >= off2) & (hit <= radius[..., None] + 1e-9).all(axis=-1)
    return np.asarray(np.where(on_arc, arc, straight), dtype=np.float64)


def measured_rounding(photo: NDArray[np.uint8], plane: Array, px_per_mm: float) -> Rounding:
    """Rounding of the corners of a card-sized rectangle. `plane`: 3x3 photo px to mm, origin in the rectangle's middle."""
    to_photo: Array = np.linalg.inv(plane).astype(np.float64)
    step = 1 / max(2.0 * px_per_mm, 4.0)
    along = np.arange(FROM - 2.0, FROM * 1.5 + 1.5, step)
    reach = _reach(RADII[:, None], np.broadcast_to(FAN, (len(RADII), len(FAN))))
    index = np.clip((reach - along[0]) / step, 0, len(along) - 1.001)
    low, part = index.astype(int), index - index.astype(int)
    index_low, index_high = index.min(), np.ceil(index.max())
    curves, seen = [], []
    rays = np.arange(len(FAN))
    for sx, sy in ((-1, -1), (1, -1), (1, 1), (-1, 1)):
        change = _change(photo, to_photo, np.array([sx, sy], dtype=np.float64), along, px_per_mm)
        reached = change[:, int(index_low) : int(index_high) + 1]
        level = max(1.5, float(np.median(reached.max(axis=1))))
        ray = np.minimum(change / level, 1.0)
        values = ray[rays[None], low] * (1 - part) + ray[rays[None], low + 1] * part
        curves.append(values.mean(axis=1))
        seen.append(float(curves[-1].max()) >= SEEN)
    near = max(NEAR_MM, NEAR_PX / px_per_mm)
    own = [float(RADII[int(np.argmax(c))]) for c in curves]
    good = sum(s and abs(r - CARD_RADIUS_MM) <= near for s, r in zip(seen, own, strict=True))
    bad = sum(s and abs(r - CARD_RADIUS_MM) > near for s, r in zip(seen, own, strict=True))
    if not any(seen):
        return Rounding(float("nan"), 0, 0, False)
    total = np.mean([c for c, s in zip(curves, seen, strict=True) if s], axis=0)
    radius = float(RADII[int(np.argmax(total))])
    card = float(np.interp(CARD_RADIUS_MM, RADII, total))
    sharp = float(total[RADII <= 0.9].max())
    blunt = float(total[RADII >= 6.0].max())
    clear = card > 1.06 * sharp and card > 1.03 * blunt
    return Rounding(radius, good, bad, bool(abs(radius - CARD_RADIUS_MM) <= near and clear))


def _change(photo: NDArray[np.uint8], to_photo: Array, corner: Array, along: Array, px_per_mm: float) -> Array:
    """(rays, places) change of colour along rays out of one corner, grey levels per px."""
    half = np.array(CARD_MM) / 2
    start = corner * (half - FROM)
    way = np.stack([np.cos(np.pi / 4 + FAN), np.sin(np.pi / 4 + FAN)], axis=-1) * corner
    points = start + along[None, :, None] * way[:, None]
    flat = np.c_[points.reshape(-1, 2), np.ones(points.size // 2)] @ to_photo.T
    x = (flat[:, 0] / flat[:, 2]).reshape(points.shape[:2]).astype(np.float32)
    y = (flat[:, 1] / flat[:, 2]).reshape(points.shape[:2]).astype(np.float32)
    x0, y0 = max(0, int(x.min()) - 2), max(0, int(y.min()) - 2)
    x1, y1 = min(photo.shape[1], int(x.max()) + 3), min(photo.shape[0], int(y.max()) + 3)
    if x1 - x0 < 3 or y1 - y0 < 3:
        return np.zeros(points.shape[:2])
    values = cv2.remap(photo[y0:y1, x0:x1].astype(np.float32), x - x0, y - y0, cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE)
    step_px = (along[1] - along[0]) * px_per_mm
    k = max(1, round(1.0 / step_px))
    slope = np.zeros_like(values)
    slope[:, k:-k] = (values[:, 2 * k :] - values[:, : -2 * k]) / (2 * k * step_px)
    return np.asarray(np.sqrt((slope**2).sum(axis=2)), dtype=np.float64)
