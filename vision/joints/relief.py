"""Carved, fluted or turned work: shading that repeats across a face without change of colour. Weak at best.

A flat photo of figure can look the same, so the chance seldom leaves the middle and the answer is mostly that it cannot be
told.
"""

from __future__ import annotations

import math
from typing import Final

import cv2
import numpy as np
from numpy.typing import NDArray

from vision.joints.band import lab_of
from vision.joints.finds import Relief
from vision.joints.rounds import votes
from vision.resize import fit_within, resize

CLASSES: Final = ("nothing", "there")
_SEEN_PX = 240


def numbers_of(pixels: NDArray[np.uint8]) -> tuple[dict[str, float], float]:
    """Inputs of the net 'relief', and the direction of the ridges in degrees (nan: round work is likelier)."""
    h, w = pixels.shape[:2]
    small = resize(pixels, *fit_within(w, h, max_side=_SEEN_PX))
    lab = lab_of(small)
    light = np.log(np.maximum(lab[..., 0], 2.0))
    size = 0.08 * min(small.shape[:2])
    high = light - cv2.GaussianBlur(light, (0, 0), size)
    colour = np.arctan2(lab[..., 2], lab[..., 1] + 1e-3)
    out: dict[str, float] = {}
    best = (0.0, 0.0)
    for axis, name in ((0, "down"), (1, "across")):
        profile = high.mean(axis=1 - axis)
        share = float(profile.var() / max(1e-9, high.var()))
        spectrum = np.abs(np.fft.rfft((profile - profile.mean()) * np.hanning(len(profile)))) ** 2
        peak = float(spectrum[2:].max() / max(1e-12, spectrum[2:].sum())) if len(spectrum) > 4 else 0.0
        hue = (colour - cv2.GaussianBlur(colour, (0, 0), size)).mean(axis=1 - axis)
        tied = float(np.corrcoef(profile, hue)[0, 1]) if profile.std() > 1e-9 and hue.std() > 1e-9 else 0.0
        out |= {f"share_{name}": share, f"peak_{name}": peak, f"swing_{name}": math.log(max(0.002, float(profile.std()))),
                f"tied_{name}": abs(tied)}
        if share * peak > best[0]:
            best = (share * peak, 0.0 if axis == 0 else 90.0)
    v, radii = votes(np.asarray(lab[..., 0], np.float32))
    rings = np.sort(v.max(axis=1), axis=0)[-5:].mean(axis=0) if len(radii) >= 5 else v.max(axis=(0, 1))
    out["rings"] = float(rings.max())
    out["rough"] = math.log(max(0.002, float(high.std())))
    out["skew"] = float(np.mean(((high - high.mean()) / max(1e-6, float(high.std()))) ** 3))
    return out, (math.nan if out["rings"] > 0.5 else best[1])


def result(shape: tuple[int, int], direction: float, chance: float) -> Relief:
    h, w = shape
    return Relief(((0.0, 0.0), (w - 1.0, 0.0), (w - 1.0, h - 1.0), (0.0, h - 1.0)), direction, chance)
