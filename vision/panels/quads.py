"""Outlines of regions: simple polygons, and four corners where a region is the picture of a rectangle."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import cv2
import numpy as np
from numpy.typing import NDArray

from vision.panels import geometry
from vision.panels.geometry import Points

#: A quadrilateral must cover a region to this intersection over union to stand for it.
QUAD_FIT = 0.88
#: A hole is cut out of a region from this share of the region and of the image on; smaller ones are filled.
LEAST_HOLE, LEAST_HOLE_IMAGE = 0.03, 0.004


@dataclass(frozen=True, eq=False)
class Shape:
    """Outline (n, 2) of a region in working pixels, its four corners if it has them, and its area in px^2."""

    outline: Points
    quad: Points | None
    area: float


def shape_of(mask: NDArray[np.uint8]) -> Shape | None:
    """Shape of the largest piece of a 0/1 (h, w) mask, holes filled and thin tails cut; None when nothing is left."""
    h, w = mask.shape
    x0, y0, bw, bh = cv2.boundingRect(mask)
    if bw == 0:
        return None
    piece = _largest_piece(np.ascontiguousarray(mask[y0:y0 + bh, x0:x0 + bw]))
    if piece is None:
        return None
    contour: NDArray[Any] = max(cv2.findContours(piece, cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_NONE)[0], key=cv2.contourArea)
    if len(contour) < 4 or cv2.contourArea(contour) < 12:
        return None
    filled = np.asarray(cv2.drawContours(np.zeros_like(piece), [contour], -1, 1, cv2.FILLED), dtype=np.uint8)
    opened = open_holes(filled, piece, LEAST_HOLE_IMAGE * mask.size)
    if opened:
        contour = max(cv2.findContours(filled, cv2.RETR_EXTERNAL, cv2.CHAIN_APPROX_NONE)[0], key=cv2.contourArea)
    area = float(filled.sum())
    outline = _simple(contour, area)
    quad = None if opened else quad_of(contour, filled)
    if quad is not None:
        outline = quad
    move = np.array([x0, y0])
    return Shape(_to_border(outline + move, w, h), None if quad is None else _to_border(quad + move, w, h), area)


def _largest_piece(mask: NDArray[np.uint8], *, tails: bool = True) -> NDArray[np.uint8] | None:
    """Largest connected piece after cutting tails; a strip too thin to survive the cut is kept as it is."""
    for kernel in (5, 3, 1) if tails else (1,):
        cut = cv2.morphologyEx(mask, cv2.MORPH_OPEN, np.ones((kernel, kernel), np.uint8)) if kernel > 1 else mask
        if cut.sum() >= 0.7 * mask.sum():
            break
    count, pieces, stats, _ = cv2.connectedComponentsWithStats(cut, connectivity=4)
    if count < 2:
        return None
    best = 1 + int(np.argmax(stats[1:, cv2.CC_STAT_AREA]))
    return (pieces == best).astype(np.uint8)


def open_holes(filled: NDArray[np.uint8], piece: NDArray[np.uint8], least: float) -> bool:
    """Cut holes of `piece` of at least `least` px out of `filled`, in place; True when there were any.

    A knob or a knot is no hole in a panel, but a stool standing on a floor is: such a hole is joined to the outside by
    a slit, because an outline is one line that does not touch itself.
    """
    holes = filled & (1 - piece)
    count, pieces, stats, _ = cv2.connectedComponentsWithStats(holes, connectivity=4)
    area = float(filled.sum())
    large = [k for k in range(1, count) if stats[k, cv2.CC_STAT_AREA] >= max(LEAST_HOLE * area, least)]
    if not large:
        return False
    padded = np.pad(filled, 1)
    for k in sorted(large, key=lambda i: -int(stats[i, cv2.CC_STAT_AREA])):
        hole = np.pad((pieces == k).astype(np.uint8), 1)
        distance, nearest = cv2.distanceTransformWithLabels(padded, cv2.DIST_L2, 5, labelType=cv2.DIST_LABEL_PIXEL)
        inside = np.where(hole > 0, distance, np.inf)
        y, x = np.unravel_index(int(np.argmin(inside)), inside.shape)
        target = nearest[y, x]
        ys, xs = np.nonzero((nearest == target) & (padded == 0))
        cv2.line(padded, (int(x), int(y)), (int(xs[0]), int(ys[0])), 0, 2)
        padded[hole > 0] = 0
    piece_left = _largest_piece(np.ascontiguousarray(padded[1:-1, 1:-1]), tails=False)
    if piece_left is None:
        return False
    filled[:] = piece_left
    return True


def _simple(contour: NDArray[np.int32], area: float) -> Points:
    """Polygon of few corners that stays within about 1 % of the region's size of the contour and does not cross itself."""
    from shapely.geometry import Polygon

    tolerance = max(1.2, 0.012 * area**0.5)
    for factor in (1.0, 0.6, 0.3, 0.0):
        polygon = cv2.approxPolyDP(contour, tolerance * factor, True).reshape(-1, 2).astype(np.float64)
        if len(polygon) >= 3 and Polygon(polygon).is_valid:
            return polygon
    hull = cv2.convexHull(contour).reshape(-1, 2).astype(np.float64)
    return hull


def quad_of(contour: NDArray[np.int32], filled: NDArray[np.uint8]) -> Points | None:
    """Ordered corners (4, 2) of the quadrilateral that covers the region, or None.

    Corners are dropped from the convex hull one by one, each time moving the two sides beside the dropped side outward
    until they meet, at the least added area.
    """
    hull = cv2.approxPolyDP(cv2.convexHull(contour), 1.0, True).reshape(-1, 2).astype(np.float64)
    if len(hull) < 4:
        return None
    hull_area = abs(geometry.signed_area(hull))
    if float(filled.sum()) < QUAD_FIT * hull_area:
        return None
    while len(hull) > 4:
        shorter = _drop_side(hull)
        if shorter is None:
            return None
        hull = shorter
    if len(hull) != 4:
        return None
    h, w = filled.shape
    quad = geometry.order_corners(hull)
    if not geometry.is_trustworthy(quad, least_side=3.0) or quad.min() < -0.05 * max(h, w) or \
            (quad.max(axis=0) > [w * 1.05, h * 1.05]).any():
        return None
    drawn = geometry.polygon_mask(quad, w, h)
    region = filled.view(np.bool_)
    both = float((drawn & region).sum())
    return quad if both >= QUAD_FIT * float((drawn | region).sum()) else None


def _drop_side(hull: Points) -> Points | None:
    """Convex polygon with the side removed whose neighbours meet at the least added area."""
    n = len(hull)
    best, choice = np.inf, None
    for k in range(n):
        p, a, b, q = hull[k - 1], hull[k], hull[(k + 1) % n], hull[(k + 2) % n]
        meet = _meeting(p, a, q, b)
        if meet is None:
            continue
        added = 0.5 * abs((a[0] - meet[0]) * (b[1] - meet[1]) - (b[0] - meet[0]) * (a[1] - meet[1]))
        if added < best:
            best, choice = added, (k, meet)
    if choice is None:
        return None
    k, meet = choice
    points = [hull[i] for i in range(n) if i not in (k, (k + 1) % n)]
    points.insert(k if (k + 1) % n else k - 1, meet)
    return np.array(points)


def _meeting(p: Points, a: Points, q: Points, b: Points) -> Points | None:
    """Where the ray from p through a meets the ray from q through b, beyond a and b; None if it does not."""
    u, v = a - p, b - q
    cross = u[0] * v[1] - u[1] * v[0]
    if abs(cross) < 1e-9:
        return None
    d = q - p
    s, t = (d[0] * v[1] - d[1] * v[0]) / cross, (d[0] * u[1] - d[1] * u[0]) / cross
    return p + s * u if s >= 1 and t >= 1 else None


def _to_border(points: Points, width: int, height: int) -> Points:
    """Contours run through pixel centres: corners on the last row or column are moved to the border of the image."""
    out = points.astype(np.float64).copy()
    for axis, size in ((0, width), (1, height)):
        out[out[:, axis] <= 1.0, axis] = -0.5
        out[out[:, axis] >= size - 2.0, axis] = size - 0.5
    return out
