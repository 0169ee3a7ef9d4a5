"""Labelled pictures from files, and the same pictures as another photo would show them."""

from __future__ import annotations

from pathlib import Path

import cv2
import numpy as np
from numpy.typing import NDArray

from training.hardware.make import LONG_PX
from vision.resize import resize


def seen_again(pixels: NDArray[np.uint8], labels: NDArray[np.uint8], rng: np.random.Generator,
               ) -> tuple[NDArray[np.uint8], NDArray[np.uint8]]:
    """A part of a picture with its labels as another photo would show it: LONG_PX long, other light, blur, noise and JPEG."""
    h, w = labels.shape
    share = float(rng.uniform(0.45, 1.0)) if rng.random() < 0.6 else 1.0
    ch, cw = max(8, round(h * min(1.0, share * float(rng.uniform(0.8, 1.3))))), max(8, round(w * share))
    y, x = int(rng.integers(max(1, h - ch + 1))), int(rng.integers(max(1, w - cw + 1)))
    pixels, labels = np.ascontiguousarray(pixels[y : y + ch, x : x + cw]), labels[y : y + ch, x : x + cw]
    width, height = (max(2, round(v * LONG_PX / max(labels.shape))) for v in labels.shape[::-1])
    rows = np.minimum(((np.arange(height) + 0.5) * labels.shape[0] / height).astype(int), labels.shape[0] - 1)
    columns = np.minimum(((np.arange(width) + 0.5) * labels.shape[1] / width).astype(int), labels.shape[1] - 1)
    image = resize(pixels, width, height).astype(np.float32) / 255
    image = image ** np.float32(rng.uniform(0.7, 1.4)) * np.asarray(rng.uniform(0.8, 1.15, 3), np.float32) * 255
    if rng.random() < 0.4:
        image = np.asarray(cv2.GaussianBlur(image, (0, 0), float(rng.uniform(0.3, 1.2))), np.float32)
    image = image + rng.normal(0, rng.uniform(0.2, 4.0), image.shape).astype(np.float32)
    _, code = cv2.imencode(".jpg", np.clip(image, 0, 255).astype(np.uint8)[..., ::-1],
                           [cv2.IMWRITE_JPEG_QUALITY, int(rng.integers(55, 96))])
    seen = np.asarray(cv2.imdecode(code, cv2.IMREAD_COLOR), np.uint8)[..., ::-1]
    return np.ascontiguousarray(seen), np.ascontiguousarray(labels[rows][:, columns])


def stored(folder: Path) -> list[tuple[NDArray[np.uint8], NDArray[np.uint8]]]:
    """(pixels, labels) of every pair of files in a folder, sorted by name."""
    out = []
    for path in sorted(folder.glob("*.png")):
        labels, bgr = cv2.imread(str(path), cv2.IMREAD_GRAYSCALE), cv2.imread(str(path.with_suffix(".jpg")))
        if labels is not None and bgr is not None:
            out.append((np.ascontiguousarray(bgr[..., ::-1]).astype(np.uint8), np.asarray(labels, np.uint8)))
    return out
