"""How much the 8x8 blocks of JPEG show in the pixels, whatever the file says about itself.

A photo that went through a messenger may be stored again at high quality; the block edges stay. The measure follows the
idea of Wang, Sheikh & Bovik, "No-reference perceptual quality assessment of JPEG compressed images" (ICIP 2002): compare
steps across block borders with steps inside blocks.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

_BLOCK = 8
_LINES = 160
#: Grey levels added to both sides of the ratio, so that rounding steps in smooth pictures are not called blocks.
_NOISE_FLOOR = 0.25


def blockiness(pixels: NDArray[np.uint8]) -> float:
    """Mean step across block borders over the mean step inside blocks, of an (h, w, 3) picture at full resolution.

    1 means no blocks. The grid may lie at any of the eight offsets (a turned or cropped photo shifts it); the larger of
    the two directions' values is returned. nan for pictures under 64 px and for pictures without any step.
    """
    height, width = pixels.shape[:2]
    if min(height, width) < 64:
        return float("nan")
    rows = np.linspace(0, height - 1, min(_LINES, height)).astype(int)
    cols = np.linspace(0, width - 1, min(_LINES, width)).astype(int)
    across = pixels[rows, :, 1].astype(np.int16)
    down = pixels[:, cols, 1].T.astype(np.int16)
    values = [v for v in (_grid_ratio(across), _grid_ratio(down)) if np.isfinite(v)]
    return max(values) if values else float("nan")


def _grid_ratio(lines: NDArray[np.int16]) -> float:
    """(n, length) sampled lines: the strongest offset's mean step over the median offset's."""
    steps = np.minimum(np.abs(np.diff(lines, axis=1)), 32)  # real edges must not outvote the grid
    length = steps.shape[1] // _BLOCK * _BLOCK
    by_offset = steps[:, :length].reshape(len(lines), -1, _BLOCK).mean(axis=(0, 1))
    if by_offset.max() == 0:
        return float("nan")
    return float((by_offset.max() + _NOISE_FLOOR) / (np.median(by_offset) + _NOISE_FLOOR))
