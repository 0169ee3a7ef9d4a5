"""The one resize of the project: every change of image size, in measuring and in training, goes through here."""

from __future__ import annotations

import cv2
import numpy as np
from numpy.typing import NDArray


def resize(image: NDArray[np.uint8], width: int, height: int) -> NDArray[np.uint8]:
    """Image (h, w[, c]) resized to (height, width[, c]); area averaging when shrinking, bicubic when growing."""
    if width < 1 or height < 1:
        raise ValueError(f"cannot resize to {width}x{height}")
    h, w = image.shape[:2]
    if (w, h) == (width, height):
        return image
    shrinking = width * height < w * h
    out = cv2.resize(image, (width, height), interpolation=cv2.INTER_AREA if shrinking else cv2.INTER_CUBIC)
    return np.asarray(out, dtype=image.dtype)


def fit_within(width: int, height: int, *, max_side: int | None = None, max_pixels: int | None = None) -> tuple[int, int]:
    """Largest (width, height) of the same shape that obeys both limits and does not exceed the original; never below 1."""
    scale = 1.0
    if max_side is not None:
        scale = min(scale, max_side / max(width, height))
    if max_pixels is not None:
        scale = min(scale, (max_pixels / (width * height)) ** 0.5)
    if scale >= 1.0:
        return width, height
    w, h = max(1, int(width * scale)), max(1, int(height * scale))
    return w, h


def resize_map(values: NDArray[np.float32], width: int, height: int) -> NDArray[np.float32]:
    """Measured map (h, w[, c]) float32 resized to (height, width[, c]); area averaging when shrinking, linear when growing.

    For maps rather than pictures: linear growth does not overshoot the range of the values as bicubic does.
    """
    if width < 1 or height < 1:
        raise ValueError(f"cannot resize to {width}x{height}")
    h, w = values.shape[:2]
    if (w, h) == (width, height):
        return values
    way = cv2.INTER_AREA if width * height < w * h else cv2.INTER_LINEAR
    layers = np.ascontiguousarray(values, dtype=np.float32)
    if layers.ndim == 3 and layers.shape[2] > 4:  # OpenCV resizes at most four channels at once
        parts = [np.atleast_3d(cv2.resize(np.ascontiguousarray(layers[..., k : k + 4]), (width, height), interpolation=way))
                 for k in range(0, layers.shape[2], 4)]
        return np.concatenate(parts, axis=2)
    out = np.asarray(cv2.resize(layers, (width, height), interpolation=way), dtype=np.float32)
    return out[..., None] if layers.ndim == 3 and out.ndim == 2 else out
