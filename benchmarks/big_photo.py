"""A 12-megapixel JPEG made from a picture in sample_images/: the same bytes' worth of work on every machine.

The sample is cropped to 4:3, enlarged to 4000 x 3000 and given sensor noise from a fixed seed, so that the fine scales
are not empty as they would be after enlarging alone.
"""

from __future__ import annotations

from pathlib import Path

import numpy as np
from numpy.typing import NDArray
from PIL import Image

from vision.resize import resize

WIDTH, HEIGHT = 4000, 3000
NOISE_SD, QUALITY, SEED = 4.0, 92, 12
ROOT = Path(__file__).resolve().parents[1]


def sample() -> Path:
    """The sample photo with the most pixels (the first by name among equals)."""
    photos = sorted((ROOT / "sample_images").rglob("*.jpg"))
    if not photos:
        raise SystemExit("sample_images/ holds no JPEG")

    def pixels(path: Path) -> int:
        with Image.open(path) as image:
            return image.width * image.height

    return max(photos, key=pixels)


def enlarged(pixels: NDArray[np.uint8]) -> NDArray[np.uint8]:
    """(3000, 4000, 3) uint8 sRGB from any RGB picture: centre crop to 4:3, enlarge, add noise."""
    h, w = pixels.shape[:2]
    cw, ch = min(w, h * WIDTH // HEIGHT), min(h, w * HEIGHT // WIDTH)
    x, y = (w - cw) // 2, (h - ch) // 2
    big = resize(np.ascontiguousarray(pixels[y : y + ch, x : x + cw]), WIDTH, HEIGHT)
    noise = np.random.default_rng(SEED).standard_normal(big.shape[:2], dtype=np.float32) * NOISE_SD
    return np.clip(np.rint(big + noise[..., None]), 0, 255).astype(np.uint8)


def write(folder: Path) -> Path:
    """Write the big photo into `folder`; returns its path."""
    with Image.open(sample()) as image:
        pixels = np.asarray(image.convert("RGB"))
    path = folder / "twelve-megapixels.jpg"
    Image.fromarray(enlarged(pixels)).save(path, quality=QUALITY)
    return path
