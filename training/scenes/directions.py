"""Grain direction of every pixel of a rendered picture, worked out from its truth: exact under perspective."""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray


def direction_map(truth: dict[str, Any], ids: NDArray[np.uint8]) -> NDArray[np.float32]:
    """Axis of the board (the direction along which it was sawn, sliced or printed) at every pixel of a picture.

    `truth`: one picture's truth; `ids`: its (h, w) instance map. Returns (h, w) float32 degrees 0..180, 0 along +x and
    growing counter-clockwise as seen on screen; nan off the panels and where a surface has no grain. Figure meanders
    about this axis (cathedrals, knots); the axis is what a straight-grained board would show.
    """
    out = np.full(ids.shape, np.nan, dtype=np.float32)
    for panel in truth["panels"]:
        if panel["grain_deg"] is None:
            continue
        rows, cols = np.nonzero(ids == panel["id"])
        if not len(rows):
            continue
        step = axis_step(np.array(panel["to_photo"]), np.c_[cols, rows].astype(np.float64))
        out[rows, cols] = np.degrees(np.arctan2(-step[:, 1], step[:, 0])) % 180.0
    return out


def axis_step(to_photo: NDArray[np.float64], at: NDArray[np.float64]) -> NDArray[np.float64]:
    """(n, 2) image of a small step along the first texture axis at (n, 2) photo pixels `at`, px per mm.

    For x = (h0 . p) / (h2 . p) with p = (s, t, 1): dx/ds = (h00 - x h20) / (h2 . p), and likewise for y.
    """
    p = np.c_[at, np.ones(len(at))] @ np.linalg.inv(to_photo).T
    p /= p[:, 2:]
    depth = p @ to_photo[2]
    return (to_photo[:2, 0][None, :] - at * to_photo[2, 0]) / depth[:, None]
