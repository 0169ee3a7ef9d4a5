"""Rooms: floor, walls, clutter, lamps, windows and the phone's flash. Everything here is `not_wood` to the ground truth."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from training.figure.cuts import saw_board
from training.figure.finish import Finish
from training.figure.log import Log
from training.figure.noise import Floats, cell_hash, fractal, smoothstep, value_noise
from training.figure.prints import PrintDesign
from training.scenes.clutter import clutter
from training.scenes.config import draw
from training.scenes.furniture import Piece, Prop, Quad, X, Y, Z, box

#: what a background surface is; wood floors are marked so, as they are wood but no furniture
MATERIALS = (
    "wall",
    "wallpaper",
    "brick",
    "carpet",
    "tile",
    "concrete",
    "laminate_floor",
    "wood_floor",
    "fabric",
    "metal",
    "clutter",
)
FLOOR_MM = 3200.0


@dataclass(frozen=True, eq=False)
class Surface:
    """A textured background rectangle: `rgb` (h, w, 3) float sRGB or one colour; `material` key of MATERIALS."""

    quad: Quad
    material: str
    rgb: Floats
    roughness: float


@dataclass(frozen=True, eq=False)
class Lamp:
    """A light rectangle shining along its normal, `radiance` in linear RGB."""

    quad: Quad
    radiance: tuple[float, ...]


@dataclass(frozen=True, eq=False)
class Room:
    """Background surfaces, loose props, lamps and the even light `ambient` (linear RGB)."""

    surfaces: list[Surface]
    props: list[Prop]
    lamps: list[Lamp]
    ambient: tuple[float, ...]
    flash: float
    kelvin: float


def _grid(n: int, m: int, mm: float) -> tuple[Floats, Floats]:
    yy, xx = np.meshgrid(
        np.arange(n, dtype=np.float32) * np.float32(mm), np.arange(m, dtype=np.float32) * np.float32(mm), indexing="ij"
    )
    return xx, yy


def floor_picture(kind: str, seed: int, size: int = 1500) -> tuple[Floats, float]:
    """(texture, roughness) of a floor FLOOR_MM wide."""
    rng = np.random.default_rng([seed, 301])
    mm = FLOOR_MM / size
    xx, yy = _grid(size, size, mm)
    if kind in ("laminate_floor", "wood_floor"):
        log = Log(
            str(rng.choice(["red_oak_like", "white_oak_like", "pine_like", "ash_like", "walnut_like", "beech_like"])),
            seed % 99991,
        )
        finish = Finish(str(rng.choice(["none", "honey", "grey", "light_oak", "walnut"])), 0.7, 0.3)
        plank = float(rng.uniform(90, 190))
        design = PrintDesign(
            saw_board(log, "flat", rng),
            finish,
            1300.0 if kind == "laminate_floor" else 5200.0,
            1000.0 if kind == "laminate_floor" else 3600.0,
            scan_mm=0.4,
            plank_mm=plank,
            seed=seed % 99989,
        )
        rgb = design.face(0, 0, (size, size), mm).rgb
        rows = np.abs((yy / plank) % 1.0) < 2.0 / plank
        return rgb * np.where(rows, 0.7, 1.0)[..., None].astype(np.float32), float(rng.uniform(0.2, 0.5))
    if kind == "carpet":
        base = np.array(rng.uniform(0.15, 0.7, 3) * 0.3 + rng.uniform(0.1, 0.5), dtype=np.float32)
        tone = (
            1
            + 0.18 * value_noise(seed + 1, xx / 3, yy / 3)
            + 0.12 * value_noise(seed + 2, xx / 11, yy / 9)
            + 0.06 * fractal(seed + 3, xx / 300, yy / 300)
        )
        return base * tone[..., None], 0.9
    if kind == "tile":
        base = (np.array([1.0, 0.97, 0.93]) * rng.uniform(0.35, 0.85) + rng.normal(0, 0.03, 3)).astype(np.float32)
        pitch = float(rng.uniform(200, 450))
        joint = np.minimum(np.abs((xx / pitch) % 1 - 0.5), np.abs((yy / pitch) % 1 - 0.5)) < 2.5 / pitch
        cell = cell_hash(seed, np.floor(xx / pitch).astype(np.int32), np.floor(yy / pitch).astype(np.int32))
        tone = 1 + 0.08 * (cell - 0.5) + 0.05 * fractal(seed + 4, xx / 60, yy / 60, octaves=3)
        return np.where(joint[..., None], base * 0.6, base * tone[..., None]).astype(np.float32), 0.25
    base = np.array(rng.uniform(0.35, 0.6), dtype=np.float32) * np.array([1.0, 0.98, 0.94], dtype=np.float32)
    tone = 1 + 0.10 * fractal(seed + 5, xx / 150, yy / 150, octaves=4) + 0.08 * value_noise(seed + 6, xx / 4, yy / 4)
    return base * tone[..., None], 0.6


def wall_picture(kind: str, seed: int, size: int = 700) -> Floats:
    """Texture of a wall 3.2 m wide."""
    rng = np.random.default_rng([seed, 302])
    mm = 3200.0 / size
    xx, yy = _grid(size, size, mm)
    plain = float(rng.uniform(0.62, 0.93)) * np.array([1.0, 0.98, 0.95])
    mix = float(rng.uniform(0.1, 0.5)) if rng.random() < 0.4 else 0.0
    base = (plain * (1 - mix) + mix * rng.uniform(0.35, 0.95, 3)).astype(np.float32)
    if kind == "brick":
        row = np.floor(yy / 75)
        sx = xx + (row % 2) * 115
        joint = (np.abs((yy / 75) % 1 - 0.5) > 0.43) | (np.abs((sx / 230) % 1 - 0.5) > 0.475)
        cell = cell_hash(seed, np.floor(sx / 230).astype(np.int32), row.astype(np.int32))
        brick = np.array([0.55, 0.30, 0.22], dtype=np.float32) * (0.8 + 0.4 * cell)[..., None]
        brick = brick * (1 + 0.12 * value_noise(seed + 2, xx / 9, yy / 9))[..., None]
        return np.where(joint[..., None], 0.65, brick).astype(np.float32)
    if kind == "wallpaper":
        stripe = smoothstep(-0.3, 0.3, np.sin(xx * np.float32(6.2832 / rng.uniform(40, 160))))
        figure = smoothstep(0.3, 0.5, value_noise(seed + 1, xx / 45, yy / 60))
        mark = stripe if rng.random() < 0.5 else figure
        return base * (1 - 0.18 * mark)[..., None]
    return base * (1 + 0.02 * fractal(seed + 3, xx / 700, yy / 700) + 0.012 * value_noise(seed + 4, xx / 14, yy / 14))[..., None]


def _thing_colour(rng: np.random.Generator) -> tuple[float, float, float]:
    """Colours of household things: mostly muted, white and black among them."""
    grey = float(rng.uniform(0.05, 0.9))
    mix = float(rng.uniform(0, 0.6))
    rgb = grey * (1 - mix) + mix * rng.uniform(0.03, 0.9, 3)
    return float(rgb[0]), float(rgb[1]), float(rgb[2])


def _kelvin_rgb(kelvin: float) -> np.ndarray:
    """Rough linear RGB of a black body, green = 1."""
    t = (kelvin - 6500) / 6500
    return np.array([1.0 - 0.75 * t, 1.0, 1.0 + (1.1 if t < 0 else 0.6) * t])


def build_room(piece: Piece, seed: int, *, full: bool = False) -> Room:
    """A room round the piece; light and room come of one seed, so twins share both. `full`: with household things."""
    rng = np.random.default_rng([seed, 303])
    w, d, h = piece.size
    floor_kind = draw(rng, {"carpet": 0.3, "laminate_floor": 0.2, "wood_floor": 0.17, "tile": 0.15, "concrete": 0.18})
    wall_kind = draw(rng, {"wall": 0.72, "wallpaper": 0.16, "brick": 0.12})
    floor_rgb, floor_rough = floor_picture(floor_kind, seed)
    shift = float(rng.uniform(-300, 300))
    half = FLOOR_MM / 2
    gap = float(rng.uniform(5, 250))
    floor = Quad(np.array([-half + shift, gap - FLOOR_MM, 0.0]), X * FLOOR_MM, Y * FLOOR_MM)
    if rng.random() < 0.5:
        floor = Quad(np.array([-half + shift, gap, 0.0]), -Y * FLOOR_MM, X * FLOOR_MM)
    surfaces = [Surface(floor, floor_kind, floor_rgb, floor_rough)]
    wall_rgb = wall_picture(wall_kind, seed)
    surfaces.append(Surface(Quad(np.array([-half + shift, gap, 0.0]), X * FLOOR_MM, Z * 2600.0), wall_kind, wall_rgb, 0.8))
    if rng.random() < 0.5:
        side = 1 if rng.random() < 0.5 else -1
        x = side * (w / 2 + float(rng.uniform(80, 900)))
        x = float(np.clip(x, -half + shift + 50, half + shift - 50))
        surfaces.append(Surface(Quad(np.array([x, gap - FLOOR_MM, 0.0]), Y * FLOOR_MM, Z * 2600.0), wall_kind, wall_rgb, 0.8))
    props: list[Prop] = []
    if rng.random() < 0.5 and wall_kind == "wall":
        props.append(box("wall", (-half + shift, gap - 14, 0), (half + shift, gap, 85), (0.9, 0.9, 0.88), 0.5))
    for _ in range(int(rng.integers(0, 5))):
        bw, bd, bh = (float(v) for v in rng.uniform([60, 60, 50], [420, 350, 600]))
        x = float(rng.choice([-1, 1])) * (w / 2 + bw / 2 + float(rng.uniform(40, 500)))
        y = gap - 20 - bd - float(rng.uniform(0, 500))
        colour = _thing_colour(rng)
        props.append(
            box(
                draw(rng, {"clutter": 0.6, "fabric": 0.25, "metal": 0.15}),
                (x - bw / 2, y, 0.5),
                (x + bw / 2, y + bd, bh),
                colour,
                0.6,
            )
        )
    if piece.kind in ("chest", "cabinet", "table") and rng.random() < 0.5:
        for _ in range(int(rng.integers(1, 4))):
            bw, bd, bh = (float(v) for v in rng.uniform([30, 30, 20], [200, 160, 260]))
            x, y = float(rng.uniform(-w / 2 + 60, w / 2 - 60)), float(rng.uniform(-d * 0.55, -60))
            colour = _thing_colour(rng)
            props.append(box("clutter", (x - bw / 2, y - bd / 2, h + 0.5), (x + bw / 2, y + bd / 2, h + bh), colour, 0.4))
    kelvin = float(rng.uniform(2600, 7000))
    lamps, ambient = _lights(rng, kelvin)
    if full:
        props += clutter(piece, gap, seed)
    return Room(surfaces, props, lamps, ambient, float(rng.uniform(0.5, 2.0)) if rng.random() < 0.17 else 0.0, kelvin)


def _lights(rng: np.random.Generator, kelvin: float) -> tuple[list[Lamp], tuple[float, ...]]:
    """Window, ceiling lamp or both; hard or soft; ambient from the rest of the room."""
    tint = _kelvin_rgb(kelvin)
    lamps: list[Lamp] = []
    kind = draw(rng, {"window": 0.4, "ceiling": 0.3, "both": 0.2, "spot": 0.1})
    if kind in ("window", "both"):
        side = 1 if rng.random() < 0.5 else -1
        size_y, size_z = float(rng.uniform(600, 1800)), float(rng.uniform(800, 1500))
        x, y, z = side * float(rng.uniform(1500, 2600)), float(rng.uniform(-2400, -700)), float(rng.uniform(500, 1100))
        corner = np.array([x, y, z])
        quad = Quad(corner, Y * size_y, Z * size_z) if side < 0 else Quad(corner + Y * size_y, -Y * size_y, Z * size_z)
        level = 9.0 * float(rng.uniform(0.6, 1.4))
        lamps.append(Lamp(quad, tuple(float(v) for v in _kelvin_rgb(float(rng.uniform(5500, 7500))) * level)))
    if kind in ("ceiling", "both", "spot"):
        size = float(rng.uniform(110, 200)) if kind == "spot" else float(rng.uniform(200, 900))
        centre = np.array([float(rng.uniform(-900, 900)), float(rng.uniform(-2000, -300)), 2450.0])
        level = 4.0e6 / size**2 * float(rng.uniform(0.6, 1.3))
        lamps.append(Lamp(Quad(centre - X * size / 2 + Y * size / 2, X * size, -Y * size), tuple(float(v) for v in tint * level)))
    fill = float(rng.uniform(0.3, 0.9)) if kind != "spot" else float(rng.uniform(0.15, 0.4))
    return lamps, tuple(float(v) for v in tint * fill)
