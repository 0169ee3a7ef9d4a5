"""Plane geometry shared by the panel room: corner order, trust in a quadrilateral, its true aspect, pixel mappings.

Points are (n, 2) float64 arrays of (x, y); a pixel's centre lies at integer coordinates.
"""

from __future__ import annotations

import cv2
import numpy as np
from numpy.typing import NDArray

Points = NDArray[np.float64]

#: Focal length in photo long sides assumed where perspective is too weak to tell (a phone's main camera, 26 mm eq.).
DEFAULT_FOCAL = 0.75


def signed_area(points: Points) -> float:
    """Shoelace area in px^2; positive when the points run clockwise as seen on screen (y down)."""
    x, y = points[:, 0], points[:, 1]
    return float(0.5 * np.sum(x * np.roll(y, -1) - np.roll(x, -1) * y))


def order_corners(points: Points) -> Points:
    """Four corners, clockwise on screen, starting with the one that is most to the top left.

    The start is the rotation whose first side points most nearly to the right, so a slightly tilted rectangle keeps
    its upright reading.
    """
    p = np.asarray(points, dtype=np.float64).reshape(4, 2)
    centre = p.mean(axis=0)
    p = p[np.argsort(np.arctan2(p[:, 1] - centre[1], p[:, 0] - centre[0]))]
    best, start = -np.inf, 0
    for k in range(4):
        q = np.roll(p, -k, axis=0)
        across = (q[1] - q[0]) + (q[2] - q[3])
        down = (q[3] - q[0]) + (q[2] - q[1])
        score = across[0] / (np.hypot(*across) + 1e-9) + down[1] / (np.hypot(*down) + 1e-9)
        if score > best + 1e-9:
            best, start = score, k
    return np.roll(p, -start, axis=0)


def side_means(quad: Points) -> tuple[float, float]:
    """(mean length of top and bottom, mean length of left and right) in px of an ordered quad."""
    side = np.hypot(*(np.roll(quad, -1, axis=0) - quad).T)
    return float((side[0] + side[2]) / 2), float((side[1] + side[3]) / 2)


def is_trustworthy(quad: Points, *, least_side: float = 6.0) -> bool:
    """Whether four ordered corners can be the picture of a rectangle seen by a hand-held phone.

    Convex, no side shorter than `least_side` px, corner angles 40 to 140 degrees, opposite sides within a factor 3.
    """
    side = np.roll(quad, -1, axis=0) - quad
    length = np.hypot(side[:, 0], side[:, 1])
    if length.min() < least_side:
        return False
    turn = side[:, 0] * np.roll(side, -1, axis=0)[:, 1] - side[:, 1] * np.roll(side, -1, axis=0)[:, 0]
    if not (turn > 0).all():
        return False
    cosine = -(side * np.roll(side, -1, axis=0)).sum(axis=1) / (length * np.roll(length, -1))
    if np.abs(cosine).max() > np.cos(np.deg2rad(40.0)):
        return False
    ratios = length[:2] / length[2:]
    return bool(max(ratios.max(), (1 / ratios).max()) <= 3.0)


def true_aspect(quad: Points, width: int, height: int) -> float:
    """Width over height of the rectangle whose picture is the ordered `quad` in a photo of width x height px.

    The principal point is taken to be the photo's centre. The focal length comes from the quad's own vanishing points
    where they are near enough, else `DEFAULT_FOCAL` is assumed (Zhang & He, Whiteboard scanning and image enhancement,
    Digital Signal Processing 17, 2007, eqs. 11 to 21). The answer stays within a factor 2.5 of the ratio of mean sides,
    because a cropped photo moves the principal point.
    """
    across, down = side_means(quad)
    plain = across / max(down, 1e-9)
    long_side = float(max(width, height))
    m = np.c_[(quad - [(width - 1) / 2, (height - 1) / 2]) / long_side, np.ones(4)]
    m1, m2, m4, m3 = m  # the source numbers corners row by row
    k2 = np.dot(np.cross(m1, m4), m3) / _away_from_zero(np.dot(np.cross(m2, m4), m3))
    k3 = np.dot(np.cross(m1, m4), m2) / _away_from_zero(np.dot(np.cross(m3, m4), m2))
    n2, n3 = k2 * m2 - m1, k3 * m3 - m1
    focal2 = DEFAULT_FOCAL**2
    if min(abs(n2[2]), abs(n3[2])) > 0.04:
        measured = -(n2[0] * n3[0] + n2[1] * n3[1]) / (n2[2] * n3[2])
        if 0.45**2 <= measured <= 3.0**2:
            focal2 = float(measured)
    weight = np.array([1 / focal2, 1 / focal2, 1.0])
    ratio = float(np.sqrt((n2 * n2 * weight).sum() / max((n3 * n3 * weight).sum(), 1e-12)))
    return float(np.clip(ratio, plain / 2.5, plain * 2.5))


def _away_from_zero(value: float) -> float:
    return value if abs(value) > 1e-12 else 1e-12


def scaling(sx: float, sy: float) -> NDArray[np.float64]:
    """3x3 map from a picture to the same picture resized by (sx, sy), pixel centres at integers on both."""
    return np.array([[sx, 0, (sx - 1) / 2], [0, sy, (sy - 1) / 2], [0, 0, 1.0]])


def shift(dx: float, dy: float) -> NDArray[np.float64]:
    """3x3 translation."""
    return np.array([[1, 0, dx], [0, 1, dy], [0, 0, 1.0]])


def apply(matrix: NDArray[np.float64], points: Points) -> Points:
    """(n, 2) points through a 3x3 homography."""
    p = np.c_[np.asarray(points, dtype=np.float64), np.ones(len(points))] @ matrix.T
    return np.asarray(p[:, :2] / p[:, 2:], dtype=np.float64)


def local_scale(matrix: NDArray[np.float64], points: Points) -> NDArray[np.float64]:
    """(n,) linear scale (square root of the area scale) of a homography at (n, 2) points."""
    depth = np.c_[points, np.ones(len(points))] @ matrix[2]
    return np.asarray(np.sqrt(np.abs(np.linalg.det(matrix) / depth**3)), dtype=np.float64)


def polygon_mask(points: Points, width: int, height: int) -> NDArray[np.bool_]:
    """(height, width) bool mask of a polygon, corners kept to 1/16 px."""
    out = np.zeros((height, width), np.uint8)
    limit = 2**26
    fixed = np.clip(np.round(np.asarray(points) * 16), -limit, limit).astype(np.int32)
    cv2.fillPoly(out, [fixed], 1, lineType=cv2.LINE_8, shift=4)
    return out.view(np.bool_)
