"""Everything seen once per photo and shared by finding and tapping: surface map, boundaries, patches, regions."""

from __future__ import annotations

from dataclasses import dataclass
from weakref import WeakKeyDictionary

import numpy as np
from numpy.typing import NDArray

from vision.panels import boundaries, cells, regions, segments, superpixels
from vision.panels.cells import Cells
from vision.panels.regions import Merges, RegionGraph
from vision.panels.surface import SurfaceHead, SurfaceMap, likeness_map, shipped_head
from vision.types import Photo

#: Logit of "two surfaces" below which neighbours are joined into panels, and up to which joins are tried at all.
STOP, MOST_STOP = 0.8, 4.0
#: Photos whose partition is remembered.
REMEMBERED = 2
_seen: WeakKeyDictionary[Photo, PhotoSurfaces] = WeakKeyDictionary()


@dataclass(frozen=True, eq=False)
class PhotoSurfaces:
    """Partition of a photo's working image.

    `surface`: likeness map; `boundary`: (h, w) float32 0..1; `patches`: (h, w) int32 patch numbers; `graph`: patches
    and their borders; `merges`: how the patches join into regions.
    """

    surface: SurfaceMap
    boundary: NDArray[np.float32]
    patches: NDArray[np.int32]
    graph: RegionGraph
    merges: Merges

    def regions(self, stop: float = STOP) -> NDArray[np.int32]:
        """(h, w) int32 region numbers 0.. where neighbours below `stop` are joined."""
        return self.merges.cut(stop)[self.patches]

    @staticmethod
    def of(photo: Photo) -> PhotoSurfaces:
        """Partition of `photo`, computed once and remembered while the photo is in use."""
        known = _seen.get(photo)
        if known is None:
            known = partition(cells.look(photo), (photo.width, photo.height), shipped_head())
            while len(_seen) >= REMEMBERED:
                _seen.pop(next(iter(_seen.keys())))
            _seen[photo] = known
        return known


def partition(seen: Cells, size: tuple[int, int], head: SurfaceHead) -> PhotoSurfaces:
    """Partition from cells of a photo of `size` (width, height) px."""
    h, w = seen.pixels.shape[:2]
    reduced = head.reduced(seen)
    cell_likeness = head.likeness(reduced)
    likeness = likeness_map(cell_likeness, w, h)
    features = np.ascontiguousarray(reduced @ head.same)
    lines = segments.find_segments(seen.lab)
    boundary = boundaries.boundary_map(seen.lab, features, lines)
    patches, count = superpixels.superpixels(boundary)
    graph = regions.build(patches, count, seen.lab, cell_likeness, features, boundary)
    merges = regions.merge(graph, stop=MOST_STOP, weights=head.pair.astype(np.float64))
    return PhotoSurfaces(SurfaceMap(likeness, (w / size[0], h / size[1])), boundary, patches, graph, merges)


def surface_map(photo: Photo) -> SurfaceMap:
    """Furniture-surface likeness 0..1 of a photo on its working image (long side 640 px)."""
    return PhotoSurfaces.of(photo).surface
