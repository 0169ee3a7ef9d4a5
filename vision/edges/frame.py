"""An edge and what borders it, laid out straight: the narrow side in the middle rows, face and surroundings beside it.

The outline may be off by a few pixels; both long borders are therefore found again, to a fraction of a pixel, as the
straight lines along which colour changes most in one sense.
"""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from vision.edges.unroll import Strip
from vision.resize import resize
from vision.types import Outline

Plane = NDArray[np.float32]
Matrix = NDArray[np.float64]

MAX_LENGTH, MAX_ROWS = 1024, 160
MIN_ROWS, MIN_LENGTH = 5.0, 40.0
BLOCKS = 24


@dataclass(frozen=True, eq=False)
class Border:
    """A long border of the strip. `points`: its ends in photo pixels, left to right in the frame; `step`: change of colour
    over it, grey levels; `sure`: that change over what other lines nearby show (1: nothing stands out)."""

    points: Outline
    step: float
    sure: float


@dataclass(frozen=True, eq=False)
class EdgeFrame:
    """An edge laid out. `rgb`: (h, n, 3) uint8 with the narrow side in rows `top` to `top + rows` (half-open) and the face,
    where its side is known, above; `to_photo`: 3x3 from frame (x, y, 1) to photo pixels; `scale`: photo pixels per frame
    pixel; `upper`, `lower`: its long borders; `face_known`: the rows above are the face's side; `valid`: (h, n) bool, inside
    the photo."""

    rgb: NDArray[np.uint8]
    lab: Plane
    top: int
    rows: int
    to_photo: Matrix
    scale: float
    upper: Border
    lower: Border
    face_known: bool
    valid: NDArray[np.bool_]

    @property
    def thickness_px(self) -> float:
        return self.rows * self.scale

    @property
    def length_px(self) -> float:
        return self.rgb.shape[1] * self.scale

    def photo_points(self, points: NDArray[np.float64]) -> NDArray[np.float64]:
        """(n, 2) frame points to photo pixels."""
        p = np.c_[points, np.ones(len(points))] @ self.to_photo.T
        return np.asarray(p[:, :2] / p[:, 2:])

    def line(self, row: float) -> Outline:
        """Ends in photo pixels of the line along the frame at a row."""
        n = self.rgb.shape[1]
        p = self.photo_points(np.array([[0.0, row], [n - 1.0, row]]))
        return tuple((float(x), float(y)) for x, y in p)

    def strip(self) -> Strip:
        """The narrow side alone, as the other edge measures take it."""
        rgb = np.ascontiguousarray(self.rgb[self.top:self.top + self.rows])
        luma = np.asarray(cv2.cvtColor(rgb, cv2.COLOR_RGB2GRAY), np.float32)
        inside = np.ascontiguousarray(self.valid[self.top:self.top + self.rows])
        return Strip(rgb, luma, inside, np.eye(3), 0.0, self.thickness_px, self.length_px)


def lay_out(pixels: NDArray[np.uint8], outline: NDArray[np.float64] | Outline, *, face_at: tuple[float, float] | None = None,
            refine: bool = True) -> EdgeFrame | None:
    """The edge inside `outline` (photo pixels) laid out straight; None where it is too thin or too short to measure.

    `face_at`: a point on the face's side of the edge, such as the middle of the face; the face then lies above.
    """
    quad = _quad(np.asarray(outline, np.float64))
    if quad is None:
        return None
    if face_at is not None and _side(quad, face_at) > 0:
        quad = quad[[2, 3, 0, 1]]
    frame = _sample(pixels, quad, face_at is not None, (0.0, 0.0), (0.0, 0.0))
    if frame is None or not refine:
        return frame
    change = _changes(frame)
    above, below = (_border(frame, change, row) for row in (frame.top - 0.5, frame.top + frame.rows - 0.5))
    n = frame.rgb.shape[1]
    corners = np.array([[-0.5, above[0]], [n - 0.5, above[1]], [n - 0.5, below[1]], [-0.5, below[0]]])
    if min(corners[3, 1] - corners[0, 1], corners[2, 1] - corners[1, 1]) < 0.5 * frame.rows:
        return frame
    return _sample(pixels, frame.photo_points(corners), face_at is not None, above[2:], below[2:])


def _quad(points: NDArray[np.float64]) -> NDArray[np.float64] | None:
    """Corners (upper left, upper right, lower right, lower left in its own frame) of the strip that an outline describes."""
    if len(points) < 3:
        return None
    hull = points.astype(np.float32)
    (_, _), (w, h), angle = cv2.minAreaRect(hull)
    if w < h:
        angle += 90.0
    angle = (angle + 90.0) % 180.0 - 90.0
    t = np.deg2rad(angle)
    turn = np.array([[np.cos(t), np.sin(t)], [-np.sin(t), np.cos(t)]])
    p = points @ turn.T
    u0, u1 = float(p[:, 0].min()), float(p[:, 0].max())
    if u1 - u0 < MIN_LENGTH:
        return None
    at = np.linspace(u0, u1, 121)[1:-1]
    low, high = np.full(len(at), np.inf), np.full(len(at), -np.inf)
    for a, b in zip(p, np.roll(p, -1, axis=0), strict=True):
        lo, hi = min(a[0], b[0]), max(a[0], b[0])
        on = (at >= lo) & (at <= hi)
        if not on.any() or hi - lo < 1e-9:
            continue
        v = a[1] + (at[on] - a[0]) / (b[0] - a[0]) * (b[1] - a[1])
        low[on], high[on] = np.minimum(low[on], v), np.maximum(high[on], v)
    thick = high - low
    usual = float(np.median(thick[np.isfinite(thick)]))
    if not np.isfinite(usual) or usual < MIN_ROWS - 1:
        return None
    # corners cut off by the picture's border are no part of the long sides
    full = np.isfinite(thick) & (thick > 0.6 * usual)
    top, bottom = _robust_line(at[full], low[full]), _robust_line(at[full], high[full])
    a, b = float(at[full].min()), float(at[full].max())
    q = np.array([[u, line[0] + line[1] * u] for u, line in ((a, top), (b, top), (b, bottom), (a, bottom))])
    return np.asarray(q @ turn)


def _robust_line(x: NDArray[np.float64], y: NDArray[np.float64]) -> NDArray[np.float64]:
    """(offset, slope) of the line nearest to most points (repeated weighting by distance)."""
    weight = np.ones(len(x))
    a = np.stack([np.ones_like(x), x], axis=1)
    fit: NDArray[np.floating] = np.zeros(2)
    for _ in range(8):
        fit = np.linalg.lstsq(a * weight[:, None], y * weight, rcond=None)[0]
        weight = 1 / np.sqrt(1 + ((y - a @ fit) / 1.0) ** 2)
    return np.asarray(fit)


def _side(quad: NDArray[np.float64], point: tuple[float, float]) -> float:
    """Positive when a point lies on the lower side of the strip's middle line."""
    a, b = (quad[0] + quad[3]) / 2, (quad[1] + quad[2]) / 2
    d, q = b - a, np.array(point) - a
    return float(d[0] * q[1] - d[1] * q[0])


def _sample(pixels: NDArray[np.uint8], quad: NDArray[np.float64], face_known: bool, above: tuple[float, ...],
            below: tuple[float, ...]) -> EdgeFrame | None:
    length = float(np.hypot(*(quad[1] + quad[2] - quad[0] - quad[3])) / 2)
    thick = float(np.hypot(*(quad[3] + quad[2] - quad[0] - quad[1])) / 2)
    if thick < MIN_ROWS or length < MIN_LENGTH:
        return None
    scale = max(1.0, thick / MAX_ROWS, length / MAX_LENGTH)
    rows, n = max(5, round(thick / scale)), max(16, round(length / scale))
    margin = int(min(96, max(24, rows)))
    source, shrink = pixels, np.eye(3)
    if scale >= 1.5:  # average down first, or fine texture would alias
        source, shrink = _reduced(pixels, quad, scale, margin * scale + 8)
    target = np.array([[-0.5, margin], [n - 0.5, margin], [n - 0.5, margin + rows], [-0.5, margin + rows]]) - [0, 0.5]
    to_photo = np.asarray(cv2.getPerspectiveTransform(target.astype(np.float32), quad.astype(np.float32)), np.float64)
    matrix = shrink @ to_photo
    size = (n, rows + 2 * margin)
    flags = cv2.INTER_LINEAR | cv2.WARP_INVERSE_MAP
    rgb = np.asarray(cv2.warpPerspective(source, matrix, size, flags=flags, borderMode=cv2.BORDER_REPLICATE), np.uint8)
    gx, gy = np.arange(n, dtype=np.float64)[None, :], np.arange(size[1], dtype=np.float64)[:, None]
    x, y, z = (m[0] * gx + (m[1] * gy + m[2]) for m in to_photo)
    # inside the photo: -0.5 < x / z < width - 0.5, likewise y
    valid = (z > 0) & (x > -0.5 * z) & (y > -0.5 * z)
    valid &= (x < (pixels.shape[1] - 0.5) * z) & (y < (pixels.shape[0] - 0.5) * z)
    lab = np.asarray(cv2.cvtColor(rgb, cv2.COLOR_RGB2LAB), np.float32)
    frame = EdgeFrame(rgb, lab, margin, rows, to_photo, scale, _NONE, _NONE, face_known, np.asarray(valid))
    if not len(above) or not len(below):
        return frame
    borders = [Border(frame.line(row), float(b[0]), float(b[1])) for row, b in
               ((margin - 0.5, above), (margin + rows - 0.5, below))]
    return EdgeFrame(rgb, lab, margin, rows, to_photo, scale, borders[0], borders[1], face_known, np.asarray(valid))


def _reduced(pixels: NDArray[np.uint8], quad: NDArray[np.float64], scale: float,
             around: float) -> tuple[NDArray[np.uint8], NDArray[np.float64]]:
    """The photo within `around` pixels of a strip averaged down by `scale`, and the matrix from photo pixels to its own."""
    h, w = pixels.shape[:2]
    left, upper = (int(np.clip(v, 0, most - 8)) for v, most in zip(np.floor(quad.min(axis=0) - around), (w, h), strict=True))
    right, lower = (int(np.clip(v, 8, most)) for v, most in zip(np.ceil(quad.max(axis=0) + around), (w, h), strict=True))
    right, lower = max(right, left + 8), max(lower, upper + 8)
    size = max(8, round((right - left) / scale)), max(8, round((lower - upper) / scale))
    small = resize(np.ascontiguousarray(pixels[upper:lower, left:right]), *size)
    sx, sy = size[0] / (right - left), size[1] / (lower - upper)
    shrink = np.array([[sx, 0, sx * (0.5 - left) - 0.5], [0, sy, sy * (0.5 - upper) - 0.5], [0, 0, 1.0]])
    return small, shrink


_NONE = Border(((0.0, 0.0), (1.0, 0.0)), 0.0, 1.0)


def block_profiles(plane: Plane, blocks: int = BLOCKS) -> Plane:
    """(h, blocks[, c]) means of a plane (h, n[, c]) over equal stretches of its length."""
    n = plane.shape[1]
    cuts = np.linspace(0, n, min(blocks, n) + 1).astype(int)
    sums = np.add.reduceat(plane, cuts[:-1], axis=1, dtype=np.float64)
    width = np.diff(cuts).astype(np.float64)
    return np.asarray(sums / (width if plane.ndim == 2 else width[:, None]), np.float32)


def _changes(frame: EdgeFrame) -> Plane:
    """(h, blocks, 3) change of colour from row to row in every stretch of the length."""
    blocks = block_profiles(np.asarray(cv2.GaussianBlur(frame.lab, (0, 0), sigmaX=0.01, sigmaY=0.8), np.float32))
    change = np.zeros_like(blocks)
    change[1:-1] = 0.5 * (blocks[2:] - blocks[:-2])
    return change


def _border(frame: EdgeFrame, change: Plane, row: float) -> tuple[float, float, float, float]:
    """(row at the left end, row at the right end, step, sureness) of the border found near a row.

    Every straight line within reach is tried; its score is the length of the mean, over stretches, of the signed change of
    colour across it: texture changes colour now one way, now the other, a border always the same way.
    """
    reach = max(4.0, min(0.45 * frame.rows, 20.0))
    h, k = change.shape[:2]
    offsets = np.arange(-reach, reach + 0.01, 0.5 if reach < 10 else 1.0)
    grid = float(offsets[1] - offsets[0])
    place = (np.arange(k) + 0.5) / k
    left, right = (row + m for m in np.meshgrid(offsets, offsets, indexing="ij"))
    at = left[..., None] + (right - left)[..., None] * place
    at = np.clip(at, 1, h - 2.001)
    low = at.astype(int)
    part = (at - low)[..., None]
    cols = np.arange(k)
    found = change[low, cols] * (1 - part) + change[low + 1, cols] * part
    # a few stretches may hold a knob, a shadow's end or another part: the middle of the ordered changes counts
    mean = 0.5 * (found.mean(axis=2) + np.median(found, axis=2))
    score = np.sqrt((mean**2).sum(axis=-1))
    tilt = np.abs(right - left) / reach
    # the outline knows roughly: of two lines a layer apart the nearer may win though it is the fainter
    prior = np.exp(-0.5 * (((left + right) / 2 - row) / (0.35 * reach)) ** 2 - 0.5 * (tilt / 0.4) ** 2)
    best = np.unravel_index(int(np.argmax(score**0.7 * prior)), score.shape)
    i, j = int(best[0]), int(best[1])
    shift = [0.0, 0.0]
    for axis, (centre, count) in enumerate(((i, score.shape[0]), (j, score.shape[1]))):
        if 0 < centre < count - 1:
            a, b, c = (float(score[(centre + d, j) if axis == 0 else (i, centre + d)]) for d in (-1, 0, 1))
            bend = a - 2 * b + c
            shift[axis] = float(np.clip(0.5 * (a - c) / bend, -1, 1)) * grid if bend < -1e-9 else 0.0
    usual = float(np.median(score)) + 0.15
    return float(left[i, j] + shift[0]), float(right[i, j] + shift[1]), float(score[i, j]) * 2, float(score[i, j]) / usual
