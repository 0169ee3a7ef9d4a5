"""From where a rectangular panel is seen: which of its narrow sides can face the camera at all.

Opposite sides of a rectangle in space meet in a vanishing point; with a usual phone's focal length two of these, or one and any
side across, give the panel's plane (Hartley and Zisserman, Multiple View Geometry, chapter 8). A narrow side at right angles to
the face is seen only where the camera stands beyond it; a neighbour's front edge beside a door is seen from anywhere.
"""

from __future__ import annotations

from typing import Final

import numpy as np
from numpy.typing import NDArray

Points = NDArray[np.float64]

#: Focal length as a share of the photo's longer side (26 mm on a 36 mm frame: common practice, no source).
FOCAL: Final = 0.72
#: A side with both ends nearer than this to the photo's border, px, is where the photo cuts the panel.
BORDER: Final = 3.0
#: Sides count as opposite or across by the cosine between their ways out; sides below this share of the longest say nothing.
OPPOSITE, ACROSS, LEAST_SHARE = -0.8, 0.7, 0.15


def turned_to_camera(first: Points, last: Points, outwards: Points, size: tuple[int, int]) -> Points | None:
    """(n,) how far the narrow side at each side of an outline is turned to the camera: 1 square on, below 0 turned away.

    `first`, `last`: (n, 2) ends of the sides in photo px; `outwards`: (n, 2) unit vectors; `size`: columns and rows. None where
    the outline does not tell.
    """
    focal, middle = FOCAL * max(size), 0.5 * (np.array(size) - 1.0)
    rays = [np.column_stack([(p - middle) / focal, np.ones(len(p))]) for p in (first, last)]
    lines = np.asarray(np.cross(rays[0], rays[1]), np.float64)
    lines /= np.maximum(np.linalg.norm(lines, axis=1), 1e-12)[:, None]
    normal = _normal(first, last, outwards, lines, size)
    if normal is None:
        return None
    at = 0.5 * (rays[0] + rays[1])
    along = np.cross(normal, lines)
    beyond = np.cross(along, normal)
    beyond /= np.maximum(np.linalg.norm(beyond, axis=1), 1e-12)[:, None]
    moved = beyond[:, :2] - at[:, :2] * beyond[:, 2:]
    beyond *= np.where((moved * outwards).sum(axis=1) < 0, -1.0, 1.0)[:, None]
    return np.asarray(-(at * beyond).sum(axis=1) / np.linalg.norm(at, axis=1))


def _normal(first: Points, last: Points, outwards: Points, lines: Points, size: tuple[int, int]) -> Points | None:
    """(3,) unit normal of the panel's plane, camera axes; None where the sides do not tell."""
    far = np.array(size) - 1.0 - BORDER
    length = np.hypot(*(last - first).T)
    cut = np.any((np.maximum(first, last) < BORDER) | (np.minimum(first, last) > far), axis=1)
    real = [k for k in np.argsort(-length, kind="stable").tolist() if not cut[k] and length[k] >= LEAST_SHARE * length.max()]
    facing = outwards @ outwards.T
    pairs = [(i, j) for n, i in enumerate(real) for j in real[n + 1:] if facing[i, j] < OPPOSITE]
    if not pairs:
        return None
    i, j = pairs[0]
    along = np.cross(lines[i], lines[j])
    across = [k for k in real if abs(facing[i, k]) < ACROSS and abs(facing[j, k]) < ACROSS]
    if not across or np.linalg.norm(along) < 1e-6:
        return None
    along /= np.linalg.norm(along)
    other = next((k for k in across[1:] if facing[across[0], k] < OPPOSITE), None)
    # one side across is at right angles to the pair in space
    over = np.cross(lines[across[0]], along if other is None else lines[other])
    normal = np.cross(along, over / max(1e-12, float(np.linalg.norm(over))))
    size_ = float(np.linalg.norm(normal))
    return np.asarray(normal / size_) if size_ > 0.3 else None
