"""Plain drawings of joints and round things with geometry known in closed form."""

from __future__ import annotations

import cv2
import numpy as np
from numpy.typing import NDArray

Pixels = NDArray[np.uint8]
FINE = 8


def fingers(angle: float, *, pitch: float = 40.0, pin: float = 0.4, depth: float = 30.0, count: int = 5, width: int = 220,
            past: int = 0, seed: int = 0, grain: float = 12.0, pin_level: int = 95) -> tuple[Pixels, NDArray[np.float64]]:
    """A board whose grain runs along x with `count` pins of end grain at its right end; (picture, (sides, 2) rows at mid depth).

    Tails open towards the right by `angle` degrees a side.
    """
    rng = np.random.default_rng(seed)
    height = round(pitch * count)
    streaks = cv2.GaussianBlur(rng.normal(0, 1, (height, 1)), (1, 9), sigmaX=0.1, sigmaY=1.5)
    board = 165 + grain * streaks / streaks.std() + rng.normal(0, 2.0, (height, width))
    end = pin_level + rng.normal(0, 5.0, (height, width))
    cover = np.zeros((height * FINE, width * FINE), np.uint8)
    shoulder, last = width - past - depth, width - past
    reach = 0.5 * depth * np.tan(np.deg2rad(angle))
    sides = []
    for k in range(count):
        a, b = pitch * (k + 0.5 - pin / 2), pitch * (k + 0.5 + pin / 2)
        sides += [a, b]
        corners = np.array([[shoulder, a - reach], [last, a + reach], [last, b - reach], [shoulder, b + reach]])
        cv2.fillPoly(cover, [np.round(corners * FINE).astype(np.int32)], 255)
    share = cv2.resize(cover, (width, height), interpolation=cv2.INTER_AREA) / 255.0
    grey = board * (1 - share) + end * share
    if past:
        grey[:, width - past:] = 60 + rng.normal(0, 3, (height, past))
    rgb = np.clip(grey[..., None] * np.array([1.0, 0.82, 0.62]), 0, 255).astype(np.uint8)
    # a pixel centre lies half a pixel past the corner that coordinates are counted from
    return np.ascontiguousarray(rgb), np.array(sides) - 0.5


def discs(places: list[tuple[float, float, float]], size: tuple[int, int] = (240, 320), *, level: int = 40,
          seed: int = 0) -> Pixels:
    """Dark discs (x, y, radius) on a plain face with a little noise."""
    h, w = size
    rng = np.random.default_rng(seed)
    ys, xs = np.mgrid[0:h, 0:w]
    grey = 170 + rng.normal(0, 2.5, (h, w))
    for x, y, r in places:
        cover = np.clip(r - np.hypot(xs - x, ys - y) + 0.5, 0, 1)
        grey = grey * (1 - cover) + level * cover
    return np.clip(grey[..., None] * np.array([1.0, 0.88, 0.7]), 0, 255).astype(np.uint8)
