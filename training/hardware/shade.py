"""How raised and sunk things look under one lamp: shading from a height map, reflections of metal, cast shadows.

All in pixels of the picture being drawn; a `Canvas` is drawn on in place, within a window round each thing.
"""

from __future__ import annotations

from dataclasses import dataclass, field

import cv2
import numpy as np
from numpy.typing import NDArray

Plane = NDArray[np.float32]
Points = NDArray[np.float64]


@dataclass(frozen=True)
class Light:
    """`x`, `y`, `z`: unit vector to the lamp (y down, z to the viewer); `hard`: 0 soft to 1 a bare bulb; `look`: (x, y) by which
    a point one pixel proud is displaced on the picture, from the slant of the view."""

    x: float
    y: float
    z: float
    hard: float
    look: tuple[float, float] = (0.0, 0.0)


def some_light(rng: np.random.Generator) -> Light:
    about, high = rng.uniform(0, 2 * np.pi) if rng.random() < 0.3 else rng.uniform(-2.8, -0.3), rng.uniform(0.35, 1.25)
    flat = float(np.cos(high))
    # straight on, a little aslant, or photographed from above and the side as people do
    way = rng.random()
    look = np.zeros(2) if way < 0.3 else rng.normal(0, 0.22 if way < 0.65 else 0.6, 2)
    look *= min(1.0, 1.1 / max(float(np.hypot(*look)), 1e-6))
    return Light(flat * float(np.cos(about)), flat * float(np.sin(about)), float(np.sin(high)), float(rng.uniform(0.1, 1.0)),
                 (float(look[0]), float(look[1])))


@dataclass(eq=False)
class Canvas:
    """`rgb`: (h, w, 3) float32 0..1; `labels`: (h, w) uint8 kind of each pixel; `light`; `truth`: (kind, (n, 2) points)."""

    rgb: NDArray[np.float32]
    labels: NDArray[np.uint8]
    light: Light
    truth: list[tuple[int, Points]] = field(default_factory=list)

    @property
    def shape(self) -> tuple[int, int]:
        return self.labels.shape[0], self.labels.shape[1]


@dataclass(frozen=True, eq=False)
class Window:
    """A stretch of the canvas: slices, and (h, w) x and y of its pixels on the canvas."""

    rows: slice
    columns: slice
    x: Plane
    y: Plane


def window(canvas: Canvas, x: float, y: float, reach: float) -> Window:
    h, w = canvas.shape
    x0, x1 = int(np.clip(x - reach, 0, w - 1)), int(np.clip(x + reach + 1, 1, w))
    y0, y1 = int(np.clip(y - reach, 0, h - 1)), int(np.clip(y + reach + 1, 1, h))
    ys, xs = np.mgrid[y0 : max(y1, y0 + 1), x0 : max(x1, x0 + 1)].astype(np.float32)
    return Window(slice(y0, y0 + len(xs)), slice(x0, x0 + xs.shape[1]), xs, ys)


def soft(distance: Plane) -> Plane:
    """Cover of a shape from its signed distance (negative inside)."""
    return np.clip(np.float32(0.5) - distance, 0, 1).astype(np.float32)


def capsule(win: Window, p: tuple[float, float], q: tuple[float, float], radius: float) -> Plane:
    """Signed distance to a stroke with round ends."""
    p, q = (float(p[0]), float(p[1])), (float(q[0]), float(q[1]))
    dx, dy = q[0] - p[0], q[1] - p[1]
    t = np.clip(((win.x - p[0]) * dx + (win.y - p[1]) * dy) / max(dx * dx + dy * dy, 1e-6), 0, 1)
    return np.asarray(np.hypot(win.x - p[0] - t * dx, win.y - p[1] - t * dy) - radius, np.float32)


def box(win: Window, x: float, y: float, half: tuple[float, float], turn: float = 0.0, corner: float = 0.0) -> Plane:
    """Signed distance to a rectangle with rounded corners, turned by `turn` radians."""
    c, s, x, y = float(np.cos(turn)), float(np.sin(turn)), float(x), float(y)
    half = (float(half[0]), float(half[1]))
    u = np.abs((win.x - x) * c + (win.y - y) * s) - (half[0] - corner)
    v = np.abs((win.y - y) * c - (win.x - x) * s) - (half[1] - corner)
    outside = np.hypot(np.maximum(u, 0), np.maximum(v, 0))
    return np.asarray(outside + np.minimum(np.maximum(u, v), 0) - corner, np.float32)


def ellipse(win: Window, x: float, y: float, half: tuple[float, float], turn: float = 0.0) -> Plane:
    """Distance to an ellipse, near enough for drawing."""
    c, s, x, y = float(np.cos(turn)), float(np.sin(turn)), float(x), float(y)
    half = (float(half[0]), float(half[1]))
    u, v = (win.x - x) * c + (win.y - y) * s, (win.y - y) * c - (win.x - x) * s
    return np.asarray((np.hypot(u / half[0], v / half[1]) - 1) * min(half), np.float32)


@dataclass(frozen=True, eq=False)
class Stuff:
    """What a thing is made of: `colour` (3,) or (h, w, 3); `metal` 0..1: share of mirror; `gloss`: strength of highlights;
    `waves`: (4,) phases and pitches of what metal mirrors."""

    colour: NDArray[np.float32]
    metal: float
    gloss: float
    waves: NDArray[np.float64]


METALS = {"brass": (0.80, 0.60, 0.28), "nickel": (0.74, 0.72, 0.69), "chrome": (0.80, 0.82, 0.85), "iron": (0.10, 0.10, 0.10),
          "bronze": (0.33, 0.22, 0.13), "copper": (0.72, 0.42, 0.28), "old brass": (0.47, 0.36, 0.18), "zinc": (0.60, 0.61, 0.63)}


def some_metal(rng: np.random.Generator) -> Stuff:
    colour = np.asarray(METALS[str(rng.choice(list(METALS)))], np.float32) * np.float32(rng.uniform(0.7, 1.15))
    return Stuff(colour, float(rng.uniform(0.3, 0.95)), float(rng.uniform(0.2, 0.9)), rng.uniform(0, 6.3, 4))


def some_stuff(rng: np.random.Generator, ground: NDArray[np.float32]) -> Stuff:
    """Metal, wood, china, plastic or the colour of the face itself. `ground`: (3,) mean of the face."""
    kind = rng.random()
    if kind < 0.5:
        return some_metal(rng)
    if kind < 0.68:  # turned wood, its own or the face's
        own = ground if rng.random() < 0.5 else np.asarray(rng.uniform(0.25, 0.8) * np.array([1.0, 0.7, 0.47]), np.float32)
        return Stuff(np.asarray(own * rng.uniform(0.65, 1.3), np.float32), 0.0, float(rng.uniform(0.05, 0.6)),
                     rng.uniform(0, 6, 4))
    if kind < 0.8:  # painted like the face
        return Stuff(np.asarray(ground * rng.uniform(0.85, 1.12), np.float32), 0.0, float(rng.uniform(0.05, 0.5)),
                     rng.uniform(0, 6, 4))
    if kind < 0.92:
        grey = float(rng.choice([rng.uniform(0.03, 0.15), rng.uniform(0.75, 0.95)]))
        return Stuff(np.full(3, grey, np.float32), 0.05, float(rng.uniform(0.2, 0.9)), rng.uniform(0, 6, 4))
    return Stuff(np.asarray(rng.uniform(0.1, 0.9, 3), np.float32), 0.1, float(rng.uniform(0.1, 0.9)), rng.uniform(0, 6, 4))


def ground_of(canvas: Canvas, win: Window) -> NDArray[np.float32]:
    """(3,) mean colour of what lies there."""
    return np.asarray(canvas.rgb[win.rows, win.columns].reshape(-1, 3).mean(axis=0), np.float32)


def dome(distance: Plane, radius: float, high: float, power: float = 2.0) -> Plane:
    """Height of a dome over a shape of signed `distance` whose inside is `radius` deep."""
    depth = np.clip(-distance / np.float32(max(radius, 1e-6)), 0, 1).astype(np.float32)
    if power == 2.0:
        return np.asarray(high * np.sqrt(depth * (2 - depth)), np.float32)
    return np.asarray(high * cv2.pow(1 - cv2.pow(1 - depth, power), 1 / power), np.float32)


def lit(height: Plane, stuff: Stuff, light: Light) -> NDArray[np.float32]:
    """(h, w, 3) of a height map in pixels: diffuse light, a mirrored room for metal, highlights (Blinn, 1977)."""
    height = np.asarray(height, np.float32)
    gy, gx = (np.gradient(height) if min(height.shape) > 1 else (np.zeros_like(height),) * 2)
    n = 1 / np.sqrt(1 + gx * gx + gy * gy)
    nx, ny = -gx * n, -gy * n
    diffuse = np.clip(nx * light.x + ny * light.y + n * light.z, 0, 1)
    hx, hy, hz = light.x, light.y, light.z + 1.0
    size = (hx * hx + hy * hy + hz * hz) ** 0.5
    shine = cv2.pow(np.clip((nx * hx + ny * hy + n * hz) / size, 0, 1), 8 + 60 * stuff.gloss)
    a, b, c, d = (float(v) for v in stuff.waves)
    room = 0.5 - 0.28 * ny + 0.25 * np.sin((2 + a) * nx + c) * np.sin((2 + b) * ny + d)
    body = 0.45 + 0.65 * diffuse
    tone = (1 - stuff.metal) * body + stuff.metal * (0.25 + 1.1 * np.clip(room, 0, 1))
    out = stuff.colour * tone[..., None] + (stuff.gloss * (0.25 + 0.6 * light.hard) * shine)[..., None]
    return np.clip(out, 0, 1).astype(np.float32)


def shadow(canvas: Canvas, win: Window, cover: Plane, lift: float, strength: float = 1.0) -> None:
    """Shadow of a flat thing `lift` pixels proud, and the darkness right beside it."""
    light = canvas.light
    reach = lift * min(2.5, float(np.hypot(light.x, light.y)) / max(light.z, 0.15))
    size = max(float(np.hypot(light.x, light.y)), 1e-6)
    dx, dy = -light.x / size * reach, -light.y / size * reach
    move = np.array([[1, 0, dx], [0, 1, dy]], np.float32)
    cast = cv2.warpAffine(cover, move, (cover.shape[1], cover.shape[0]))
    cast = cv2.GaussianBlur(cast, (0, 0), 0.6 + (0.15 + 0.45 * (1 - light.hard)) * max(lift, 0.3))
    near = cv2.GaussianBlur(cover, (0, 0), 0.6 + 0.35 * max(lift, 0.3))
    dark = np.clip((0.15 + 0.5 * light.hard) * cast + 0.22 * near, 0, 0.85) * strength
    canvas.rgb[win.rows, win.columns] *= (1 - dark)[..., None]


def lay(canvas: Canvas, win: Window, cover: Plane, colours: NDArray[np.float32]) -> None:
    part = canvas.rgb[win.rows, win.columns]
    part += (colours - part) * cover[..., None]


def mark(canvas: Canvas, kind: int, points: Points) -> None:
    """The hull of points is of a kind: written into labels and truth."""
    hull = cv2.convexHull(points.astype(np.float32))[:, 0]
    cv2.fillConvexPoly(canvas.labels, np.round(hull).astype(np.int32), kind)
    canvas.truth.append((kind, hull.astype(np.float64)))


def rim(cover: Plane, win: Window) -> Points:
    """(n, 2) canvas points of a cover's hull."""
    ys, xs = np.nonzero(cover > 0.5)
    if len(xs) < 3:
        return np.zeros((0, 2))
    hull = cv2.convexHull(np.stack([xs, ys], 1).astype(np.float32))[:, 0]
    return np.asarray(hull + np.array([win.columns.start, win.rows.start]), np.float64)
