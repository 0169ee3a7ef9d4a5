"""Clues of paint or a solid colour: no grain at any scale, brush or roller stipple, one colour all over.

"No grain" is judged against what directionless noise would give: a patch of n independent gradients has a coherence of
about 1 / sqrt(n) by chance alone, so only what exceeds that counts as grain.
"""

from __future__ import annotations

import math

import cv2
import numpy as np
from numpy.typing import NDArray

from vision.features import Feature
from vision.resize import resize_map
from vision.surface.sample import Plane, Sample, enough, gradients, masked_blur, mean_of, moments, ratio_db, sample, thin
from vision.types import GrainField, WorkingView

GROUP = "paint_clues"

FEATURES: tuple[Feature, ...] = (
    Feature("paint_grain_excess", GROUP, "0..1", "Largest local coherence over scales, beyond what noise would show."),
    Feature("paint_grain_aligned", GROUP, "0..1", "Largest coherence of the whole panel over scales."),
    Feature("paint_grain_mean", GROUP, "0..1", "Mean over scales of local coherence beyond noise."),
    Feature("paint_stipple", GROUP, "dB", "Directionless bumps of 3 to 10 px, noise taken off, over 1 % of the lightness."),
    Feature("paint_stipple_round", GROUP, "0..1", "How directionless those bumps are (1 = wholly)."),
    Feature("paint_stipple_tails", GROUP, "1", "Excess kurtosis of those bumps: near 0 for stipple, high for scratches."),
    Feature("paint_flat_tone", GROUP, "log ratio", "Spread of lightness, light fall-off removed, over its mean."),
    Feature("paint_flat_chroma", GROUP, "Lab units", "Robust spread of chroma about its slow variation."),
    Feature("paint_one_colour", GROUP, "0..1", "Share of pixels near the slow lightness (4 %) and the median chroma (3 Lab)."),
    Feature("paint_smooth_share", GROUP, "0..1", "Share of cells whose fine contrast is under 1 % of the lightness."),
    Feature("paint_falloff", GROUP, "0..1", "Share of lightness variance that a smooth light fall-off explains."),
    Feature("paint_drip", GROUP, "1", "Strongest bumps of 2 to 5 % of the panel over the usual ones."),
)
_NAMES = tuple(f.name for f in FEATURES)
CELL = 16
#: Median coherence of 16 x 16 gradients of white noise smoothed with sigma 1 (measured over 4,096 such cells).
NOISE_COHERENCE = 0.137
LEVELS = 4
#: Mean squared gradient below which a cell is taken for flat.
QUIET = 0.06


def measure(view: WorkingView, field: GrainField | None) -> dict[str, float]:
    """Paint clues of one panel (names of FEATURES); nan where not measurable."""
    out = dict.fromkeys(_NAMES, math.nan)
    s = sample(view)
    if not enough(s.inside):
        return out
    out.update(_grain(s))
    out.update(mean_of([_stipple(t.luma, t.noise) for t in s.tiles], (
        "paint_stipple", "paint_stipple_round", "paint_stipple_tails")))
    out.update(_flat(s.coarse.rgb, s.coarse.luma, s.coarse.inside))
    return out


def cell_tensors(slopes: tuple[Plane, Plane], mask: NDArray[np.bool_], cell: int = CELL) -> NDArray[np.float32]:
    """(n, 3) scatter of gradients (gx gx, gy gy, gx gy; sums) about their mean, per cell wholly on the mask.

    About the mean, because a slope of light is one gradient all over a cell and no line at all.
    """
    gx, gy = slopes
    # Smoothing reaches 2 px across the mask's rim and the picture's.
    safe = cv2.erode(mask.astype(np.uint8), np.ones((5, 5), np.uint8), borderType=cv2.BORDER_CONSTANT, borderValue=0)
    ys, xs = np.flatnonzero(safe.any(axis=1)), np.flatnonzero(safe.any(axis=0))
    if ys.size < cell or xs.size < cell:
        return np.zeros((0, 3), np.float32)
    y0, x0 = int(ys[0]), int(xs[0])
    rows, cols = (int(ys[-1]) + 1 - y0) // cell, (int(xs[-1]) + 1 - x0) // cell
    size = (cols, rows)
    crop = np.s_[y0:y0 + rows * cell, x0:x0 + cols * cell]
    full = resize_map(safe[crop].astype(np.float32), *size) > 0.999
    xx, yy, xy, mx, my = (np.asarray(resize_map(p[crop], *size))[full]
                          for p in (gx * gx, gy * gy, gx * gy, gx, gy))
    return (np.stack([xx - mx * mx, yy - my * my, xy - mx * my], axis=1) * cell * cell).astype(np.float32)


def _coherence(t: NDArray[np.float32]) -> NDArray[np.float32]:
    total = t[:, 0] + t[:, 1]
    return np.asarray(np.hypot(t[:, 0] - t[:, 1], 2 * t[:, 2]) / np.maximum(total, 1e-3), dtype=np.float32)


def _grain(s: Sample) -> dict[str, float]:
    plane, mask, slopes = s.filled, s.inside, s.gradients
    excess, aligned = [], []
    for _ in range(LEVELS):
        t = cell_tensors(slopes, mask)
        if len(t) >= 4:
            # Cells with less than a quarter of a grey level of gradient are quantisation, not structure.
            live = (t[:, 0] + t[:, 1]) > QUIET * CELL * CELL
            c = np.where(live, _coherence(t), NOISE_COHERENCE)
            excess.append(max(0.0, (float(np.median(c)) - NOISE_COHERENCE) / (1 - NOISE_COHERENCE)))
            # Every cell counts alike: one strong edge must not pass for grain.
            unit = t[live] / (t[live, 0] + t[live, 1])[:, None]
            aligned.append(math.hypot(float((unit[:, 0] - unit[:, 1]).sum()), float(2 * unit[:, 2].sum())) / len(t))
        h, w = plane.shape
        if min(h, w) < 2 * CELL:
            break
        plane = np.asarray(resize_map(plane, w // 2, h // 2), np.float32)
        mask = resize_map(mask.astype(np.float32), w // 2, h // 2) > 0.999
        slopes = gradients(plane)
    if not excess:
        return {}
    return {"paint_grain_excess": max(excess), "paint_grain_aligned": max(aligned),
            "paint_grain_mean": float(np.mean(excess))}


def _stipple(luma: Plane, noise: float) -> dict[str, float]:
    y = np.asarray(cv2.GaussianBlur(luma, (0, 0), 1.2) - cv2.GaussianBlur(luma, (0, 0), 3.5), np.float32)
    gx, gy = y[1:-1, 2:] - y[1:-1, :-2], y[2:, 1:-1] - y[:-2, 1:-1]
    jxx, jyy, jxy = float(np.vdot(gx, gx)), float(np.vdot(gy, gy)), float(np.vdot(gx, gy))
    round_share = 1 - math.hypot(jxx - jyy, 2 * jxy) / max(jxx + jyy, 1e-3)
    power = float((y * y).mean())
    level = 0.01 * (float(luma.mean()) + 8)
    # White noise keeps 0.039 of its variance in this band.
    return {"paint_stipple": ratio_db(max(0.0, power - 0.039 * noise * noise) * round_share, level * level, 1e-2),
            "paint_stipple_round": round_share,
            "paint_stipple_tails": moments(y)[1]}


def _flat(rgb: NDArray[np.uint8], luma: Plane, inside: NDArray[np.bool_]) -> dict[str, float]:
    if not enough(inside, 200):
        return {}
    long_side = max(luma.shape)
    slow = masked_blur(luma, inside, max(4.0, 0.12 * long_side))
    rest = (luma - slow)[inside]
    mean = float(luma[inside].mean()) + 4
    spread = 1.4826 * float(np.median(np.abs(thin(rest))))
    lab = np.asarray(cv2.cvtColor(rgb / np.float32(255), cv2.COLOR_RGB2LAB), np.float32)[inside]
    a, b = lab[:, 1] - np.median(thin(lab[:, 1])), lab[:, 2] - np.median(thin(lab[:, 2]))
    off = np.hypot(a, b)
    total = float(luma[inside].var())
    mid = cv2.GaussianBlur(luma, (0, 0), 2.0) - cv2.GaussianBlur(luma, (0, 0), 5.0)
    bumps = thin(np.abs(mid[inside]))
    usual = float(np.median(bumps)) + 0.1
    cell = 8
    rows, cols = luma.shape[0] // cell, luma.shape[1] // cell
    out = {
        "paint_flat_tone": math.log((spread + 0.2) / mean),
        "paint_flat_chroma": float(np.median(thin(off))),
        "paint_one_colour": float(((np.abs(rest) < 0.04 * mean) & (off < 3)).mean()),
        "paint_falloff": max(0.0, 1 - float(rest.var()) / total) if total > 0.05 else math.nan,
        "paint_drip": math.log((float(np.percentile(bumps, 99.5)) + 0.1) / usual),
    }
    if rows * cols >= 4:
        crop = np.s_[:rows * cell, :cols * cell]
        full = inside[crop].reshape(rows, cell, cols, cell).all(axis=(1, 3))
        if full.sum() >= 4:
            band = cv2.GaussianBlur(luma, (0, 0), 1.0) - cv2.GaussianBlur(luma, (0, 0), 4.0)
            energy = (band[crop] ** 2).reshape(rows, cell, cols, cell).mean(axis=(1, 3))[full]
            out["paint_smooth_share"] = float((energy < (0.01 * mean) ** 2).mean())
    return out
