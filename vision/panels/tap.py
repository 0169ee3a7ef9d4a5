"""The panel under a finger: the surface that a tap belongs to."""

from __future__ import annotations

import math

import numpy as np

from vision.errors import UsageError
from vision.panels.find import as_panel, region_mask
from vision.panels.partition import STOP, PhotoSurfaces
from vision.panels.quads import Shape, shape_of
from vision.types import Panel, Photo

#: A tap says that there is a panel, so neighbours are joined a little more readily than when panels are sought.
TAP_STOP = STOP + 1.0


def panel_at(photo: Photo, x: float, y: float) -> Panel:
    """Panel that holds the point (x, y) in photo pixels; its id is `<photo id>.at<x>,<y>`.

    A panel is always returned, also on background (its `surface_share` is then low).

    Raises
    ------
    UsageError
        if the point is not on the photo.
    """
    if not (math.isfinite(x) and math.isfinite(y) and 0 <= x <= photo.width and 0 <= y <= photo.height):
        raise UsageError(f"point {x:g},{y:g} on {photo.file}", f"it lies outside the photo of {photo.width}x{photo.height} px.",
                         "Give x,y in pixels of the upright photo, origin at the top left corner.")
    return panel_round(PhotoSurfaces.of(photo), photo.id, (photo.width, photo.height), x, y)


def panel_round(surfaces: PhotoSurfaces, photo_id: str, size: tuple[int, int], x: float, y: float) -> Panel:
    """The same for a partition of a photo of `size` (width, height) px."""
    labels = surfaces.regions(TAP_STOP)
    h, w = labels.shape
    col = min(max(int((x + 0.5) * surfaces.surface.scale[0]), 0), w - 1)
    row = min(max(int((y + 0.5) * surfaces.surface.scale[1]), 0), h - 1)
    mask = region_mask(labels, int(labels[row, col]))
    shape = shape_of(mask)
    name = f"at{x:.0f},{y:.0f}"
    if shape is not None and not _holds(shape, col, row):
        shape = None
    if shape is None:
        shape = shape_of(region_mask(surfaces.patches, int(surfaces.patches[row, col])))
    if shape is None or not _holds(shape, col, row):
        shape = _square(col, row, w, h)
    likeness = float(surfaces.surface.likeness[mask > 0].mean())
    return as_panel(shape, surfaces, photo_id, name, size, "tap", likeness)


def _holds(shape: Shape, col: int, row: int) -> bool:
    from shapely.geometry import Point, Polygon

    return bool(Polygon(shape.outline).buffer(0.75).contains(Point(col, row)))


def _square(col: int, row: int, width: int, height: int) -> Shape:
    """A small square round the tap, for taps on a line too thin to be a region."""
    x0, x1 = max(col - 8, 0) - 0.5, min(col + 8, width - 1) + 0.5
    y0, y1 = max(row - 8, 0) - 0.5, min(row + 8, height - 1) + 0.5
    corners = np.array([[x0, y0], [x1, y0], [x1, y1], [x0, y1]])
    return Shape(corners, corners, float((x1 - x0) * (y1 - y0)))
