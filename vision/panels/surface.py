"""Furniture-surface likeness: a small linear head on the frozen backbone's dense maps and a few local cues."""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache
from importlib.resources import files

import numpy as np
from numpy.typing import NDArray

from vision.errors import ModelMismatch
from vision.panels import cells
from vision.panels.cells import Cells
from vision.resize import resize_map

HEAD_FILE = "models/surface_head.npz"


@dataclass(frozen=True, eq=False)
class SurfaceHead:
    """Parameters of the head; the table of a cell has d = 472 backbone channels + local cues.

    `centre`, `scale`: (d,) standardisation; `basis`: (472, p) principal directions of the backbone channels;
    `surface`: (p + cues + 1,) logistic weights, constant last; `same`: (p + cues, k) directions in which two cells of
    one panel differ least against cells of different panels, scaled so that one panel's spread is 1.
    """

    centre: NDArray[np.float32]
    scale: NDArray[np.float32]
    basis: NDArray[np.float32]
    surface: NDArray[np.float32]
    same: NDArray[np.float32]
    pair: NDArray[np.float32]

    def reduced(self, seen: Cells) -> NDArray[np.float32]:
        """(rows, cols, p + cues) float32 standardised and reduced table of a photo."""
        table = np.concatenate([cells.stacked(seen.maps, seen.shape), seen.cues], axis=2)
        return self.reduce_rows(table.reshape(-1, table.shape[2])).reshape(*seen.shape, -1)

    def reduce_rows(self, rows: NDArray[np.float32]) -> NDArray[np.float32]:
        """(n, p + cues) of an (n, d) table."""
        z = (rows - self.centre) / self.scale
        channels = self.basis.shape[0]
        return np.concatenate([z[:, :channels] @ self.basis, z[:, channels:]], axis=1).astype(np.float32)

    def likeness(self, reduced: NDArray[np.float32]) -> NDArray[np.float32]:
        """Furniture-surface likeness 0..1 of reduced rows (..., p + cues)."""
        return np.asarray(1 / (1 + np.exp(-(reduced @ self.surface[:-1] + self.surface[-1]))), dtype=np.float32)


@dataclass(frozen=True, eq=False)
class SurfaceMap:
    """Furniture-surface likeness of a photo. `likeness`: (h, w) float32 0..1 on the working image;
    `scale`: (sx, sy) working pixels per photo pixel."""

    likeness: NDArray[np.float32]
    scale: tuple[float, float]

    def at(self, x: float, y: float) -> float:
        """Likeness at a point in photo pixels (nearest working pixel)."""
        h, w = self.likeness.shape
        col, row = int((x + 0.5) * self.scale[0]), int((y + 0.5) * self.scale[1])
        return float(self.likeness[min(max(row, 0), h - 1), min(max(col, 0), w - 1)])


@lru_cache(maxsize=1)
def shipped_head() -> SurfaceHead:
    """The head that comes with the program, loaded once."""
    path = files("vision").joinpath(HEAD_FILE)
    try:
        with path.open("rb") as stream, np.load(stream, allow_pickle=False) as stored:
            return SurfaceHead(**{name: stored[name].astype(np.float32) for name in SurfaceHead.__dataclass_fields__})
    except (OSError, KeyError, ValueError) as error:
        raise ModelMismatch(HEAD_FILE, f"the surface head is missing or damaged ({error}).", "Reinstall the program.") from error


def likeness_map(cell_likeness: NDArray[np.float32], width: int, height: int) -> NDArray[np.float32]:
    """Cell likeness brought to the working image (bilinear), (height, width) float32."""
    grown = resize_map(cell_likeness, width, height)
    return np.asarray(np.clip(grown, 0, 1), dtype=np.float32)
