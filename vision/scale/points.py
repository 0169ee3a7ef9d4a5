"""Millimetres along the line between two points whose distance somebody measured."""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

from vision.errors import UsageError
from vision.millimetres import Point, Scale
from vision.scale.pose import FOCAL_SHARE

#: Standard error of a point set by hand, px (each end, along the line), and of the length stated, as a share.
POINT_PX, STATED_SHARE = 1.5, 0.001
#: How the surface may run away from the camera along the line: standard deviation of the tangent of its slant.
SLANT = 1.0


def scale_of_points(a: Point, b: Point, mm: float, size: tuple[int, int], *, focal_px: float | None = None) -> Scale:
    """Scale along the line from `a` to `b` (photo px), `mm` apart.

    One line says nothing about the surface's tilt: other directions stay unmeasured, and parts of the line carry the doubt
    whether it runs away from the camera. `size`: (width, height) of the photo.

    Raises UsageError for points closer than 10 px and lengths that cannot be.
    """
    length = math.dist(a, b)
    if length < 10:
        raise UsageError("--scale", "the two points are less than 10 px apart.", "Mark a longer line; it measures better.")
    if not (math.isfinite(mm) and 0 < mm <= 20_000):
        raise UsageError("--scale", f"a length of {mm:g} mm cannot be.", "Give mm, above 0 and up to 20000.")
    focal = focal_px if focal_px is not None else FOCAL_SHARE * max(size)
    slip = POINT_PX / length
    depth = SLANT * length / focal
    moves: NDArray[np.float64] = np.array([
        [[mm, -mm * slip], [0.0, 1.0 - slip]],  # the first point is off along the line
        [[mm, 0.0], [0.0, 1.0 + slip]],  # the second is
        [[mm * (1 + depth), 0.0], [depth, 1.0]],  # the line runs away from the camera
    ])
    words = (f"Two points {mm:g} mm apart. Millimetres hold along that line only; other directions and places would need the "
             "surface's tilt, which a single line does not tell.")
    along = np.array([[mm, 0.0], [0.0, 1.0]])
    return Scale("points", (a, b), words, None, along, moves, share=STATED_SHARE)
