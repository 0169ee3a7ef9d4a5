"""Stripes across the thickness of an edge: how many, how regular, how far they run on, and a thin line near the face."""

from __future__ import annotations

import math
from dataclasses import dataclass
from itertools import pairwise

import cv2
import numpy as np
from numpy.typing import NDArray

from vision.edges.unroll import Plane, Strip
from vision.resize import resize_map

BLOCKS = 16
#: A boundary between two layers must stand out by this share of the profile's range.
PROMINENCE = 0.22


@dataclass(frozen=True, eq=False)
class Layers:
    """Stripes of a strip. `bounds`: (k,) rows between layers, in strip pixels; `levels`: (k + 1,) mean lightness of each
    layer; `coherence` 0..1: share of lightness variance (blockwise) that depends on the row alone; `noise`: standard
    error of the profile in grey levels; `profile`: (t,) lightness by row, slow trend kept."""

    profile: Plane
    bounds: NDArray[np.float32]
    levels: NDArray[np.float32]
    coherence: float
    noise: float


def find_layers(strip: Strip) -> Layers:
    """Stripes that run the length of the strip (none: empty bounds)."""
    luma = _evened(strip)
    t, n = luma.shape
    blocks = min(BLOCKS, max(2, n // 4))
    size = (blocks, t)
    mean = resize_map(luma, *size)
    profile = np.asarray(np.median(mean, axis=1), np.float32)
    between = float(profile.var())
    within = float(np.median(np.abs(mean - profile[:, None]))) / 0.6745
    coherence = between / (between + within * within + 0.05)
    noise = 1.2533 * within / math.sqrt(blocks)
    bounds = _boundaries(profile, noise)
    cuts = [0, *(round(float(b)) for b in bounds), t]
    levels = np.array([_middle_mean(profile[a:b]) for a, b in pairwise(cuts)], np.float32)
    return Layers(profile, bounds, levels, coherence, noise)


def _evened(strip: Strip) -> Plane:
    """Lightness with each column brought to the strip's mean: light varies along the edge, layers across it."""
    weight = strip.inside.astype(np.float32)
    count = weight.sum(axis=0)
    ok = count >= max(3, 0.5 * strip.luma.shape[0])
    if ok.sum() < 4:
        return strip.luma
    luma = strip.luma[:, ok]
    column = (luma * weight[:, ok]).sum(axis=0) / count[ok]
    gain = float(column.mean() + 4) / (column + 4)
    return np.asarray(np.minimum(luma * gain[None, :], 400.0), np.float32)


def _middle_mean(values: Plane) -> float:
    k = len(values) // 4
    v = values[k:len(values) - k] if len(values) > 2 * k else values
    return float(v.mean()) if v.size else math.nan


def _boundaries(profile: Plane, noise: float) -> NDArray[np.float32]:
    """Rows at which the profile passes from one layer to the next, by a hysteresis walk over its turning points."""
    t = len(profile)
    if t < MIN_ROWS:
        return np.zeros(0, np.float32)
    smooth = np.asarray(cv2.GaussianBlur(profile[None, :], (0, 0), max(0.6, t / 90)), np.float32)[0]
    # Only a straight trend is taken off: anything bent would grow lobes beside a thick middle layer.
    # By the median of differences over half the thickness, so that one thin face layer does not tilt it.
    half = t // 2
    v = smooth - float(np.median(smooth[half:] - smooth[:t - half])) / half * np.arange(t, dtype=np.float32)
    low, high = np.percentile(v, (5, 95))
    need = max(PROMINENCE * float(high - low), 4 * noise, 1.5)
    if high - low < need:
        return np.zeros(0, np.float32)
    # Turning points: keep the running extreme until the profile has come back by `need`.
    turns: list[int] = []
    top = bottom = 0
    rising: bool | None = None
    for i in range(1, t):
        if v[i] > v[top]:
            top = i
        if v[i] < v[bottom]:
            bottom = i
        if rising is not False and v[top] - v[i] >= need:
            turns.append(top)
            rising, bottom = False, i
        elif rising is not True and v[i] - v[bottom] >= need:
            turns.append(bottom)
            rising, top = True, i
    last = top if rising else bottom
    if rising is not None and (not turns or last != turns[-1]):
        turns.append(last)
    out = []
    for a, b in pairwise(turns):
        half = (v[a] + v[b]) / 2
        seg = v[a:b + 1]
        crossing = np.nonzero((seg[:-1] - half) * (seg[1:] - half) <= 0)[0]
        if crossing.size:
            i = int(crossing[len(crossing) // 2])
            d = float(seg[i + 1] - seg[i])
            out.append(a + i + (float(half - seg[i]) / d if abs(d) > 1e-6 else 0.5))
    return np.array(out, np.float32)


MIN_ROWS = 8


def measure_layers(strip: Strip, found: Layers) -> dict[str, float]:
    """Numbers of group edge_layers (see strips.FEATURES)."""
    t = len(found.profile)
    count = len(found.levels)
    mean = float(found.profile.mean()) + 8
    out = {
        "layers_count": float(count),
        "layers_coherence": found.coherence,
        "layers_contrast": math.nan, "layers_pitch_spread": math.nan,
        "layers_steps": _steps(found.profile) / mean,
    }
    if count >= 3:
        steps = np.diff(found.levels)
        out["layers_contrast"] = float(np.median(np.abs(steps))) / mean
        inner = np.diff(found.bounds)
        if len(inner) >= 2:
            out["layers_pitch_spread"] = float(inner.std() / max(float(inner.mean()), 1e-6))
    out["layers_pitch_peak"] = _pitch_peak(found.profile)
    out["layers_texture_match"] = _texture_match(strip, found)
    out.update(_face_line(found))
    if t >= MIN_ROWS:
        third = t // 3
        mid = float(found.profile[third:t - third].mean())
        skins = float(np.r_[found.profile[t // 16:t // 5], found.profile[t - t // 5:t - t // 16]].mean())
        out["layers_skin_tone"] = math.log((skins + 8) / (mid + 8))
    else:
        out["layers_skin_tone"] = math.nan
    return out


def _steps(profile: Plane) -> float:
    """Total up and down of the smoothed profile beyond its own range: 0 for a ramp, 2 (k - 1) amplitudes for k waves."""
    t = len(profile)
    v = np.asarray(cv2.GaussianBlur(profile[None, :], (0, 0), max(0.8, t / 60)), np.float32)[0]
    return max(0.0, float(np.abs(np.diff(v)).sum()) - float(v.max() - v.min()))


def _pitch_peak(profile: Plane) -> float:
    """Share of the profile's variance (trend removed) that one period of 2 to 12 waves per thickness carries, 0..1."""
    t = len(profile)
    if t < 16:
        return math.nan
    x = np.linspace(-1, 1, t)
    v = profile - np.polynomial.polynomial.polyval(x, np.polynomial.polynomial.polyfit(x, profile, 3))
    power = np.abs(np.fft.rfft(v * np.hanning(t), 4 * t)) ** 2
    total = float(power.sum())
    if total < 1e-3:
        return math.nan
    low, high = 8, min(4 * 12, len(power) - 3)
    k = low + int(np.argmax(power[low:high])) if high > low else low
    return min(1.0, float(power[max(0, k - 4):k + 5].sum()) / total)


def _texture_match(strip: Strip, found: Layers) -> float:
    """Correlation of lightness with roughness from layer to layer: end-grain plies are both darker and rougher (< 0)."""
    if len(found.levels) < 3:
        return math.nan
    rough = np.abs(strip.luma - cv2.blur(strip.luma, (9, 1))).mean(axis=1)
    cuts = [0, *(round(float(b)) for b in found.bounds), len(rough)]
    r = np.array([_middle_mean(np.asarray(rough[a:b], np.float32)) for a, b in pairwise(cuts)])
    ok = np.isfinite(r) & np.isfinite(found.levels)
    if ok.sum() < 3 or r[ok].std() < 1e-3 or found.levels[ok].std() < 1e-3:
        return math.nan
    return float(np.corrcoef(r[ok], found.levels[ok])[0, 1])


def face_line_row(found: Layers) -> tuple[float, float] | None:
    """(row, strength) of the sharpest step in the outer sixths, leaving out the outermost rows where the outline errs.

    Strength is the step over the spread of steps in the middle; None on strips under 18 rows.
    """
    t = len(found.profile)
    if t < 18:
        return None
    g = np.abs(np.diff(np.asarray(cv2.GaussianBlur(found.profile[None, :], (0, 0), 0.7), np.float32)[0]))
    rim, zone = max(2, t // 32), t // 6
    middle = g[zone:t - zone]
    usual = float(np.sqrt((middle * middle).mean())) + found.noise + 0.3
    outer = np.r_[np.arange(rim, zone), np.arange(t - 1 - zone, t - 1 - rim)]
    k = int(outer[np.argmax(g[outer])])
    return k + 0.5, float(g[k]) / usual


def _face_line(found: Layers) -> dict[str, float]:
    line = face_line_row(found)
    t = len(found.profile)
    if line is None:
        return {"layers_face_line": math.nan, "layers_face_depth": math.nan}
    row, strength = line
    return {"layers_face_line": math.log(strength + 0.1), "layers_face_depth": min(row, t - row) / t}
