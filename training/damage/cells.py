"""From a drawn panel to what the net answers: classes, what shows beneath, and weights on cells of 4 by 4 pixels."""

from __future__ import annotations

import cv2
import numpy as np
from numpy.typing import NDArray

from training.damage.make import CODE_UNKNOWN
from vision.damage.net import CELL

#: A cell is damaged from this share of its pixels on; a cell of a look-alike weighs so much more.
LEAST_SHARE, FOOL_WEIGHT = 0.25, 2.0


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
