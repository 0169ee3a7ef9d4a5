"""Colour of a panel: how its tones spread and move together, measured so that lamp colour and exposure drop out.

Everything but the four rows "as photographed" lives in log-opponent space: a lamp multiplies each channel by a number,
which in logarithms only shifts the cloud of colours (von Kries scaling); spreads, slopes and shares do not change. Wood
is coloured by one thing only (how much extractive lies in a cell wall), so its cloud is nearly a line.
"""

from __future__ import annotations

import math

import cv2
import numpy as np
from numpy.typing import NDArray

from vision.features import Feature
from vision.resize import fit_within, resize, resize_map
from vision.surface.sample import enough, moments, sample
from vision.types import GrainField, WorkingView

GROUP = "colour"
MEASURE_PX = 192

FEATURES: tuple[Feature, ...] = (
    Feature("colour_tone_spread", GROUP, "log ratio", "Lightness range from the 5th to the 95th percentile."),
    Feature("colour_tone_core", GROUP, "ratio", "Share of that range covered by the middle half of the pixels."),
    Feature("colour_tone_skew", GROUP, "1", "Skewness of log lightness: negative for dark lines on a pale ground."),
    Feature("colour_tone_peaks", GROUP, "1", "Sarle's coefficient of log lightness: high for two separate tones."),
    Feature("colour_tone_count", GROUP, "1", "Effective number of tones (exponential of entropy) in bins of 4 %."),
    Feature("colour_hue_count", GROUP, "1", "Effective number of chromaticities in bins of 3 %."),
    Feature("colour_line_share", GROUP, "0..1", "Share of colour variance along its first principal axis."),
    Feature("colour_line_rest", GROUP, "log ratio", "Spread across the colour line."),
    Feature("colour_chroma_spread", GROUP, "log ratio", "Spread of both opponent channels together."),
    Feature("colour_warm_slope", GROUP, "1", "Yellow-blue change per unit of log lightness."),
    Feature("colour_red_slope", GROUP, "1", "Red-green change per unit of log lightness."),
    Feature("colour_warm_match", GROUP, "-1..1", "Correlation of yellow-blue with log lightness."),
    Feature("colour_red_match", GROUP, "-1..1", "Correlation of red-green with log lightness."),
    Feature("colour_line_bend", GROUP, "log ratio", "Departure of the yellow-blue line from straight, pale end against dark."),
    Feature("colour_chroma_seen", GROUP, "Lab units", "Median chroma as photographed."),
    Feature("colour_chroma_top", GROUP, "ratio", "90th percentile of chroma over its median (plus 2), as photographed."),
    Feature("colour_hue_seen", GROUP, "degrees", "Hue of the median colour as photographed (0 red, 90 yellow); nan when grey."),
    Feature("colour_light_seen", GROUP, "0..1", "Median lightness as photographed."),
)
_NAMES = tuple(f.name for f in FEATURES)


def _pixels(view: WorkingView) -> NDArray[np.uint8]:
    """(n, 3) inside pixels of the view reduced to MEASURE_PX: averaging takes sensor noise and chroma blocks away."""
    s = sample(view).coarse
    h, w = s.inside.shape
    inside = s.inside
    size = fit_within(w, h, max_side=MEASURE_PX)
    small = resize(s.rgb, *size)
    share = resize_map(inside.astype(np.float32), *size)
    keep = share > 0.99
    return np.asarray(small[keep] if keep.any() else s.rgb[inside], dtype=np.uint8)


def _effective(counts: NDArray[np.integer]) -> float:
    p = counts[counts > 0] / counts.sum()
    return float(np.exp(-(p * np.log(p)).sum()))


def _linear(rgb: NDArray[np.uint8]) -> NDArray[np.float32]:
    """Linear light 0..1 by the sRGB curve (IEC 61966-2-1)."""
    v = np.arange(256) / 255.0
    table = np.where(v <= 0.04045, v / 12.92, ((v + 0.055) / 1.055) ** 2.4).astype(np.float32)
    return np.asarray(table[rgb], dtype=np.float32)


def measure(view: WorkingView, field: GrainField | None) -> dict[str, float]:
    """Colour numbers of one panel (names of FEATURES); all nan on a panel too small to measure."""
    out = dict.fromkeys(_NAMES, math.nan)
    if not enough(sample(view).inside):
        return out
    rgb = _pixels(view)
    if len(rgb) < 64:
        return out
    out.update(_as_photographed(rgb))
    # Burnt-out and black pixels have lost their colour ratios.
    usable = rgb[(rgb.max(axis=1) < 252) & (rgb.min(axis=1) > 5)]
    if len(usable) < 64:
        return out
    logs = np.log(_linear(usable) + 1e-4)
    r, g, b = logs[:, 0], logs[:, 1], logs[:, 2]
    tone = (r + 2 * g + b) / 4
    red, warm = r - g, (r + g) / 2 - b
    tone, red, warm = tone - np.median(tone), red - np.median(red), warm - np.median(warm)
    p5, p25, p75, p95 = np.percentile(tone, (5, 25, 75, 95))
    spread = float(p95 - p5)
    skew, kurt = moments(tone)
    out["colour_tone_spread"] = spread
    out["colour_tone_core"] = float((p75 - p25) / max(spread, 0.02))
    out["colour_tone_skew"] = skew
    out["colour_tone_peaks"] = (skew * skew + 1) / (kurt + 3) if math.isfinite(skew) else math.nan
    out["colour_tone_count"] = _effective(np.bincount(np.clip(np.round(tone / 0.04) + 100, 0, 200).astype(int)))
    cell = np.clip(np.round(red / 0.03) + 50, 0, 100) * 101 + np.clip(np.round(warm / 0.03) + 50, 0, 100)
    out["colour_hue_count"] = _effective(np.bincount(cell.astype(int)))
    cloud = np.stack([tone, red, warm], axis=1)
    cloud = np.clip(cloud - cloud.mean(axis=0), -1.5, 1.5)
    cov = cloud.T @ cloud / len(cloud)
    eig = np.sort(np.linalg.eigvalsh(cov.astype(np.float64)))[::-1]
    total = float(eig.sum())
    out["colour_line_rest"] = math.sqrt(max(0.0, float(eig[1] + eig[2])))
    out["colour_chroma_spread"] = math.sqrt(max(0.0, float(cov[1, 1] + cov[2, 2])))
    # Below half a per cent of spread the cloud is quantisation, not colour.
    if total > 2.5e-5:
        out["colour_line_share"] = float(eig[0]) / total
    vt = float(cov[0, 0])
    if vt > 1e-4:
        out["colour_warm_slope"] = float(cov[0, 2]) / vt
        out["colour_red_slope"] = float(cov[0, 1]) / vt
        out["colour_warm_match"] = float(cov[0, 2]) / math.sqrt(vt * float(cov[2, 2]) + 1e-9)
        out["colour_red_match"] = float(cov[0, 1]) / math.sqrt(vt * float(cov[1, 1]) + 1e-9)
        pale, dark = warm[tone >= p75], warm[tone <= p25]
        middle = warm[(tone > p25) & (tone < p75)]
        if min(len(pale), len(dark), len(middle)) > 8:
            out["colour_line_bend"] = float((pale.mean() + dark.mean()) / 2 - middle.mean())
    return out


def _as_photographed(rgb: NDArray[np.uint8]) -> dict[str, float]:
    lab = cv2.cvtColor((rgb.reshape(-1, 1, 3) / np.float32(255)).astype(np.float32), cv2.COLOR_RGB2LAB).reshape(-1, 3)
    chroma = np.hypot(lab[:, 1], lab[:, 2])
    mid = float(np.median(chroma))
    a, b = float(np.median(lab[:, 1])), float(np.median(lab[:, 2]))
    return {
        "colour_chroma_seen": mid,
        "colour_chroma_top": float(np.percentile(chroma, 90)) / (mid + 2.0),
        "colour_hue_seen": math.degrees(math.atan2(b, a)) if math.hypot(a, b) > 3 else math.nan,
        "colour_light_seen": float(np.median(lab[:, 0])) / 100.0,
    }
