"""A sheet: one rectified panel as the search for repeated figure sees it."""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from vision.resize import fit_within, resize
from vision.types import WorkingView

#: Long side of a sheet, pixels.
SHEET_PX = 640


@dataclass(frozen=True, eq=False)
class Sheet:
    """A rectified panel to be compared with others.

    `photo`, `panel`: the ids it comes from. `pixels`: (h, w, 3) uint8 sRGB, rectified. `mask`: (h, w) bool, True on the
    panel. `to_photo`: 3x3 homography taking sheet (x, y, 1) to pixels of the upright photo. `frame`: (width, height) of
    that photo, None if unknown: where a panel ends with the photo, its own border is not in view.
    """

    photo: str
    panel: str
    pixels: NDArray[np.uint8]
    mask: NDArray[np.bool_]
    to_photo: NDArray[np.float64]
    frame: tuple[int, int] | None = None

    def __post_init__(self) -> None:
        p = self.pixels
        if p.ndim != 3 or p.shape[2] != 3 or p.dtype != np.uint8:
            raise ValueError(f"pixels must be (h, w, 3) uint8, got {p.shape} {p.dtype}")
        if self.mask.shape != p.shape[:2] or self.mask.dtype != np.bool_:
            raise ValueError(f"mask must be {p.shape[:2]} bool, got {self.mask.shape} {self.mask.dtype}")
        if self.to_photo.shape != (3, 3):
            raise ValueError(f"to_photo must be 3x3, got {self.to_photo.shape}")

    @property
    def height(self) -> int:
        return int(self.pixels.shape[0])

    @property
    def width(self) -> int:
        return int(self.pixels.shape[1])

    def photo_points(self, points: NDArray[np.float64]) -> NDArray[np.float64]:
        """Map (n, 2) sheet points to photo pixels."""
        p = np.c_[points, np.ones(len(points))] @ self.to_photo.T
        return p[:, :2] / p[:, 2:]


def sheet_of(view: WorkingView, frame: tuple[int, int] | None = None) -> Sheet:
    """The sheet of a working view, shrunk where its long side exceeds `SHEET_PX`; `frame`: (width, height) of its photo."""
    h, w = view.mask.shape
    width, height = fit_within(w, h, max_side=SHEET_PX)
    if (width, height) == (w, h):
        return Sheet(view.panel.photo, view.panel.id, view.pixels, view.mask, view.to_photo, frame)
    mask = cv2.resize(view.mask.astype(np.uint8), (width, height), interpolation=cv2.INTER_NEAREST) > 0
    sx, sy = w / width, h / height  # pixel centres: x_view = (x + 0.5) * sx - 0.5
    grow = np.array([[sx, 0.0, 0.5 * sx - 0.5], [0.0, sy, 0.5 * sy - 0.5], [0.0, 0.0, 1.0]])
    return Sheet(view.panel.photo, view.panel.id, resize(view.pixels, width, height), mask, view.to_photo @ grow, frame)
