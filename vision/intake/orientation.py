"""EXIF orientation: read once, applied once."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray
from PIL import Image

ORIENTATION_TAG = 0x0112

#: What turns the stored picture upright, by EXIF orientation value (CIPA DC-008, tag 274).
_STEPS: dict[int, Callable[[Any], Any]] = {
    2: lambda a: cv2.flip(a, 1),
    3: lambda a: cv2.rotate(a, cv2.ROTATE_180),
    4: lambda a: cv2.flip(a, 0),
    5: cv2.transpose,
    6: lambda a: cv2.rotate(a, cv2.ROTATE_90_CLOCKWISE),
    7: lambda a: cv2.rotate(cv2.transpose(a), cv2.ROTATE_180),
    8: lambda a: cv2.rotate(a, cv2.ROTATE_90_COUNTERCLOCKWISE),
}


def orientation_of(image: Image.Image) -> int:
    """EXIF orientation 1..8 that still has to be applied; 1 when absent, out of range or unreadable.

    Ask after `image.load()`: TIFF pictures are turned by the decoder, which then clears the tag.
    """
    try:
        value = image.getexif().get(ORIENTATION_TAG, 1)
    except Exception:  # EXIF is written by anybody; a broken block must not cost the photo
        return 1
    return value if isinstance(value, int) and 1 <= value <= 8 else 1


def upright(pixels: NDArray[np.uint8], orientation: int) -> NDArray[np.uint8]:
    """Stored (h, w, 3) pixels turned upright; the same array when there is nothing to do."""
    step = _STEPS.get(orientation)
    return pixels if step is None else np.ascontiguousarray(step(pixels), dtype=np.uint8)
