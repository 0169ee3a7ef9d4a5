"""Where one surface ends and the next begins: a boundary map from colour, line segments and backbone features."""

from __future__ import annotations

import cv2
import numpy as np
from numpy.typing import NDArray

from vision.panels.segments import Segments
from vision.resize import resize_map


def boundary_map(lab: NDArray[np.float32], features: NDArray[np.float32], segments: Segments) -> NDArray[np.float32]:
    """Boundary strength 0..1 per working pixel, (h, w) float32.

    `features`: (rows, cols, k) float32 reduced backbone features of the cells, unit scale.
    """
    h, w = lab.shape[:2]
    fine = _step(lab, 1.2)
    half = resize_map(lab, max(1, w // 2), max(1, h // 2))
    broad = resize_map(_step(np.asarray(half, dtype=np.float32), 1.45), w, h)
    # Grain makes many fine steps close together; dividing by their local mean leaves the ones that stand out.
    crowd = cv2.blur(fine, (31, 31))
    colour = fine / (fine + 3.0 + 2.0 * crowd) + broad / (broad + 6.0)
    feature = resize_map(_feature_step(features), w, h)
    lines = np.zeros((h, w), np.float32)
    for (x1, y1, x2, y2), contrast in zip(segments.ends, segments.contrast, strict=True):
        length = float(np.hypot(x2 - x1, y2 - y1))
        weight = float(contrast / (contrast + 8.0) * length / (length + 40.0))
        if weight > 0.1:
            stroke = np.array([[x1, y1], [x2, y2]], np.float32)
            cv2.polylines(lines, [np.round(stroke * 8).astype(np.int32)], False, weight, 1, cv2.LINE_8, 3)
    drawn = cv2.GaussianBlur(cv2.dilate(lines, np.ones((2, 2), np.uint8)), (0, 0), 0.7)
    return np.asarray(np.clip(0.35 * colour + 0.35 * feature * (0.4 + colour) + 0.6 * drawn, 0, 1), dtype=np.float32)


def _step(lab: NDArray[np.float32], sigma: float) -> NDArray[np.float32]:
    """Gradient magnitude over all channels after smoothing, L*a*b* units per px at its size."""
    image = cv2.GaussianBlur(lab, (0, 0), sigma)
    dx, dy = cv2.Scharr(image, cv2.CV_32F, 1, 0, scale=1 / 16), cv2.Scharr(image, cv2.CV_32F, 0, 1, scale=1 / 16)
    square = cv2.transform(cv2.add(cv2.multiply(dx, dx), cv2.multiply(dy, dy)), np.ones((1, 3)))
    return np.asarray(cv2.sqrt(square), dtype=np.float32)


def _feature_step(features: NDArray[np.float32]) -> NDArray[np.float32]:
    """Distance between the features two cells apart, squashed to 0..1, (rows, cols)."""
    padded = np.pad(features, ((1, 1), (1, 1), (0, 0)), mode="edge")
    dx = np.linalg.norm(padded[1:-1, 2:] - padded[1:-1, :-2], axis=2)
    dy = np.linalg.norm(padded[2:, 1:-1] - padded[:-2, 1:-1], axis=2)
    step = np.hypot(dx, dy)
    return np.asarray(step / (step + 1.2 * np.median(step) + 1e-6), dtype=np.float32)
