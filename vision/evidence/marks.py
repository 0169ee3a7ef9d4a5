"""Findings on the picture: a thin chalk mark where each one lies, and the number under which the list explains it."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from vision.evidence.bands import dashes, disc, polyline
from vision.evidence.palette import BED, CHALK
from vision.types import Finding, Panel, Region

#: A region that covers this share of its panel speaks of the whole panel: its number goes on the tag, not on the picture.
_WHOLE_SHARE = 0.8


@dataclass(frozen=True, eq=False)
class Mark:
    """One located region in picture pixels: `points` (n, 2), type as in Region, and the finding's number."""

    number: int
    type: str
    points: NDArray[np.float64]

    @property
    def anchor(self) -> tuple[float, float]:
        """Where the number belongs: on the line or point, on the rim of a polygon (its topmost corner)."""
        if self.type == "polygon":
            top = self.points[np.argmin(self.points[:, 1])]
            return float(top[0]), float(top[1])
        middle = self.points[len(self.points) // 2] if len(self.points) != 2 else self.points.mean(axis=0)
        return float(middle[0]), float(middle[1])


def sort_findings(
    findings: Sequence[Finding], numbers: Mapping[str, int], photo: str, panels: Sequence[Panel], scale: float
) -> tuple[list[Mark], dict[str, list[int]]]:
    """(located marks, panel id -> numbers of findings about the whole panel) of one photo."""
    areas = {p.id: _area(np.array(p.outline)) for p in panels}
    marks: list[Mark] = []
    whole: dict[str, list[int]] = {p.id: [] for p in panels}
    for finding in findings:
        for region in finding.where:
            if region.photo != photo:
                continue
            if region.panel in whole and _is_whole(region, areas[region.panel]):
                if numbers[finding.id] not in whole[region.panel]:
                    whole[region.panel].append(numbers[finding.id])
                continue
            marks.append(Mark(numbers[finding.id], region.type, np.array(region.points, dtype=float) * scale))
    return marks, whole


def draw_mark(picture: NDArray[np.uint8], mark: Mark, unit: float) -> None:
    """Chalk mark, drawn in place: a dotted rim, a line with end bars, or a ring. `unit`: line width in px."""
    if mark.type == "point":
        at = (round(float(mark.points[0, 0])), round(float(mark.points[0, 1])))
        cv2.circle(picture, at, round(6 * unit), BED, round(unit + 3), cv2.LINE_AA)
        cv2.circle(picture, at, round(6 * unit), CHALK, round(unit), cv2.LINE_AA)
        return
    if mark.type == "line":
        bars = [_bar(mark.points[0], mark.points[1], 3 * unit), _bar(mark.points[-1], mark.points[-2], 3 * unit)]
        for colour, width in ((BED, unit + 3), (CHALK, unit)):
            for line in (mark.points, *bars):
                polyline(picture, line, colour, width)
        return
    rim = np.vstack([mark.points, mark.points[:1]])
    polyline(picture, rim, BED, unit + 3)
    for piece in dashes(rim, (0.5 * unit, 4.5 * unit)):
        disc(picture, (float(piece[0, 0]), float(piece[0, 1])), 0.8 * unit, CHALK)


def mark_mask(mark: Mark, height: int, width: int, unit: float) -> NDArray[np.uint8]:
    """(height, width) uint8, 1 where the mark's own lines lie, so that tags can keep off them."""
    out = np.zeros((height, width), np.uint8)
    if mark.type == "point":
        cv2.circle(out, (round(float(mark.points[0, 0])), round(float(mark.points[0, 1]))), round(8 * unit), 1, -1)
    else:
        cv2.polylines(out, [np.round(mark.points).astype(np.int32)], mark.type == "polygon", 1, round(6 * unit))
    return out


def _is_whole(region: Region, panel_area: float) -> bool:
    return region.type == "polygon" and _area(np.array(region.points)) >= _WHOLE_SHARE * panel_area


def _bar(end: NDArray[np.float64], towards: NDArray[np.float64], half: float) -> NDArray[np.float64]:
    along = towards - end
    norm = float(np.linalg.norm(along)) or 1.0
    across = np.array([-along[1], along[0]]) / norm * half
    return np.stack([end - across, end + across])


def _area(points: NDArray[np.float64]) -> float:
    """Area of a polygon by the shoelace rule."""
    x, y = points[:, 0], points[:, 1]
    return abs(float(x @ np.roll(y, -1) - y @ np.roll(x, -1))) / 2
