"""The scale of a photo, as asked for or found by itself."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from vision.millimetres import Point, Scale

#: What can be asked for: an object, nothing, or whatever can be found without being named (sheet, then card).
KINDS = ("auto", "none", "card", "coin", "sheet", "ruler", "points")


@dataclass(frozen=True)
class ScaleAsked:
    """`kind`: one of KINDS. `mm`: diameter of the coin, length between the points, or length of the sheet's check bar.
    `unit`: of a ruler, 'mm' or 'inch', '' when it is to be told from the ticks. `points`: photo px; one on a card or coin,
    two along a ruler's ticks or at the ends of the known length."""

    kind: str = "auto"
    mm: float | None = None
    unit: str = ""
    points: tuple[Point, ...] = ()

    def __post_init__(self) -> None:
        if self.kind not in KINDS:
            raise ValueError(f"unknown kind of scale {self.kind!r}")
        if self.kind in ("coin", "points") and self.mm is None:
            raise ValueError(f"a scale from {self.kind} needs its mm")
        if self.kind == "points" and len(self.points) != 2:
            raise ValueError("a scale from points needs two of them")


def find_scale(photo: NDArray[np.uint8], asked: ScaleAsked, *, focal_px: float | None = None) -> Scale | None:
    """Scale of an upright (h, w, 3) RGB photo, or None when what was asked for cannot be found."""
    size = (int(photo.shape[1]), int(photo.shape[0]))
    tap = asked.points[0] if asked.points else None
    if asked.kind == "points":
        from vision.scale.points import scale_of_points

        assert asked.mm is not None
        return scale_of_points(asked.points[0], asked.points[1], asked.mm, size, focal_px=focal_px)
    if asked.kind == "coin":
        from vision.scale.coin import find_coin

        assert asked.mm is not None
        return find_coin(photo, asked.mm, tap=tap, focal_px=focal_px)
    if asked.kind == "ruler":
        from vision.scale.ruler import find_ruler

        line = (asked.points[0], asked.points[1]) if len(asked.points) == 2 else None
        return find_ruler(photo, line=line, unit=asked.unit or None, focal_px=focal_px)
    found: Scale | None = None
    if asked.kind in ("sheet", "auto"):
        from vision.scale.sheet import CHECK_BAR_MM, find_sheet

        found = find_sheet(photo, bar_mm=asked.mm if asked.mm is not None else CHECK_BAR_MM, focal_px=focal_px)
    if found is None and asked.kind in ("card", "auto"):
        from vision.scale.card import find_card

        found = find_card(photo, tap=tap, focal_px=focal_px, named=asked.kind == "card")
    return found
