"""Handles, knobs, keyholes, hinges and glints on a panel: closed spots that are no figure."""

from __future__ import annotations

from typing import Final

import cv2
import numpy as np
from numpy.typing import NDArray

from vision.resize import resize

#: Longest side of the picture that spots are looked for on, pixels.
_SEEN_PX = 320
#: Least and largest area of a spot, shares of the panel; a spot more drawn out than this (along over across) is a streak,
#: which only a bar handle of foreign colour and sharp rim is.
LEAST_AREA, MOST_AREA, MOST_LONG = 0.00025, 0.06, 9.0
#: Colour distance (CIELAB, lightness at half weight) of a spot from the wood about it, in spreads of the panel and at least.
SPREADS, LEAST_DISTANCE = 3.2, 14.0
#: Hue and chroma (a, b of CIELAB) this far from the wood's are no wood: metal, black iron, brass, ceramic.
FOREIGN_CHROMA = 11.0
#: A darker spot that keeps this share of the wood's redness (a of CIELAB), and has that much, is wood.
RED_KEPT, LEAST_RED = 0.75, 10.0
#: A dark crisp spot with less than this share of the wood's chroma, or of its redness, is iron or black lacquer.
IRON_CHROMA, IRON_RED = 0.55, 0.4
#: Spots are widened by this share of the panel's short side: their shadow and rim belong to them.
MARGIN: Final = 0.018


def fittings(pixels: NDArray[np.uint8], mask: NDArray[np.bool_]) -> NDArray[np.bool_]:
    """(h, w) bool, True on hardware and glints of a panel, their rims and shadows with them.

    A dark knot is left alone: its colour is the wood's own, darkened, and its rim is soft. What is marked: closed spots
    whose hue is not the wood's, and spots with a sharp closed rim that are burnt out or hold both glint and shadow.

    Parameters
    ----------
    pixels : (h, w, 3) uint8 sRGB of a rectified panel.
    mask : (h, w) bool, True on the panel.
    """
    h, w = mask.shape
    shrink = max(1.0, max(h, w) / _SEEN_PX)
    width, height = max(8, round(w / shrink)), max(8, round(h / shrink))
    small = resize(pixels, width, height)
    inside = cv2.resize(mask.astype(np.uint8), (width, height), interpolation=cv2.INTER_NEAREST) > 0
    if inside.sum() < 200:
        return np.zeros((h, w), np.bool_)
    lab = np.asarray(cv2.cvtColor(small.astype(np.float32) / np.float32(255), cv2.COLOR_RGB2Lab), dtype=np.float32)
    size = 2 * round(0.16 * min(width, height)) + 1
    about = _surroundings(lab, inside, size)
    away = lab - about
    lightness, chroma = np.abs(away[..., 0]), np.hypot(away[..., 1], away[..., 2])
    distance = np.hypot(0.5 * lightness, chroma)
    usual = float(np.median(distance[inside]))
    strange = inside & (distance > max(LEAST_DISTANCE, SPREADS * 1.48 * usual))
    strange |= inside & (lab[..., 0] > 93) & (away[..., 0] > 18)
    strange = cv2.morphologyEx(strange.astype(np.uint8), cv2.MORPH_CLOSE, np.ones((3, 3), np.uint8))
    count, labels, stats, _ = cv2.connectedComponentsWithStats(strange, connectivity=8)
    area = float(inside.sum())
    out = np.zeros((height, width), np.uint8)
    grey = lab[..., 0]
    slope = np.hypot(cv2.Scharr(grey, cv2.CV_32F, 1, 0), cv2.Scharr(grey, cv2.CV_32F, 0, 1))
    rim = np.asarray(slope / 32, dtype=np.float32)
    sharp = float(np.percentile(rim[inside], 90))
    for k in range(1, count):
        if not LEAST_AREA * area <= stats[k, cv2.CC_STAT_AREA] <= MOST_AREA * area or stats[k, cv2.CC_STAT_AREA] < 6:
            continue
        x, y, bw, bh = (int(v) for v in stats[k, :4])
        part = labels[y : y + bh, x : x + bw] == k
        streak = _long(part) > MOST_LONG
        box = np.s_[max(0, y - 1) : y + bh + 1, max(0, x - 1) : x + bw + 1]
        here = labels[box] == k
        if _is_hardware(lab[box], away[box], here, rim[box], sharp, streak=streak):
            filled = np.zeros((bh, bw), np.uint8)
            contours, _ = cv2.findContours(part.astype(np.uint8), cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_NONE)
            cv2.drawContours(filled, contours, -1, 1, cv2.FILLED)
            out[y : y + bh, x : x + bw] |= filled
    if not out.any():
        return np.zeros((h, w), np.bool_)
    reach = max(1, round(MARGIN * min(width, height)))
    out = cv2.dilate(out, cv2.getStructuringElement(cv2.MORPH_ELLIPSE, (2 * reach + 1, 2 * reach + 1)))
    return np.asarray(cv2.resize(out, (w, h), interpolation=cv2.INTER_NEAREST) > 0, dtype=np.bool_)


def _surroundings(lab: NDArray[np.float32], mask: NDArray[np.bool_], size: int) -> NDArray[np.float32]:
    """Tone of the wood about each pixel: a wide mean over the mask, taken again without what is far from the first."""
    inside = mask.astype(np.float32)
    for _ in range(2):
        weight = cv2.blur(inside, (size, size), borderType=cv2.BORDER_CONSTANT)
        mean = cv2.blur(lab * inside[..., None], (size, size), borderType=cv2.BORDER_CONSTANT)
        mean = mean / np.maximum(weight, 1e-4)[..., None]
        off = np.linalg.norm((lab - mean) * np.array([0.5, 1.0, 1.0], np.float32), axis=2)
        inside = (mask & (off < 2.5 * max(float(np.median(off[mask])), 2.0))).astype(np.float32)
    empty = weight < 0.02
    mean[empty] = np.median(lab[mask], axis=0)
    return np.asarray(mean, dtype=np.float32)


def _long(part: NDArray[np.bool_]) -> float:
    """Length over width of a spot, from its second moments."""
    y, x = np.nonzero(part)
    cov = np.cov(np.stack([x, y]).astype(np.float64)) + np.eye(2) / 12 if len(x) > 2 else np.eye(2)
    low, high = np.linalg.eigvalsh(cov)
    return float(np.sqrt(high / max(low, 1e-6)))


def _is_hardware(lab: NDArray[np.float32], away: NDArray[np.float32], here: NDArray[np.bool_], rim: NDArray[np.float32],
                 sharp: float, *, streak: bool) -> bool:
    """Whether one strange spot is hardware or a glint rather than a knot or dark figure; a streak must be plainly no wood."""
    light = away[..., 0][here]
    own = np.median(lab[here], axis=0)
    wood = np.median((lab - away)[here], axis=0)
    border = here & (cv2.erode(here.astype(np.uint8), np.ones((3, 3), np.uint8), borderValue=0) == 0)
    steep = float(np.median(rim[border]))
    crisp = steep > max(1.3 * sharp, 5.0)
    darker = max(0.0, float(-np.median(light))) / 100
    # knots and heartwood are darker but stay red: iron, bronze and shadow do not
    red = bool(darker > 0 and own[1] >= max(LEAST_RED, RED_KEPT * wood[1]))
    # a darker spot of the same wood loses chroma in proportion: only what goes beyond that is foreign
    foreign = not red and float(np.linalg.norm(own[1:] - (1 - 0.8 * darker) * wood[1:])) > FOREIGN_CHROMA
    if streak:
        return foreign and crisp
    grey = float(np.hypot(*own[1:])) < IRON_CHROMA * float(np.hypot(*wood[1:])) or own[1] < IRON_RED * wood[1]
    iron = not red and grey and own[0] < 0.6 * wood[0] and steep > max(1.4 * sharp, 5.0)
    glint = float(np.percentile(light, 95)) > 18
    shadow = float(np.percentile(light, 5)) < -18
    burnt = float(np.percentile(lab[..., 0][here], 75)) > 93
    return bool(foreign or iron or burnt or (glint and shadow) or (crisp and glint))
