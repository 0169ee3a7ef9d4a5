"""What happens to a photo on its way through phones, messengers and listing sites: small changes that move no material.

Each change takes a photo's pixels and the outlines drawn on it to the changed pixels and the outlines on those, so that
the very same panel is judged before and after.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from types import MappingProxyType
from typing import Final

import cv2
import numpy as np
from numpy.typing import NDArray

from vision.resize import resize

Pixels = NDArray[np.uint8]
#: (n, 2) x, y in photo pixels.
Outline = NDArray[np.float64]
Change = Callable[[Pixels, Outline], tuple[Pixels, Outline]]

CROP: Final = 0.10
BALANCE: Final = 0.10
BLUR_PX: Final = 1.0
QUALITY: Final = 50


def smaller(share: float) -> Change:
    """The photo resized to `share` of its width and height."""

    def change(pixels: Pixels, outline: Outline) -> tuple[Pixels, Outline]:
        h, w = pixels.shape[:2]
        width, height = max(1, round(w * share)), max(1, round(h * share))
        return resize(pixels, width, height), outline * np.array([width / w, height / h])

    return change


def cropped(pixels: Pixels, outline: Outline) -> tuple[Pixels, Outline]:
    """A tenth of the width cut off left and right, of the height above and below; the outline is cut where it crosses."""
    h, w = pixels.shape[:2]
    dx, dy = round(w * CROP), round(h * CROP)
    return np.ascontiguousarray(pixels[dy : h - dy, dx : w - dx]), _within(outline, dx, dy, w - dx, h - dy) - (dx, dy)


def _within(outline: Outline, x0: float, y0: float, x1: float, y1: float) -> Outline:
    """Largest part of an outline within a box, (n, 2); empty (0, 2) where less than half of its area is left."""
    from shapely.geometry import MultiPolygon, Polygon, box

    whole = Polygon(outline).buffer(0)
    left = whole.intersection(box(x0, y0, x1, y1))
    if isinstance(left, MultiPolygon):
        left = max(left.geoms, key=lambda g: g.area)
    if not isinstance(left, Polygon) or left.area < 0.5 * whole.area:
        return np.empty((0, 2))
    if left.equals(whole):
        return outline
    return np.asarray(left.exterior.coords, dtype=np.float64)[:-1]


def recompressed(pixels: Pixels, outline: Outline) -> tuple[Pixels, Outline]:
    """Saved as a JPEG of quality 50 and opened again."""
    ok, data = cv2.imencode(".jpg", cv2.cvtColor(pixels, cv2.COLOR_RGB2BGR), [cv2.IMWRITE_JPEG_QUALITY, QUALITY])
    if not ok:
        raise ValueError("the photo cannot be compressed")
    bgr = cv2.imdecode(data, cv2.IMREAD_COLOR)
    return np.asarray(cv2.cvtColor(np.asarray(bgr, np.uint8), cv2.COLOR_BGR2RGB), np.uint8), outline


def balanced(red: float, blue: float) -> Change:
    """Red and blue multiplied, in the values as stored."""

    def change(pixels: Pixels, outline: Outline) -> tuple[Pixels, Outline]:
        gains = np.array([red, 1.0, blue], dtype=np.float32)
        return np.clip(np.rint(pixels * gains), 0, 255).astype(np.uint8), outline

    return change


def blurred(pixels: Pixels, outline: Outline) -> tuple[Pixels, Outline]:
    """Blurred by a Gaussian of one pixel."""
    return np.asarray(cv2.GaussianBlur(pixels, (0, 0), BLUR_PX), np.uint8), outline


def mirrored(pixels: Pixels, outline: Outline) -> tuple[Pixels, Outline]:
    """Left and right changed; the outline keeps its sense of turning."""
    turned = outline.copy()
    turned[:, 0] = pixels.shape[1] - turned[:, 0]
    return np.ascontiguousarray(pixels[:, ::-1]), turned[::-1]


def _unchanged(pixels: Pixels, outline: Outline) -> tuple[Pixels, Outline]:
    return pixels, outline


ORIGINAL: Final = "original"
CHANGES: Final[Mapping[str, Change]] = MappingProxyType({
    "resized to 0.75": smaller(0.75),
    "resized to 0.5": smaller(0.5),
    "10 % cut off every side": cropped,
    "JPEG quality 50": recompressed,
    "warmer: red +10 %, blue -10 %": balanced(1 + BALANCE, 1 - BALANCE),
    "cooler: red -10 %, blue +10 %": balanced(1 - BALANCE, 1 + BALANCE),
    "blurred, sigma 1 px": blurred,
    "mirrored": mirrored,
})


def versions() -> Sequence[tuple[str, Change]]:
    """The photo as it is, then every change."""
    return [(ORIGINAL, _unchanged), *CHANGES.items()]
