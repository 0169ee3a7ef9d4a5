"""Particles or fibre on a raw edge: grain size by scale, coarse middle against fine skins, direction, evenness."""

from __future__ import annotations

import math

import cv2
import numpy as np
from numpy.typing import NDArray

from vision.edges.unroll import Plane, Strip

RADII = (1, 2, 4, 7)


def granulometry(plane: Plane) -> NDArray[np.float32]:
    """(len(RADII), h, w) what openings and closings of growing radius take away: matter of about that size, by place."""
    before = plane
    out = []
    for r in RADII:
        k = cv2.getStructuringElement(cv2.MORPH_ELLIPSE, (2 * r + 1, 2 * r + 1))
        opened = cv2.morphologyEx(plane, cv2.MORPH_OPEN, k)
        after = np.asarray(cv2.morphologyEx(opened, cv2.MORPH_CLOSE, k), np.float32)
        out.append(np.abs(before - after))
        before = after
    return np.asarray(out, np.float32)


def _rows(values: NDArray[np.float32], part: str) -> NDArray[np.float32]:
    t = values.shape[-2]
    third, skin = t // 3, max(2, t // 5)
    rim = max(1, t // 20)
    if part == "middle":
        return values[..., third:t - third, :]
    return np.concatenate([values[..., rim:skin, :], values[..., t - skin:t - rim, :]], axis=-2)


def _unevenness(flat: Plane) -> float:
    """Spread of log contrast between squares of the strip: small where one fibre mat looks the same all along."""
    side = max(8, flat.shape[0] // 3)
    rows, cols = flat.shape[0] // side, flat.shape[1] // side
    if rows * cols < 6:
        return math.nan
    cells = (flat[:rows * side, :cols * side] ** 2).reshape(rows, side, cols, side).mean(axis=(1, 3))
    return float(np.log(cells + 0.1).std())


def measure_particles(strip: Strip) -> dict[str, float]:
    """Numbers of group edge_particles (see strips.FEATURES); nan on strips under 16 native rows."""
    names = ("particles_size", "particles_size_gap", "particles_rough_gap", "particles_round", "particles_rough",
             "particles_even", "particles_dark_share", "particles_brown")
    out = dict.fromkeys(names, math.nan)
    t, n = strip.luma.shape
    if t < 16 or n < 32:
        return out
    # Layers would pass for particles: take the row means away first.
    slow = cv2.GaussianBlur(strip.luma, (0, 0), max(4.0, t / 5))
    flat = np.asarray(strip.luma - slow, np.float32)
    flat = np.asarray(flat - cv2.blur(flat, (2 * (n // 8) + 1, 1)), np.float32)
    grains = granulometry(flat)
    mid, skin = _rows(grains, "middle").mean(axis=(1, 2)), _rows(grains, "skin").mean(axis=(1, 2))
    sizes = np.log(np.array(RADII, np.float32))

    def mean_size(energy: NDArray[np.float32]) -> float:
        return float((energy * sizes).sum() / max(float(energy.sum()), 1e-3))

    out["particles_size"] = mean_size(mid)
    out["particles_size_gap"] = mean_size(mid) - mean_size(skin)
    rough_mid, rough_skin = float(_rows(flat, "middle").std()), float(_rows(flat, "skin").std())
    out["particles_rough_gap"] = math.log((rough_mid + 0.3) / (rough_skin + 0.3))
    level = float(strip.luma.mean()) + 8
    out["particles_rough"] = math.log((rough_mid + 0.3) / level)
    gx, gy = flat[1:-1, 2:] - flat[1:-1, :-2], flat[2:, 1:-1] - flat[:-2, 1:-1]
    ex, ey = float((gx * gx).mean()), float((gy * gy).mean())
    out["particles_round"] = math.log((ex + 0.05) / (ey + 0.05))
    out["particles_even"] = _unevenness(flat)
    middle = _rows(flat, "middle")
    sd = float(middle.std()) + 0.1
    dark, bright = float((middle < -2 * sd).mean()), float((middle > 2 * sd).mean())
    out["particles_dark_share"] = (dark - bright) / (dark + bright + 0.005)
    lab = cv2.cvtColor(strip.rgb, cv2.COLOR_RGB2LAB).astype(np.float32)[strip.inside]
    if len(lab):
        out["particles_brown"] = float(np.median(lab[:, 2]) - 128) / (float(np.median(lab[:, 0])) / 2.55 + 10)
    return out
