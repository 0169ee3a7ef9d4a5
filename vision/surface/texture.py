"""Fine texture: pores, ray flecks and streaks, at the finest scale the photo resolves.

Works on tiles of the un-resampled crop, each turned so that its own grain runs along x ("along") and the pores' width
lies along y ("across"). Numbers are ratios: to the tile's own noise, to its contrast, or of one direction to the other.
"""

from __future__ import annotations

import math
from functools import lru_cache

import cv2
import numpy as np
from numpy.typing import NDArray

from vision.features import Feature
from vision.surface.sample import Plane, Tile, enough, mean_of, moments, ratio_db, sample, thin
from vision.types import GrainField, WorkingView

GROUP = "fine_texture"

FEATURES: tuple[Feature, ...] = (
    Feature("texture_dash_share", GROUP, "0..1", "Share of pixels on short dark dashes along the grain, under about 4 px wide."),
    Feature("texture_dash_balance", GROUP, "-1..1", "Dark short dashes against bright ones: pores are dark."),
    Feature("texture_dash_length", GROUP, "px", "Mean run of dark dashes along the grain."),
    Feature("texture_dash_depth", GROUP, "1", "Mean depth of dark dashes over the tile's fine spread."),
    Feature("texture_fleck_share", GROUP, "0..1", "Share of pixels on short bright marks across the grain."),
    Feature("texture_fleck_balance", GROUP, "-1..1", "Bright cross marks against dark ones."),
    Feature("texture_cross_ratio", GROUP, "dB", "Fine line energy across the grain over along it, single marks counted."),
    Feature("texture_fine_skew", GROUP, "1", "Skewness of the fine residual."),
    Feature("texture_fine_tails", GROUP, "1", "Excess kurtosis of the fine residual."),
    Feature("texture_streak_skew", GROUP, "1", "Skewness after averaging 15 px along the grain: dark or bright lines."),
    Feature("texture_streak_tails", GROUP, "1", "Excess kurtosis after averaging 15 px along the grain."),
    Feature("texture_streak_keep", GROUP, "0..1", "Share of fine variance that survives averaging 15 px along the grain."),
    Feature("texture_cross_keep", GROUP, "0..1", "Share of fine variance that survives averaging 15 px across the grain."),
    Feature("texture_run_ratio", GROUP, "log ratio", "Correlation length along the grain over that across."),
    Feature("texture_band_wide", GROUP, "dB", "Power across over along the grain, wavelengths 16 to 64 px."),
    Feature("texture_band_mid", GROUP, "dB", "The same, wavelengths 6 to 16 px."),
    Feature("texture_band_fine", GROUP, "dB", "The same, wavelengths 2.5 to 6 px."),
    Feature("texture_slope_across", GROUP, "dB per octave", "Fall of power with frequency across the grain."),
    Feature("texture_slope_gap", GROUP, "dB per octave", "Fall of power along the grain minus that across."),
    Feature("texture_ridge_balance", GROUP, "-1..1", "Dark against bright line crests in the working view."),
    Feature("texture_tone_patchy", GROUP, "log ratio", "Spread of fine contrast between parts of the panel."),
)
_NAMES = tuple(f.name for f in FEATURES)
_TILE_NAMES = _NAMES[:19]
DASH_Z = 3.5


def measure(view: WorkingView, field: GrainField | None) -> dict[str, float]:
    """Fine-texture numbers of one panel (names of FEATURES); nan where the panel holds no tile of 48 px."""
    out = dict.fromkeys(_NAMES, math.nan)
    s = sample(view)
    if not enough(s.inside):
        return out
    out.update(mean_of([_tile(t) for t in s.tiles], _TILE_NAMES))
    out.update(_whole(s.filled, s.inside))
    return out


def _tile(tile: Tile) -> dict[str, float]:
    turned = tile.levelled
    # Residual at the finest scales: wider than 4 px is figure, not pores.
    fine = np.asarray(turned - cv2.GaussianBlur(turned, (0, 0), 4.0), np.float32)
    sd = float(fine.std())
    if sd < 0.3:
        return {}
    out: dict[str, float] = {}
    out["texture_fine_skew"], out["texture_fine_tails"] = moments(fine)
    along, across = (np.asarray(cv2.blur(fine, k), np.float32) for k in ((15, 1), (1, 15)))
    out["texture_streak_skew"], out["texture_streak_tails"] = moments(along)
    variance = sd * sd
    out["texture_streak_keep"] = float(along.var()) / variance
    out["texture_cross_keep"] = float(across.var()) / variance
    out.update(_dashes(turned, sd))
    out["texture_run_ratio"] = _run_ratio(fine)
    out.update(_bands(tile))
    return out


def _line_response(turned: Plane, *, along: bool) -> Plane:
    """Centre minus surround across a line, averaged 5 px along it; lines along x when `along`, else along y."""
    narrow, wide, smooth = ((1, 3), (1, 9), (5, 1)) if along else ((3, 1), (9, 1), (1, 5))
    contrast = cv2.blur(turned, narrow) - cv2.blur(turned, wide)
    return np.asarray(cv2.blur(contrast, smooth), dtype=np.float32)


def _dashes(turned: Plane, sd: float) -> dict[str, float]:
    lines, cross = _line_response(turned, along=True), _line_response(turned, along=False)
    # Long streaks are figure: what is left after averaging 41 px along each line has two ends nearby.
    short = lines - cv2.blur(lines, (41, 1))
    across = cross - cv2.blur(cross, (1, 41))
    # Each response is its own yardstick: a dash stands out of the usual run of its direction, whatever the contrast.
    scale = 1.4826 * float(np.median(np.abs(thin(short)))) + 0.05
    cross_scale = 1.4826 * float(np.median(np.abs(thin(across)))) + 0.05
    dark = short < -DASH_Z * scale
    n_dark, size = int(dark.sum()), dark.size
    out = {
        "texture_dash_share": n_dark / size,
        "texture_dash_balance": -_balance(short, DASH_Z * scale),
        "texture_fleck_share": float((across > DASH_Z * cross_scale).mean()),
        "texture_fleck_balance": _balance(across, DASH_Z * cross_scale),
        "texture_cross_ratio": ratio_db(float((lines * lines).mean()), float((cross * cross).mean()), 1e-4),
    }
    if n_dark > 0.0005 * size:
        out["texture_dash_length"] = float(_runs(dark).mean())
        out["texture_dash_depth"] = float(-short[dark].mean()) / sd
    return out


def _balance(response: Plane, level: float) -> float:
    """Bright against dark marks, -1..1, by the cube of their strength: a mark's own side lobes must not outvote it."""
    cubes = np.where(np.abs(response) > level, response / level, 0.0) ** 3
    return float(cubes.sum() / (np.abs(cubes).sum() + 0.05 * cubes.size))


def _runs(mask: NDArray[np.bool_]) -> NDArray[np.intp]:
    """Lengths of all horizontal runs of True."""
    edged = np.pad(mask, ((0, 0), (1, 1))).astype(np.int8)
    steps = np.diff(edged, axis=1)
    starts, ends = np.nonzero(steps == 1), np.nonzero(steps == -1)
    return np.asarray(ends[1] - starts[1])


def _run_ratio(fine: Plane) -> float:
    """Log of the ratio of the lags at which correlation falls to a third, along over across."""
    def fall(rows: Plane) -> float:
        n = rows.shape[1]
        reach = min(64, n // 2)
        # Wiener-Khinchin with zero padding, unbiased over the shrinking overlap.
        power = (np.abs(np.fft.rfft(rows, n + reach, axis=1)) ** 2).mean(axis=0)
        c = np.fft.irfft(power, n + reach)[:reach] / (n - np.arange(reach))
        c = c / max(float(c[0]), 1e-9)
        below = np.nonzero(c < 1 / 3)[0]
        if below.size == 0:
            return float(reach)
        k = int(below[0])
        return k - 1 + float((c[k - 1] - 1 / 3) / max(float(c[k - 1] - c[k]), 1e-6))

    return math.log(fall(fine) / fall(np.ascontiguousarray(fine.T)))


@lru_cache(maxsize=16)
def _frequencies(t: int) -> tuple[Plane, Plane, Plane]:
    """(t, t) fx and fy in bins and the radius in cycles per pixel of a centred spectrum."""
    f = (np.arange(t) - t // 2).astype(np.float32)
    fy, fx = np.meshgrid(f, f, indexing="ij")
    return fx, fy, (np.hypot(fx, fy) / t).astype(np.float32)


def _bands(tile: Tile) -> dict[str, float]:
    """Power across and along the grain in octave bands, and its fall with frequency."""
    t = tile.luma.shape[0]
    fx, fy, radius = _frequencies(t)
    angle = math.radians(tile.grain[0])
    # The grain's unit vector on the image is (cos, -sin); waves across it have frequency at right angles.
    along = np.abs(fx * math.cos(angle) - fy * math.sin(angle)) / np.maximum(radius * t, 1e-6)
    is_across, is_along = along < math.sin(math.radians(25)), along > math.cos(math.radians(25))
    edges = ((1 / 64, 1 / 16), (1 / 16, 1 / 6), (1 / 6, 1 / 2.5))
    power = tile.power
    across_db, along_db = [], []
    for low, high in edges:
        band = (radius >= low) & (radius < high)
        a, b = band & is_across, band & is_along
        across_db.append(10 * math.log10(float(power[a].mean()) + 1e-3) if a.any() else math.nan)
        along_db.append(10 * math.log10(float(power[b].mean()) + 1e-3) if b.any() else math.nan)
    octaves = math.log2(math.sqrt(edges[2][0] * edges[2][1]) / math.sqrt(edges[0][0] * edges[0][1]))
    fall_across = (across_db[0] - across_db[2]) / octaves
    return {
        "texture_band_wide": across_db[0] - along_db[0],
        "texture_band_mid": across_db[1] - along_db[1],
        "texture_band_fine": across_db[2] - along_db[2],
        "texture_slope_across": fall_across,
        "texture_slope_gap": (along_db[0] - along_db[2]) / octaves - fall_across,
    }


def _whole(luma: Plane, inside: NDArray[np.bool_]) -> dict[str, float]:
    """Line crests and the patchiness of fine contrast over the working view."""
    smooth = cv2.GaussianBlur(luma, (0, 0), 1.2)
    fine = smooth - cv2.GaussianBlur(smooth, (0, 0), 4.0)
    v = fine[inside]
    sd = float(v.std())
    out: dict[str, float] = {}
    if sd > 0.2:
        dark, bright = int((v < -2 * sd).sum()), int((v > 2 * sd).sum())
        out["texture_ridge_balance"] = (dark - bright) / (dark + bright + 1)
    cell = max(8, min(luma.shape) // 8)
    rows, cols = luma.shape[0] // cell, luma.shape[1] // cell
    if rows * cols >= 6:
        crop = np.s_[:rows * cell, :cols * cell]
        weight = inside[crop].astype(np.float32).reshape(rows, cell, cols, cell).mean(axis=(1, 3))
        energy = (fine[crop] ** 2 * inside[crop]).reshape(rows, cell, cols, cell).mean(axis=(1, 3))
        keep = weight > 0.9
        if keep.sum() >= 6:
            out["texture_tone_patchy"] = float(np.log(energy[keep] / weight[keep] + 0.05).std())
    return out
