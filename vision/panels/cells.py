"""What is seen around each 8x8 cell of the working image: backbone maps and simple local cues, in one table."""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from vision import backbone
from vision.resize import resize, resize_map
from vision.types import Photo

#: Long side (px) of the image on which panels are sought; both sides are multiples of the backbone's stride.
WORKING_SIDE = 640
CELL = 8
#: Columns of the table: backbone channels by map, then the local cues.
MAP_CHANNELS = {"s8": 40, "s16": 112, "s32": 320}
CUE_NAMES = ("lightness", "red_green", "yellow_blue", "chroma", "lightness_sd", "chroma_sd", "fine_energy", "coarse_energy",
             "coherence", "from_centre", "height")


@dataclass(frozen=True, eq=False)
class Cells:
    """Working image and its cell table. `pixels`: (h, w, 3) uint8; `lab`: (h, w, 3) float32 CIE L*a*b*;
    `maps`: backbone maps by name, (channels, rows, cols) float32; `cues`: (h/8, w/8, len(CUE_NAMES)) float32."""

    pixels: NDArray[np.uint8]
    lab: NDArray[np.float32]
    maps: dict[str, NDArray[np.float32]]
    cues: NDArray[np.float32]

    @property
    def shape(self) -> tuple[int, int]:
        """(rows, cols) of cells."""
        return self.cues.shape[0], self.cues.shape[1]


def working_size(width: int, height: int) -> tuple[int, int]:
    """(width, height) of the working image of a photo: multiples of 32, long side `WORKING_SIDE`, shape nearly kept."""
    scale = WORKING_SIDE / max(width, height)
    step = backbone.STRIDE
    return max(step, round(width * scale / step) * step), max(step, round(height * scale / step) * step)


def look(photo: Photo) -> Cells:
    """Cells of a photo; runs the backbone once."""
    width, height = working_size(photo.width, photo.height)
    pixels = resize(photo.pixels, width, height)
    maps = backbone.maps(pixels, ("s8", "s16", "s32"))
    lab = np.asarray(cv2.cvtColor(pixels.astype(np.float32) / 255.0, cv2.COLOR_RGB2LAB), dtype=np.float32)
    return Cells(pixels, lab, maps, _cues(lab))


def _pool(image: NDArray[np.float32]) -> NDArray[np.float32]:
    """Mean over cells; sides are multiples of the cell."""
    h, w = image.shape[:2]
    return np.asarray(resize_map(image, w // CELL, h // CELL), dtype=np.float32)


def _cues(lab: NDArray[np.float32]) -> NDArray[np.float32]:
    """(rows, cols, cues) float32; lengths in L*a*b* units, position as a share of the image."""
    mean = _pool(lab)
    spread = np.sqrt(np.maximum(_pool(lab * lab) - mean * mean, 0.0))
    light = lab[..., 0]
    gx, gy = cv2.Scharr(light, cv2.CV_32F, 1, 0) / 32, cv2.Scharr(light, cv2.CV_32F, 0, 1) / 32
    products = (np.asarray(g, dtype=np.float32) for g in (gx * gx, gy * gy, gx * gy))
    tensor = [cv2.GaussianBlur(_pool(g), (0, 0), 1.5) for g in products]
    energy = tensor[0] + tensor[1]
    coherence = np.hypot(tensor[0] - tensor[1], 2 * tensor[2]) / (energy + 1e-3)
    smooth = cv2.GaussianBlur(light, (0, 0), 3.0)
    steps = cv2.Scharr(smooth, cv2.CV_32F, 1, 0), cv2.Scharr(smooth, cv2.CV_32F, 0, 1)
    coarse = _pool(np.asarray(steps[0] ** 2 + steps[1] ** 2, dtype=np.float32)) / 32**2
    rows, cols = mean.shape[:2]
    y, x = np.mgrid[0:rows, 0:cols].astype(np.float32)
    y, x = (y + 0.5) / rows, (x + 0.5) / cols
    out = np.dstack([
        mean, np.hypot(mean[..., 1], mean[..., 2]), spread[..., 0], np.hypot(spread[..., 1], spread[..., 2]),
        np.log1p(energy), np.log1p(coarse), coherence, np.hypot(2 * x - 1, 2 * y - 1), y,
    ])
    return np.asarray(out, dtype=np.float32)


def stacked(maps: dict[str, NDArray[np.float32]], shape: tuple[int, int]) -> NDArray[np.float32]:
    """Backbone maps brought to (rows, cols, 472) float32 on the cell grid (bilinear)."""
    rows, cols = shape
    layers = []
    for name in MAP_CHANNELS:
        layer = np.ascontiguousarray(maps[name].transpose(1, 2, 0), dtype=np.float32)
        if layer.shape[:2] != (rows, cols):
            layer = _enlarged(layer, rows, cols)
        layers.append(layer)
    return np.concatenate(layers, axis=2)


def _enlarged(layer: NDArray[np.float32], rows: int, cols: int) -> NDArray[np.float32]:
    """Bilinear enlargement of a many-channel map (cv2 handles any channel number for INTER_LINEAR only in chunks)."""
    return np.dstack([resize_map(layer[..., k:k + 4], cols, rows)
                      for k in range(0, layer.shape[2], 4)])
