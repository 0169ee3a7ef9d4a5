"""Spots that are not figure: handles, knobs, keyholes, hinges and glints, which come back on every front of a piece.

They are left out before a sheet is described, and matches that sit on a few small spots count for nothing: two drawers with
the same two handles and keyhole agree in three places, a figure agrees all over.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from vision.grain.fittings import fittings
from vision.repeats.sheet import Sheet

#: Cells a side of the sheet is parted into, and how many cells matches must lie in to count as spread.
CELLS, LEAST_CELLS = 14, 4


def figure_mask(sheet: Sheet) -> NDArray[np.bool_]:
    """(h, w) bool, True where the sheet shows figure: its mask without spots that are hardware or glints."""
    return np.asarray(sheet.mask & ~fittings(sheet.pixels, sheet.mask), dtype=np.bool_)


def spread_enough(points: NDArray[np.float64], width: int, height: int) -> bool:
    """Whether (n, 2) points of matches on a sheet of width x height pixels lie in enough places to be figure.

    The sheet's longer side is parted into CELLS; points must lie in LEAST_CELLS cells, and no two cells may hold more
    than three quarters of all points.
    """
    if len(points) < LEAST_CELLS:
        return False
    cell = max(width, height) / CELLS
    key = np.floor(np.asarray(points) / cell).astype(np.int64)
    _, count = np.unique(key[:, 1] * 4096 + key[:, 0], return_counts=True)
    return bool(len(count) >= LEAST_CELLS and np.sort(count)[-2:].sum() <= 0.75 * len(points))


