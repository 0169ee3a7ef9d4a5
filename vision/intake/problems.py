"""Faults of a photo that a second shot would mend, each with the words that tell the user how.

Thresholds were set on real photos by many authors (so that ordinary ones pass) and on the same photos blurred, darkened,
brightened and compressed by known amounts (so that those are caught).
"""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from vision.intake.compression import blockiness
from vision.intake.light import Light, measure_light
from vision.intake.sharpness import Sharpness, measure_sharpness
from vision.resize import fit_within, resize
from vision.types import Photo, Problem

SHARPNESS_PX, LIGHT_PX = 1_000_000, 250_000


@dataclass(frozen=True)
class ProblemThresholds:
    """When a measurement becomes a problem. Blur in pixels of the one-megapixel copy, shares 0..1 of the picture."""

    focus_sigma: float = 1.3
    motion_sigma: float = 1.8
    motion_ratio: float = 2.0
    dark_share: float = 0.6
    dark_p90: float = 75.0
    bright_share: float = 0.35
    clipped_colours: float = 0.08
    glare_share: float = 0.02
    blockiness: float = 2.2
    jpeg_quality: int = 30


THRESHOLDS = ProblemThresholds()

_TEXT = {
    "motion_blur": "The photo is smeared because the phone moved. Hold it in both hands, add light, shoot again.",
    "focus_blur": "The photo is out of focus. Wipe the lens, tap the wood on the screen to focus, shoot again.",
    "underexposed": "The photo is too dark to show grain. Open a curtain or add a lamp from the side, shoot again.",
    "overexposed": "Much of the photo is burnt out to white. Tap the wood on the screen to set the exposure for it, shoot again.",
    "glare": "A reflection hides part of the surface. Step aside until it leaves the wood, switch the flash off, shoot again.",
    "strong_compression": "Strong compression has wiped out fine texture. Use the original from the phone, not a forwarded copy.",
    "too_far": "Grain is too small to see from here. Go closer until one panel fills the picture, shoot again.",
    "no_wood_like_surface": "No wood or furniture surface was found. Photograph one panel square on, filling the picture.",
}


def problem(kind: str) -> Problem:
    """The problem of that kind with its standard text."""
    return Problem(kind, _TEXT[kind])


def measure_problems(photo: Photo, *, thresholds: ProblemThresholds = THRESHOLDS) -> tuple[Problem, ...]:
    """Problems that can be measured without knowing the panels: blur, exposure, glare, compression.

    Works on copies of at most one megapixel (block edges: on sampled full-resolution lines), so that the cost hardly
    grows with the photo. `too_far` and `no_wood_like_surface` need panels; see vision.intake.distance.
    """
    work = _copy(photo.pixels, SHARPNESS_PX)
    light = measure_light(_copy(work, LIGHT_PX))
    sharpness = measure_sharpness(np.asarray(cv2.cvtColor(work, cv2.COLOR_RGB2GRAY), dtype=np.uint8))
    kinds = [
        *_blur_kinds(sharpness, thresholds),
        *_light_kinds(light, thresholds),
        *_compression_kinds(photo, thresholds),
    ]
    return tuple(problem(k) for k in kinds)


def _blur_kinds(s: Sharpness, t: ProblemThresholds) -> list[str]:
    if not np.isfinite(s.worst):
        return []  # too few edges to judge: an even surface is no fault
    if s.worst >= t.motion_sigma and s.worst >= t.motion_ratio * s.best:
        return ["motion_blur"]
    return ["focus_blur"] if s.best >= t.focus_sigma or s.worst >= t.motion_sigma else []


def _light_kinds(light: Light, t: ProblemThresholds) -> list[str]:
    kinds = []
    if light.dark >= t.dark_share or light.p90 < t.dark_p90:
        kinds.append("underexposed")
    # a white backdrop clips all channels at once; an overexposed room also clips colours one by one
    if light.nearly >= t.bright_share and light.nearly - light.burnt >= t.clipped_colours:
        kinds.append("overexposed")
    elif light.glare >= t.glare_share:
        kinds.append("glare")
    return kinds


def _compression_kinds(photo: Photo, t: ProblemThresholds) -> list[str]:
    if photo.jpeg_quality is not None and photo.jpeg_quality <= t.jpeg_quality:
        return ["strong_compression"]
    blocks = blockiness(photo.pixels)
    return ["strong_compression"] if np.isfinite(blocks) and blocks >= t.blockiness else []


def _copy(pixels: NDArray[np.uint8], max_pixels: int) -> NDArray[np.uint8]:
    return resize(pixels, *fit_within(pixels.shape[1], pixels.shape[0], max_pixels=max_pixels))
