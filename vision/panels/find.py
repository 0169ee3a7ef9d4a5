"""Find the flat furniture surfaces of a photo."""

from __future__ import annotations

import cv2
import numpy as np
from numpy.typing import NDArray

from vision.panels.geometry import Points
from vision.panels.partition import PhotoSurfaces
from vision.panels.quads import Shape, shape_of
from vision.panels.rectify import STRIP_ASPECT
from vision.types import Outline, Panel, Photo

#: Mean furniture likeness a region needs to become a panel.
LEAST_LIKENESS = 0.55
#: Smallest panel as a share of the photo, and the most panels listed.
LEAST_SHARE, MOST_PANELS = 0.003, 14


def find_panels(photo: Photo) -> tuple[Panel, ...]:
    """Panels of `photo`, largest first, ids `<photo id>.p1` and so on; empty where nothing looks like furniture."""
    return panels_of(PhotoSurfaces.of(photo), photo.id, (photo.width, photo.height))


def panels_of(surfaces: PhotoSurfaces, photo_id: str, size: tuple[int, int]) -> tuple[Panel, ...]:
    """Panels of a partition of a photo of `size` (width, height) px."""
    labels = surfaces.regions()
    count = int(labels.max()) + 1
    area = np.bincount(labels.ravel(), minlength=count)
    likeness = np.bincount(labels.ravel(), surfaces.surface.likeness.ravel(), count) / np.maximum(area, 1)
    wanted = np.flatnonzero((area >= LEAST_SHARE * labels.size) & (likeness >= LEAST_LIKENESS))
    wanted = wanted[np.argsort(-area[wanted] * likeness[wanted], kind="stable")][:MOST_PANELS]
    found: list[Panel] = []
    for k in wanted:
        shape = shape_of(region_mask(labels, int(k)))
        if shape is None or shape.area < LEAST_SHARE * labels.size:
            continue
        found.append(as_panel(shape, surfaces, photo_id, f"p{len(found) + 1}", size, "found", float(likeness[k])))
    return tuple(found)


def as_panel(shape: Shape, surfaces: PhotoSurfaces, photo_id: str, name: str, size: tuple[int, int], source: str,
             likeness: float) -> Panel:
    """Panel of a shape in working pixels."""
    sx, sy = surfaces.surface.scale

    def on_photo(points: Points) -> Outline:
        p = np.clip((points + 0.5) / [sx, sy] - 0.5, 0, [size[0] - 1, size[1] - 1])
        return tuple((round(float(x), 2), round(float(y), 2)) for x, y in p)

    return Panel(id=f"{photo_id}.{name}", photo=photo_id, outline=on_photo(shape.outline), source=source,
                 view_hint=view_hint(shape, surfaces.patches.shape), surface_share=likeness,
                 quad=None if shape.quad is None else on_photo(shape.quad))


def view_hint(shape: Shape, image: tuple[int, ...]) -> str:
    """A thin strip is probably an edge, a large region a face."""
    _, sides, _ = cv2.minAreaRect(shape.outline.astype(np.float32))
    if max(sides) >= 2 * STRIP_ASPECT * max(1.0, min(sides)) and min(sides) < 0.06 * max(image):
        return "edge"
    return "face" if shape.area >= 0.01 * image[0] * image[1] else "unknown"


def region_mask(labels: NDArray[np.int32], region: int) -> NDArray[np.uint8]:
    """0/1 mask of one region."""
    return (labels == region).astype(np.uint8)
