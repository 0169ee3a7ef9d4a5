"""Problems that need panels: the surface is too far away, or there is none.

Pure functions for whoever holds the panels: they take numbers and crops, and return a Problem or None.
"""

from __future__ import annotations

import math

import cv2
import numpy as np
from numpy.typing import NDArray

from vision.intake.problems import problem
from vision.types import Problem

#: Growth rings and pore lines of furniture timbers lie about 1 to 5 mm apart; 0.8 mm a pixel resolves the wider half.
COARSEST_MM_PER_PX = 0.8
#: A wave shorter than this cannot be told from sensor noise and JPEG rounding.
SHORTEST_WAVE_PX = 2.5
#: Panels narrower than this (short side, native pixels) hold too few grain lines to count.
SMALLEST_PANEL_PX = 48
#: Grey levels of fine contrast under which a surface has no texture that could be unresolved; sensor noise stays below.
LEAST_CONTRAST = 4.0


def too_far(
    native: NDArray[np.uint8],
    mask: NDArray[np.bool_],
    *,
    wavelength_px: float | None = None,
    mm_per_px: float | None = None,
) -> Problem | None:
    """The `too_far` problem when grain cannot be resolved on this panel, else None.

    Parameters
    ----------
    native : (h, w, 3) uint8 crop of the panel at full photo resolution (`WorkingView.native`).
    mask : (h, w) bool, True on the panel (`WorkingView.native_mask`).
    wavelength_px : dominant wavelength across the grain in *native* pixels (multiply a working-view wavelength by
        `WorkingView.px_scale`); None or nan when no grain was found, which alone is no fault: paint has none.
    mm_per_px : scale of the photo, if known.
    """
    if panel_short_side(mask) < SMALLEST_PANEL_PX:
        return problem("too_far")
    if mm_per_px is not None and mm_per_px > COARSEST_MM_PER_PX:
        return problem("too_far")
    if wavelength_px is None or not math.isfinite(wavelength_px) or wavelength_px >= SHORTEST_WAVE_PX:
        return None
    return problem("too_far") if fine_contrast(native, mask) >= LEAST_CONTRAST else None


def fine_contrast(native: NDArray[np.uint8], mask: NDArray[np.bool_]) -> float:
    """Root mean square, in grey levels, of what a 2 px Gaussian blur takes away inside the mask; 0 for an empty mask.

    Only noise lives in the finest waves of a plain painted panel: without contrast a short wavelength means nothing.
    """
    inside = cv2.erode(mask.astype(np.uint8), np.ones((5, 5), np.uint8), borderType=cv2.BORDER_REPLICATE) > 0
    if not inside.any():
        return 0.0
    grey = cv2.cvtColor(native, cv2.COLOR_RGB2GRAY).astype(np.float32)
    return float(np.sqrt(np.mean((grey - cv2.GaussianBlur(grey, (0, 0), 2.0))[inside] ** 2)))


def panel_short_side(mask: NDArray[np.bool_]) -> float:
    """Short side, in pixels, of the smallest turned rectangle round the True pixels; 0 for an empty mask."""
    seen = mask.any(axis=1)
    rows = np.flatnonzero(seen)
    if rows.size == 0:
        return 0.0
    # The first and last pixel of every row hold the hull of all of them, at a fraction of the time.
    first = mask[rows].argmax(axis=1)
    last = mask.shape[1] - 1 - mask[rows, ::-1].argmax(axis=1)
    points = np.stack([np.concatenate([first, last]), np.concatenate([rows, rows])], axis=1).astype(np.int32)
    (_, (width, height), _) = cv2.minAreaRect(cv2.convexHull(points))
    return float(min(width, height)) + 1.0


def no_wood_like_surface(
    likeness: NDArray[np.floating] | None, *, threshold: float = 0.5, least_share: float = 0.02
) -> Problem | None:
    """Problem when under `least_share` of a furniture-likeness map (values 0..1, any shape)
    reaches `threshold`; `None` (no map could be made) and an empty map count as no surface."""
    if likeness is None or likeness.size == 0:
        return problem("no_wood_like_surface")
    return problem("no_wood_like_surface") if float((np.asarray(likeness) >= threshold).mean()) < least_share else None
