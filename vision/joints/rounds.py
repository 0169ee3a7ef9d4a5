"""Round things: gradients vote for middles at every radius, a polar look at each middle gives the numbers, a net the name."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Final

import cv2
import numpy as np
from numpy.typing import NDArray

from vision.joints.band import lab_of
from vision.joints.chances import stored
from vision.joints.finds import ROUND_NAMES, RoundThing

Plane = NDArray[np.float32]
#: Radii looked for, px; largest share of the shorter side; share of the circumference that must vote.
RADII: Final = tuple(1.8 * 1.22**k for k in range(15))
MOST_SHARE, LEAST_VOTE = 0.2, 0.38
#: Most middles looked at, and directions of a polar look.
MOST, ANGLES = 120, 48
CLASSES: Final = ("nothing", *ROUND_NAMES)


@dataclass(frozen=True, eq=False)
class Spot:
    """A middle worth looking at. `radius`, `radius_error`: px; `numbers`: inputs of the net 'round'."""

    x: float
    y: float
    radius: float
    radius_error: float
    numbers: Mapping[str, float]


def votes(grey: Plane) -> tuple[Plane, tuple[float, ...]]:
    """(radii, 2, h, w) share of a circle's rim that votes for each pixel as middle, of bright [0] and dark [1] discs.

    Every pixel with a slope votes at its distance r along and against it (Loy and Zelinsky, Fast radial symmetry, 2003, the
    orientation part alone).
    """
    h, w = grey.shape
    smooth = cv2.GaussianBlur(grey, (0, 0), 0.7)
    gx, gy = cv2.Scharr(smooth, cv2.CV_32F, 1, 0) / 32, cv2.Scharr(smooth, cv2.CV_32F, 0, 1) / 32
    size = np.hypot(gx, gy)
    least = max(1.0, float(np.percentile(size, 70)))
    ys, xs = np.nonzero(size > least)
    ux, uy = gx[ys, xs] / size[ys, xs], gy[ys, xs] / size[ys, xs]
    radii = tuple(r for r in RADII if r <= max(4.0, MOST_SHARE * min(h, w)))
    out = np.zeros((len(radii), 2, h, w), np.float32)
    for k, r in enumerate(radii):
        for which, sign in ((0, 1.0), (1, -1.0)):
            cx, cy = np.round(xs + sign * r * ux).astype(int), np.round(ys + sign * r * uy).astype(int)
            ok = (cx >= 0) & (cy >= 0) & (cx < w) & (cy < h)
            count = np.bincount(cy[ok] * w + cx[ok], minlength=h * w).reshape(h, w).astype(np.float32)
            sigma = max(0.6, 0.14 * r)
            # the sum over the blur's own area, over the rim's length with its width of about two pixels
            total = cv2.GaussianBlur(count, (0, 0), sigma) * np.float32(2 * math.pi * sigma**2)
            out[k, which] = total / np.float32(2 * math.pi * r * 2.0)
    return out, radii


def middles(pixels: NDArray[np.uint8]) -> list[tuple[float, float, float, bool, float]]:
    """(x, y, radius, dark, vote) of the best middles, best first, none inside another."""
    lab = lab_of(pixels)
    found: list[tuple[float, float, float, bool, float]] = []
    for plane in (lab[..., 0], 1.5 * np.hypot(lab[..., 1] - np.median(lab[..., 1]), lab[..., 2] - np.median(lab[..., 2]))):
        v, radii = votes(np.asarray(plane, np.float32))
        best = v.max(axis=(0, 1))
        peak = (best >= cv2.dilate(best, np.ones((3, 3), np.uint8))) & (best > LEAST_VOTE)
        ys, xs = np.nonzero(peak)
        flat = v[:, :, ys, xs].reshape(-1, len(ys)) if len(ys) else np.zeros((1, 0), np.float32)
        which = flat.argmax(axis=0)
        found += [(float(x), float(y), radii[k // 2], bool(k % 2), float(best[y, x]))
                  for x, y, k in zip(xs, ys, which, strict=True)]
    found.sort(key=lambda m: -m[4] * min(m[2], 6.0) ** 0.5)
    out: list[tuple[float, float, float, bool, float]] = []
    for m in found:
        if len(out) == MOST:
            break
        if all((m[0] - o[0]) ** 2 + (m[1] - o[1]) ** 2 > (0.8 * max(m[2], o[2])) ** 2 for o in out):
            out.append(m)
    return out


def look(lab: NDArray[np.float32], middle: tuple[float, float, float, bool, float]) -> Spot | None:
    """Polar look at one middle: rim, inside, surroundings; None where the picture cuts most of it off."""
    x, y, r, _, vote = middle
    h, w = lab.shape[:2]
    # a disc that its colour gave away may be darker or lighter all the same
    turn = np.arange(16) * (math.pi / 8)
    reach = r * np.array([0.3, 0.6, 1.4, 1.7])[:, None]
    at = cv2.remap(lab[..., 0], (x + reach * np.cos(turn)).astype(np.float32), (y + reach * np.sin(turn)).astype(np.float32),
                   cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE)
    dark = bool(at[:2].mean() < at[2:].mean())
    x, y, r = _settle(lab[..., 0], x, y, r, dark)
    margin = min(x, y, w - 1 - x, h - 1 - y)
    if margin < 0.3 * r:
        return None
    steps = np.arange(0.0, 2.3, 0.1)
    angles = np.arange(ANGLES) * (2 * math.pi / ANGLES)
    px = (x + r * steps[:, None] * np.cos(angles)).astype(np.float32)
    py = (y + r * steps[:, None] * np.sin(angles)).astype(np.float32)
    polar = np.asarray(cv2.remap(lab, px, py, cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE), np.float64)
    light, colour = polar[..., 0], polar[..., 1:]
    rise = np.diff(light, axis=0)  # between steps
    rim = rise[6:15]
    signed = rim * (1.0 if dark else -1.0)
    where = signed.argmax(axis=0)
    peak = signed.max(axis=0)
    radius_at = (where + 6 + 0.5) * 0.1
    outside, inside = light[14:21], light[:7]
    noise = float(np.median(np.abs(np.diff(light[13:], axis=0)))) + 0.15
    agree = peak > max(2.5 * noise, 0.35 * float(np.median(np.maximum(peak, 0))), 0.6)
    spread = float(np.std(radius_at[agree])) if agree.sum() > 4 else 0.5
    mean_in, mean_out = inside.mean(), float(np.median(outside))
    colour_in, colour_out = colour[:7].reshape(-1, 2).mean(axis=0), np.median(colour[14:21].reshape(-1, 2), axis=0)

    def harmonic(band: NDArray[np.float64], k: int) -> float:
        return float(np.abs((band.mean(axis=0) * np.exp(-1j * k * angles)).mean())) * 2

    ring = light[8:12].mean(axis=0)
    numbers = {
        "vote": vote, "agree": float(agree.mean()), "spread": spread, "step": math.log(max(0.2, float(np.median(peak)))),
        "sure": math.log(max(0.1, float(np.median(peak)) / noise)), "dark": float(dark),
        "contrast": float(mean_in - mean_out), "centre": float(light[:3].mean() - mean_in),
        "deepest": float(inside.min() - mean_out),
        "highest": float(inside.max() - mean_out), "inner_spread": float(inside.std()), "outer_spread": float(outside.std()),
        "light_in": float(mean_in), "light_out": mean_out, "chroma_in": float(np.hypot(*colour_in)),
        "chroma_out": float(np.hypot(*colour_out)), "hue_step": float(np.hypot(*(colour_in - colour_out))),
        "lean_in": harmonic(light[3:8], 1), "lean_rim": harmonic(light[9:12], 1), "lean_out": harmonic(light[12:16], 1),
        "slot": harmonic(light[3:6], 2), "slot_out": harmonic(light[7:9], 2), "cross": harmonic(light[2:6], 4),
        "streak_out": harmonic(light[13:20], 2), "rim_ring": float(ring.mean() - 0.5 * (mean_in + mean_out)),
        "ringed": float(light[6:9].mean() - light[3:6].mean()),
        "width": 0.1 * r * float((signed > 0.5 * peak).sum(axis=0).mean()),
        "radius": math.log(r), "radius_share": math.log(r / min(h, w)), "edge": math.log(max(0.3, margin / r)),
        "edge_share": margin / min(h, w), "busy": math.log(0.2 + float(np.abs(np.diff(outside, axis=1)).mean())),
    }
    r_fit = r * float(np.median(radius_at[agree])) if agree.sum() > 4 else r
    return Spot(x, y, r_fit, max(0.15, r * spread / math.sqrt(max(4.0, float(agree.sum()) / 3))), numbers)


def _settle(light: Plane, x: float, y: float, r: float, dark: bool) -> tuple[float, float, float]:
    """Middle and radius moved to where the rim is steepest all round."""
    angles = np.arange(24) * (2 * math.pi / 24)
    cos, sin = np.cos(angles), np.sin(angles)
    sign = 1.0 if dark else -1.0
    h, w = light.shape
    reach = max(1.0, 0.3 * r)
    for _ in range(3):
        offsets = np.arange(-reach, reach + 0.01, max(0.25, reach / 6))
        rho = np.concatenate([[offsets[0] - (offsets[1] - offsets[0])], offsets, [offsets[-1] + (offsets[1] - offsets[0])]]) + r
        at = cv2.remap(light, (x + rho[:, None] * cos).astype(np.float32), (y + rho[:, None] * sin).astype(np.float32),
                       cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE)
        rise = sign * (at[2:] - at[:-2])
        best = offsets[rise.argmax(axis=0)]
        weight = np.maximum(rise.max(axis=0), 0) + 1e-6
        # radius and shift of the middle that best explain where the rim lies
        m = np.stack([np.ones_like(cos), cos, sin], axis=1)
        for _ in range(2):
            fit = np.linalg.solve(m.T @ (m * weight[:, None]) + 1e-6 * np.eye(3), m.T @ (weight * best))
            off = best - m @ fit
            weight = weight / (1 + (off / max(0.4, 0.1 * r)) ** 2)
        dr, dx, dy = (float(np.clip(v, -0.4 * r, 0.4 * r)) for v in fit)
        x, y, r = min(max(x + dx, 0), w - 1), min(max(y + dy, 0), h - 1), max(1.2, r + dr)
        reach = max(0.8, 0.15 * r)
    return x, y, r


def spots(pixels: NDArray[np.uint8]) -> list[Spot]:
    """Middles with their numbers, doubles that settled on one place left out."""
    lab = lab_of(pixels)
    out: list[Spot] = []
    for middle in middles(pixels):
        spot = look(lab, middle)
        if spot is None:
            continue
        if all((spot.x - o.x) ** 2 + (spot.y - o.y) ** 2 > (0.6 * min(spot.radius, o.radius)) ** 2 for o in out):
            out.append(spot)
    return out


def named(found: list[Spot], *, mm_per_px: float | None = None) -> list[RoundThing]:
    """Every spot with the name likeliest among round things, whatever its chance, best first."""
    chances = stored()["round"].chances([s.numbers for s in found])
    out = []
    for s, p in zip(found, chances, strict=True):
        k = int(np.argmax(p[1:]))
        mm = None if mm_per_px is None else 2 * s.radius * mm_per_px
        chance, others = float(p[1 + k]), tuple(float(v) for v in p[1:])
        out.append(RoundThing(s.x, s.y, s.radius, s.radius_error, ROUND_NAMES[k], chance, others, mm))
    return sorted(out, key=lambda t: -t.chance)
