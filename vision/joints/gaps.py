"""Open joints: a dark straight wedge that widens steadily along its line."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Final

import cv2
import numpy as np
from numpy.typing import NDArray

from vision.joints.band import lab_of
from vision.joints.finds import Gap

#: Least length, share of the picture's shorter side; most width, share of the length.
LEAST_LONG, MOST_WIDE = 0.2, 0.2
CLASSES: Final = ("nothing", "there")


@dataclass(frozen=True, eq=False)
class GapFound:
    line: NDArray[np.float64]
    narrow: float
    wide: float
    width_error: float
    numbers: Mapping[str, float]


def gaps_of(pixels: NDArray[np.uint8]) -> list[GapFound]:
    """Dark straight wedges of a picture, most telling first (at most 4)."""
    light = np.ascontiguousarray(lab_of(pixels)[..., 0])
    h, w = light.shape
    reach = 2 * max(4, round(0.035 * min(h, w))) + 1
    kernel = cv2.getStructuringElement(cv2.MORPH_ELLIPSE, (reach, reach))
    hat = np.asarray(cv2.morphologyEx(light, cv2.MORPH_BLACKHAT, kernel), np.float32)
    usual = float(np.median(hat))
    spread = 1.48 * float(np.median(np.abs(hat - usual)))
    out = []
    for least in (max(usual + 4 * spread, 7.0), max(usual + 8 * spread, 16.0)):
        mask = (hat > least).astype(np.uint8)
        count, labels, stats, _ = cv2.connectedComponentsWithStats(mask, connectivity=8)
        for k in np.argsort(-np.maximum(stats[1:, cv2.CC_STAT_WIDTH], stats[1:, cv2.CC_STAT_HEIGHT]))[:12] + 1:
            x, y, bw, bh, area = (int(v) for v in stats[k])
            if max(bw, bh) < LEAST_LONG * min(h, w) or area < 20:
                continue
            ys, xs = np.nonzero(labels[y : y + bh, x : x + bw] == k)
            found = _wedge(np.stack([xs + x, ys + y], axis=1).astype(float), light, hat, int(count))
            if found is not None:
                out.append(found)
    out.sort(key=lambda g: -g.numbers["rank"])
    return out[:4]


def _wedge(p: NDArray[np.float64], light: NDArray[np.float32], hat: NDArray[np.float32], count: int) -> GapFound | None:
    h, w = light.shape
    middle = p.mean(axis=0)
    _, vectors = np.linalg.eigh(np.cov((p - middle).T) + np.eye(2) / 12)
    along, across = vectors[:, 1], vectors[:, 0]
    t, s = (p - middle) @ along, (p - middle) @ across
    length = float(np.ptp(t)) + 1
    if len(p) / length > MOST_WIDE * length or length < 20:
        return None
    # the width follows from the darkness missing across the line, which counts parts of a pixel
    n = int(min(60, max(8, length / 3)))
    places = np.linspace(t.min(), t.max(), n)
    centre = np.interp(places, *_running(t, s, n))
    reach = float(np.clip(len(p) / length * 2.5, 4, 24))
    offsets = np.arange(-reach - 3, reach + 3.1, 0.5)
    xy = middle + places[:, None, None] * along + (centre[:, None, None] + offsets[None, :, None]) * across
    at = xy.astype(np.float32)
    cut = cv2.remap(light, at[..., 0], at[..., 1], cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE)
    sides = np.minimum(np.median(cut[:, :6], axis=1), np.median(cut[:, -6:], axis=1))
    apart = np.abs(np.median(cut[:, :6], axis=1) - np.median(cut[:, -6:], axis=1))
    floor = float(np.percentile(cut.min(axis=1), 10))
    depth = np.maximum(sides - floor, 1.0)
    missing = np.clip(sides[:, None] - cut, 0, None).sum(axis=1) * 0.5
    width = missing / depth
    if float(np.median(depth)) < 6:
        return None
    m = np.stack([np.ones(n), np.linspace(0, 1, n)], axis=1)
    fit, *_ = np.linalg.lstsq(m, width, rcond=None)
    off = width - m @ fit
    spread = float(np.sqrt((off**2).sum() / (n - 2)))
    error = spread / math.sqrt(max(1e-6, float(((m[:, 1] - 0.5) ** 2).sum())))
    rise = float(fit[1])
    if rise < 0:
        along, places, rise = -along, -places[::-1], -rise
        centre, fit = centre[::-1], np.array([fit[0] + fit[1], -fit[1]])
    line = np.stack([middle + along * places.min() + across * centre[0], middle + along * places.max() + across * centre[-1]])
    bow = float(np.sqrt(np.mean((centre - np.polyval(np.polyfit(places, centre, 1), places)) ** 2)))
    wide_end = line[1]
    to_edge = min(wide_end[0], wide_end[1], w - 1 - wide_end[0], h - 1 - wide_end[1])
    angle = math.degrees(math.atan2(along[1], along[0])) % 90
    numbers = {"rise": math.log(max(0.05, rise)), "sure": math.log(max(0.05, rise / max(error, 1e-3))),
               "ratio": math.log(max(0.3, float(fit[0] + fit[1])) / max(0.3, float(fit[0]))),
               "narrow": math.log(max(0.2, float(fit[0]))), "wide": math.log(max(0.2, float(fit.sum()))),
               "length": length / min(h, w), "bow": math.log(max(0.05, bow)), "depth": math.log(float(np.median(depth))),
               "apart": float(np.median(apart)), "floor": floor, "edge": to_edge / min(h, w), "square": min(angle, 90 - angle),
               "others": math.log(count), "steady": spread / max(0.3, float(width.mean())), "light": float(np.median(sides))}
    numbers["rank"] = numbers["sure"] + numbers["length"] - numbers["bow"]
    return GapFound(line, max(0.0, float(fit[0])), float(fit.sum()), spread, numbers)


def _running(t: NDArray[np.float64], s: NDArray[np.float64], n: int) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Middles of the wedge in stretches along it."""
    bins = np.clip(((t - t.min()) / max(1e-9, float(np.ptp(t))) * n).astype(int), 0, n - 1)
    count = np.bincount(bins, minlength=n)
    ok = count > 0
    return np.asarray(np.bincount(bins, t, n)[ok] / count[ok]), np.asarray(np.bincount(bins, s, n)[ok] / count[ok])


def result(gap: GapFound, chance: float, mm_per_px: float | None) -> Gap:
    line = tuple((float(x), float(y)) for x, y in gap.line)
    return Gap(line, gap.narrow, gap.wide, gap.width_error, chance, None if mm_per_px is None else gap.wide * mm_per_px)
