"""A phone camera in space, where it stands, and which surface each pixel sees."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from training.figure.slabs import VIEW_OF
from training.scenes.furniture import Part, Piece, Quad, Vec, part_sides

APERTURE_MM = 1.1  # lens radius of an ordinary phone's main camera
NEAR_MM = 15.0


@dataclass(frozen=True, eq=False)
class Camera:
    """Pinhole geometry. `position`, unit `right`, `up`, `forward` in world mm; `focal` in pixels; picture size in pixels."""

    position: Vec
    right: Vec
    up: Vec
    forward: Vec
    focal: float
    width: int
    height: int
    focus: float

    def project(self, points: NDArray[np.float64]) -> NDArray[np.float64]:
        """World points (..., 3) to pixel coordinates (..., 2), pixel centres at whole numbers; nan behind the lens."""
        p = points - self.position
        depth = p @ self.forward
        safe = np.where(depth > 1e-9, depth, np.nan)
        x = (self.width - 1) / 2 + self.focal * (p @ self.right) / safe
        y = (self.height - 1) / 2 - self.focal * (p @ self.up) / safe
        return np.stack([x, y], axis=-1)

    def rays(self, x: NDArray[np.float64], y: NDArray[np.float64]) -> NDArray[np.float64]:
        """World directions (depth 1 along `forward`) through pixels."""
        rx = (x - (self.width - 1) / 2) / self.focal
        ry = -(y - (self.height - 1) / 2) / self.focal
        return self.forward + rx[..., None] * self.right + ry[..., None] * self.up

    def scaled(self, width: int, height: int) -> Camera:
        """The same view at another picture size of the same shape."""
        return Camera(
            self.position, self.right, self.up, self.forward, self.focal * width / self.width, width, height, self.focus
        )

    def homography(self, quad: Quad) -> NDArray[np.float64]:
        """3x3 matrix from (s mm along quad.u, t mm along quad.v, 1) to homogeneous pixels."""
        u, v = quad.u / np.linalg.norm(quad.u), quad.v / np.linalg.norm(quad.v)
        k = np.array([[self.focal, 0, (self.width - 1) / 2], [0, -self.focal, (self.height - 1) / 2], [0, 0, 1.0]])
        rotate = np.stack([self.right, self.up, self.forward])
        h = k @ np.stack([rotate @ u, rotate @ v, rotate @ (quad.corner - self.position)], axis=1)
        return h / np.abs(h).max()


def look(position: Vec, target: Vec, roll: float, focal: float, width: int, height: int, focus: float) -> Camera:
    """Camera at `position` looking at `target`, rolled by `roll` radians."""
    forward = target - position
    forward = forward / np.linalg.norm(forward)
    world_up = np.array([0, 0, 1.0]) if abs(forward[2]) < 0.98 else np.array([0, 1.0, 0])
    right = np.cross(forward, world_up)
    right /= np.linalg.norm(right)
    up = np.cross(right, forward)
    c, s = np.cos(roll), np.sin(roll)
    return Camera(position, c * right + s * up, c * up - s * right, forward, focal, width, height, focus)


@dataclass(frozen=True, eq=False)
class Seen:
    """What each pixel of a picture sees: `index` (h, w) int32 into the quads, -1 none; `depth` (h, w) mm along forward."""

    index: NDArray[np.int32]
    depth: NDArray[np.float32]


def cross(a: Vec, b: Vec) -> Vec:
    """Cross product of two 3-vectors, without numpy's care for other shapes."""
    return np.array([a[1] * b[2] - a[2] * b[1], a[2] * b[0] - a[0] * b[2], a[0] * b[1] - a[1] * b[0]])


def rasterise(camera: Camera, quads: list[Quad]) -> Seen:
    """Nearest rectangle behind every pixel centre, by plane intersection inside each rectangle's bounding box."""
    h, w = camera.height, camera.width
    index = np.full((h, w), -1, dtype=np.int32)
    depth = np.full((h, w), np.inf, dtype=np.float32)
    for k, quad in enumerate(quads):
        corners = np.stack([quad.corner, quad.corner + quad.u, quad.corner + quad.u + quad.v, quad.corner + quad.v])
        z = (corners - camera.position) @ camera.forward
        if (z < NEAR_MM).all():
            continue
        if (z < NEAR_MM).any():
            x0, y0, x1, y1 = 0, 0, w, h
        else:
            px = camera.project(corners)
            x0, y0 = (max(0, int(np.floor(v))) for v in px.min(axis=0))
            x1, y1 = min(w, int(np.ceil(px[:, 0].max())) + 1), min(h, int(np.ceil(px[:, 1].max())) + 1)
        if x0 >= x1 or y0 >= y1:
            continue
        normal = cross(quad.u, quad.v)
        # ray p + t d with d . forward = 1, so t is the depth; everything is linear in the pixel
        xs, ys = np.arange(x0, x1, dtype=np.float64), np.arange(y0, y1, dtype=np.float64)
        rx = (xs - (w - 1) / 2) / camera.focal
        ry = -(ys - (h - 1) / 2) / camera.focal
        den = normal @ camera.forward + rx[None, :] * (normal @ camera.right) + ry[:, None] * (normal @ camera.up)
        offset = quad.corner - camera.position
        with np.errstate(divide="ignore", invalid="ignore"):
            t = (normal @ offset) / den
        ru, rv = cross(quad.v, normal), cross(normal, quad.u)
        ru, rv = ru / (ru @ quad.u), rv / (rv @ quad.v)

        def along(
            r: Vec, t: NDArray[np.float64] = t, rx: NDArray[np.float64] = rx, ry: NDArray[np.float64] = ry, offset: Vec = offset
        ) -> NDArray[np.float64]:
            return t * (r @ camera.forward + rx[None, :] * (r @ camera.right) + ry[:, None] * (r @ camera.up)) - r @ offset

        s, q = along(ru), along(rv)
        old = depth[y0:y1, x0:x1]
        hit = (t > NEAR_MM) & (t < old - 1e-4) & (s >= 0) & (s <= 1) & (q >= 0) & (q <= 1)
        old[hit] = t[hit]
        index[y0:y1, x0:x1][hit] = k
    return Seen(index, depth)


def place_camera(
    piece: Piece, quads: list[Quad], owners: list[tuple[Part, str]], rng: np.random.Generator, view: str, width: int, height: int
) -> Camera | None:
    """A camera for one photo, or None when no clear view was found. `view`: 'whole', 'part' or 'close'.

    `quads[k]` for k < len(owners) is the side `owners[k]`; further quads are room and props.
    """
    fov = np.deg2rad(float(rng.uniform(60, 74)))  # along the long side, as phones' main cameras
    focal = max(width, height) / 2 / np.tan(fov / 2)
    for _ in range(40):
        camera = _try(piece, owners, rng, view, focal, width, height)
        if camera is None:
            continue
        small = rasterise(camera.scaled(max(8, width // 16), max(8, height // 16)), quads)
        on_piece = (small.index >= 0) & (small.index < len(owners))
        need = {"whole": 0.12 if piece.kind != "boards" else 0.07, "part": 0.25, "close": 0.45}[view]
        nearest = float(small.depth.min())
        if on_piece.mean() >= need and nearest > (70 if view == "close" else 220):
            return camera
    return None


def _try(
    piece: Piece, owners: list[tuple[Part, str]], rng: np.random.Generator, view: str, focal: float, width: int, height: int
) -> Camera | None:
    w, d, h = piece.size
    if view == "whole":
        target = np.array([float(rng.normal(0, 60)), -d / 2, (h * float(rng.uniform(0.4, 0.6))) if piece.kind != "boards" else h])
        span = max(w, h) if piece.kind != "boards" else 900.0
        distance = span * focal / min(width, height) * float(rng.uniform(0.95, 1.5)) + d / 2
        azimuth = float(rng.normal(0, 0.5))
        eye = np.array([np.sin(azimuth) * distance, -d / 2 - np.cos(azimuth) * distance, 0.0])
        eye[2] = float(rng.uniform(900, 1650)) if piece.kind != "boards" else h + float(rng.uniform(250, 900))
    else:
        weights = np.array([_interest(part, side, view) for part, side in owners])
        if weights.sum() <= 0:
            return None
        part, side = owners[int(rng.choice(len(owners), p=weights / weights.sum()))]
        quad = part.quad(side)
        normal = part.outward(side)
        s, t = (
            (float(v) for v in rng.uniform(0.1, 0.9, 2))
            if view == "part"
            else (float(rng.choice([0.04, 0.5, 0.9])), float(rng.uniform(0.05, 0.95)))
        )
        target = quad.corner + s * quad.u + t * quad.v
        size = float(np.clip(max(np.linalg.norm(quad.u), np.linalg.norm(quad.v)), 150, 900))
        field = size * float(rng.uniform(0.8, 1.9)) if view == "part" else float(np.exp(rng.uniform(np.log(90), np.log(380))))
        distance = field * focal / max(width, height)
        side_a, side_b = quad.u / np.linalg.norm(quad.u), quad.v / np.linalg.norm(quad.v)
        lean = rng.normal(0, 0.55, 2)
        direction = normal + lean[0] * side_a + lean[1] * side_b + np.array([0, -0.25, 0.3])
        direction /= np.linalg.norm(direction)
        eye = target + direction * max(distance, 85.0)
    inside = piece.kind != "boards" and abs(eye[0]) < w / 2 + 20 and -d - 20 < eye[1] and eye[2] < h + 30
    if inside or eye[2] < 30 or eye[1] > 0 or np.abs(eye[0]) > 2300 or eye[1] < -2900:
        return None
    focus = float(np.linalg.norm(target - eye))
    if rng.random() < 0.12:
        focus *= float(rng.choice([0.75, 1.35]))
    return look(eye, target, float(rng.normal(0, 0.04)), focal, width, height, focus)


def _interest(part: Part, side: str, view: str) -> float:
    n = part.outward(side)
    if n[1] > 0.3 or n[2] < -0.3 or part.role in ("drawer_bottom",):
        return 0.0
    kind = VIEW_OF[side]
    area = part.slab.span(side)[0] * part.slab.span(side)[1]
    if kind == "face":
        return float(np.sqrt(area))
    base = {"part": 60.0, "close": 260.0}[view]
    return base * min(1.0, part.slab.size[2] / 15.0)


def piece_quads(piece: Piece) -> tuple[list[Quad], list[tuple[Part, str]]]:
    """All sides of all parts, in order, with their owners."""
    owners = part_sides(piece)
    return [part.quad(side) for part, side in owners], owners
