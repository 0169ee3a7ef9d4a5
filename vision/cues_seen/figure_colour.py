"""Whether the figure's colour goes with its tone, on the panel and in its highlight.

In wood what is darker is also of a fuller colour, evenly so. On an oiled or dull surface that lives on in a highlight; a film's
strong sheen drowns it, and what detail is left there is the film's own: sheen out of step with figure. A grey picture has no
colour to go with anywhere, which is why the rest of the panel is held against it.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from vision.resize import fit_within, resize
from vision.surface.sample import Plane, masked_blur, sample, thin
from vision.types import WorkingView

#: Longest side of the picture read, px; finest and coarsest detail, sigmas in px; slow light's blur as a share of the side.
READ_PX, FINE, COARSE, SLOW = 480, 1.2, 6.0, 0.04
#: Least panel, px; least share of it and px of a bright part; least rise of its light over the middle.
LEAST_PANEL, LEAST_SHARE, LEAST_PX, LEAST_RISE = 1500, 0.02, 300, 0.15


@dataclass(frozen=True)
class FigureColour:
    """`slope`: change of colour (red minus blue, share of the sum) with the log of tone, in detail; `apart`: share 0..1 of the
    tone's detail in the highlight that colour does not go with; `apart_more`: the same less that of the rest of the panel. The
    last two are nan without a highlight."""

    slope: float
    apart: float
    apart_more: float


_NOTHING = FigureColour(math.nan, math.nan, math.nan)


def figure_colour(view: WorkingView) -> FigureColour:
    """Numbers of one panel; nan where it is too small."""
    s = sample(view)
    h, w = s.luma.shape
    if min(h, w) < 24 or s.inside.sum() < LEAST_PANEL:
        return _NOTHING
    size = fit_within(w, h, max_side=READ_PX)
    rgb = resize(s.rgb, *size).astype(np.float32)
    inside = np.asarray(resize(s.inside.view(np.uint8) * np.uint8(255), *size)) > 200
    if inside.sum() < LEAST_PANEL:
        return _NOTHING
    total = rgb.sum(axis=2) + 24
    tone, tint = _detail(np.log(total)), _detail((rgb[..., 0] - rgb[..., 2]) / total)
    x, y = tone[inside], tint[inside]
    slope = float((x * y).mean() / ((x * x).mean() + 1e-7))
    bright, rest = _parts(total / 3, inside)
    if bright is None or rest is None:
        return FigureColour(slope, math.nan, math.nan)
    apart = [1 - _together(tone[m], tint[m]) for m in (bright, rest)]
    return FigureColour(slope, apart[0], apart[0] - apart[1])


def _detail(plane: NDArray[np.floating]) -> Plane:
    values = np.asarray(plane, np.float32)
    return np.asarray(cv2.GaussianBlur(values, (0, 0), FINE) - cv2.GaussianBlur(values, (0, 0), COARSE))


def _parts(light: Plane, inside: NDArray[np.bool_]) -> tuple[NDArray[np.bool_] | None, NDArray[np.bool_] | None]:
    """(bright part, rest) of a panel under a highlight; None each without one."""
    slow = masked_blur(light, inside, max(2.0, SLOW * max(light.shape)))
    middle, top = (float(q) for q in np.percentile(thin(slow[inside]), (50, 99)))
    if top - middle < LEAST_RISE * (middle + 8):
        return None, None
    bright = inside & (slow > middle + 0.5 * (top - middle)) & (light < 252)
    rest = inside & (slow < middle + 0.25 * (top - middle)) & (slow > 0.5 * middle)
    least = max(LEAST_PX, LEAST_SHARE * float(inside.sum()))
    return (bright, rest) if min(bright.sum(), rest.sum()) >= least else (None, None)


def _together(tone: Plane, tint: Plane) -> float:
    """Share of a tone's variance that goes with colour."""
    a, b = tone - tone.mean(), tint - tint.mean()
    power = float(a @ a) * float(b @ b)
    return float(a @ b) ** 2 / power if power > 1e-12 else 0.0
