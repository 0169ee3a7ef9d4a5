"""Everything seen once per photo and shared by finding and tapping: surface map, boundaries, patches, regions."""

from __future__ import annotations

from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from weakref import WeakKeyDictionary

import cv2
import numpy as np
from numpy.typing import NDArray

from vision.panels import cells, regions, superpixels
from vision.panels.cells import Cells
from vision.panels.learned import BoundaryNet, shipped_net
from vision.panels.regions import Merges, RegionGraph
from vision.panels.surface import SurfaceHead, SurfaceMap, likeness_map, shipped_head
from vision.resize import resize_map
from vision.types import Photo

#: Logit of "two surfaces" below which neighbours are joined into panels, and up to which joins are tried at all.
STOP, MOST_STOP = 1.4, 4.0
#: Weight of the net's furniture against the surface head's.
NET_WEIGHT = 0.7
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
            known = partition(cells.look(photo), (photo.width, photo.height), shipped_head(), shipped_net())
            known.remember(photo)
        return known

    def remember(self, photo: Photo) -> None:
        """Let `of` answer with this partition while the photo is in use (judging does so with nets that are not shipped)."""
        while len(_seen) >= REMEMBERED:
            _seen.pop(next(iter(_seen.keys())))
        _seen[photo] = self


def partition(seen: Cells, size: tuple[int, int], head: SurfaceHead, net: BoundaryNet) -> PhotoSurfaces:
    """Partition from cells of a photo of `size` (width, height) px."""
    h, w = seen.pixels.shape[:2]
    # two ways of looking at the same cells, side by side: nothing else can be done until both have looked
    with ThreadPoolExecutor(1) as beside:
        asked = beside.submit(head.reduced, seen)
        answers = net.look(seen)
        patches, count = superpixels.superpixels(answers.boundary)
        reduced = asked.result()
    cell_likeness = both(head.likeness(reduced), resize_map(answers.furniture, seen.shape[1], seen.shape[0]))
    likeness = likeness_map(cell_likeness, w, h)
    features = np.ascontiguousarray(reduced @ head.same)
    # Patches do not always meet on the very top of a ridge: a border is as strong as the highest ground beside it.
    ridge = np.asarray(cv2.dilate(answers.boundary, np.ones((3, 3), np.uint8)), dtype=np.float32)
    graph = regions.build(patches, count, seen.lab, cell_likeness, features, ridge)
    merges = regions.merge(graph, stop=MOST_STOP, weights=head.pair.astype(np.float64))
    return PhotoSurfaces(SurfaceMap(likeness, (w / size[0], h / size[1])), answers.boundary, patches, graph, merges)


def both(head: NDArray[np.float32], net: NDArray[np.float32]) -> NDArray[np.float32]:
    """Likeness from two witnesses: odds multiplied with weights that add up to 1."""
    a, b = (np.clip(p, 0.01, 0.99) for p in (head, net))
    logit = (1 - NET_WEIGHT) * np.log(a / (1 - a)) + NET_WEIGHT * np.log(b / (1 - b))
    return np.asarray(1 / (1 + np.exp(-logit)), dtype=np.float32)


def surface_map(photo: Photo) -> SurfaceMap:
    """Furniture-surface likeness 0..1 of a photo on its working image (long side 640 px)."""
    return PhotoSurfaces.of(photo).surface
