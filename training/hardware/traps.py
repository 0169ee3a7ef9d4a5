"""What is drawn on panels to fool: knots, flecks, insect holes, shadows, stickers, water rings, dents, gleams, mouldings,
inlay, cords, open compartments, things that stand before the panel."""

from __future__ import annotations

from collections.abc import Callable

import cv2
import numpy as np

from training.hardware.shade import (
    Canvas,
    Plane,
    box,
    dome,
    ellipse,
    ground_of,
    lay,
    lit,
    shadow,
    soft,
    some_stuff,
    window,
)


def knot(canvas: Canvas, x: float, y: float, rng: np.random.Generator) -> None:
    """Rings about a dark core that fade into the figure."""
    r = float(np.exp(rng.uniform(np.log(3), np.log(30))))
    win = window(canvas, x, y, 5 * r)
    turn = float(rng.uniform(0, np.pi))
    d = ellipse(win, x, y, (r, r * float(rng.uniform(0.55, 1.0))), turn) / np.float32(r) + 1
    d = d * (1 + 0.08 * np.sin(3 * np.arctan2(win.y - y, win.x - x) + rng.uniform(0, 6))).astype(np.float32)
    rings = 0.12 * np.sin(d * float(rng.uniform(6, 14))) * np.exp(-0.5 * np.maximum(d - 1, 0))
    fade = np.clip((d - rng.uniform(0.5, 1.05)) * float(rng.uniform(4, 18)), -30, 30)
    core = float(rng.uniform(0.25, 0.75)) / (1 + np.exp(fade))
    dark = np.clip(core + rings * (d < 3), -0.2, 0.95)
    tint = np.array([0.75, 1.0, 1.1], np.float32)
    canvas.rgb[win.rows, win.columns] *= np.clip(1 - dark[..., None] * tint, 0.03, 1.3)
    if rng.random() < 0.3:  # a black ring, as of a loose knot
        canvas.rgb[win.rows, win.columns] *= (1 - 0.7 * np.exp(-0.5 * ((d - 1) / 0.09) ** 2))[..., None]


def flecks(canvas: Canvas, x: float, y: float, rng: np.random.Generator) -> None:
    """Pores: short dark strokes all one way."""
    h, w = canvas.shape
    layer = np.zeros((h, w), np.uint8)
    turn = float(rng.choice([0.0, np.pi / 2])) + float(rng.normal(0, 0.1))
    for _ in range(int(rng.integers(20, 400))):
        px, py = rng.uniform(0, w), rng.uniform(0, h)
        long = rng.uniform(2, 16)
        p, q = (px, py), (px + long * np.cos(turn), py + long * np.sin(turn))
        cv2.line(layer, (round(p[0]), round(p[1])), (round(q[0]), round(q[1])), int(rng.integers(80, 255)), 1, cv2.LINE_AA)
    canvas.rgb *= (1 - float(rng.uniform(0.2, 0.7)) * layer.astype(np.float32) / 255)[..., None]


def insects(canvas: Canvas, x: float, y: float, rng: np.random.Generator) -> None:
    """Flight holes: tiny, round, strewn about."""
    reach = float(rng.uniform(10, 120))
    for _ in range(int(rng.integers(2, 26))):
        px, py, r = x + rng.normal(0, reach), y + rng.normal(0, reach), float(rng.uniform(0.7, 2.1))
        win = window(canvas, px, py, 8)
        dark = canvas.rgb[win.rows, win.columns].mean(axis=(0, 1)) * np.float32(rng.uniform(0.05, 0.4))
        lay(canvas, win, soft(ellipse(win, px, py, (r, r))), np.broadcast_to(dark, (*win.x.shape, 3)).astype(np.float32))


def shade(canvas: Canvas, x: float, y: float, rng: np.random.Generator) -> None:
    """Shadow of something off the panel: a soft disc, a bar or a slanted edge."""
    h, w = canvas.shape
    win = window(canvas, w / 2, h / 2, max(h, w))
    kind, size = rng.random(), float(rng.uniform(6, 160))
    shape: Plane
    if kind < 0.4:
        shape = ellipse(win, x, y, (size, size * float(rng.uniform(0.4, 1))), float(rng.uniform(0, 3)))
    elif kind < 0.75:
        shape = box(win, x, y, (float(rng.uniform(20, 500)), 0.3 * size), float(rng.uniform(0, 3)))
    else:
        a = rng.uniform(0, 6.3)
        shape = np.asarray((win.x - x) * np.cos(a) + (win.y - y) * np.sin(a), np.float32)
    blur = float(np.exp(rng.uniform(np.log(1.5), np.log(20))))
    cover = cv2.GaussianBlur(soft(shape), (0, 0), blur)
    canvas.rgb *= (1 - float(rng.uniform(0.15, 0.65)) * cover)[..., None]


def sticker(canvas: Canvas, x: float, y: float, rng: np.random.Generator) -> None:
    """Flat paper, round or square, with scribbles; no shadow to speak of."""
    size = float(rng.uniform(5, 55))
    win = window(canvas, x, y, 2.5 * size)
    turn = float(rng.normal(0, 0.2))
    flat = box(win, x, y, (size, size * float(rng.uniform(0.3, 1.2))), turn, 1.5) if rng.random() < 0.6 else ellipse(
        win, x, y, (size, size))
    colour = np.asarray(rng.uniform(0.6, 1.0) * np.ones(3) if rng.random() < 0.6 else rng.uniform(0.1, 1.0, 3), np.float32)
    paper = np.broadcast_to(colour, (*flat.shape, 3)).astype(np.float32).copy()
    ink = np.zeros(flat.shape, np.uint8)
    for _ in range(int(rng.integers(0, 7))):
        p = (rng.uniform(0.2, 0.8, 2) * np.array(flat.shape[::-1])).astype(int)
        q = p + (rng.uniform(-0.3, 0.3, 2) * size).astype(int)
        cv2.line(ink, (int(p[0]), int(p[1])), (int(q[0]), int(q[1])), 255, max(1, int(size / 25)), cv2.LINE_AA)
    paper *= (1 - 0.8 * ink.astype(np.float32) / 255)[..., None]
    lay(canvas, win, soft(flat) * np.float32(rng.uniform(0.75, 1)), paper)


def water_ring(canvas: Canvas, x: float, y: float, rng: np.random.Generator) -> None:
    r = float(rng.uniform(12, 90))
    win = window(canvas, x, y, 1.4 * r)
    d = np.hypot(win.x - x, win.y - y) - r
    ring = np.exp(-0.5 * (d / rng.uniform(1.5, 6)) ** 2) * float(rng.choice([-0.35, 0.35]) * rng.uniform(0.3, 1))
    arc = np.clip(0.5 + np.sin(np.arctan2(win.y - y, win.x - x) + rng.uniform(0, 6)) + rng.uniform(0, 1), 0, 1)
    canvas.rgb[win.rows, win.columns] *= (1 + ring * arc)[..., None]


def dent(canvas: Canvas, x: float, y: float, rng: np.random.Generator) -> None:
    """A soft dark or pale spot, or a scuff, without the sharp rim of a hole."""
    size = float(rng.uniform(2, 14))
    win = window(canvas, x, y, 4 * size)
    d = ellipse(win, x, y, (size, size * float(rng.uniform(0.3, 1))), float(rng.uniform(0, 3))) / np.float32(size) + 1
    canvas.rgb[win.rows, win.columns] *= (1 + float(rng.uniform(-0.45, 0.4)) * np.exp(-(d**2) * 1.2))[..., None]


def gleam(canvas: Canvas, x: float, y: float, rng: np.random.Generator) -> None:
    """A lamp mirrored in the coat."""
    size = float(np.exp(rng.uniform(np.log(4), np.log(120))))
    win = window(canvas, x, y, 4 * size)
    d = ellipse(win, x, y, (size, size * float(rng.uniform(0.3, 1.0))), float(rng.uniform(0, 3))) / np.float32(size) + 1
    glow = float(rng.uniform(0.1, 0.8)) / (1 + np.exp(np.clip((d - 1) * float(rng.uniform(2, 12)), -30, 30)))
    part = canvas.rgb[win.rows, win.columns]
    part += (1 - part) * glow[..., None]


def moulding(canvas: Canvas, x: float, y: float, rng: np.random.Generator) -> None:
    """A groove, bead or gap that runs across the panel or frames it."""
    h, w = canvas.shape
    win = window(canvas, w / 2, h / 2, max(h, w))
    if rng.random() < 0.5:
        shape = np.abs(box(win, w / 2, h / 2, (w * float(rng.uniform(0.3, 0.47)), h * float(rng.uniform(0.3, 0.47)))))
    else:
        shape = np.abs(win.y - y) if rng.random() < 0.5 else np.abs(win.x - x)
    wide = float(np.exp(rng.uniform(np.log(1), np.log(9))))
    lines = np.zeros(shape.shape, np.float32)
    for k in range(int(rng.integers(1, 4))):
        lines += float(rng.uniform(-0.6, 0.3)) * np.exp(-0.5 * ((shape - 2.5 * k * wide) / wide) ** 2).astype(np.float32)
    canvas.rgb *= np.clip(1 + lines, 0.05, 1.5)[..., None]
    if rng.random() < 0.25:  # what lies past it is something else
        side = win.y > y if rng.random() < 0.5 else win.x > x
        tone = np.asarray(rng.uniform(0.02, 0.9, 3), np.float32) if rng.random() < 0.5 else None
        part = canvas.rgb * np.float32(rng.uniform(0.3, 1.2)) if tone is None else np.broadcast_to(tone, canvas.rgb.shape)
        canvas.rgb[:] = np.where(side[..., None], part, canvas.rgb)


def dot(canvas: Canvas, x: float, y: float, rng: np.random.Generator) -> None:
    """A flush plug or cap of nearly the face's own colour with a faint ring."""
    r = float(rng.uniform(3, 14))
    win = window(canvas, x, y, 2 * r)
    d = np.hypot(win.x - x, win.y - y)
    tone = 1 + float(rng.uniform(-0.2, 0.2)) * soft((d - r).astype(np.float32))
    ring = 1 - float(rng.uniform(0.1, 0.5)) * np.exp(-0.5 * ((d - r) / 0.9) ** 2)
    canvas.rgb[win.rows, win.columns] *= (tone * ring)[..., None]


def inlay(canvas: Canvas, x: float, y: float, rng: np.random.Generator) -> None:
    """Lozenges, stars or stringing of other wood, flush with the face."""
    size = float(np.exp(rng.uniform(np.log(5), np.log(60))))
    win = window(canvas, x, y, 2.5 * size)
    d: Plane = box(win, x, y, (size, size * float(rng.uniform(0.15, 1))), float(rng.choice([0, np.pi / 4, np.pi / 2])))
    if rng.random() < 0.4:
        d = np.maximum(d, box(win, x, y, (size, size * float(rng.uniform(0.3, 1))), float(rng.uniform(0, np.pi))))
    if rng.random() < 0.4:
        d = np.asarray(np.abs(d) - float(rng.uniform(0.7, 3)), np.float32)
    tone = np.asarray(rng.uniform(0.1, 0.9) * np.array([1.0, 0.8, 0.6]) * rng.uniform(0.8, 1.2, 3), np.float32)
    lay(canvas, win, soft(d) * np.float32(rng.uniform(0.5, 1)), np.broadcast_to(tone, (*d.shape, 3)).astype(np.float32))


def object_before(canvas: Canvas, x: float, y: float, rng: np.random.Generator) -> None:
    """Something that stands before the panel or lies on it: a round or square thing with its shadow, large or at the border."""
    h, w = canvas.shape
    size = float(np.exp(rng.uniform(np.log(12), np.log(140))))
    if size < 80 or rng.random() < 0.5:  # it comes in from outside; small ones on the panel would look like knobs
        x, y = (x, float(rng.choice([0, h]))) if rng.random() < 0.6 else (float(rng.choice([0, w])), y)
    win = window(canvas, x, y, 2.5 * size)
    turn = float(rng.normal(0, 0.3))
    half = size, size * float(rng.uniform(0.25, 1.0))
    d = box(win, x, y, half, turn, min(half) * float(rng.uniform(0, 1))) if rng.random() < 0.7 else ellipse(win, x, y, half, turn)
    shadow(canvas, win, soft(d), float(rng.uniform(1, 25)))
    stuff = some_stuff(rng, ground_of(canvas, win))
    lay(canvas, win, soft(d), lit(dome(d, min(half), min(half) * float(rng.uniform(0.05, 0.8))), stuff, canvas.light))


def cable(canvas: Canvas, x: float, y: float, rng: np.random.Generator) -> None:
    """A cord that hangs or lies across the panel, with its shadow."""
    h, w = canvas.shape
    layer = np.zeros((h, w), np.float32)
    t = np.linspace(0, 1, 40)
    ends = (x, -5.0, float(rng.uniform(0, w)), h + 5.0) if rng.random() < 0.5 else (-5.0, y, w + 5.0, float(rng.uniform(0, h)))
    bend = 40 * np.sin(t * float(rng.uniform(2, 9)) + float(rng.uniform(0, 6))) * float(rng.uniform(0, 1.5))
    px, py = ends[0] + (ends[2] - ends[0]) * t, ends[1] + (ends[3] - ends[1]) * t
    upright = abs(ends[3] - ends[1]) > abs(ends[2] - ends[0])
    line = np.stack([px + (bend if upright else 0), py + (0 if upright else bend)], 1)
    cv2.polylines(layer, [np.round(line * 8).astype(np.int32)], False, 1.0, int(rng.integers(1, 7)), cv2.LINE_AA, 3)
    cast = cv2.GaussianBlur(np.roll(layer, (int(rng.integers(1, 7)), int(rng.integers(-4, 5))), (0, 1)), (0, 0), 2.0)
    canvas.rgb *= (1 - float(rng.uniform(0.1, 0.5)) * cast)[..., None]
    tone = np.full(3, rng.choice([rng.uniform(0, 0.15), rng.uniform(0.6, 0.95)]), np.float32)
    canvas.rgb += (tone - canvas.rgb) * np.clip(layer, 0, 1)[..., None]


def opening(canvas: Canvas, x: float, y: float, rng: np.random.Generator) -> None:
    """An open compartment: dark behind its edge, its floor or side lit; no pane."""
    half = float(rng.uniform(20, 220)), float(rng.uniform(15, 140))
    win = window(canvas, x, y, max(half) + 4)
    d = box(win, x, y, half)
    ground = ground_of(canvas, win)
    v = np.clip((win.y - np.float32(y)) / np.float32(2 * half[1]) + 0.5, 0, 1)
    tone = np.float32(rng.uniform(0.05, 0.5)) * (0.5 + v)
    tone = np.where(v > rng.uniform(0.6, 1.0), tone + np.float32(rng.uniform(0.0, 0.4)), tone)
    lay(canvas, win, soft(d), np.clip(ground * tone[..., None], 0, 1).astype(np.float32))


TRAPS: dict[str, Callable[[Canvas, float, float, np.random.Generator], None]] = {
    "knot": knot, "flecks": flecks, "insects": insects, "shadow": shade, "sticker": sticker, "water_ring": water_ring,
    "dent": dent, "gleam": gleam, "moulding": moulding, "dot": dot,
    "inlay": inlay, "object": object_before, "cable": cable, "opening": opening,
}
