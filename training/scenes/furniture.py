"""Pieces of furniture as boxes in space. World frame: millimetres, z up, the piece's front towards -y, floor at z = 0."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from training.figure.slabs import SIDES, Slab
from training.scenes.construction import Workshop

Vec = NDArray[np.float64]
X, Y, Z = np.eye(3)


@dataclass(frozen=True, eq=False)
class Quad:
    """A flat rectangle: `corner` + s * `u` + t * `v`, s and t in 0..1. u x v points outward. `owner` indexes instances."""

    corner: Vec
    u: Vec
    v: Vec
    owner: int = -1

    @property
    def normal(self) -> Vec:
        n = np.cross(self.u, self.v)
        return n / np.linalg.norm(n)


@dataclass(frozen=True, eq=False)
class Part:
    """A slab in its place: `centre` and the world directions of its length, width and thickness."""

    role: str
    slab: Slab
    centre: Vec
    a: Vec
    b: Vec
    c: Vec
    name: str = ""

    def quad(self, side: str) -> Quad:
        """The side as a rectangle whose u and v follow the slab's own texture axes; the normal may need `outward`."""
        length, width, thick = self.slab.size
        half = {
            "face": self.c * thick / 2,
            "under": -self.c * thick / 2,
            "front": -self.b * width / 2,
            "rear": self.b * width / 2,
            "left": -self.a * length / 2,
            "right": self.a * length / 2,
        }[side]
        u, v = {
            "face": (self.a * length, self.b * width),
            "under": (self.a * length, self.b * width),
            "front": (self.a * length, self.c * thick),
            "rear": (self.a * length, self.c * thick),
            "left": (self.b * width, self.c * thick),
            "right": (self.b * width, self.c * thick),
        }[side]
        return Quad(self.centre + half - u / 2 - v / 2, u, v)

    def outward(self, side: str) -> Vec:
        return {"face": self.c, "under": -self.c, "front": -self.b, "rear": self.b, "left": -self.a, "right": self.a}[side]


@dataclass(frozen=True, eq=False)
class Prop:
    """A box that is no furniture board. `material`: key of room.MATERIALS; axes as edge vectors; `picture`: what all its sides
    show, (h, w, 3) uint8 sRGB, instead of one colour."""

    material: str
    corner: Vec
    x: Vec
    y: Vec
    z: Vec
    colour: tuple[float, ...] = (0.5, 0.5, 0.5)
    roughness: float = 0.4
    picture: NDArray[np.uint8] | None = None


@dataclass(eq=False)
class Piece:
    """A piece: `parts`, `props` on it (handles), its overall `size` (x, y, z) and kind."""

    kind: str
    size: tuple[float, float, float]
    parts: list[Part] = field(default_factory=list)
    props: list[Prop] = field(default_factory=list)

    def add(
        self,
        shop: Workshop,
        role: str,
        centre: tuple[float, float, float],
        size: tuple[float, float, float],
        axes: tuple[Vec, Vec, Vec],
    ) -> Part:
        part = Part(role, shop.slab(role, size), np.array(centre, dtype=float), *axes, name=f"{role}{len(self.parts)}")
        self.parts.append(part)
        return part


TOP_AXES = (X, Y, Z)  # grain across the piece, face up
FRONT_AXES = (X, Z, -Y)  # grain across, face to the front
DOOR_AXES = (Z, -X, -Y)  # grain upright, face to the front
LEFT_AXES = (Z, Y, -X)  # grain upright, face to the left
RIGHT_AXES = (Z, Y, X)


def box(
    material: str,
    low: tuple[float, float, float],
    high: tuple[float, float, float],
    colour: tuple[float, ...],
    roughness: float = 0.4,
) -> Prop:
    """Upright box between two corners."""
    lo, hi = np.array(low, dtype=float), np.array(high, dtype=float)
    d = hi - lo
    return Prop(material, lo, X * d[0], Y * d[1], Z * d[2], colour, roughness)


def _handle(
    piece: Piece,
    rng: np.random.Generator,
    x: float,
    y: float,
    z: float,
    style: str,
    colour: tuple[float, ...],
    upright: bool = False,
) -> None:
    """A knob or bar in front of y."""
    if style == "knob":
        r = 14.0
        piece.props.append(box("metal", (x - r * 0.5, y - 14, z - r * 0.5), (x + r * 0.5, y, z + r * 0.5), colour, 0.3))
        piece.props.append(box("metal", (x - r, y - 26, z - r), (x + r, y - 14, z + r), colour, 0.3))
    elif style == "bar":
        half, t = float(rng.uniform(45, 80)), 5.0
        dx, dz = (t, half) if upright else (half, t)
        piece.props.append(box("metal", (x - dx, y - 30, z - dz), (x + dx, y - 22, z + dz), colour, 0.25))
        for s in (-0.8, 0.8):
            cx, cz = (x, z + s * half) if upright else (x + s * half, z)
            piece.props.append(box("metal", (cx - 4, y - 24, cz - 4), (cx + 4, y, cz + 4), colour, 0.25))


def _carcase(piece: Piece, shop: Workshop, rng: np.random.Generator, thick: float) -> tuple[float, float, float, float]:
    """Sides, top, bottom, back and feet; returns the opening (x0, x1, z0, z1)."""
    w, d, h = piece.size
    plinth = float(rng.uniform(40, 140))
    over = float(rng.choice([0, 0, 12, 25]))
    top_t = thick + float(rng.choice([0, 0, 4, 8]))
    inset_sides = over == 0 and rng.random() < 0.35  # sides run up past the top
    side_h = h - plinth if inset_sides else h - plinth - top_t
    z_mid = plinth + side_h / 2
    piece.add(shop, "side", (-w / 2 + thick / 2, -d / 2, z_mid), (side_h, d, thick), LEFT_AXES)
    piece.add(shop, "side", (w / 2 - thick / 2, -d / 2, z_mid), (side_h, d, thick), RIGHT_AXES)
    top_w = w - 2 * thick if inset_sides else w + 2 * over
    piece.add(shop, "top", (0, -d / 2 - over / 2, h - top_t / 2), (top_w, d + over, top_t), TOP_AXES)
    inner = w - 2 * thick
    piece.add(shop, "shelf", (0, -d / 2, plinth + thick / 2), (inner, d - 2, thick), TOP_AXES)
    back_t = 5.0
    piece.add(shop, "back", (0, -back_t / 2 - 1, z_mid), (side_h - 4, inner, back_t), DOOR_AXES)
    if rng.random() < 0.5:
        piece.add(shop, "frame", (0, -d + 40, plinth / 2), (inner, plinth - 1, 16), FRONT_AXES)
        for s in (-1, 1):
            piece.add(shop, "leg", (s * (w / 2 - 20), -d / 2, plinth / 2), (d - 20, plinth - 1, 18), (Y, Z, s * X))
    else:
        t = float(rng.uniform(32, 55))
        for sx in (-1, 1):
            for y in (-d + t / 2 + 6, -t / 2 - 6):
                piece.add(shop, "leg", (sx * (w / 2 - t / 2 - 4), y, plinth / 2), (plinth - 1, t, t), (Z, X, -Y))
    return -w / 2 + thick, w / 2 - thick, plinth + thick, h - top_t


def _drawer_box(piece: Piece, shop: Workshop, x0: float, x1: float, z0: float, z1: float, y_front: float, depth: float) -> None:
    """Sides, rear and bottom of an open drawer behind its front."""
    t, height = 12.0, (z1 - z0) * 0.72
    zc = z0 + height / 2 + 6
    for x, axes in ((x0 + t / 2 + 8, (Y, Z, -X)), (x1 - t / 2 - 8, (Y, Z, X))):
        piece.add(shop, "drawer_side", (x, y_front + depth / 2, zc), (depth, height, t), axes)
    wide = x1 - x0 - 2 * t - 16
    piece.add(shop, "drawer_side", ((x0 + x1) / 2, y_front + depth - t / 2, zc), (wide, height, t), FRONT_AXES)
    piece.add(shop, "drawer_bottom", ((x0 + x1) / 2, y_front + depth / 2, z0 + 14), (wide, depth - t, 5), TOP_AXES)


def chest(shop: Workshop, rng: np.random.Generator) -> Piece:
    """Chest of drawers, one to three columns, now and then a drawer open."""
    rows = int(rng.integers(2, 6))
    size = (float(rng.uniform(420, 1350)), float(rng.uniform(380, 520)), float(rng.uniform(180, 225)) * rows * 0.85 + 200)
    piece = Piece("chest", size)
    thick = float(rng.choice([16, 18, 19, 22]))
    x0, x1, z0, z1 = _carcase(piece, shop, rng, thick)
    columns = 1 if size[0] < 800 else int(rng.integers(1, 4 if size[0] > 1100 else 3))
    overlay = rng.random() < 0.55
    gap = float(rng.uniform(2.5, 6.0))
    heights = np.ones(rows) if rng.random() < 0.5 else np.linspace(1.35, 0.8, rows)
    edges = np.concatenate([[0], np.cumsum(heights / heights.sum())]) * (z1 - z0) + z0
    front_t = float(rng.choice([16, 18, 20]))
    style = str(rng.choice(["knob", "bar", "none"], p=[0.45, 0.35, 0.2]))
    metal = tuple(float(v) for v in np.array([0.75, 0.7, 0.6]) * rng.uniform(0.2, 1.0))
    opened = int(rng.integers(rows * columns)) if rng.random() < 0.45 else -1
    y_face = -size[1] - (front_t if overlay else -2.0)
    rails = not overlay and rng.random() < 0.6
    for r in range(rows):
        for c in range(columns):
            a, b = x0 + (x1 - x0) * c / columns, x0 + (x1 - x0) * (c + 1) / columns
            low, high = float(edges[r]), float(edges[r + 1])
            if overlay:
                a, b = a - (thick - 2) * (c == 0), b + (thick - 2) * (c == columns - 1)
            if rails:
                high -= 18
                if c == 0:
                    piece.add(shop, "frame", ((x0 + x1) / 2, -size[1] + 30, high + 9), (x1 - x0, 18, 56), (X, Z, -Y))
            pull = float(rng.uniform(120, 320)) if r * columns + c == opened else 0.0
            yc = y_face + front_t / 2 - pull
            centre = ((a + b) / 2, yc, (low + high) / 2)
            piece.add(shop, "drawer_front", centre, (b - a - gap, high - low - gap, front_t), FRONT_AXES)
            if pull:
                _drawer_box(piece, shop, a + 10, b - 10, low, high, yc + front_t / 2, size[1] - 60)
            spread = (0.0,) if b - a < 500 else (-0.28, 0.28)
            for s in spread:
                _handle(piece, rng, (a + b) / 2 + s * (b - a), yc - front_t / 2, (low + high) / 2, style, metal)
    return piece


def cabinet(shop: Workshop, rng: np.random.Generator) -> Piece:
    """Cabinet with flat or framed doors; one may be missing so that shelf and back show."""
    doors = int(rng.integers(1, 4))
    size = (float(rng.uniform(340, 480)) * doors, float(rng.uniform(330, 500)), float(rng.uniform(600, 1150)))
    piece = Piece("cabinet", size)
    thick = float(rng.choice([16, 18, 19]))
    x0, x1, z0, z1 = _carcase(piece, shop, rng, thick)
    gap, t = float(rng.uniform(2.5, 6)), float(rng.choice([16, 18, 20]))
    framed = rng.random() < 0.35
    style = str(rng.choice(["knob", "bar", "none"], p=[0.5, 0.3, 0.2]))
    metal = tuple(float(v) for v in np.array([0.75, 0.7, 0.6]) * rng.uniform(0.2, 1.0))
    missing = int(rng.integers(doors)) if rng.random() < 0.35 else -1
    y = -size[1] - t / 2
    for k in range(doors):
        a, b = x0 - 12 + (x1 - x0 + 24) * k / doors, x0 - 12 + (x1 - x0 + 24) * (k + 1) / doors
        if k == missing:
            continue
        w, h, xc, zc = b - a - gap, z1 - z0 - gap + 14, (a + b) / 2, (z0 + z1) / 2
        if framed:
            s = float(rng.uniform(50, 75))
            for sx in (-1, 1):
                piece.add(shop, "frame", (xc + sx * (w / 2 - s / 2), y, zc), (h, s, t), DOOR_AXES)
            for sz in (-1, 1):
                piece.add(shop, "frame", (xc, y, zc + sz * (h / 2 - s / 2)), (w - 2 * s - 0.6, s, t), FRONT_AXES)
            piece.add(shop, "door", (xc, y + 5, zc), (h - 2 * s, w - 2 * s, 6), DOOR_AXES)
        else:
            piece.add(shop, "door", (xc, y, zc), (h, w, t), DOOR_AXES)
        hx = xc + (1 if k % 2 == 0 else -1) * (w / 2 - 32)
        _handle(piece, rng, hx, y - t / 2, zc + h * 0.15, style, metal, upright=True)
    if missing >= 0:
        piece.add(shop, "shelf", (0, -size[1] / 2, (z0 + z1) / 2), (x1 - x0, size[1] - 20, thick), TOP_AXES)
    return piece


def table(shop: Workshop, rng: np.random.Generator) -> Piece:
    """Table or desk: top with its edges in view, legs, aprons."""
    size = (float(rng.uniform(500, 1500)), float(rng.uniform(420, 800)), float(rng.uniform(420, 760)))
    piece = Piece("table", size)
    w, d, h = size
    t = float(rng.choice([18, 22, 25, 30, 38]))
    piece.add(shop, "top", (0, -d / 2, h - t / 2), (w, d, t), TOP_AXES)
    if rng.random() < 0.6:
        leg, inset = float(rng.uniform(38, 70)), float(rng.uniform(4, 40))
        for sx in (-1, 1):
            for y in (-d + inset + leg / 2, -inset - leg / 2):
                piece.add(shop, "leg", (sx * (w / 2 - inset - leg / 2), y, (h - t) / 2), (h - t, leg, leg), (Z, X, -Y))
        apron = float(rng.uniform(60, 110))
        long = w - 2 * (inset + leg)
        for y, axes in ((-d + inset + 20, FRONT_AXES), (-inset - 20, (X, Z, Y))):
            piece.add(shop, "frame", (0, y, h - t - apron / 2), (long, apron, 20), axes)
        for sx in (-1, 1):
            piece.add(
                shop,
                "frame",
                (sx * (w / 2 - inset - 20), -d / 2, h - t - apron / 2),
                (d - 2 * (inset + leg), apron, 20),
                (Y, Z, sx * X),
            )
    else:
        for sx, axes in ((-1, LEFT_AXES), (1, RIGHT_AXES)):
            piece.add(shop, "side", (sx * (w / 2 - t / 2 - 5), -d / 2, (h - t) / 2), (h - t, d - 20, t), axes)
        piece.add(shop, "back", (0, -25, h * 0.55), (w - 2 * t - 12, h * 0.5, 18), FRONT_AXES)
    return piece


def bookcase(shop: Workshop, rng: np.random.Generator) -> Piece:
    """Open shelves with back panel and some clutter on them."""
    size = (float(rng.uniform(450, 1000)), float(rng.uniform(230, 340)), float(rng.uniform(700, 1700)))
    piece = Piece("bookcase", size)
    thick = float(rng.choice([16, 18, 22]))
    x0, x1, z0, z1 = _carcase(piece, shop, rng, thick)
    n = max(1, round((z1 - z0) / 320) - 1)
    levels = [z0 + (z1 - z0) * (k + 1) / (n + 1) for k in range(n)]
    for z in levels:
        piece.add(shop, "shelf", (0, -size[1] / 2 + 3, z), (x1 - x0, size[1] - 10, thick), TOP_AXES)
    for z in [z0, *[v + thick / 2 for v in levels]]:
        x = x0 + float(rng.uniform(10, 300))
        while x < x1 - 60 and rng.random() < 0.75:
            bw, bh, bd = float(rng.uniform(15, 60)), float(rng.uniform(120, 230)), float(rng.uniform(120, 190))
            colour = tuple(float(v) for v in rng.uniform(0.1, 0.9) * rng.uniform(0.5, 1.0, 3))
            piece.props.append(box("clutter", (x, -size[1] + 30, z + 0.5), (x + bw, -size[1] + 30 + bd, z + bh), colour, 0.5))
            x += bw + float(rng.choice([1, 1, 2, 40]))
    return piece


def boards(shop: Workshop, rng: np.random.Generator) -> Piece:
    """Loose parts lying on a bench or the floor: faces, edges and ends in view."""
    z = float(rng.choice([0, 0, 500, 760]))
    piece = Piece("boards", (900.0, 600.0, z + 60))
    if z:
        cloth = str(rng.choice(["fabric", "clutter", "concrete", "metal"]))
        colour = tuple(float(v) for v in rng.uniform(0.1, 0.7) * rng.uniform(0.75, 1.1, 3))
        piece.props.append(box(cloth, (-700, -700, z - 40), (700, 80, z - 0.5), colour, 0.6))
    count = int(rng.integers(1, 5))
    base = z
    for _ in range(count):
        length, width = float(rng.uniform(220, 850)), float(rng.uniform(70, 360))
        t = float(rng.choice([10, 12, 15, 18, 18, 22, 28, 36]))
        turn = float(rng.normal(0, 0.25)) + (np.pi / 2 if rng.random() < 0.2 else 0)
        a = np.array([np.cos(turn), np.sin(turn), 0.0])
        b = np.array([-np.sin(turn), np.cos(turn), 0.0])
        centre = (float(rng.normal(0, 60)), -300 + float(rng.normal(0, 60)), base + t / 2)
        role = str(rng.choice(["top", "shelf", "side", "drawer_front"]))
        piece.add(shop, role, centre, (length, width, t), (a, b, Z))
        base += t + 0.4
    return piece


BUILDERS = {"chest": chest, "cabinet": cabinet, "table": table, "bookcase": bookcase, "boards": boards}


def part_sides(piece: Piece) -> list[tuple[Part, str]]:
    """Every (part, side) of a piece in a fixed order."""
    return [(part, side) for part in piece.parts for side in SIDES]
