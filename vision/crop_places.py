"""Where on the photo each place of a net's pictures lies: the way back from the crops of `vision.looks` and its neighbours.

A crop is addressed by (u, v) from 0 to 1 along its width and height, pixel borders included, so that cell c of w cells spans
u = c / w to (c + 1) / w whatever the crop's size in pixels.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from functools import partial

import numpy as np
from numpy.typing import NDArray

from vision.looks import GROW, SIDE, native_corner, surroundings_box
from vision.panels import geometry
from vision.types import WorkingView

Points = NDArray[np.float64]
#: Surroundings this much wider than the panel's own box, in shares of its size on every side.
WIDE = 1.0


@dataclass(frozen=True, eq=False)
class CropPlace:
    """`matrix`: 3x3 homography from (u, v, 1) to photo pixels; `fold`: u and v at which the crop is mirrored outwards (1 where it
    is not), as a tile of a panel smaller than the tile is."""

    matrix: NDArray[np.float64]
    fold: tuple[float, float] = (1.0, 1.0)

    def on_photo(self, points: Points) -> Points:
        """(n, 2) photo pixels of (n, 2) points (u, v)."""
        limit = np.array(self.fold)
        around = np.mod(points, 2 * limit)
        return geometry.apply(self.matrix, np.where(around > limit, 2 * limit - around, around))


def _box(x0: float, y0: float, x1: float, y1: float) -> NDArray[np.float64]:
    """Unit square to a half-open pixel box."""
    return np.array([[x1 - x0, 0, x0 - 0.5], [0, y1 - y0, y0 - 0.5], [0, 0, 1.0]])


def surroundings_place(size: tuple[int, int], view: WorkingView, side: int, *, grow: float) -> CropPlace:
    """Of the panel's bounding box grown by `grow` of its size on every side, clipped to a photo of `size` (width, height)."""
    return CropPlace(_box(*surroundings_box(size, view, grow)))


def panel_place(size: tuple[int, int], view: WorkingView, side: int) -> CropPlace:
    """Of the rectified panel."""
    h, w = view.pixels.shape[:2]
    return CropPlace(view.to_photo @ _box(0, 0, w, h))


def native_place(size: tuple[int, int], view: WorkingView, side: int) -> CropPlace:
    """Of the tile at full resolution, see `vision.looks.native_window`."""
    x, y = native_corner(view, side)
    h, w = view.native.shape[:2]
    x, y = x + view.native_origin[0], y + view.native_origin[1]
    return CropPlace(_box(x, y, x + side, y + side), (min(1.0, w / side), min(1.0, h / side)))


Place = Callable[[tuple[int, int], WorkingView, int], CropPlace]
PLACES: Mapping[str, Place] = {
    "wide": partial(surroundings_place, grow=WIDE), "context": partial(surroundings_place, grow=GROW),
    "panel": panel_place, "native": native_place,
}


def crop_places(names: tuple[str, ...], size: tuple[int, int], view: WorkingView, side: int = SIDE) -> tuple[CropPlace, ...]:
    """The place of each named crop of a panel on a photo of `size` (width, height); `side`: of the crops in pixels."""
    return tuple(PLACES[n](size, view, side) for n in names)
