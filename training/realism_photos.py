"""What a whole photo looks like in a few numbers, to find by which of them renders give themselves away."""

from __future__ import annotations

from typing import Final

import cv2
import numpy as np
from numpy.typing import NDArray

from vision.resize import fit_within, resize

#: Longest side at which light, colour and fullness are read, px.
READ_PX = 800
#: Number -> what it is.
STATISTICS: Final[dict[str, str]] = {
    "long_px": "longest side, px",
    "black": "lightness that 1 % of the photo lies below, 0..255",
    "white": "lightness that 1 % lies above",
    "middle": "mean lightness",
    "contrast": "standard deviation of lightness",
    "warm": "mean of red less blue, 0..255",
    "green": "mean of green less the mean of red and blue",
    "chroma": "mean distance from grey",
    "noise": "grain in the calmest tenth of 16 px blocks, as the phone handed them out",
    "grain_size": "how alike neighbouring pixels of that grain are, -1..1",
    "sharp": "steepest 2 % of steps between neighbouring pixels, over contrast",
    "grid": "steps across 8 px block borders over all other steps",
    "full": "share of blocks with something in them (edges or texture)",
    "corners": "lightness of the corners over that of the middle",
}


def photo_numbers(pixels: NDArray[np.uint8]) -> NDArray[np.float64]:
    """STATISTICS of an RGB photo (h, w, 3), in their order."""
    h, w = pixels.shape[:2]
    small = resize(pixels, *fit_within(w, h, max_side=READ_PX))
    rgb, grey = small.astype(np.float32), cv2.cvtColor(small, cv2.COLOR_RGB2GRAY).astype(np.float32)
    whole = cv2.cvtColor(pixels, cv2.COLOR_RGB2GRAY).astype(np.float32)
    fine = whole - cv2.GaussianBlur(whole, (0, 0), 2.0)
    noise, alike = _grain(whole, fine)
    steps = np.abs(np.diff(whole, axis=1))
    contrast = float(grey.std())
    border = steps[:, 7::8].mean() / max(float(np.delete(steps, np.s_[7::8], axis=1).mean()), 1e-3)
    mean = rgb.mean(axis=(0, 1))
    hh, ww = grey.shape
    middle = grey[hh // 3 : 2 * hh // 3, ww // 3 : 2 * ww // 3].mean()
    rows, cols = (slice(hh // 5), slice(-(hh // 5), None)), (slice(ww // 5), slice(-(ww // 5), None))
    parts = [grey[r, c] for r in rows for c in cols]
    return np.array([
        max(h, w), np.quantile(grey, 0.01), np.quantile(grey, 0.99), grey.mean(), contrast, mean[0] - mean[2],
        mean[1] - 0.5 * (mean[0] + mean[2]), float((rgb.max(axis=2) - rgb.min(axis=2)).mean()), noise, alike,
        float(np.quantile(steps, 0.98)) / max(contrast, 1.0), border, _full(grey),
        float(np.mean([p.mean() for p in parts])) / max(float(middle), 1.0),
    ])


def _grain(whole: NDArray[np.float32], fine: NDArray[np.float32], block: int = 16) -> tuple[float, float]:
    """(strength, likeness of neighbours) of the fine detail in the calmest tenth of blocks that are neither black nor white."""
    h, w = (n // block * block for n in whole.shape)
    tiles = fine[:h, :w].reshape(h // block, block, w // block, block).swapaxes(1, 2).reshape(-1, block, block)
    level = whole[:h, :w].reshape(h // block, block, w // block, block).mean(axis=(1, 3)).ravel()
    tiles = tiles[(level > 25) & (level < 235)]
    if len(tiles) < 10:
        return float("nan"), float("nan")
    spread = tiles.std(axis=(1, 2))
    calm = tiles[spread <= np.quantile(spread, 0.1)]
    a, b = calm[:, :, :-1].ravel(), calm[:, :, 1:].ravel()
    return float(np.median(calm.std(axis=(1, 2)))), float((a * b).mean() / max(float((calm**2).mean()), 1e-6))


def _full(grey: NDArray[np.float32], block: int = 20) -> float:
    h, w = (n // block * block for n in grey.shape)
    tiles = grey[:h, :w].reshape(h // block, block, w // block, block)
    return float((tiles.std(axis=(1, 3)) > 8).mean())
