"""Bare holes in order: two level with each other and alike may be where a pull was; millimetres where a scale is known."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Final

import numpy as np
from numpy.typing import NDArray

#: Spacings at which pulls are drilled, mm: common practice, no source. A spacing fits within so many mm and its own error.
PULLS: Final = (64.0, 76.0, 96.0, 128.0, 160.0)
FITS_MM: Final = 2.0
#: Degrees a pair may lie off the panel's own sides; spacing over hole width; unlike in width (log).
LEVEL, RATIO, UNLIKE = 5.0, (5.0, 45.0), 0.4
#: Error of a hole's middle, px, beside the share of its width.
PLACE, PLACE_SHARE = 0.5, 0.08


@dataclass(frozen=True, eq=False)
class Spacing:
    """Two holes by their places in the list given; `px` and its `error`."""

    first: int
    second: int
    px: float
    error: float


def missing_pull(at: NDArray[np.float64], width: NDArray[np.float64], grips: Sequence[tuple[float, float]],
                 shape: tuple[int, int]) -> Spacing | None:
    """The pair of holes that a missing pull would leave, if there is one and nothing speaks against it.

    Parameters
    ----------
    at, width : (n, 2) middles and (n,) widths of bare holes, px.
    grips : middles of knobs and pulls in place; a pair with one between its holes is none.
    shape : (h, w) of the panel's view.

    More than four like holes are a row for shelf pins or a perforated board, not a pull.
    """
    n = len(at)
    if not 2 <= n <= 4:
        return None
    best: tuple[float, Spacing] | None = None
    for i in range(n):
        for j in range(i + 1, n):
            step = at[j] - at[i]
            px = float(np.hypot(*step))
            turn = math.degrees(math.atan2(abs(step[1]), abs(step[0])))
            level = min(turn, 90 - turn)
            wide = float(np.sqrt(width[i] * width[j]))
            if level > LEVEL or abs(math.log(width[i] / width[j])) > UNLIKE or not RATIO[0] <= px / wide <= RATIO[1]:
                continue
            middle = (at[i] + at[j]) / 2
            if any(math.hypot(x - middle[0], y - middle[1]) < px for x, y in grips):
                continue
            off = min(abs(middle[0] / shape[1] - 0.5), abs(middle[1] / shape[0] - 0.5))
            error = math.sqrt(2) * (PLACE + PLACE_SHARE * wide)
            rank = level / LEVEL + 4 * off
            if best is None or rank < best[0]:
                best = rank, Spacing(i, j, px, error)
    return None if best is None else best[1]


def nearest_pull(mm: float, error: float) -> float | None:
    """The spacing sold that fits a measured one, if any."""
    near = min(PULLS, key=lambda p: abs(p - mm))
    return near if abs(near - mm) <= FITS_MM + error else None
