"""What the edge net is taught on: canvases of made and of real edges with all that is known about them, in one row each."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

from training.edges.kinds import NAMES, NO_SHEET
from training.edges.make import EdgePicture, Truth
from vision.edges.canvas import TALL, Canvas, draw_canvas
from vision.edges.frame import EdgeFrame
from vision.edges.kinds import STRIP_KINDS

#: Columns of the canvas kept, of which the net is shown WIDE at a random place.
KEPT_WIDE: Final = 480
#: Least height in the picture, px, of plies and of a sheet that the net is asked to show.
LEAST_PLY_PX, LEAST_SHEET_PX = 2.5, 1.5
#: Spread of a border on the depth map, canvas rows.
SOFT: Final = 0.9
UNASKED: Final = -1


@dataclass(frozen=True, eq=False)
class Example:
    """`strip` (TALL, KEPT_WIDE, 3), `arris` (2 * BESIDE, LONG, 3), `told` (TOLD,): as canvas.Canvas; `answers`: (5,) int16
    index of the strip kind, sheet, seam, continuous (UNASKED where the question does not arise) and build; `maps`: (2, TALL)
    uint8 borders between plies and inner lines of sheets, 255 at their middle; `asked`: (2,) bool, whether these count."""

    strip: NDArray[np.uint8]
    arris: NDArray[np.uint8]
    told: NDArray[np.float32]
    answers: NDArray[np.int16]
    maps: NDArray[np.uint8]
    asked: NDArray[np.bool_]


def sheet_answer(truth: Truth) -> int | None:
    """1 where a thin layer can be seen, 0 where none is there, None where that is no question."""
    if truth.strip == "other":
        return None
    if truth.face_mm > 0:
        return 1 if truth.face_px >= LEAST_SHEET_PX else None
    return 0 if truth.build in NO_SHEET else None


def one_piece_answer(truth: Truth) -> int | None:
    """1 where face and narrow side are one piece of wood; a lipping is left out, it is wood beside wood."""
    if truth.strip == "other" or truth.continuous is None or truth.build == "lipping":
        return None
    return int(truth.continuous)


def seam_answer(truth: Truth) -> int | None:
    return None if truth.strip == "other" else int(truth.seam)


def depth_rows(truth: Truth, frame: EdgeFrame, depths: NDArray[np.float64]) -> NDArray[np.float64]:
    """Frame rows of depths given as shares of the thickness from the arris, at the middle of the frame."""
    assert truth.arris is not None and truth.lower is not None
    back = np.linalg.inv(frame.to_photo)
    ends = []
    for line in (truth.arris, truth.lower):
        p = np.c_[np.array(line), np.ones(2)] @ back.T
        p = p[:, :2] / p[:, 2:]
        x = frame.rgb.shape[1] / 2
        slope = (p[1, 1] - p[0, 1]) / (p[1, 0] - p[0, 0]) if abs(p[1, 0] - p[0, 0]) > 1e-6 else 0.0
        ends.append(p[0, 1] + slope * (x - p[0, 0]))
    return np.asarray(ends[0] + depths * (ends[1] - ends[0]))


def depth_maps(truth: Truth, frame: EdgeFrame, canvas: Canvas) -> tuple[NDArray[np.uint8], NDArray[np.bool_]]:
    """(2, TALL) maps of ply borders and sheet lines, and whether they count."""
    maps, asked = np.zeros((2, TALL), np.float64), np.ones(2, bool)
    if not truth.layers or truth.strip == "other":
        return maps.astype(np.uint8), asked
    thick = truth.layers[-1].bottom
    ply = [a.bottom for a, b in zip(truth.layers, truth.layers[1:], strict=False)
           if truth.plies and a.kind in ("ply", "veneer") and b.kind in ("ply", "veneer")]
    sheet = [b for b in (truth.face_mm, thick - truth.face_mm) if truth.face_mm > 0]
    for row, lines in zip(maps, (ply, sheet), strict=True):
        if lines:
            at = np.array([canvas.canvas_row(float(r)) for r in depth_rows(truth, frame, np.array(lines) / thick)])
            row[:] = np.exp(-0.5 * ((np.arange(TALL)[:, None] - at) / SOFT) ** 2).max(axis=1)
    asked[0] = not truth.plies or truth.ply_px >= LEAST_PLY_PX
    asked[1] = truth.face_mm == 0 or truth.face_px >= LEAST_SHEET_PX
    return np.round(255 * maps).astype(np.uint8), asked


def widened(picture: NDArray[np.uint8]) -> NDArray[np.uint8]:
    """A canvas gone on as in a mirror up to KEPT_WIDE columns."""
    n = picture.shape[1]
    at = np.abs((np.arange(KEPT_WIDE) + n - 1) % (2 * n - 2) - (n - 1))
    return np.ascontiguousarray(picture[:, at]) if n < KEPT_WIDE else picture


def example_of(frame: EdgeFrame, strip_kind: str, truth: Truth | None) -> Example:
    """The example of a laid-out edge; of a real one (`truth` None) only the kind is known."""
    canvas = draw_canvas(frame, KEPT_WIDE)
    kind = list(STRIP_KINDS).index(strip_kind)
    if truth is None:
        answers, maps, asked = [kind] + 4 * [UNASKED], np.zeros((2, TALL), np.uint8), np.zeros(2, bool)
    else:
        asks = (sheet_answer(truth), seam_answer(truth), one_piece_answer(truth))
        answers = [kind, *(UNASKED if a is None else a for a in asks), NAMES.index(truth.build)]
        maps, asked = depth_maps(truth, frame, canvas)
    return Example(widened(canvas.strip), canvas.arris, canvas.told, np.array(answers, np.int16), maps, asked)


def example_from(picture: EdgePicture, frame: EdgeFrame) -> Example:
    return example_of(frame, picture.truth.strip, picture.truth)
