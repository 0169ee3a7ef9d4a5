"""What a highlight shows: pores that break it, figure that lives on in it, glints of an embossing that follows no figure.

Body colour and sheen part by colour: figure changes tone and colour together, a sheen adds white alone. So within the bright part
the fine tone that goes with colour is figure, the rest is the surface's own relief.
"""

from __future__ import annotations

import math

import cv2
import numpy as np
from numpy.typing import NDArray

from vision.cues_seen.lines import grain_direction
from vision.resize import fit_within, resize
from vision.surface.sample import Plane, masked_blur, moments, sample
from vision.types import GrainField, WorkingView

#: Longest side of the picture read, px; slow light's blur as a share of it.
READ_PX, SLOW = 480, 0.04
#: Least share of the panel and pixels of a bright part, and least rise of its light over the middle.
LEAST_SHARE, LEAST_PX, LEAST_RISE = 0.02, 300, 0.15

NAMES = ("apart", "apart_more", "skew", "skew_more", "across_more", "fine_more", "figure_more")


def read_sheen(view: WorkingView, field: GrainField) -> tuple[dict[str, float], NDArray[np.bool_] | None]:
    """(numbers of NAMES, mask of the bright part in a picture of the view of at most READ_PX); nan and None without one.

    `apart`: share 0..1 of the tone's middle detail in the bright part that colour does not go with; `skew`: skewness of its fine
    tone (dark pores below 0, glints above); `across_more`: log energy across over along the grain, bright part minus the
    rest; `*_more`: bright part minus (or log ratio to) the rest of the panel.
    """
    out = dict.fromkeys(NAMES, math.nan)
    s = sample(view)
    h, w = s.luma.shape
    if min(h, w) < 24 or s.inside.sum() < 2000:
        return out, None
    size = fit_within(w, h, max_side=READ_PX)
    rgb = resize(s.rgb, *size)
    inside = np.asarray(resize(s.inside.astype(np.uint8) * np.uint8(255), *size)) > 200
    luma = np.asarray(cv2.cvtColor(rgb, cv2.COLOR_RGB2GRAY), np.float32)
    slow = masked_blur(luma, inside, max(2.0, SLOW * max(size)))
    v = slow[inside]
    if v.size < 2000:
        return out, None
    middle, top = (float(q) for q in np.percentile(v[::7], (50, 99)))
    rise = (top - middle) / (middle + 8)
    if rise < LEAST_RISE:
        return out, None
    bright = inside & (slow > middle + 0.5 * (top - middle)) & (luma < 252)
    rest = inside & (slow < middle + 0.25 * (top - middle)) & (slow > 0.5 * middle)
    least = max(LEAST_PX, LEAST_SHARE * float(inside.sum()))
    if bright.sum() < least or rest.sum() < least:
        return out, None
    fine = (luma - cv2.GaussianBlur(luma, (0, 0), 1.5)) / (slow + 8)
    band = (cv2.GaussianBlur(luma, (0, 0), 1.2) - cv2.GaussianBlur(luma, (0, 0), 6.0)) / (slow + 8)
    total = rgb.astype(np.float32)
    share = (total[..., 0] - total[..., 2]) / (total.sum(axis=2) + 24)
    tint = cv2.GaussianBlur(share, (0, 0), 1.2) - cv2.GaussianBlur(share, (0, 0), 6.0)
    with_colour = [_explained(band[m], tint[m]) for m in (bright, rest)]
    out["apart"], out["apart_more"] = 1 - with_colour[0], with_colour[1] - with_colour[0]
    skews = [moments(fine[m])[0] for m in (bright, rest)]
    out["skew"], out["skew_more"] = skews[0], skews[0] - skews[1]
    out["fine_more"] = _ratio(fine, bright, rest)
    out["figure_more"] = _ratio(band, bright, rest)
    direction = grain_direction(field)
    if math.isfinite(direction):
        across = [_across(luma / (slow + 8), m, direction) for m in (bright, rest)]
        out["across_more"] = across[0] - across[1]
    return out, bright


def _explained(tone: Plane, tint: Plane) -> float:
    """Share of a tone's variance that goes with colour."""
    a, b = tone - tone.mean(), tint - tint.mean()
    power = float(a @ a) * float(b @ b)
    return float(a @ b) ** 2 / power if power > 1e-12 else 0.0


def _ratio(plane: Plane, one: NDArray[np.bool_], two: NDArray[np.bool_]) -> float:
    return math.log((float(plane[one].std()) + 1e-3) / (float(plane[two].std()) + 1e-3))


def _across(plane: Plane, where: NDArray[np.bool_], direction: float) -> float:
    """Log of gradient energy across over that along a direction (degrees)."""
    smooth = cv2.GaussianBlur(plane, (0, 0), 1.0)
    gx, gy = np.zeros_like(smooth), np.zeros_like(smooth)
    gx[:, 1:-1], gy[1:-1] = smooth[:, 2:] - smooth[:, :-2], smooth[2:] - smooth[:-2]
    t = math.radians(direction)
    along, across = gx * math.cos(t) - gy * math.sin(t), gx * math.sin(t) + gy * math.cos(t)
    return math.log((float((across[where] ** 2).mean()) + 1e-6) / (float((along[where] ** 2).mean()) + 1e-6))
