"""From a drawn panel to what the net answers: classes, what shows beneath, and weights on cells of 4 by 4 pixels."""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from training.damage.make import CODE_UNKNOWN, Panel
from vision.damage.net import CELL, SIDE
from vision.resize import fit_within, resize

#: Side of a crop taught from; a cell is damaged from this share of its pixels on.
CROP, LEAST_SHARE = 384, 0.25
FOOL_WEIGHT, EDGE_OF_CROP = 2.0, 127


@dataclass(frozen=True, eq=False)
class Crop:
    """`pixels` (CROP, CROP, 3) uint8; `kinds`, `under` (CROP/4, CROP/4) uint8 (0 sound or unknown, k + 1); `weight` the same
    size, uint8 in sixteenths, 0 where nothing is known."""

    pixels: NDArray[np.uint8]
    kinds: NDArray[np.uint8]
    under: NDArray[np.uint8]
    weight: NDArray[np.uint8]


def to_cells(labels: NDArray[np.uint8]) -> tuple[NDArray[np.uint8], NDArray[np.bool_]]:
    """(class of each cell, whether it is known) of a label map whose sides are multiples of the cell."""
    h, w = labels.shape
    blocks = labels.reshape(h // CELL, CELL, w // CELL, CELL).transpose(0, 2, 1, 3).reshape(h // CELL, w // CELL, -1)
    damaged = np.where(blocks == CODE_UNKNOWN, 0, blocks)
    share = (damaged > 0).mean(axis=2)
    kinds = damaged.max(axis=2)
    unknown = (blocks == CODE_UNKNOWN).any(axis=2) | ((share > 0) & (share < LEAST_SHARE))
    return np.where(share >= LEAST_SHARE, kinds, 0).astype(np.uint8), np.asarray(~(unknown & (share < LEAST_SHARE)))


def weights(
    kinds: NDArray[np.uint8], known: NDArray[np.bool_], fools: NDArray[np.bool_], inside: NDArray[np.bool_]
) -> NDArray[np.uint8]:
    """Weight of each cell in sixteenths: small regions count more a cell, look-alikes twice, unknown and outside nothing."""
    out = np.where(fools, FOOL_WEIGHT, 1.0)
    count, parts, stats, _ = cv2.connectedComponentsWithStats((kinds > 0).astype(np.uint8), connectivity=8)
    for k in range(1, count):
        area = stats[k, cv2.CC_STAT_AREA]
        out[parts == k] = np.clip((90 / area) ** 0.5, 1.0, 4.0)
    return np.asarray(np.round(16 * out * known * inside), np.uint8)


def crop_of(panel: Panel, rng: np.random.Generator) -> Crop:
    """A random crop of a panel at the scale it is looked at, a little larger or smaller, padded with mid grey."""
    h, w = panel.labels.shape
    width, height = fit_within(w, h, max_side=SIDE)
    scale = float(np.exp(rng.uniform(np.log(0.8), np.log(1.2))))
    width, height = max(32, round(width * scale)), max(32, round(height * scale))
    pixels = resize(panel.pixels, width, height)
    fool = np.zeros((h, w), np.uint8)
    for mask in panel.fools.values():
        fool |= mask.astype(np.uint8)
    layers = [
        np.asarray(cv2.resize(np.ascontiguousarray(v), (width, height), interpolation=cv2.INTER_NEAREST), np.uint8)
        for v in (panel.labels, panel.under, fool)
    ]
    y, x = (
        int(rng.integers(0, n - CROP + 1)) if n > CROP else -int(rng.integers(0, (CROP - n) // CELL + 1)) * CELL
        for n in (height, width)
    )

    def cut(layer: NDArray[np.uint8], blank: int) -> NDArray[np.uint8]:
        out = np.full((CROP, CROP, *layer.shape[2:]), blank, np.uint8)
        part = layer[max(0, y) : max(0, y) + CROP, max(0, x) : max(0, x) + CROP]
        oy, ox = max(0, -y), max(0, -x)
        part = part[: CROP - oy, : CROP - ox]
        out[oy : oy + part.shape[0], ox : ox + part.shape[1]] = part
        return out

    kinds, known = to_cells(cut(layers[0], 0))
    under, _ = to_cells(cut(layers[1], 0))
    fools, _ = to_cells(cut(layers[2], 0))
    inside, _ = to_cells(cut(np.ones((height, width), np.uint8), 0))
    return Crop(cut(pixels, EDGE_OF_CROP), kinds, under, weights(kinds, known, fools > 0, inside > 0))
