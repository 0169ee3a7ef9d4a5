"""The marker sheet: its layout, and finding it on a photo.

Twenty square ArUco markers (OpenCV, dictionary of 5x5 bits) in five rows of four; any two of them that are seen whole give
the scale, so the sheet may be partly covered or cut off by the photo. Coordinates: mm from the top left marker's top left
corner, x right, y down on the sheet.
"""

from __future__ import annotations

from typing import Final

import cv2
import numpy as np
from numpy.typing import NDArray

from vision.millimetres import Scale
from vision.scale.pose import fit_poses

Array = NDArray[np.float64]
DICTIONARY: Final = cv2.aruco.DICT_5X5_50
COLUMNS, ROWS = 4, 5
MARKER_MM, GAP_MM = 30.0, 12.0
BOARD_MM: Final = (COLUMNS * MARKER_MM + (COLUMNS - 1) * GAP_MM, ROWS * MARKER_MM + (ROWS - 1) * GAP_MM)
CHECK_BAR_MM: Final = 100.0
MIN_MARKERS = 2
#: Standard error of a marker's corner, px, and of any length as a share (lens, paper not flat, printer).
CORNER_PX, SHEET_SHARE = 0.35, 0.0025
#: Corners farther than this from the common plane are dropped, px (a bent corner, a wrong marker).
OUTLIER_PX = 4.0


def marker_corners(marker: int) -> Array:
    """(4, 2) corners of a marker in sheet mm: top left, top right, bottom right, bottom left."""
    if not 0 <= marker < COLUMNS * ROWS:
        raise ValueError(f"the sheet has markers 0 to {COLUMNS * ROWS - 1}, not {marker}")
    row, column = divmod(marker, COLUMNS)
    x, y = column * (MARKER_MM + GAP_MM), row * (MARKER_MM + GAP_MM)
    return np.array([[x, y], [x + MARKER_MM, y], [x + MARKER_MM, y + MARKER_MM], [x, y + MARKER_MM]], dtype=np.float64)


def marker_bits(marker: int) -> NDArray[np.bool_]:
    """(7, 7) modules of a marker with its rim, True where black."""
    dictionary = cv2.aruco.getPredefinedDictionary(DICTIONARY)
    return np.asarray(cv2.aruco.generateImageMarker(dictionary, marker, 7, borderBits=1) < 128)


def find_sheet(photo: NDArray[np.uint8], *, bar_mm: float = CHECK_BAR_MM, focal_px: float | None = None) -> Scale | None:
    """Scale from the marker sheet on an upright RGB photo, or None.

    `bar_mm`: what the 100 mm check bar measures on the print, when the printer changed the size.
    """
    parameters = cv2.aruco.DetectorParameters()
    parameters.cornerRefinementMethod = cv2.aruco.CORNER_REFINE_SUBPIX
    parameters.cornerRefinementWinSize = 4
    parameters.relativeCornerRefinmentWinSize = 0.2
    detector = cv2.aruco.ArucoDetector(cv2.aruco.getPredefinedDictionary(DICTIONARY), parameters)
    grey = cv2.cvtColor(photo, cv2.COLOR_RGB2GRAY)
    found, ids, _ = detector.detectMarkers(grey)
    if ids is None:
        return None
    known = [(int(k), np.asarray(c, dtype=np.float64).reshape(4, 2)) for k, c in zip(ids.ravel(), found, strict=True)
             if int(k) < COLUMNS * ROWS]
    if len(known) < MIN_MARKERS or len({k for k, _ in known}) < len(known):
        return None
    size = bar_mm / CHECK_BAR_MM
    mm = np.vstack([marker_corners(k) for k, _ in known]) * size
    px = np.vstack([c for _, c in known])
    matrix, _ = cv2.findHomography(mm, px, cv2.RANSAC, OUTLIER_PX)
    if matrix is None:
        return None
    seen = np.c_[mm, np.ones(len(mm))] @ matrix.T
    on = np.hypot(*(seen[:, :2] / seen[:, 2:] - px).T) < OUTLIER_PX
    whole = np.repeat(on.reshape(-1, 4).all(axis=1), 4)
    if whole.sum() < 4 * MIN_MARKERS:
        return None
    mm, px = mm[whole], px[whole]
    middle = mm.mean(axis=0)
    residual = float(np.sqrt(np.mean((_through(np.asarray(matrix, dtype=np.float64), mm) - px) ** 2)))
    sigma = max(CORNER_PX, 1.3 * residual)
    # the corners of one marker err together (blur, paper), so a marker counts as two corners rather than four
    covariance = 2.0 * sigma**2 * np.eye(px.size)
    poses = fit_poses(mm - middle, px, covariance, (photo.shape[1], photo.shape[0]), focal_px=focal_px)
    if not poses:
        return None
    pose = poses[0]
    board = np.array([[0, 0], [BOARD_MM[0], 0], BOARD_MM, [0, BOARD_MM[1]]]) * size - middle
    outline = _through(np.linalg.inv(pose.plane).astype(np.float64), board)
    count = int(whole.sum()) // 4
    words = (f"The marker sheet lies on the surface; {count} of its {COLUMNS * ROWS} markers are seen, tilted about "
             f"{pose.tilt:.0f} degrees. Millimetres hold on the surface the sheet lies on.")
    return Scale("sheet", tuple((float(x), float(y)) for x, y in outline), words, pose.plane, None, pose.moves(),
                 share=SHEET_SHARE)


def _through(matrix: Array, points: Array) -> Array:
    p = np.c_[points, np.ones(len(points))] @ matrix.T
    return np.asarray(p[:, :2] / p[:, 2:], dtype=np.float64)
