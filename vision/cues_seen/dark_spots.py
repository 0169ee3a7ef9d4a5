"""Dark round spots - knots, mostly - and how their colour differs from that of the wood around them.

A knot is other wood than its surroundings, end grain full of resin, and is of another hue; a shadow, a hole or a plain dark blot
is only darker. (Relief of a knot, by a rim lit from one side, by its fine detail and by checks in it, was tried on real photos
and told nothing there: the spots are a dozen pixels wide.)
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from vision.grain.knots import find_spots
from vision.types import WorkingView

#: Angles and radii read round a spot, in its own radii; most spots read; least radius in photo px; least contrast of a spot.
ANGLES, RADII, MOST, LEAST_PX, LEAST_CONTRAST = 48, np.linspace(0.0, 2.2, 34), 4, 4.0, 1.5
#: Where a spot's own colour is read, and that of its surroundings, radii.
CORE, AROUND = 0.6, 1.6
STEP = 4


@dataclass(frozen=True)
class DarkSpot:
    """A spot at (x, y), `radius`, working-view px. `tint`: distance of its chromaticity (shares of red, green
    and blue) from that around it."""

    x: float
    y: float
    radius: float
    tint: float


def dark_spots(view: WorkingView) -> tuple[DarkSpot, ...]:
    """Spots darker than what is around them, most contrast first, that lie wholly on the panel."""
    out: list[DarkSpot] = []
    for spot in find_spots(view, STEP):
        if spot.dark and spot.contrast >= LEAST_CONTRAST and len(out) < MOST:
            tint = _tint(view, spot.x, spot.y, spot.radius)
            if math.isfinite(tint):
                out.append(DarkSpot(spot.x, spot.y, spot.radius, tint))
    return tuple(out)


def _tint(view: WorkingView, x: float, y: float, radius: float) -> float:
    """Change of colour of a spot; nan where it is too small or reaches over the panel's rim."""
    centre: NDArray[np.float64] = view.photo_points(np.array([[x, y]]))[0] - np.asarray(view.native_origin)
    radius *= view.px_scale
    if radius < LEAST_PX:
        return math.nan
    phi = np.linspace(0, 2 * np.pi, ANGLES, endpoint=False)
    at_x = (centre[0] + radius * RADII[:, None] * np.cos(phi)).astype(np.float32)
    at_y = (centre[1] + radius * RADII[:, None] * np.sin(phi)).astype(np.float32)
    inside = np.asarray(cv2.remap(view.native_mask.view(np.uint8), at_x, at_y, cv2.INTER_NEAREST)) > 0
    if inside.mean() < 0.9:
        return math.nan
    rgb = np.asarray(cv2.remap(view.native, at_x, at_y, cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE))
    values = rgb.astype(np.float64) + 8.0
    # shares of the light, in which a shade is no change; the offset keeps the noise of black down
    colour = values / values.sum(axis=2, keepdims=True)
    core, around = np.median(colour[RADII < CORE], axis=(0, 1)), np.median(colour[RADII > AROUND], axis=(0, 1))
    return float(np.sqrt(((core - around) ** 2).sum()))
