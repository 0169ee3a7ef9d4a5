"""Differences of directions, which wrap at 180 degrees."""

from __future__ import annotations

import numpy as np
from numpy.typing import ArrayLike, NDArray


def angle_difference(a: ArrayLike, b: ArrayLike) -> NDArray[np.float64]:
    """Signed difference a - b of two directions in degrees, wrapped to [-90, 90): 179 and 1 differ by -2."""
    return np.mod(np.asarray(a, np.float64) - np.asarray(b, np.float64) + 90, 180) - 90


def rms_error(angle: ArrayLike, truth: ArrayLike, mask: ArrayLike | None = None) -> float:
    """Root mean square of `angle_difference` in degrees over the cells where `mask` is True; nan without any."""
    difference = angle_difference(angle, truth)
    if mask is not None:
        difference = difference[np.broadcast_to(np.asarray(mask, bool), difference.shape)]
    return float(np.sqrt(np.mean(difference**2))) if difference.size else float("nan")
