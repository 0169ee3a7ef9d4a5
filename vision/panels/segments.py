"""Straight line segments on the working image, and how different the two sides of each one look."""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

#: Segments shorter than this many working pixels are texture, not the border of a panel.
LEAST_LENGTH = 18.0


@dataclass(frozen=True, eq=False)
class Segments:
    """Line segments. `ends`: (n, 4) float32 x1, y1, x2, y2 in working pixels; `contrast`: (n,) L*a*b* difference of
    the two sides, see `side_contrast`."""

    ends: NDArray[np.float32]
    contrast: NDArray[np.float32]

    @property
    def length(self) -> NDArray[np.float32]:
        """(n,) lengths in working pixels."""
        return np.hypot(self.ends[:, 2] - self.ends[:, 0], self.ends[:, 3] - self.ends[:, 1])


def find_segments(lab: NDArray[np.float32]) -> Segments:
    """Segments of an (h, w, 3) L*a*b* image, broken pieces on one line joined."""
    grey = np.clip(lab[..., 0] * 2.55, 0, 255).astype(np.uint8)
    found = cv2.createLineSegmentDetector(cv2.LSD_REFINE_NONE).detect(grey)[0]
    if found is None:
        return Segments(np.empty((0, 4), np.float32), np.empty(0, np.float32))
    ends = join(found.reshape(-1, 4).astype(np.float32))
    ends = ends[np.hypot(ends[:, 2] - ends[:, 0], ends[:, 3] - ends[:, 1]) >= LEAST_LENGTH]
    return Segments(ends, side_contrast(lab, ends))


def join(ends: NDArray[np.float32], *, gap: float = 12.0, apart: float = 2.0, turn: float = 4.0) -> NDArray[np.float32]:
    """Join segments that continue each other: `gap` px between ends, `apart` px off the line, `turn` degrees of bend."""
    ends = ends[np.argsort(-np.hypot(ends[:, 2] - ends[:, 0], ends[:, 3] - ends[:, 1]), kind="stable")]
    ends = ends[np.hypot(ends[:, 2] - ends[:, 0], ends[:, 3] - ends[:, 1]) >= 6.0]
    alive = np.ones(len(ends), bool)
    middle = (ends[:, :2] + ends[:, 2:]) / 2
    half = np.hypot(*(ends[:, 2:] - ends[:, :2]).T) / 2
    angle = np.arctan2(ends[:, 3] - ends[:, 1], ends[:, 2] - ends[:, 0])
    for i in range(min(len(ends), 150)):
        if not alive[i]:
            continue
        direction = np.array([np.cos(angle[i]), np.sin(angle[i])])
        away = middle - middle[i]
        along, off = away @ direction, away @ np.array([-direction[1], direction[0]])
        bend = np.abs((angle - angle[i] + np.pi / 2) % np.pi - np.pi / 2)
        near = alive & (bend < np.deg2rad(turn)) & (np.abs(off) < apart) & (np.abs(along) - half - half[i] < gap)
        near[i] = False
        if near.any():
            points = np.r_[ends[near].reshape(-1, 2), ends[i].reshape(2, 2)]
            reach = (points - middle[i]) @ direction
            ends[i] = np.r_[middle[i] + reach.min() * direction, middle[i] + reach.max() * direction]
            middle[i], half[i] = (ends[i, :2] + ends[i, 2:]) / 2, (reach.max() - reach.min()) / 2
            alive[near] = False
    return ends[alive]


#: Distances (px) from the line of the bands compared: close ones see a narrow gap, farther ones a change of tone.
CLOSE, FAR = (1.5, 2.5), (3.0, 5.0, 7.0)


def side_contrast(lab: NDArray[np.float32], ends: NDArray[np.float32]) -> NDArray[np.float32]:
    """(n,) how different the two sides of each segment look, in L*a*b* units.

    The larger of two figures: the distance between the mean colours of the far bands, and the 30th percentile along the
    line of the distance between the close bands. The border of a panel differs all along, a streak of grain does not.
    """
    if not len(ends):
        return np.empty(0, np.float32)
    h, w = lab.shape[:2]
    smooth = np.asarray(cv2.blur(lab, (3, 3)), dtype=np.float32)
    share = np.linspace(0.06, 0.94, 16, dtype=np.float32)
    a, b = ends[:, None, :2], ends[:, None, 2:]
    line = a + (b - a) * share[None, :, None]
    direction = (ends[:, 2:] - ends[:, :2]) / np.maximum(np.hypot(*(ends[:, 2:] - ends[:, :2]).T), 1e-6)[:, None]
    normal = np.c_[-direction[:, 1], direction[:, 0]][:, None]

    def band(image: NDArray[np.float32], offsets: tuple[float, ...]) -> NDArray[np.float32]:
        total = np.zeros((*line.shape[:2], 3), np.float32)
        for off in offsets:
            p = np.round(line + off * normal).astype(int)
            total += image[np.clip(p[..., 1], 0, h - 1), np.clip(p[..., 0], 0, w - 1)]
        return np.asarray(total / len(offsets), dtype=np.float32)

    opposite = tuple(-o for o in FAR), tuple(-o for o in CLOSE)
    far = np.linalg.norm((band(smooth, FAR) - band(smooth, opposite[0])).mean(axis=1), axis=1)
    close = np.percentile(np.linalg.norm(band(lab, CLOSE) - band(lab, opposite[1]), axis=2), 30, axis=1)
    return np.asarray(np.maximum(far, close), dtype=np.float32)
