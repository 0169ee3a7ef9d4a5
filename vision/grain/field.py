"""The grain field: direction, coherence, energy and wavelength on a grid of cells, the best noise scale chosen locally."""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from vision.grain.scales import GrainParams, ScaleTensor, default_step, scale_tensors
from vision.types import GrainField

#: A cell is valid when at least this share of its integration window could be measured.
MIN_WEIGHT = 0.2


def grain_field(image: NDArray[np.uint8], *, mask: NDArray[np.bool_] | None = None, step: int | None = None,
                params: GrainParams | None = None) -> GrainField:
    """Grain direction of an image.

    Parameters
    ----------
    image : (h, w) or (h, w, 3) uint8, grey or RGB.
    mask : (h, w) bool, True on the surface; None for all of it.
    step : pixels per cell; None chooses 4, or more so that the longer side has at most 256 cells.
    params : noise and integration scales, see `GrainParams`.

    Returns
    -------
    GrainField
        `angle` is the direction along the grain, at right angles to the strongest gradient, in degrees 0..180 from +x,
        counter-clockwise as seen on screen. `energy` is that of the finest noise scale. Cells without anything to
        measure (masked, burnt out) are not valid; a flat cell is valid with coherence near 0.
    """
    params = params or GrainParams()
    step = default_step(*image.shape[:2]) if step is None else int(step)
    return fuse(scale_tensors(image, mask=mask, step=step, params=params), step, params)


def fuse(tensors: Sequence[ScaleTensor], step: int, params: GrainParams, *, waves: bool = True) -> GrainField:
    """One grain field from the tensors of all noise scales; without `waves` the wavelength is nan everywhere.

    Each scale's double-angle direction is weighted by the inverse of its expected angular variance. For eigenvalues
    a > b of the averaged tensor that variance goes as a b / (a - b)^2 over the number of independent gradients in the
    window, which falls with sigma (measured on grain-like noise: about as sigma^-3, since the grain itself is one of the
    things averaged). A noise floor in both eigenvalues keeps quantisation noise from passing for clean signal.
    """
    cos = np.zeros_like(tensors[0].cos2)
    sin = np.zeros_like(cos)
    total = np.zeros_like(cos)
    for t in tensors:
        oriented = t.oriented
        major, minor = (t.energy + oriented) / 2, np.maximum(t.energy - oriented, 0) / 2
        floor = noise_energy(t.sigma, params.noise_variance)
        quality = oriented**2 / ((major + floor) * (minor + floor) * t.sigma**3) * np.minimum(1, 2 * t.weight)
        quality **= params.sharpness
        share = quality / (t.energy + 2 * floor)
        cos += share * t.cos2
        sin += share * t.sin2
        total += quality
    coherence = np.clip(np.hypot(cos, sin) / np.maximum(total, 1e-9), 0, 1)
    across = np.degrees(0.5 * np.arctan2(sin, cos))
    angle = np.mod(90 - across, 180).astype(np.float32)
    angle[angle >= 180] = 0
    length = wavelength(tensors, params) if waves else np.full(cos.shape, np.nan, np.float32)
    return GrainField(angle=angle, coherence=coherence.astype(np.float32), energy=np.ascontiguousarray(tensors[0].energy),
                      wavelength=length, valid=tensors[0].weight > MIN_WEIGHT, step=float(step))


def noise_energy(sigma: float, variance: float) -> float:
    """One eigenvalue's expectation for white noise of `variance` under a Gaussian derivative: variance / (8 pi sigma^4)."""
    return variance / (8 * math.pi * sigma**4)


def wavelength(tensors: Sequence[ScaleTensor], params: GrainParams) -> NDArray[np.float32]:
    """Dominant wavelength across the grain in image pixels, nan where nothing oriented stands out of the noise.

    A wave of wave number k has oriented energy proportional to exp(-k^2 sigma^2), so two noise scales give
    k^2 = ln(E1 / E2) / (sigma2^2 - sigma1^2). The pair around the scale at which sigma^2 E peaks is used. Waves too short
    for the second scale to see are measured from energy / variance at the first scale, which is k^2 for a wave.
    """
    first = tensors[0]
    with np.errstate(divide="ignore", invalid="ignore"):
        square = first.energy / first.variance
        if len(tensors) > 1:
            oriented = [np.maximum(t.oriented, 1e-9) for t in tensors]
            pairs = np.stack([np.log(a / b) / (tb.sigma**2 - ta.sigma**2)
                              for a, b, ta, tb in zip(oriented, oriented[1:], tensors, tensors[1:], strict=False)])
            peak = np.argmax(np.stack([t.sigma**2 * o for t, o in zip(tensors, oriented, strict=True)]), axis=0)
            pair = np.clip(peak, 0, len(pairs) - 1)
            coarse = np.take_along_axis(pairs, pair[None], 0)[0]
            # below e^-3 the second scale holds more noise than wave
            seen = coarse * (tensors[1].sigma ** 2 - first.sigma**2) < 3
            square = np.where((pair > 0) | seen, coarse, square)
        length = 2 * math.pi / np.sqrt(square)
    floor = noise_energy(first.sigma, params.noise_variance)
    known = (first.oriented > 2 * floor) & (first.weight > MIN_WEIGHT) & (length >= 2) & (length <= 16 * params.rho)
    return np.where(known, length, np.nan).astype(np.float32)
