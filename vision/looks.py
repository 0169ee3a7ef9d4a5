"""What the backbone sees in three crops of a panel: its surroundings, the rectified panel, and a tile at full resolution."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from vision.backbone import statistics_batch
from vision.resize import resize
from vision.types import Photo, WorkingView

SIDE = 224
GROW = 0.25
LOOKS = ("context", "panel", "native")


def surroundings_box(size: tuple[int, int], view: WorkingView, grow: float) -> tuple[int, int, int, int]:
    """(x0, y0, x1, y1) half-open pixel box: the panel's bounding box grown by `grow` of its size on every side, clipped to a
    photo of `size` (width, height)."""
    x, y = view.native_origin
    h, w = view.native.shape[:2]
    dx, dy = int(w * grow), int(h * grow)
    return max(0, x - dx), max(0, y - dy), min(size[0], x + w + dx), min(size[1], y + h + dy)


def context_crop(photo: Photo, view: WorkingView) -> NDArray[np.uint8]:
    """(224, 224, 3) crop of the panel's bounding box grown by a quarter of its size on every side, clipped to the photo."""
    x0, y0, x1, y1 = surroundings_box((photo.width, photo.height), view, GROW)
    return resize(photo.pixels[y0:y1, x0:x1], SIDE, SIDE)


def mean_colour(pixels: NDArray[np.uint8], mask: NDArray[np.bool_]) -> NDArray[np.float64]:
    """(3,) mean of the pixels of an (h, w, 3) picture where the mask is True (which it must be somewhere)."""
    import cv2

    inside = mask.astype(np.uint8)
    kept = cv2.copyTo(pixels, inside)
    return np.array(cv2.sumElems(kept)[:3]) / cv2.countNonZero(inside)


def filled(view: WorkingView) -> NDArray[np.uint8]:
    """(h, w, 3) rectified panel with everything outside its outline set to the panel's mean colour."""
    pixels = view.pixels
    if not view.mask.all() and view.mask.any():
        pixels = pixels.copy()
        pixels[~view.mask] = mean_colour(view.pixels, view.mask).astype(np.uint8)
    return pixels


def panel_crop(view: WorkingView) -> NDArray[np.uint8]:
    """(224, 224, 3) rectified panel, see `filled`."""
    return resize(filled(view), SIDE, SIDE)


def native_tile(view: WorkingView) -> NDArray[np.uint8]:
    """(224, 224, 3) un-resampled tile, see `native_window`."""
    return native_window(view, SIDE)[0]


def native_corner(view: WorkingView, side: int) -> tuple[int, int]:
    """(x, y) of the top left pixel, in the panel's full-resolution crop, of the tile centred where the panel is widest."""
    import cv2

    mask = view.native_mask.astype(np.uint8)
    scale = max(1, max(mask.shape) // 256)
    small = np.pad(mask[::scale, ::scale], 1)  # the crop's own border counts as outside
    distance = cv2.distanceTransform(small, cv2.DIST_L2, 3)
    cy, cx = ((int(c) - 1) * scale for c in np.unravel_index(int(distance.argmax()), distance.shape))
    h, w = mask.shape
    th, tw = min(side, h), min(side, w)
    return int(np.clip(cx - tw // 2, 0, w - tw)), int(np.clip(cy - th // 2, 0, h - th))


def native_window(view: WorkingView, side: int) -> tuple[NDArray[np.uint8], NDArray[np.bool_]]:
    """(side, side, 3) un-resampled tile centred where the panel is widest, and (side, side) where it shows the panel; both
    mirrored outwards where the panel is smaller."""
    import cv2

    x, y = native_corner(view, side)
    tile, mark = (a[y : y + side, x : x + side] for a in (view.native, view.native_mask.astype(np.uint8)))
    if tile.shape[:2] != (side, side):
        bottom, right = side - tile.shape[0], side - tile.shape[1]
        tile, mark = (np.asarray(cv2.copyMakeBorder(np.ascontiguousarray(a), 0, bottom, 0, right, cv2.BORDER_REFLECT), np.uint8)
                      for a in (tile, mark))
    return np.asarray(tile, dtype=np.uint8), np.asarray(mark > 0)


def looks(photo: Photo, view: WorkingView) -> dict[str, NDArray[np.float32]]:
    """The three descriptions, each (backbone.STATISTICS,) float32, keyed as in LOOKS."""
    crops = np.stack([context_crop(photo, view), panel_crop(view), native_tile(view)])
    return dict(zip(LOOKS, statistics_batch(crops), strict=True))
