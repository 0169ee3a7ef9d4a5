"""What the panel net is shown of a panel: four pictures of one size, each with a mark of where the panel is.

The net (an efficientnet-lite0 taught on rendered and real panels, see models/NOTICE) looks at the panel's wide surroundings, its
close surroundings, the rectified panel and a tile at full resolution. What it says is one measurement among others.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from vision import looks
from vision.panels.geometry import polygon_mask
from vision.resize import resize
from vision.types import Photo, WorkingView

#: Pictures in the order the net reads them.
CROPS = ("wide", "context", "panel", "native")
#: The box of the panel grows by this share of its size on every side.
GROW = {"wide": 1.0, "context": 0.25}

Picture = NDArray[np.uint8]


def surroundings_box(photo: Photo, view: WorkingView, grow: float) -> tuple[int, int, int, int]:
    """(x0, y0, x1, y1) half-open pixel box: the panel's bounding box grown by `grow` of its size, clipped to the photo."""
    x, y = view.native_origin
    h, w = view.native.shape[:2]
    dx, dy = int(w * grow), int(h * grow)
    return max(0, x - dx), max(0, y - dy), min(photo.width, x + w + dx), min(photo.height, y + h + dy)


def crops(photo: Photo, view: WorkingView, side: int = looks.SIDE) -> Picture:
    """(4, side, side, 4) uint8: red, green, blue and the mark (255 on the panel, 0 off it) of each of CROPS."""
    return np.stack([*(_surroundings(photo, view, GROW[name], side) for name in ("wide", "context")),
                     _panel(view, side), _native(view, side)])


def _with_mark(pixels: Picture, mark: NDArray[np.bool_]) -> Picture:
    return np.dstack([pixels, mark.astype(np.uint8) * 255])


def _surroundings(photo: Photo, view: WorkingView, grow: float, side: int) -> Picture:
    x0, y0, x1, y1 = surroundings_box(photo, view, grow)
    shrink = np.array([side / (x1 - x0), side / (y1 - y0)])
    outline = (np.asarray(view.panel.outline, dtype=np.float64) - [x0, y0] + 0.5) * shrink - 0.5
    return _with_mark(resize(photo.pixels[y0:y1, x0:x1], side, side), polygon_mask(outline, side, side))


def _panel(view: WorkingView, side: int) -> Picture:
    mark = resize(view.mask.astype(np.uint8) * 255, side, side) > 127
    return _with_mark(resize(looks.filled(view), side, side), mark)


def _native(view: WorkingView, side: int) -> Picture:
    tile, mark = looks.native_window(view, side)
    return _with_mark(tile, mark)
