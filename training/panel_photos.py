"""Outlined photographs for teaching and judging panel finding: rows, outlines, and what the backbone sees, kept on disk."""

from __future__ import annotations

import csv
from collections import defaultdict
from dataclasses import dataclass
from pathlib import Path

import cv2
import numpy as np
from numpy.typing import NDArray

from vision.panels import cells
from vision.panels.cells import Cells
from vision.types import Photo


@dataclass(frozen=True, eq=False)
class OutlinedPhoto:
    """One photo of a collection. `rows`: its rows of panels.csv; `author`: the cluster that must not be split."""

    path: Path
    author: str
    rows: tuple[dict[str, str], ...]

    @property
    def name(self) -> str:
        return self.path.name

    def load(self) -> Photo:
        """The photo, upright, at full size."""
        bgr = cv2.imread(str(self.path), cv2.IMREAD_COLOR)
        if bgr is None:
            raise FileNotFoundError(self.path)
        return Photo(id="photo", file=self.name, sha256="", pixels=np.asarray(cv2.cvtColor(bgr, cv2.COLOR_BGR2RGB), np.uint8))


def outlined_photos(folder: Path) -> list[OutlinedPhoto]:
    """Photos of `folder`/panels.csv in file order."""
    rows = defaultdict(list)
    with (folder / "panels.csv").open(newline="") as stream:
        for row in csv.DictReader(stream):
            rows[row["file"]].append(row)
    return [OutlinedPhoto(folder / "img" / name, found[0]["source"], tuple(found)) for name, found in sorted(rows.items())]


def outline_of(row: dict[str, str]) -> NDArray[np.float64]:
    """(n, 2) corners in photo pixels."""
    return np.array([[float(v) for v in point.split(":")] for point in row["polygon"].split()])


def cells_of(photo: OutlinedPhoto, cache: Path) -> tuple[Cells, tuple[int, int]]:
    """Cells of a photo and its (width, height), from the cache folder where present."""
    return cells_of_photo(photo, cache / f"{photo.name}.npz")


def cells_of_photo(photo: OutlinedPhoto | Photo, stored: Path) -> tuple[Cells, tuple[int, int]]:
    """The same for a photo, loaded or not, with the file that keeps what the backbone sees."""
    if stored.exists():
        with np.load(stored) as d:
            pixels = d["pixels"]
            height, width = d["size"][:2]
            lab = cv2.cvtColor(pixels.astype(np.float32) / 255.0, cv2.COLOR_RGB2LAB)
            maps = {k: d[k].astype(np.float32) for k in cells.MAP_CHANNELS}
            return Cells(pixels, lab, maps, d["cues"].astype(np.float32)), (int(width), int(height))
    full = photo.load() if isinstance(photo, OutlinedPhoto) else photo
    seen = cells.look(full)
    stored.parent.mkdir(parents=True, exist_ok=True)
    np.savez(stored, pixels=seen.pixels, cues=seen.cues.astype(np.float16), size=full.pixels.shape[:2],
             s8=seen.maps["s8"].astype(np.float16), s16=seen.maps["s16"].astype(np.float16),
             s32=seen.maps["s32"].astype(np.float16))
    return seen, (full.width, full.height)


def cell_mask(outline: NDArray[np.float64], size: tuple[int, int], shape: tuple[int, int]) -> NDArray[np.bool_]:
    """(rows, cols) bool: cells covered by an outline given in photo pixels of a photo of `size` (width, height)."""
    out = np.zeros(shape, np.uint8)
    at = (outline + 0.5) * [shape[1] / size[0], shape[0] / size[1]] - 0.5
    cv2.fillPoly(out, [np.round(at * 16).astype(np.int32)], 1, cv2.LINE_8, 4)
    return out > 0
