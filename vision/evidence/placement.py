"""Where tags go: inside the picture, clear of each other, near what they speak of."""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

#: Free pixels kept round every label and along the picture's rim.
MARGIN = 6


@dataclass(frozen=True)
class Box:
    """Axis-parallel rectangle in picture pixels: left, top, width, height."""

    x: int
    y: int
    width: int
    height: int

    @property
    def centre(self) -> tuple[float, float]:
        return self.x + self.width / 2, self.y + self.height / 2

    def overlaps(self, other: Box, margin: int = 0) -> bool:
        """True when the rectangles come closer than `margin`."""
        return (
            self.x < other.x + other.width + margin and other.x < self.x + self.width + margin
            and self.y < other.y + other.height + margin and other.y < self.y + self.height + margin
        )


class Board:
    """A picture of (height, width) on which labels are laid one after the other and never overlap."""

    def __init__(self, height: int, width: int) -> None:
        self.height, self.width = height, width
        self._taken = np.zeros((height, width), np.uint8)

    def take(self, box: Box) -> None:
        """Mark a rectangle as used, margin included."""
        y0, x0 = max(0, box.y - MARGIN), max(0, box.x - MARGIN)
        self._taken[y0 : box.y + box.height + MARGIN, x0 : box.x + box.width + MARGIN] = 1

    def place(
        self, width: int, height: int, anchor: tuple[float, float], *, liked: NDArray[np.bool_] | None = None,
        avoided: NDArray[np.floating] | None = None, grid: int = 12, reach: float = np.inf,
    ) -> Box | None:
        """Best free place for a label of this size, taken at once; None when there is none.

        The cost of a place is its centre's distance from `anchor` in picture diagonals, plus the share of the label off
        the `liked` pixels, plus the mean of `avoided` under it. Places farther than `reach` px are not considered.
        """
        last_y, last_x = self.height - height - MARGIN, self.width - width - MARGIN
        if last_y < MARGIN or last_x < MARGIN:
            return None
        ys, xs = _positions(last_y, anchor[1] - height / 2, grid), _positions(last_x, anchor[0] - width / 2, grid)
        area = width * height
        free = _sums(self._taken, ys, xs, height, width) == 0
        distance = np.hypot(xs[None, :] + width / 2 - anchor[0], ys[:, None] + height / 2 - anchor[1])
        cost = distance / np.hypot(self.height, self.width)
        if liked is not None:
            cost = cost + 1.0 - _sums(liked, ys, xs, height, width) / area
        if avoided is not None:
            cost = cost + _sums(avoided, ys, xs, height, width) / area
        cost = np.where(free & (distance <= reach), cost, np.inf)
        best = int(np.argmin(cost))
        if not np.isfinite(cost.flat[best]):
            return None
        row, col = divmod(best, len(xs))
        box = Box(int(xs[col]), int(ys[row]), width, height)
        self.take(box)
        return box


def _positions(last: int, wanted: float, grid: int) -> NDArray[np.int64]:
    """Candidate offsets from MARGIN to `last`, the wanted one among them."""
    own = int(np.clip(round(wanted), MARGIN, last))
    return np.unique(np.r_[np.arange(MARGIN, last + 1, grid), own, last])


def _sums(image: NDArray, ys: NDArray[np.int64], xs: NDArray[np.int64], height: int, width: int) -> NDArray[np.floating]:
    """(len(ys), len(xs)) sums of the image under a height x width label at every offset, from one summed-area table."""
    table = np.asarray(cv2.integral(image.view(np.uint8) if image.dtype == bool else image.astype(np.float32), sdepth=cv2.CV_64F))
    bottom, right = ys + height, xs + width
    return table[np.ix_(bottom, right)] - table[np.ix_(ys, right)] - table[np.ix_(bottom, xs)] + table[np.ix_(ys, xs)]
