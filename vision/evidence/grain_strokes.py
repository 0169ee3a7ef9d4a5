"""Pencil strokes that follow the measured grain: sparse, and only where the direction is trustworthy."""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray

from vision.evidence.bands import polyline
from vision.evidence.palette import BED, CHALK
from vision.types import GrainField

#: Directions less coherent than this are not drawn.
LEAST_COHERENCE = 0.3
_STEPS = 3


def grain_strokes(
    field: GrainField, to_picture: NDArray[np.float64], inside: NDArray[np.bool_], *, spacing: float, length: float
) -> list[NDArray[np.float64]]:
    """Strokes along the grain, each an (n, 2) polyline in picture pixels that stays on the True pixels of `inside`.

    Parameters
    ----------
    field : grain directions of a working view.
    to_picture : 3x3 homography, working (x, y, 1) to picture pixels.
    inside : (h, w) bool of the picture, where strokes may lie.
    spacing, length : distance between strokes and length of one, in picture pixels.
    """
    back = np.asarray(np.linalg.inv(to_picture), dtype=np.float64)
    rows, cols = np.nonzero(inside)
    if rows.size == 0:
        return []
    xs = np.arange(cols.min() + spacing / 2, cols.max() + 1, spacing)
    ys = np.arange(rows.min() + spacing / 2, rows.max() + 1, spacing)
    strokes = []
    for k, y in enumerate(ys):
        for x in xs + (spacing / 2 if k % 2 else 0.0):
            stroke = _stroke(field, to_picture, back, inside, np.array([x, y], dtype=np.float64), length)
            if stroke is not None:
                strokes.append(stroke)
    return strokes


def draw_strokes(picture: NDArray[np.uint8], strokes: list[NDArray[np.float64]], width: float) -> None:
    """Strokes with a dark rim, drawn in place; pale wood and dark wood both show them."""
    for stroke in strokes:
        polyline(picture, stroke, BED, width + 3)
    for stroke in strokes:
        polyline(picture, stroke, CHALK, width)


def direction_at(
    field: GrainField, to_picture: NDArray[np.float64], back: NDArray[np.float64], at: NDArray[np.float64]
) -> NDArray[np.float64] | None:
    """Unit vector of the grain at a picture point, or None where it is unknown or not coherent."""
    working = _map(back, at)
    col, row = np.round((working + 0.5) / field.step - 0.5).astype(int)
    if not (0 <= row < field.angle.shape[0] and 0 <= col < field.angle.shape[1]):
        return None
    if not field.valid[row, col] or not field.coherence[row, col] >= LEAST_COHERENCE:
        return None
    angle = np.radians(float(field.angle[row, col]))
    ahead = _map(to_picture, working + np.array([np.cos(angle), -np.sin(angle)]))
    vector = ahead - _map(to_picture, working)
    norm = float(np.linalg.norm(vector))
    return vector / norm if np.isfinite(norm) and norm > 0 else None


def _stroke(
    field: GrainField, to_picture: NDArray[np.float64], back: NDArray[np.float64], inside: NDArray[np.bool_],
    middle: NDArray[Any], length: float,
) -> NDArray[np.float64] | None:
    """Walk half the length each way from the middle, turning with the grain; None if it leaves the panel or the field."""
    first = direction_at(field, to_picture, back, middle)
    if first is None or not _on(inside, middle):
        return None
    ends = []
    for sign in (-1.0, 1.0):
        at, heading, walked = middle, sign * first, []
        for _ in range(_STEPS):
            at = at + heading * (length / 2 / _STEPS)
            if not _on(inside, at):
                return None
            walked.append(at)
            turn = direction_at(field, to_picture, back, at)
            if turn is None:
                return None
            heading = turn if float(turn @ heading) >= 0 else -turn
        ends.append(walked)
    return np.array([*reversed(ends[0]), middle, *ends[1]])


def _on(inside: NDArray[np.bool_], at: NDArray[np.float64]) -> bool:
    x, y = round(float(at[0])), round(float(at[1]))
    return 0 <= y < inside.shape[0] and 0 <= x < inside.shape[1] and bool(inside[y, x])


def _map(matrix: NDArray[np.float64], at: NDArray[np.float64]) -> NDArray[np.float64]:
    x, y, w = matrix @ np.array([at[0], at[1], 1.0])
    return np.array([x / w, y / w])
