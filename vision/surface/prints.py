"""Clues that the figure is a picture of wood: dots, few inks, figure softer than the photo, no pores, exact repeats.

A print is laid down by a screen or by droplets, scanned at a finite resolution and wrapped round a cylinder. Each leaves
something that ratios inside one photo can show: spectral peaks off the grain axis and off the JPEG grid, tone that
goes on getting flatter at fine scales although the photo is sharp, colour that varies in other ways than wood's, and
patches that come again exactly.
"""

from __future__ import annotations

import math

import cv2
import numpy as np
from numpy.typing import NDArray

from vision.features import Feature
from vision.resize import fit_within, resize, resize_map
from vision.surface.sample import Plane, Sample, Tile, enough, masked_blur, mean_of, ratio_db, sample
from vision.types import GrainField, WorkingView

GROUP = "print_clues"

FEATURES: tuple[Feature, ...] = (
    Feature("print_dot_peak", GROUP, "dB", "Highest isolated spectral peak off the grain axis and off the JPEG grid."),
    Feature("print_dot_pairs", GROUP, "count", "Number of such peaks (a screen gives several)."),
    Feature("print_relief", GROUP, "dB", "Fine residual above noise against coarse figure contrast."),
    Feature("print_chroma", GROUP, "dB", "Chroma power over lightness power at 8 to 24 px."),
    Feature("print_chroma_match", GROUP, "0..1", "Share of chroma variation at 8 to 24 px that lightness explains."),
    Feature("print_repeat_peak", GROUP, "0..1", "Highest autocorrelation peak localised in both axes."),
    Feature("print_regular", GROUP, "1", "Peakiness of the spectrum across the grain: evenly spaced lines."),
)
_NAMES = tuple(f.name for f in FEATURES)
REPEAT_PX = 192


def measure(view: WorkingView, field: GrainField | None) -> dict[str, float]:
    """Print clues of one panel (names of FEATURES); nan where not measurable."""
    out = dict.fromkeys(_NAMES, math.nan)
    s = sample(view)
    if not enough(s.inside):
        return out
    if s.tiles:
        out.update(_dots(s.tiles))
        out.update(mean_of([_even_lines(t) | _inks(t) for t in s.tiles], (
            "print_chroma", "print_chroma_match", "print_regular")))
        out["print_relief"] = _relief(s)
    out.update(_repeat(s))
    return out


def spectral_peaks(power: Plane, grain_angle: float) -> list[tuple[float, float, float]]:
    """Isolated peaks of a centred power spectrum, as (dB over their surroundings, fx, fy) in cycles per pixel.

    Left out: low frequencies, the two image axes (block edges, sensor lines), multiples of 1/8 cycle on both axes
    (JPEG grid) and the wedge within 12 degrees of the direction across the grain, where wood's own lines lie.
    """
    t = power.shape[0]
    half = t // 2
    log = np.log(power + 1e-3)
    # Background: mean log power nearby, so that a smooth spectrum of any slope gives nothing.
    near = cv2.blur(log, (5, 5))
    background = cv2.blur(near, (17, 17))
    fine = cv2.blur(log, (1, 1)) - background
    peak = (log >= cv2.dilate(log, np.ones((5, 5), np.uint8))) & (fine > 0)
    ys, xs = np.nonzero(peak)
    fx, fy = (xs - half) / t, (ys - half) / t
    radius = np.hypot(fx, fy)
    angle = math.radians(grain_angle)
    along = np.abs(fx * math.cos(angle) - fy * math.sin(angle)) / np.maximum(radius, 1e-6)
    tol = 1.6 / t
    on_grid = (np.abs(fx * 8 - np.round(fx * 8)) / 8 < tol) & (np.abs(fy * 8 - np.round(fy * 8)) / 8 < tol)
    keep = ((radius > 0.06) & (radius < 0.48) & (np.abs(fx) > 2.5 / t) & (np.abs(fy) > 2.5 / t)
            & (fy >= 0) & ~on_grid & (along > math.sin(math.radians(12))))
    db = fine[ys, xs] * (10 / math.log(10))
    return sorted(((float(d), float(x), float(y)) for d, x, y in zip(db[keep], fx[keep], fy[keep], strict=True)), reverse=True)


def _dots(tiles: tuple[Tile, ...]) -> dict[str, float]:
    side = tiles[0].luma.shape[0]
    # The same screen lies under every tile; averaging powers tames the scatter of a single spectrum.
    power = np.mean([t.power / max(float(t.power.mean()), 1e-3) for t in tiles], axis=0).astype(np.float32) * 100
    best = max(tiles, key=lambda t: t.grain[1])
    peaks = spectral_peaks(power, best.grain[0])
    # Expected height of the highest of m exponential-like ordinates averaged over n tiles, subtracted so that tile
    # count and tile size do not show: about ln(m) / n above the mean in natural log units, at least for small n.
    m, n = side * side / 4, len(tiles)
    null = 10 * math.log10(1 + (math.log(m) + 0.58) / n ** 0.75) + 2.5 / n
    top = peaks[0][0] if peaks else 0.0
    return {"print_dot_peak": top - null, "print_dot_pairs": float(sum(p[0] > null + 3 for p in peaks[:12]))}


def _even_lines(tile: Tile) -> dict[str, float]:
    """Peakiness of the spectrum of the tile's profile across the grain."""
    profile = tile.levelled.mean(axis=1)
    n = len(profile)
    spectrum = np.abs(np.fft.rfft((profile - profile.mean()) * np.hanning(n))) ** 2
    k = np.arange(len(spectrum))
    ok = (k >= 4) & (k < n // 3)
    if ok.sum() < 6 or tile.grain[1] < 0.1:
        return {}
    # Figure falls off about as 1/f^2; levelled, any one line stands out.
    level = spectrum[ok] * np.maximum(k[ok], 1) ** 2.0
    # The highest of m exponential ordinates lies about ln(m) + 0.58 means up by chance.
    chance = math.log(int(ok.sum())) + 0.58
    return {"print_regular": math.log(float(level.max()) / max(float(level.mean()), 1e-9) / chance)}


def _bandpass(plane: Plane, fine: float, coarse: float) -> Plane:
    return np.asarray(cv2.GaussianBlur(plane, (0, 0), fine) - cv2.GaussianBlur(plane, (0, 0), coarse), dtype=np.float32)


def _inks(tile: Tile) -> dict[str, float]:
    """How chroma varies beside lightness, at 8 to 24 px: JPEG wipes out or invents chroma at finer scales."""
    side = tile.luma.shape[0] // 4
    ycc = cv2.cvtColor(resize(tile.rgb, side, side), cv2.COLOR_RGB2YCrCb).astype(np.float32)
    by, br, bb = (_bandpass(np.ascontiguousarray(ycc[..., i]), 1.2, 3.5) for i in range(3))
    vy, vc = float((by * by).mean()), float((br * br + bb * bb).mean())
    # A tenth of a squared grey level is rounding, in either plane.
    if vy < 0.1:
        return {}
    out = {"print_chroma": ratio_db(vc, vy, 0.1)}
    if vc > 0.2:
        out["print_chroma_match"] = min(1.0, (float((by * br).mean()) ** 2 + float((by * bb).mean()) ** 2) / vy / vc)
    return out


def _relief(s: Sample) -> float:
    """Fine residual of the tiles above their noise, against the figure contrast of the whole panel."""
    fine = []
    for t in s.tiles:
        band = t.luma - cv2.GaussianBlur(t.luma, (0, 0), 1.5)
        # White noise keeps 0.895 of its variance in this band.
        fine.append(max(0.0, float(band.var()) - 0.895 * t.noise ** 2))
    figure = s.filled - s.low_pass(0.08)
    return ratio_db(float(np.mean(fine)) + 0.1, float(cv2.GaussianBlur(figure, (0, 0), 2.0)[s.inside].var()) + 0.1)


def autocorrelation(plane: Plane, mask: NDArray[np.bool_]) -> Plane:
    """Normalised autocorrelation of the masked plane, zero lag in the middle; 0 where under a quarter overlaps."""
    h, w = plane.shape
    size = (cv2.getOptimalDFTSize(2 * h), cv2.getOptimalDFTSize(2 * w))
    m = mask.astype(np.float32)
    v = (plane - float(plane[mask].mean())) * m

    def correlate(p: Plane) -> Plane:
        return np.asarray(np.fft.irfft2(np.abs(np.fft.rfft2(p, size)) ** 2, size), dtype=np.float32)

    overlap = correlate(m)
    value = correlate(v)
    share = overlap / max(float(overlap[0, 0]), 1.0)
    variance = max(float(value[0, 0]) / max(float(overlap[0, 0]), 1.0), 1e-6)
    out = np.where(share > 0.25, value / np.maximum(overlap, 1.0) / variance, 0.0)
    return np.asarray(np.fft.fftshift(out), dtype=np.float32)


def _repeat(s: Sample) -> dict[str, float]:
    h, w = s.luma.shape
    size = fit_within(w, h, max_side=REPEAT_PX)
    plane = np.asarray(resize_map(s.filled, *size), np.float32)
    mask = np.asarray(resize_map(s.inside.astype(np.float32), *size) > 0.95)
    if min(plane.shape) < 24 or mask.sum() < 1500:
        return {}
    # Local contrast normalisation: light fall-off and strong knots must not carry the sum.
    flat = plane - masked_blur(plane, mask, 6.0)
    flat = flat / np.sqrt(masked_blur(flat * flat, mask, 10.0) + 1.0)
    ac = autocorrelation(np.asarray(flat * mask, np.float32), mask)
    # Localised in both axes: subtract the better of the two line means through each lag, so that a ridge gives 0.
    smooth = np.asarray(cv2.GaussianBlur(ac, (0, 0), 0.8), np.float32)
    ring = np.stack([cv2.blur(smooth, k) for k in ((9, 1), (1, 9))])
    local = smooth - np.maximum(ring.max(axis=0), _diagonal_mean(smooth))
    cy, cx = local.shape[0] // 2, local.shape[1] // 2
    yy, xx = np.ogrid[:local.shape[0], :local.shape[1]]
    away = np.maximum(np.abs(yy - cy), np.abs(xx - cx)) > max(8, 0.06 * max(plane.shape))
    seen = away & (ac != 0) & (yy >= cy)
    if seen.sum() < 200:
        return {}
    v = local[seen]
    return {"print_repeat_peak": float(v.max())}


def _diagonal_mean(plane: Plane) -> Plane:
    k = np.eye(9, dtype=np.float32) / 9
    return np.asarray(np.maximum(cv2.filter2D(plane, -1, k), cv2.filter2D(plane, -1, k[::-1].copy())), dtype=np.float32)
