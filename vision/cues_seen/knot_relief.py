"""Knots up close: does the spot stand in relief, or is it only a darker blob?

A knot is end grain in a face: it takes light and finish differently from the wood around it, checks open in it, and its rim
catches light on one side and throws shade on the other. Printed knots keep the sheen and the fine detail of what is around them.
"""

from __future__ import annotations

import math

import cv2
import numpy as np
from numpy.typing import NDArray

from vision.grain.knots import Knot
from vision.types import WorkingView

#: Angles and radii read round a knot, in knot radii; most knots read; least radius in photo px.
ANGLES, RADII, MOST, LEAST_PX = 48, np.linspace(0.0, 2.2, 34), 4, 4.0


def read_knot(view: WorkingView, knot: Knot) -> dict[str, float] | None:
    """Numbers of one knot, None where it is too small or reaches over the panel's rim.

    `depth`: tone of its surroundings over its inside, log; `rim`: steepest rise over the whole rise, per radius; `lit`: first
    harmonic of the tone round the rim, beyond what light falling across the place explains, over the surroundings; `detail`:
    fine contrast inside over outside, log; `crack`: how much darker its darkest part is than its middle tone, log; `tint`:
    change of colour without lightness.
    """
    centre = view.photo_points(np.array([[knot.x, knot.y]]))[0] - np.asarray(view.native_origin)
    radius = knot.radius * view.px_scale
    if radius < LEAST_PX:
        return None
    phi = np.linspace(0, 2 * np.pi, ANGLES, endpoint=False)
    at_x = (centre[0] + radius * RADII[:, None] * np.cos(phi)).astype(np.float32)
    at_y = (centre[1] + radius * RADII[:, None] * np.sin(phi)).astype(np.float32)
    inside = np.asarray(cv2.remap(view.native_mask.view(np.uint8), at_x, at_y, cv2.INTER_NEAREST)) > 0
    if inside.mean() < 0.9:
        return None
    rgb = np.asarray(cv2.remap(view.native, at_x, at_y, cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE))
    luma = np.asarray(cv2.cvtColor(rgb, cv2.COLOR_RGB2GRAY), np.float64)
    chroma = np.asarray(cv2.cvtColor(rgb, cv2.COLOR_RGB2LAB), np.float64)[..., 1:]
    core, rim, out = RADII < 0.6, (RADII > 0.7) & (RADII < 1.35), RADII > 1.6
    level, inner = float(np.median(luma[out])) + 4, float(np.median(luma[core])) + 4
    profile = np.median(luma, axis=1)
    rise = float(np.abs(np.gradient(profile, RADII)).max()) / (abs(level - inner) + 4)
    wave = np.exp(1j * phi)
    tilt = (luma[out] * wave).mean(axis=1) / RADII[out]
    beyond = (luma[rim] * wave).mean(axis=1) - RADII[rim] * tilt.mean()
    fine = _fine(view, centre, radius)
    tints = [np.median(chroma[k], axis=(0, 1)) for k in (core, out)]
    return {"depth": math.log(level / inner), "rim": rise, "lit": float(2 * np.abs(beyond).max()) / level, "detail": fine,
            "crack": math.log(inner / (float(np.percentile(luma[RADII < 0.9], 3)) + 4)),
            "tint": float(np.hypot(*(tints[0] - tints[1]))) / level}


def _fine(view: WorkingView, centre: NDArray[np.float64], radius: float) -> float:
    """Log ratio of fine contrast inside a knot to that around it, both over their own level."""
    reach = math.ceil(2.2 * radius)
    x, y = round(float(centre[0])), round(float(centre[1]))
    h, w = view.native_mask.shape
    x0, x1, y0, y1 = max(0, x - reach), min(w, x + reach + 1), max(0, y - reach), min(h, y + reach + 1)
    patch = np.asarray(cv2.cvtColor(np.ascontiguousarray(view.native[y0:y1, x0:x1]), cv2.COLOR_RGB2GRAY), np.float32)
    fine = (patch - cv2.GaussianBlur(patch, (0, 0), 1.5)) / (cv2.GaussianBlur(patch, (0, 0), 4.0) + 8)
    ys, xs = np.mgrid[y0:y1, x0:x1]
    far = np.hypot(xs - centre[0], ys - centre[1]) / radius
    inner, outer = fine[far < 0.75], fine[(far > 1.4) & (far < 2.2)]
    if len(inner) < 12 or len(outer) < 24:
        return math.nan
    return math.log((float(inner.std()) + 2e-3) / (float(outer.std()) + 2e-3))
