"""A board seen by a pinhole camera: which sides show, where they lie in the picture, how light falls on them.

World: x along the arris, y into the face away from it, z up; the arris of face and narrow side is the line y = z = 0, the
face is z = 0, the narrow side y = 0 with z from 0 to -thickness. Millimetres.
"""

from __future__ import annotations

from dataclasses import dataclass

import cv2
import numpy as np
from numpy.typing import NDArray

from training.edges.boards import Build
from training.edges.paints import Colours, Fill

Floats = NDArray[np.float64]
#: Canvas pixels per picture pixel.
FINER = 2
MAX_TEXELS = 1000


@dataclass(frozen=True, eq=False)
class Camera:
    """`place`: mm; `turn`: (3, 3) world to camera axes (x right, y down, z ahead); `focal`: px; `size`: (width, height) px."""

    place: Floats
    turn: Floats
    focal: float
    size: tuple[int, int]

    def project(self, points: Floats) -> Floats:
        """(..., 3) mm to (..., 2) picture pixels, pixel centres at whole numbers."""
        p = (points - self.place) @ self.turn.T
        z = np.maximum(p[..., 2:], 1e-3)
        return np.asarray(p[..., :2] / z * self.focal + (np.array(self.size) - 1) / 2)


@dataclass(frozen=True)
class Pose:
    """`elevation`: degrees of the view above the face's plane (below 0: from below); `yaw`: degrees off square to the
    arris; `roll`: of the picture; `px_per_mm`: at the middle of the narrow side, square to the view; `target`: (x, y, z)
    mm at the picture's middle; `distance`: in picture widths."""

    elevation: float
    yaw: float
    roll: float
    px_per_mm: float
    target: tuple[float, float, float]
    distance: float
    size: tuple[int, int]


def camera(pose: Pose) -> Camera:
    e, psi, rho = np.deg2rad([pose.elevation, pose.yaw, pose.roll])
    back = np.array([np.sin(psi) * np.cos(e), -np.cos(psi) * np.cos(e), np.sin(e)])
    away = pose.distance * pose.size[0] / pose.px_per_mm
    right = np.cross(-back, [0.0, 0.0, 1.0])
    right /= np.linalg.norm(right)
    down = np.cross(-back, right)
    x = np.cos(rho) * right + np.sin(rho) * down
    y = np.cos(rho) * down - np.sin(rho) * right
    return Camera(np.array(pose.target) + back * away, np.stack([x, y, -back]), pose.px_per_mm * away, pose.size)


@dataclass(frozen=True, eq=False)
class Side:
    """A planar side: `corner` + u * `u_axis` + v * `v_axis` for u, v within `spans` ((u0, u1), (v0, v1)) mm; `normal`
    outwards. `rims`: for each of v's two ends, the normal of the side beyond the arris there."""

    name: str
    fill: Fill
    corner: Floats
    u_axis: Floats
    v_axis: Floats
    spans: tuple[tuple[float, float], tuple[float, float]]
    normal: Floats
    rims: tuple[Floats, Floats]

    def points(self, u: Floats, v: Floats) -> Floats:
        return np.asarray(self.corner + u[..., None] * self.u_axis + v[..., None] * self.v_axis)


X, Y, Z = np.eye(3)
O = np.zeros(3)  # noqa: E741


def sides(build: Build, left: float, right: float) -> tuple[Side, ...]:
    """All sides of a board whose ends lie at x = `left` and `right`."""
    _, wide, thick = build.size
    along, into, deep = (left, right), (0.0, wide), (0.0, thick)
    return (
        Side("face", build.face, O, X, Y, (along, into), Z, (-Y, Y)),
        Side("strip", build.strip, O, X, -Z, (along, deep), -Y, (Z, -Z)),
        Side("under", build.under, -thick * Z, X, Y, (along, into), -Z, (-Y, Y)),
        Side("third", build.third, right * X, Y, -Z, (into, deep), X, (Z, -Z)),
        Side("third", build.third, left * X, Y, -Z, (into, deep), -X, (Z, -Z)),
    )


@dataclass(frozen=True, eq=False)
class Light:
    """`sun`: unit vector towards it; `fill`: share of light from everywhere; `warm`: colour of the sun; `shine`: strength of
    highlights."""

    sun: Floats
    fill: float
    warm: Floats
    shine: float

    def on(self, normal: Floats, eye: Floats) -> NDArray[np.float32]:
        """(..., 3) factor on linear light for unit normals (..., 3); 1 where the sun stands square."""
        lambert = np.clip(normal @ self.sun, 0, None)
        up = 0.85 + 0.15 * normal[..., 2]
        factor = self.fill * up[..., None] + (1 - self.fill) * lambert[..., None] * self.warm
        half = self.sun + eye
        half = half / np.linalg.norm(half)
        glint = self.shine * np.clip(normal @ half, 0, 1) ** 60
        return np.asarray(factor + glint[..., None], np.float32)


@dataclass(frozen=True)
class Arris:
    """`radius` mm over which it is rounded (0: sharp); `flat`: bevelled instead; `worn`: 0..1 how far the pale line under
    the finish shows, `worn_mm` wide."""

    radius: float
    flat: bool
    worn: float
    worn_mm: float
    pale: tuple[float, float, float]
    salt: int


def _rows(side: Side, v: Floats, arris: Arris, eye: Floats, light: Light) -> tuple[NDArray[np.float32], NDArray[np.float32]]:
    """Light factor (rows, 3) and worn share (rows,) by distance from the side's arrises at v's ends."""
    normal = np.broadcast_to(side.normal, (len(v), 3)).copy()
    worn = np.zeros(len(v))
    for rim, gap in ((side.rims[0], v - side.spans[1][0]), (side.rims[1], side.spans[1][1] - v)):
        if arris.radius > 0:
            share = np.clip(1 - gap / arris.radius, 0, 1)
            angle = np.where(share > 0, np.pi / 4, 0) if arris.flat else share * np.pi / 4
            turned = np.cos(angle)[:, None] * side.normal + np.sin(angle)[:, None] * rim
            normal = np.where((share > 0)[:, None], turned, normal)
        worn = np.maximum(worn, np.exp(-0.5 * (gap / max(arris.worn_mm, 0.05)) ** 2) if arris.worn else 0)
    return light.on(normal, eye), worn.astype(np.float32)


@dataclass(frozen=True, eq=False)
class Window:
    """The part of a side in view: `spans` of u and v in mm, `scale`: px of the picture a mm."""

    spans: tuple[tuple[float, float], tuple[float, float]]
    scale: float

    def covered_by(self, other: Window) -> float:
        """Share of the shorter-covered axis that lies in the other window."""
        return min(max(0.0, min(a[1], b[1]) - max(a[0], b[0])) / max(a[1] - a[0], 1e-6)
                   for a, b in zip(self.spans, other.spans, strict=True))


@dataclass(frozen=True, eq=False)
class Painted:
    """The colours of a side (m, n, 3) over a window, `u`, `v`: mm of its columns and rows, `texel`: mm."""

    window: Window
    rgb: Colours
    u: Floats
    v: Floats
    texel: float


#: What a board's sides were painted with, by side, for views after the first.
Kept = dict[tuple[str, float], Painted]
#: A kept side serves another view when it covers this share of what that sees, no coarser than this many texels a pixel.
COVERS, COARSE = 0.6, 1.5


def window_of(side: Side, cam: Camera) -> Window | None:
    """The part of a side in view, from a grid of points; None when it is not seen."""
    (u0, u1), (v0, v1) = side.spans
    middle = side.points(np.array((u0 + u1) / 2), np.array((v0 + v1) / 2))
    if float(side.normal @ (cam.place - middle)) <= 0:
        return None
    gu, gv = np.meshgrid(np.linspace(u0, u1, 241), np.linspace(v0, v1, 61))
    points = side.points(gu, gv)
    at = cam.project(points)
    w, h = cam.size
    seen = (at[..., 0] > -20) & (at[..., 0] < w + 20) & (at[..., 1] > -20) & (at[..., 1] < h + 20)
    ahead = ((points - cam.place) @ cam.turn[2]) > 1.0
    seen &= ahead
    if seen.sum() < 2:
        return None
    pad_u, pad_v = 1.5 * (u1 - u0) / 240, 1.5 * (v1 - v0) / 60
    a0, a1 = max(u0, float(gu[seen].min()) - pad_u), min(u1, float(gu[seen].max()) + pad_u)
    b0, b1 = max(v0, float(gv[seen].min()) - pad_v), min(v1, float(gv[seen].max()) + pad_v)
    step_u = np.hypot(*np.moveaxis(np.diff(at, axis=1), -1, 0))[seen[:, 1:]] * 240 / (u1 - u0)
    step_v = np.hypot(*np.moveaxis(np.diff(at, axis=0), -1, 0))[seen[1:]] * 60 / (v1 - v0)
    scale = max(float(np.percentile(s, 90)) if s.size else 1.0 for s in (step_u, step_v))
    return Window(((a0, a1), (b0, b1)), scale)


def painted(side: Side, window: Window) -> Painted:
    """The side's colours over a window, as fine as the canvas shows them."""
    (a0, a1), (b0, b1) = window.spans
    narrow = side.name != "face" and side.name != "under"
    texel = 1.0 / max(window.scale * (FINER if narrow else 1.0), 1e-3)
    texel = max(texel, (a1 - a0) / MAX_TEXELS, (b1 - b0) / MAX_TEXELS, 0.02)
    n, m = max(4, round((a1 - a0) / texel)), max(4, round((b1 - b0) / texel))
    u = a0 + (np.arange(n) + 0.5) * (a1 - a0) / n
    v = b0 + (np.arange(m) + 0.5) * (b1 - b0) / m
    return Painted(window, np.asarray(side.fill(u, v, texel), np.float32), u, v, texel)


def paint_side(side: Side, cam: Camera, light: Light, arris: Arris, canvas: Colours, cover: NDArray[np.float32],
               kept: Kept | None = None) -> bool:
    """Draws a side on the canvas (FINER times the picture, linear light) and its cover mask; False when it is not seen. What
    it was painted with is put into `kept`, or taken from there where that will do (gone on as in a mirror where it ends)."""
    window = window_of(side, cam)
    if window is None:
        return False
    key = side.name, float(side.corner[0])
    skin, again = (kept or {}).get(key), True
    narrow = 1.0 if side.name in ("face", "under") else float(FINER)
    if skin is None or window.covered_by(skin.window) < COVERS or skin.texel * window.scale * narrow > COARSE:
        skin, again = painted(side, window), False
        if kept is not None:
            kept[key] = skin
    (u0, u1), (v0, v1) = side.spans
    middle = side.points(np.array((u0 + u1) / 2), np.array((v0 + v1) / 2))
    eye = (cam.place - middle) / np.linalg.norm(cam.place - middle)
    rgb, v, texel, n = skin.rgb, skin.v, skin.texel, len(skin.u)
    factor, worn = _rows(side, v, arris, eye, light)
    if arris.worn:
        rng = np.random.default_rng([arris.salt, len(side.name)])
        along = cv2.GaussianBlur(rng.normal(size=(1, n)).astype(np.float32), (0, 0), max(1.0, 6.0 / texel))[0]
        along = np.clip(0.6 + 0.5 * along / max(float(along.std()), 1e-6), 0, 1)
        share = (arris.worn * worn[:, None] * along[None, :])[..., None].astype(np.float32)
        rgb = rgb * (1 - share) + np.array(arris.pale, np.float32) * share
    lit = np.asarray(cv2.pow(np.clip(rgb, 0, 1), 2.2), np.float32) * factor[:, None, :].astype(np.float32)
    picture = FINER * (_corners(side, cam, window) + 0.5) - 0.5
    texture = np.array([[0, 0], [n, 0], [n, len(v)], [0, len(v)]], np.float32) - 0.5
    spots = FINER * (_corners(side, cam, skin.window) + 0.5) - 0.5
    matrix = np.asarray(cv2.getPerspectiveTransform(texture, spots.astype(np.float32)), np.float64)
    fine = FINER * window.scale * texel
    if fine < 0.9:  # thinner than the canvas: average first
        lit = np.asarray(cv2.GaussianBlur(lit, (0, 0), 0.5 / max(fine, 0.2)), np.float32)
    _lay(lit, matrix, picture, canvas, cover, cv2.BORDER_REFLECT if again else cv2.BORDER_REPLICATE)
    return True


def _corners(side: Side, cam: Camera, window: Window) -> Floats:
    """(4, 2) picture pixels of a window's corners."""
    (a0, a1), (b0, b1) = window.spans
    corners = np.array([[a0, b0], [a1, b0], [a1, b1], [a0, b1]])
    return cam.project(side.points(corners[:, 0], corners[:, 1]))


def _lay(lit: Colours, matrix: Floats, outline: Floats, canvas: Colours, cover: NDArray[np.float32], border: int) -> None:
    """Warp light onto the canvas inside an outline; only the box round it is worked on."""
    low = np.clip(np.floor(outline.min(axis=0)) - 2, 0, (canvas.shape[1], canvas.shape[0])).astype(int)
    high = np.clip(np.ceil(outline.max(axis=0)) + 3, 0, (canvas.shape[1], canvas.shape[0])).astype(int)
    wide, tall = (int(v) for v in high - low)
    if wide < 1 or tall < 1:
        return
    moved = np.array([[1, 0, -low[0]], [0, 1, -low[1]], [0, 0, 1.0]]) @ matrix
    drawn = cv2.warpPerspective(lit, moved, (wide, tall), flags=cv2.INTER_LINEAR, borderMode=border)
    mask = np.zeros((tall, wide), np.uint8)
    cv2.fillConvexPoly(mask, np.round((outline - low) * 16).astype(np.int32), 255, cv2.LINE_AA, 4)
    share = mask.astype(np.float32) / np.float32(255)
    box = np.s_[low[1]:high[1], low[0]:high[0]]
    part = canvas[box]
    part += (drawn - part) * share[..., None]
    np.maximum(cover[box], share, out=cover[box])
