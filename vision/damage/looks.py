"""What the damage net is told of each place: the backbone's maps, and colour, fine contrast, dark and light lines by hand."""

from __future__ import annotations

import itertools

import cv2
import numpy as np
from numpy.typing import NDArray

from vision import backbone

#: Side of a place, pixels, and of the quarter of a place that hand-made measures are taken on.
PLACE, QUARTER = 8, 4
#: Hand-made measures of each quarter.
BY_HAND = (
    "light",
    "darkest",
    "lightest",
    "red_green",
    "yellow_blue",
    "contrast_1",
    "contrast_2",
    "contrast_4",
    "dark_5",
    "dark_13",
    "light_5",
    "grey_edge",
)
MAPS = {"s8": 40, "s16": 112, "s32": 320}
CHANNELS = sum(MAPS.values()) + 4 * len(BY_HAND)


def looks(pixels: NDArray[np.uint8]) -> NDArray[np.float32]:
    """(CHANNELS, h / 8, w / 8) of an RGB picture (h, w, 3) whose sides are multiples of 32.

    Maps of the backbone come first, the coarser ones grown to the finest; then the four quarters of each hand-made measure.
    """
    seen = backbone.maps(pixels, tuple(MAPS))
    rows, cols = seen["s8"].shape[1:]
    grown = [np.repeat(np.repeat(seen[name], rows // seen[name].shape[1], 1), cols // seen[name].shape[2], 2) for name in MAPS]
    quarters = by_hand(pixels)
    split = quarters.reshape(len(BY_HAND), rows, 2, cols, 2).transpose(0, 2, 4, 1, 3).reshape(-1, rows, cols)
    return np.asarray(np.concatenate([*grown, split]), np.float32)


def by_hand(pixels: NDArray[np.uint8]) -> NDArray[np.float32]:
    """(len(BY_HAND), h / 4, w / 4): lightness (mean, least, most) and colour in CIE Lab / 50; mean band contrast about 1, 2 and 4
    px; the strongest dark detail narrower than 5 and 13 px and light detail narrower than 5 px; mean gradient."""
    lab = cv2.cvtColor(pixels.astype(np.float32) / 255, cv2.COLOR_RGB2LAB) / np.float32(50)
    light = np.ascontiguousarray(lab[..., 0])
    blurs = [light, *(cv2.GaussianBlur(light, (0, 0), s) for s in (1.0, 2.0, 4.0))]
    out = [_mean(light), -_most(-light), _most(light), _mean(lab[..., 1]), _mean(lab[..., 2])]
    out += [_mean(np.abs(a - b)) for a, b in itertools.pairwise(blurs)]
    for way, side in ((cv2.MORPH_BLACKHAT, 5), (cv2.MORPH_BLACKHAT, 13), (cv2.MORPH_TOPHAT, 5)):
        kernel = np.asarray(cv2.getStructuringElement(cv2.MORPH_ELLIPSE, (side, side)), np.uint8)
        out.append(_most(np.asarray(cv2.morphologyEx(light, way, kernel), np.float32)))
    gx, gy = (cv2.Sobel(blurs[1], cv2.CV_32F, a, b, ksize=3, scale=1 / 8) for a, b in ((1, 0), (0, 1)))
    out.append(_mean(np.hypot(gx, gy)))
    return np.stack(out).astype(np.float32)


def _blocks(values: NDArray[np.floating]) -> NDArray[np.floating]:
    h, w = values.shape
    return values.reshape(h // QUARTER, QUARTER, w // QUARTER, QUARTER)


def _mean(values: NDArray[np.floating]) -> NDArray[np.floating]:
    return np.asarray(_blocks(values).mean(axis=(1, 3)))


def _most(values: NDArray[np.floating]) -> NDArray[np.floating]:
    return np.asarray(_blocks(values).max(axis=(1, 3)))
