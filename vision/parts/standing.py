"""How a panel stands among the panels of its photo: size, slant and neighbours, as numbers for telling its role."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from vision.types import Panel

NAMES = (
    "across", "down", "width", "height", "aspect", "area", "area_share", "fill", "upper_slant", "lower_slant", "left_slant",
    "right_slant", "taper", "lean", "hull_left", "hull_top", "hull_right", "hull_bottom", "hull_width", "hull_height", "panels",
    "rank", "above", "below", "beside_left", "beside_right", "alike", "alike_stacked", "alike_beside", "over_wide", "under_wide",
    "narrow_touching", "touches_left", "touches_top", "touches_right", "touches_bottom",
)


def corners(points: NDArray[np.float64]) -> NDArray[np.float64]:
    """(4, 2) outermost corners of an outline: top left, top right, bottom right, bottom left."""
    s, d = points.sum(axis=1), points[:, 0] - points[:, 1]
    return points[[int(s.argmin()), int(d.argmax()), int(s.argmax()), int(d.argmin())]]


def _slant(a: NDArray[np.float64], b: NDArray[np.float64], upright: bool) -> float:
    """Angle of a side to the vertical or the horizontal, radians, |.| <= pi/2."""
    dx, dy = b - a
    return float(np.arctan2(dx, abs(dy) + 1e-9) if upright else np.arctan2(dy, abs(dx) + 1e-9))


def _shared(a0: float, a1: float, b0: NDArray[np.float64], b1: NDArray[np.float64]) -> NDArray[np.float64]:
    """Overlap of an interval with others as a share of the shorter one."""
    return np.asarray(np.maximum(0, np.minimum(a1, b1) - np.maximum(a0, b0)) / np.maximum(np.minimum(a1 - a0, b1 - b0), 1e-9))


def standing(panels: Sequence[Panel], views: Sequence[str], size: tuple[int, int]) -> NDArray[np.float64]:
    """(panels, len(NAMES)) numbers; lengths as shares of the photo of `size` (width, height) or of the hull of all panels."""
    outlines = [np.array(p.outline, dtype=np.float64) / max(size) for p in panels]
    boxes = np.array([[*o.min(axis=0), *o.max(axis=0)] for o in outlines])
    spans = np.maximum(boxes[:, 2:] - boxes[:, :2], 1e-6)
    areas = np.array([abs(np.dot(o[:, 0], np.roll(o[:, 1], -1)) - np.dot(o[:, 1], np.roll(o[:, 0], -1))) / 2 for o in outlines])
    hull = np.array([*boxes[:, :2].min(axis=0), *boxes[:, 2:].max(axis=0)])
    hull_span = np.maximum(hull[2:] - hull[:2], 1e-6)
    narrow = np.array([v in ("edge", "end", "joint") for v in views])
    right, bottom = size[0] / max(size), size[1] / max(size)
    rows = []
    for i, o in enumerate(outlines):
        x0, y0, x1, y1 = boxes[i]
        w, h = spans[i]
        c = corners(o)
        others = np.arange(len(outlines)) != i
        side_by_side = _shared(y0, y1, boxes[:, 1], boxes[:, 3]) * others * ~narrow
        in_column = _shared(x0, x1, boxes[:, 0], boxes[:, 2]) * others * ~narrow
        middle = (boxes[:, :2] + boxes[:, 2:]) / 2
        like_w = np.exp(-np.abs(np.log(spans[:, 0] / w)) / 0.1) * others * ~narrow
        like_h = np.exp(-np.abs(np.log(spans[:, 1] / h)) / 0.15) * others * ~narrow
        wider = spans[:, 0] / w
        over, under = middle[:, 1] < middle[i, 1], middle[:, 1] > middle[i, 1]
        top, low = np.linalg.norm(c[1] - c[0]), np.linalg.norm(c[2] - c[3])
        near = (boxes[:, 0] < x1 + 0.02) & (boxes[:, 2] > x0 - 0.02) & (boxes[:, 1] < y1 + 0.02) & (boxes[:, 3] > y0 - 0.02)
        rows.append([
            middle[i, 0] - right / 2, middle[i, 1] - bottom / 2, np.log(w), np.log(h), np.log(w / h), np.log(areas[i] + 1e-6),
            np.log((areas[i] + 1e-6) / areas.sum()), areas[i] / (w * h), _slant(c[0], c[1], False), _slant(c[3], c[2], False),
            _slant(c[0], c[3], True), _slant(c[1], c[2], True), np.log((top + 1e-3) / (low + 1e-3)),
            (c[3, 0] + c[2, 0] - c[0, 0] - c[1, 0]) / (2 * h), (x0 - hull[0]) / hull_span[0], (y0 - hull[1]) / hull_span[1],
            (hull[2] - x1) / hull_span[0], (hull[3] - y1) / hull_span[1], w / hull_span[0], h / hull_span[1],
            np.log(len(outlines)), float((areas > areas[i]).sum()) / len(outlines),
            float((in_column * over).max(initial=0)), float((in_column * under).max(initial=0)),
            float((side_by_side * (middle[:, 0] < middle[i, 0])).max(initial=0)),
            float((side_by_side * (middle[:, 0] > middle[i, 0])).max(initial=0)),
            np.log1p((like_w * like_h).sum()), np.log1p((like_w * in_column).sum()), np.log1p((like_h * side_by_side).sum()),
            float(np.log(wider[over & (in_column > 0.3)]).max(initial=0)),
            float(np.log(wider[under & (in_column > 0.3)]).max(initial=0)),
            np.log1p(float((narrow & near & others).sum())),
            float(x0 < 0.005), float(y0 < 0.005), float(x1 > right - 0.005), float(y1 > bottom - 0.005),
        ])
    return np.array(rows).reshape(len(outlines), len(NAMES))
