"""What learned eyes see of a laid-out edge: the whole thickness at a fixed height, the arris at full size, a square crop."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from vision.edges.frame import EdgeFrame
from vision.resize import resize

#: Rows of the canvas that the narrow side fills, and rows kept above (face) and below it.
DEEP, ABOVE, BELOW = 80, 24, 16
TALL: Final = DEEP + ABOVE + BELOW
#: Columns that the net reads, of the canvas and of the arris; rows of the face and of the narrow side beside the arris.
WIDE, LONG, BESIDE = 320, 512, 16
#: Numbers told beside the pictures: log of rows and of columns of the frame, of photo pixels a frame pixel, face known or not.
TOLD: Final = 4


@dataclass(frozen=True, eq=False)
class Canvas:
    """`strip`: (TALL, at least WIDE, 3) uint8; `arris`: (2 * BESIDE, LONG, 3) uint8; `told`: (TOLD,) float32; `first`,
    `last`: frame rows (from and up to) that the canvas shows."""

    strip: NDArray[np.uint8]
    arris: NDArray[np.uint8]
    told: NDArray[np.float32]
    first: int
    last: int

    def canvas_row(self, frame_row: float) -> float:
        """Canvas row of a frame row, pixel centres at whole numbers."""
        return (frame_row + 0.5 - self.first) * TALL / (self.last - self.first) - 0.5

    def frame_row(self, canvas_row: float) -> float:
        """Frame row of a canvas row."""
        return (canvas_row + 0.5) * (self.last - self.first) / TALL - 0.5 + self.first


def _middle(picture: NDArray[np.uint8], columns: int, least: int) -> NDArray[np.uint8]:
    """The middle `columns` of a picture; one of fewer than `least` columns goes on as in a mirror."""
    n = picture.shape[1]
    if n > columns:
        start = (n - columns) // 2
        return np.ascontiguousarray(picture[:, start:start + columns])
    if n >= least:
        return picture
    at = np.abs((np.arange(least) + n - 1) % (2 * n - 2) - (n - 1)) if n > 1 else np.zeros(least, int)
    return np.ascontiguousarray(picture[:, at])


def draw_canvas(frame: EdgeFrame, columns: int = WIDE) -> Canvas:
    """The canvas of a frame, at most `columns` (WIDE or more) wide.

    Along the edge the picture is never enlarged: a thin strip of a distant edge is stretched across its thickness alone.
    """
    top, rows = frame.top, frame.rows
    first, last = top - max(1, round(rows * ABOVE / DEEP)), top + rows + max(1, round(rows * BELOW / DEEP))
    first, last = max(0, first), min(frame.rgb.shape[0], last)
    shrink = min(1.0, DEEP / rows)
    need = math.ceil(columns / shrink) + 2
    part = _middle(frame.rgb[first:last], need, 1)
    wide = max(2, round(part.shape[1] * shrink))
    strip = _middle(resize(np.ascontiguousarray(part), wide, TALL), columns, WIDE)
    arris = _middle(frame.rgb[top - BESIDE:top + BESIDE], LONG, LONG)
    told = [math.log(rows / 30), math.log(frame.rgb.shape[1] / 400), math.log(frame.scale), float(frame.face_known)]
    return Canvas(strip, arris, np.array(told, np.float32), first, last)


def as_input(picture: NDArray[np.uint8]) -> NDArray[np.float32]:
    """(h, w, 3) uint8 to (3, h, w) float32 about zero."""
    return np.ascontiguousarray(picture.transpose(2, 0, 1).astype(np.float32) / np.float32(64) - np.float32(2))


#: Side of the crop that the backbone is shown.
CROP: Final = 224


def draw_crop(frame: EdgeFrame) -> NDArray[np.uint8]:
    """What the image backbone sees: the strip with a little of what borders it, at most three times as long as high."""
    rim = max(4, frame.rows // 3)
    part = frame.rgb[max(0, frame.top - rim):frame.top + frame.rows + rim]
    n = min(part.shape[1], 3 * part.shape[0])
    start = (part.shape[1] - n) // 2
    return resize(np.ascontiguousarray(part[:, start:start + n]), CROP, CROP)
