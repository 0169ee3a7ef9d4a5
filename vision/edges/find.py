"""The strip beside a panel where its thickness shows: along which of the outline's sides, and how deep.

A face's outline ends at an arris; beyond it a narrow side shows as a band bounded by a second line parallel to the first.
An outline drawn round face and edge together holds that band just inside instead.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from vision.edges.face_layer import find_line
from vision.edges.frame import block_profiles, lay_out
from vision.types import Outline

#: Least length of a side in photo pixels, and thickness looked for, as shares of the side's length and in pixels.
LEAST_SIDE, LEAST_PX, DEEPEST_SHARE, DEEPEST_PX = 80.0, 6.0, 0.35, 220.0
#: A band counts where both lines stand out by this much (change of colour over its spread between stretches).
STANDS_OUT = 3.0


@dataclass(frozen=True)
class FoundStrip:
    """A likely narrow side. `outline`: four photo pixels; `face_at`: a point on the face's side; `depth_px`: thickness;
    `strength`: how clearly the weaker of its two lines stands out; `inside`: the band lies within the panel's outline."""

    outline: Outline
    face_at: tuple[float, float]
    depth_px: float
    strength: float
    inside: bool


def find_strips(pixels: NDArray[np.uint8], outline: Outline | NDArray[np.float64]) -> tuple[FoundStrip, ...]:
    """Likely narrow sides along a panel's outline (photo pixels), the clearest first; empty where none stands out."""
    points = np.asarray(outline, np.float64)
    if len(points) < 3:
        return ()
    area = 0.5 * float(np.sum(points[:, 0] * np.roll(points[:, 1], -1) - np.roll(points[:, 0], -1) * points[:, 1]))
    found = []
    for a, b in zip(points, np.roll(points, -1, axis=0), strict=True):
        length = float(np.hypot(*(b - a)))
        if length < LEAST_SIDE:
            continue
        outward = np.array([b[1] - a[1], a[0] - b[0]]) / length * (1 if area > 0 else -1)
        for inside in (False, True):
            strip = _along(pixels, a, b, outward, length, inside=inside)
            if strip is not None:
                found.append(strip)
    return tuple(sorted(found, key=lambda s: -s.strength))


def _along(pixels: NDArray[np.uint8], a: NDArray[np.float64], b: NDArray[np.float64], outward: NDArray[np.float64], length: float,
           *, inside: bool) -> FoundStrip | None:
    way = -outward if inside else outward
    # the middle of the side: its ends hold corners
    p, q = a + 0.06 * (b - a), b - 0.06 * (b - a)
    h, w = pixels.shape[:2]
    deepest = min(DEEPEST_PX, DEEPEST_SHARE * length)
    while True:  # as deep as the photo goes
        band = np.stack([p, q, q + deepest * way, p + deepest * way])
        if ((band > -3) & (band < [w + 3, h + 3])).all():
            break
        deepest *= 0.75
        if deepest < 2 * LEAST_PX:
            return None
    frame = lay_out(pixels, band, face_at=tuple((p + q) / 2 - 2 * deepest * way), refine=False)
    if frame is None:
        return None
    blocks = block_profiles(frame.lab).astype(np.float64)
    slack = max(3, round(6 / frame.scale))
    arris = find_line(blocks[max(0, frame.top - slack - 4):frame.top + slack + 4], 3.0, 2.0 * slack + 5)
    if arris is None:
        return None
    start = max(0, frame.top - slack - 4) + arris.row
    least = max(4.0, LEAST_PX / frame.scale)
    other = find_line(blocks[round(start):frame.top + frame.rows], least, frame.rows - 4.0)
    if other is None or min(arris.even, other.even) < STANDS_OUT:
        return None
    first, second = start - 0.5, start + other.row - 0.5
    n = frame.rgb.shape[1]
    corners = frame.photo_points(np.array([[-0.5, first], [n - 0.5, first], [n - 0.5, second], [-0.5, second]]))
    # inside, the band lies next to the outline and its arris is the deeper line
    beyond = corners[2:] if inside else corners[:2]
    face = beyond.mean(axis=0) + deepest * way * (0.5 if inside else -0.5)
    depth = float(np.hypot(*(corners[3] - corners[0])))
    return FoundStrip(tuple((float(x), float(y)) for x, y in corners), (float(face[0]), float(face[1])), depth,
                      math.sqrt(min(arris.even, other.even)), inside)
